"""Where runs come into boxes and cases: by the fitting of their raceway, by a gland, or along with another.

Every run that reaches a box, or a device with a case of its own, comes into it in one of these ways; the
tests hold that for random jobs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from specc.rulebooks import NotInTable
from specc.system.model import Device, Run
from specc.system.system import System

_FIRM = ("isolator", "breaker", "fuse", "terminal_block")  # a box in all but name, once they have a case
_BEYOND = ("submerged", "direct buried", "out of reach", "within reach")


@dataclass(frozen=True)
class RacewayEnd:
    """An end of a raceway, at a box, a case or a device; None where the spec does not say at what."""

    raceway: Device
    at: Device | None


@dataclass(frozen=True)
class Entry:
    """A run that comes into a box or case.

    ``raceway``: whose fitting it comes in by. ``gland_of``: else the run whose gland it uses, mostly itself.
    """

    run: Run
    into: Device
    raceway: Device | None = None
    gland_of: Run | None = None


def has_fittings(system: System, raceway: Device) -> bool:
    """Is a raceway of this kind joined to boxes by a fitting? A duct ends short of them."""
    try:
        return system.handbook.raceway_joining(raceway.part.raceway).box_end == "fitting"
    except NotInTable:
        return True


def has_cord(device: Device) -> bool:
    """Does a device end in leads of its own, to which the wires of the job are spliced?"""
    part = device.part
    if device.box is not None:
        return False
    if device.kind == "switch":
        return getattr(part, "cord_length", None) is not None
    return device.kind == "pump" and bool(part.submersible)


def housing(system: System, device: Device) -> Device | None:
    """The box or case that a wire enters to reach a device; None for posts, leads and open bars."""
    if device.box is not None:
        return system.devices[device.box]
    if device.kind == "enclosure":
        return device
    return device if _cased(system, device) else None


def _cased(system: System, device: Device) -> bool:
    if has_cord(device):
        return False
    if device.kind in _FIRM:
        holder = (device.spec.holder or device.part.holder) if device.kind == "fuse" else None
        shell: Any = system.description.catalog.find(holder) if holder else device.part
        return shell is not None and (shell.case_type is not None or shell.case_ip is not None)
    if device.kind == "switch":
        return bool(device.part.metal_case)
    return device.kind in ("controller", "pump")


def _reached(system: System, run: Run) -> Iterator[Device]:
    """Boxes, cases and loose devices at which conductors of a run end, in the order of the spec."""
    for conductor in run.conductors:
        for end in (conductor.start, conductor.end):
            device = system.terminal(end).device
            yield housing(system, device) or device


def _is_housing(system: System, device: Device) -> bool:
    return housing(system, device) is device


def raceway_ends(system: System) -> tuple[RacewayEnd, ...]:
    """The ends of every raceway, two or more."""
    return tuple(
        RacewayEnd(raceway, at) for raceway in system.of_kind("raceways") for at in _ends(system, raceway)
    )


def _ends(system: System, raceway: Device) -> tuple[Device | None, ...]:
    """Boxes first; from a single one the way leads to another place, else to what stands beside it."""
    reached: dict[Device, None] = {}
    for run in system.connected.runs_in(raceway):
        beyond = run.spec.laid in _BEYOND
        reached.update(
            (device, None) for device in _reached(system, run) if not beyond or _is_housing(system, device)
        )
    boxes = [d for d in reached if d.kind == "enclosure" or (d.kind in _FIRM and _is_housing(system, d))]
    if len(boxes) > 1:
        return tuple(boxes)
    others = sorted(
        (d for d in reached if d not in boxes),
        key=lambda d: (
            bool(boxes) and _place(system, d) == _place(system, boxes[0]),
            not _is_housing(system, d),
        ),
    )
    found = (*boxes, *others)[:2]
    return found + (None,) * (2 - len(found))


def _place(system: System, device: Device) -> str | None:
    """Where a device or box stands, by name."""
    held = (d.location for d in system.connected.held_by(device)) if device.kind == "enclosure" else ()
    return device.location or next((name for name in held if name), None)


def entries(system: System) -> tuple[Entry, ...]:
    """Every run that comes into a box or case, run by run."""
    ends: dict[Device, list[Device | None]] = {}
    for end in raceway_ends(system):
        if has_fittings(system, end.raceway):
            ends.setdefault(end.raceway, []).append(end.at)
    ways: dict[frozenset[Device], Run] = {}  # two housings -> the run that leads from one to the other
    straight, onward = [], []
    for run in system.connected.runs.values():
        if run.spec.laid == "in enclosure":
            continue
        reached = list(dict.fromkeys(_reached(system, run)))
        housings = [d for d in reached if _is_housing(system, d)]
        if len(reached) < 2:
            continue
        at_ends = ends.get(run.raceway, []) if run.raceway is not None else None
        if at_ends is None:
            straight += [Entry(run, into, gland_of=run) for into in housings]
            for a in housings:
                ways.update((frozenset((a, b)), run) for b in housings if b is not a)
            continue
        for into in housings:
            if into in at_ends:
                straight.append(Entry(run, into, raceway=run.raceway))
            else:
                onward.append((run, into, _left(system, into, at_ends)))
    return (*straight, *_onward(onward, ways))


def _left(system: System, into: Device, at_ends: list[Device | None]) -> Device | None:
    """The box at an end of the raceway from which a run goes on to a device beside it."""
    boxes = [d for d in at_ends if d is not None and _is_housing(system, d)]
    near = [d for d in boxes if _place(system, d) == _place(system, into)]
    return next(iter([*near, *boxes]), None)


def _onward(
    legs: list[tuple[Run, Device, Device | None]], ways: dict[frozenset[Device], Run]
) -> Iterator[Entry]:
    """Runs that leave a box again beyond their raceway; those on one way go through one gland."""
    for run, into, left in legs:
        if left is None:
            yield Entry(run, into, gland_of=run)
            continue
        carrier = ways.setdefault(frozenset((left, into)), run)
        yield Entry(run, left, gland_of=carrier)
        yield Entry(run, into, gland_of=carrier)
