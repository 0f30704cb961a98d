"""Nothing fed backwards, turned round or left live in any state of the switches."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._variants import BATTERY, FLOATING
from specc.rules.polarity import SHORT
from specc.rules.states_ import (
    _AT_THE_MOTOR,
    _CROSSING_SWITCH,
    _FLOAT_ROUND_THE_SWITCH,
    _PAST_BY_A_FLOAT,
    _PAST_THE_CHARGER,
    BACK_FED,
    LEAVES_LIVE,
    REVERSED_IN_SOME_STATE,
)
from tests.rules.answers import found, subjects

RUN: dict[str, Any] = {"wire": "thwn2-r", "size": "10 AWG", "length": "0.5 m", "laid": "in enclosure"}


def test_back_feed_names_the_state_that_makes_it() -> None:
    (finding,) = found(BACK_FED, _PAST_BY_A_FLOAT)

    assert finding.subject == "PV1"
    assert finding.message.endswith("State: LS9 closed.")


def test_back_feed_at_rest_is_told_as_ready() -> None:
    (finding,) = found(BACK_FED, _PAST_THE_CHARGER)

    assert "ready to run" in finding.message
    assert "BT1" in finding.actual


def test_battery_on_the_output_of_a_booster_is_back_fed() -> None:
    edit = {
        "batteries.BT1": {"part": "battery-r", "series": 2, "location": "pump house"},
        "runs.R9": {
            **RUN,
            "conductors": [
                {"from": "BT1.+", "to": "F1.1", "color": "red"},
                {"from": "BT1.-", "to": "CB1.motor-", "color": "white"},
            ],
        },
    }

    assert "BT1" in subjects(found(BACK_FED, edit))
    assert "PV1" not in subjects(found(BACK_FED, edit))


def test_change_over_switch_that_cannot_join_array_and_battery_is_satisfied() -> None:
    # Motor either on the array (past the booster) or on the battery, never on both.
    edit = {
        **BATTERY,
        "part:isolator-r-2p.poles": [{"between": ["1", "2"]}, {"between": ["1", "3"]}],
        "disconnects.DS9": {"part": "isolator-r-2p", "location": "pump house"},
        "runs.R9": {
            **RUN,
            "conductors": [
                {"from": "Q1.2", "to": "DS9.2", "color": "red"},
                {"from": "F0.2", "to": "DS9.3", "color": "red"},
                {"from": "DS9.1", "to": "DS1.1", "color": "red"},
            ],
        },
    }
    edit["runs.R2.conductors[2]"] = {"from": "F1.2", "to": "DS9.4", "color": "red"}

    assert found(BACK_FED, edit) == []
    assert subjects(found(BACK_FED, edit, Verdict.SATISFIED)) == {"PV1", "BT1"}


def test_crossed_change_over_names_its_position() -> None:
    (finding,) = [f for f in found(REVERSED_IN_SOME_STATE, _CROSSING_SWITCH) if f.subject == "CB1"]

    assert finding.severity is Severity.DANGER
    assert "DS9.1 to DS9.3 closed" in finding.message
    assert "DS9.1 to DS9.2 open" in finding.message


def test_reversed_motor_is_an_error_and_the_booster_before_it_is_not_touched() -> None:
    findings = found(REVERSED_IN_SOME_STATE, _AT_THE_MOTOR)

    assert {(f.subject, f.severity) for f in findings} == {("P1", Severity.ERROR)}


def test_reversed_at_rest_is_left_to_the_rule_on_reversal() -> None:
    edit = {"runs.R3.conductors[0].to": "P1.-", "runs.R3.conductors[1].to": "P1.+"}

    assert found(REVERSED_IN_SOME_STATE, edit) == []
    assert subjects(found(REVERSED_IN_SOME_STATE, edit, Verdict.NOT_CHECKED)) == {"P1"}


def test_leaves_live_names_the_way_round_and_the_state() -> None:
    (finding,) = found(LEAVES_LIVE, _FLOAT_ROUND_THE_SWITCH)

    assert "R2.4 and R2.5" in finding.message
    assert "LS9 closed" in finding.message
    assert "DS1 open" in finding.message


def test_second_pole_bypassed_in_a_floating_system_leaves_it_live() -> None:
    two_poles = {
        **FLOATING,
        "disconnects.DS1.part": "isolator-r-2p",
        "runs.R2.conductors[3]": {"from": "CB1.motor-", "to": "DS1.3", "color": "black"},
        "runs.R3.conductors[1]": {"from": "DS1.4", "to": "P1.-", "color": "black"},
    }
    bypassed = {**two_poles, "runs.R3.conductors[3]": {"from": "CB1.motor-", "to": "P1.-", "color": "black"}}

    assert "DS1" not in subjects(found(LEAVES_LIVE, two_poles))
    (finding,) = [f for f in found(LEAVES_LIVE, bypassed) if f.subject == "DS1"]
    assert "P1.-" in finding.message


@pytest.mark.parametrize("edit", [{}, BATTERY, FLOATING], ids=["booster", "battery", "floating"])
def test_sound_jobs_are_satisfied_by_each_of_the_three(edit: dict[str, Any]) -> None:
    for rule in (BACK_FED, REVERSED_IN_SOME_STATE, LEAVES_LIVE):
        assert found(rule, edit) == [], rule.id
        assert found(rule, edit, Verdict.SATISFIED), rule.id
        assert found(rule, edit, Verdict.NOT_CHECKED) == [], rule.id


def test_a_short_is_told_once_with_the_nearest_state() -> None:
    edit = {
        "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
        "runs.R9": {
            **RUN,
            "conductors": [
                {"from": "Q1.2", "to": "LS9.1", "color": "red"},
                {"from": "LS9.2", "to": "CB1.pv-", "color": "white"},
            ],
        },
    }

    (finding,) = [f for f in found(SHORT, edit) if f.subject == "PV1"]

    assert finding.message.endswith("State: LS9 closed.")
