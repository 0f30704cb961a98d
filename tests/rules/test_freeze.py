"""Edges of the frost rules."""

from __future__ import annotations

import pytest

from specc.diagnostics import Verdict
from specc.rules.freeze import DRAIN_BACK, STANDING_WATER
from tests.rules.answers import found, missing
from tests.rules.verdicts import answers, verdicts

DRAINS = {"pipes.D3.buried": None, "pipes.D3.drains": True, "valves.CV1.elevation": "0 m"}
NO_CHECK = {"valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "RV1.out", "valves.RV1.elevation": "0 m"}
NO_FOOT = {"pipes.S1.fittings": ["elbow 90", "elbow 90"]}


# -- freeze.standing-water -----------------------------------------------------------------------


@pytest.mark.parametrize(("cover", "fires"), [("0.89 m", True), ("0.9 m", False), ("0.91 m", False)])
def test_cover_just_under_at_and_over_the_frost(cover: str, fires: bool) -> None:
    assert bool(found(STANDING_WATER, {"pipes.D3.buried": cover})) is fires


@pytest.mark.parametrize(("coldest", "fires"), [("-0.1 degC", True), ("0 degC", False)])
def test_frost_begins_below_zero(coldest: str, fires: bool) -> None:
    assert bool(found(STANDING_WATER, {"pipes.D3.buried": None, "site.coldest_air": coldest})) is fires


def test_every_pipe_and_every_device_on_a_pipe_is_looked_at() -> None:
    assert set(verdicts(STANDING_WATER, {})) == {
        *("S1", "S2", "S3", "D1", "D2", "D3"),
        *("P1", "FL1", "PR1", "RV1", "CV1"),
    }


@pytest.mark.parametrize("place", ["pumps.P1", "filters.FL1", "valves.PR1", "valves.RV1", "valves.CV1"])
def test_a_device_in_the_cold_is_told(place: str) -> None:
    fired = found(STANDING_WATER, {f"{place}.freeze_safe": False})

    assert [f.subject for f in fired] == [place.split(".")[1]]


def test_a_meter_on_no_pipe_holds_no_water() -> None:
    meter = {"gauges.M1": {"part": "vacuum-gauge-0-30inhg"}}

    assert "M1" not in verdicts(STANDING_WATER, meter)


def test_an_unknown_frost_depth_is_missing() -> None:
    assert set(missing(STANDING_WATER, {"site.frost_depth": None})) == {"frost_depth"}


def test_unknown_cold_is_missing() -> None:
    assert set(missing(STANDING_WATER, {"site.coldest_air": None})) == {"coldest_air"}


def test_what_drains_must_have_a_way_down() -> None:
    # Held by the check valve; without it, by the foot valve; without both it runs back to the well.
    assert "CV1" in found(STANDING_WATER, DRAINS)[0].message
    held = {**DRAINS, **NO_CHECK}
    held.pop("valves.CV1.elevation")
    assert "S1" in found(STANDING_WATER, held)[0].message
    assert not found(STANDING_WATER, {**held, **NO_FOOT})


def test_a_drain_cock_above_the_check_valve_serves() -> None:
    drained = {
        **DRAINS,
        "valves.DC1": {"part": "drain-cock-0.5", "elevation": "0 m", "freeze_safe": True},
        "pipes.D3.from": "DC1.out",
        "pipes.D4": {
            "part": "pipe-r",
            "from": "CV1.out",
            "to": "DC1.in",
            "length": "0.2 m",
            "freeze_safe": True,
        },
    }

    assert not found(STANDING_WATER, drained)


def test_a_low_spot_keeps_water() -> None:
    weep = {**DRAINS, "pipes.D3.weep_hole": "1.5 mm"}

    assert not found(STANDING_WATER, {**weep, "pipes.D3.low_point": "0 m"})
    (finding,) = found(STANDING_WATER, {**weep, "pipes.D3.low_point": "-2 m"})
    assert "-2 m" in finding.message


def test_a_low_spot_between_ends_of_unknown_height_is_missing_a_datum() -> None:
    weep = {**DRAINS, "pipes.D3.weep_hole": "1.5 mm", "valves.CV1.elevation": None}

    assert missing(STANDING_WATER, weep) == ["elevation"]


def test_a_pipe_on_a_branch_that_drains_is_taken_at_its_word() -> None:
    branch = {
        "pipes.B1": {"part": "pipe-r", "from": "RV1.out", "to": "WELL", "length": "3 m", "drains": True},
    }

    assert verdicts(STANDING_WATER, branch)["B1"] is Verdict.SATISFIED


# -- freeze.drain-back-conflict ------------------------------------------------------------------


def test_no_drain_back_nothing_to_look_at() -> None:
    assert answers(DRAIN_BACK, {}) == []


def test_a_foot_valve_holds_the_column_too() -> None:
    edit = {"pumps.P1.drain_back": True, **NO_CHECK}
    edit.pop("valves.RV1.elevation")

    assert "S1" in found(DRAIN_BACK, edit)[0].message


@pytest.mark.parametrize(("dry", "fires"), [("3.65 m", True), ("3.66 m", False)])
def test_a_pump_that_drains_must_prime_itself_over_its_whole_lift(dry: str, fires: bool) -> None:
    # 3.4 m · 101.325 / 94.322 = 3.6524 m (own arithmetic)
    edit = {"pumps.P1.drain_back": True, **NO_CHECK, **NO_FOOT, "part:pump-r.self_priming_lift": dry}

    assert bool(found(DRAIN_BACK, edit)) is fires


def test_a_weep_hole_needs_the_check_valve_below_it() -> None:
    weep = {"pumps.P1.drain_back": True, "pipes.D3.weep_hole": "1.5 mm"}

    assert not found(DRAIN_BACK, weep)  # the foot valve keeps the pump full
    above = {**weep, "pipes.D3.weep_hole": None, "pipes.D1.weep_hole": "1.5 mm"}
    assert "CV1" in found(DRAIN_BACK, above)[0].message


def test_a_weep_hole_above_the_frost_is_told() -> None:
    weep = {"pumps.P1.drain_back": True, "pipes.D3.weep_hole": "1.5 mm", "pipes.D3.buried": "0.5 m"}

    assert [f.subject for f in found(DRAIN_BACK, weep)] == ["D3"]


def test_what_a_weep_hole_costs_is_said() -> None:
    # Torricelli, C 0.6: 1.5 mm under 227 kPa (23.2 m): 1.36 L/min (own arithmetic)
    weep = {"pumps.P1.drain_back": True, "pipes.D3.weep_hole": "1.5 mm"}
    (finding,) = answers(DRAIN_BACK, weep)

    assert "1.358 L/min" in finding.message
