"""Rulebook and handbook lookups against printed values; the source stands beside each check."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from specc import resources
from specc.resources import catalogs_dir
from specc.rulebooks import (
    NotInTable,
    Rulebook,
    known_rulebooks,
    load_handbook,
    load_rulebook,
    read_table,
    split_tables,
)

FILES = sorted(
    path for folder in ("rulebooks", "handbook") for path in (catalogs_dir() / folder).glob("*.toml")
)
US = load_rulebook("us-2023")
IEC = load_rulebook("iec")
BOOKS = [load_rulebook(id) for id in known_rulebooks()]
HANDBOOK = load_handbook()


def kelvin(celsius: float) -> float:
    return celsius + 273.15


def each_book(test: Any) -> Any:
    return pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.id)(test)


# files


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_cut_at_its_headers_reads_as_the_whole(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    whole = tomllib.loads(text)

    parts = split_tables(text)

    assert list(parts) == list(whole)
    assert {name: read_table(path, name) for name in parts} == whole


def sourced_tables(name: str, table: Any) -> list[tuple[str, dict[str, Any]]]:
    """The tables that carry data: one, each of an array, or each below a group of single numbers."""
    if isinstance(table, list):
        return [(f"{name}[{index}]", entry) for index, entry in enumerate(table)]
    if name in ("factors", "thresholds", "flags", "bands"):
        return [(f"{name}.{key}", entry) for key, entry in table.items()]
    return [(name, table)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_table_names_its_source_and_how_far_it_was_checked(path: Path) -> None:
    whole = tomllib.loads(path.read_text(encoding="utf-8"))
    tables = [entry for name, table in whole.items() for entry in sourced_tables(name, table)]

    bare = [name for name, table in tables if not (table.get("source") and table.get("verified"))]

    assert tables
    assert not bare


BY_DATA = ("by_size", "media", "cover_m")  # tables whose keys are data, not schema


def shape(name: str, value: Any) -> Any:
    """The keys of a table down to its rows; of rows, the union of their keys."""
    if name in BY_DATA:
        return "by data"
    if isinstance(value, dict):
        return {key: shape(key, inner) for key, inner in value.items()}
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return {key: shape(key, row[key]) for row in value for key in row}
    return "rows" if isinstance(value, list) else "value"


# Row limits left out where the last row is open, and lists that one book leaves empty.
OPEN = {
    ("equipment_ground", "by_device"),
    ("equipment_ground", "by_line"),
    ("drop", "resistivity"),
    ("small_conductors", "rows"),
    ("raceway_fill", "rows"),
    ("termination", "rows"),
}


@each_book
def test_all_books_have_the_same_tables_and_keys(book: Rulebook) -> None:
    first = tomllib.loads(US.path.read_text(encoding="utf-8"))
    other = tomllib.loads(book.path.read_text(encoding="utf-8"))
    for table, key in OPEN:
        assert isinstance(first[table].pop(key), list)
        assert isinstance(other[table].pop(key), list)

    assert shape("", other) == shape("", first)


@each_book
def test_by_size_tables_know_only_sizes_of_the_book_and_in_its_order(book: Rulebook) -> None:
    order = list(book.sizes())
    for name in ("resistance", "ampacity", "conductor_areas"):
        for table in read_table(book.path, name):
            indices = [order.index(size) for size in table["by_size"]]
            values = list(table["by_size"].values())

            assert indices == sorted(indices)
            assert values == sorted(values, reverse=name == "resistance"), table["source"]


@each_book
def test_a_hotter_place_or_a_fuller_raceway_never_carries_more(book: Rulebook) -> None:
    for table in read_table(book.path, "ambient"):
        factors = [row["factor"] for row in table["rows"]]
        assert factors == sorted(factors, reverse=True)
    grouping = [book.grouping_factor(n).value for n in range(1, 41)]
    assert grouping == sorted(grouping, reverse=True)
    assert grouping[0] == 1.0


def test_both_books_are_known_and_another_is_refused() -> None:
    assert known_rulebooks() == ("iec", "us-2023")
    with pytest.raises(NotInTable, match="there are: iec, us-2023"):
        load_rulebook("us-1776")


@each_book
def test_a_book_names_itself(book: Rulebook) -> None:
    assert read_table(book.path, "meta")["id"] == book.id
    assert book.title
    assert book.paper in ("letter", "a4")
    assert "local" in book.disclaimer


def test_data_inside_the_package_wins_over_data_beside_it(tmp_path: Path) -> None:
    package = tmp_path / "specc"
    (tmp_path / "catalogs").mkdir()
    package.mkdir()
    assert resources._folder("catalogs", package) == tmp_path / "catalogs"

    (package / "catalogs").mkdir()
    assert resources._folder("catalogs", package) == package / "catalogs"

    with pytest.raises(FileNotFoundError, match="templates"):
        resources._folder("templates", package)


def test_templates_and_catalogs_are_found() -> None:
    assert resources.catalogs_dir().name == "catalogs"
    assert resources.templates_dir().name == "templates"


# sizes and resistance


def test_sizes_run_from_thin_to_thick() -> None:
    assert US.sizes()[0] == "18 AWG"
    assert US.sizes()[-1] == "4/0 AWG"
    assert US.next_size_up("10 AWG") == "8 AWG"
    assert US.next_size_up("1 AWG") == "1/0 AWG"
    assert IEC.sizes()[0] == "0.75 mm2"
    assert IEC.sizes()[-1] == "95 mm2"
    assert IEC.next_size_up("1.5 mm2") == "2.5 mm2"
    for book in BOOKS:
        areas = [book.size_area_m2(size).value for size in book.sizes()]
        assert areas == sorted(areas)
        assert [book.size_index(size) for size in book.sizes()] == list(range(len(areas)))
        with pytest.raises(NotInTable, match="largest"):
            book.next_size_up(book.sizes()[-1])


# NEC 2023 Chapter 9 Table 8, mm² column (rounded in print).
@pytest.mark.parametrize(
    ("size", "area_mm2"), [("18 AWG", 0.823), ("14 AWG", 2.08), ("10 AWG", 5.261), ("4/0 AWG", 107.2)]
)
def test_us_areas_agree_with_the_metric_column(size: str, area_mm2: float) -> None:
    assert US.size_area_m2(size).value * 1e6 == pytest.approx(area_mm2, rel=0.006)


def test_sizes_of_the_other_system_are_not_guessed() -> None:
    with pytest.raises(NotInTable, match="not a conductor size"):
        IEC.size_area_m2("10 AWG")
    with pytest.raises(NotInTable, match="4 mm2"):
        US.ampacity_a("4 mm2", "copper", 75)


# NEC 2023 Chapter 9 Table 8, uncoated copper, stranded, ohm/km at 75 °C.
@pytest.mark.parametrize(
    ("size", "ohm_per_km"), [("18 AWG", 26.1), ("12 AWG", 6.50), ("10 AWG", 4.07), ("6 AWG", 1.608)]
)
def test_us_resistance_and_drop_use_table_8_at_75_c(size: str, ohm_per_km: float) -> None:
    assert US.resistance_ohm_per_m(size).value == pytest.approx(ohm_per_km / 1000)
    assert US.drop_resistance_ohm_per_m(size).value == pytest.approx(ohm_per_km / 1000)


# NEC 2023 Chapter 9 Table 8, 10 AWG, ohm/kFT at 75 °C.
@pytest.mark.parametrize(
    ("material", "strand", "ohm_per_kft"),
    [
        ("copper", "solid", 1.21),
        ("tinned copper", "stranded", 1.29),
        ("tinned copper", "solid", 1.26),
        ("aluminium", "stranded", 2.04),
        ("aluminium", "solid", 2.00),
    ],
)
def test_us_resistance_by_metal_and_strand(material: str, strand: str, ohm_per_kft: float) -> None:
    found = US.resistance_ohm_per_m("10 AWG", material, strand).value
    assert found * 304.8 == pytest.approx(ohm_per_kft, rel=0.005)


def test_us_copper_at_20_c_has_about_82_percent_of_the_75_c_resistance() -> None:
    # NEC 2023 Chapter 9 Table 8 Note 2, alpha 0.00323; "about 82 %" as published.
    ratio = US.resistance_ohm_per_m("8 AWG", temperature_k=kelvin(20)).value / 2.551e-3
    assert ratio == pytest.approx(0.82, abs=0.005)


# IEC 60228 Tables 2 and 3, maximum resistance at 20 °C, ohm/km.
@pytest.mark.parametrize(
    ("size", "material", "strand", "ohm_per_km"),
    [
        ("0.75 mm2", "copper", "stranded", 24.5),
        ("4 mm2", "copper", "stranded", 4.61),
        ("4 mm2", "copper", "flexible", 4.95),
        ("4 mm2", "tinned copper", "flexible", 5.09),
        ("16 mm2", "aluminium", "stranded", 1.91),
        ("95 mm2", "copper", "flexible", 0.206),
    ],
)
def test_iec_resistance_at_20_c(size: str, material: str, strand: str, ohm_per_km: float) -> None:
    found = IEC.resistance_ohm_per_m(size, material, strand, kelvin(20)).value
    assert found == pytest.approx(ohm_per_km / 1000)


def test_iec_resistance_without_a_temperature_is_at_70_c() -> None:
    # IEC 60287-1-1: alpha 0.00393 per K; from memory, unverified.
    found = IEC.resistance_ohm_per_m("4 mm2").value
    assert found == pytest.approx(4.61e-3 * (1 + 0.00393 * 50))


def test_iec_drop_uses_hot_resistivity() -> None:
    # IEC 60364-5-52 Annex G: 0.0225 ohm mm²/m copper, 0.036 aluminium; from memory, unverified.
    assert IEC.drop_resistance_ohm_per_m("4 mm2").value == pytest.approx(0.0225 / 4)
    assert IEC.drop_resistance_ohm_per_m("16 mm2", "aluminium").value == pytest.approx(0.036 / 16)


def test_a_resistance_that_is_not_printed_is_refused() -> None:
    with pytest.raises(NotInTable, match="6 AWG"):
        US.resistance_ohm_per_m("6 AWG", "copper", "solid")
    with pytest.raises(NotInTable, match="silver"):
        US.resistance_ohm_per_m("6 AWG", "silver")
    with pytest.raises(NotInTable, match="silver"):
        IEC.drop_resistance_ohm_per_m("6 mm2", "silver")
    with pytest.raises(NotInTable, match="not a number"):
        US.resistance_ohm_per_m("6 AWG", temperature_k=math.nan)


# ampacity


# NEC 2023 Table 310.16.
@pytest.mark.parametrize(
    ("size", "material", "insulation_c", "ampacity_a"),
    [
        ("18 AWG", "copper", 90, 14),
        ("14 AWG", "copper", 60, 15),
        ("12 AWG", "copper", 75, 25),
        ("10 AWG", "copper", 90, 40),
        ("8 AWG", "copper", 60, 40),
        ("8 AWG", "copper", 75, 50),
        ("8 AWG", "copper", 90, 55),
        ("4 AWG", "tinned copper", 75, 85),
        ("4/0 AWG", "copper", 75, 230),
        ("12 AWG", "aluminium", 60, 15),
        ("1 AWG", "aluminium", 90, 115),
    ],
)
def test_us_ampacity(size: str, material: str, insulation_c: float, ampacity_a: float) -> None:
    found = US.ampacity_a(size, material, insulation_c)
    assert found.value == ampacity_a
    assert "Table 310.16" in found.source


# IEC 60364-5-52:2009 Tables B.52.2 and B.52.3, EN 50618:2014 Table A.3; from memory, unverified.
@pytest.mark.parametrize(
    ("size", "insulation_c", "installation", "ampacity_a"),
    [
        ("1.5 mm2", 70, "raceway", 17.5),
        ("4 mm2", 70, "raceway", 32),
        ("10 mm2", 90, "raceway", 75),
        ("4 mm2", 70, "clipped", 36),
        ("6 mm2", 70, "buried raceway", 46),
        ("6 mm2", 90, "direct buried", 58),
        ("4 mm2", 120, "clipped", 44),
        ("4 mm2", 120, "free air", 44),
        ("4 mm2", 120, "spaced in free air", 55),
    ],
)
def test_iec_ampacity(size: str, insulation_c: float, installation: str, ampacity_a: float) -> None:
    assert IEC.ampacity_a(size, "copper", insulation_c, installation).value == ampacity_a


def test_insulation_between_two_columns_takes_the_cooler_one() -> None:
    assert US.ampacity_a("10 AWG", "copper", 105).value == 40  # NEC 2023 Table 310.16, 90 °C
    assert US.termination_ampacity_a("10 AWG", "copper", 70).value == 30  # 60 °C column
    assert IEC.termination_ampacity_a("4 mm2", "copper", 75).value == 32  # 70 °C column
    # PV cable in a raceway counts as 90 °C cable: EN 50618 rates it in air only.
    assert IEC.ampacity_a("4 mm2", "copper", 120, "raceway").value == 42
    assert IEC.ampacity_medium("copper", 120, "raceway") == "air"
    assert IEC.ampacity_medium("copper", 120, "clipped") == "pv air"


def test_an_ampacity_that_is_not_printed_is_refused() -> None:
    with pytest.raises(NotInTable, match="16 AWG"):
        US.ampacity_a("16 AWG", "copper", 75)
    with pytest.raises(NotInTable, match="no column"):
        US.ampacity_a("10 AWG", "copper", 50)
    with pytest.raises(NotInTable, match="not a number"):
        US.ampacity_a("10 AWG", "copper", math.nan)
    with pytest.raises(NotInTable, match="laid as 'overhead'"):
        US.ampacity_a("10 AWG", "copper", 75, "overhead")
    with pytest.raises(NotInTable, match="none for this material"):
        IEC.ampacity_a("16 mm2", "aluminium", 70)


# NEC 2023 Table 310.15(B)(1)(1), both edges of bands.
@pytest.mark.parametrize(
    ("ambient_c", "insulation_c", "factor"),
    [
        (-40, 90, 1.15),
        (10, 60, 1.29),
        (10.1, 60, 1.22),
        (26, 75, 1.0),
        (30, 75, 1.0),
        (31, 75, 0.94),
        (35, 75, 0.94),
        (36, 75, 0.88),
        (40, 90, 0.91),
        (40.1, 90, 0.87),
        (55, 60, 0.41),
        (71, 90, 0.50),
        (85, 90, 0.29),
    ],
)
def test_us_ambient_factor(ambient_c: float, insulation_c: float, factor: float) -> None:
    assert US.ambient_factor(kelvin(ambient_c), insulation_c).value == factor
    assert US.ambient_factor(kelvin(ambient_c), insulation_c, "ground").value == factor


# IEC 60364-5-52:2009 Tables B.52.14 and B.52.15; EN 50618 Table A.4 recomputed. From memory, unverified.
@pytest.mark.parametrize(
    ("ambient_c", "insulation_c", "medium", "factor"),
    [
        (30, 70, "air", 1.0),
        (40, 70, "air", 0.87),
        (41, 70, "air", 0.79),
        (40, 90, "air", 0.91),
        (20, 70, "ground", 1.0),
        (30, 90, "ground", 0.93),
        (60, 120, "pv air", 1.0),
        (70, 120, "pv air", 0.91),
        (60, 120, "air", 0.71),
    ],
)
def test_iec_ambient_factor(ambient_c: float, insulation_c: float, medium: str, factor: float) -> None:
    assert IEC.ambient_factor(kelvin(ambient_c), insulation_c, medium).value == factor


@each_book
def test_printed_ambient_factors_follow_the_square_root_rule(book: Rulebook) -> None:
    # NEC 2023 310.15(B)(1) and IEC 60287: sqrt((Tc - Ta) / (Tc - Tbase)), at the hot edge of each band.
    base_c = {"air": 30, "ground": 30 if book is US else 20, "pv air": 60}
    for table in read_table(book.path, "ambient"):
        column_c, base = table["insulation_c"], base_c[table["media"][0]]
        for row in table["rows"]:
            expected = math.sqrt((column_c - row["up_to_c"]) / (column_c - base))
            assert row["factor"] == pytest.approx(expected, abs=0.0076)


def test_an_ambient_beyond_the_table_is_refused() -> None:
    for ambient_c, insulation_c in ((55.1, 60), (70.1, 75), (85.1, 90), (math.nan, 90)):
        with pytest.raises(NotInTable):
            US.ambient_factor(kelvin(ambient_c), insulation_c)
    with pytest.raises(NotInTable, match="no column"):
        IEC.ambient_factor(kelvin(60), 90, "pv air")


# NEC 2023 Table 310.15(C)(1).
@pytest.mark.parametrize(
    ("conductors", "factor"),
    [
        (1, 1.0),
        (3, 1.0),
        (4, 0.8),
        (6, 0.8),
        (7, 0.7),
        (9, 0.7),
        (10, 0.5),
        (20, 0.5),
        (21, 0.45),
        (99, 0.35),
    ],
)
def test_us_grouping(conductors: int, factor: float) -> None:
    assert US.grouping_factor(conductors).value == factor


def test_us_grouping_does_not_count_in_a_short_nipple() -> None:
    # NEC 2023 310.15(C)(1): longer than 600 mm (24 in).
    assert US.grouping_factor(6, length_m=0.6).value == 1.0
    assert US.grouping_factor(6, length_m=0.61).value == 0.8


def test_iec_grouping_counts_circuits_of_two() -> None:
    # IEC 60364-5-52:2009 Table B.52.17: 1, 2, 3, 9 circuits; from memory, unverified.
    found = [IEC.grouping_factor(conductors).value for conductors in (2, 3, 4, 6, 18)]
    assert found == [1.0, 0.8, 0.8, 0.7, 0.5]
    with pytest.raises(NotInTable):
        IEC.grouping_factor(41)


@each_book
def test_no_conductors_have_neither_grouping_nor_fill(book: Rulebook) -> None:
    with pytest.raises(NotInTable):
        book.grouping_factor(0)
    with pytest.raises(NotInTable):
        book.fill_fraction(0)


def test_corrected_ampacity_of_a_raceway_on_a_sunny_roof() -> None:
    # 38 °C air and 33 K of sun (NEC 2023 310.15(B)(2)): 12 AWG 30 x 0.50 x 0.80 = 12.0 A, 10 AWG 16.0 A.
    ambient_k = kelvin(38) + US.rooftop_adder_k(0.0).value
    twelve = US.corrected_ampacity_a("12 AWG", "copper", 90, ambient_k, 4)
    ten = US.corrected_ampacity_a("10 AWG", "copper", 90, ambient_k, 4)

    assert twelve.value == pytest.approx(12.0)
    assert (twelve.table_a, twelve.ambient_factor, twelve.grouping_factor) == (30, 0.5, 0.8)
    assert ten.value == pytest.approx(16.0)
    assert "310.16" in ten.source
    assert "310.15(C)(1)" in ten.source


def test_corrected_ampacity_takes_factor_and_ampacity_from_one_column() -> None:
    # PV cable in a raceway at 60 °C: 42 A x 0.71 of the 90 °C column, never x 1.0 of the cable in air.
    assert IEC.corrected_ampacity_a("4 mm2", "copper", 120, kelvin(60), 2).value == pytest.approx(42 * 0.71)
    free = IEC.corrected_ampacity_a("4 mm2", "copper", 120, kelvin(60), 2, "clipped")
    assert free.value == pytest.approx(44)


@each_book
def test_a_raised_raceway_gets_no_rooftop_adder(book: Rulebook) -> None:
    assert book.rooftop_adder_k(0.01).value == 33
    assert book.rooftop_adder_k(0.05).value == 0
    with pytest.raises(NotInTable):
        book.rooftop_adder_k(math.nan)


def test_unmarked_terminals() -> None:
    # NEC 2023 110.14(C)(1).
    assert US.default_terminal_c(100).value == 60
    assert US.default_terminal_c(101).value == 75
    assert IEC.default_terminal_c(30).value == 70  # common practice, no source
    with pytest.raises(NotInTable):
        US.default_terminal_c(math.nan)


# overcurrent


# NEC 2023 240.4(D).
@pytest.mark.parametrize(
    ("size", "material", "limit_a"),
    [
        ("18 AWG", "copper", 7),
        ("16 AWG", "copper", 10),
        ("14 AWG", "copper", 15),
        ("12 AWG", "tinned copper", 20),
        ("10 AWG", "copper", 30),
        ("12 AWG", "aluminium", 15),
        ("10 AWG", "aluminium", 25),
    ],
)
def test_us_small_conductors(size: str, material: str, limit_a: float) -> None:
    found = US.small_conductor_limit_a(size, material)
    assert found is not None
    assert found.value == limit_a
    assert found.source.startswith("NEC 2023 240.4(D)(")


def test_larger_conductors_and_iec_have_no_cap_by_size() -> None:
    assert US.small_conductor_limit_a("8 AWG", "copper") is None
    assert IEC.small_conductor_limit_a("1.5 mm2", "copper") is None
    with pytest.raises(NotInTable):
        US.small_conductor_limit_a("1.5 mm2", "copper")


def test_standard_ratings() -> None:
    # NEC 2023 Table 240.6(A); IEC 60269-1 preferred ratings (from memory, unverified).
    assert US.standard_ratings_a("breaker")[:6] == (10, 15, 20, 25, 30, 35)
    assert US.standard_ratings_a()[:5] == (1, 3, 6, 10, 15)
    assert IEC.standard_ratings_a()[:6] == (2, 4, 6, 8, 10, 12)
    assert IEC.next_rating_up(12.5).value == 16
    assert US.next_rating_up(12).value == 15
    assert US.next_rating_up(15).value == 15
    assert US.next_rating_up(15.01).value == 20
    assert US.next_rating_up(9.375, "pv fuse").value == 10
    for current_a in (601, math.nan, math.inf):
        with pytest.raises(NotInTable):
            US.next_rating_up(current_a)
    with pytest.raises(NotInTable, match="fuse"):
        US.standard_ratings_a("relay")


@each_book
def test_ratings_rise(book: Rulebook) -> None:
    for device in ("breaker", "fuse", "pv fuse"):
        ratings = book.standard_ratings_a(device)
        assert list(ratings) == sorted(set(ratings))


def test_next_rating_above_the_ampacity_is_permitted_in_the_us_only() -> None:
    # NEC 2023 240.4(B); IEC 60364-4-43 433.1 (In <= Iz).
    assert US.largest_device_a(16.0).value == 20
    assert US.largest_device_a(20.0).value == 20
    assert IEC.largest_device_a(16.0).value == 16.0
    for book in BOOKS:
        with pytest.raises(NotInTable):
            book.largest_device_a(math.nan)


# Isc 6.00 A, module limit 15 A. NEC 690.8, 690.9: 9.375 to 15 A; IEC 62548-1: 9 to 14.4 A, ends excluded.
@pytest.mark.parametrize(
    ("book", "inside", "outside"),
    [(US, (10, 12, 15, 9.375), (8, 20, math.nan)), (IEC, (10, 12, 14), (8, 9, 14.4, 15, 20, math.nan))],
    ids=["us", "iec"],
)
def test_string_fuse(book: Rulebook, inside: tuple[float, ...], outside: tuple[float, ...]) -> None:
    band = book.string_fuse_band(6.00, 15)
    assert all(band.holds(rating_a) for rating_a in inside)
    assert not any(band.holds(rating_a) for rating_a in outside)


def test_the_module_limit_bounds_the_string_fuse_and_is_itself_permitted() -> None:
    assert IEC.string_fuse_band(8.0, 15).holds(15)  # 2.4 x 8 = 19.2 A
    assert not IEC.string_fuse_band(8.0, 15).holds(16)
    assert US.string_fuse_band(9.6, 15).holds(15)  # 1.5625 x 9.6 = 15 A, rounding aside
    for book in BOOKS:
        for isc_a, limit_a in ((math.nan, 15), (0, 15), (6, math.nan)):
            with pytest.raises(NotInTable):
                book.string_fuse_band(isc_a, limit_a)


def test_a_pv_device_must_not_open_in_bright_cold_sun() -> None:
    # Sum of Isc 12.0 A: 1.25 x 1.25 x 12 = 18.75 A (NEC 2023 690.9(B)); above 15 A (IEC 62548-1).
    assert US.pv_fuse_band(12.0).holds(20)
    assert not US.pv_fuse_band(12.0).holds(15)
    assert not IEC.pv_fuse_band(12.0).holds(15)
    assert IEC.pv_fuse_band(12.0).holds(16)


# voltage, grounding, colours


# NEC 2023 Table 690.7(A), both edges of bands; between two printed whole degrees the colder row.
@pytest.mark.parametrize(
    ("coldest_c", "factor"),
    [
        (24, 1.02),
        (20, 1.02),
        (19, 1.04),
        (0, 1.10),
        (-0.5, 1.12),
        (-1, 1.12),
        (-6, 1.14),
        (-10, 1.14),
        (-11, 1.16),
        (-15, 1.16),
        (-16, 1.18),
        (-20, 1.18),
        (-21, 1.20),
        (-40, 1.25),
    ],
)
def test_us_cold_voltage(coldest_c: float, factor: float) -> None:
    assert US.cold_voltage_factor(kelvin(coldest_c)).value == factor


def test_iec_cold_voltage_is_flat() -> None:
    # IEC 60364-7-712 Annex B: 1.2 where no coefficient is known; from memory, unverified.
    assert IEC.cold_voltage_factor(kelvin(10)).value == 1.2
    assert IEC.cold_voltage_factor(kelvin(-40)).value == 1.2


@each_book
def test_cold_beyond_the_table_is_refused(book: Rulebook) -> None:
    for coldest_c in (-40.1, 25.1, math.nan):
        with pytest.raises(NotInTable):
            book.cold_voltage_factor(kelvin(coldest_c))


# NEC 2023 Table 250.122.
@pytest.mark.parametrize(
    ("rating_a", "material", "size"),
    [
        (15, "copper", "14 AWG"),
        (15.5, "copper", "12 AWG"),
        (20, "copper", "12 AWG"),
        (30, "copper", "10 AWG"),
        (60, "copper", "10 AWG"),
        (100, "tinned copper", "8 AWG"),
        (200, "copper", "6 AWG"),
        (20, "aluminium", "10 AWG"),
    ],
)
def test_us_equipment_grounding_conductor(rating_a: float, material: str, size: str) -> None:
    assert US.egc_size(rating_a, material).value == size


def test_the_grounding_conductor_is_never_larger_than_the_circuit() -> None:
    # NEC 2023 250.122(A).
    assert US.egc_size(30, line_size="14 AWG").value == "14 AWG"
    assert US.egc_size(30, line_size="8 AWG").value == "10 AWG"


# IEC 60364-5-54 Table 54.2: S to 16 mm², 16 mm² to 35 mm², S/2 above; from memory, unverified.
@pytest.mark.parametrize(
    ("line", "size"),
    [
        ("2.5 mm2", "2.5 mm2"),
        ("16 mm2", "16 mm2"),
        ("35 mm2", "16 mm2"),
        ("50 mm2", "25 mm2"),
        ("70 mm2", "35 mm2"),
    ],
)
def test_iec_protective_conductor(line: str, size: str) -> None:
    assert IEC.egc_size(20, line_size=line).value == size


def test_a_grounding_conductor_without_its_datum_is_refused() -> None:
    with pytest.raises(NotInTable, match="size of the circuit conductor"):
        IEC.egc_size(20)
    with pytest.raises(NotInTable, match="silver"):
        US.egc_size(20, "silver")
    for rating_a in (1001, math.nan):
        with pytest.raises(NotInTable):
            US.egc_size(rating_a)


def test_enlarged_grounding_conductor_by_area() -> None:
    # NEC 2023 250.122(B), published example: 60 A, 6 AWG enlarged to 4 AWG: 16 511.6 cmil, answer 8 AWG.
    area = US.size_area_m2
    needed_m2 = area("10 AWG").value * area("4 AWG").value / area("6 AWG").value
    assert US.smallest_size_of_area(needed_m2).value == "8 AWG"
    assert US.egc_upsizing("motor").value is True
    assert US.egc_upsizing("pv").value is False  # NEC 2023 690.45
    assert IEC.egc_upsizing("motor").value is False
    with pytest.raises(NotInTable):
        US.egc_upsizing("water")
    for area_m2 in (1.0, math.nan):
        with pytest.raises(NotInTable):
            US.smallest_size_of_area(area_m2)


@each_book
def test_bonding_sizes_are_sizes_of_the_book(book: Rulebook) -> None:
    assert book.frame_bond_size().value in book.sizes()
    assert book.electrode_conductor_size().value in book.sizes()


def test_iec_frame_bond_is_6_mm2() -> None:
    assert IEC.frame_bond_size().value == "6 mm2"  # IEC 62548-1; from memory, unverified


def test_colours_by_role() -> None:
    # NEC 2023 200.6, 250.119, 690.31(B); IEC 60445:2021 6.2.4.
    assert "white" in US.colours("negative floating").forbidden
    assert "white" in US.colours("negative grounded").usual
    assert US.colours("negative grounded").marked_from == "4 AWG"
    assert "white" in US.colours("negative functionally grounded").forbidden
    assert US.colours("equipment ground").usual == ("green", "green-yellow", "bare")
    assert "green" in US.colours("positive").forbidden
    assert IEC.colours("positive").usual == ("red",)
    assert IEC.colours("negative floating").usual == ("white",)
    assert IEC.colours("functional earth").usual == ("pink",)
    with pytest.raises(NotInTable):
        US.colours("neutral")


@each_book
def test_no_colour_is_both_usual_and_forbidden(book: Rulebook) -> None:
    roles = [row["role"] for row in read_table(book.path, "colours")["rows"]]
    assert roles == [row["role"] for row in read_table(US.path, "colours")["rows"]]
    for role in roles:
        rule = book.colours(role)
        assert not set(rule.usual) & set(rule.forbidden)
        assert rule.marked_from == "" or rule.marked_from in book.sizes()
        assert rule.source


def test_colour_names_have_one_spelling() -> None:
    assert HANDBOOK.colour_name("Gray") == "grey"
    assert HANDBOOK.colour_name("green/yellow") == "green-yellow"
    assert HANDBOOK.colour_name("red") == "red"


# raceways and places


# NEC 2023 Chapter 9 Table 4, in².
@pytest.mark.parametrize(
    ("kind", "size", "area_in2"),
    [
        ("pvc-sch40", "1/2", 0.285),
        ("pvc-sch40", "1", 0.832),
        ("pvc-sch80", "3/4", 0.409),
        ("emt", "1", 0.864),
        ("rigid-metal", "2", 3.408),
        ("lfnc-b", "3/8", 0.192),
    ],
)
def test_us_raceway_areas(kind: str, size: str, area_in2: float) -> None:
    assert US.raceway_area_m2(kind, size).value / 0.0254**2 == pytest.approx(area_in2)


# NEC 2023 Chapter 9 Table 5 (bare: Table 8), in².
@pytest.mark.parametrize(
    ("family", "size", "area_in2"),
    [
        ("thwn-2", "10 AWG", 0.0211),
        ("thhn", "6 AWG", 0.0507),
        ("xhhw-2", "12 AWG", 0.0181),
        ("use-2/rhw-2", "10 AWG", 0.0333),
        ("rhw-2", "10 AWG", 0.0437),
        ("bare", "8 AWG", 0.017),
    ],
)
def test_us_conductor_areas(family: str, size: str, area_in2: float) -> None:
    assert US.conductor_area_m2(family, size).value / 0.0254**2 == pytest.approx(area_in2)


def test_iec_areas_come_from_diameters() -> None:
    # EN 50618:2014: 4 mm² PV cable 6.6 mm over all; from memory, unverified.
    assert IEC.conductor_area_m2("pv wire", "4 mm2").value == pytest.approx(math.pi / 4 * 0.0066**2)
    assert IEC.raceway_area_m2("pvc-rigid", "25 mm").value == pytest.approx(math.pi / 4 * 0.0206**2)


@each_book
def test_raceway_sizes_rise(book: Rulebook) -> None:
    for kind in book.raceway_kinds():
        areas = [book.raceway_area_m2(kind, size).value for size in book.raceway_sizes(kind)]
        assert areas == sorted(areas)
        with pytest.raises(NotInTable):
            book.raceway_area_m2(kind, "12")


def test_five_but_not_six_10_awg_thwn_2_fit_half_inch_pvc() -> None:
    # NEC 2023 Chapter 9 Tables 1, 4, 5: 40 % of 0.285 in² is 0.114 in²; 5 take 0.1055, 6 take 0.1266 in².
    room = US.raceway_area_m2("pvc-sch40", "1/2").value * US.fill_fraction(5).value
    one = US.conductor_area_m2("thwn-2", "10 AWG").value
    assert 5 * one < room < 6 * one


def test_fill_fractions() -> None:
    # NEC 2023 Chapter 9 Table 1 and Note 4; the IEC figure is common practice, no source.
    assert [US.fill_fraction(n).value for n in (1, 2, 3, 30)] == [0.53, 0.31, 0.40, 0.40]
    assert US.fill_fraction(6, length_m=0.6).value == 0.60
    assert IEC.fill_fraction(1).value == 0.40
    assert IEC.fill_fraction(6, length_m=0.6).value == 0.40


def test_burial_cover() -> None:
    # NEC 2023 Table 300.5(A), millimetre column; the IEC figures are common practice, no source.
    assert US.cover_m("direct buried").value == 0.6
    assert US.cover_m("rigid metal").value == 0.15
    assert US.cover_m("pvc").value == 0.45
    assert US.cover_m("rigid metal", "street").value == 0.6
    assert US.cover_m("direct buried", "dwelling driveway").value == 0.45
    assert "common practice" in IEC.cover_m("pvc").source
    for laying, location in (("string", "general"), ("pvc", "runway")):
        with pytest.raises(NotInTable):
            US.cover_m(laying, location)


def test_enclosures() -> None:
    # NEC 2023 Table 110.28; IEC 60364-5-51 AD3: IPX3. From memory, unverified.
    assert "3R" in US.enclosure("outdoors").types
    assert "1" not in US.enclosure("outdoors").types
    assert "3R" not in US.enclosure("hosed").types
    assert IEC.enclosure("outdoors").ip_water_digit == 3
    with pytest.raises(NotInTable):
        US.enclosure("underwater")


# single numbers


# NEC 2023 clauses as named in the file; IEC 60364-7-712 Annex B, IEC 62548-1, IEC 60269-6.
@pytest.mark.parametrize(
    ("name", "us", "iec"),
    [
        ("pv_maximum_current", 1.25, 1.25),
        ("pv_conductor", 1.25, 1.0),
        ("string_fuse_needed", 1.25, 1.0),
        ("gpv_holds", 1.13, 1.13),
        ("gpv_opens", 1.45, 1.45),
        ("motor_conductor", 1.25, 1.25),
        ("motor_device", 1.5, 1.5),
        ("motor_disconnect", 1.15, 1.15),
        ("overload_marked", 1.25, 1.25),
        ("overload_other", 1.15, 1.15),
    ],
)
def test_factors(name: str, us: float, iec: float) -> None:
    assert US.factor(name).value == us
    assert IEC.factor(name).value == iec


# NEC 690.31(A), 690.41(B), 690.11, 210.19; IEC 60364-4-41 414.4.5.
@pytest.mark.parametrize(
    ("name", "us", "iec"),
    [
        ("touch_guard_v", 30, 30),
        ("touch_dry_v", 60, 60),
        ("extra_low_voltage_v", 60, 120),
        ("ground_fault_v", 30, 120),
        ("ground_fault_a", 8, math.inf),
        ("arc_fault_v", 80, 80),
        ("drop_array_fraction", 0.03, 0.03),
        ("drop_motor_fraction", 0.03, 0.03),
        ("drop_source_to_motor_fraction", 0.05, 0.05),
    ],
)
def test_thresholds(name: str, us: float, iec: float) -> None:
    assert US.threshold(name).value == us
    assert IEC.threshold(name).value == iec


@each_book
def test_fifteen_metres_is_in_sight(book: Rulebook) -> None:
    # NEC 2023 Article 100: 15 m (50 ft), both as printed.
    assert 15 <= book.threshold("in_sight_m").value <= 15.24


@each_book
def test_an_unknown_name_lists_the_known_ones(book: Rulebook) -> None:
    with pytest.raises(NotInTable, match="gpv_opens"):
        book.factor("luck")
    with pytest.raises(NotInTable, match="arc_fault_v"):
        book.threshold("luck")
    with pytest.raises(NotInTable, match="rapid_shutdown"):
        book.flag("luck")


def test_rapid_shutdown_is_asked_for_in_the_us_only() -> None:
    assert US.flag("rapid_shutdown_on_building").value is True  # NEC 2023 690.12
    assert IEC.flag("rapid_shutdown_on_building").value is False


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_value_is_nan(path: Path) -> None:
    def numbers(value: Any) -> list[float]:
        if isinstance(value, dict):
            return [number for inner in value.values() for number in numbers(inner)]
        if isinstance(value, list):
            return [number for inner in value for number in numbers(inner)]
        return [value] if isinstance(value, (int, float)) else []

    assert not any(math.isnan(number) for number in numbers(tomllib.loads(path.read_text(encoding="utf-8"))))


# handbook


def test_practice_thresholds() -> None:
    # Common practice, no source.
    assert HANDBOOK.threshold("npsh_margin_m").value == 0.5
    assert HANDBOOK.threshold("suction_slope").value == 1 / 50
    assert HANDBOOK.threshold("start_irradiance_w_m2").value == 500
    assert HANDBOOK.threshold("float_band_s").value == 300
    assert "common practice" in HANDBOOK.threshold("wire_waste_fraction").source
    with pytest.raises(NotInTable, match="npsh_margin_m"):
        HANDBOOK.threshold("luck")


def test_battery_gas_worked_example() -> None:
    # IEC 62485-2: 12 vented cells of 100 Ah: 1.2 m³/h, opening 33.6 cm².
    gas_a = 12 * 100 * HANDBOOK.threshold("battery_gas_a_per_ah_vented").value
    flow_m3_h = gas_a * HANDBOOK.threshold("battery_gas_m3_h_per_a").value
    assert flow_m3_h == pytest.approx(1.2)
    assert flow_m3_h * HANDBOOK.threshold("battery_vent_m2_per_m3_h").value == pytest.approx(33.6e-4)


def test_plausible_bands() -> None:
    # Common practice, no source.
    band = HANDBOOK.plausible("voc_over_vmp")
    assert band.holds(1.15)
    assert band.holds(22.0 / 18.0)
    assert not band.holds(1.36)
    assert not band.holds(math.nan)
    assert HANDBOOK.plausible("suction_lift_m").holds(-3)
    with pytest.raises(NotInTable):
        HANDBOOK.plausible("luck")
    for name in read_table(catalogs_dir() / "handbook" / "plausible.toml", "bands"):
        assert HANDBOOK.plausible(name).low < HANDBOOK.plausible(name).high


# Crane TP-410 worked out: K = n fT with fT of each size.
@pytest.mark.parametrize(
    ("name", "bore_in", "k"),
    [
        ("elbow 90", 0.824, 0.71),
        ("elbow 90", 1.38, 0.62),
        ("swing check", 1.049, 2.23),
        ("foot valve poppet", 1.049, 9.35),
        ("foot valve hinged", 1.38, 1.56),
        ("ball valve", 0.824, 0.07),
    ],
)
def test_fitting_losses(name: str, bore_in: float, k: float) -> None:
    assert HANDBOOK.fitting_k(name, bore_in * 0.0254).value == pytest.approx(k, rel=0.03)


def test_turbulent_friction_factor_agrees_with_the_reference_library() -> None:
    fittings = pytest.importorskip("fluids.fittings")
    for bore_in in (0.622, 1.049, 1.2, 1.61, 2.067, 4.026):
        expected = fittings.ft_Crane(bore_in * 0.0254)
        assert HANDBOOK.turbulent_friction_factor(bore_in * 0.0254).value == pytest.approx(
            expected, abs=0.001
        )


def test_fitting_losses_outside_of_the_sizes_or_names_are_refused() -> None:
    assert HANDBOOK.fitting_k("entrance", 0.002).value == 0.5  # Crane TP-410 p. A-30, any size
    for bore_m in (0.005, 0.2, math.nan):
        with pytest.raises(NotInTable):
            HANDBOOK.fitting_k("elbow 90", bore_m)
    with pytest.raises(NotInTable, match="elbow 90"):
        HANDBOOK.fitting_k("elbow 33", 0.025)


def test_an_open_name_stands_for_the_greater_loss() -> None:
    assert HANDBOOK.fitting_k("foot valve", 0.03) == HANDBOOK.fitting_k("foot valve poppet", 0.03)
    assert HANDBOOK.fitting_k("check valve", 0.03).value > HANDBOOK.fitting_k("swing check", 0.03).value
    assert len(set(HANDBOOK.fitting_names())) == len(HANDBOOK.fitting_names())


# ASTM D1785, D2239, B88, F876, ASME B36.10M; ISO 4427-2: bore and pressure.
@pytest.mark.parametrize(
    ("family", "size", "bore_m", "pressure_pa"),
    [
        ("pvc-sch40", "1", 1.029 * 0.0254, 450 * 6894.757),
        ("pvc-sch80", "2", 1.913 * 0.0254, 400 * 6894.757),
        ("pe-sidr-7", "1-1/4", 1.38 * 0.0254, 200 * 6894.757),
        ("pe-sidr-11.5", "3/4", 0.824 * 0.0254, 125 * 6894.757),
        ("pe100-sdr11", "25 mm", 0.0204, 16e5),
        ("pe100-sdr17", "63 mm", 0.0554, 10e5),
        ("copper-l", "1/2", 0.545 * 0.0254, None),
        ("steel-sch40", "1-1/2", 1.61 * 0.0254, None),
        ("pex", "3/4", 0.671 * 0.0254, 160 * 6894.757),
    ],
)
def test_pipes(family: str, size: str, bore_m: float, pressure_pa: float | None) -> None:
    pipe = HANDBOOK.pipe(family, size)
    assert pipe.bore_m == pytest.approx(bore_m)
    assert pipe.pressure_pa == (pressure_pa if pressure_pa is None else pytest.approx(pressure_pa))


def test_every_pipe_is_hollow_and_its_material_has_every_property() -> None:
    for family in HANDBOOK.pipe_families():
        for size in HANDBOOK.pipe_sizes(family):
            pipe = HANDBOOK.pipe(family, size)
            assert pipe.outside_m - 2.35 * pipe.wall_m <= pipe.bore_m <= pipe.outside_m - 1.99 * pipe.wall_m
            assert HANDBOOK.roughness_m(pipe.material).value > 0
            assert HANDBOOK.elasticity_pa(pipe.material).value > 1e8
            assert HANDBOOK.pressure_derating(pipe.material, kelvin(20)).value == 1.0
    with pytest.raises(NotInTable, match="pvc-sch40"):
        HANDBOOK.pipe("bamboo", "1")
    with pytest.raises(NotInTable):
        HANDBOOK.pipe("pvc-sch40", "7")


def test_pressure_derating() -> None:
    # PVC handbooks: 100 °F 0.62, 120 °F 0.40; ISO 4427-1 PE: 30 °C 0.87, 40 °C 0.74.
    assert HANDBOOK.pressure_derating("pvc", (100 + 459.67) / 1.8).value == pytest.approx(0.62)
    assert HANDBOOK.pressure_derating("pvc", kelvin(38)).value == pytest.approx(0.62, abs=0.01)
    assert HANDBOOK.pressure_derating("pvc", kelvin(60)).value == pytest.approx(0.22)
    assert HANDBOOK.pressure_derating("pe", kelvin(5)).value == 1.0
    assert HANDBOOK.pressure_derating("pe", kelvin(30)).value == pytest.approx(0.87)
    assert HANDBOOK.pressure_derating("pe", kelvin(35)).value == pytest.approx(0.805)
    assert HANDBOOK.pressure_derating("pe", kelvin(40)).value == pytest.approx(0.74)
    for temperature_k in (kelvin(40.1), math.nan):
        with pytest.raises(NotInTable):
            HANDBOOK.pressure_derating("pe", temperature_k)


def test_roughness() -> None:
    # Drawn tubing 0.0015 mm, galvanised 0.15 mm: handbook values.
    assert HANDBOOK.roughness_m("pe").value == pytest.approx(1.5e-6)
    assert HANDBOOK.roughness_m("galvanised steel").value == pytest.approx(1.5e-4, rel=0.02)
    with pytest.raises(NotInTable):
        HANDBOOK.roughness_m("bamboo")


# -- functional earthing, cool terminals -----------------------------------------------------------------


@pytest.mark.parametrize(("watts", "amperes"), [(0.0, 1.0), (25e3, 1.0), (25.001e3, 2.0), (1e6, 5.0)])
def test_device_of_a_functional_earth_by_array_power(watts: float, amperes: float) -> None:
    # UL 1741 and IEC 62548-1: 1, 2, 3, 4, 5 A to 25, 50, 100, 250 kW and above; from memory, unverified.
    assert US.functional_earth_rating_a(watts).value == amperes
    assert IEC.functional_earth_rating_a(watts).value == amperes


def test_least_conductor_of_a_functional_earth() -> None:
    # IEC 60364-5-54 543.1.3: 2.5 mm2 guarded, 4 mm2 in the open; from memory, unverified.
    assert IEC.functional_earth_least(True).value == "2.5 mm2"
    assert IEC.functional_earth_least(False).value == "4 mm2"
    assert US.functional_earth_least(True).value == "14 AWG"


def test_terminals_cooler_than_the_coolest_column_are_worked_out_by_the_metric_book() -> None:
    # IEC 60364-5-52 Table B.52.2, B1, 4 mm2: 32 A at 70 °C; the heat goes with the square of the current, and
    # 60 °C leaves 30 K of the 40 K: 32 · sqrt(30 / 40) = 27.71 A.
    found = IEC.termination_ampacity_a("4 mm2", "copper", 60.0)

    assert found.value == pytest.approx(27.713, abs=0.001)
    assert "square-root" in found.source
    assert IEC.termination_ampacity_a("4 mm2", "copper", 70.0).value == 32.0
    assert IEC.termination_ampacity_a("4 mm2", "copper", 69.9).value < 32.0


def test_the_square_root_agrees_with_printed_correction_factors() -> None:
    # Table B.52.14 prints sqrt((70 - Ta) / 40) for PVC: the same rise, left by hotter air not by a cooler
    # terminal. At 40 °C: 30 K of 40 K, printed 0.87.
    share = IEC.termination_ampacity_a("4 mm2", "copper", 60.0).value / 32.0

    assert share == pytest.approx(IEC.ambient_factor(313.15, 70).value, abs=0.005)


def test_nothing_is_worked_out_for_terminals_that_no_book_knows() -> None:
    with pytest.raises(NotInTable):
        IEC.termination_ampacity_a("4 mm2", "copper", 40.0)
    with pytest.raises(NotInTable):
        US.termination_ampacity_a("10 AWG", "copper", 55.0)


@pytest.mark.parametrize(
    ("kind", "rating", "opens", "holds"),
    [("gG", 4.0, 2.1, 1.5), ("gG", 10.0, 1.9, 1.5), ("gG", 16.0, 1.6, 1.25), ("breaker", 20.0, 1.45, 1.05)],
)
def test_conventional_currents(kind: str, rating: float, opens: float, holds: float) -> None:
    # IEC 60269-1 (gG), IEC 60898-2 and 60947-2 (breakers); from memory, unverified.
    assert HANDBOOK.conventional_multiple(kind, rating, "opens").value == opens
    assert HANDBOOK.conventional_multiple(kind, rating, "holds").value == holds
