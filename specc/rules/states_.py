"""Rules for every state of the switches: nothing fed backwards, reversed, or left live."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from specc.diagnostics import Severity
from specc.rules._edits import METRIC
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._variants import BATTERY, FLOATING
from specc.rules.polarity import Pair, marked_pairs
from specc.system.earthing import solidly_grounded_nets
from specc.system.every_state import change_overs_at, first_fault, lies_between, states_at, witness
from specc.system.model import Conductor, Device, Path, Pole, Port
from specc.system.states import TooManySwitches, circuits, fed_from
from specc.system.system import System
from specc.system.walk import Branch, Crossing, Walk

# -- back-fed ----------------------------------------------------------------------------------------


def _can_be_fed(system: System) -> Iterator[Port]:
    return (port for port in system.connected.ports if port.device.kind in ("panel", "battery"))


def _feeders(port: Port, walked: Walk) -> tuple[Port, ...]:
    """What drives current backwards into an array, or an uncontrolled current into a battery."""
    others = fed_from(port, circuits(walked))
    if port.device.kind == "panel":
        return tuple(other for other in others if other.device.kind in ("battery", "controller"))
    return tuple(
        other
        for other in others
        if other.device.kind == "controller" and other.device.part.type == "current booster"
    )


def _back_fed(system: System, port: Port) -> Answer:
    device = port.device
    required = "no battery and no controller output across it in any state"
    if device.kind == "panel" and device.part.blocking_diode:
        return satisfied(
            device.tag, device.path, f"The leads of {device.tag} have a blocking diode.", required=required
        )
    ends = [end for other in system.connected.ports for end in (other.plus, other.minus)]
    # Shorting something else can hide a circuit, so the clear state is looked at by itself.
    walked = system.walked if _feeders(port, system.walked) else None
    if walked is None:
        try:
            walked = first_fault(system, ends, lambda state: bool(_feeders(port, state)))
        except TooManySwitches as many:
            return unchecked(device.tag, device.path, str(many))
    if walked is None:
        return satisfied(
            device.tag, device.path, f"Nothing feeds {device.tag} backwards in any state.", required=required
        )
    tags = " and ".join(dict.fromkeys(other.device.tag for other in _feeders(port, walked)))
    way = _way(walked, _feeders(port, walked)[0], port)
    how = "drives current back into it" if device.kind == "panel" else "charges it without charge control"
    return violated(
        device.tag,
        way[0].path if way else device.path,
        f"{tags} stands across {device.tag} and {how}. State: {witness(system.connected, walked.closed)}.",
        required=required,
        actual=f"fed by {tags}",
        fix=f"Put a charge controller or a blocking diode between {tags} and {device.tag}, or a change-over "
        "device that cannot join them.",
        related=(*(c.path for c in way[1:]), device.path),
    )


def _way(walked: Walk, first: Port, second: Port) -> tuple[Conductor, ...]:
    way = walked.paths(first.plus, second.plus)
    return tuple(step for step in way if isinstance(step, Conductor))


# A switch that lays the array straight on the bank, past the charge controller.
_PAST_THE_CHARGER = {
    **BATTERY,
    "disconnects.DS9": {"part": "isolator-r", "location": "pump house"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.5 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "Q1.2", "to": "DS9.1", "color": "red"},
            {"from": "DS9.2", "to": "CC1.battery+", "color": "red"},
        ],
    },
}
_PAST_BY_A_FLOAT = {
    **_PAST_THE_CHARGER,
    "disconnects.DS9": None,
    "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.5 m",
        "conductors": [
            {"from": "Q1.2", "to": "LS9.1", "color": "red"},
            {"from": "LS9.2", "to": "CC1.battery+", "color": "red"},
        ],
    },
}

BACK_FED = Rule(
    id="array.back-fed",
    severity=Severity.DANGER,
    title="Battery or controller output across an array in some state",
    checks="In no state of switches and change-over devices does an array share a closed circuit with a "
    "battery or a controller's output, unless its leads have a blocking diode (catalogue key "
    "blocking_diode); and no battery with the output of a current booster. The finding names the state.",
    why="At night a battery drives its current backwards through the modules, and into a faulty one without "
    "limit: cells burn.",
    clauses={
        "us-2023": "690.9(A); 705; 110.3(B)",
        "iec": "62548-1 (battery back-feed); 60364-7-712 712.43",
    },
    look=_can_be_fed,
    examine=_back_fed,
    fires=(
        Case("a switch from array + to battery +", _PAST_THE_CHARGER, subject="PV1"),
        Case("a float contact that does so when the tank is full", _PAST_BY_A_FLOAT, subject="PV1"),
        Case(
            "a float contact that does so, metric rulebook",
            {**_PAST_BY_A_FLOAT, "job.rulebook": "iec"},
            subject="PV1",
        ),
    ),
    keeps_still=(
        Case("no battery"),
        Case("array and battery with a charge controller between", BATTERY),
        Case(
            "a blocking diode in the module leads", {**_PAST_THE_CHARGER, "part:panel-r.blocking_diode": True}
        ),
    ),
    sees_not="What a controller lets back by its own fault; the blocking inside a controller is taken for "
    "granted.",
)

# -- reversed in some state --------------------------------------------------------------------------


def _reversed_in_some_state(system: System, pair: Pair) -> Answer:
    device = pair.device
    required = f"{pair.plus} never negative of {pair.minus}"
    clear = system.walked.voltage(pair.plus, pair.minus)
    if clear is not None and clear < 0.0:
        return unchecked(device.tag, device.path, f"{device.tag} is reversed at rest; see polarity.reversed.")
    try:
        part = system.around((pair.plus, pair.minus))
        tried = list(states_at(system, (pair.plus, pair.minus)))
    except TooManySwitches as many:
        return unchecked(device.tag, device.path, str(many))
    for state in tried:
        walked = system.in_state(state, part)
        volts = walked.voltage(pair.plus, pair.minus)
        if volts is None or volts >= 0.0:
            continue
        turned = _turned(system, walked, pair)
        return violated(
            device.tag,
            turned[0] if turned else device.path,
            f"{pair.plus} of {device.tag} stands {system.show(volts, 'voltage')} against {pair.minus} in one "
            f"state: {witness(system.connected, walked.closed)}.",
            required=required,
            actual=system.show(volts, "voltage"),
            fix="Swap the two conductors on that position of the change-over device.",
            related=(*turned[1:], device.path),
            severity=Severity.ERROR if device.kind == "pump" else None,
        )
    count = f"{len(tried)} combination{'s' if len(tried) > 1 else ''} of change-over contacts"
    return satisfied(
        device.tag,
        device.path,
        f"{device.tag} stays the right way round ({count}).",
        required=required,
        actual="never negative",
    )


def _turned(system: System, walked: Walk, pair: Pair) -> tuple[Path, ...]:
    """The change-over devices that stand otherwise than at rest."""
    tags = change_overs_at(system, (pair.plus, pair.minus))
    moved = (
        p for p in system.connected.poles if walked.closed(p) and not p.clear_closed and p.device.tag in tags
    )
    return tuple(dict.fromkeys(pole.device.path for pole in moved))


# A two-pole change-over switch in the array line, whose second position crosses the two.
_CROSSING_SWITCH = {
    "part:isolator-r-2p.poles": [
        {"between": ends} for ends in (["1", "2"], ["1", "3"], ["4", "5"], ["4", "6"])
    ],
    "part:isolator-r-2p.terminals": [{"name": name} for name in "123456"],
    "disconnects.DS9": {"part": "isolator-r-2p", "location": "pump house"},
    "runs.R1.conductors[1].to": "DS9.5",
    "runs.R2.conductors[0].to": "DS9.2",
    "runs.R2.conductors[3]": {"from": "DS9.1", "to": "CB1.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "DS9.4", "to": "CB1.pv-", "color": "white"},
    "runs.R2.conductors[5]": {"from": "DS9.2", "to": "DS9.6", "color": "red"},
    "runs.R2.conductors[6]": {"from": "DS9.5", "to": "DS9.3", "color": "white"},
}
_AT_THE_MOTOR = {
    **{key: value for key, value in _CROSSING_SWITCH.items() if not key.startswith("runs.")},
    "runs.R2.conductors[2].to": "DS9.2",
    "runs.R2.conductors[3]": {"from": "DS9.1", "to": "DS1.1", "color": "red"},
    "runs.R2.conductors[4]": {"from": "CB1.motor-", "to": "DS9.5", "color": "white"},
    "runs.R2.conductors[5]": {"from": "DS9.2", "to": "DS9.6", "color": "red"},
    "runs.R2.conductors[6]": {"from": "DS9.5", "to": "DS9.3", "color": "white"},
    "runs.R3.conductors[1].from": "DS9.4",
}

REVERSED_IN_SOME_STATE = Rule(
    id="polarity.reversed-in-some-state",
    severity=Severity.DANGER,
    title="Change-over device that turns the polarity round",
    checks="For every combination of the positions of change-over devices, the rated voltage from each "
    "terminal marked + to that marked − is not below zero. The finding names the positions. Danger for "
    "controllers, batteries and electronics, error for motors.",
    why="A transfer switch with two crossed wires works for years on its first position and burns the "
    "controller on the day that somebody throws it.",
    clauses={"us-2023": "110.3(B); 690.31(B) (polarity identification)", "iec": "62446-1; 60445; 62548-1"},
    look=marked_pairs,
    examine=_reversed_in_some_state,
    fires=(
        Case(
            "a change-over switch before the controller, crossed in its second position",
            _CROSSING_SWITCH,
            subject="CB1",
        ),
        Case(
            "a reversing switch before the motor",
            _AT_THE_MOTOR,
            severity=Severity.ERROR,
            subject="P1",
        ),
        Case(
            "a crossed change-over switch, metric rulebook",
            {"job.rulebook": "iec", **_CROSSING_SWITCH},
            subject="CB1",
        ),
    ),
    keeps_still=(
        Case("no change-over device"),
        Case(
            "a change-over switch with both positions alike",
            {
                **_CROSSING_SWITCH,
                "runs.R2.conductors[5]": {"from": "DS9.2", "to": "DS9.3", "color": "red"},
                "runs.R2.conductors[6]": {"from": "DS9.5", "to": "DS9.6", "color": "white"},
            },
        ),
    ),
    sees_not="Plugs that fit both ways round.",
)

# -- leaves live -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Cut:
    """A device worked by hand, a port behind it, and the sources that it cuts from that port."""

    device: Device
    load: Port
    sources: tuple[Port, ...]
    nets: frozenset[str]  # of those sources
    opened: frozenset[str]  # nets in which the device has a pole


_MEANS = ("isolator", "breaker")


def _cuts(system: System) -> Iterator[_Cut]:
    walked = system.walked
    for device in system.of_kind(*_MEANS):
        found: dict[Port, list[Port]] = {}
        nets: dict[Port, set[str]] = {}
        opened: dict[Port, set[str]] = {}
        for pole in system.poles_of(device):
            branch = walked.branch(pole)
            for pair in walked.crossings(branch) if branch is not None else ():
                if pair.load.device.kind == "battery" or not _on_the_way(walked, branch, pole, pair):
                    continue  # a battery is a source itself
                found.setdefault(pair.load, []).extend(pair.source.ports)
                nets.setdefault(pair.load, set()).update((pair.source.plus, pair.source.minus))
                opened.setdefault(pair.load, set()).add(walked.net(pole.a))
        for load, ports in found.items():
            yield _Cut(
                device, load, tuple(dict.fromkeys(ports)), frozenset(nets[load]), frozenset(opened[load])
            )


def _on_the_way(walked: Walk, branch: Branch | None, pole: Pole, pair: Crossing) -> bool:
    """Does a pole stand between source and load, also where another way runs round it?"""
    if branch is None or branch.sole:
        return branch is not None
    source = [end for port in pair.source.ports for end in (port.plus, port.minus)]
    load = (pair.load.plus, pair.load.minus)
    return any(lies_between(walked, pole, a, b) for a in source for b in load)


def _still_fed(system: System, cut: _Cut, walked: Walk) -> tuple[Port, ...]:
    """What feeds the port in spite of the open device: what it should cut, or what nothing else cuts."""
    return tuple(
        port
        for port in fed_from(cut.load, circuits(walked))
        if port in cut.sources or not _cut_elsewhere(system, cut.device, port, cut.load)
    )


def _cut_elsewhere(system: System, device: Device, source: Port, load: Port) -> bool:
    """Has another device a pole between source and port, or before the controller that is the source?"""
    pairs = [(source, load)]
    if source.device.kind == "controller":
        inputs = [p for p in system.connected.ports_of(source.device) if p.takes]
        pairs += [(member, p) for p in inputs for s in system.walked.feeds(p) for member in s.ports]
    for pole in system.connected.poles:
        branch = system.walked.branch(pole)
        if pole.device is device or pole.device.kind not in _MEANS or branch is None:
            continue
        for crossing in system.walked.crossings(branch):
            if any(one in crossing.source.ports and other is crossing.load for one, other in pairs):
                return True
    return False


def _touched(system: System, cut: _Cut, walked: Walk) -> tuple[str, ...]:
    """Terminals of the port that a way round the open pole still joins to the live net of a source.

    Only where the device opens every live pole: for one that does not see ``disconnect.poles``.
    """
    live = cut.nets - solidly_grounded_nets(system)
    if not live or not live <= cut.opened:
        return ()
    ends = {
        walked.net(end)
        for port in cut.sources
        for end in (port.plus, port.minus)
        if system.walked.net(end) in live
    }
    return tuple(end for end in (cut.load.plus, cut.load.minus) if walked.net(end) in ends)


def _leaves_live(system: System, cut: _Cut) -> Answer:
    device, load = cut.device, cut.load
    required = f"{load.plus} and {load.minus} dead with {device.tag} open, but for what is grounded"

    def barred(pole: Pole) -> bool:
        return pole.device is device

    def fault(walked: Walk) -> bool:
        return bool(_still_fed(system, cut, walked) or _touched(system, cut, walked))

    try:
        walked = first_fault(system, (load.plus, load.minus), fault, barred)
    except TooManySwitches as many:
        return unchecked(device.tag, device.path, str(many))
    if walked is None:
        return satisfied(
            device.tag,
            device.path,
            f"With {device.tag} open, {load.device.tag} ({load.name}) is dead.",
            required=required,
            actual="dead",
        )
    tags = " and ".join(dict.fromkeys(p.device.tag for p in _still_fed(system, cut, walked)))
    hot = " and ".join(_touched(system, cut, walked))
    round_it = _round(system, walked, device)
    by = f" by way of {' and '.join(c.tag for c in round_it)}" if round_it else ""
    told = f"is still fed by {tags}" if tags else f"is still live at {hot}"
    return violated(
        device.tag,
        round_it[0].path if round_it else device.path,
        f"With {device.tag} open, {load.device.tag} ({load.name}) {told}{by}. State: "
        f"{witness(system.connected, walked.closed)}.",
        required=required,
        actual=f"fed by {tags}" if tags else f"live at {hot}",
        fix=f"Take off what runs round {device.tag}."
        if round_it
        else f"Put an isolator of its own between {tags or 'each source'} and {load.device.tag}.",
        related=(*(c.path for c in round_it[1:]), device.path, load.device.path),
    )


def _round(system: System, walked: Walk, device: Device) -> tuple[Conductor, ...]:
    """Conductors of the way round an open pole: the first and the last."""
    for pole in system.poles_of(device):
        way = [step for step in walked.paths(pole.a, pole.b) if isinstance(step, Conductor)]
        if way:
            return (way[0],) if len(way) == 1 else (way[0], way[-1])
    return ()


_ROUND_THE_SWITCH = {"runs.R2.conductors[3]": {"from": "F1.2", "to": "P1.+", "color": "red"}}
_FLOAT_ROUND_THE_SWITCH = {
    "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
    "runs.R2.conductors[3]": {"from": "DS1.1", "to": "LS9.1", "color": "red"},
    "runs.R2.conductors[4]": {"from": "LS9.2", "to": "DS1.2", "color": "red"},
}
_SECOND_ARRAY = {
    "panels.PV2": {"part": "panel-r", "series": 2, "mounted": "ground", "location": "array"},
    "runs.R1.conductors[3]": {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
    "runs.R1.conductors[4]": {"from": "PV2.+", "to": "CB1.pv+", "color": "red"},
}

LEAVES_LIVE = Rule(
    id="disconnect.leaves-live",
    severity=Severity.DANGER,
    title="Open isolator that leaves what is behind it live",
    checks="With each isolator or breaker open and every other contact in any state, the port behind it is "
    "fed neither by a source that the device should cut nor by one that nothing else cuts; where the device "
    "opens all ungrounded poles, none of them is joined to its source another way. The finding names the "
    "state.",
    why="Somebody opens the switch, sees it open, and puts hands to a terminal that a forgotten wire, a "
    "float contact or a second array still feeds.",
    clauses={
        "us-2023": "690.13; 690.15; 430.103; 110.25",
        "iec": "60364-5-53 536.2 (isolation); 60364-7-712 712.537",
    },
    look=_cuts,
    examine=_leaves_live,
    fires=(
        Case("a wire from the fuse straight to the motor", _ROUND_THE_SWITCH, subject="DS1"),
        Case("a float contact across the switch", _FLOAT_ROUND_THE_SWITCH, subject="DS1"),
        Case("a second array straight on the controller", _SECOND_ARRAY, subject="Q1"),
        Case("a wire round the switch, metric rulebook", {**METRIC, **_ROUND_THE_SWITCH}, subject="DS1"),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a second array with a breaker of its own",
            {
                **_SECOND_ARRAY,
                "breakers.Q2": {"part": "breaker-r"},
                "runs.R1.conductors[4]": {"from": "PV2.+", "to": "Q2.1", "color": "red"},
                "runs.R2.conductors[3]": {"from": "Q2.2", "to": "CB1.pv+", "color": "red"},
            },
        ),
        Case("battery and array on one motor, each with its own", BATTERY),
        Case("one pole in a floating system: disconnect.poles tells of it", FLOATING),
    ),
    sees_not="Charge in the capacitors of a controller; voltage from other systems in the same box.",
)

RULES = (BACK_FED, REVERSED_IN_SOME_STATE, LEAVES_LIVE)
