"""The control truth table: which pump runs in which state, and why.

A *state* is what the sensing switches see, one cut wire of a remote loop, or one hand-worked device
open, after those that have to be opened before it. All else is ready to run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product

from specc.system.charging import BY_HAND, opened_first
from specc.system.connect import Connected
from specc.system.model import Conductor, Device, Pole, Port
from specc.system.states import Situation, circuits, fed_from, remote_ends
from specc.system.system import System
from specc.system.walk import Walk, walk

MOST_FOR_EVERY_STATE = 4  # so many switches are printed in every combination, more one by one


@dataclass(frozen=True)
class PumpState:
    """Does a pump run, and the sentence that says why."""

    pump: Device
    runs: bool
    why: str


@dataclass(frozen=True)
class TruthRow:
    """One state: in words, what each switch sees (True: its event has happened), and every pump."""

    state: str
    happened: Mapping[str, bool]
    pumps: tuple[PumpState, ...]


def truth_rows(system: System) -> tuple[TruthRow, ...]:
    """Every state that the table prints, the clear one first."""
    switches = system.of_kind("switch")
    rows = [_sensed(system, switches, situation) for situation in _situations(switches)]
    rows += [_row(system, switches, frozenset(), *cut) for cut in _cut_wires(system)]
    rows += [
        _row(system, switches, frozenset(), _opening_words(opened), system.connected, opened)
        for device in system.of_kind(*BY_HAND)
        for opened in [(*opened_first(system, device), device)]
    ]
    return tuple(rows)


def _opening_words(opened: tuple[Device, ...]) -> str:
    """ "DS1 open"; what has to be opened before it comes first."""
    return f"{', then '.join(device.tag for device in opened)} open"


def _situations(switches: tuple[Device, ...]) -> Iterator[Situation]:
    """All combinations of a few switches; of many all clear, each alone, and all together."""
    tags = [switch.tag for switch in switches]
    if len(tags) <= MOST_FOR_EVERY_STATE:
        picks = sorted(product((False, True), repeat=len(tags)), key=sum)
        yield from (frozenset(t for t, on in zip(tags, pick, strict=True) if on) for pick in picks)
        return
    yield frozenset()
    yield from (frozenset((tag,)) for tag in tags)
    yield frozenset(tags)


def _sensed(system: System, switches: tuple[Device, ...], situation: Situation) -> TruthRow:
    events = [f"{s.tag}: {s.spec.guards}" for s in switches if s.tag in situation]
    return _row(system, switches, situation, "; ".join(events) or "all clear", system.connected, ())


def _row(
    system: System,
    switches: tuple[Device, ...],
    situation: Situation,
    state: str,
    connected: Connected,
    opened: tuple[Device, ...],
) -> TruthRow:
    def closed(pole: Pole) -> bool:
        if pole.device in opened:
            return False
        return pole.clear_closed != (pole.sensor and pole.device.tag in situation)

    walked = walk(connected, closed)
    pumps = tuple(_pump(system, walked, port) for port in connected.ports if port.device.kind == "pump")
    return TruthRow(state, {s.tag: s.tag in situation for s in switches}, pumps)


# -- cut wires ---------------------------------------------------------------------------------------


def _cut_wires(system: System) -> Iterator[tuple[str, Connected, tuple[Device, ...]]]:
    """Each wire of each remote loop cut; wires whose cut comes to the same are one row."""
    every = system.in_state(lambda pole: True)
    for controller in system.of_kind("controller"):
        nets = {every.net(end) for end in remote_ends(controller)}
        loop = [c for c in system.conductors if every.net(c.start) in nets and every.net(c.end) in nets]
        same: dict[tuple[bool, ...], list[Conductor]] = {}
        for conductor in loop:
            walked = walk(_without(system.connected, conductor))
            runs = tuple(
                _runs(walked, port, frozenset())[0]
                for port in system.connected.ports
                if port.device.kind == "pump"
            )
            same.setdefault(runs, []).append(conductor)
        for wires in same.values():
            name = "any wire" if len(same) == 1 else ", ".join(c.tag for c in wires)
            yield f"remote loop of {controller.tag}: {name} cut", _without(system.connected, wires[0]), ()


def _without(connected: Connected, conductor: Conductor) -> Connected:
    """The installation with one conductor cut."""
    graph = connected.graph.copy()
    graph.remove_edges_from(
        [
            (a, b, key)
            for a, b, key, data in connected.graph.edges(keys=True, data=True)
            if data.get("conductor") is conductor
        ]
    )
    return replace(connected, graph=graph, _made={})


# -- why ---------------------------------------------------------------------------------------------


def _pump(system: System, walked: Walk, port: Port) -> PumpState:
    runs, reasons = _runs(walked, port, frozenset(), lambda p: _missing(system, walked, p))
    joiner = " and " if runs else "; "
    return PumpState(port.device, runs, joiner.join(dict.fromkeys(reasons)) or "on no source")


def _runs(
    walked: Walk,
    port: Port,
    passed: frozenset[str],
    missing: Callable[[Port], str] = lambda port: "",
) -> tuple[bool, list[str]]:
    """Is a port fed, and the sources that feed it, or else what is in the way."""
    shared = circuits(walked)
    feeding = [other for other in fed_from(port, shared) if other.device.tag not in passed]
    if not feeding:
        return False, [missing(port)]
    sources: list[str] = []
    obstacles: list[str] = []
    for other in feeding:
        device = other.device
        if device.kind != "controller":
            sources.append(f"fed by {device.tag}")
            continue
        off = _switched_off(walked, device)
        if off:
            obstacles.append(off)
            continue
        takers = [p for p in walked.connected.ports if p.device is device and p.takes and p is not other]
        for taker in takers:
            fed, why = _runs(walked, taker, passed | {port.device.tag, device.tag}, missing)
            if fed:
                sources += [
                    f"{reason}{',' if ' through ' in reason else ' through'} {device.tag}" for reason in why
                ]
            else:
                obstacles += [reason for reason in why if reason]
    return bool(sources), sources or obstacles


def _switched_off(walked: Walk, controller: Device) -> str:
    """What holds a controller off at its remote terminals; empty where it is on."""
    ends = remote_ends(controller)
    if not ends:
        return ""
    joined = walked.net(ends[0]) == walked.net(ends[1])
    wants = controller.part.remote.runs_when
    if joined == (wants == "closed"):
        return ""
    every = walk(walked.connected, lambda pole: True)
    nets = {every.net(end) for end in ends}
    acting = (p for p in walked.connected.poles if every.net(p.a) in nets)
    moved = [p for p in acting if walked.closed(p) == joined and walked.closed(p) != p.clear_closed]
    by = " and ".join(dict.fromkeys(p.device.tag for p in moved))
    if joined:
        return f"remote loop of {controller.tag} closed" + (f" at {by}" if by else "")
    return f"remote loop of {controller.tag} open" + (f" at {by}" if by else ": a wire is cut")


def _missing(system: System, walked: Walk, port: Port) -> str:
    """Which contact parts a port from what feeds it in the clear state."""
    whence = " and ".join(dict.fromkeys(p.device.tag for p in fed_from(port, system.circuits())))
    moved = [
        p for p in system.connected.poles if walked.closed(p) != p.clear_closed and _parts(system, p, port)
    ]
    by = " and ".join(dict.fromkeys(p.device.tag for p in moved))
    if not whence:
        return f"{port.device.tag} is on no closed path"
    return f"{port.device.tag} cut from {whence}" + (f" at {by}" if by else "")


def _parts(system: System, pole: Pole, port: Port) -> bool:
    """Does a pole lie between a port and what feeds it in the clear state?"""
    branch = system.walked.branch(pole)
    return branch is not None and any(pair.load is port for pair in system.walked.crossings(branch))
