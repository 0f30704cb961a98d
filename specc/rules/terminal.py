"""Rules on what goes into a terminal."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.physics.conductors import gauge_area_m2
from specc.rulebooks import M2_PER_UNIT, NotInTable, Rulebook
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import MissingDatum
from specc.system.model import Conductor, Path, Terminal
from specc.system.system import System

_SLACK = 1e-6  # relative; for areas that two tables round differently


def _wired(system: System) -> Iterator[tuple[Terminal, tuple[Conductor, ...]]]:
    ends: dict[str, list[Conductor]] = defaultdict(list)
    for conductor in system.conductors:
        for end in dict.fromkeys((conductor.start, conductor.end)):
            ends[end].append(conductor)
    for end, conductors in ends.items():
        yield system.terminal(end), tuple(conductors)


def _terminal(system: System, subject: tuple[Terminal, tuple[Conductor, ...]]) -> Iterator[Answer]:
    terminal, conductors = subject
    takes = terminal.wire
    if takes is None:
        device = terminal.device
        part_id = getattr(device.part, "id", "no part")
        what = f"{terminal.id}: the wire sizes that it takes (catalogue part {part_id}, key wire)"
        raise MissingDatum(what, device.path + ("part",), "wire")
    faults = [_number(terminal, conductors)]
    for conductor in conductors:
        faults += [_size(system, terminal, conductor), _metal_and_strands(terminal, conductor)]
    found = [fault for fault in faults if fault is not None]
    if found:
        yield from found
        return
    sizes = ", ".join(f"{c.tag} {c.size} {c.wire.material}" for c in conductors)
    yield satisfied(
        terminal.id,
        _end_path(conductors[0], terminal),
        f"{terminal.id} takes what ends on it: {sizes}.",
        required=f"{takes.smallest} to {takes.largest}, at most {takes.conductors}",
        actual=sizes,
    )


def _number(terminal: Terminal, conductors: tuple[Conductor, ...]) -> Answer | None:
    most, count = terminal.wire.conductors, len(conductors)
    tags = ", ".join(c.tag for c in conductors)
    required, actual = f"at most {most}", f"{count}: {tags}"
    if count > most:
        return violated(
            terminal.id,
            _end_path(conductors[most], terminal),
            f"{count} conductors ({tags}) end on {terminal.id}, which takes {most}.",
            required=required,
            actual=actual,
            fix=f"Join them in a terminal block and lead {most} to {terminal.id}.",
            related=tuple(_end_path(c, terminal) for c in conductors[:most]),
        )
    return None


def _size(system: System, terminal: Terminal, conductor: Conductor) -> Answer | None:
    takes = terminal.wire
    area, low, high = (
        _area_m2(system.book, size) for size in (conductor.size, takes.smallest, takes.largest)
    )
    required, actual = f"{takes.smallest} to {takes.largest}", conductor.size
    path = _size_path(conductor)
    if low * (1.0 - _SLACK) <= area <= high * (1.0 + _SLACK):
        return None
    large = area > high
    nearest = takes.largest if large else takes.smallest
    return violated(
        conductor.tag,
        path,
        f"{conductor.tag} ({conductor.size}) does not suit {terminal.id}, which takes {required}.",
        required=required,
        actual=actual,
        fix=f"End it on a terminal block and go on with a short pigtail of {nearest}, checked for its own "
        "ampacity."
        if large
        else f"Take {nearest}, the smallest that this terminal holds.",
        related=(_end_path(conductor, terminal), terminal.device.path),
    )


def too_small_for(system: System, conductor: Conductor, size: str) -> tuple[Terminal, ...]:
    """Terminals at the ends of a conductor that would not take it in a larger size."""
    ends = (system.terminal(end) for end in (conductor.start, conductor.end))
    book, area = system.book, _area_m2(system.book, size)
    return tuple(
        end
        for end in ends
        if end.wire is not None and area > _area_m2(book, end.wire.largest) * (1.0 + _SLACK)
    )


def _metal_and_strands(terminal: Terminal, conductor: Conductor) -> Answer | None:
    takes, wire = terminal.wire, conductor.wire
    path = conductor.path + ("wire",) if _has_own(conductor, "wire") else conductor.run.path + ("wire",)
    required = f"{' or '.join(takes.metals)}; {' or '.join(takes.strands)}"
    actual = f"{wire.material}; {wire.strand}"
    faults = []
    if wire.material not in takes.metals:
        faults.append(f"it takes {' or '.join(takes.metals)}, not {wire.material}")
    if wire.strand not in takes.strands:
        faults.append(f"it takes {' or '.join(takes.strands)} conductors, not {wire.strand} ones")
    if faults:
        return violated(
            conductor.tag,
            path,
            f"{conductor.tag} ({wire.name}) does not suit {terminal.id}: {'; '.join(faults)}.",
            required=required,
            actual=actual,
            fix="Fit a lug or ferrule that its maker lists for this conductor, or end it on a terminal "
            "block that "
            "takes it and go on with a suitable pigtail.",
            related=(_end_path(conductor, terminal), terminal.device.path),
        )
    return None


def _end_path(conductor: Conductor, terminal: Terminal) -> Path:
    return conductor.path + ("from" if conductor.start == terminal.id else "to",)


def _size_path(conductor: Conductor) -> Path:
    return conductor.path + ("size",) if _has_own(conductor, "size") else conductor.run.path + ("size",)


def _has_own(conductor: Conductor, key: str) -> bool:
    """Does the conductor say this for itself, where its run says it for all?"""
    number = conductor.path[-1]
    return getattr(conductor.run.spec.conductors[number], key) is not None


def _area_m2(book: Rulebook, size: str) -> float:
    """Metal area of a conductor size of any family, the book's own or not [m²]."""
    number, _, unit = size.partition(" ")
    try:
        if unit == "AWG":
            gauge = 1 - int(number.removesuffix("/0")) if number.endswith("/0") else int(number)
            return gauge_area_m2(gauge)
        if unit == "kcmil":
            return float(number) * 1000.0 * M2_PER_UNIT["cmil"]
        if unit == "mm2":
            return float(number) * M2_PER_UNIT["mm2"]
    except ValueError:
        pass
    area = book.size_area_m2(size).value
    if not math.isfinite(area):
        raise NotInTable(f"{size!r} has no area")
    return area


RANGE = Rule(
    id="terminal.range",
    severity=Severity.ERROR,
    title="Conductor that its terminal does not take",
    checks="Each conductor's size lies within the terminal's stated range; no more conductors end there "
    "than it "
    "takes; its metal (copper, aluminium) and its strand class are suited. Sizes of different families are "
    "compared "
    "by metal area.",
    why="A conductor enlarged for voltage drop no longer enters the controller, strands get cut off to "
    "make it fit, "
    "and the joint heats; fine-strand cable works loose in a lug for ordinary strands.",
    clauses={"us-2023": "110.14, 110.14(A)", "iec": "60999-1; 60947-7-1; 60364-5-52 526"},
    look=_wired,
    examine=_terminal,
    fires=(
        Case("6 AWG in a controller terminal for 14 to 10 AWG", {"runs.R2.size": "6 AWG"}, subject="R2.1"),
        Case(
            "three conductors on a terminal for one",
            {
                "runs.R2.conductors[3]": {"from": "F1.2", "to": "P1.+", "color": "red"},
                "runs.R2.conductors[4]": {"from": "F1.2", "to": "DS1.1", "color": "red"},
            },
            subject="F1.2",
        ),
        Case("fine strands in terminals for ordinary ones", {"part:thwn2-r.strand": "fine"}, subject="R1.1"),
        Case("aluminium in terminals for copper", {"part:thwn2-r.material": "aluminium"}, subject="R1.1"),
        Case(
            "10 mm² in a controller terminal for 14 to 10 AWG, metric rulebook",
            {"job.rulebook": "iec", "runs.R2.size": "10 mm2"},
            subject="R2.1",
        ),
    ),
    keeps_still=(
        Case("10 AWG in the same terminal"),
        Case(
            "4 mm² (between 12 and 10 AWG) in the same, metric rulebook",
            {"job.rulebook": "iec", "runs.R2.size": "4 mm2"},
        ),
    ),
    sees_not="Whether the joint is made as the maker says: strip length, torque, ferrules.",
)

RULES = (RANGE,)
