"""The seeder's own arithmetic: plain, cautious, and none of the package's.

Figures are rounded to the safe side, so that a system built with them is sound under either rulebook.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

CATALOGS = Path(__file__).parents[2] / "catalogs"

# Ratings in which the built-in catalogue has photovoltaic fuses [A].
FUSES_A = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 16, 20, 25, 30)
BATTERY_FUSES_A = (30, 40, 50, 60)
BREAKERS_A = (10, 15, 20, 25, 30, 40)

COPPER_HOT_OHM_M = 0.0225e-6  # IEC 60364-5-52 annex G; above NFPA 70 chapter 9 table 8 for these sizes


@dataclass(frozen=True)
class Size:
    """A conductor size: its name, its area, and the amperes it carries hot, in company and alone."""

    name: str
    area_mm2: float
    carries_a: float
    alone_a: float


# NFPA 70 Table 310.16: the 60 degC column, or the 90 degC column times 0.87 (45 degC) times 0.8 (four to six
# loaded together, 1 alone), whichever is less; 240.4(D) caps the first three. From memory, unverified.
AWG = (
    Size("14 AWG", 2.08, 15.0, 15.0),
    Size("12 AWG", 3.31, 20.0, 20.0),
    Size("10 AWG", 5.26, 27.8, 30.0),
    Size("8 AWG", 8.37, 38.2, 40.0),
    Size("6 AWG", 13.3, 52.2, 55.0),
    Size("4 AWG", 21.2, 66.1, 70.0),
)

# IEC 60364-5-52 Table B.52.2, method B1, two loaded, 70 degC, times 0.79 (45 degC), and 0.8 in company:
# less than any method that the jobs use. Values from memory, unverified.
MM2 = (
    Size("2.5 mm2", 2.5, 15.1, 18.9),
    Size("4 mm2", 4.0, 20.2, 25.2),
    Size("6 mm2", 6.0, 25.9, 32.3),
    Size("10 mm2", 10.0, 36.0, 45.0),
    Size("16 mm2", 16.0, 48.0, 60.0),
    Size("25 mm2", 25.0, 63.8, 79.7),
)

_AREAS = {
    **{size.name: size.area_mm2 for size in AWG},
    "24 AWG": 0.2,
    "22 AWG": 0.33,
    "18 AWG": 0.82,
    "16 AWG": 1.31,
    "2 AWG": 33.6,
    "1 AWG": 42.4,
    "1/0 AWG": 53.5,
    "2/0 AWG": 67.4,
    "4/0 AWG": 107.0,
}


def area_mm2(name: str) -> float:
    """Area of a size by its name [mm2]."""
    return _AREAS[name] if name in _AREAS else number(name)


def number(text: str) -> float:
    """The number before the unit: "12 A" is 12."""
    return float(text.split()[0])


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """Every built-in part by its id, as it stands in the file, with its kind."""
    found: dict[str, dict[str, Any]] = {}
    for path in sorted(CATALOGS.glob("*.toml")):
        for kind, parts in tomllib.loads(path.read_text(encoding="utf-8")).items():
            found |= {part["id"]: {"kind": kind, **part} for part in parts}
    return found


def figure(part_id: str, key: str) -> float:
    """A figure of a part, in the unit in which the catalogue gives it."""
    return number(catalogue()[part_id][key])


def largest_mm2(part_id: str, terminal: str = "") -> float:
    """The largest conductor that a part's terminal takes [mm2]."""
    part = catalogue()[part_id]
    if part["kind"] == "fuse":
        part = catalogue()[part["holder"]]
    named = next((t for t in part["terminals"] if t["name"] == terminal and "wire" in t), part)
    return area_mm2(named["wire"]["largest"])


def smallest_mm2(part_id: str) -> float:
    """The smallest conductor that a part's terminals take [mm2]."""
    part = catalogue()[part_id]
    if part["kind"] == "fuse":
        part = catalogue()[part["holder"]]
    return area_mm2(part["wire"]["smallest"])


def size_for(
    sizes: tuple[Size, ...],
    amperes: float,
    *,
    parts: tuple[str, ...] = (),
    alone: bool = False,
    drop_a: float = 0.0,
    volts: float = 1.0,
    share: float = 0.013,
    length_m: float = 0.0,
) -> tuple[Size, float]:
    """The smallest size that carries the amperes, fits the parts and keeps the drop; and its length [m].

    Where no size that fits keeps the drop, the run is made shorter: somebody moves the box.
    """
    least = max((smallest_mm2(p) for p in parts), default=0.0)
    most = min((largest_mm2(p) for p in parts), default=1e9)
    fit = [
        s for s in sizes if (s.alone_a if alone else s.carries_a) >= amperes and least <= s.area_mm2 <= most
    ]
    assert fit, f"no size for {amperes:.1f} A between {parts}"
    for size in fit:
        if _reach_m(size, drop_a, volts, share) >= length_m:
            return size, length_m
    return fit[-1], max(1.0, round(_reach_m(fit[-1], drop_a, volts, share), 1))


def _reach_m(size: Size, amperes: float, volts: float, share: float) -> float:
    """The one-way length at which a pair of this size loses that share of the volts [m]."""
    if not amperes:
        return 1e9
    return share * volts * size.area_mm2 * 1e-6 / (2.0 * COPPER_HOT_OHM_M * amperes)


def cold_volts(panel: str, series: int, coldest_c: float) -> float:
    """Open circuit on the coldest morning, with 0.35 %/K, which is more than any built-in panel has [V]."""
    return figure(panel, "voc") * series * (1.0 + 0.0035 * (25.0 - coldest_c))


def hot_volts(panel: str, series: int, hottest_c: float) -> float:
    """Voltage at full power with cells 32 K above the hottest air [V]."""
    fall = abs(figure(panel, "vmp_coefficient")) / 100.0
    return figure(panel, "vmp") * series * (1.0 - fall * (hottest_c + 32.0 - 25.0))


def array_circuit_a(book: str, isc_a: float) -> float:
    """What an array circuit is sized for: 1.5625 times Isc (NFPA 70 690.8), by IEC 1.25, here 1.3 [A]."""
    return (1.5625 if book == "us-2023" else 1.3) * isc_a


def needs_string_fuses(panel: str, strings: int, book: str) -> bool:
    """NFPA 70 690.9(A) with 1.25, IEC 62548-1 without: the others together above the module's limit."""
    factor = 1.25 if book == "us-2023" else 1.0
    return (strings - 1) * factor * figure(panel, "isc") > figure(panel, "series_fuse")


def string_fuse_a(panel: str) -> int | None:
    """A string fuse inside of both books' bands: 1.5625 to 2.4 times Isc, up to the module's limit [A]."""
    isc, limit = figure(panel, "isc"), figure(panel, "series_fuse")
    fit = [a for a in FUSES_A if 1.5625 * isc <= a <= limit and a < 2.4 * isc]
    return fit[0] if fit else None


def motor_fuse_a(pump: str) -> int:
    """The first rating at or above 1.3 times the label: between Im and the next size from 1.5 Im [A]."""
    return next(a for a in FUSES_A if a >= 1.3 * figure(pump, "rated_current"))
