"""The built-in catalogue: every part is well formed, hangs together, and is physically plausible."""

from __future__ import annotations

import math
import re
import tomllib
from collections import Counter
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any, TypeVar

import pytest

from specc.reading import parts
from specc.resources import catalogs_dir
from specc.rulebooks import known_rulebooks, load_handbook, load_rulebook

FILES = tuple(sorted(catalogs_dir().glob("*.toml")))
INCH_M, PSI_PA, GALLON_PER_MINUTE_M3_S = 0.0254, 6894.757, 6.30902e-5
WATER_N_PER_M3 = 9.80665 * 1000.0

# Terminals are for wires in these kinds; the rest (pipes, labels) have none.
WIRED = (
    parts.Panel,
    parts.Controller,
    parts.Isolator,
    parts.Breaker,
    parts.FuseHolder,
    parts.TerminalBlock,
    parts.Switch,
    parts.Pump,
    parts.Grounding,
    parts.Battery,
)

Kind = TypeVar("Kind", bound=parts.Part)


@cache
def rows() -> tuple[tuple[str, dict[str, Any]], ...]:
    """(kind, table as written) of every part of every file."""
    found = []
    for file in FILES:
        for kind, tables in tomllib.loads(file.read_text(encoding="utf-8")).items():
            found += [(kind, table) for table in tables]
    return tuple(found)


@cache
def catalog() -> dict[str, parts.Part]:
    return {row["id"]: parts.PART_KINDS[kind].model_validate(row) for kind, row in rows()}


def all_of(kind: type[Kind]) -> tuple[Kind, ...]:
    found = tuple(part for part in catalog().values() if isinstance(part, kind))
    assert found, f"the catalogue has no {kind.__name__}"
    return found


def area_mm2(size: str) -> float:
    """Conductor area; AWG diameters by ASTM B258: 0.127 mm · 92^((36 - n)/39), 1/0 AWG is n = 0."""
    number, unit = size.split()
    if unit == "mm2":
        return float(number)
    gauge = 1 - int(number.split("/")[0]) if "/" in number else int(number)
    diameter_mm = 0.127 * math.pow(92.0, (36 - gauge) / 39)
    return math.pi / 4 * diameter_mm**2


# -- form ----------------------------------------------------------------------------------------


def test_catalogue_is_large_and_covers_every_kind() -> None:
    kinds = Counter(kind for kind, _ in rows())
    assert kinds.keys() == parts.PART_KINDS.keys()
    assert kinds.total() >= 130


def test_ids_are_unique() -> None:
    counts = Counter(row["id"] for _, row in rows())
    assert [id for id, count in counts.items() if count > 1] == []


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_part_is_valid_by_its_model(file: Path) -> None:
    tables = tomllib.loads(file.read_text(encoding="utf-8"))
    made = [parts.PART_KINDS[kind].model_validate(row) for kind, found in tables.items() for row in found]
    assert len(made) >= 5


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_text_can_be_split_at_its_headers(file: Path) -> None:
    """A reader that cuts the text at the header lines sees the same parts as one that reads it whole."""
    text = file.read_text(encoding="utf-8")
    head, *pieces = re.split(r"^(?=\[)", text, flags=re.MULTILINE)
    assert all(line.startswith("#") or not line for line in head.splitlines())
    assert "brandless" in head and "Replace them by your dealer's data" in head
    split: dict[str, list[dict[str, Any]]] = {}
    for piece in pieces:
        header, first_key = piece.splitlines()[:2]
        kind = re.fullmatch(r"\[\[([a-z_]+)\]\]", header)
        assert kind, header
        assert first_key.startswith('id = "'), first_key
        split.setdefault(kind[1], []).extend(tomllib.loads(piece)[kind[1]])
    assert split == tomllib.loads(text)
    assert '"""' not in text and "'''" not in text


# Units, ratings and names of open standards; any other capital inside a name would be a proper name.
TRADE_CAPITALS = re.compile(
    r"A|AC|AWG|Ah|B|DC|EMT|H07V-[KR]|H1Z2Z2-K|IP\d\d|L|M\d+|PE100|PN|PV|PVC|R|RHW-2|SDR|SIDR|V|W|X|XLPE"
    r"|degC|degF|gG|gPV|inHg|kA|kPa"
)


def test_names_hold_no_proper_names() -> None:
    for part in catalog().values():
        assert part.name.isascii()
        words = re.findall(r"[A-Za-z][A-Za-z0-9\-]*", part.name)[1:]
        strange = [word for word in words if word != word.lower() and not TRADE_CAPITALS.fullmatch(word)]
        assert strange == [], part.id
        assert re.fullmatch(r"[a-z0-9][a-z0-9.\-]*", part.id)


@pytest.mark.parametrize(
    "id",
    [
        "pv-mono-160w-36c",
        "dc-isolator-2p-32a",
        "fuse-10x38-dc-8a",
        "current-booster-24v-10a",
        "float-switch-dc-10a",
        "vane-pump-24v-150gph",
        "enclosure-nema4x-12x10",
        "pvc-sch40-0.75",
        "thwn2-cu",
        "pe-sidr-1.25",
        "filter-inline-10in",
        "priming-tee-1.25",
    ],
)
def test_parts_of_the_first_example_exist(id: str) -> None:
    assert id in catalog()


# -- references ----------------------------------------------------------------------------------


def test_parts_that_are_named_exist_and_are_of_the_right_kind() -> None:
    known = catalog()
    for part in known.values():
        assert [id for id in part.needs if id not in known or id == part.id] == [], part.id
        assert len(set(part.needs)) == len(part.needs), part.id
    for fuse in all_of(parts.Fuse):
        assert fuse.holder is not None, fuse.id
        holder = known[fuse.holder]
        assert isinstance(holder, parts.FuseHolder)
        assert holder.form == fuse.form
        assert holder.dc_current is not None and fuse.rating <= holder.dc_current, fuse.id
    glands = [box.gland_part for box in all_of(parts.Enclosure) if box.gland_part]
    assert glands
    for id in glands:
        gland = known[id]
        assert isinstance(gland, parts.Sundry) and gland.type == "gland"


def named_terminals(part: parts.Part) -> list[str]:
    names = [name for group in part.joined for name in group]
    names += [name for pole in getattr(part, "poles", ()) for name in pole.between]
    names += [name for port in getattr(part, "ports", ()) for name in (port.plus, port.minus)]
    earth = getattr(part, "functional_earth", None)
    names += [earth.terminal] if earth is not None else []
    remote = getattr(part, "remote", None)
    return names + list(remote.terminals if remote else ())


def test_terminals_named_in_poles_ports_joins_and_remotes_exist() -> None:
    looked_at = 0
    for part in catalog().values():
        names = [terminal.name for terminal in part.terminals]
        assert len(set(names)) == len(names), part.id
        used = named_terminals(part)
        looked_at += len(used)
        assert set(used) <= set(names), part.id
    assert looked_at > 300


def test_functional_earths_have_a_grounding_terminal_and_the_figures_of_their_kind() -> None:
    found = [part for part in catalog().values() if getattr(part, "functional_earth", None) is not None]
    for part in found:
        earth = part.functional_earth  # type: ignore[attr-defined]
        assert any(terminal.role == "ground" for terminal in part.terminals), part.id
        assert earth.dc_voltage is not None, part.id
        if earth.through in ("fuse", "breaker"):
            assert earth.rating == 1.0 and earth.breaking_capacity >= 5e3, part.id
        if earth.through == "resistor":
            assert earth.resistance * 0.03 >= 120.0 and earth.power is not None, part.id
    assert {part.functional_earth.through for part in found} == {  # type: ignore[attr-defined]
        "fuse",
        "breaker",
        "resistor",
        "detector",
    }


def test_ports_stand_on_terminals_of_their_mark() -> None:
    for controller in all_of(parts.Controller):
        marks = {terminal.name: terminal.marked for terminal in controller.terminals}
        for port in controller.ports:
            assert (marks[port.plus], marks[port.minus]) == ("+", "-"), controller.id


def test_controllers_join_the_leg_that_they_do_not_switch() -> None:
    unswitched = {"positive": "-", "negative": "+"}
    for controller in all_of(parts.Controller):
        marks = {terminal.name: terminal.marked for terminal in controller.terminals}
        assert controller.switched_leg is not None and controller.switched_leg != "both"
        joined = {marks[name] for group in controller.joined for name in group}
        assert joined == {unswitched[controller.switched_leg]}, controller.id


def test_source_and_load_terminals_have_the_names_that_jobs_use() -> None:
    for kind, ground in ((parts.Panel, "frame"), (parts.Pump, "case")):
        for part in all_of(kind):
            assert {(t.name, t.marked or t.role) for t in part.terminals} == {
                ("+", "+"),
                ("-", "-"),
                (ground, "ground"),
            }
    for battery in all_of(parts.Battery):
        assert [(t.name, t.marked) for t in battery.terminals] == [("+", "+"), ("-", "-")]
    for switchgear in (*all_of(parts.Isolator), *all_of(parts.Breaker)):
        pairs = [pole.between for pole in switchgear.poles]
        assert pairs == [("1", "2"), ("3", "4")][: len(pairs)]


def test_marks_of_line_and_load_stand_on_polarised_breakers_and_only_there() -> None:
    breakers = all_of(parts.Breaker)
    assert {breaker.polarised for breaker in breakers} == {True, False}
    for breaker in breakers:
        marks = {terminal.name: terminal.marked for terminal in breaker.terminals}
        for pole in breaker.poles:
            expected = ("line", "load") if breaker.polarised else ("", "")
            assert tuple(marks[name] for name in pole.between) == expected, breaker.id


# -- wiring --------------------------------------------------------------------------------------


def test_every_terminal_says_which_wires_it_takes() -> None:
    for kind in WIRED:
        for part in all_of(kind):
            assert part.terminals, part.id
    for part in catalog().values():
        for terminal in part.terminals:
            wire = terminal.wire or part.wire
            assert wire is not None, f"{part.id} {terminal.name}"
            assert area_mm2(wire.smallest) <= area_mm2(wire.largest), f"{part.id} {terminal.name}"


def test_every_wire_size_is_a_size_of_a_rulebook() -> None:
    sizes = {size for id in known_rulebooks() for size in load_rulebook(id).sizes()}
    for wire in all_of(parts.Wire):
        assert {row.size for row in wire.sizes} <= sizes, wire.id
    for part in catalog().values():
        for wire_range in (part.wire, *(terminal.wire for terminal in part.terminals)):
            if wire_range is not None:
                assert {wire_range.smallest, wire_range.largest} <= sizes, part.id


def test_exposed_metal_has_a_ground_terminal_and_is_not_called_double_insulated() -> None:
    metal = [part for part in catalog().values() if part.metal_case]
    assert len(metal) > 20
    for part in metal:
        assert any(terminal.role == "ground" for terminal in part.terminals), part.id
        assert not part.double_insulated, part.id


def test_rated_current_of_a_device_fits_its_largest_wire() -> None:
    """Copper at 75 °C by Table 310.16 of NFPA 70 (2023): a terminal for less could never carry its rating."""
    ampacity = {"10 AWG": 35, "8 AWG": 50, "6 AWG": 65, "4 AWG": 85, "2 AWG": 115, "1/0 AWG": 150}
    for breaker in all_of(parts.Breaker):
        assert breaker.wire is not None and breaker.rating <= ampacity[breaker.wire.largest], breaker.id
    for controller in all_of(parts.Controller):
        assert controller.wire is not None and controller.output_current is not None
        assert 1.25 * controller.output_current <= ampacity[controller.wire.largest], controller.id


def test_insulation_has_an_outer_size_in_a_rulebook_or_in_the_part() -> None:
    def known(insulation: str, size: str) -> bool:
        for id in known_rulebooks():
            try:
                load_rulebook(id).conductor_area_m2(insulation, size)
            except LookupError:
                continue
            return True
        return False

    for wire in all_of(parts.Wire):
        for row in wire.sizes:
            assert row.outer is not None or known(wire.insulation, row.size), f"{wire.id} {row.size}"
            assert row.price > 0.0 and row.pack_length > 0.0
            for cut in row.also_sold:
                assert cut.sold_as == "cut" and cut.pack_length is not None
                dearer = cut.price / cut.pack_length / (row.price / row.pack_length)
                assert 1.2 <= dearer <= 2.5, (wire.id, row.size)


def test_raceways_are_in_a_rulebook() -> None:
    books = [load_rulebook(id) for id in known_rulebooks()]
    tables = {
        (kind, size) for book in books for kind in book.raceway_kinds() for size in book.raceway_sizes(kind)
    }
    for raceway in all_of(parts.Raceway):
        assert (raceway.raceway, raceway.trade_size) in {(k, _plain(s)) for k, s in tables}, raceway.id


def _plain(size: str) -> str:
    return size.removesuffix(" in")


def test_wire_kinds_are_told_apart_by_place() -> None:
    dry, wet = catalog()["thhn-cu"], catalog()["thwn2-cu"]
    assert isinstance(dry, parts.Wire) and isinstance(wet, parts.Wire)
    assert (dry.wet, wet.wet) == (False, True)
    assert "green" in wet.colours
    assert all(w.wet for w in all_of(parts.Wire) if w.direct_burial or w.submersible)


# -- electrical plausibility (bands: common practice, no source) ----------------------------------


@pytest.mark.parametrize("panel", all_of(parts.Panel), ids=lambda panel: panel.id)
def test_panel_is_plausible(panel: parts.Panel) -> None:
    voc_band = {36: (20.0, 26.0), 60: (36.0, 42.0), 72: (43.0, 50.0)}
    assert panel.power and panel.series_fuse and panel.cells and panel.max_system_voltage
    assert panel.voc_coefficient is not None and panel.vmp_coefficient is not None and panel.noct is not None
    assert 1.15 <= panel.voc / panel.vmp <= 1.35
    assert 1.03 <= panel.isc / panel.imp <= 1.15
    assert 0.95 <= panel.power / (panel.vmp * panel.imp) <= 1.05
    assert -0.0040 <= panel.voc_coefficient <= -0.0020
    assert panel.vmp_coefficient < panel.voc_coefficient
    assert 1.5 <= panel.series_fuse / panel.isc <= 3.5
    low, high = voc_band[panel.cells]
    assert low <= panel.voc <= high


@pytest.mark.parametrize("controller", all_of(parts.Controller), ids=lambda controller: controller.id)
def test_controller_is_plausible(controller: parts.Controller) -> None:
    assert controller.max_input_voltage and controller.max_output_voltage and controller.nominal_output
    assert controller.efficiency is not None and 0.80 <= controller.efficiency <= 0.99
    assert controller.nominal_output < controller.max_output_voltage <= 1.35 * controller.nominal_output
    assert controller.max_output_voltage <= controller.max_input_voltage
    if controller.type == "current booster":
        assert controller.hold_voltage is not None
        assert controller.nominal_output <= controller.hold_voltage < controller.max_input_voltage
        assert controller.output_current is not None and controller.peak_output_current is not None
        assert controller.output_current < controller.peak_output_current
    if controller.stops_below is not None:
        assert controller.restarts_above is not None
        assert controller.stops_below < controller.restarts_above


def test_boosters_come_with_and_without_remote_terminals_for_every_voltage_class() -> None:
    boosters = [c for c in all_of(parts.Controller) if c.type == "current booster"]
    assert {round(b.nominal_output or 0) for b in boosters} == {12, 24, 36, 48}
    assert {b.remote is None for b in boosters} == {True, False}


def test_parts_without_a_dc_rating_do_not_pretend_to_one() -> None:
    ac_only = [
        *(d for d in (*all_of(parts.Isolator), *all_of(parts.Breaker)) if d.dc_voltage is None),
        *(s for s in all_of(parts.Switch) if s.contact.dc_voltage is None),
    ]
    assert {part.id for part in ac_only} == {
        "toggle-switch-ac-20a",
        "ac-breaker-1p-20a",
        "float-switch-ac-10a",
    }
    for part in ac_only:
        assert "no DC rating" in part.name


@pytest.mark.parametrize("pump", all_of(parts.Pump), ids=lambda pump: pump.id)
def test_motor_is_plausible(pump: parts.Pump) -> None:
    assert pump.rated_current and pump.armature_resistance and pump.max_voltage and pump.start_current
    stall_a = pump.nominal_voltage / pump.armature_resistance
    assert 3.0 <= stall_a / pump.rated_current <= 10.0
    assert pump.start_current < stall_a
    assert pump.nominal_voltage < pump.max_voltage <= 1.35 * pump.nominal_voltage
    assert max(row.voltage for row in pump.table) <= pump.max_voltage


def test_battery_resistance_is_1_to_50_milliohm_per_12_v_block() -> None:
    for battery in all_of(parts.Battery):
        assert battery.internal_resistance and battery.full_voltage and battery.empty_voltage
        assert 0.001 <= battery.internal_resistance * 12.0 / battery.nominal <= 0.050, battery.id
        assert battery.highest_charge_voltage is not None
        assert battery.empty_voltage < battery.full_voltage < battery.highest_charge_voltage


# -- pumps ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("pump", all_of(parts.Pump), ids=lambda pump: pump.id)
def test_pump_table_is_full_and_its_efficiency_plausible(pump: parts.Pump) -> None:
    """Hydraulic over electrical power 0.05 to 0.65 in every row: common practice, no source."""
    by_voltage = Counter(row.voltage for row in pump.table)
    assert len(by_voltage) >= 3
    assert min(by_voltage.values()) >= 4
    for row in pump.table:
        assert 0.05 <= WATER_N_PER_M3 * row.head * row.flow / (row.voltage * row.current) <= 0.65
    at_nominal = [row for row in pump.table if row.voltage == pump.nominal_voltage]
    assert pump.rated_current == pytest.approx(max(row.current for row in at_nominal), rel=0.02)


@pytest.mark.parametrize("pump", all_of(parts.Pump), ids=lambda pump: pump.id)
def test_pump_gives_less_against_more_head(pump: parts.Pump) -> None:
    for _, group in groupby(pump.table, key=lambda row: row.voltage):
        for lower, higher in pairwise(group):
            assert lower.head < higher.head
            assert lower.flow > higher.flow
            if pump.type == "positive displacement":  # torque is current
                assert lower.current < higher.current


@pytest.mark.parametrize(
    "pump", [p for p in all_of(parts.Pump) if p.type == "positive displacement"], ids=lambda pump: pump.id
)
def test_displacement_pump_follows_volts_less_the_armature_drop(pump: parts.Pump) -> None:
    """Permanent-magnet motor: speed ~ V - I·Ra at the same torque, and flow ~ speed (motor handbooks)."""
    assert pump.armature_resistance and pump.max_pressure
    assert max(row.head for row in pump.table) * WATER_N_PER_M3 <= pump.max_pressure
    nominal = {row.head: row for row in pump.table if row.voltage == pump.nominal_voltage}
    for row in pump.table:
        at = nominal[row.head]
        speed = (row.voltage - row.current * pump.armature_resistance) / (
            at.voltage - at.current * pump.armature_resistance
        )
        assert row.flow / at.flow == pytest.approx(speed, rel=0.04)


@pytest.mark.parametrize(
    "pump", [p for p in all_of(parts.Pump) if p.type == "centrifugal"], ids=lambda pump: pump.id
)
def test_centrifugal_pump_follows_the_affinity_laws(pump: parts.Pump) -> None:
    """Head ~ speed squared, flow ~ speed (ISO 9906 conversion to another speed), with speed ~ volts."""
    assert pump.shut_off_head and pump.max_pressure
    nominal = [row for row in pump.table if row.voltage == pump.nominal_voltage]
    for volts, group in groupby(pump.table, key=lambda row: row.voltage):
        ratio = volts / pump.nominal_voltage
        for row, at in zip(group, nominal, strict=True):
            assert row.head / at.head == pytest.approx(ratio**2, rel=0.03)
            assert row.flow / at.flow == pytest.approx(ratio, rel=0.03)
    assert max(row.head for row in pump.table) < pump.shut_off_head
    assert pump.shut_off_head * WATER_N_PER_M3 < pump.max_pressure


def test_suction_figures_fit_under_the_atmosphere() -> None:
    """Lift and required suction head stay below 10.33 m, one standard atmosphere of water (ISO 2533)."""
    for pump in all_of(parts.Pump):
        assert pump.self_priming_lift is not None and pump.npsh_required is not None
        assert pump.npsh_required > 0.0
        assert pump.self_priming_lift + pump.npsh_required < 10.33, pump.id


def test_pumps_come_for_every_voltage_class() -> None:
    kinds = Counter(pump.type for pump in all_of(parts.Pump))
    assert kinds["positive displacement"] >= 6 and kinds["centrifugal"] >= 4
    for type in kinds:
        assert {p.nominal_voltage for p in all_of(parts.Pump) if p.type == type} == {12.0, 24.0, 36.0, 48.0}


def test_slow_24_v_pump_gives_about_2_gallons_a_minute() -> None:
    pump = catalog()["piston-pump-24v-120gph"]
    assert isinstance(pump, parts.Pump)
    flows = [row.flow / GALLON_PER_MINUTE_M3_S for row in pump.table if row.voltage == 24.0]
    assert min(flows) < 2.0 < max(flows) < 2.5


# -- water ---------------------------------------------------------------------------------------

# Inches, as printed. ASTM D1785 (PVC): mean bore = outside - 2 · (minimum wall + half its tolerance).
# ASTM D2239 (PE, inside diameter controlled) · ASTM B88 (copper, type L) · ASTM F876 (PEX, SDR 9, mean).
BORES_IN = {
    "pvc-sch40": {"1/2": 0.602, "3/4": 0.804, "1": 1.029, "1-1/4": 1.360, "1-1/2": 1.590, "2": 2.047},
    "pvc-sch80": {"3/4": 0.722, "1": 0.936, "1-1/4": 1.255, "1-1/2": 1.476},
    "pe-sidr-7": {"3/4": 0.824, "1": 1.049, "1-1/4": 1.380},
    "pe-sidr-11.5": {"3/4": 0.824, "1": 1.049, "1-1/4": 1.380, "1-1/2": 1.610},
    "copper-l": {"1/2": 0.545, "3/4": 0.785, "1": 1.025, "1-1/4": 1.265},
    "pex": {"1/2": 0.475, "3/4": 0.671, "1": 0.862},
}
# Millimetres. ISO 4427-2 (PE 100): outside - 2 · minimum wall.
BORES_MM = {
    "pe100-sdr11": {"25 mm": 20.4, "32 mm": 26.0, "40 mm": 32.6, "50 mm": 40.8},
    "pe100-sdr17": {"32 mm": 28.0, "40 mm": 35.2, "50 mm": 44.0},
}


def test_bores_are_those_of_the_pipe_standards() -> None:
    printed = {(f, s): inch * INCH_M for f, sizes in BORES_IN.items() for s, inch in sizes.items()}
    printed |= {(f, s): mm / 1000.0 for f, sizes in BORES_MM.items() for s, mm in sizes.items()}
    found = {
        (pipe.family, _plain(pipe.size)): pipe.bore for pipe in all_of(parts.Pipe) if pipe.material != "hose"
    }
    assert found == pytest.approx(printed, rel=1e-6)


def test_pipes_agree_with_the_handbook_table() -> None:
    handbook = load_handbook()
    for pipe in all_of(parts.Pipe):
        if pipe.material == "hose":
            continue
        table = handbook.pipe(pipe.family, _plain(pipe.size))
        assert (pipe.bore, pipe.wall) == pytest.approx((table.bore_m, table.wall_m), rel=1e-6), pipe.id
        if table.pressure_pa is not None:
            assert pipe.pressure == pytest.approx(table.pressure_pa, rel=1e-3), pipe.id


def test_hose_that_collapses_is_told_apart_from_suction_hose() -> None:
    for pipe in all_of(parts.Pipe):
        assert pipe.vacuum is not None
        assert (pipe.vacuum >= 75e3) == (pipe.family != "delivery-hose"), pipe.id


def test_every_pipe_has_the_fittings_of_its_size() -> None:
    made = {(family, f.size, f.fitting) for f in all_of(parts.Fitting) for family in f.suits}
    wanted = ("elbow 90", "elbow 45", "tee run", "tee branch", "coupling", "adapter")
    for pipe in all_of(parts.Pipe):
        if _plain(pipe.size) in ("3/4", "1") or pipe.family in ("pe-sidr-11.5", "pe100-sdr11"):
            missing = [name for name in wanted if (pipe.family, pipe.size, name) not in made]
            assert missing == [], pipe.id


def test_fitting_names_are_rows_of_the_fittings_table() -> None:
    rows_of_table = set(load_handbook().fitting_names())
    names = {fitting.fitting for fitting in all_of(parts.Fitting)}
    assert names <= rows_of_table
    assert {v.loss_fitting for v in all_of(parts.Valve) if v.loss_fitting} <= rows_of_table


def test_fittings_that_hold_the_column_back_are_the_check_and_foot_valves() -> None:
    holding = {f.fitting for f in all_of(parts.Fitting) if f.holds_back}
    assert holding == {"foot valve", "swing check", "check valve"}
    assert all(f.holds_back for f in all_of(parts.Fitting) if f.fitting in holding)


def test_relief_valves_have_a_band_and_filters_a_clean_drop_below_the_dirty_one() -> None:
    for valve in all_of(parts.Valve):
        if valve.type == "relief valve":
            assert valve.lowest_setting and valve.highest_setting and valve.pressure
            assert valve.lowest_setting < valve.highest_setting <= valve.pressure, valve.id
    for part in all_of(parts.Filter):
        assert part.clean_drop is not None and part.at_flow
        if part.dirty_drop is None:
            assert "clean drop only" in part.name
        else:
            assert part.clean_drop < part.dirty_drop


def test_relief_valve_of_50_to_150_psi_is_read_in_pascal() -> None:
    valve = catalog()["relief-valve-0.75-50-150psi"]
    assert isinstance(valve, parts.Valve)
    assert valve.lowest_setting == pytest.approx(50.0 * PSI_PA, rel=1e-5)
    assert valve.highest_setting == pytest.approx(150.0 * PSI_PA, rel=1e-5)


# -- buying --------------------------------------------------------------------------------------


def test_everything_has_a_price_and_what_is_sold_by_length_its_length() -> None:
    for part in catalog().values():
        if not isinstance(part, parts.Wire):
            assert part.price is not None and part.price > 0.0, part.id
        if part.sold_as in ("stick", "coil"):
            assert part.pack_length is not None and part.pack_length > 0.0, part.id
        assert (part.sold_as == "pack") == (part.pack_count > 1), part.id
