"""Stops that stop, dry contacts that are dry, loops that fail to a standstill."""

from __future__ import annotations

from typing import Any

from specc.diagnostics import Severity, Verdict
from specc.rules._edits import BATTERY, PV_DIRECT
from specc.rules.control import DRY_CONTACT, FAILS_RUNNING, STOP_LOGIC
from tests.rules.answers import found, subjects

SECOND_PUMP: dict[str, Any] = {
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "runs.R2.conductors[3]": {"from": "Q1.2", "to": "CB2.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "CB1.pv-", "to": "CB2.pv-", "color": "white"},
    "runs.R2.conductors[5]": {"from": "CB2.motor+", "to": "P2.+", "color": "red"},
    "runs.R2.conductors[6]": {"from": "CB2.motor-", "to": "P2.-", "color": "white"},
    "runs.R2.conductors[7]": {"from": "CB2.remote1", "to": "CB2.remote2", "color": "blue"},
}


def test_second_pump_on_the_same_array_must_stop_too() -> None:
    findings = found(STOP_LOGIC, SECOND_PUMP)

    assert subjects(findings) == {"LS1", "LS2"}  # TS1 is mounted on the other pump, and no business of P2
    assert all("P2" in f.message for f in findings)
    # The remedy gives the very line to write, with the pump that is left.
    assert any('stops = ["P1"]' in f.fix for f in findings)


def test_switches_that_say_which_pump_they_stop_are_held_to_that() -> None:
    named = {f"switches.{tag}.stops": ["P1"] for tag in ("LS1", "LS2", "TS1")}

    assert found(STOP_LOGIC, {**SECOND_PUMP, **named}) == []


def test_bypass_from_the_array_to_the_motor_defeats_every_stop() -> None:
    edit = {"runs.R2.conductors[3]": {"from": "Q1.2", "to": "DS1.1", "color": "red"}}

    assert subjects(found(STOP_LOGIC, edit)) == {"LS1", "LS2", "TS1"}


def test_float_on_a_dead_branch_is_found() -> None:
    edit = {
        "switches.LS3": {"part": "float-r", "location": "tank", "closes_on": "fall", "guards": "tank full"},
        "runs.R4.conductors[4]": {"from": "LS1.2", "to": "LS3.1", "color": "blue"},
    }

    assert subjects(found(STOP_LOGIC, edit)) == {"LS3"}


def test_float_in_the_motor_line_without_a_controller_stops_it() -> None:
    edit = {
        **PV_DIRECT,
        "switches.LS2": None,
        "switches.TS1": None,
        "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
        "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
    }

    assert found(STOP_LOGIC, edit) == []
    assert {"LS1", "P1"} <= subjects(found(STOP_LOGIC, edit, Verdict.SATISFIED))


def test_hand_switch_that_opens_a_loop_which_stops_when_closed_defeats_the_stop() -> None:
    edit = {
        "part:booster-r.remote.runs_when": "open",
        "switches.LS1.closes_on": "rise",
        "switches.LS2": None,
        "switches.TS1": None,
        "disconnects.DS2": {"part": "isolator-r", "location": "pump house"},
        "runs.R4.conductors": [
            {"from": "CB1.remote1", "to": "DS2.1", "color": "blue"},
            {"from": "DS2.2", "to": "LS1.1", "color": "blue"},
            {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
        ],
    }

    assert subjects(found(STOP_LOGIC, edit)) == {"LS1"}


def test_switch_the_wrong_way_round_is_left_to_its_own_rule() -> None:
    edit = {"switches.LS1.closes_on": "rise"}

    assert found(STOP_LOGIC, edit) == []
    assert {"LS1", "P1"} <= subjects(found(STOP_LOGIC, edit, Verdict.NOT_CHECKED))


def test_more_switches_than_can_be_looked_at_are_not_checked_rather_than_passed() -> None:
    edit: dict[str, Any] = {"runs.R4.conductors[3]": None}
    before = "TS1.2"
    for number in range(11):
        tag = f"LS{number + 10}"
        edit[f"switches.{tag}"] = {
            "part": "float-r",
            "location": "tank",
            "closes_on": "fall",
            "guards": "tank full",
        }
        edit[f"runs.R4.conductors[{number + 3}]"] = {"from": before, "to": f"{tag}.1", "color": "blue"}
        before = f"{tag}.2"
    edit["runs.R4.conductors[14]"] = {"from": before, "to": "CB1.remote2", "color": "blue"}

    assert found(STOP_LOGIC, edit, Verdict.NOT_CHECKED)
    assert "LS1" not in subjects(found(STOP_LOGIC, edit, Verdict.SATISFIED))


def test_pump_without_switches_runs_and_is_answered_for() -> None:
    edit = {**BATTERY, "switches.LS1": None, "switches.LS2": None, "switches.TS1": None}

    assert subjects(found(STOP_LOGIC, edit, Verdict.SATISFIED)) == {"P1"}


def test_power_through_a_contact_that_is_open_in_the_clear_is_still_power() -> None:
    edit = {
        "switches.LS3": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
        "runs.R4.conductors[4]": {"from": "CB1.motor+", "to": "LS3.1", "color": "blue"},
        "runs.R4.conductors[5]": {"from": "LS3.2", "to": "LS2.1", "color": "blue"},
    }

    assert subjects(found(DRY_CONTACT, edit)) == {"CB1"}


def test_one_float_with_a_contact_for_each_of_two_controllers_is_dry() -> None:
    edit = {
        "controllers.CB2": {"part": "booster-r", "location": "pump house"},
        "switches.LS4": {"part": "float-r", "location": "tank", "closes_on": "fall", "guards": "tank full"},
        "runs.R4.conductors[4]": {"from": "CB2.remote1", "to": "LS4.1", "color": "blue"},
        "runs.R4.conductors[5]": {"from": "LS4.2", "to": "CB2.remote2", "color": "brown"},
    }

    assert found(DRY_CONTACT, edit) == []
    assert subjects(found(DRY_CONTACT, edit, Verdict.SATISFIED)) == {"CB1", "CB2"}


def test_input_that_takes_a_powered_signal_is_not_looked_at() -> None:
    edit = {"part:booster-r.remote.dry_contact": False, "runs.R4.conductors[0].from": "CB1.motor+"}

    assert found(DRY_CONTACT, edit) == []


def test_remote_input_that_is_not_isolated_may_be_floating() -> None:
    edit = {
        "part:booster-r.remote.isolated": False,
        "job.earthing": "floating",
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
        "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
    }

    assert found(FAILS_RUNNING, edit) == []


def test_switch_that_stops_nothing_does_not_pass() -> None:
    edit = {"runs.R4.conductors[4]": {"from": "LS2.1", "to": "LS2.2", "color": "blue"}}

    assert "LS2" in subjects(found(FAILS_RUNNING, edit, Verdict.NOT_CHECKED))
    assert "LS2" not in subjects(found(FAILS_RUNNING, edit, Verdict.SATISFIED))


def test_pump_that_cannot_start_is_an_error_and_no_danger() -> None:
    (finding,) = found(STOP_LOGIC, {"runs.R4.conductors[0]": None})

    assert finding.severity is Severity.ERROR
