"""Edges of the rules on a drawn-down source, on air let in, and on water above the pump.

Figures: worked reference job (own arithmetic).
"""

from __future__ import annotations

import math

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._variants import SPRING_ABOVE
from specc.rules.suction_edges import AIR_INLET, DRAWN_DOWN, FLOODED, OVER_RATED
from tests.rules.answers import found, missing, subjects
from tests.rules.verdicts import verdicts

G_M_S2 = 9.80665  # 3rd CGPM, 1901
DENSITY_KG_M3 = 998.60  # IAPWS-IF97, 18 °C
SLOW = {"source.WELL.inflow": "6 L/min"}
STRONG = {"part:pipe-r.vacuum": "80 kPa"}
NO_FOOT_VALVE = {"pipes.S1.fittings": ["elbow 90", "elbow 90"]}
NO_LOW = {"switches.LS2": None, "runs.R4.conductors[1].to": "TS1.1", "runs.R4.conductors[2]": None}
ABOVE = {
    **SPRING_ABOVE,
    "tank.TK1.inlet": "70 m",
    "tank.TK1.overflow": "69.95 m",
    "part:pipe-r.pressure": "12 bar",
}


# -- suction.drawn-down --------------------------------------------------------------------------


@pytest.mark.parametrize(("level", "fires"), [("-4.47 m", False), ("-4.48 m", True)])
def test_suction_head_at_the_switch_just_over_and_under(level: str, fires: bool) -> None:
    # 4.0748 m at -3.4 m; 3.0 m are left at -3.4 - 1.0748 = -4.4748 m.
    edit = {**SLOW, **STRONG, "switches.LS2.acts_at": level}

    assert ("P1" in subjects(found(DRAWN_DOWN, edit))) is fires


@pytest.mark.parametrize(("level", "fires"), [("-4.17 m", False), ("-4.19 m", True)])
def test_vacuum_at_the_switch_just_under_and_over(level: str, fires: bool) -> None:
    # Hydrostatics: 52.36 kPa at -3.4 m, 60 kPa are reached (60 - 52.36) / (0.9986 · 9.80665) = 0.780 m lower.
    fired = found(DRAWN_DOWN, {**SLOW, "switches.LS2.acts_at": level})

    assert subjects(fired) == ({"S1", "S2", "S3"} if fires else set())


def test_the_fix_names_a_level_at_which_it_holds() -> None:
    (finding,) = found(DRAWN_DOWN, {**SLOW, **STRONG, "switches.LS2.acts_at": "-4.5 m"})

    assert "-4.47" in finding.fix
    assert not found(DRAWN_DOWN, {**SLOW, **STRONG, "switches.LS2.acts_at": "-4.47 m"})


@pytest.mark.parametrize(
    ("inflow", "fires"), [("9.99 L/min", True), ("10 L/min", False), ("9 to 20 L/min", True)]
)
def test_a_source_that_keeps_up_is_not_drawn_below_its_low_level(inflow: str, fires: bool) -> None:
    # 10 L/min are drawn; of a range the least counts.
    assert bool(found(DRAWN_DOWN, {"source.WELL.inflow": inflow})) is fires


def test_a_low_level_said_by_hope_does_not_hide_a_deep_switch() -> None:
    # Lift 7.2 m and 1.95 m of losses from 9.41 m of air less vapour: the water boils.
    deep = {
        **SLOW,
        **STRONG,
        "source.WELL.bottom": "-8 m",
        "source.WELL.intake": "-7.7 m",
        "pipes.S1.length": "9 m",
        "switches.LS2.acts_at": "-7.2 m",
    }
    (finding,) = [f for f in found(DRAWN_DOWN, deep) if f.subject == "P1"]

    assert finding.severity is Severity.ERROR
    assert "-7.2 m" in finding.message


def test_without_a_low_switch_the_source_is_drawn_to_the_intake() -> None:
    # 1.1 m below the low level: 2.97 m are left
    assert "P1" in subjects(found(DRAWN_DOWN, {**SLOW, **STRONG, **NO_LOW}))
    assert missing(DRAWN_DOWN, {**SLOW, **STRONG, **NO_LOW, "source.WELL.intake": None}) == ["intake"]


@pytest.mark.parametrize(("dry", "fires"), [("4.51 m", True), ("4.52 m", False)])
def test_dry_lift_from_the_switch_just_under_and_over(dry: str, fires: bool) -> None:
    # 4.2 m · 101.325 / 94.322 = 4.5118 m
    edit = {**SLOW, **STRONG, **NO_FOOT_VALVE, "part:pump-r.self_priming_lift": dry}

    assert bool(found(DRAWN_DOWN, edit)) is fires


def test_an_unknown_inflow_is_missing_but_of_a_pond() -> None:
    assert missing(DRAWN_DOWN, {"source.WELL.inflow": None}) == ["inflow"]
    pond = {"source.WELL.inflow": None, "source.WELL.kind": "pond"}
    assert verdicts(DRAWN_DOWN, pond) == {"P1": Verdict.SATISFIED}


# -- suction.over-rated --------------------------------------------------------------------------


@pytest.mark.parametrize(("drop", "fires"), [("2.10 m", False), ("2.17 m", True)])
def test_suction_head_at_the_clamp_of_the_booster(drop: str, fires: bool) -> None:
    # Own arithmetic: 28 V on a 24 V displacement pump give 10 · 28/24 = 11.67 L/min; fittings and filter lose
    # (28/24)² = 1.361 times as much, friction (Colebrook) 1.31 times. Of 9.42 m of air less vapour are left
    # 9.42 - 3.4 - 1.361 · (0.40 + 2.10) - 0.06 = 2.55 m, with 2.17 m of filter 2.46 m; 2.5 m are wanted.
    assert bool(found(OVER_RATED, {**STRONG, "part:filter-r.dirty_drop": drop})) is fires


@pytest.mark.parametrize(("vacuum", "fires"), [("59.1 kPa", True), ("59.5 kPa", False)])
def test_vacuum_at_the_clamp_of_the_booster(vacuum: str, fires: bool) -> None:
    # 998.6 · 9.80665 · (3.4 + 1.361 · 1.9 + 0.06) m = 59.2 kPa
    assert bool(found(OVER_RATED, {"part:pipe-r.vacuum": vacuum})) is fires


def test_panels_too_weak_for_the_clamp_do_not_drive_the_pump_there() -> None:
    # One string of two 20 W modules: 40 W at most, for a pump that takes 133 W at its rated volts.
    weak = {
        "part:filter-r.dirty_drop": "2.5 m",
        "panels.PV1.parallel": 1,
        "part:panel-r.imp": "1.11 A",
        "part:panel-r.isc": "1.2 A",
        "part:panel-r.power": "20 W",
    }

    assert found(OVER_RATED, {"part:filter-r.dirty_drop": "2.5 m"})
    assert verdicts(OVER_RATED, weak) == {"P1": Verdict.SATISFIED}


def test_at_its_rated_volts_a_pump_is_not_looked_at_twice() -> None:
    clamped = {"part:filter-r.dirty_drop": "2.5 m", "controllers.CB1.output_clamp": "24 V"}

    assert verdicts(OVER_RATED, clamped) == {"P1": Verdict.SATISFIED}


# -- suction.air-inlet ---------------------------------------------------------------------------


def test_an_air_valve_on_a_branch_of_the_suction_counts() -> None:
    branch = {
        "valves.AV9": {"part": "air-valve-0.5", "elevation": "0.2 m", "freeze_safe": True},
        "pipes.S9": {"part": "pipe-r", "from": "PR1.out", "to": "AV9.in", "length": "0.2 m"},
    }

    assert subjects(found(AIR_INLET, branch)) == {"AV9"}


def test_under_the_water_nothing_draws_air() -> None:
    flooded = {
        "pumps.P1.elevation": "-4 m",
        "pipes.S2.weep_hole": "1.5 mm",
        "pipes.S2.high_point": "-4 m",
        "valves.AV9": {"part": "air-valve-0.5", "elevation": "-4 m", "freeze_safe": True},
        "pipes.S9": {"part": "pipe-r", "from": "PR1.out", "to": "AV9.in", "length": "0.2 m"},
    }

    assert not found(AIR_INLET, flooded)
    assert subjects(found(AIR_INLET, {**flooded, "valves.AV9.elevation": "-3.3 m"})) == {
        "AV9"
    }  # water at -3.4


@pytest.mark.parametrize(("high", "fires"), [("-3.4 m", False), ("-3.39 m", True)])
def test_a_weep_hole_at_and_over_the_water(high: str, fires: bool) -> None:
    edit = {"pipes.S1.weep_hole": "1.5 mm", "pipes.S1.high_point": high}

    assert bool(found(AIR_INLET, edit)) is fires


# -- suction.flooded-class -----------------------------------------------------------------------


@pytest.mark.parametrize(("rating", "fires"), [("587 kPa", True), ("588 kPa", False)])
def test_filter_under_sixty_metres_of_water(rating: str, fires: bool) -> None:
    # Hydrostatics: 998.60 · 9.80665 · 60 m = 587.6 kPa
    assert math.isclose(DENSITY_KG_M3 * G_M_S2 * 60.0, 587.6e3, rel_tol=1e-4)
    fired = found(FLOODED, {**ABOVE, "part:filter-r.pressure": rating})

    assert subjects(fired) == ({"FL1"} if fires else set())


def test_pipe_under_the_water_counts_hot() -> None:
    # PE, ISO 4427-1 Annex A (unverified): 0.87 at 30 degC, 0.74 at 40; the buried S1 at the site's 38 degC in
    # between, 0.766. 587.6 / 0.766 = 767 kPa cold.
    strong = {**ABOVE, "part:filter-r.pressure": "900 kPa"}

    assert subjects(found(FLOODED, {**strong, "part:pipe-r.pressure": "760 kPa"})) == {"S1"}
    assert not found(FLOODED, {**strong, "part:pipe-r.pressure": "775 kPa"})
    assert missing(FLOODED, {**strong, "pipes.S2.hottest_wall": None}) == ["hottest_wall"]


def test_a_few_metres_of_water_ask_for_no_temperature() -> None:
    flooded = {"pumps.P1.elevation": "-4 m"}  # 1 m: 9.8 kPa on PN 6

    assert missing(FLOODED, flooded) == []
    assert set(verdicts(FLOODED, flooded).values()) == {Verdict.SATISFIED}


def test_a_dip_below_the_pump_counts() -> None:
    # 10 m lower add 97.9 kPa to 587.6: over 600 kPa at 20 degC
    dip = {**ABOVE, "part:filter-r.pressure": "900 kPa", "part:pipe-r.pressure": "780 kPa"}

    assert not found(FLOODED, {**dip, "pipes.S3.low_point": "-10 m"})
    assert subjects(found(FLOODED, {**dip, "pipes.S3.low_point": "-20 m"})) == {"S3"}  # 783.4 kPa


def test_ratings_that_are_missing() -> None:
    assert missing(FLOODED, {**ABOVE, "part:filter-r.pressure": None}) == ["pressure"]
    assert set(missing(FLOODED, {**ABOVE, "part:pipe-r.pressure": None})) == {"pressure"}
