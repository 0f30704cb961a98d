"""Instruments and tools to bring: what the commissioning sheet reads with, rated for the job, and what else.

The list is made from the sheet itself, reading by reading: what a reading is measured in, and what its test
is, say with which instrument; the readings give the range. So the two cannot drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from specc import units
from specc.documents.basket import by_area
from specc.documents.box_entries import has_cord
from specc.documents.commissioning.model import Commissioning, Reading, Step
from specc.documents.commissioning.sheet import sheet_texts
from specc.documents.one_line import size_words
from specc.documents.tables import Cell, Column, Table
from specc.documents.termination_schedule import TICK
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2, ZERO_CELSIUS_K
from specc.rulebooks import NotInTable
from specc.system.missing import MissingDatum
from specc.system.model import Device
from specc.system.system import System

COLUMNS = (
    Column("tool", "Instrument or tool"),
    Column("needs", "Rating or range"),
    Column("used", "Used for"),
    Column("least_si", "Range at least, SI", "", "right", on_paper=False),
    Column("unit_si", "SI unit", on_paper=False),
    Column("done", "Packed", align="centre", sign="✓"),
)

# With what a reading of a dimension is taken, unless its test says otherwise.
BY_DIMENSION: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "voltage": ("multimeter",),
        "current": ("clamp meter",),
        "power": ("multimeter", "clamp meter"),
        "resistance": ("multimeter",),
        "pressure": ("pressure gauge",),
        "vacuum": ("vacuum gauge",),
        "duration": ("bucket", "stopwatch"),
        "flow": ("level tape", "stopwatch"),
        "length": ("level tape",),
        "elevation": ("level tape",),
        "short_length": ("tape measure",),
        "fraction": ("multimeter", "clamp meter", "bucket", "stopwatch"),
    }
)
# Tests whose resistances are out of reach of an ordinary meter.
OHMS: Mapping[str, str] = MappingProxyType(
    {
        "bonding": "milliohm meter",
        "continuity": "milliohm meter",
        "insulation": "insulation tester",
        "electrode": "earth tester",
    }
)
# What a test takes beside its readings; every test of the sheet is named.
BESIDE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "inspection": ("torque screwdriver", "torque wrench"),
        "bonding": ("long lead",),
        "continuity": ("long lead",),
        "no short": (),
        "switch loops": ("multimeter",),
        "functional earth": ("multimeter",),
        "electrode": (),
        "priming": ("stopwatch",),
        "static": (),
        "polarity": ("multimeter",),
        "open circuit": (),
        "short circuit": ("shorting switch",),
        "insulation": ("shorting switch",),
        "volts to earth": (),
        "battery": (),
        "input voltage": (),
        "output voltage": ("multimeter",),
        "cut off": ("multimeter", "adjustable supply"),
        "first start": (),
        "stops": ("multimeter",),
        "working point": (),
        "drop": ("long lead",),
        "vacuum": (),
        "pressure": (),
        "bucket": (),
        "wire to water": (),
        "relief": ("clamp meter", "pressure gauge"),
        "drawdown": ("stopwatch",),
        "tank": (),
        "low light": ("clamp meter",),
    }
)
# With what a test is made whose readings could not be worked out.
USUAL: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        **{name: (tool,) for name, tool in OHMS.items()},
        "no short": ("multimeter",),
        "static": ("pressure gauge",),
        "open circuit": ("multimeter",),
        "short circuit": ("clamp meter",),
        "volts to earth": ("multimeter",),
        "battery": ("multimeter",),
        "input voltage": ("multimeter",),
        "working point": ("multimeter", "clamp meter"),
        "drop": ("multimeter",),
        "vacuum": ("vacuum gauge",),
        "pressure": ("pressure gauge",),
        "bucket": ("bucket", "stopwatch"),
        "drawdown": ("level tape", "stopwatch"),
    }
)


@dataclass
class _Use:
    """What an instrument is used for: the tests, and what is read with it."""

    steps: dict[int, str]
    readings: list[Reading]


@dataclass(frozen=True)
class _Rated:
    """A rating in words; the end of its range in SI where there is one number. ``extra`` ends the name."""

    words: str
    least_si: float | None = None
    dimension: str = ""
    extra: str = ""


def instruments_of(step: Step, reading: Reading) -> tuple[str, ...]:
    """With what a reading of a test is taken; empty for what is seen."""
    if reading.missing and not reading.dimension:
        return USUAL.get(step.id, ())
    if reading.dimension == "resistance" and step.id in OHMS:
        return (OHMS[step.id],)
    return BY_DIMENSION.get(reading.dimension, ())


def tools_list(system: System, sheet: Commissioning) -> Table:
    """What to bring for the tests of this job, then for its wiring and for those who do it."""
    uses: dict[str, _Use] = {}
    for step in sheet.steps:
        for reading in step.readings:
            for key in instruments_of(step, reading):
                use = uses.setdefault(key, _Use({}, []))
                use.steps[step.number] = step.id
                use.readings.append(reading)
        for key in BESIDE.get(step.id, ()):
            use = uses.setdefault(key, _Use({}, []))
            use.steps[step.number] = step.id
            if key in ("shorting switch", "adjustable supply"):
                use.readings += step.readings
    if any(step.live and _numbers(step.readings) for step in sheet.steps):
        live = {step.number: step.id for step in sheet.steps if step.live and _numbers(step.readings)}
        for key in ("irradiance meter", "contact thermometer"):
            uses[key] = _Use(live, [])
    rows = [row for key in _INSTRUMENTS if key in uses for row in _rows(system, key, uses[key])]
    rows += list(_for_work(system))
    return Table(
        "tools-list",
        "Instruments and tools to bring",
        COLUMNS,
        tuple({**row, "done": TICK} for row in rows),
        (
            "Not in the parts list: to own, hire or borrow. Tests are numbered as on their sheet. "
            f"A gauge is read at no more than {_share(system):.0%} of its scale (EN 837-2, steady pressure, "
            "from memory, unverified). Gauges have the 1/4 in thread of the gauge tees.",
        ),
    )


def _share(system: System) -> float:
    return system.handbook.threshold("gauge_scale_fraction").value


def _numbers(readings: Iterable[Reading]) -> list[float]:
    return [n for r in readings for n in (r.value, r.highest) if n is not None and math.isfinite(n)]


def _rows(system: System, key: str, use: _Use) -> Iterator[dict[str, Cell]]:
    name, rate = _INSTRUMENTS[key]
    for rated in rate(system, use.readings):
        unit = units.DIMENSIONS[rated.dimension].si_unit if rated.dimension else None
        yield {
            "tool": name + rated.extra,
            "needs": rated.words,
            "used": _used(use.steps),
            "least_si": rated.least_si,
            "unit_si": unit,
        }


def _used(steps: Mapping[int, str]) -> str:
    """The tests by number, of few also by name."""
    numbers = sorted(steps)
    told = f"test {_runs(numbers)}" if len(numbers) == 1 else f"tests {_runs(numbers)}"
    return f"{told}: {', '.join(steps[n] for n in numbers)}" if len(numbers) <= 3 else told


def _runs(numbers: list[int]) -> str:
    """ "2, 5 to 8"."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(f"{a}" if a == b else f"{a}, {b}" if b == a + 1 else f"{a} to {b}" for a, b in spans)


# -- ratings -------------------------------------------------------------------------------------------------


def _highest_v(system: System) -> float | None:
    """The highest voltage that any source of the job can show [V]; None where that is not known."""
    found = []
    for source in system.walked.sources:
        try:
            found.append(system.electrical.highest_voltage(source).value)
        except (MissingDatum, NotInTable):
            return None
    return max(found, default=None)


def _volts(system: System, readings: Iterable[Reading]) -> float | None:
    source = _highest_v(system)
    read = _numbers(r for r in readings if r.dimension == "voltage")
    return None if source is None else max([source, *read])


def _multimeter(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    volts = _volts(system, readings)
    least = [r.value for r in readings if r.dimension == "voltage" and r.value]
    words = (
        "DC volts above the job's highest, which is not known"
        if volts is None
        else f"DC volts above {system.show(volts, 'voltage')}, the job's highest"
    )
    if least:
        words += f", and down to {system.show(min(least), 'voltage', 2)}"
    if any(r.dimension == "resistance" for r in readings):
        words += "; ohms to over 1 Mohm"
    yield _Rated(f"{words}; category III (IEC 61010) or better", volts, "voltage")


def _clamp(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    read = [r for r in readings if r.dimension == "current"]
    numbers = [*_numbers(read), *(r.standard for r in read if r.with_light and r.standard is not None)]
    if not numbers:
        yield _Rated("for DC, not for AC alone")
        return
    least = min((r.value for r in read if r.value), default=max(numbers))
    yield _Rated(
        f"for DC, not for AC alone; {system.show(least, 'current', 2)} to "
        f"{system.show(max(numbers), 'current', 3)}",
        max(numbers),
        "current",
    )


def _milliohms(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    floor = float(sheet_texts()["practice"]["milliohm_meter_ohm"])
    most = max(_numbers(readings), default=1.0)
    yield _Rated(
        f"four-wire, shows {system.show(floor, 'resistance')}, to {system.show(most, 'resistance', 2)}",
        most,
        "resistance",
    )


def _insulation(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    """The test voltages in the words of the sheet itself."""
    said = dict.fromkeys(r.expected.removeprefix("at ") for r in readings if not r.missing)
    least = max((r.lowest for r in readings if r.lowest is not None), default=None)
    words = "; ".join(said) if said else "test voltage not worked out: see the sheet"
    shown = "" if least is None else f", shows {least / 1e6:g} Mohm and more"
    yield _Rated(f"DC, {words}{shown}", least, "resistance" if least else "")


def _earth(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    most = max(_numbers(readings), default=None)
    upto = "" if most is None else f", about {system.show(most, 'resistance')}"
    yield _Rated(
        f"fall of potential, two auxiliary rods with leads{upto}",
        most,
        "resistance" if most else "",
    )


def _shorting(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    volts = _highest_v(system)
    amps = [r.standard if r.standard is not None else r.value for r in readings if r.dimension == "current"]
    factor = system.book.factor("pv_maximum_current").value
    most = max((a for a in amps if a is not None), default=None)
    words = "load-break, for DC"
    words += " (highest volts not known)" if volts is None else f", {system.show(volts, 'voltage')}"
    if most is not None:
        words += f", {system.show(factor * most, 'current', 3)}"
    yield _Rated(f"{words}, with insulated leads", volts, "voltage" if volts else "")


def _supply(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    """Beyond the highest voltage at which something closes again, with a limit of its current."""
    most = max((r.highest for r in readings if r.highest is not None), default=None)
    upto = "" if most is None else f"to {system.show(most, 'voltage', 3)}, "
    yield _Rated(f"{upto}current limit 1 A or less", most, "voltage" if most is not None else "")


def _gauges(system: System, readings: list[Reading], dimension: str) -> Iterator[list[float]]:
    """Readings that one gauge serves, the highest first: none below a tenth of what the scale must have."""
    numbers = sorted((abs(n) for n in _numbers(readings) if n), reverse=True)
    while numbers:
        floor = 0.1 * numbers[0] / _share(system)
        served = [n for n in numbers if n >= floor]
        numbers = numbers[len(served) :]
        yield served


def _gauge(system: System, readings: list[Reading], dimension: str) -> Iterator[_Rated]:
    own = [r for r in readings if r.dimension == dimension]
    served = list(_gauges(system, own, dimension))
    if not served:
        yield _Rated("range not worked out: see the sheet")
    for number, group in enumerate(served):
        scale = group[0] / _share(system)
        words = (
            f"read up to {system.show(group[0], dimension, 3)}: scale 0 to "
            f"{system.show(scale, dimension, 3)} or more"
        )
        part = _of_catalogue(system, dimension, scale)
        if part is not None:
            words += f" ({part.id})"
        yield _Rated(words, scale, dimension, ", low range" if number else "")


def _of_catalogue(system: System, measures: str, scale: float) -> Any:
    """The gauge of the catalogue with the smallest scale that is large enough."""
    found = []
    for part in system.description.catalog.parts("gauge"):
        full = getattr(part, "full_scale", None)
        if getattr(part, "measures", "") == measures and full:
            try:
                found.append((units.parse_quantity(full, measures), part.id, part))
            except units.QuantityError:
                continue
    serving = [each for each in found if scale <= each[0] <= 4.0 * scale]
    return min(serving, key=lambda each: each[:2])[2] if serving else None


def _pressure(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    return _gauge(system, readings, "pressure")


def _vacuum(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    return _gauge(system, readings, "vacuum")


def _bucket(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    """The volumes in the words of the sheet itself."""
    said = dict.fromkeys(r.at.rpartition(", ")[2] for r in readings if r.dimension == "duration")
    words = " and ".join(said) if said else "of known volume"
    yield _Rated(f"{words}, filled beforehand from a measure and marked")


def _stopwatch(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    least = min((r.value for r in readings if r.dimension == "duration" and r.value), default=None)
    upto = "" if least is None else f"; shortest time {least:.0f} s"
    yield _Rated(f"to 1 s{upto}")


def _level_tape(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    depth = max((r.highest or 0.0 for r in readings if r.dimension == "length"), default=0.0)
    words = (
        f"reaches {system.show(depth, 'length', 3)} below the rim" if depth else "reaches the lowest level"
    )
    yield _Rated(f"{words}, clean", depth or None, "length" if depth else "")


def _long_lead(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    lengths = [r.spec.length for r in system.connected.runs.values() if r.spec.laid != "in enclosure"]
    longest = max(lengths, default=0.0)
    yield _Rated(
        f"{system.show(longest, 'length', 3)}, as the longest run; or two wires joined at the far end",
        longest,
        "length",
    )


def _light(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    shown = system.show(STANDARD_IRRADIANCE_W_M2, "irradiance")
    yield _Rated(
        f"to {shown} and more, held in the plane of the array", STANDARD_IRRADIANCE_W_M2, "irradiance"
    )


def _thermometer(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    hottest = max(float(c) for c in sheet_texts()["practice"]["cell_c"]) + ZERO_CELSIUS_K
    yield _Rated(
        f"to {system.show(hottest, 'temperature')}, taped to the back of a module", hottest, "temperature"
    )


def _torques(system: System) -> list[float]:
    """Torques of the terminals on which a wire ends [N m]."""
    wired = (system.terminal(name).wire for name in system.connected.wired)
    return [float(w.torque) for w in wired if w is not None and w.torque is not None]


def _torque_tool(beyond: bool) -> Callable[[System, list[Reading]], Iterator[_Rated]]:
    def rate(system: System, readings: list[Reading]) -> Iterator[_Rated]:
        border = system.handbook.threshold("torque_screwdriver_nm").value
        own = [t for t in _torques(system) if (t > border) == beyond]
        if own:
            low, high = (system.show(t, "torque", 2) for t in (min(own), max(own)))
            words = low if low == high else f"{low} to {high}"
            yield _Rated(f"{words}, as the termination schedule says", max(own), "torque")
        elif not beyond and not _torques(system):
            yield _Rated("as the makers say: the catalogue gives no torque")

    return rate


def _ruler(system: System, readings: list[Reading]) -> Iterator[_Rated]:
    yield _Rated("levels in the tank")


# In the order of the list: key, name, and how it is rated from the readings taken with it.
_INSTRUMENTS: Mapping[str, tuple[str, Callable[[System, list[Reading]], Iterator[_Rated]]]] = (
    MappingProxyType(
        {
            "torque screwdriver": ("Torque screwdriver", _torque_tool(False)),
            "torque wrench": ("Torque wrench", _torque_tool(True)),
            "multimeter": ("Multimeter", _multimeter),
            "clamp meter": ("Clamp meter", _clamp),
            "milliohm meter": ("Milliohm meter", _milliohms),
            "long lead": ("Long test lead", _long_lead),
            "insulation tester": ("Insulation tester", _insulation),
            "earth tester": ("Earth-resistance tester", _earth),
            "shorting switch": ("Switch for tests", _shorting),
            "adjustable supply": ("Adjustable DC supply", _supply),
            "irradiance meter": ("Irradiance meter", _light),
            "contact thermometer": ("Contact thermometer", _thermometer),
            "vacuum gauge": ("Vacuum gauge", _vacuum),
            "pressure gauge": ("Pressure gauge", _pressure),
            "bucket": ("Bucket", _bucket),
            "stopwatch": ("Stopwatch", _stopwatch),
            "level tape": ("Level tape", _level_tape),
            "tape measure": ("Tape measure", _ruler),
        }
    )
)


# -- tools that no reading asks for --------------------------------------------------------------------------


def _for_work(system: System) -> Iterator[dict[str, Cell]]:
    """What the wiring and the cautions ask for."""
    yield _tool(
        "Known DC source to prove the meter",
        "a battery of some volts, or a proving unit",
        "every dead circuit",
    )
    modules = sum(d.spec.series * d.spec.parallel for d in system.of_kind("panel"))
    if modules:
        yield _tool("Opaque cover", f"for {modules} {'module' if modules == 1 else 'modules'}", "cold tests")
    locks = [d.tag for d in system.of_kind("isolator", "breaker") if d.part.lockable]
    if locks:
        yield _tool("Padlock and tag", f"one for each of {', '.join(locks)}", "lock-out")
    yield _tool("Eye protection, dry gloves", "", "all live work")
    if system.of_kind("battery"):
        yield _tool("Insulated tools and post covers", "", "battery")
    if crimped := _crimped(system):
        yield _tool("Crimp tool with its dies", ", ".join(crimped), "of the maker of what is crimped")
    yield _tool("Wire cutter and stripper", _span_of_sizes(system), "strip lengths: termination schedule")
    bent = [r for r in system.of_kind("raceways") if r.spec.bends and _bent_on_site(system, r)]
    if bent:
        sizes = ", ".join(dict.fromkeys(size_words(r.part.trade_size) for r in bent))
        yield _tool("Conduit bender", sizes, ", ".join(r.tag for r in bent))
    if any(system.connected.runs_in(r) for r in system.of_kind("raceways")):
        longest = max(r.spec.length for r in system.of_kind("raceways"))
        yield _tool("Pulling line or fish tape", system.show(longest, "length", 3), "raceways")


def _tool(tool: str, needs: str, used: str) -> dict[str, Cell]:
    return {"tool": tool, "needs": needs, "used": used}


def _bent_on_site(system: System, raceway: Device) -> bool:
    try:
        return system.handbook.raceway_joining(raceway.part.raceway).bend == "bent on site"
    except NotInTable:
        return False


def _crimped(system: System) -> tuple[str, ...]:
    """What is crimped on conductors of the job."""
    found: dict[str, None] = {}
    for conductor in system.conductors:
        for end in (conductor.start, conductor.end):
            terminal = system.terminal(end)
            if has_cord(terminal.device):
                found[f"splice {conductor.size}"] = None
            elif getattr(terminal.wire, "stud", False):
                found[f"ring lug {conductor.size}"] = None
            elif conductor.wire.strand == "fine":
                found[f"ferrule {conductor.size}"] = None
    return tuple(found)


def _span_of_sizes(system: System) -> str:
    sizes = sorted({c.size for c in system.conductors}, key=by_area)
    return sizes[0] if len(sizes) == 1 else f"{sizes[0]} to {sizes[-1]}"
