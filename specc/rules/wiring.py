"""Rules on whether the wiring closes its circuits."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.model import Device, Port, Terminal
from specc.system.states import circuits, fed_from
from specc.system.system import System
from specc.system.walk import Walk


def _power_ports(system: System) -> Iterator[Port]:
    return iter(system.connected.ports)


def _open_path(system: System, port: Port) -> Answer | None:
    tag, path = port.device.tag, port.device.path
    fed = bool(fed_from(port, system.circuits())) if port.takes else False
    feeds = any(_is_load_of(port, other) for other in system.circuits()[port])
    if fed or (port.gives and feeds):
        return satisfied(tag, path, f"{port.plus} and {port.minus} lie on a closed path.")
    if port.device.kind == "controller" and not port.takes:
        return None  # an output that is not used
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


OPEN_PATH = Rule(
    id="wiring.open-path",
    severity=Severity.ERROR,
    title="A load or a source that is on no closed path",
    checks="With the system ready to run, a closed path exists from source + through the load to source −, "
    "through "
    "the poles of all devices, for every pump, every controller input, every array and every battery.",
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

RULES = (OPEN_PATH,)
