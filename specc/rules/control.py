"""Rules on how switches stop a pump: in every situation, by a dry contact, and also when a wire is cut."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from specc.diagnostics import Severity
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._switches import (
    EVENTS,
    acting_on,
    action,
    in_power_path,
    loops,
    on_wiring_of,
    pump_pairs,
    switches,
)
from specc.system.earthing import earthed_nets
from specc.system.every_state import first_fault, witness
from specc.system.model import Conductor, Device, Path, Pole
from specc.system.states import Situation, TooManySwitches, fed_from, remote_ends
from specc.system.stops import concerned, guarded_by, must_stop
from specc.system.system import System
from specc.system.walk import Walk

# -- stop logic ----------------------------------------------------------------------------------------


def _to_stop(system: System) -> Iterator[tuple[Device, Device | None]]:
    """Each switch with each pump that it must stop (None where there is none), and each pump by itself."""
    yield from pump_pairs(system)
    for switch in switches(system):
        if not must_stop(system, switch):
            yield switch, None
    for pump in system.of_kind("pump"):
        yield pump, None


def _stop_logic(system: System, subject: tuple[Device, Device | None]) -> Answer:
    first, pump = subject
    try:
        if first.kind == "pump":
            return _runs_in_the_clear(system, first)
        if pump is None:
            return _wired_to_none(first)
        return _stops_alone(system, first, pump)
    except TooManySwitches as many:
        return unchecked(first.tag, first.path, str(many))


def _runs_in_the_clear(system: System, pump: Device) -> Answer:
    required = "runs while nothing is wrong"
    if system.situations(pump).runs(pump, frozenset()):
        return satisfied(
            pump.tag, pump.path, f"{pump.tag} runs with all in the clear.", required=required, actual="runs"
        )
    if not any(fed_from(port, system.circuits()) for port in system.connected.ports if port.device is pump):
        return unchecked(pump.tag, pump.path, f"{pump.tag} is on no closed path; see wiring.open-path.")
    acting = {s: action(system, s, pump).does for s in on_wiring_of(system, pump)}
    wrong = [s.tag for s, does in acting.items() if does == "starts"]
    if wrong:
        return unchecked(
            pump.tag, pump.path, f"{', '.join(wrong)} acts the wrong way round; see float.wrong-way."
        )
    return violated(
        pump.tag,
        pump.path,
        f"{pump.tag} does not run with all in the clear: no state of its switches and remote terminals "
        "lets it.",
        required=required,
        actual="stands still",
        fix="Close the loop of the remote terminals through the switches, or fit the jumper that the maker "
        "shows.",
        severity=Severity.ERROR,
    )


def _wired_to_none(switch: Device) -> Answer:
    return violated(
        switch.tag,
        switch.path,
        f"{switch.tag} guards against this: {EVENTS[switch.spec.guards]}; but it is wired to no pump and "
        "stops none.",
        required="stops a pump",
        actual="wired to none",
        fix=f"Wire {switch.tag} into the remote loop of the controller, or take its table away.",
    )


def _stops_alone(system: System, switch: Device, pump: Device) -> Answer:
    found = action(system, switch, pump)
    event = EVENTS[switch.spec.guards]
    required = f"{pump.tag} stands still while {event}, whatever the other switches do"
    if found.does == "stops":
        return satisfied(
            switch.tag,
            switch.path,
            f"{switch.tag} alone stops {pump.tag}.",
            required=required,
            actual="stops",
        )
    if found.does == "never runs":
        return unchecked(switch.tag, switch.path, f"{pump.tag} runs in no situation at all.")
    if found.does == "starts":
        return unchecked(
            switch.tag, switch.path, f"{switch.tag} acts the wrong way round; see float.wrong-way."
        )
    assert found.runs_on is not None
    round_it = _round(system, switch, found.runs_on)
    others = f" and {', '.join(sorted(found.runs_on))} stops too" if found.runs_on else ""
    by = f", by way of {' and '.join(c.tag for c in round_it)}" if round_it else ""
    return violated(
        switch.tag,
        round_it[0].path if round_it else switch.path,
        f"{pump.tag} still runs while {event}{others}: {switch.tag} does not stop it by itself{by}.",
        required=required,
        actual="runs",
        fix=_rewire(system, switch, pump, round_it),
        related=(*(c.path for c in round_it[1:]), switch.path),
    )


def _state(situation: Situation, switch: Device, system: System) -> Walk:
    happened = situation | {switch.tag}
    return system.in_state(lambda pole: pole.clear_closed != (pole.sensor and pole.device.tag in happened))


def _round(system: System, switch: Device, situation: Situation) -> tuple[Conductor, ...]:
    """The path that carries on when the contact of a switch is open: its first and last conductor."""
    walked = _state(situation, switch, system)
    for pole in system.poles_of(switch):
        if walked.closed(pole) or walked.net(pole.a) != walked.net(pole.b):
            continue
        way = [step for step in walked.paths(pole.a, pole.b) if isinstance(step, Conductor)]
        if way:
            return (way[0],) if len(way) == 1 else (way[0], way[-1])
    return ()


def _others(system: System, pump: Device) -> str:
    return ", ".join(f'"{p.tag}"' for p in system.of_kind("pump") if p is not pump) or '"..."'


def _rewire(system: System, switch: Device, pump: Device, round_it: tuple[Conductor, ...]) -> str:
    lying_in = {c for pole in system.poles_of(switch) for c in loops(system).get(pole.a, ())}
    if any(controller.part.remote.runs_when == "open" for controller in lying_in):
        return (
            f"Wire {switch.tag} in parallel with the other stops, so that it closes the remote "
            "terminals by itself."
        )
    if round_it:
        names = " and ".join(c.tag for c in round_it)
        return (
            f"Wire {switch.tag} in series with the other stops: move {names} so that no path runs round it."
        )
    return (
        f"Wire {switch.tag} in series with what runs {pump.tag}; if it need not stop {pump.tag}, name in "
        f"its table the pumps that it stops, as in stops = [{_others(system, pump)}]."
    )


_PARALLEL = {
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "LS2.1", "color": "yellow"},
        {"from": "LS2.2", "to": "CB1.remote2", "color": "orange"},
        {"from": "LS1.1", "to": "TS1.1", "color": "brown"},
        {"from": "LS1.2", "to": "TS1.2", "color": "violet"},
    ]
}

# The remote input stops when closed: contacts in parallel that close at their event.
_CLOSED_STOPS = {
    "part:booster-r.remote.runs_when": "open",
    "switches.LS1.closes_on": "rise",
    "switches.LS2.closes_on": "fall",
    "switches.TS1.closes_on": "rise",
    "runs.R4.conductors": [
        {"from": f"{start}.{a}", "to": f"{end}.{b}", "color": color}
        for a, b, color in (("1", "1", "blue"), ("2", "2", "brown"))
        for start, end in (("LS1", "LS2"), ("LS2", "TS1"))
    ]
    + [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "CB1.remote2", "to": "LS1.2", "color": "brown"},
    ],
}

# A second controller on the same array, and a pump of its own well behind it: each float its own pump.
_TWO_WELLS: Mapping[str, Any] = {
    "locations.well 2": {"wet": True, "sunlit": False},
    "source.WELL2": {
        "kind": "dug well",
        "rim": "0.5 m",
        "water_level": "-3.0 m",
        "low_water_level": "-3.4 m",
        "bottom": "-4.8 m",
        "intake": "-4.5 m",
        "location": "well 2",
    },
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well 2"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL2", "to": "P2.in", "length": "3 m"},
    "runs.R2.conductors[3]": {"from": "Q1.2", "to": "CB2.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "CB1.pv-", "to": "CB2.pv-", "color": "white"},
    "runs.R2.conductors[5]": {"from": "CB2.motor+", "to": "P2.+", "color": "red"},
    "runs.R2.conductors[6]": {"from": "CB2.motor-", "to": "P2.-", "color": "white"},
    "runs.R2.conductors[7]": {"from": "CB2.remote1", "to": "CB2.remote2", "color": "blue"},
    "switches.LS1.stops": ["P1"],
}

STOP_LOGIC = Rule(
    id="control.stop-logic",
    severity=Severity.DANGER,
    title="A stop that does not stop the pump by itself",
    checks="Truth table over all switches: with all in the clear the pump runs (else an error); with each "
    "single stop "
    "(tank full, source low, pump hot, pressure high) it does not, whatever the others do. A switch must "
    "stop the pumps that its table names; else those on its wiring that fill the tank or draw from the "
    "source where it hangs, or on which it is mounted; where nothing says so, every pump on its wiring.",
    why="Stops in parallel all have to act before the pump stands still: it runs dry, overflows or burns "
    "although one "
    "of them has seen it.",
    clauses={"us-2023": "430.74; common practice", "iec": "60204-1 9.2; 60364-5-53"},
    look=_to_stop,
    examine=_stop_logic,
    fires=(
        Case("tank float and thermal switch in parallel", _PARALLEL, subject="LS1"),
        Case(
            "a wire round the well switch",
            {"runs.R4.conductors[4]": {"from": "LS2.1", "to": "LS2.2", "color": "blue"}},
            subject="LS2",
        ),
        Case(
            "a float wired to nothing",
            {
                "switches.LS3": {
                    "part": "float-r",
                    "location": "well",
                    "closes_on": "rise",
                    "guards": "source low",
                }
            },
            subject="LS3",
        ),
        Case(
            "nothing on the remote terminals of a controller that runs when they are closed",
            {"runs.R4.conductors[0]": None},
            severity=Severity.ERROR,
            subject="P1",
        ),
        Case(
            "stops in series where closed stops the controller",
            {
                **_CLOSED_STOPS,
                "runs.R4.conductors": [
                    {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
                    {"from": "LS1.2", "to": "LS2.1", "color": "yellow"},
                    {"from": "LS2.2", "to": "TS1.1", "color": "orange"},
                    {"from": "TS1.2", "to": "CB1.remote2", "color": "brown"},
                ],
            },
            subject="LS1",
        ),
        Case(
            "two wells, and the second pump draws from the first well too",
            {**_TWO_WELLS, "pipes.S8": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "3 m"}},
            subject="LS2",
        ),
        Case(
            "two wells, and nothing says in which the float hangs",
            {**_TWO_WELLS, "switches.LS2.location": None},
            subject="LS2",
        ),
    ),
    keeps_still=(
        Case("as it stands: all in series"),
        Case("stops in parallel where closed stops the controller", _CLOSED_STOPS),
        Case("two wells: a float need not stop the pump of the other, nor a thermal switch", _TWO_WELLS),
    ),
    sees_not="A contact that sticks, and water hammer or freezing that no switch senses.",
)

# -- dry contact ---------------------------------------------------------------------------------------


def _dry_inputs(system: System) -> Iterator[Device]:
    for controller in system.of_kind("controller"):
        if controller.part.remote is not None and controller.part.remote.dry_contact:
            yield controller


def _dry(system: System, controller: Device) -> Answer:
    ends = remote_ends(controller)
    required = "contacts alone between its remote terminals"
    try:
        walked = first_fault(
            system, ends, lambda state: bool(_stranger(system, state, controller)[1]), grounding=True
        )
    except TooManySwitches as many:
        return unchecked(controller.tag, controller.path, str(many))
    if walked is None:
        return satisfied(
            controller.tag,
            controller.path,
            f"The remote terminals of {controller.tag} meet contacts alone in every state.",
            required=required,
            actual="contacts alone",
        )
    what, strangers = _stranger(system, walked, controller)
    at = _conductors_at(system, walked, ends, list(strangers))
    return violated(
        controller.tag,
        at[0] if at else controller.path,
        f"The remote terminals of {controller.tag} want a dry contact, but they share {what}. State: "
        f"{witness(system.connected, walked.closed)}.",
        required=required,
        actual=f"shared with {what}",
        fix="Take that conductor off and bring both wires of the contact to the two remote terminals; for "
        "several "
        "controllers, or a powered signal, use one interposing relay contact each.",
        related=(*at[1:], controller.path),
    )


def _stranger(system: System, walked: Walk, controller: Device) -> tuple[str, tuple[str, ...]]:
    """What the remote terminals share a net with that is no contact, in words, and its terminals."""
    ends = remote_ends(controller)
    nets = {walked.net(end) for end in ends}
    powered = [
        end for port in system.connected.ports for end in (port.plus, port.minus) if walked.net(end) in nets
    ]
    if powered:
        return f"the net of {powered[0]}", (powered[0],)
    others = [
        other
        for other in system.of_kind("controller")
        if other is not controller and nets & {walked.net(end) for end in remote_ends(other)}
    ]
    if others:
        tags = ", ".join(other.tag for other in others)
        return f"the remote terminals of {tags}", tuple(e for other in others for e in remote_ends(other))
    earthed = tuple(end for end in ends if walked.is_ground(end))
    return f"equipment grounding, at {', '.join(earthed)}", earthed


def _conductors_at(
    system: System, walked: Walk, ends: tuple[str, ...], strangers: list[str]
) -> tuple[Path, ...]:
    """The conductors that bring a stranger into the loop: the first and the last of the way."""
    for end in ends:
        for stranger in strangers:
            way = [s for s in walked.paths(stranger, end) if isinstance(s, Conductor)]
            if way:
                return tuple(dict.fromkeys((way[0].path, way[-1].path)))
    return tuple(c.path for c in system.conductors if {c.start, c.end} & set(ends))


_SECOND_BOOSTER = {
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "runs.R4.conductors[4]": {"from": "CB2.remote1", "to": "LS1.1", "color": "blue"},
    "runs.R4.conductors[5]": {"from": "CB2.remote2", "to": "TS1.2", "color": "brown"},
}

DRY_CONTACT = Rule(
    id="control.dry-contact-powered",
    severity=Severity.DANGER,
    title="Power on remote terminals that want a dry contact",
    checks="In every state of contacts and change-over devices, the nets of remote terminals that want a dry "
    "contact hold no terminal of any "
    "source or load, no remote terminal of another controller, and no grounding.",
    why="A foreign voltage on a logic input burns the controller, or feeds it backwards; two controllers "
    "on one "
    "contact feed each other.",
    clauses={"us-2023": "110.3(B)", "iec": "60947-5-1; maker's instructions"},
    look=_dry_inputs,
    examine=_dry,
    fires=(
        Case(
            "the float's common taken from motor +",
            {"runs.R4.conductors[0].from": "CB1.motor+"},
            subject="CB1",
        ),
        Case("two controllers on one contact", _SECOND_BOOSTER, subject="CB2"),
        Case(
            "the loop tied to ground",
            {"runs.R4.conductors[4]": {"from": "LS2.1", "to": "BOX1.ground", "color": "green"}},
        ),
    ),
    keeps_still=(Case("floats alone between the two terminals"),),
    sees_not="Voltage induced along a cable laid beside others.",
)

# -- fails running -------------------------------------------------------------------------------------


def _fails_running(system: System, subject: tuple[Device, Device]) -> Answer:
    switch, pump = subject
    try:
        does = action(system, switch, pump).does
    except TooManySwitches as many:
        return unchecked(switch.tag, switch.path, str(many))
    if does != "stops":
        return unchecked(
            switch.tag, switch.path, f"{switch.tag} does not stop {pump.tag}; see control.stop-logic."
        )
    required = f"a cut wire or one earth fault leaves {pump.tag} standing"
    poles = system.poles_of(switch)
    fault = next((found for pole in poles for found in [_fault(system, pole)] if found), None)
    if fault is None:
        return satisfied(
            switch.tag,
            switch.path,
            f"{pump.tag} stands still when a wire of {switch.tag} is cut or touches earth.",
            required=required,
            actual="it stands",
        )
    what, fix, path = fault
    return violated(
        switch.tag,
        path,
        f"{what}, and {pump.tag} runs on although {EVENTS[switch.spec.guards]}.",
        required=required,
        actual="it runs",
        fix=fix,
        related=(switch.path, pump.path),
    )


def _fault(system: System, pole: Pole) -> tuple[str, str, Path] | None:
    """How one fault leaves the pump running in spite of this contact: what, mending, place."""
    tag = pole.device.tag
    if in_power_path(system, pole):
        if system.walked.net(pole.a) in earthed_nets(system):
            return (
                f"{tag} breaks the grounded conductor: one earth fault on its load side goes round it",
                f"Move {tag} to the conductor that is not grounded.",
                pole.device.path,
            )
        return None
    for controller in loops(system).get(pole.a, ()):
        remote = controller.part.remote
        if remote.runs_when == "open":
            return (
                f"{controller.tag} runs while its remote terminals are open: a cut wire or a pulled plug "
                "between "
                f"it and {tag} opens them",
                "Take (or set) the controller to run when closed, with a contact that opens; and add an "
                "overflow alarm.",
                controller.path + ("part",),
            )
        if not remote.isolated and earthed_nets(system):
            return (
                f"The remote input of {controller.tag} is not isolated and a pole of the job is grounded: "
                "one earth "
                f"fault on the wire to {tag} closes the loop",
                "Take a controller with an isolated remote input, or interpose a relay in its own isolated "
                "loop.",
                controller.path + ("part",),
            )
    return None


_ONE_FLOAT_CLOSED_STOPS = {
    "part:booster-r.remote.runs_when": "open",
    "switches.LS1.closes_on": "rise",
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
}

FAILS_RUNNING = Rule(
    id="control.fails-running",
    severity=Severity.WARNING,
    title="A cut wire or one earth fault leaves the pump running",
    checks="Each switch that stops a pump does so too when its wire is cut, its plug pulled, or one of its "
    "wires "
    "touches earth: remote input that runs when closed and is isolated (or no pole grounded), or a contact "
    "in the "
    "power path outside of the grounded conductor.",
    why="Rodents, spades and corrosion cut float cables. The pump must then stand still, not overflow or "
    "run dry.",
    clauses={"us-2023": "430.74", "iec": "60204-1 9.4"},
    look=pump_pairs,
    examine=_fails_running,
    fires=(
        Case(
            "closed stops, and the float closes on rise: a cut wire overflows",
            _ONE_FLOAT_CLOSED_STOPS,
            subject="LS1",
        ),
        Case(
            "a remote input that is not isolated, negative grounded",
            {"part:booster-r.remote.isolated": False},
            subject="LS1",
        ),
        Case(
            "a float in the grounded conductor of the motor",
            {
                "switches.LS2": None,
                "switches.TS1": None,
                "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
                "runs.R3.conductors[1]": {"from": "CB1.motor-", "to": "LS1.1", "color": "white"},
                "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.-", "color": "white"},
            },
            subject="LS1",
        ),
    ),
    keeps_still=(Case("closed runs, isolated loop"),),
    sees_not="A contact that welds, a short between the two wires of a loop, and a second fault.",
)

# -- a float that stops somebody else's pump -----------------------------------------------------------


def _placed(system: System) -> Iterator[tuple[Device, Device]]:
    """Each level switch with the tank or source where it hangs, each thermal switch with its pump."""
    for switch in switches(system):
        if guarded := guarded_by(system, switch):
            yield switch, guarded


_SITS = {
    "pumps": ("is", "is mounted on"),
    "tank": ("fills", "hangs in"),
    "source": ("draws from", "hangs in"),
}  # what a pump does with what a switch guards, and how the switch sits there


def _wrong_pump(system: System, subject: tuple[Device, Device]) -> Answer:
    switch, guarded = subject
    own, (does, sits) = concerned(system, guarded), _SITS[guarded.table]
    if not own:
        return unchecked(switch.tag, switch.path, f"no pump of the job {does} {guarded.tag}.")
    try:
        stopped = [p for p in system.water.pumps if switch in (acting_on(system, p) or ())]
    except TooManySwitches as many:
        return unchecked(switch.tag, switch.path, str(many))
    if not stopped:
        return unchecked(
            switch.tag,
            switch.path,
            f"{switch.tag} stops no pump; see control.stop-logic and float.wrong-way.",
        )
    tags = " and ".join(p.tag for p in own)
    which = "" if guarded in own else f", which {does} {guarded.tag}"
    required = f"{switch.tag} stops {tags}{which}"
    if right := [p for p in stopped if p in own]:
        return satisfied(
            switch.tag,
            switch.path,
            f"{switch.tag} {sits} {guarded.tag} and stops {right[0].tag}.",
            required=required,
            actual=right[0].tag,
        )
    others = " and ".join(p.tag for p in stopped)
    wires = [c for c in system.conductors if switch in {system.terminal(e).device for e in (c.start, c.end)}]
    key = "mounted_on" if guarded in own else "location"
    return violated(
        switch.tag,
        wires[0].path if wires else switch.path,
        f"{switch.tag} {sits} {guarded.tag}, but it stops {others}, not {tags}{which}.",
        required=required,
        actual=f"stops {others}",
        fix=f"Wire {switch.tag} into what stops {tags}, or, if it sits elsewhere, mend its {key}.",
        related=(*(c.path for c in wires[1:]), switch.path, guarded.path),
    )


_SECOND_TANK: Mapping[str, Any] = {
    "tank.TK2": {
        "inlet": "22 m",
        "overflow": "21.9 m",
        "overflow_size": "32 mm",
        "capacity": "500 L",
        "location": "pump house",
    },
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "pump house"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "3 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "TK2.inlet", "length": "20 m"},
}

WRONG_PUMP = Rule(
    id="control.wrong-pump",
    severity=Severity.DANGER,
    title="A switch that stops another pump than the one it guards",
    checks="Where a job has several tanks, sources or pumps, a level switch at the place of a tank or source "
    "stops a pump that fills that tank or draws from that source, and a thermal switch the pump on which it "
    "is mounted.",
    why="With the cables of two switches changed over, each pump heeds what the other does: one runs dry, "
    "over or hot, and the other stands still for it. Each switch still stops a pump, so a trial by hand "
    "misses it.",
    clauses={"us-2023": "430.74; common practice", "iec": "60204-1 9.2; common practice"},
    look=_placed,
    examine=_wrong_pump,
    fires=(
        Case(
            "the tank's float hangs in a second tank that another pump fills",
            {**_SECOND_TANK, "switches.LS1.location": "pump house"},
            subject="LS1",
        ),
        Case(
            "the thermal switch is mounted on the other of two pumps",
            {**_SECOND_TANK, "switches.TS1.mounted_on": "P2"},
            subject="TS1",
        ),
    ),
    keeps_still=(
        Case("as it stands: one tank, one well"),
        Case("a second tank and pump, the float in the first", _SECOND_TANK),
    ),
    sees_not="Switches of which nothing says where they sit: give tanks, sources and floats their location, "
    "thermal switches the pump on which they are mounted.",
)

RULES = (STOP_LOGIC, DRY_CONTACT, FAILS_RUNNING, WRONG_PUMP)
