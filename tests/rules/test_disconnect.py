"""Means to cut: there, all poles, rated, in sight."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Verdict
from specc.rules._edits import BATTERY, PV_DIRECT
from specc.rules.disconnect import MISSING, OUT_OF_SIGHT, POLES, RATING
from tests.rules.answers import found, missing, subjects

NO_MOTOR_SWITCH: dict[str, Any] = {
    "disconnects.DS1": None,
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "GB1"],
    "runs.R2.conductors[2]": None,
    "runs.R3.conductors[0].from": "F1.2",
}


def test_breaker_before_the_controller_serves_the_motor_too() -> None:
    assert found(MISSING, NO_MOTOR_SWITCH) == []


def test_fuse_is_no_means_to_cut() -> None:
    edit = {
        **BATTERY,
        "disconnects.DS1": None,
        "enclosures.BOX1.holds": ["F1", "GB1"],
        "runs.R2.conductors": [{"from": "BT1.+", "to": "F1.1", "color": "red"}],
        "runs.R3.conductors[0].from": "F1.2",
    }

    assert subjects(found(MISSING, edit)) == {"P1"}


def test_second_source_past_the_breaker_is_found() -> None:
    edit = {
        "panels.PV2": {"part": "panel-r", "series": 2, "location": "array"},
        "runs.R2.conductors[3]": {"from": "PV2.+", "to": "CB1.pv+", "color": "red"},
        "runs.R2.conductors[4]": {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
    }

    (finding,) = found(MISSING, edit)

    assert finding.subject == "CB1"
    assert "PV2" in finding.message
    assert "PV1" not in finding.message


def test_array_straight_on_a_battery_needs_a_means_to_cut() -> None:
    edit = {
        **BATTERY,
        "panels.PV1": {"part": "panel-r", "series": 1, "location": "array"},
        "runs.R2.conductors": [
            *BATTERY["runs.R2.conductors"],
            {"from": "PV1.+", "to": "BT1.+", "color": "red"},
            {"from": "PV1.-", "to": "BT1.-", "color": "white"},
        ],
    }

    assert subjects(found(MISSING, edit)) == {"BT1"}


def test_one_pole_switch_in_the_positive_of_a_grounded_job_is_right() -> None:
    # The grounded conductor stays closed on purpose: a false alarm to avoid.
    assert found(POLES, {}) == []
    assert found(POLES, PV_DIRECT) == []


def test_floating_by_word_alone_counts_as_floating() -> None:
    assert subjects(found(POLES, {"job.earthing": "floating"})) == {"Q1", "DS1"}


def test_grounded_by_word_alone_counts_as_floating() -> None:
    edit = {
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
        "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
    }

    assert subjects(found(POLES, edit)) == {"Q1", "DS1"}


def test_two_poles_in_one_conductor_do_not_open_both() -> None:
    edit = {
        "job.earthing": "floating",
        "disconnects.DS1.part": "isolator-r-2p",
        "runs.R2.conductors[3]": {"from": "DS1.2", "to": "DS1.3", "color": "red"},
        "runs.R3.conductors[0].from": "DS1.4",
    }

    assert "DS1" in subjects(found(POLES, edit))


# 115 % of the motor's label current; worked reference job (own arithmetic): 8.0 A gives 9.2 A.
@pytest.mark.parametrize(("rating", "fires"), [("9.19 A", True), ("9.2 A", False), ("9.21 A", False)])
def test_motor_switch_at_its_limit(rating: str, fires: bool) -> None:
    assert bool(found(RATING, {"part:isolator-r.dc_current": rating})) is fires


# 1.25 · 1.25 · 12 A = 18.75 A; worked reference job (own arithmetic).
@pytest.mark.parametrize(("rating", "fires"), [("18.74 A", True), ("18.75 A", False)])
def test_array_breaker_at_its_limit(rating: str, fires: bool) -> None:
    assert bool(found(RATING, {"part:breaker-r.dc_current": rating})) is fires


# Ns · Voc · [1 + β · (Tmin - 25 °C)] = 2 · 22 · 1.12 = 49.28 V; worked reference job (own arithmetic).
@pytest.mark.parametrize(("rating", "fires"), [("49.2 V", True), ("49.3 V", False)])
def test_array_breaker_at_the_cold_voltage(rating: str, fires: bool) -> None:
    assert bool(found(RATING, {"part:breaker-r.dc_voltage": rating})) is fires


def test_plug_beside_a_load_break_device_may_stay() -> None:
    edit = {
        "disconnects.DS2": {"part": "plug-connector-2p-50a", "location": "well"},
        "runs.R3.conductors[0].to": "DS2.1",
        "runs.R3.conductors[3]": {"from": "DS2.2", "to": "P1.+", "color": "red"},
    }

    assert found(RATING, edit) == []
    assert "DS2" in subjects(found(RATING, edit, Verdict.SATISFIED))


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"part:isolator-r.dc_current": None}, "dc_current"),
        ({"part:isolator-r.dc_voltage": None}, "dc_voltage"),
        ({"part:pump-r.rated_current": None}, "rated_current"),
        ({"site.coldest_air": None}, "coldest_air"),
    ],
)
def test_missing_figure_is_no_pass(edit: dict[str, Any], key: str) -> None:
    assert missing(RATING, edit) == [key]


def test_switch_of_the_motors_own_circuit_counts_and_not_the_breaker_before_the_controller() -> None:
    edit = {"part:isolator-r.lockable": False, "sightlines.1.distance": "20 m"}

    assert subjects(found(OUT_OF_SIGHT, edit)) == {"DS1"}
    assert found(OUT_OF_SIGHT, {**edit, **NO_MOTOR_SWITCH}) == []  # then the lockable breaker serves


# 50 ft = 15.24 m
@pytest.mark.parametrize(("distance", "fires"), [("15.24 m", False), ("50 ft", False), ("15.3 m", True)])
def test_fifty_feet_is_in_sight(distance: str, fires: bool) -> None:
    edit = {"part:isolator-r.lockable": False, "sightlines.1.distance": distance}

    assert bool(found(OUT_OF_SIGHT, edit)) is fires


def test_distance_that_nobody_gives_is_no_pass() -> None:
    edit = {"part:isolator-r.lockable": False, "sightlines.1.between": ["array", "well"]}

    assert missing(OUT_OF_SIGHT, edit) == ["between, distance"]


def test_negative_bonded_inside_a_controller_counts_as_grounded() -> None:
    edit = {
        "part:booster-r.bond_inside": True,
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
        "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
    }

    assert found(POLES, edit) == []
