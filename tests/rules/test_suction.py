"""Edges of the suction rules. Figures: worked reference job (own arithmetic)."""

from __future__ import annotations

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules.suction import (
    COLLAPSE,
    FILTER,
    FOOT_VALVE,
    HIGH_POINT,
    NPSH,
    PERMEABLE_HOSE,
    PRIME_HEIGHT,
    PRIMING_PORT,
)
from tests.rules.answers import found, missing, subjects
from tests.rules.verdicts import answers, verdicts

NO_FOOT_VALVE = {"pipes.S1.fittings": ["elbow 90", "elbow 90"]}
FLOODED = {
    "pumps.P1.elevation": "-4.0 m",
    "pipes.S1.high_point": "-4.2 m",
    "pipes.S2.high_point": "-4.1 m",
    "pipes.S3.high_point": "-4.0 m",
}
SECOND_PUMP = {
    "pumps.P2": {"part": "pump-r", "elevation": "1.5 m", "freeze_safe": True, "location": "well"},
    "pipes.S9": {
        "part": "pipe-r",
        "from": "WELL",
        "to": "P2.in",
        "length": "6 m",
        "high_point": "1.5 m",
        "fittings": ["foot valve"],
    },
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
}


# -- suction.npsh --------------------------------------------------------------------------------


@pytest.mark.parametrize(("required", "fires"), [("3.57 m", False), ("3.58 m", True)])
def test_npsh_just_under_and_over(required: str, fires: bool) -> None:
    # 4.0748 m are left; 0.5 m of margin is common practice, no source.
    assert bool(found(NPSH, {"part:pump-r.npsh_required": required})) is fires


def test_each_pump_is_judged_by_itself() -> None:
    # The second pump is 1.5 m higher but has no filter: 5.62 - 1.5 - 0.04 m; the first keeps its 4.07 m.
    said = verdicts(NPSH, {**SECOND_PUMP, "part:pump-r.npsh_required": "3.5 m"})

    assert said == {"P1": Verdict.SATISFIED, "P2": Verdict.SATISFIED}
    said = verdicts(
        NPSH, {**SECOND_PUMP, "pumps.P2.elevation": "3.2 m", "part:pump-r.npsh_required": "3.5 m"}
    )
    assert said == {"P1": Verdict.SATISFIED, "P2": Verdict.VIOLATED}


@pytest.mark.parametrize(
    ("place", "key"),
    [
        ("part:pump-r.npsh_required", "npsh_required"),
        ("part:filter-r.dirty_drop", "dirty_drop"),
        ("part:pump-r.action", "action"),
        ("source.WELL.low_water_level", "low_water_level"),
        ("source.WELL.water_temperature", "water_temperature"),
        ("site.elevation", "elevation"),
    ],
)
def test_npsh_without_a_datum_is_not_checked(place: str, key: str) -> None:
    assert missing(NPSH, {place: None}) == [key]


def test_the_drawn_down_level_counts_and_not_the_standing_one() -> None:
    assert found(NPSH, {"source.WELL.low_water_level": "-4.6 m"})
    assert not found(NPSH, {"source.WELL.water_level": "-4.6 m"})


def test_a_diaphragm_pump_is_decided_by_its_makers_lift() -> None:
    diaphragm = {"part:pump-r.action": "diaphragm"}

    assert verdicts(NPSH, diaphragm) == {"P1": Verdict.SATISFIED}
    # Dry lift 3.5 m is 3.26 m at this air pressure; the pump lifts 3.4 m.
    short = {**diaphragm, "part:pump-r.self_priming_lift": "3.5 m"}
    assert verdicts(NPSH, short) == {"P1": Verdict.NOT_CHECKED}


def test_a_fast_piston_pump_is_not_checked() -> None:
    fast = {
        "part:pump-r.action": "piston",
        "part:pump-r.crank_speed": "1500 rpm",
        "part:pump-r.acceleration_factor": 0.2,
    }

    assert verdicts(NPSH, fast) == {"P1": Verdict.NOT_CHECKED}


def test_pulses_of_a_slow_piston_pump_count() -> None:
    slow = {
        "part:pump-r.action": "piston",
        "part:pump-r.crank_speed": "60 rpm",
        "part:pump-r.acceleration_factor": 0.2,
    }

    assert found(NPSH, slow)  # 4.07 - 1.78 m of 3.0 m


# -- suction.prime-height ------------------------------------------------------------------------


@pytest.mark.parametrize(("dry", "fires"), [("3.22 m", True), ("3.23 m", False)])
def test_prime_height_just_under_and_over(dry: str, fires: bool) -> None:
    # 3.0 m · 101.325 / 94.322 = 3.2227 m
    edit = {"part:pump-r.self_priming_lift": dry, **NO_FOOT_VALVE}

    assert bool(found(PRIME_HEIGHT, edit)) is fires


def test_a_foot_valve_makes_a_short_dry_lift_a_warning() -> None:
    (finding,) = found(PRIME_HEIGHT, {"part:pump-r.self_priming_lift": "3.0 m"})

    assert finding.severity is Severity.WARNING


def test_the_highest_point_of_the_line_counts() -> None:
    # 3.0 m to the pump, 3.8 m to the hump, 3.72 m of dry lift
    assert found(PRIME_HEIGHT, {"pipes.S1.high_point": "0.8 m"})


def test_a_flooded_pump_needs_no_dry_lift() -> None:
    assert verdicts(PRIME_HEIGHT, {**FLOODED, "part:pump-r.self_priming_lift": None}) == {
        "P1": Verdict.SATISFIED
    }


def test_an_unknown_dry_lift_is_missing() -> None:
    assert missing(PRIME_HEIGHT, {"part:pump-r.self_priming_lift": None}) == ["self_priming_lift"]


# -- suction.high-point --------------------------------------------------------------------------


@pytest.mark.parametrize(("high", "fires"), [("-0.1201 m", False), ("-0.12 m", False), ("-0.1199 m", True)])
def test_slope_just_under_at_and_over(high: str, fires: bool) -> None:
    edit = {"pipes.S2.high_point": high, "pipes.S3.length": "6 m"}

    assert bool(found(HIGH_POINT, edit)) is fires


@pytest.mark.parametrize(("high", "fires"), [("0 m", False), ("0.01 m", True)])
def test_hump_at_and_over_the_inlet(high: str, fires: bool) -> None:
    fired = found(HIGH_POINT, {"pipes.S3.high_point": high})

    assert [f.subject for f in fired] == (["S3"] if fires else [])


def test_one_hump_is_told_once() -> None:
    assert [f.subject for f in found(HIGH_POINT, {"pipes.S1.high_point": "0.3 m"})] == ["S1"]


@pytest.mark.parametrize(("stands", "fires"), [("0 m", False), ("0.01 m", True), ("0.3 m", True)])
def test_a_filter_above_the_inlet_is_a_hump(stands: str, fires: bool) -> None:
    edit = {"filters.FL1.elevation": stands, "pipes.S2.high_point": "0.4 m"} if fires else {}

    assert ("S1" in subjects(found(HIGH_POINT, {**edit, "filters.FL1.elevation": stands}))) is fires


def test_a_filter_above_the_inlet_must_be_primed_over() -> None:
    # 3.0 m to the pump, 3.8 m to the filter; 3.72 m of dry lift
    assert found(PRIME_HEIGHT, {"filters.FL1.elevation": "0.8 m", **NO_FOOT_VALVE})
    assert not found(PRIME_HEIGHT, {"filters.FL1.elevation": "0.7 m", **NO_FOOT_VALVE})


def test_a_dip_and_a_fall_are_told() -> None:
    dip = found(HIGH_POINT, {"pipes.S2.low_point": "-0.6 m"})
    fall = found(HIGH_POINT, {"filters.FL1.elevation": "-0.1 m", "pipes.S2.high_point": "-0.15 m"})

    assert [f.subject for f in dip] == ["S2"]
    assert "falls" in dip[0].message
    assert [f.subject for f in fall] == ["S2"]


def test_a_missing_high_point_blocks_only_its_pipe() -> None:
    edit = {"pipes.S1.high_point": None, "filters.FL1.elevation": "-0.2 m"}

    assert missing(HIGH_POINT, edit) == ["high_point"]
    assert verdicts(HIGH_POINT, edit) == {
        "S1": Verdict.NOT_CHECKED,
        "S2": Verdict.SATISFIED,
        "S3": Verdict.SATISFIED,
    }


def test_a_flooded_suction_may_lie_level() -> None:
    flooded = {**FLOODED, "pipes.S1.high_point": "-4.0 m", "pipes.S2.high_point": "-4.0 m"}

    assert not found(HIGH_POINT, {**flooded, "pipes.S3.high_point": "-3.5 m"})
    assert found(HIGH_POINT, {**flooded, "pipes.S3.high_point": "-3.3 m"})  # over the water at -3.4 m


# -- suction.foot-valve --------------------------------------------------------------------------


@pytest.mark.parametrize(("dry", "fires"), [("3.65 m", True), ("3.66 m", False)])
def test_dry_lift_down_to_the_drawn_down_level(dry: str, fires: bool) -> None:
    # 3.4 m · 101.325 / 94.322 = 3.6524 m
    edit = {"part:pump-r.self_priming_lift": dry, **NO_FOOT_VALVE}

    assert bool(found(FOOT_VALVE, edit)) is fires


def test_a_foot_valve_that_is_not_at_the_intake_is_none() -> None:
    edit = {"part:pump-r.self_priming_lift": "0 m", **NO_FOOT_VALVE, "pipes.S2.fittings": ["foot valve"]}

    assert found(FOOT_VALVE, edit)


def test_a_flooded_pump_needs_no_foot_valve() -> None:
    assert verdicts(FOOT_VALVE, {**FLOODED, **NO_FOOT_VALVE, "part:pump-r.self_priming_lift": None}) == {
        "P1": Verdict.SATISFIED
    }


@pytest.mark.parametrize("name", ["foot valve", "foot valve hinged", "foot valve poppet"])
def test_every_pattern_of_foot_valve_counts(name: str) -> None:
    assert not found(FOOT_VALVE, {"part:pump-r.self_priming_lift": "0 m", "pipes.S1.fittings": [name]})


# -- suction.priming-port ------------------------------------------------------------------------


def test_plug_at_the_height_of_the_inlet_serves() -> None:
    assert not found(PRIMING_PORT, {"valves.PR1.elevation": "0 m"})
    assert found(PRIMING_PORT, {"valves.PR1.elevation": "-0.01 m"})


def test_a_fill_point_after_the_check_valve_does_not_serve() -> None:
    bare = {"valves.PR1": None, "pipes.S3": None, "pipes.S2.to": "P1.in"}

    before = {**bare, "pipes.D1.fittings": ["priming tee"], "pipes.D1.high_point": "0.2 m"}
    after = {**bare, "pipes.D3.fittings": ["priming tee"], "pipes.D3.high_point": "0.2 m"}
    assert not found(PRIMING_PORT, before)
    assert found(PRIMING_PORT, after)


def test_plug_of_unknown_height_is_missing() -> None:
    assert missing(PRIMING_PORT, {"valves.PR1.elevation": None}) == ["elevation"]


def test_no_foot_valve_nothing_to_fill() -> None:
    assert answers(PRIMING_PORT, NO_FOOT_VALVE) == []


# -- suction.filter ------------------------------------------------------------------------------


@pytest.mark.parametrize(("drop", "fires"), [("2.57 m", False), ("2.58 m", True)])
def test_dirty_drop_just_under_and_over(drop: str, fires: bool) -> None:
    assert bool(found(FILTER, {"part:filter-r.dirty_drop": drop})) is fires


def test_only_a_clean_drop_is_a_missing_datum() -> None:
    assert "dirty_drop" in missing(FILTER, {"part:filter-r.dirty_drop": None})


def test_a_pump_that_needs_no_filter_may_go_without() -> None:
    bare = {"filters.FL1": None, "pipes.S2": None, "pipes.S1.to": "PR1.in"}

    assert answers(FILTER, {**bare, "part:pump-r.needs_filter": False}) == []
    assert (
        answers(FILTER, {**bare, "part:pump-r.type": "centrifugal", "part:pump-r.needs_filter": None}) == []
    )
    assert found(FILTER, {**bare, "part:pump-r.needs_filter": None})


@pytest.mark.parametrize(("mesh", "fires"), [(60, False), (61, True)])
def test_mesh_as_coarse_as_allowed(mesh: int, fires: bool) -> None:
    assert bool(found(FILTER, {"part:pump-r.filter_mesh": mesh})) is fires


# -- suction.collapse ----------------------------------------------------------------------------


@pytest.mark.parametrize(("vacuum", "fires"), [("52.3 kPa", True), ("52.4 kPa", False)])
def test_vacuum_just_under_and_over(vacuum: str, fires: bool) -> None:
    # 998.6 · 9.80665 · (3.4 + 1.947) m = 52.36 kPa
    assert bool(found(COLLAPSE, {"part:pipe-r.vacuum": vacuum})) is fires


def test_pipe_without_a_vacuum_rating_is_missing_a_datum() -> None:
    assert set(missing(COLLAPSE, {"part:pipe-r.vacuum": None})) == {"vacuum"}


def test_delivery_pipe_is_not_looked_at() -> None:
    assert set(verdicts(COLLAPSE, {})) == {"S1", "S2", "S3"}


# -- suction.permeable-hose ----------------------------------------------------------------------


def test_a_hose_of_unknown_make_is_missing_a_datum() -> None:
    assert "airtight" in missing(PERMEABLE_HOSE, {"part:pipe-r.material": "hose"})


def test_a_hose_under_the_water_line_draws_no_air() -> None:
    flooded = {"part:pipe-r.material": "hose", "part:pipe-r.airtight": False, "pumps.P1.elevation": "-8 m"}

    assert not found(PERMEABLE_HOSE, flooded)


def test_the_delivery_may_be_of_any_hose() -> None:
    woven = {"part:pipe-r.material": "hose", "part:pipe-r.airtight": False}

    assert subjects(found(PERMEABLE_HOSE, woven)) == {"S1", "S2", "S3"}
