"""Rules on polarity: everything the right way round, no short in any state, breakers facing their source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from specc.diagnostics import Edit, Severity
from specc.rules._edits import BATTERY
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.every_state import everything_closed, nearest_to_clear, states_at, witness
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Device, Path, Pole, Port
from specc.system.states import TooManySwitches, bonded_nets
from specc.system.system import System
from specc.system.walk import State, Walk

# -- reversed ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Pair:
    """Two terminals of a device, marked + and −."""

    device: Device
    plus: str
    minus: str
    port: Port | None


def marked_pairs(system: System) -> Iterator[Pair]:
    """Every port, and on devices without ports the two terminals marked + and −."""
    with_ports = {port.device for port in system.connected.ports}
    for port in system.connected.ports:
        yield Pair(port.device, port.plus, port.minus, port)
    for device in system.devices.values():
        if device in with_ports or device.kind in ("breaker", "isolator"):
            continue
        marks = {t.marked: t.id for t in system.connected.terminals_of(device)}
        if "+" in marks and "-" in marks:
            yield Pair(device, marks["+"], marks["-"], None)


def _reversed(system: System, pair: Pair) -> Answer:
    walked, device = system.walked, pair.device
    plus, minus = walked.net(pair.plus), walked.net(pair.minus)
    if plus == minus:
        return unchecked(device.tag, device.path, f"{pair.plus} and {pair.minus} are on one net.")
    volts = walked.voltage(pair.plus, pair.minus)
    if volts is None:
        return unchecked(device.tag, device.path, f"no source reaches both {pair.plus} and {pair.minus}.")
    wrong = [mark for mark, ends in (("+", plus), ("-", minus)) if not _source_end(walked, ends, mark)]
    if volts > 0.0 and not wrong:
        return satisfied(
            device.tag,
            device.path,
            f"{pair.plus} is positive of {pair.minus}.",
            required="+ on a source +, − on a source −",
            actual=f"{system.show(volts, 'voltage')} rated",
        )
    crossed = _crossing(walked, pair)
    swap = tuple(crossed)
    first = [c.path for c in swap]
    names = " and ".join(c.tag for c in swap)
    return violated(
        device.tag,
        first[0] if first else device.path,
        f"{pair.plus} of {device.tag} is on the net of a source −, and {pair.minus} on that of a source +: "
        f"{system.show(volts, 'voltage')} from + to −."
        if volts <= 0.0
        else f"{pair.plus if '+' in wrong else pair.minus} of {device.tag} is on a net that is no source's "
        f"{wrong[0]} end.",
        required="+ on a source +, − on a source −",
        actual=f"{system.show(volts, 'voltage')} from {pair.plus} to {pair.minus}",
        fix=f"Swap {names}, where they first part from the poles of the source."
        if len(swap) > 1
        else f"Swap the conductors on {pair.plus} and {pair.minus}.",
        related=(*first[1:], device.path),
        severity=Severity.ERROR if device.kind == "pump" else None,
        mends=_swapped(walked, crossed)
        if len(swap) > 1
        else turned(system.conductors, pair.plus, pair.minus),
    )


def _swapped(walked: Walk, pair: Mapping[Conductor, str]) -> tuple[Edit, ...]:
    """The ends of two conductors away from their source exchanged; nothing where a way runs round one."""
    ends: list[tuple[Path, str]] = []
    for conductor, source in pair.items():
        branch = walked.branch(conductor)
        if branch is None or not branch.sole:
            return ()
        far = ("to", conductor.end) if source in branch.on_start else ("from", conductor.start)
        ends.append((conductor.path + (far[0],), far[1]))
    (one, at_one), (other, at_other) = ends
    return ((one, at_other), (other, at_one))


def turned(conductors: Iterable[Conductor], a: str, b: str) -> tuple[Edit, ...]:
    """All that ends on two terminals exchanged."""
    return tuple(
        (conductor.path + (key,), b if end == a else a)
        for conductor in conductors
        for key, end in (("from", conductor.start), ("to", conductor.end))
        if end in (a, b)
    )


def _source_end(walked: Walk, net: str, mark: str) -> bool:
    """Does some source have this end on the net?"""
    ports = (p for p in walked.connected.ports if p.gives)
    return any(walked.net(p.plus if mark == "+" else p.minus) == net for p in ports)


def _crossing(walked: Walk, pair: Pair) -> dict[Conductor, str]:
    """The two conductors whose swap mends a reversed pair, each with the source end that it comes from.

    They are where colours first change, else at the device.
    """
    found: dict[Conductor, str] = {}
    for end, mark in ((pair.minus, "+"), (pair.plus, "-")):
        source, way = _way_from_source(walked, pair.device, end, mark)
        changed = (b for a, b in pairwise(way) if a.color.casefold() != b.color.casefold())
        conductor = next(changed, way[-1] if way else None)
        if conductor is not None:
            found[conductor] = source
    return found


def _way_from_source(walked: Walk, device: Device, end: str, mark: str) -> tuple[str, tuple[Conductor, ...]]:
    """The nearest source end of this mark, and the conductors from it to a terminal, in order."""
    ways: list[tuple[str, tuple[Conductor, ...]]] = []
    for port in walked.connected.ports:
        start = port.plus if mark == "+" else port.minus
        if port.gives and port.device is not device and walked.net(start) == walked.net(end):
            ways.append((start, tuple(w for w in walked.paths(start, end) if isinstance(w, Conductor))))
    return min((way for way in ways if way[1]), key=lambda way: len(way[1]), default=("", ()))


_CROSSED_AT_A_BLOCK = {
    "terminal_blocks.TB1": {"part": "block-r", "location": "pump house"},
    "runs.R1.conductors[1].to": "TB1.1",
    "runs.R2.conductors[0].to": "TB1.3",
    "runs.R2.conductors[3]": {"from": "TB1.2", "to": "CB1.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "TB1.4", "to": "CB1.pv-", "color": "white"},
}

REVERSED = Rule(
    id="polarity.reversed",
    severity=Severity.DANGER,
    title="Terminal marked + on the negative of its source",
    checks="The net of each terminal marked + traces to a source + and that of each terminal marked − to a "
    "source −, "
    "through every terminal block and pole; the rated voltage from + to − is above zero. Danger for "
    "controllers, "
    "batteries and electronics, error for motors.",
    why="Reversed electronics or batteries burn. A centrifugal pump on a reversed permanent-magnet motor "
    "still turns "
    "and still lifts a little, so the fault hides at commissioning.",
    clauses={
        "us-2023": "110.3(B); 690.31(B) (polarity identification)",
        "iec": "62446-1 (polarity test); 62548-1; 60445",
    },
    look=marked_pairs,
    examine=_reversed,
    fires=(
        Case("the array's + and − crossed at one terminal block", _CROSSED_AT_A_BLOCK, subject="CB1"),
        Case(
            "the two leads crossed at the motor",
            {"runs.R3.conductors[0].to": "P1.-", "runs.R3.conductors[1].to": "P1.+"},
            severity=Severity.ERROR,
            subject="P1",
        ),
        Case(
            "the array's + and − crossed at one terminal block, metric rulebook",
            {"job.rulebook": "iec", **_CROSSED_AT_A_BLOCK},
            subject="CB1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "crossed twice: the net result is right (the colours are not)",
            {
                **_CROSSED_AT_A_BLOCK,
                "runs.R2.conductors[3].to": "CB1.pv-",
                "runs.R2.conductors[4].to": "CB1.pv+",
            },
        ),
    ),
    sees_not="Colours that change along a net (ground.colour-changes); two sources in parallel of unlike "
    "voltage.",
)

# -- short -------------------------------------------------------------------------------------------


def _sources(system: System) -> Iterator[Port]:
    return (port for port in system.connected.ports if port.gives)


def _short(system: System, port: Port) -> Iterable[Answer]:
    device = port.device
    # What is not joined with every pole closed is joined in no state.
    # Bonds may join nets of different parts, so all of it is walked.
    everything = everything_closed(system)
    tried: list[State] = []
    if _joined(everything, port):
        try:
            tried = list(states_at(system, (port.plus, port.minus)))
        except TooManySwitches as many:
            return [unchecked(device.tag, device.path, str(many))]
    found: dict[str, Answer] = {}
    for state in tried:
        walked = system.in_state(state)
        if _joined(walked, port):
            nearest = nearest_to_clear(system, walked, lambda state: _joined(state, port))
            answer = _shorted(system, nearest, port)
            found[answer.message] = answer
    if found:
        return found.values()
    count = f"{len(tried)} combinations" if tried else "all positions at once"
    return [
        satisfied(
            device.tag,
            device.path,
            f"{port.plus} and {port.minus} stay on two nets with every contact closed "
            f"(change-over devices: {count}).",
            required="two nets in every state",
            actual="two nets",
        )
    ]


def _joined(walked: Walk, port: Port) -> bool:
    """Are both ends on one net, or on nets that the same grounding net bonds together?"""
    ends = set(walked.port_nets(port))
    return len(ends) == 1 or any(ends <= nets for nets in bonded_nets(walked).values())


def _shorted(system: System, walked: Walk, port: Port) -> Answer:
    device = port.device
    way = walked.paths(port.plus, port.minus)
    conductors = [w for w in way if isinstance(w, Conductor)]
    poles = [w for w in way if isinstance(w, Pole)]
    switches = list(dict.fromkeys(p.device for p in poles if p.sensor)) or list(
        dict.fromkeys(p.device for p in poles)
    )
    if not way:
        by, fix = "through two bonds to one grounding net", "Bond one pole of the source only, at one point."
        paths: list[Path] = [b.path for b in walked.bonds]
    elif switches:
        names = ", ".join(s.tag for s in switches)
        by = f"whenever {names} is closed, by way of {', '.join(w.tag for w in conductors)}"
        fix = f"Put {names} in series with the load, or on the remote terminals of the controller."
        paths = [c.path for c in conductors if _touches(c, switches[0])] + [s.path for s in switches]
    else:
        by = f"by way of {', '.join(w.tag for w in conductors)}" if conductors else "inside a device"
        fix = (
            f"Take {conductors[-1].tag} off one of its ends."
            if conductors
            else "Take out the link that joins them."
        )
        paths = [c.path for c in reversed(conductors)]
    return violated(
        device.tag,
        paths[0] if paths else device.path,
        f"{port.plus} and {port.minus} of {device.tag} are joined {by}: a short circuit. State: "
        f"{witness(system.connected, walked.closed)}.",
        required="two nets in every state",
        actual="one net",
        fix=fix,
        related=(*paths[1:], device.path),
        mends=((conductors[-1].path, None),) if conductors and not switches else (),
    )


def _touches(conductor: Conductor, device: Device) -> bool:
    return any(end.split(".")[0] == device.tag for end in (conductor.start, conductor.end))


_FLOAT_ACROSS_THE_ARRAY = {
    "switches.LS3": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "10 m",
        "conductors": [
            {"from": "Q1.2", "to": "LS3.1", "color": "red"},
            {"from": "LS3.2", "to": "CB1.pv-", "color": "white"},
        ],
    },
}

SHORT = Rule(
    id="polarity.short-in-some-state",
    severity=Severity.DANGER,
    title="Both poles of a source on one net in some state",
    checks="For every combination of switch, breaker and change-over positions, no source has its + and − "
    "on one net, "
    "nor on two nets bonded to the same grounding net. Closing a contact only joins more, so all are "
    "closed at once "
    "and only change-over devices are tried in each position.",
    why="A float switch wired across the array to stop the pump works for a while; then its contact welds "
    "or arcs, "
    "and it is a bolted fault on the day a battery joins.",
    clauses={"us-2023": "110.3(B), 110.9", "iec": "60364-4-43 434; 62548-1"},
    look=_sources,
    examine=_short,
    fires=(
        Case(
            "a float contact from array + to array −, closing when the tank is full",
            _FLOAT_ACROSS_THE_ARRAY,
            subject="PV1",
        ),
        Case(
            "a float contact across the motor",
            {
                **_FLOAT_ACROSS_THE_ARRAY,
                "runs.R9.conductors[0].from": "DS1.2",
                "runs.R9.conductors[1].to": "P1.-",
            },
            subject="CB1",
        ),
        Case(
            "both poles of the battery bonded to ground",
            {**BATTERY, "runs.R5.conductors[2]": {"from": "BT1.+", "to": "BOX1.ground", "color": "green"}},
            subject="BT1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a float contact from the remote terminal to its own return",
            {
                "switches.LS2": None,
                "switches.TS1": None,
                "runs.R4.conductors": [
                    {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
                    {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
                ],
            },
        ),
    ),
    sees_not="A contact that welds in both positions of a change-over switch, and a first fault to earth.",
)

# -- breaker direction -------------------------------------------------------------------------------


def _polarised_poles(system: System) -> Iterator[Pole]:
    for pole in system.connected.poles:
        if getattr(pole.device.part, "polarised", False):
            yield pole


def _direction(system: System, pole: Pole) -> Answer:
    walked, device = system.walked, pole.device
    path = device.path + ("part",)
    branch = walked.branch(pole)
    sides = {end: walked.sources_on(branch, side) for end, side in _ends(pole)} if branch is not None else {}
    if branch is None or not any(sides.values()):
        return unchecked(device.tag, device.path, f"no source reaches {pole.a} or {pole.b}.")
    if not branch.sole:
        return unchecked(device.tag, device.path, f"another path runs round {pole.a} and {pole.b}.")
    towards = _faces_source(system, pole)
    away = pole.b if towards == pole.a else pole.a
    if all(sides.values()):
        tags = [" and ".join(dict.fromkeys(s.tag for s in sides[end])) for end in (towards, away)]
        return violated(
            device.tag,
            path,
            f"{device.tag} is polarised, but fault current can come from both sides of it: from {tags[0]} "
            f"to {towards} "
            f"and from {tags[1]} to {away}. It may fail to open in one of the two directions.",
            required="a device that opens in both directions",
            actual="polarised",
            fix="Take a breaker that its maker marks as non-polarised.",
        )
    tag = " and ".join(dict.fromkeys(s.tag for end in sides for s in sides[end]))
    if sides[away]:
        return violated(
            device.tag,
            path,
            f"{device.tag} is polarised and stands the wrong way round: {tag} feeds it at {away}, "
            f"and should at {towards}.",
            required=f"{tag} on {towards}",
            actual=f"{tag} on {away}",
            fix=f"Turn {device.tag} round: swap the conductors on {pole.a} and {pole.b}; or take a "
            "non-polarised one.",
            related=_conductors_on(system, pole),
            mends=turned(system.conductors, pole.a, pole.b),
        )
    return satisfied(
        device.tag,
        path,
        f"{towards} of {device.tag} faces {tag}.",
        required=f"{tag} on {towards}",
        actual=f"{tag} on {towards}",
    )


def _ends(pole: Pole) -> tuple[tuple[str, str], ...]:
    return ((pole.a, "start"), (pole.b, "end"))


def _conductors_on(system: System, pole: Pole) -> tuple[Path, ...]:
    return tuple(c.path for c in system.conductors if {c.start, c.end} & {pole.a, pole.b})


def _faces_source(system: System, pole: Pole) -> str:
    """The terminal that belongs towards the source, by the marks.

    Line faces the source in either leg. Where a maker marks + and −, current enters at the +: that
    faces the source in the positive leg and the load in the negative one.
    """
    marks = {system.terminal(end).marked: end for end in (pole.a, pole.b)}
    if "line" in marks or "load" in marks:
        return marks.get("line") or _other(pole, marks["load"])
    if "+" in marks or "-" in marks:
        plus = marks.get("+") or _other(pole, marks["-"])
        positive = _source_end(system.walked, system.walked.net(pole.a), "+")
        return plus if positive else _other(pole, plus)
    device = pole.device
    raise MissingDatum(
        f"{device.tag}: which of {pole.a} and {pole.b} is line and which load (catalogue part "
        f"{device.part.id}, "
        "key marked of its terminals)",
        device.path + ("part",),
        "terminals.marked",
    )


def _other(pole: Pole, end: str) -> str:
    return pole.b if end == pole.a else pole.a


_TURNED = {"runs.R1.conductors[0].to": "Q1.2", "runs.R2.conductors[0].from": "Q1.1"}

BREAKER_DIRECTION = Rule(
    id="polarity.breaker-direction",
    severity=Severity.DANGER,
    title="Polarised breaker or switch facing away from its source",
    checks="The line (or +) terminal of each polarised pole faces the source that feeds a fault. Where "
    "fault current "
    "can come from both sides (battery and array, parallel strings) a polarised device is wrong either way "
    "round.",
    why="The magnet of a polarised breaker drives the arc into the chute for one direction of current "
    "only; the other "
    "way it holds the arc on the contacts, and the breaker burns.",
    clauses={"us-2023": "110.3(B); 240.15; 690.9(B)", "iec": "60947-2; 60364-7-712 712.537 (non-polarised)"},
    look=_polarised_poles,
    examine=_direction,
    fires=(
        Case("the breaker with its load terminal to the array", _TURNED, subject="Q1"),
        Case(
            "a polarised breaker in a two-source circuit",
            {
                "batteries.BT1": {"part": "battery-agm-12v-55ah", "series": 2, "location": "pump house"},
                "runs.R2.conductors[3]": {"from": "BT1.+", "to": "Q1.2", "color": "red"},
                "runs.R2.conductors[4]": {"from": "BT1.-", "to": "CB1.pv-", "color": "white"},
            },
            subject="Q1",
        ),
    ),
    keeps_still=(
        Case("as it stands"),
        Case("a non-polarised breaker, reversed", {**_TURNED, "breakers.Q1.part": "breaker-r-free"}),
    ),
    sees_not="Whether a device that does not say so is polarised: the catalogue must.",
)

RULES = (REVERSED, SHORT, BREAKER_DIRECTION)
