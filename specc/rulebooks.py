"""Tables of the codes and of the handbooks: one small lookup per question, each answer with its source.

Every rulebook file has the same tables and keys, so nobody who asks needs to know which book it is.
Reading TOML is slow beside a lookup, so a file is cut at its table headers and a table is parsed
only when it is first asked for.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from specc.amendments import HANDBOOK, Amendment, amended
from specc.resources import catalogs_dir

T = TypeVar("T")
Row = Mapping[str, Any]

ZERO_CELSIUS_K = 273.15
ROUNDING = 1e-9  # relative; keeps 1.5625 x 9.6 A from exceeding a 15 A fuse

M2_PER_UNIT = {"mm2": 1e-6, "in2": 0.0254**2, "cmil": math.pi / 4 * 2.54e-5**2}
OHM_PER_M_PER_UNIT = {"ohm/km": 1e-3, "ohm/kft": 1 / 304.8}
M_PER_UNIT = {"mm": 1e-3, "in": 0.0254}
PA_PER_UNIT = {"psi": 6894.757293168, "bar": 1e5}
_SAME_AREA = 0.01  # areas of one size differ in the tables by as much, from rounding


class NotInTable(LookupError):
    """The table has no answer; the message says for what, and where the table ends."""


class Sourced(NamedTuple, Generic[T]):
    """A value and the clause, table or handbook that it comes from."""

    value: T
    source: str


@dataclass(frozen=True)
class CorrectedAmpacity:
    """Ampacity in A after correction: ``value`` = ``table_a`` x ``ambient_factor`` x ``grouping_factor``."""

    value: float
    table_a: float
    ambient_factor: float
    grouping_factor: float
    source: str


@dataclass(frozen=True)
class RatingBand:
    """Ratings that are permitted, in amperes; a strict end is itself outside of the band."""

    low_a: float
    high_a: float  # inf where nothing bounds it
    low_strict: bool
    high_strict: bool
    source: str

    def holds(self, rating_a: float) -> bool:
        """Whether the rating lies in the band; never so for NaN."""
        low, high = self.low_a, self.high_a
        above = rating_a > low * (1 + ROUNDING) if self.low_strict else rating_a >= low * (1 - ROUNDING)
        below = rating_a < high * (1 - ROUNDING) if self.high_strict else rating_a <= high * (1 + ROUNDING)
        return above and below


@dataclass(frozen=True)
class ColourRule:
    """Colours of one role: ``usual`` need no marks, others are marked at the ends, forbidden never serve.

    No usual colour at all means that any colour serves that is not forbidden. End marks are
    permitted from the size ``marked_from`` up, and never where that is empty.
    """

    usual: tuple[str, ...]
    forbidden: tuple[str, ...]
    marked_from: str
    source: str


@dataclass(frozen=True)
class EnclosureRule:
    """What an enclosure must be: one of ``types``, or at least this second digit of its IP code."""

    types: tuple[str, ...]
    ip_water_digit: int
    source: str


@dataclass(frozen=True)
class SupportRule:
    """How a raceway is held: from one strap to the next, and from an end to the first, in m."""

    spacing_m: float
    from_end_m: float
    source: str


@dataclass(frozen=True)
class Joining:
    """How lengths of a raceway or pipe are joined, turned and held.

    ``end``: "bell", "coupling" or "with coupling". ``bend``: "elbow", "bent on site", "by hand", "" for pipe.
    ``box_end``: "fitting" or "ends short", "" for pipe. ``cement``: id of the cement, "" for none.
    ``expansion_per_k``: of its length, 0 where it does not matter. ``hanger_m``: spacing of clips on a pipe.
    """

    end: str
    bend: str
    box_end: str
    cement: str
    expansion_per_k: float
    hanger_m: float
    source: str


@dataclass(frozen=True)
class Band:
    """A plausible range, both ends included; the unit is in the name it was asked by."""

    low: float
    high: float
    source: str

    def holds(self, value: float) -> bool:
        """Whether the value lies in the band; never so for NaN."""
        return self.low <= value <= self.high


@dataclass(frozen=True)
class PipeSize:
    """One size of pipe, in m; rated pressure in Pa, None where the standard gives none."""

    bore_m: float
    outside_m: float
    wall_m: float
    pressure_pa: float | None
    material: str
    source: str


# A header of a table or of an array of tables, at the start of a line; the first key names the group.
_HEADER = re.compile(r'^\[\[?\s*"?([A-Za-z0-9_-]+)"?', re.MULTILINE)


def split_tables(text: str) -> dict[str, str]:
    """The TOML text of each top-level table, with all that belongs below it, by name.

    Only for files in which every key is in a table and no line of a value starts with "[".
    """
    headers = list(_HEADER.finditer(text))
    ends = [header.start() for header in headers[1:]] + [len(text)]
    parts: dict[str, str] = {}
    for header, end in zip(headers, ends, strict=True):
        parts[header[1]] = parts.get(header[1], "") + text[header.start() : end]
    return parts


@cache
def _texts(path: Path) -> Mapping[str, str]:
    return split_tables(path.read_text(encoding="utf-8"))


@cache
def read_table(path: Path, name: str) -> Any:
    """One top-level table of a file, parsed when first asked for. Raises KeyError where there is none."""
    return tomllib.loads(_texts(path)[name])[name]


def _finite(value: float, what: str) -> float:
    if not math.isfinite(value):
        raise NotInTable(f"{what} is {value}, which is not a number to look up")
    return value


def _first_reaching(rows: Iterable[Row], key: str, value: float, what: str, source: str) -> Row:
    """The first row whose limit reaches the value; a row without the limit takes all the rest."""
    _finite(value, what)
    last = None
    for row in rows:
        last = row.get(key, math.inf)
        if value <= last + ROUNDING:
            return row
    raise NotInTable(f"{what} {value:g} is beyond the last row ({last}) of {source}")


def _by_size(table: Row, size: str, what: str) -> float:
    try:
        return float(table["by_size"][size])
    except KeyError:
        known = ", ".join(table["by_size"])
        raise NotInTable(f"{what} of {size} is not in {table['source']}; its sizes: {known}") from None


def _named(tables: Row, name: str, kind: str) -> Row:
    try:
        row: Row = tables[name]
    except KeyError:
        raise NotInTable(f"there is no {kind} {name!r}; there are: {', '.join(tables)}") from None
    return row


def _serving(tables: Iterable[Row], key: str, wanted: str, what: str) -> Row:
    """The table whose list (or single name) under ``key`` contains what is wanted."""
    known: list[str] = []
    for table in tables:
        names = [table[key]] if isinstance(table[key], str) else table[key]
        if wanted in names:
            return table
        known += names
    raise NotInTable(f"there is no {what} {wanted!r}; there are: {', '.join(dict.fromkeys(known))}")


def _column(tables: list[Row], insulation_c: float, what: str) -> Row:
    """The hottest column that is not hotter than the insulation or terminal."""
    _finite(insulation_c, what)
    fitting = [table for table in tables if table["insulation_c"] <= insulation_c]
    if not fitting:
        columns = sorted({table["insulation_c"] for table in tables})
        raise NotInTable(f"{what}: no column for {insulation_c:g} °C; there are: {columns}")
    return max(fitting, key=lambda table: float(table["insulation_c"]))


def _area_m2(value: float, unit: str) -> float:
    """An area in m², from an area, or from a diameter in mm."""
    if unit == "mm":
        return math.pi / 4 * (value * M_PER_UNIT["mm"]) ** 2
    return value * M2_PER_UNIT[unit]


@dataclass(frozen=True)
class _Tables:
    """TOML tables, parsed one by one when asked for, with what an authority amends laid over them."""

    amendments: tuple[Amendment, ...] = field(default=(), kw_only=True)
    used: set[Amendment] = field(default_factory=set, kw_only=True, compare=False, repr=False)
    _laid_over: dict[str, Any] = field(default_factory=dict, kw_only=True, compare=False, repr=False)

    def _with_amendments(self, name: str, table: Any) -> Any:
        if not self.amendments:
            return table
        if name not in self._laid_over:
            mine = [a for a in self.amendments if a.keys[0] == name]
            self._laid_over[name] = amended(table, mine, self.used)
        return self._laid_over[name]


@dataclass(frozen=True)
class Rulebook(_Tables):
    """The tables of one code. Whatever a table cannot answer raises NotInTable; nothing is guessed.

    Temperatures named ``_c`` are ratings (columns of the print, °C); ambient temperatures are in K.
    """

    path: Path
    id: str

    def _table(self, name: str) -> Any:
        return self._with_amendments(name, read_table(self.path, name))

    def tables(self) -> Mapping[str, Any]:
        """Every table by name, as the book has it; all are parsed."""
        return {name: read_table(self.path, name) for name in _texts(self.path)}

    def amended(self, amendments: Iterable[Amendment]) -> Rulebook:
        """The book with those of these amendments laid over it that are for it."""
        mine = tuple(a for a in amendments if a.book == self.id)
        return Rulebook(self.path, self.id, amendments=mine) if mine else self

    # the book itself

    @property
    def title(self) -> str:
        """What it is called, with its edition."""
        meta = self._table("meta")
        return f"{meta['title']}, {meta['edition']}"

    @property
    def short(self) -> str:
        """What it is called where room is short, as in a footer."""
        return str(self._table("meta")["short"])

    @property
    def paper(self) -> str:
        """The paper of its country: "letter" or "a4"."""
        return str(self._table("meta")["paper"])

    def clause(self, rule: str, by_book: Mapping[str, str]) -> str:
        """The clause of a rule: from the book's own [clauses], by its id, or by the book that it follows."""
        own = read_table(self.path, "clauses") if "clauses" in _texts(self.path) else {}
        follows = str(self._table("meta").get("follows", ""))
        return str(own.get(rule) or by_book.get(self.id) or by_book.get(follows) or "")

    @property
    def disclaimer(self) -> str:
        """What to print beside every result."""
        return str(self._table("meta")["disclaimer"])

    # conductor sizes and resistance

    def sizes(self) -> tuple[str, ...]:
        """All conductor sizes, smallest first: "18 AWG" or "0.75 mm2"."""
        return tuple(self._table("sizes")["by_size"])

    def size_index(self, size: str) -> int:
        """Place in the order of sizes, 0 for the smallest. Raises NotInTable."""
        sizes = self.sizes()
        if size not in sizes:
            raise NotInTable(f"{size!r} is not a conductor size of {self.title}: {', '.join(sizes)}")
        return sizes.index(size)

    def next_size_up(self, size: str) -> str:
        """The next larger size. Raises NotInTable after the largest."""
        index = self.size_index(size) + 1
        if index == len(self.sizes()):
            raise NotInTable(f"{size} is the largest conductor size of {self.title}")
        return self.sizes()[index]

    def size_area_m2(self, size: str) -> Sourced[float]:
        """Metal area in m², in the measure that defines the size (circular mils, or nominal mm²)."""
        self.size_index(size)
        table = self._table("sizes")
        return Sourced(_area_m2(table["by_size"][size], table["unit"]), table["source"])

    def smallest_size_of_area(self, area_m2: float) -> Sourced[str]:
        """The smallest size with at least this metal area (to 1 in 1 000, for rounded tables)."""
        _finite(area_m2, "conductor area")
        for size in self.sizes():
            found = self.size_area_m2(size)
            if found.value >= area_m2 * 0.999:
                return Sourced(size, found.source)
        raise NotInTable(f"no conductor size of {self.title} has {area_m2 * 1e6:.4g} mm²")

    def resistance_ohm_per_m(
        self,
        size: str,
        material: str = "copper",
        strand: str = "stranded",
        temperature_k: float | None = None,
    ) -> Sourced[float]:
        """DC resistance of one conductor in Ω/m, R = R_table (1 + alpha (T - T_table)).

        ``strand`` is "stranded", "solid" or "flexible". Without a temperature: that at which the book
        reckons a loaded conductor (75 °C, or 70 °C).
        """
        table = _serving(self._table("resistance"), "serves", f"{material} {strand}", "resistance of")
        at_c = table["default_c"] if temperature_k is None else temperature_k - ZERO_CELSIUS_K
        _finite(at_c, "conductor temperature")
        at_table = _by_size(table, size, "resistance") * OHM_PER_M_PER_UNIT[table["unit"]]
        return Sourced(at_table * (1 + table["alpha_per_k"] * (at_c - table["table_c"])), table["source"])

    def drop_resistance_ohm_per_m(
        self, size: str, material: str = "copper", strand: str = "stranded"
    ) -> Sourced[float]:
        """Resistance of one conductor in Ω/m by which the book reckons voltage drop."""
        table = self._table("drop")
        if not table["resistivity"]:
            return self.resistance_ohm_per_m(size, material, strand)
        row = _serving(table["resistivity"], "materials", material, "resistivity of")
        area_mm2 = self.size_area_m2(size).value / M2_PER_UNIT["mm2"]
        return Sourced(row["ohm_mm2_per_m"] / area_mm2, table["source"])

    # ampacity

    def _ampacity_table(self, material: str, insulation_c: float, installation: str) -> Row:
        tables = [table for table in self._table("ampacity") if material in table["materials"]]
        laid = [table for table in tables if installation in table["media"]]
        if not laid:
            known = {name: None for table in tables for name in table["media"]}
            have = ", ".join(known) if known else "none for this material"
            raise NotInTable(f"no ampacity of {material} laid as {installation!r}; there are: {have}")
        return _column(laid, insulation_c, f"ampacity of {material}, {installation}")

    def ampacity_a(
        self, size: str, material: str, insulation_c: float, installation: str = "raceway"
    ) -> Sourced[float]:
        """Ampacity in A before correction, from the hottest column that the insulation allows.

        ``installation``: "raceway", "clipped", "free air", "spaced in free air", "buried raceway",
        "direct buried".
        """
        table = self._ampacity_table(material, insulation_c, installation)
        return Sourced(_by_size(table, size, "ampacity"), table["source"])

    def ampacity_medium(self, material: str, insulation_c: float, installation: str = "raceway") -> str:
        """What surrounds such conductors, for ``ambient_factor``: "air", "ground" or "pv air"."""
        return str(self._ampacity_table(material, insulation_c, installation)["media"][installation])

    def termination_ampacity_a(self, size: str, material: str, terminal_c: float) -> Sourced[float]:
        """Most current in A that the conductor may carry into a terminal of this temperature rating.

        Where no column of the book is so cool, and the book lets it be worked out: the coolest column,
        I = Icolumn · sqrt((Tterminal - Tbase) / (Tcolumn - Tbase)). The heat goes with the square of the
        current, and the lower resistance of a cooler conductor is left aside (on the safe side).
        """
        cooler = self._table("termination")["worked_out"]
        coolest_c = self.coolest_column_c(material)
        if not (cooler["permitted"] and cooler["least_c"] <= terminal_c < coolest_c):
            return self.ampacity_a(size, material, terminal_c, "raceway")
        found = self.ampacity_a(size, material, coolest_c, "raceway")
        share = math.sqrt((terminal_c - cooler["base_c"]) / (coolest_c - cooler["base_c"]))
        return Sourced(found.value * share, f"{found.source}; {cooler['source']}")

    def coolest_column_c(self, material: str) -> float:
        """Temperature of the coolest ampacity column of a material in raceway, °C; inf without one."""
        tables = [
            t for t in self._table("ampacity") if material in t["materials"] and "raceway" in t["media"]
        ]
        return float(min((table["insulation_c"] for table in tables), default=math.inf))

    def termination_base_c(self) -> float:
        """Air temperature for which the ampacity columns are printed, °C."""
        return float(self._table("termination")["worked_out"]["base_c"])

    def default_terminal_c(self, rating_a: float) -> Sourced[float]:
        """Temperature rating in °C of a terminal without a mark, on equipment of this current rating."""
        table = self._table("termination")
        row = _first_reaching(table["rows"], "up_to_a", rating_a, "equipment rating", table["source"])
        return Sourced(float(row["terminal_c"]), table["source"])

    def ambient_factor(self, ambient_k: float, insulation_c: float, medium: str = "air") -> Sourced[float]:
        """Correction for the temperature around the conductor; between two rows the hotter one counts.

        Raises NotInTable where the book permits no current.
        """
        tables = [table for table in self._table("ambient") if medium in table["media"]]
        table = _column(tables, insulation_c, f"correction for ambient, {medium}")
        source = table["source"]
        ambient_c = round(ambient_k - ZERO_CELSIUS_K, 6)
        row = _first_reaching(table["rows"], "up_to_c", ambient_c, "ambient temperature, °C,", source)
        return Sourced(float(row["factor"]), source)

    def grouping_factor(self, conductors: int, length_m: float | None = None) -> Sourced[float]:
        """Correction for the number of current-carrying conductors together over this length (None: long)."""
        table = self._table("grouping")
        if conductors < 1:
            raise NotInTable(f"no grouping factor for {conductors} conductors")
        if length_m is not None and length_m <= table["ignored_up_to_m"]:
            return Sourced(1.0, table["source"])
        row = _first_reaching(table["rows"], "up_to_conductors", conductors, "conductors:", table["source"])
        return Sourced(float(row["factor"]), table["source"])

    def corrected_ampacity_a(
        self,
        size: str,
        material: str,
        insulation_c: float,
        ambient_k: float,
        conductors: int,
        installation: str = "raceway",
        length_m: float | None = None,
    ) -> CorrectedAmpacity:
        """Ampacity after correction, with factor and ampacity from one and the same column."""
        table = self._ampacity_table(material, insulation_c, installation)
        column_c, medium = table["insulation_c"], table["media"][installation]
        table_a = _by_size(table, size, "ampacity")
        ambient = self.ambient_factor(ambient_k, column_c, medium)
        grouping = self.grouping_factor(conductors, length_m)
        source = "; ".join(dict.fromkeys((table["source"], ambient.source, grouping.source)))
        value = table_a * ambient.value * grouping.value
        return CorrectedAmpacity(value, table_a, ambient.value, grouping.value, source)

    def rooftop_adder_k(self, gap_m: float) -> Sourced[float]:
        """What to add to the ambient of a sunlit raceway this far above a roof, in K."""
        table = self._table("rooftop")
        near = _finite(gap_m, "gap above the roof") < table["gap_up_to_m"]
        return Sourced(float(table["adder_k"]) if near else 0.0, table["source"])

    # overcurrent devices

    def small_conductor_limit_a(self, size: str, material: str) -> Sourced[float] | None:
        """Largest device in A on a small conductor, whatever its ampacity; None where uncapped."""
        self.size_index(size)
        for row in self._table("small_conductors")["rows"]:
            if row["size"] == size and material in row["materials"]:
                return Sourced(float(row["limit_a"]), row["clause"])
        return None

    def standard_ratings_a(self, device: str = "fuse") -> tuple[float, ...]:
        """Standard ratings in A, rising, of a "fuse", "pv fuse" or "breaker"."""
        table = _serving(self._table("standard_ratings"), "device", device, "list of ratings of a")
        return tuple(float(rating) for rating in table["ratings_a"])

    def next_rating_up(self, current_a: float, device: str = "fuse") -> Sourced[float]:
        """The smallest standard rating in A that is at least this current."""
        _finite(current_a, "current")
        table = _serving(self._table("standard_ratings"), "device", device, "list of ratings of a")
        for rating in table["ratings_a"]:
            if rating >= current_a * (1 - ROUNDING):
                return Sourced(float(rating), table["source"])
        raise NotInTable(f"{current_a:g} A is beyond the standard ratings of {table['source']}")

    def largest_device_a(self, ampacity_a: float) -> Sourced[float]:
        """Largest device in A on this ampacity: the ampacity, or the next standard rating if permitted."""
        table = self._table("next_rating_up")
        if not table["permitted"]:
            return Sourced(_finite(ampacity_a, "ampacity"), table["source"])
        rating = self.next_rating_up(ampacity_a)
        if rating.value > table["up_to_a"]:
            return Sourced(ampacity_a, table["source"])
        return Sourced(rating.value, f"{table['source']}; {rating.source}")

    def string_fuse_band(self, isc_a: float, module_limit_a: float) -> RatingBand:
        """Ratings permitted for the fuse of one string, from the module's Isc and maximum series fuse."""
        table = self._table("string_fuse")
        _finite(module_limit_a, "maximum series fuse")
        low = table["min_of_isc"] * self._current(isc_a)
        high = table["max_of_isc"] * isc_a
        strict = bool(table["max_strict"]) and high <= module_limit_a
        source = table["source"] + "; module maximum series fuse"
        return RatingBand(low, min(high, module_limit_a), bool(table["min_strict"]), strict, source)

    def pv_fuse_band(self, total_isc_a: float) -> RatingBand:
        """Ratings of a device in a PV circuit that do not open in bright cold sun, from the sum of Isc."""
        table = self._table("pv_fuse")
        low = table["min_of_isc"] * self._current(total_isc_a)
        return RatingBand(low, math.inf, bool(table["min_strict"]), False, table["source"])

    @staticmethod
    def _current(value_a: float) -> float:
        if not _finite(value_a, "Isc") > 0:
            raise NotInTable(f"Isc is {value_a:g} A; it must be above zero")
        return value_a

    # voltage, grounding, colours

    def cold_voltage_factor(self, coldest_k: float) -> Sourced[float]:
        """Factor on Voc for the coldest air, for silicon modules without a temperature coefficient."""
        table = self._table("cold_voltage")
        coldest_c = round(_finite(coldest_k, "coldest air") - ZERO_CELSIUS_K, 6)
        if coldest_c <= table["warmest_c"]:
            for row in table["rows"]:
                if coldest_c >= row["down_to_c"]:
                    return Sourced(float(row["factor"]), table["source"])
        limits = f"{table['rows'][-1]['down_to_c']} to {table['warmest_c']} °C"
        raise NotInTable(f"{coldest_c:g} °C is outside of {table['source']} ({limits})")

    def egc_size(
        self, rating_a: float, material: str = "copper", line_size: str | None = None
    ) -> Sourced[str]:
        """Least equipment grounding (protective) conductor, never larger than the circuit conductor.

        Some books ask the rating of the device ahead, others the size of the circuit conductor: give both.
        """
        table = self._table("equipment_ground")
        source = table["source"]
        if table["by_line"]:
            return Sourced(self._egc_by_line(table["by_line"], line_size, source), source)
        row = _first_reaching(table["by_device"], "up_to_a", rating_a, "device rating, A,", source)
        if material.removeprefix("tinned ") not in row:
            raise NotInTable(f"no equipment grounding conductor of {material} in {source}")
        size = str(row[material.removeprefix("tinned ")])
        if line_size is not None and self.size_index(line_size) < self.size_index(size):
            size = line_size
        return Sourced(size, source)

    def _egc_by_line(self, rows: list[Row], line_size: str | None, source: str) -> str:
        if line_size is None:
            raise NotInTable(f"{source} needs the size of the circuit conductor")
        line_mm2 = self.size_area_m2(line_size).value / M2_PER_UNIT["mm2"]
        row = _first_reaching(rows, "up_to_mm2", line_mm2, "circuit conductor, mm²,", source)
        least_mm2 = max(row["share"] * line_mm2, row["least_mm2"])
        return self.smallest_size_of_area(least_mm2 * M2_PER_UNIT["mm2"]).value

    def egc_upsizing(self, circuit: str) -> Sourced[bool]:
        """Whether the grounding conductor of a "pv", "motor" or "battery" circuit grows with the others."""
        row = _serving(self._table("egc_upsizing")["rows"], "circuit", circuit, "circuit")
        return Sourced(bool(row["required"]), row["clause"])

    def frame_bond_size(self) -> Sourced[str]:
        """Least bond of a module frame or rail."""
        table = self._table("bonding")
        return Sourced(table["frame_bond"], table["source"])

    def electrode_conductor_size(self) -> Sourced[str]:
        """Conductor to a driven rod, copper."""
        table = self._table("bonding")
        return Sourced(table["electrode_conductor"], table["source"])

    def electrode_conductor_least(self) -> Sourced[str]:
        """Least conductor to an electrode, copper, however small the circuit conductors are."""
        table = self._table("bonding")
        return Sourced(table["electrode_conductor_least"], table["source"])

    @property
    def electrode_conductor_throughout(self) -> bool:
        """Does its least size hold past a block or bar too, or only as far as it lies in the ground?"""
        return bool(self._table("bonding")["electrode_conductor_throughout"])

    def functional_earth_rating_a(self, array_w: float) -> Sourced[float]:
        """Largest rating in A of the fuse or breaker in a functional joint with earth, by W of array."""
        table = self._table("functional_earth")
        row = _first_reaching(table["rows"], "up_to_w", array_w, "array power, W,", table["source"])
        return Sourced(float(row["rating_a"]), table["source"])

    def functional_earth_least(self, guarded: bool) -> Sourced[str]:
        """Least conductor of a functional joint with earth, in a raceway or box (guarded) or in the open."""
        table = self._table("functional_earth")
        return Sourced(table["least_guarded" if guarded else "least_open"], table["conductor_source"])

    def system_bond_size(self) -> Sourced[str]:
        """Least conductor of the bond of a DC system, copper, where the fault current asks for no more."""
        table = self._table("bonding")
        return Sourced(table["system_bond"], table["source"])

    def colours(self, role: str) -> ColourRule:
        """Colours of a conductor by role.

        Roles: "positive", "negative floating", "negative grounded", "negative functionally grounded",
        "equipment ground", "functional earth", "control".
        """
        row = _serving(self._table("colours")["rows"], "role", role, "colour rule for")
        return ColourRule(tuple(row["usual"]), tuple(row["forbidden"]), row["marked_from"], row["clause"])

    # raceways and places

    def raceway_kinds(self) -> tuple[str, ...]:
        """Kinds of raceway with a table of areas."""
        return tuple(table["kind"] for table in self._table("raceways"))

    def raceway_sizes(self, kind: str) -> tuple[str, ...]:
        """Trade sizes of a kind of raceway, smallest first."""
        return tuple(_serving(self._table("raceways"), "kind", kind, "raceway")["by_size"])

    def raceway_area_m2(self, kind: str, trade_size: str) -> Sourced[float]:
        """Internal area of a raceway in m²."""
        table = _serving(self._table("raceways"), "kind", kind, "raceway")
        value = _by_size(table, trade_size, f"internal area of {kind}")
        return Sourced(_area_m2(value, table["unit"]), table["source"])

    def conductor_area_m2(self, family: str, size: str) -> Sourced[float]:
        """Area in m² that one conductor takes, by insulation family ("thwn-2", "pv wire", "bare")."""
        table = _serving(self._table("conductor_areas"), "families", family, "conductor area for")
        value = _by_size(table, size, f"outside area of {family}")
        return Sourced(_area_m2(value, table["unit"]), table["source"])

    def fill_fraction(self, conductors: int, length_m: float | None = None) -> Sourced[float]:
        """Share of a raceway that so many conductors may take, grounding ones counted."""
        table = self._table("raceway_fill")
        if conductors < 1:
            raise NotInTable(f"no raceway fill for {conductors} conductors")
        if length_m is not None and length_m <= table["short_up_to_m"]:
            return Sourced(float(table["short_fraction"]), table["source"])
        row = _first_reaching(table["rows"], "up_to_count", conductors, "conductors:", table["source"])
        return Sourced(float(row["fraction"]), table["source"])

    def raceway_support(self, kind: str, trade_size: str) -> SupportRule:
        """Spacing of the straps of a raceway."""
        table = _serving(self._table("supports"), "kinds", kind, "raceway supports for")
        spacing = _by_size(table, trade_size, f"spacing of supports of {kind}")
        return SupportRule(spacing, float(table["from_end_m"]), table["source"])

    def cover_m(self, laying: str, location: str = "general") -> Sourced[float]:
        """Least cover of earth in m.

        ``laying``: "direct buried", "rigid metal", "pvc", "low-voltage control".
        ``location``: "general", "dwelling driveway", "street".
        """
        table = self._table("cover")
        covers = _serving(table["rows"], "location", location, "burial location")["cover_m"]
        if laying not in covers:
            raise NotInTable(f"no burial cover for {laying!r}; there are: {', '.join(covers)}")
        return Sourced(float(covers[laying]), table["source"])

    def enclosure(self, place: str) -> EnclosureRule:
        """What an enclosure must be "outdoors", "hosed" or "corrosive"."""
        table = self._table("enclosures")
        row = _serving(table["rows"], "place", place, "enclosure rule for")
        return EnclosureRule(tuple(row["types"]), int(row["ip_water"]), table["source"])

    # single numbers

    def factor(self, name: str) -> Sourced[float]:
        """A factor of the code by its name under [factors]."""
        row = _named(self._table("factors"), name, "factor")
        return Sourced(float(row["value"]), row["source"])

    def threshold(self, name: str) -> Sourced[float]:
        """A limit by its name under [thresholds], which ends in its unit; inf where the code sets none."""
        row = _named(self._table("thresholds"), name, "threshold")
        return Sourced(float(row["value"]), row["source"])

    def flag(self, name: str) -> Sourced[bool]:
        """Whether the code asks for something, by its name under [flags]."""
        row = _named(self._table("flags"), name, "flag")
        return Sourced(bool(row["value"]), row["source"])


@cache
def _handbook_table(folder: Path, file: str, name: str) -> Any:
    return read_table(folder / f"{file}.toml", name)


@dataclass(frozen=True)
class Handbook(_Tables):
    """Tables that belong to no code: pipe, fittings, plausible bands, practice limits. Raises NotInTable."""

    folder: Path

    def _table(self, file: str, name: str) -> Any:
        return self._with_amendments(name, _handbook_table(self.folder, file, name))

    def tables(self) -> Mapping[str, Any]:
        """Every table by name, as the handbook has it; all are parsed."""
        files = sorted(self.folder.glob("*.toml"))
        return {name: read_table(path, name) for path in files for name in _texts(path)}

    def amended(self, amendments: Iterable[Amendment]) -> Handbook:
        """The handbook with those of these amendments laid over it that are for it."""
        mine = tuple(a for a in amendments if a.book == HANDBOOK)
        return Handbook(self.folder, amendments=mine) if mine else self

    def threshold(self, name: str) -> Sourced[float]:
        """A practice limit or allowance by its name in thresholds.toml, which ends in its unit."""
        row = _named(self._table("thresholds", "thresholds"), name, "threshold")
        return Sourced(float(row["value"]), row["source"])

    def plausible(self, name: str) -> Band:
        """A plausible band by its name in plausible.toml, which ends in its unit."""
        row = _named(self._table("plausible", "bands"), name, "plausible band")
        return Band(float(row["low"]), float(row["high"]), row["source"])

    def colour_name(self, text: str) -> str:
        """The name under which the colour rules know a colour: "Gray" is "grey"."""
        plain = " ".join(text.lower().split())
        return str(self._table("colours", "aliases")["names"].get(plain, plain))

    def fitting_names(self) -> tuple[str, ...]:
        """Every fitting that has a loss coefficient."""
        rows = self._table("fittings", "n")["rows"] + self._table("fittings", "k")["rows"]
        return tuple(name for row in rows for name in row["names"])

    def fitting_duty(self, name: str) -> str:
        """What a fitting does beside losing head; "" where nothing.

        "stop valve", "check valve", "foot valve", "fill point", "weep hole"; "no part" for a loss that no
        bought thing makes.
        """
        for row in (*self._table("fittings", "n")["rows"], *self._table("fittings", "k")["rows"]):
            if name in row["names"]:
                return str(row.get("duty", ""))
        raise NotInTable(f"there is no fitting {name!r}; there are: {', '.join(self.fitting_names())}")

    def turbulent_friction_factor(self, bore_m: float) -> Sourced[float]:
        """fT, the fully turbulent friction factor of clean steel of this bore, between two listed sizes."""
        table = self._table("fittings", "ft")
        points = [(row["bore_in"] * M_PER_UNIT["in"], row["ft"]) for row in table["rows"]]
        return Sourced(_on_the_line(points, bore_m, "bore, m,", table["source"]), table["source"])

    def fitting_k(self, name: str, bore_m: float) -> Sourced[float]:
        """Loss coefficient K of a fitting in pipe of this bore, on the velocity head there."""
        fixed = self._table("fittings", "k")
        for row in fixed["rows"]:
            if name in row["names"]:
                return Sourced(float(row["k"]), fixed["source"])
        table = self._table("fittings", "n")
        if name not in self.fitting_names():
            raise NotInTable(f"there is no fitting {name!r}; there are: {', '.join(self.fitting_names())}")
        row = _serving(table["rows"], "names", name, "fitting")
        return Sourced(row["n"] * self.turbulent_friction_factor(bore_m).value, table["source"])

    def pipe_families(self) -> tuple[str, ...]:
        """Families of pipe with a table of sizes."""
        return tuple(table["family"] for table in self._table("pipes", "pipes"))

    def pipe_sizes(self, family: str) -> tuple[str, ...]:
        """Sizes of a family of pipe, smallest first."""
        table = _serving(self._table("pipes", "pipes"), "family", family, "pipe family")
        return tuple(row["size"] for row in table["rows"])

    def pipe(self, family: str, size: str) -> PipeSize:
        """Bore, outside, wall and rated pressure of a pipe."""
        table = _serving(self._table("pipes", "pipes"), "family", family, "pipe family")
        row = _serving(table["rows"], "size", size, f"{family} pipe of size")
        length = M_PER_UNIT[table["length_unit"]]
        pressure = row.get("pressure")
        return PipeSize(
            bore_m=row["bore"] * length,
            outside_m=row["outside"] * length,
            wall_m=row["wall"] * length,
            pressure_pa=None if pressure is None else pressure * PA_PER_UNIT[table["pressure_unit"]],
            material=table["material"],
            source=table["source"],
        )

    def pressure_derating(self, material: str, temperature_k: float) -> Sourced[float]:
        """Share of the pressure rating left at this temperature; the full rating below the first row."""
        table = _serving(self._table("derating", "derating"), "materials", material, "pressure derating of")
        zero_k = ZERO_CELSIUS_K  # told in degrees Celsius
        points = [(_to_kelvin(row["at"], table["unit"]) - zero_k, row["share"]) for row in table["rows"]]
        celsius = max(_finite(temperature_k, "temperature, K,") - zero_k, points[0][0])
        share = _on_the_line(points, celsius, "a temperature of", table["source"], " °C")
        return Sourced(share, table["source"])

    def raceway_joining(self, kind: str) -> Joining:
        """How lengths of a kind of raceway are joined and bent."""
        row = _serving(self._table("joining", "raceway_joining"), "kinds", kind, "raceway joining of")
        expansion = float(row["expansion_per_k"])
        return Joining(row["end"], row["bend"], row["box_end"], row["cement"], expansion, 0.0, row["source"])

    def pipe_joining(self, family: str) -> Joining:
        """How lengths of a family of pipe are joined and held."""
        row = _serving(self._table("joining", "pipe_joining"), "families", family, "pipe joining of")
        return Joining(row["end"], "", "", row["cement"], 0.0, float(row["hanger_m"]), row["source"])

    def thread_of_pipe(self, size: str) -> str:
        """Thread that an adapter for pipe of this size comes with: of inch pipe its own size."""
        rows = self._table("joining", "metric_threads")["rows"]
        return next((str(row["thread"]) for row in rows if row["pipe"] == size), size)

    def fitting_sockets(self, name: str) -> int:
        """Ends of a fitting that pipe is pushed into, and glued where it is of that kind."""
        table = self._table("joining", "sockets")
        return next((int(row["ends"]) for row in table["rows"] if name in row["names"]), int(table["others"]))

    def roughness_m(self, material: str) -> Sourced[float]:
        """Absolute roughness of a pipe wall in m."""
        table = self._table("roughness", "roughness")
        row = _serving(table["rows"], "materials", material, "roughness of")
        return Sourced(float(row["roughness_m"]), table["source"])

    def wire_room_m3(self, area_m2: float) -> Sourced[float]:
        """Room that a conductor of this area takes in a box [m3]; beyond the last row, in proportion."""
        table = self._table("boxes", "wire_room")
        unit_m3 = M_PER_UNIT[table["unit"].removesuffix("3")] ** 3
        area_mm2 = _finite(area_m2, "conductor area, m2,") / M2_PER_UNIT["mm2"]
        rows = table["rows"]
        for row in rows:
            if area_mm2 <= row["area_mm2"] * (1 + _SAME_AREA):
                return Sourced(row["room"] * unit_m3, table["source"])
        last = rows[-1]
        return Sourced(last["room"] * unit_m3 * area_mm2 / last["area_mm2"], table["largest_source"])

    def modular_body_m3(self, width_m: float) -> Sourced[float]:
        """Room that a device of the modular row takes, from its width on the rail [m3]."""
        table = self._table("boxes", "modular")
        section_m2 = table["height_mm"] * table["depth_mm"] * M_PER_UNIT["mm"] ** 2
        return Sourced(_finite(width_m, "rail width, m,") * section_m2, table["source"])

    def fuse_melting_multiple(self, fuse_class: str, after_s: float) -> Sourced[float]:
        """Current that melts a cold fuse after this time, in multiples of its rating (typical, fast edge).

        Straight lines on logarithmic axes between the listed points.
        """
        tables = self._table("fuse_curves", "fuse_curves")
        return _on_curve(_serving(tables, "classes", fuse_class, "curve of fuse class"), after_s)

    def breaker_trip_multiple(self, curve: str | None, after_s: float) -> Sourced[float]:
        """Current that a cold breaker is sure to carry for this time, in multiples of its rating (typical).

        ``curve``: "B", "C", "hydraulic-magnetic", or None where its maker does not say.
        """
        tables = self._table("fuse_curves", "breaker_curves")
        return _on_curve(_serving(tables, "curves", curve or "unmarked", "breaker curve"), after_s)

    def conventional_multiple(self, kind: str, rating_a: float, current: str) -> Sourced[float]:
        """Current that surely "opens" a device, or that it surely "holds", in multiples of its rating.

        ``kind``: a fuse class, "breaker", or "fuse" where the class is not known.
        """
        table = _serving(self._table("fuse_curves", "conventional"), "kinds", kind, "conventional current of")
        row = _first_reaching(table["rows"], "up_to_a", rating_a, "rating, A,", table["source"])
        return Sourced(float(row[current]), table["source"])

    def elasticity_pa(self, material: str) -> Sourced[float]:
        """Modulus of elasticity of a pipe wall in Pa, for the speed of a pressure wave."""
        table = self._table("pipes", "stiffness")
        row = _serving(table["rows"], "material", material, "modulus of elasticity of")
        return Sourced(row["elastic_gpa"] * 1e9, table["source"])


def _on_curve(table: Row, after_s: float) -> Sourced[float]:
    """A multiple between the points of a time-current curve, straight lines on logarithmic axes."""
    source = table["source"]
    if not after_s > 0.0:
        raise NotInTable(f"nothing opens after {after_s:g} s")
    points = [(math.log(row["after_s"]), math.log(row["multiple"])) for row in table["rows"]]
    at = math.log(_finite(after_s, "time, s,"))
    if not points[0][0] - ROUNDING <= at <= points[-1][0] + ROUNDING:
        ends = f"{table['rows'][0]['after_s']:g} to {table['rows'][-1]['after_s']:g} s"
        raise NotInTable(f"{after_s:g} s is outside of {source} ({ends})")
    for (x0, y0), (x1, y1) in pairwise(points):
        if at <= x1 + ROUNDING:
            return Sourced(math.exp(y0 + (y1 - y0) * (at - x0) / (x1 - x0)), source)
    raise AssertionError("between the ends there is always a line")


def _to_kelvin(value: float, unit: str) -> float:
    return (value + 459.67) / 1.8 if unit == "degF" else value + ZERO_CELSIUS_K


def _on_the_line(
    points: list[tuple[float, float]], at: float, what: str, source: str, unit: str = ""
) -> float:
    """The value at a place between the first and the last point, on the straight line."""
    _finite(at, what)
    slack = ROUNDING * abs(points[-1][0])
    if not points[0][0] - slack <= at <= points[-1][0] + slack:
        ends = f"{points[0][0]:.4g} to {points[-1][0]:.4g}"
        raise NotInTable(f"{what} {at:.4g}{unit} is outside of {source} ({ends}{unit})")
    for (x0, y0), (x1, y1) in pairwise(points):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return points[-1][1]


def known_rulebooks() -> tuple[str, ...]:
    """Ids of the rulebooks that can be loaded, in alphabetical order."""
    return tuple(sorted(path.stem for path in (catalogs_dir() / "rulebooks").glob("*.toml")))


@cache
def load_rulebook(id: str) -> Rulebook:
    """The rulebook of this id. Raises NotInTable where there is none."""
    if id not in known_rulebooks():
        raise NotInTable(f"there is no rulebook {id!r}; there are: {', '.join(known_rulebooks())}")
    return Rulebook(catalogs_dir() / "rulebooks" / f"{id}.toml", id)


@cache
def load_handbook() -> Handbook:
    """The handbook tables."""
    return Handbook(catalogs_dir() / "handbook")
