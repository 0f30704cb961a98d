"""From the spec to the plant: ranges, missing data, examples; rule, table and advice on them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from specc import pipeline
from specc.diagnostics import Verdict
from specc.documents.water_year import advice_notes
from specc.operation.advice import advise, useful_m3
from specc.operation.described import plant_of
from specc.operation.made import made_year, sun_of
from specc.operation.plant import NotWorkedOut, Plant, Range
from specc.operation.year import water_year
from specc.pipeline import compile_spec
from specc.rendering.water_text import water_text
from specc.rules import YEAR_RULES
from specc.rules._rule import Case, Rule
from specc.rules.engine import check
from specc.system.missing import MissingDatum
from specc.system.system import System
from tests.reference import read_edited

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
NAMES = ("cedar-fold-orchard", "hazel-hollow-spring", "saltbush-paddock", "reference-job")


def _system(name: str) -> System:
    path = EXAMPLES / f"{name}.toml"
    made = compile_spec(path.read_bytes(), path.name, lambda other: (path.parent / other).read_bytes())
    assert made.system is not None
    return made.system


@pytest.fixture(scope="module")
def reference() -> Plant:
    return plant_of(read_edited({}))


def test_the_reference_job_in_numbers(reference: Plant) -> None:
    """By hand: 10 m of 10 AWG each way; tank at 22 m over water at -3.0 m and the stop at -4.2 m."""
    assert (reference.series, reference.parallel) == (2, 2)
    # 10 AWG stranded copper, NEC Chapter 9 Table 8: 1.24 ohm/kft = 4.07 ohm/km.
    assert reference.panel_wire_ohm == pytest.approx(2 * 10.0 * 4.07e-3, rel=0.02)
    assert reference.static_high_m == pytest.approx(25.0)
    assert reference.static_low_m == pytest.approx(26.2)
    assert reference.well.inflow_m3_s == Range(2.5e-4, 2.5e-4, 2.5e-4)
    assert reference.tank.demand_m3_s is not None
    assert reference.tank.demand_m3_s.nominal * 86_400.0 == pytest.approx(1.5)
    # 0.08 m under the overflow on 2 m2, and a band of 0.1 m.
    assert reference.tank.stop_m3 == pytest.approx(5.0 - 0.16)
    assert reference.tank.restart_m3 == pytest.approx(5.0 - 0.16 - 0.2)
    assert reference.booster is not None
    assert (reference.booster.hold_v, reference.booster.clamp_v, reference.booster.limit_a) == (
        28.0,
        28.0,
        12.0,
    )


def test_losses_are_those_of_the_water_side(reference: Plant) -> None:
    """Trade arithmetic of the reference job: 0.05 m + 0.93 m of friction at 10 L/min, and its fittings."""
    flow = 10.0 / 60_000.0
    assert 1.4 < float(reference.loss_m(np.array([flow]))[0]) < 2.4


def test_a_range_is_read_and_rules_use_its_cautious_end() -> None:
    system = read_edited({"source.WELL.inflow": "6 to 10 L/min", "tank.TK1.demand": "1200 to 1800 L/day"})
    plant = plant_of(system)

    assert plant.well.inflow_m3_s == Range(
        pytest.approx(1e-4), pytest.approx(8e-5 / 0.6), pytest.approx(1e-3 / 6)
    )
    found = {f.rule for f in check(system, strict=True).findings if f.verdict is Verdict.VIOLATED}
    assert "source.recovery" in found  # as with 6 L/min
    assert "storage.days" in found  # as with 1800 L/day


def test_shade_and_dirt_multiply() -> None:
    plant = plant_of(read_edited({"panels.PV1.shading": 0.05, "panels.PV1.soiling": 0.03}))

    assert plant.light_share == pytest.approx(0.95 * 0.97)


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"source.WELL.inflow": None}, "inflow"),
        ({"tank.TK1.capacity": None}, "capacity"),
        ({"panels.PV1.tilt": None}, "tilt"),
        ({"site.latitude": None}, "latitude"),
        ({"site.sun": None}, "sun"),
        ({"part:panel-r.noct": None}, "noct"),
        ({"part:panel-r.voc_coefficient": None}, "voc_coefficient"),
        ({"part:pump-r.start_current": None}, "start_current"),
        ({"part:booster-r.efficiency": None}, "efficiency"),
        ({"part:booster-r.hold_voltage": None}, "hold_voltage"),
        ({"site.weather": "gone.csv"}, "weather"),
    ],
)
def test_what_is_missing_is_named(edit: dict[str, Any], key: str) -> None:
    with pytest.raises(MissingDatum) as lack:
        made_year(read_edited(edit), steps_an_hour=1)
    assert lack.value.key == key


def test_a_height_beyond_the_pump_brings_no_water() -> None:
    assert made_year(read_edited({"tank.TK1.inlet": "2000 m"}), steps_an_hour=1).total_m3 == 0.0


def test_a_pump_that_is_not_wired_is_not_worked_out() -> None:
    second = {"pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"}}

    with pytest.raises(NotWorkedOut, match="P2 hangs on no source"):
        plant_of(read_edited(second))


@pytest.mark.parametrize("name", NAMES)
def test_the_year_of_every_example_prints_within_eighty_columns(name: str) -> None:
    system = _system(name)
    made = pipeline.water(system)

    assert made.why_not == ""
    assert made.table is not None
    text = water_text(made.table, system.job.units)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "nan" not in text
    assert len(made.table.rows) == 12
    assert all(row["water"] > 0.0 for row in made.table.rows)  # type: ignore[operator]


def test_what_cannot_be_worked_out_is_said_and_not_a_pass() -> None:
    made = pipeline.water(read_edited({"source.WELL.inflow": None}))

    assert made.table is None
    assert "inflow" in made.why_not
    assert [f.verdict for f in made.findings] == [Verdict.NOT_CHECKED]


# -- the rule ----------------------------------------------------------------------------------------


def _cases(kind: str) -> list[Any]:
    return [(rule, case) for rule in YEAR_RULES for case in getattr(rule, kind)]


@pytest.mark.parametrize(("rule", "case"), _cases("fires"))
def test_the_rule_fires_where_its_example_says(rule: Rule, case: Case) -> None:
    found = [f for f in check(read_edited(case.edit), (rule,), strict=True).findings if f.rule == rule.id]

    assert [f.verdict for f in found] == [Verdict.VIOLATED]
    assert found[0].subject == case.subject
    assert found[0].places
    assert found[0].fix


@pytest.mark.parametrize(("rule", "case"), _cases("keeps_still"))
def test_the_rule_keeps_still_where_its_example_says(rule: Rule, case: Case) -> None:
    found = [f for f in check(read_edited(case.edit), (rule,), strict=True).findings if f.rule == rule.id]

    assert [f.verdict for f in found] == [Verdict.SATISFIED]


def test_the_rule_may_be_accepted_without_check_taking_offence() -> None:
    accepted = {
        "accepted.0": {"rule": "yield.daily-shortfall", "on": "TK1", "reason": "summer use", "by": "owner"}
    }
    edit = {"tank.TK1.demand": "5300 L/day", **accepted}
    plain = check(read_edited(edit), strict=True).findings
    yearly = check(read_edited(edit), YEAR_RULES, strict=True).findings

    assert not [f for f in plain if f.rule == "spec.acceptance"]
    assert [f.accepted for f in yearly if f.rule == "yield.daily-shortfall"] == ["summer use"]


# -- advice ------------------------------------------------------------------------------------------


def test_advice_is_what_trying_it_gives() -> None:
    system = read_edited({})
    plant = plant_of(system)
    sun = sun_of(system, plant, steps_an_hour=1)
    advice = advise(system, plant, sun)

    assert advice.met
    assert advice.base_m3 == pytest.approx(water_year(plant, sun).total_m3, rel=1e-9)
    wire = next(change for change in advice.changes if change.says.startswith("R"))
    tag, size = wire.says.split(":")[0], wire.says.split(": ")[1].split(" instead")[0]
    tried = plant_of(read_edited({f"runs.{tag}.size": size}))
    assert wire.gain_m3 == pytest.approx(water_year(tried, sun).total_m3 - advice.base_m3, rel=1e-6)
    ranked = [change.gain_per_cost for change in advice.changes]
    assert ranked == sorted(ranked, reverse=True)


def test_a_demand_is_never_called_met_all_year_beside_a_year_with_short_days() -> None:
    """Few days of each month may meet a demand that a run of dull days in the whole year does not."""
    system = read_edited({})
    plant = plant_of(system)
    sun = sun_of(system, plant, steps_an_hour=1)
    advice, year = advise(system, plant, sun), water_year(plant, sun)
    lean = replace(year, months=(replace(year.months[0], days_short=8), *year.months[1:]))

    assert advice.met and not year.days_short
    assert "met on every day" in advice_notes(system, advice, year)[0]
    assert "met on every day" not in " ".join(advice_notes(system, advice, lean))


def test_a_hold_point_far_below_the_panels_is_the_first_thing_to_change() -> None:
    """Moved through the spec, the setting brings what the advice said, and it costs nothing."""
    edit = {"controllers.CB1.hold_voltage": "20 V", "tank.TK1.demand": "9000 L/day"}
    system = read_edited(edit)
    plant = plant_of(system)
    sun = sun_of(system, plant, steps_an_hour=1)
    advice = advise(system, plant, sun)

    first = advice.changes[0]
    assert first.says == "CB1: input held at 28 V instead of 20 V, if it can be set"
    assert first.cost == 0.0
    moved = plant_of(read_edited({**edit, "controllers.CB1.hold_voltage": "28 V"}))
    assert isinstance(moved, Plant)
    gain = useful_m3(moved, sun, served=True) - useful_m3(plant, sun, served=True)
    assert first.gain_m3 == pytest.approx(gain, rel=1e-6)
    assert gain > 0.1 * advice.base_m3


def test_a_starved_well_is_what_limits() -> None:
    system = read_edited({"source.WELL.inflow": "1.5 L/min", "tank.TK1.demand": "3000 L/day"})
    plant = plant_of(system)
    advice = advise(system, plant, sun_of(system, plant, steps_an_hour=1))

    assert not advice.met
    assert advice.limits[0].name == "well"
