"""Rules on whether the wiring closes its circuits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from specc.diagnostics import Severity
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import BATTERY, METRIC
from specc.system.model import Conductor, Device, Path, Port, Run, Terminal
from specc.system.states import circuits, fed_from
from specc.system.system import System
from specc.system.walk import Source, Walk


def _power_ports(system: System) -> Iterator[Port]:
    return iter(system.connected.ports)


def _open_path(system: System, port: Port) -> Answer | None:
    tag, path = port.device.tag, port.device.path
    crossed = _between_two_supplies(system.walked, port) if port.takes else None
    if crossed is not None:
        return _crossed(system, port, crossed)
    fed = bool(fed_from(port, system.circuits())) if port.takes else False
    feeds = any(_is_load_of(port, other) for other in system.circuits()[port])
    if fed or (port.gives and feeds):
        return satisfied(tag, path, f"{port.plus} and {port.minus} lie on a closed path.")
    if port.device.kind == "controller" and not port.takes:
        return None  # an output that is not used
    astray = _over_ground(system.walked, port)
    if astray:
        return _returns_over_ground(system, port, astray)
    contacts = _closed_by(system, port)
    because = _why_open(system.walked, port)
    if contacts:
        names = ", ".join(device.tag for device in contacts)
        because = f"the path closes only through {names}, open while all is in the clear"
    return violated(
        tag,
        path,
        f"No closed path runs through {port.plus} and {port.minus} of {tag}: {because}.",
        required="a closed path from source + through the load to source −",
        actual=because,
        fix=_fix(system, port, contacts),
        related=tuple(device.path for device in contacts),
    )


def _between_two_supplies(walked: Walk, port: Port) -> tuple[Source, Source] | None:
    """The sources of the two ends of a load that no source is across: + of one, − of another."""
    if walked.feeds(port):
        return None
    plus, minus = (
        [s for s in walked.sources_at(end) if port not in s.ports] for end in (port.plus, port.minus)
    )
    if not plus or not minus or set(plus) & set(minus):
        return None
    return plus[0], minus[0]


def _crossed(system: System, port: Port, ends: tuple[Source, Source]) -> Answer:
    tag, (first, second) = port.device.tag, ends
    because = f"{port.plus} lies on {first.tag}, {port.minus} on {second.tag}"
    leads = [c.path for c in system.conductors if {c.start, c.end} & {port.plus, port.minus}]
    return violated(
        tag,
        leads[0] if leads else port.device.path,
        f"The two leads of {tag} lie on two supplies: {because}, and nothing else joins these.",
        required="both leads on one source",
        actual=because,
        fix=f"Change over a lead of {tag} with the one that went to its own source, at {first.tag} or "
        f"{second.tag} or where they share a box.",
        related=(*leads[1:], port.device.path),
        severity=Severity.DANGER,
    )


def _over_ground(walked: Walk, port: Port) -> tuple[Conductor, ...]:
    """Conductors by which the loose ends of a port lie on a grounding net that is bonded elsewhere too."""
    nets = {walked.net(end) for end, _ in _loose_ends(walked, port)}
    leads = [b for b in walked.bonds if isinstance(b, Conductor)]
    astray = tuple(c for c in leads if nets & {walked.net(c.start), walked.net(c.end)})
    return astray if len(walked.bonds) > len(astray) else ()


def _returns_over_ground(system: System, port: Port, astray: tuple[Conductor, ...]) -> Answer:
    tag, names = port.device.tag, " and ".join(c.tag for c in astray)
    nets = {system.walked.net(end) for c in astray for end in (c.start, c.end)}
    ends = [end for end, _ in _loose_ends(system.walked, port) if system.walked.net(end) in nets]
    because = f"{' and '.join(ends)} comes home over the grounding conductors alone, by {names}"
    return violated(
        tag,
        astray[0].path,
        f"The current of {tag} runs over the grounding net: {because}. Every case and frame on it "
        "carries that current, and one loose screw puts them all at the voltage of the system.",
        required="a closed path over circuit conductors",
        actual=because,
        fix=f"Take {names} off the grounding net. {_fix(system, port, ())}",
        related=(port.device.path,),
        severity=Severity.DANGER,
    )


def _is_load_of(port: Port, other: Port) -> bool:
    """Does another port take what this one gives? Batteries side by side feed nothing by that."""
    both_batteries = port.device.kind == other.device.kind == "battery"
    return other.takes and other.device is not port.device and not both_batteries


def _closed_by(system: System, port: Port) -> tuple[Device, ...]:
    """Sensing switches that are open in the clear, but would close the path."""
    opened = [p for p in system.connected.poles if p.sensor and not p.clear_closed]
    if not opened:
        return ()
    every = system.in_state(lambda pole: True)
    if not any(other.device is not port.device for other in circuits(every)[port]):
        return ()
    nets = set(every.port_nets(port))
    return tuple(dict.fromkeys(p.device for p in opened if every.net(p.a) in nets))


def _source_ends(walked: Walk, port: Port, mark: str) -> list[str]:
    """Terminals of source ports by which a conductor from this end of a port should come home."""
    givers = [p for p in walked.connected.ports if p.gives and p.device is not port.device]
    if not port.takes:
        givers = [p for p in walked.connected.ports if p.takes and p.device is not port.device]
    return [p.plus if mark == "+" else p.minus for p in givers]


def _loose_ends(walked: Walk, port: Port) -> list[tuple[str, str]]:
    """Ends of a port, with their mark, whose net meets no port of another device."""
    loose = []
    for end, mark in ((port.plus, "+"), (port.minus, "-")):
        others = (p for p in walked.connected.ports if p.device is not port.device)
        meets = any(walked.net(end) in walked.port_nets(p) for p in others)
        if not meets:
            loose.append((end, mark))
    return loose


def _why_open(walked: Walk, port: Port) -> str:
    if walked.net(port.plus) == walked.net(port.minus):
        return "both are on one net"
    loose = _loose_ends(walked, port)
    if not loose:
        return "no source is across the two nets on which they lie"
    return " and ".join(f"{end} reaches {_members(walked, end)}" for end, _ in loose)


def _members(walked: Walk, terminal: str) -> str:
    others = [t for t in walked.members[walked.net(terminal)] if t != terminal]
    return f"only {', '.join(others)}" if others else "nothing"


def _fix(system: System, port: Port, contacts: tuple[Device, ...]) -> str:
    if contacts:
        return f"Use a contact of {contacts[0].tag} that is closed in the clear."
    walked = system.walked
    for end, mark in _loose_ends(walked, port):
        near = _nearest(system, end, walked.net(end))
        wanted = {walked.net(t) for t in _source_ends(walked, port, mark)}
        targets = [t for t in _free(system) if walked.net(t.id) in wanted]
        here = walked.members[walked.net(end)]
        if targets:
            target = min(
                targets,
                key=lambda t: (t.device.box != near.device.box, t.device.location != near.device.location),
            )
            return (
                f"Join the net of {', '.join(here)} to that of {target.id}: a conductor from {near.id} "
                f"to {target.id}."
            )
        other = "its source" if port.takes else "what it feeds"
        return f"Run a conductor from {near.id} to the {mark} of {other}."
    return f"Wire {port.plus} and {port.minus} to the two poles of one source."


def _nearest(system: System, end: str, net: str) -> Terminal:
    """The free terminal of a net; else the end itself."""
    free = [t for t in _free(system) if system.walked.net(t.id) == net and t.id != end]
    return free[0] if free else system.terminal(end)


def _free(system: System) -> list[Terminal]:
    """Power terminals on which no conductor ends and that are not set aside as spare."""
    used = {end for c in system.conductors for end in (c.start, c.end)}
    return [
        t
        for t in system.connected.terminals.values()
        if t.id not in used and t.role == "power" and t.name not in getattr(t.device.spec, "spare", ())
    ]


_HOME_OVER_GROUND = {"runs.R3.conductors[1]": {"from": "BOX1.ground", "to": "P1.-", "color": "white"}}

OPEN_PATH = Rule(
    id="wiring.open-path",
    severity=Severity.ERROR,
    title="A load or a source that is on no closed path",
    checks="With the system ready to run, a closed path exists from source + through the load to source −, "
    "through "
    "the poles of all devices, for every pump, every controller input, every array and every battery. Where "
    "only grounding conductors close it, that is a danger.",
    why="A job that is wired with one conductor too few does nothing on the day, and the missing one is "
    "looked for "
    "in the heat with live ends lying about.",
    clauses={"us-2023": "110.3(B)", "iec": "60364-6 6.4.3.2 (continuity of conductors)"},
    look=_power_ports,
    examine=_open_path,
    fires=(
        Case("no conductor from the fuse to the motor +", {"runs.R2.conductors[2]": None}, subject="P1"),
        Case("no conductor back from the motor", {"runs.R3.conductors[1]": None}, subject="P1"),
        Case("no conductor from the array −", {"runs.R1.conductors[1]": None}, subject="CB1"),
        Case("the motor comes home over the grounding net", _HOME_OVER_GROUND, Severity.DANGER, subject="P1"),
    ),
    keeps_still=(
        Case("as it stands"),
        Case(
            "a conductor doubled in parallel",
            {"runs.R2.conductors[3]": {"from": "F1.2", "to": "DS1.1", "color": "red"}},
        ),
    ),
    sees_not="Whether a remote loop lets the controller run: see control.stop-logic. The output of a "
    "controller that "
    "feeds nothing is no fault by itself.",
)


# -- length --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Way:
    """What something else in the spec says that a run must span, in words, and where it says so."""

    length_m: float
    words: str
    places: tuple[Path, ...]


def _measured(system: System) -> Iterator[tuple[Run, _Way]]:
    """Each run of whose length something else in the spec speaks too, with the longest way that it goes."""
    for run in system.connected.runs.values():
        ways = [way for way in _ways(system, run) if way is not None]
        if ways and run.conductors:
            yield run, max(ways, key=lambda way: way.length_m)


def _ways(system: System, run: Run) -> Iterator[_Way | None]:
    if run.raceway is not None:
        path = run.raceway.path + ("length",)
        yield _Way(float(run.raceway.spec.length), f"{run.raceway.tag}, in which it lies, is", (path,))
    for conductor in run.conductors:
        yield _between(system, conductor)


def _between(system: System, conductor: Conductor) -> _Way | None:
    here, there = (system.terminal(end).device for end in (conductor.start, conductor.end))
    sight = system.connected.places.between(here.location, there.location)
    if sight is None or here.location == there.location:
        return None
    words = f"from {here.tag} to {there.tag}, between {here.location} and {there.location}, it is"
    return _Way(
        sight.distance_m, words, tuple(d.path + ("location",) for d in (here, there) if d.spec.location)
    )


def _too_short(system: System, subject: tuple[Run, _Way]) -> Answer:
    run, way = subject
    show, slack = system.show, system.handbook.threshold("run_length_slack_fraction")
    length = float(run.spec.length)
    path = run.path + ("length",)
    required, actual = f"about {show(way.length_m, 'length')} or more", show(length, "length")
    if reaches(length, (1.0 - slack.value) * way.length_m):
        return satisfied(
            run.tag, path, f"{run.tag} is long enough for where it goes.", required=required, actual=actual
        )
    return violated(
        run.tag,
        path,
        f"{run.tag} is said to be {actual} long, but {way.words} {show(way.length_m, 'length')}: one of the "
        "two is wrong, and its drop and every distance along it rest on that.",
        required=required,
        actual=actual,
        fix=f"Measure the way of {run.tag} and write it, or correct the other figure or the place.",
        related=way.places,
    )


TOO_SHORT = Rule(
    id="wiring.run-too-short",
    severity=Severity.ERROR,
    title="Run shorter than the way that it goes",
    checks="The length of a run >= the length of its raceway, and >= the distance of the places of its two "
    "ends in [[sightlines]], each less a tenth (common practice).",
    why="A wire cannot be shorter than its way. Drop, losses and the distance of a battery's fuse from its "
    "post are worked out from that length.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    look=_measured,
    examine=_too_short,
    fires=(
        Case("8 m of wire in 10 m of raceway", {"runs.R1.length": "8 m"}, subject="R1"),
        Case(
            "6 m of wire, no raceway, between two places 10 m apart",
            {"runs.R3.raceway": None, "runs.R3.laid": "out of reach", "runs.R3.length": "6 m"},
            subject="R3",
        ),
        Case(
            "the battery's fuse 0.2 m from the post, and 10 m away",
            {**BATTERY, "fuses.F0.location": "array", "runs.R7.laid": "out of reach"},
            subject="R7",
        ),
        Case("8 m of wire in 10 m of raceway, metric rulebook", {**METRIC, "runs.R1.length": "8 m"}),
    ),
    keeps_still=(
        Case("as it stands"),
        Case("9 m of wire in 10 m of raceway: less than a tenth short", {"runs.R1.length": "9 m"}),
        Case("30 m of wire in 10 m of raceway: it goes on behind it", {"runs.R1.length": "30 m"}),
    ),
    sees_not="Runs between places of which no sightline gives the distance; ways up and down.",
)

RULES = (OPEN_PATH, TOO_SHORT)
