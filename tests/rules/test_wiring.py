"""Closed paths: every load, controller, array and battery."""

from __future__ import annotations

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._edits import BATTERY
from specc.rules._variants import FLOATING
from specc.rules.wiring import OPEN_PATH, TOO_SHORT
from tests.rules.answers import found, subjects


def test_names_the_two_nets_and_the_free_terminals_that_should_meet() -> None:
    (finding,) = found(OPEN_PATH, {"runs.R2.conductors[2]": None})

    assert "F1.2" in finding.fix
    assert "DS1.1" in finding.fix


def test_array_that_feeds_nothing_is_found_beside_one_that_does() -> None:
    edit = {"panels.PV2": {"part": "panel-r", "series": 2, "location": "array"}}

    assert subjects(found(OPEN_PATH, edit)) == {"PV2"}


def test_array_on_one_pole_only_is_found() -> None:
    edit = {
        "panels.PV2": {"part": "panel-r", "series": 2, "location": "array"},
        "runs.R1.conductors[3]": {"from": "PV2.+", "to": "Q1.1", "color": "red"},
    }

    assert subjects(found(OPEN_PATH, edit)) == {"PV2"}


def test_second_pump_without_wires_is_found_and_the_first_is_not() -> None:
    edit = {"pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"}}

    assert subjects(found(OPEN_PATH, edit)) == {"P2"}


def test_two_pumps_in_series_are_on_a_closed_path() -> None:
    edit = {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
        "runs.R3.conductors[1].to": "P2.-",
        "runs.R3.conductors[3]": {"from": "P1.-", "to": "P2.+", "color": "white"},
    }

    assert found(OPEN_PATH, edit) == []


def test_both_motor_leads_on_one_net_are_no_closed_path() -> None:
    (finding,) = found(OPEN_PATH, {"runs.R3.conductors[1].from": "DS1.2"})

    assert finding.subject == "P1"
    assert "one net" in finding.message


def test_batteries_side_by_side_feed_nothing_by_that() -> None:
    edit = {**BATTERY, "runs.R3.conductors[0]": None}

    assert subjects(found(OPEN_PATH, edit)) == {"P1", "BT1"}


def test_contact_that_is_open_in_the_clear_is_named() -> None:
    edit = {
        "switches.LS1.closes_on": "rise",
        "runs.R4.conductors": [],
        "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
        "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
    }

    (finding,) = found(OPEN_PATH, edit)

    assert finding.subject == "P1"
    assert "LS1" in finding.message
    assert "LS1" in finding.fix


def test_a_lead_to_earth_alone_is_no_way_home() -> None:
    """Where nothing else is bonded, no current comes back: the motor stands still, and nobody is struck."""
    home = {"runs.R3.conductors[1]": {"from": "BOX1.ground", "to": "P1.-", "color": "white"}}
    (bonded,) = found(OPEN_PATH, home)
    (floating,) = found(OPEN_PATH, {**FLOATING, **home})

    assert bonded.severity is Severity.DANGER
    assert "over the grounding conductors alone, by R3.2" in bonded.message
    assert floating.severity is Severity.ERROR
    assert "No closed path" in floating.message


def test_output_that_nobody_uses_is_no_fault() -> None:
    edit = {
        **BATTERY,
        "controllers.LV1": {"part": "low-voltage-disconnect-24v-20a", "location": "pump house"},
    }
    edit["runs.R2.conductors"] = [
        *BATTERY["runs.R2.conductors"],
        {"from": "BT1.+", "to": "LV1.battery+", "color": "red"},
        {"from": "BT1.-", "to": "LV1.battery-", "color": "white"},
    ]

    assert found(OPEN_PATH, edit) == []
    assert "LV1" in subjects(found(OPEN_PATH, edit, Verdict.SATISFIED))


# -- length ------------------------------------------------------------------------------------------


# A tenth may be missing (common practice, no source): 9 m for 10 m.
@pytest.mark.parametrize(
    ("length", "fires"), [("8.99 m", True), ("9 m", False), ("10 m", False), ("99 m", False)]
)
def test_a_run_is_as_long_as_its_raceway(length: str, fires: bool) -> None:
    edit = {"runs.R1.length": length, "sightlines.0.distance": "1 m"}

    assert ("R1" in subjects(found(TOO_SHORT, edit))) is fires


@pytest.mark.parametrize(("distance", "fires"), [("11.1 m", False), ("11.2 m", True)])
def test_a_run_is_as_long_as_its_places_are_apart(distance: str, fires: bool) -> None:
    findings = found(TOO_SHORT, {"sightlines.1.distance": distance})

    assert ("R3" in subjects(findings)) is fires
    assert subjects(findings) <= {"R3"}


def test_one_finding_a_run_names_the_longer_way() -> None:
    (finding,) = found(TOO_SHORT, {"runs.R1.length": "4 m", "sightlines.0.distance": "30 m"})

    assert "array and pump house" in finding.message
    assert finding.required == "about 30 m or more"


def test_places_of_unknown_distance_say_nothing() -> None:
    """From the pump house to tank and well no sightline is left."""
    edit = {"runs.R4.length": "0.1 m", "sightlines.1.between": ["array", "well"]}

    assert not found(TOO_SHORT, edit)
