"""Rules on what goes into a terminal."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics.conductors import gauge_area_m2
from specc.reading.parts import Wire
from specc.rulebooks import M2_PER_UNIT, NotInTable, Rulebook
from specc.rules._edits import METRIC
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system import worst
from specc.system.electrical import Electrical
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Conductor, Device, Path, Terminal
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Branch

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
        faults += [_size(system, terminal, conductor), _metal_and_strands(system, terminal, conductor)]
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
        wire_area_m2(system.book, size) for size in (conductor.size, takes.smallest, takes.largest)
    )
    if low * (1.0 - _SLACK) <= area <= high * (1.0 + _SLACK):
        return None
    least, most = taken_sizes(system, terminal, conductor.size)
    required, actual = f"{least} to {most}", conductor.size
    if (least, most) != (takes.smallest, takes.largest):
        required += f" (marked {takes.smallest} to {takes.largest})"
    path = _size_path(conductor)
    large = area > high
    nearest = most if large else least
    return violated(
        conductor.tag,
        path,
        f"{conductor.tag} ({conductor.size}) does not suit {terminal.id}, which takes {required}.",
        required=required,
        actual=actual,
        fix=f"End it on a bonding bar that takes it, and go on with {nearest} where that is enough."
        if large and terminal.role == "ground"
        else f"End it on a terminal block and go on with a short pigtail of {nearest}, checked for its own "
        "ampacity."
        if large
        else f"Take {nearest}, the smallest that this terminal holds.",
        related=(_end_path(conductor, terminal), terminal.device.path),
    )


def taken_sizes(system: System, terminal: Terminal, size: str) -> tuple[str, str]:
    """The smallest and the largest that a terminal takes, in the sizes that a conductor is sold in.

    A terminal marked 14 AWG to 6 AWG takes 2.5 mm2 to 10 mm2; where the rulebook has no size of this unit
    in the range, as marked.
    """
    takes, unit = terminal.wire, size.rpartition(" ")[2]
    low, high = (wire_area_m2(system.book, end) for end in (takes.smallest, takes.largest))
    fit = [
        each
        for each in system.book.sizes()
        if each.endswith(f" {unit}")
        and low * (1.0 - _SLACK) <= wire_area_m2(system.book, each) <= high * (1.0 + _SLACK)
    ]
    ends = takes.smallest, takes.largest
    if not fit:
        return ends
    least, most = (
        end if end.endswith(f" {unit}") else other for end, other in zip(ends, (fit[0], fit[-1]), strict=True)
    )
    return least, most


def too_small_for(system: System, conductor: Conductor, size: str) -> tuple[Terminal, ...]:
    """Terminals at the ends of a conductor that would not take it in a larger size."""
    ends = (system.terminal(end) for end in (conductor.start, conductor.end))
    book, area = system.book, wire_area_m2(system.book, size)
    return tuple(
        end
        for end in ends
        if end.wire is not None and area > wire_area_m2(book, end.wire.largest) * (1.0 + _SLACK)
    )


def _metal_and_strands(system: System, terminal: Terminal, conductor: Conductor) -> Answer | None:
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
            fix=f"{_wire_that_fits(system, terminal, conductor)}, or end it on a terminal block that takes "
            f"it and go on with a suitable pigtail. Where the maker of {terminal.device.tag} lists a lug or "
            "ferrule for it, say so of the part in a catalogue of your own, under `strands` or `metals`.",
            related=(_end_path(conductor, terminal), terminal.device.path),
        )
    return None


def _wire_that_fits(system: System, terminal: Terminal, conductor: Conductor) -> str:
    """The wires of like insulation and marks that the terminal takes, as the beginning of a remedy."""
    takes, wire = terminal.wire, conductor.wire
    alike = ("insulation_temperature", "wet", "sunlight", "direct_burial", "submersible")
    ids = [
        part.id
        for part in system.description.catalog.parts("wire")
        if isinstance(part, Wire)
        and part.strand in takes.strands
        and part.material in takes.metals
        and conductor.size in {priced.size for priced in part.sizes}
        and all(getattr(part, mark) == getattr(wire, mark) for mark in alike)
    ]
    return f'Write wire = "{ids[0]}"' if ids else f"Take {' or '.join(takes.strands)} wire"


def _end_path(conductor: Conductor, terminal: Terminal) -> Path:
    return conductor.path + ("from" if conductor.start == terminal.id else "to",)


def _size_path(conductor: Conductor) -> Path:
    return conductor.path + ("size",) if _has_own(conductor, "size") else conductor.run.path + ("size",)


def _has_own(conductor: Conductor, key: str) -> bool:
    """Does the conductor say this for itself, where its run says it for all?"""
    number = conductor.path[-1]
    return getattr(conductor.run.spec.conductors[number], key) is not None


def wire_area_m2(book: Rulebook, size: str) -> float:
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


# -- current -----------------------------------------------------------------------------------------


def _carriers(system: System) -> Iterator[Device]:
    """Blocks and bars, the holders of fuses, and what may not be opened under load (plugs)."""
    for device in system.of_kind("terminal_block", "fuse", "isolator"):
        if device.kind != "isolator" or not device.part.load_break:
            yield device


@once
def _joints(system: System) -> dict[Device, tuple[tuple[str, str], ...]]:
    """The inner joins of each device, links included, between neighbouring terminals."""
    found: dict[Device, list[tuple[str, str]]] = defaultdict(list)
    for a, b, data in system.connected.wiring:
        if data["kind"] == "join":
            found[data["device"]].append((a, b))
    return {device: tuple(joins) for device, joins in found.items()}


@once
def _conductors_at(system: System) -> dict[Device, tuple[Conductor, ...]]:
    found: dict[Device, dict[Conductor, None]] = defaultdict(dict)
    for conductor in system.conductors:
        for end in (conductor.start, conductor.end):
            found[system.terminal(end).device][conductor] = None
    return {device: tuple(conductors) for device, conductors in found.items()}


def _branches(system: System, electrical: Electrical, device: Device) -> Iterator[Branch]:
    """Every way through a device: its poles, its joins, and the screws of the conductors that end on it."""
    walked = electrical.walked
    ways = (
        *(walked.branch(pole) for pole in system.poles_of(device)),
        *(walked.branch(conductor) for conductor in _conductors_at(system).get(device, ())),
        *(walked.joint(a, b) for a, b in _joints(system).get(device, ())),
    )
    return (branch for branch in ways if branch is not None)


def _wanted(system: System, device: Device) -> Calculation | None:
    """What a device must carry for hours, with the factors of the conductors there; None for no current [A].

    A holder carries what its fuse lets through.
    """
    if device.kind == "fuse":
        carries = any(system.electrical.sources_on(pole) for pole in system.poles_of(device))
        told = Input(
            "In", float(device.part.rating), "current", f"{device.tag}, catalogue part {device.part.id}"
        )
        return _demand(device, told.value, "In of the fuse", (told,), "maker's data") if carries else None
    found = [
        number
        for electrical, _ in worst.states(system)
        for branch in dict.fromkeys(_branches(system, electrical, device))
        for number in _loads(electrical, device, branch)
    ]
    return max(found, key=lambda number: number.value, default=None)


def _loads(electrical: Electrical, device: Device, branch: Branch) -> Iterator[Calculation]:
    book = electrical.book
    arrays = electrical.arrays_through(branch)
    if arrays:
        factor, most = book.factor("pv_conductor"), electrical.maximum_current(arrays)
        given: tuple[Input, ...] = (Input("Imax", most.value, "current", most.subject),)
        yield _demand(device, factor.value * most.value, f"{factor.value:g} · Imax", given, factor.source)
    converters = electrical.converters_through(branch)
    if converters:
        factor = book.factor("converter_output_conductor")
        given = tuple(dict.fromkeys(i for s in converters for i in electrical.given_current(s)))
        total = factor.value * sum(i.value for i in given)
        yield _demand(device, total, f"{factor.value:g} · ΣIout", given, factor.source)
    if electrical.batteries_through(branch):
        factor, drawn = book.factor("continuous_load"), electrical.load_current(branch)
        given = (Input("Iload", drawn.value, "current", drawn.subject),)
        yield _demand(device, factor.value * drawn.value, f"{factor.value:g} · ΣIload", given, factor.source)


def _demand(
    device: Device, amperes: float, formula: str, inputs: tuple[Input, ...], source: str
) -> Calculation:
    return Calculation(
        "current that a terminal must carry", device.tag, "I", amperes, "current", formula, inputs, source
    )


def _rated(system: System, device: Device) -> tuple[float, str]:
    """The current rating of a block, a plug or the holder of a fuse, and what bears it [A]."""
    if device.kind == "terminal_block":
        return float(need_part(device, "current", "current rating")), device.tag
    if device.kind == "isolator":
        return float(need_part(device, "dc_current", "DC current rating")), device.tag
    holder_id = device.spec.holder or device.part.holder
    holder = system.description.catalog.find(holder_id) if holder_id else None
    if holder is None:
        what = f"{device.tag}: the holder of the fuse (key holder)"
        raise MissingDatum(what, device.path, "holder")
    rated = getattr(holder, "dc_current", None)
    if rated is None:
        what = f"{device.tag}: current rating of its holder (catalogue part {holder.id}, key dc_current)"
        raise MissingDatum(what, device.path + ("part",), "dc_current")
    return float(rated), f"the holder of {device.tag} ({holder.id})"


def _current(system: System, device: Device) -> Answer | None:
    wanted = _wanted(system, device)
    if wanted is None:
        return None
    if device.kind == "isolator" and device.part.dc_voltage is None and device.part.ac_voltage is not None:
        return unchecked(
            device.tag,
            device.path,
            f"{device.tag} has no DC rating at all; `voltage.no-dc-rating` tells of it.",
        )
    show = system.show
    rated, bearer = _rated(system, device)
    required, actual = f"at least {show(wanted.value, 'current')}", show(rated, "current")
    path = device.path + ("part",)
    told = f"{bearer[:1].upper()}{bearer[1:]} carries {actual}"
    if keeps_to(wanted.value, rated):
        return satisfied(
            device.tag, path, f"{told}.", required=required, actual=actual, calculations=(wanted,)
        )
    return violated(
        device.tag,
        path,
        f"{told}; {show(wanted.value, 'current')} is asked of it ({wanted.formula}).",
        required=required,
        actual=actual,
        fix=f"Take one for {show(wanted.value, 'current')} or more, or divide the current.",
        calculations=(wanted,),
    )


_BLOCK = {
    "terminal_blocks.TB1": {"part": "block-r"},
    "runs.R2.conductors[0].to": "TB1.1",
    "runs.R2.conductors[3]": {"from": "TB1.2", "to": "CB1.pv+", "color": "red"},
}

CURRENT = Rule(
    id="terminal.current",
    severity=Severity.DANGER,
    title="Terminal, bar, plug or fuse holder rated for less than it carries",
    checks="The current rating of each terminal block, bar and plug >= the largest current that flows for "
    "hours through any of its screws, joins and links, with the factor that the book has for the conductors "
    "of that circuit; that of a fuse holder >= the rating of its fuse. Isolators and breakers that may be "
    "opened under load are for disconnect.rating.",
    why="The contact is the hottest point of a circuit. A clip or a bar for half the current softens its "
    "plastic, loses its grip, and goes on heating with no fuse to notice.",
    clauses={
        "us-2023": "110.3(B), 110.14; 690.8(B), 430.22; 240.60(B) (holders)",
        "iec": "60947-7-1, 60269-1 (holders), 62852 (connectors); 60364-5-52 526; 61439-1",
    },
    look=_carriers,
    examine=_current,
    fires=(
        Case(
            "a 15 A block in the array's run: 1.25 · 15 A",
            {**_BLOCK, "part:block-r.current": "15 A"},
            subject="TB1",
        ),
        Case("a 15 A fuse in a 10 A holder", {"part:holder-r.dc_current": "10 A"}, subject="F1"),
        Case(
            "three strings on a 20 A block, metric rulebook: 22.5 A",
            {**METRIC, **_BLOCK, "part:block-r.current": "20 A", "panels.PV1.parallel": 3},
            subject="TB1",
        ),
        Case(
            "a plug for 10 A in the motor's circuit, that can carry the 12 A of the controller",
            {"part:isolator-r.load_break": False, "part:isolator-r.dc_current": "10 A"},
            subject="DS1",
        ),
    ),
    keeps_still=(
        Case("a 40 A block in the array's run", _BLOCK),
        Case("a block for 18.75 A in the array's run", {**_BLOCK, "part:block-r.current": "18.75 A"}),
        Case("a 15 A fuse in a 15 A holder", {"part:holder-r.dc_current": "15 A"}),
        Case(
            "a block for 15 A in the array's run, metric rulebook: 1.0 · 15 A",
            {**METRIC, **_BLOCK, "part:block-r.current": "15 A"},
        ),
    ),
    sees_not="Derating in heat; currents that a link of another make carries; short circuits.",
)

RULES = (RANGE, CURRENT)
