"""What the one-line draws of the wiring: strands through terminal blocks, returns folded.

A *strand* is one conductor, or several end to end where a terminal block only joins them. A
terminal block on which more than two conductors meet stays a device of the drawing. The return
(negative) of a run is not drawn beside its positive: one line stands for both, and shows whatever
switch or fuse stands in either. A return that has a run of its own goes beside the line on whose way it is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from specc.system.model import Conductor, Device
from specc.system.roles import Role, role_of
from specc.system.system import System

GROUNDING = ("equipment ground", "electrode", "system bond", "functional earth")


@dataclass(frozen=True)
class Strand:
    """Conductors end to end between two devices, in the direction of energy where there is one."""

    start: Device
    end: Device
    conductors: tuple[Conductor, ...]
    role: Role

    @property
    def runs(self) -> tuple[str, ...]:
        """Tags of the runs that it passes through, in order."""
        return tuple(dict.fromkeys(c.run.tag for c in self.conductors))


@dataclass(frozen=True)
class Line:
    """One line of the drawing: a strand, and the return conductors that it stands for as well.

    ``beside`` are returns in runs of their own, which have no line of theirs.
    """

    strand: Strand
    folded: tuple[Conductor, ...] = ()
    beside: tuple[Conductor, ...] = ()

    @property
    def conductors(self) -> tuple[Conductor, ...]:
        """Every conductor in the runs of the strand that the line stands for."""
        return (*self.strand.conductors, *self.folded)


@dataclass(frozen=True)
class Lines:
    """The lines of the drawing, and devices that stand for a twin in the return: tag -> tags of its twins."""

    lines: tuple[Line, ...]
    twins: Mapping[str, tuple[str, ...]]


def lines_of(system: System) -> Lines:
    """The lines of the drawing: power first, then control and grounding, in the order of the spec."""
    strands = [s for s in _strands(system) if s.start is not s.end]
    twin_of = _twins(strands)
    returns = [s for s in strands if _may_fold(s, strands, twin_of)]
    lines = _fold([Line(s) for s in strands if s not in returns], returns, twin_of)
    twins: dict[str, tuple[str, ...]] = defaultdict(tuple)
    for twin, tag in twin_of.items():
        twins[tag] += (twin,)
    return Lines(tuple(lines), twins)


def _twins(strands: Iterable[Strand]) -> dict[str, str]:
    """Tag of a device in the return -> tag of the like device in the positive, between the same neighbours.

    A floating battery has a fuse in either pole: on the one line they are one symbol with two tags,
    not two fuses side by side.
    """
    by_pole: dict[str, dict[Device, set[Device]]] = {"+": defaultdict(set), "-": defaultdict(set)}
    for strand in strands:
        near = by_pole.get(strand.role.pole)
        if near is not None:
            near[strand.start].add(strand.end)
            near[strand.end].add(strand.start)
    found: dict[str, str] = {}
    for device, neighbours in by_pole["-"].items():
        if device in by_pole["+"] or device.kind not in ("fuse", "breaker", "isolator", "switch"):
            continue
        like = [
            other
            for other, others in by_pole["+"].items()
            if other.kind == device.kind and others == neighbours and other not in by_pole["-"]
        ]
        if len(like) == 1 and like[0].tag not in found.values():
            found[device.tag] = like[0].tag
    return found


def _strands(system: System) -> Iterator[Strand]:
    """Conductors, spliced through every block terminal pair on which just two of them meet."""
    joined = block_groups(system)
    at: dict[str, list[Conductor]] = defaultdict(list)
    for conductor in system.conductors:
        for end in (conductor.start, conductor.end):
            if end in joined:
                at[joined[end]].append(conductor)
    splices = {group for group, meeting in at.items() if len(meeting) == 2 and meeting[0] is not meeting[1]}
    used: set[str] = set()
    for conductor in system.conductors:
        if conductor.tag in used:
            continue
        chain, ends = [conductor], [conductor.start, conductor.end]
        for side in (0, 1):
            while joined.get(ends[side]) in splices:
                meeting = at[joined[ends[side]]]
                other = meeting[1] if meeting[0] is (chain[0] if side == 0 else chain[-1]) else meeting[0]
                if other in chain:
                    break
                near = other.start if joined.get(other.start) == joined[ends[side]] else other.end
                chain = [other, *chain] if side == 0 else [*chain, other]
                ends[side] = other.end if near == other.start else other.start
        used |= {c.tag for c in chain}
        yield _directed(system, tuple(chain), ends)


def block_groups(system: System) -> dict[str, str]:
    """Terminals of terminal blocks -> the name of the group that they are joined in."""
    groups: dict[str, str] = {}
    for device in system.of_kind("terminal_block"):
        pairs = [*device.part.joined, *device.spec.links]
        names = {t.name: t.name for t in device.part.terminals}
        for pair in pairs:
            first = names[pair[0]]
            for name in pair[1:]:
                old = names[name]
                names = {n: first if g == old else g for n, g in names.items()}
        groups |= {f"{device.tag}.{name}": f"{device.tag}.{group}" for name, group in names.items()}
    return groups


def _directed(system: System, chain: tuple[Conductor, ...], ends: list[str]) -> Strand:
    """The strand with the end nearer to its source first."""
    start, end = (system.terminal(name).device for name in ends)
    role = role_of(system.connected, system.walked, chain[0])
    branch = system.walked.branch(chain[0])
    if branch is not None and branch.sole:
        # The chain may run against its first conductor.
        with_branch = ends[0] == chain[0].start or (len(chain) > 1 and ends[0] != chain[0].end)
        near, far = ("start", "end") if with_branch else ("end", "start")
        for pair in system.walked.crossings(branch):
            if pair.source in system.walked.sources_on(
                branch, far
            ) and pair.source not in system.walked.sources_on(branch, near):
                return Strand(end, start, tuple(reversed(chain)), role)
    return Strand(start, end, chain, role)


def _may_fold(strand: Strand, strands: Iterable[Strand], twin_of: Mapping[str, str]) -> bool:
    """Is this a return whose circuit is drawn anyway?

    A device that only returns pass through (a fuse in the negative) must be seen: its strands stay.
    """
    if strand.role.pole != "-":
        return False
    shown = {d.tag for s in strands if s.role.pole in ("+", "link") for d in (s.start, s.end)} | set(twin_of)
    return all(d.tag in shown or d.kind == "terminal_block" for d in (strand.start, strand.end))


def _fold(lines: list[Line], returns: list[Strand], twin_of: Mapping[str, str]) -> list[Line]:
    """Hangs each return conductor on a positive line of its run, first on one of the drawn way beside it."""
    for strand in returns:
        near, far = (_drawn_ends(end, strand, returns, twin_of) for end in (strand.start, strand.end))
        beside = _beside(near, far, lines)
        left = tuple(c for c in strand.conductors if not _hang(c, strand, lines, beside))
        if len(left) == len(strand.conductors) and _alone(strand, lines):
            lines.append(Line(strand))
        elif left:
            _lay_beside(left, (near, far), lines, beside)
    return lines


def _lay_beside(
    conductors: tuple[Conductor, ...],
    ends: tuple[set[str], ...],
    lines: list[Line],
    beside: frozenset[int],
) -> None:
    """Returns in runs of their own, on the last line of their way that touches most of their ends."""
    touching = {
        number: sum(bool({line.strand.start.tag, line.strand.end.tag} & end) for end in ends)
        for number, line in enumerate(lines)
        if line.strand.role.pole in ("+", "link")
    }
    among = beside or {number for number, count in touching.items() if count}
    if among:
        best = max(among, key=lambda number: (touching.get(number, 0), number))
        lines[best] = replace(lines[best], beside=(*lines[best].beside, *conductors))


def _beside(starts: set[str], goals: set[str], lines: list[Line]) -> frozenset[int]:
    """The positive lines on the shortest drawn way from one end of a return to the other.

    A return that ends on a block goes on from there, to whatever other returns of the block lead to.
    """
    came: dict[str, int] = dict.fromkeys(starts, -1)
    waiting = list(starts)
    while waiting:
        here = waiting.pop(0)
        if here in goals and came[here] >= 0:
            way: list[int] = []
            while came[here] >= 0:
                way.append(came[here])
                here = _other_end(lines[came[here]], here)
            return frozenset(way)
        for number, line in enumerate(lines):
            there = _other_end(line, here)
            if line.strand.role.pole in ("+", "link") and there and there not in came:
                came[there] = number
                waiting.append(there)
    return frozenset()


def _drawn_ends(
    end: Device, strand: Strand, returns: Iterable[Strand], twin_of: Mapping[str, str]
) -> set[str]:
    """Tags where an end of a return counts: its own, or, of a block, those that its other returns lead to.

    A twin counts where the device stands that is drawn for both.
    """
    if end.kind != "terminal_block":
        return {twin_of.get(end.tag, end.tag)}
    found: set[str] = set()
    seen, waiting = {end.tag}, [end]
    while waiting:
        block = waiting.pop()
        for other in returns:
            if other is strand or block not in (other.start, other.end):
                continue
            far = other.end if other.start is block else other.start
            if far.kind != "terminal_block":
                found.add(twin_of.get(far.tag, far.tag))
            elif far.tag not in seen:
                seen.add(far.tag)
                waiting.append(far)
    return found


def _other_end(line: Line, tag: str) -> str:
    ends = (line.strand.start.tag, line.strand.end.tag)
    return ends[1] if ends[0] == tag else ends[0] if ends[1] == tag else ""


def _hang(conductor: Conductor, strand: Strand, lines: list[Line], beside: frozenset[int]) -> bool:
    best, most = -1, (False, -1)
    for number, line in enumerate(lines):
        if line.strand.role.pole not in ("+", "link") or conductor.run.tag not in line.strand.runs:
            continue
        shared = len({line.strand.start, line.strand.end} & {strand.start, strand.end})
        if (number in beside, shared) > most:
            best, most = number, (number in beside, shared)
    if best >= 0:
        lines[best] = replace(lines[best], folded=(*lines[best].folded, conductor))
    return best >= 0


def _alone(strand: Strand, lines: Iterable[Line]) -> bool:
    """Is there no drawn way at all between the ends of a return?"""
    near: dict[str, set[str]] = defaultdict(set)
    for line in lines:
        if line.strand.role.pole in ("+", "link"):
            near[line.strand.start.tag].add(line.strand.end.tag)
            near[line.strand.end.tag].add(line.strand.start.tag)
    seen, waiting = {strand.start.tag}, [strand.start.tag]
    while waiting:
        for tag in near[waiting.pop()] - seen:
            seen.add(tag)
            waiting.append(tag)
    return strand.end.tag not in seen
