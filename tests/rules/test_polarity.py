"""Polarity, shorts in any state, breakers facing their source."""

from __future__ import annotations

from typing import Any

from specc.diagnostics import Severity, Verdict
from specc.rules._edits import BATTERY
from specc.rules.polarity import BREAKER_DIRECTION, REVERSED, SHORT
from tests.rules.answers import found, missing, subjects

CHARGED: dict[str, Any] = {
    "controllers.CC1": {"part": "charge-controller-24v-20a", "location": "pump house"},
    "batteries.BT1": {"part": "battery-agm-12v-55ah", "series": 2, "location": "pump house"},
    "runs.R2.conductors[3]": {"from": "Q1.2", "to": "CC1.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "CB1.pv-", "to": "CC1.pv-", "color": "white"},
    "runs.R2.conductors[5]": {"from": "BT1.+", "to": "CC1.battery+", "color": "red"},
    "runs.R2.conductors[6]": {"from": "BT1.-", "to": "CC1.battery-", "color": "white"},
}


def test_names_the_conductors_to_swap_where_the_colours_change() -> None:
    edit = {
        "terminal_blocks.TB1": {"part": "block-r", "location": "pump house"},
        "runs.R3.conductors[0].to": "TB1.1",
        "runs.R3.conductors[1].to": "TB1.3",
        "runs.R3.conductors[3]": {"from": "TB1.2", "to": "P1.-", "color": "white"},
        "runs.R3.conductors[4]": {"from": "TB1.4", "to": "P1.+", "color": "red"},
    }

    (finding,) = found(REVERSED, edit)

    assert "R3.4" in finding.fix
    assert "R3.5" in finding.fix
    assert finding.severity is Severity.ERROR


def test_battery_the_right_way_round_on_its_charge_controller_is_satisfied() -> None:
    assert found(REVERSED, CHARGED) == []
    assert {"BT1", "CC1"} <= subjects(found(REVERSED, CHARGED, Verdict.SATISFIED))


def test_battery_crossed_on_its_charge_controller_is_a_danger() -> None:
    edit = {
        **CHARGED,
        "runs.R2.conductors[5]": {"from": "BT1.-", "to": "CC1.battery+", "color": "red"},
        "runs.R2.conductors[6]": {"from": "BT1.+", "to": "CC1.battery-", "color": "white"},
    }

    findings = found(REVERSED, edit)

    assert findings
    assert all(f.severity is Severity.DANGER for f in findings)
    assert subjects(findings) & {"BT1", "CC1"}


def test_one_array_of_two_in_parallel_crossed_is_a_danger() -> None:
    edit = {
        "panels.PV2": {"part": "panel-r", "series": 2, "location": "array"},
        "runs.R1.conductors[3]": {"from": "PV2.-", "to": "Q1.1", "color": "red"},
        "runs.R1.conductors[4]": {"from": "PV2.+", "to": "CB1.pv-", "color": "white"},
    }

    findings = found(REVERSED, edit)

    assert findings
    assert all(f.severity is Severity.DANGER for f in findings)


def test_motor_minus_on_an_array_plus_is_found() -> None:
    edit = {
        "runs.R3.conductors[0].to": "P1.-",
        "runs.R3.conductors[1]": {"from": "Q1.2", "to": "P1.+", "color": "red"},
    }

    assert subjects(found(REVERSED, edit)) == {"P1"}


def test_load_on_no_source_is_not_called_right() -> None:
    edit = {"runs.R3.conductors[1]": None}

    assert "P1" in subjects(found(REVERSED, edit, Verdict.NOT_CHECKED))
    assert "P1" not in subjects(found(REVERSED, edit, Verdict.SATISFIED))


def test_conductor_straight_across_a_source_is_a_short() -> None:
    (finding,) = found(SHORT, {"runs.R2.conductors[3]": {"from": "Q1.2", "to": "CB1.pv-", "color": "red"}})

    assert finding.subject == "PV1"
    assert "R2.4" in finding.message


def test_each_source_is_answered_for() -> None:
    assert {"PV1", "CC1", "BT1", "CB1"} <= subjects(found(SHORT, CHARGED, Verdict.SATISFIED))


def test_change_over_contact_shorts_in_one_of_its_two_positions_only() -> None:
    # Common at motor +; 1-2 goes to the motor, 1-3 to motor −: a short only while it is thrown to 3.
    edit = {
        "switches.LS1.part": "float-switch-dc-10a-changeover",
        "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
        "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
        "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
        "runs.R3.conductors[4]": {"from": "LS1.3", "to": "P1.-", "color": "white"},
    }

    (finding,) = found(SHORT, edit)

    assert finding.subject == "CB1"
    assert "LS1" in finding.message


def test_change_over_contact_that_ties_an_idle_motor_to_its_negative_is_no_short() -> None:
    # Only with both contacts closed at once would it look like one net.
    edit = {
        "switches.LS1.part": "float-switch-dc-10a-changeover",
        "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
        "runs.R3.conductors[0]": {"from": "LS1.1", "to": "P1.+", "color": "red"},
        "runs.R3.conductors[3]": {"from": "LS1.2", "to": "DS1.2", "color": "red"},
        "runs.R3.conductors[4]": {"from": "LS1.3", "to": "CB1.motor-", "color": "white"},
    }

    assert found(SHORT, edit) == []


def test_one_bond_is_no_short() -> None:
    assert found(SHORT, BATTERY) == []


def test_polarised_breaker_in_one_of_two_parallel_strings_is_wrong_either_way() -> None:
    edit = {
        "panels.PV1.parallel": 1,
        "panels.PV2": {"part": "panel-r", "series": 2, "location": "array"},
        "runs.R2.conductors[3]": {"from": "PV2.+", "to": "CB1.pv+", "color": "red"},
        "runs.R2.conductors[4]": {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
    }

    (finding,) = found(BREAKER_DIRECTION, edit)

    assert finding.subject == "Q1"
    assert "PV2" in finding.message


def test_breaker_marked_plus_and_minus_faces_the_source_by_the_leg() -> None:
    # Current enters at the mark +: from the source in the positive leg, from the load in the negative one.
    marks = {
        "part:breaker-r.terminals": [{"name": "1", "marked": "+"}, {"name": "2", "marked": "-"}],
    }
    negative_leg = {
        "runs.R1.conductors[0].to": "CB1.pv+",
        "runs.R1.conductors[1].to": "Q1.1",
        "runs.R2.conductors[0]": {"from": "Q1.2", "to": "CB1.pv-", "color": "white"},
    }

    assert found(BREAKER_DIRECTION, marks) == []
    assert subjects(found(BREAKER_DIRECTION, {**marks, **negative_leg})) == {"Q1"}


def test_polarised_breaker_without_marks_is_not_checked() -> None:
    edit = {"part:breaker-r.terminals": [{"name": "1"}, {"name": "2"}]}

    assert missing(BREAKER_DIRECTION, edit) == ["terminals.marked"]
