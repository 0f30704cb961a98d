"""Edges of the source rules. Figures: worked reference job (own arithmetic)."""

from __future__ import annotations

import pytest

from specc.diagnostics import Verdict
from specc.rules.source import RECOVERY, RUN_DRY, SUBMERGENCE
from tests.reference import check_edited
from tests.rules.answers import found, missing
from tests.rules.verdicts import verdicts

NO_LOW = {"switches.LS2": None, "runs.R4.conductors[1].to": "TS1.1", "runs.R4.conductors[2]": None}
NO_THERMAL = {
    "switches.TS1": None,
    "runs.R4.conductors[2].to": "CB1.remote2",
    "runs.R4.conductors[3]": None,
}


# -- source.recovery -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inflow", "fires"), [("7.45 L/min", True), ("7.46 L/min", False), ("10 L/min", False)]
)
def test_inflow_just_under_and_over(inflow: str, fires: bool) -> None:
    # 763.4 L over 300 min are 2.545 L/min beside the inflow.
    assert bool(found(RECOVERY, {"source.WELL.inflow": inflow})) is fires


def test_the_message_says_what_really_comes() -> None:
    (finding,) = found(RECOVERY, {"source.WELL.inflow": "1 L/min"})

    assert "1063 L a day" in finding.message  # 763.4 + 300 L
    assert finding.required == "300 min"
    (dry,) = found(RECOVERY, {"source.WELL.inflow": "0.1 L/min"})
    assert "144 L a day" in dry.message  # no more than flows in, day and night


def test_the_pumping_day_is_that_of_the_best_month() -> None:
    sun = [2.0] * 11 + [3.0]

    # 763.4 L last 190.9 min: more than 3.0 h
    assert not found(RECOVERY, {"source.WELL.inflow": "6 L/min", "site.sun": sun})
    assert found(RECOVERY, {"source.WELL.inflow": "6 L/min", "site.sun": [2.0] * 11 + [3.2]})


def test_without_sun_hours_the_demand_makes_the_day() -> None:
    # 1500 L at 10 L/min are 150 min; 763.4 L last 190.9 min.
    edit = {"source.WELL.inflow": "6 L/min", "site.sun": None}

    assert not found(RECOVERY, edit)
    assert found(RECOVERY, {**edit, "tank.TK1.demand": "2000 L/day"})
    assert missing(RECOVERY, {**edit, "tank.TK1.demand": None}) == ["sun"]


def test_all_pumps_on_a_source_count() -> None:
    second = {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
        "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
        "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
    }

    assert found(RECOVERY, second)  # 20 L/min from 15 L/min and 763 L: 153 min


def test_a_box_that_is_not_round_gives_its_area() -> None:
    square = {"source.WELL.inflow": "6 L/min", "source.WELL.diameter": None}

    assert missing(RECOVERY, square) == ["diameter"]
    assert found(RECOVERY, {**square, "source.WELL.plan_area": "0.9 m2"})  # 1080 L: 270 min
    assert not found(RECOVERY, {**square, "source.WELL.plan_area": "1.1 m2"})  # 1320 L: 330 min


def test_an_unknown_inflow_is_missing() -> None:
    assert missing(RECOVERY, {"source.WELL.inflow": None}) == ["inflow"]


# -- source.run-dry ------------------------------------------------------------------------------


def test_a_low_switch_below_the_intake_does_not_count() -> None:
    assert found(RUN_DRY, {**NO_THERMAL, "switches.LS2.acts_at": "-4.51 m"})
    assert not found(RUN_DRY, {**NO_THERMAL, "switches.LS2.acts_at": "-4.5 m"})


def test_a_thermal_switch_alone_needs_a_pump_that_may_run_dry() -> None:
    assert missing(RUN_DRY, {**NO_LOW, "part:pump-r.runs_dry": None}) == ["runs_dry"]


@pytest.mark.parametrize(("trips", "fires"), [("59 s", False), ("60 s", False), ("61 s", True)])
def test_a_thermal_switch_alone_must_trip_in_time(trips: str, fires: bool) -> None:
    # The pump stands a minute.
    assert bool(found(RUN_DRY, {**NO_LOW, "switches.TS1.trip_time": trips})) is fires
    assert bool(found(RUN_DRY, {**NO_LOW, "part:thermal-r.trip_time": trips})) is fires


def test_a_measured_trip_time_goes_before_that_of_the_maker() -> None:
    edit = {**NO_LOW, "switches.TS1.trip_time": "50 s", "part:thermal-r.trip_time": "90 s"}

    assert not found(RUN_DRY, edit)


def test_a_thermal_switch_of_unknown_trip_time_counts_for_nothing_alone() -> None:
    unknown = {"part:thermal-r.trip_time": None}

    assert missing(RUN_DRY, {**NO_LOW, **unknown}) == ["trip_time"]
    assert missing(RUN_DRY, {"pipes.S2.fittings": ["ball valve"], **unknown}) == ["trip_time"]
    assert not missing(RUN_DRY, unknown)  # the well switch stands before it


def test_a_pump_that_may_not_run_dry_at_all_is_not_saved_by_heat() -> None:
    # A trip in no time would do: nothing else reaches 0 s.
    assert found(RUN_DRY, {**NO_LOW, "part:pump-r.runs_dry": "0 s"})


def test_a_bridged_low_switch_does_not_act() -> None:
    bridged = {
        **NO_THERMAL,
        "runs.R4.conductors[3]": {"from": "LS2.1", "to": "LS2.2", "color": "grey"},
    }

    assert found(RUN_DRY, bridged)


def test_a_motor_that_never_runs_is_not_checked() -> None:
    assert verdicts(RUN_DRY, {"runs.R3.conductors[0]": None}) == {"P1": Verdict.NOT_CHECKED}


def test_a_valve_in_the_suction_asks_for_more_than_a_low_switch() -> None:
    valve = {"pipes.S2.fittings": ["ball valve"]}

    assert not found(RUN_DRY, valve)  # the thermal switch is there
    assert found(RUN_DRY, {**valve, **NO_THERMAL})


# -- source.submergence --------------------------------------------------------------------------


@pytest.mark.parametrize(("level", "fires"), [("-4.21 m", True), ("-4.2 m", False), ("-4.19 m", False)])
def test_cover_just_under_at_and_over(level: str, fires: bool) -> None:
    assert bool(found(SUBMERGENCE, {"switches.LS2.acts_at": level})) is fires


def test_a_fast_intake_needs_more_than_the_usual_cover() -> None:
    # ANSI/HI 9.8 (from memory, unverified): 10 L/min, whatever the head, in 5 mm: v 8.49 m/s, S 0.446 m.
    (finding,) = found(SUBMERGENCE, {"part:pipe-r.bore": "5 mm", "pipes.S1.fittings": []})

    assert finding.required == "0.4458 m"


def test_without_a_low_switch_the_drawn_down_level_counts() -> None:
    assert not found(SUBMERGENCE, NO_LOW)  # -3.4 m, 1.1 m of cover
    assert found(SUBMERGENCE, {**NO_LOW, "source.WELL.low_water_level": "-4.3 m"})


@pytest.mark.parametrize(("bottom", "fires"), [("-4.8 m", False), ("-4.79 m", True)])
def test_clearance_at_and_over(bottom: str, fires: bool) -> None:
    assert bool(found(SUBMERGENCE, {"source.WELL.bottom": bottom})) is fires


@pytest.mark.parametrize("key", ["intake", "bottom"])
def test_levels_that_are_missing(key: str) -> None:
    assert key in missing(SUBMERGENCE, {f"source.WELL.{key}": None})


def test_a_source_that_nobody_draws_from_is_left_alone() -> None:
    spare = {"source.POND": {"kind": "pond"}}
    rules = (RECOVERY, SUBMERGENCE)

    assert "POND" not in {f.subject for f in check_edited(spare, rules).findings}
