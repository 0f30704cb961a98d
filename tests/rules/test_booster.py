"""Edges of the controller rules. Figures: the worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.rules._edits import BATTERY, PV_DIRECT
from specc.rules._variants import BATTERY as CHARGED_BANK
from specc.rules.booster import (
    HOLD_VOLTAGE,
    INPUT_CURRENT,
    INPUT_VOLTAGE,
    ON_BATTERY,
    OUTPUT_CURRENT,
    OUTPUT_VOLTAGE,
    RULES,
    START_CURRENT,
)
from tests.reference import check_edited
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

# A second booster on the same array, with a pump of its own.
TWO_BOOSTERS: dict[str, Any] = {
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "2 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "Q1.2", "to": "CB2.pv+", "color": "red"},
            {"from": "CB1.pv-", "to": "CB2.pv-", "color": "white"},
            {"from": "CB2.motor+", "to": "P2.+", "color": "red"},
            {"from": "CB2.motor-", "to": "P2.-", "color": "white"},
        ],
    },
}
UNPROTECTED = {"part:pump-r.built_in_protector": False}


# -- input


@pytest.mark.parametrize(("limit", "fires"), [("49.27 V", True), ("49.28 V", False), ("49.29 V", False)])
def test_input_voltage_just_under_at_and_over(limit: str, fires: bool) -> None:
    assert bool(fired(INPUT_VOLTAGE, {"part:booster-r.max_input_voltage": limit})) is fires


def test_input_voltage_says_how_many_modules_fit() -> None:
    finding = fired(INPUT_VOLTAGE, {"part:booster-r.max_input_voltage": "48 V"})["CB1"]

    assert "49.28 V" in finding.message
    assert "48 V" in finding.message
    assert "Put 1 in series instead of 2" in finding.fix


def test_each_controller_is_judged_by_its_own_limit() -> None:
    assert set(held(INPUT_VOLTAGE, TWO_BOOSTERS)) == {"CB1", "CB2"}
    assert set(fired(INPUT_VOLTAGE, {**TWO_BOOSTERS, "part:booster-r.max_input_voltage": "48 V"})) == {
        "CB1",
        "CB2",
    }


def test_a_booster_without_an_input_maximum_is_a_gap_and_no_pass() -> None:
    edit = {"part:booster-r.max_input_voltage": None}

    assert missing(INPUT_VOLTAGE, edit)
    assert not_checked(INPUT_VOLTAGE, edit)
    assert not held(INPUT_VOLTAGE, edit)


@pytest.mark.parametrize(("limit", "fires"), [("14.9 A", True), ("15 A", False), ("15.1 A", False)])
def test_input_current_just_under_at_and_over(limit: str, fires: bool) -> None:
    assert bool(fired(INPUT_CURRENT, {"part:booster-r.max_input_current": limit})) is fires


@pytest.mark.parametrize(
    ("clips", "severity"), [(True, Severity.WARNING), (False, Severity.ERROR), (None, Severity.ERROR)]
)
def test_an_input_that_may_not_be_overdriven_makes_it_an_error(
    clips: bool | None, severity: Severity
) -> None:
    edit = {"part:booster-r.max_input_current": "12 A", "part:booster-r.clips_input": clips}

    assert fired(INPUT_CURRENT, edit)["CB1"].severity is severity


# -- output


@pytest.mark.parametrize(("rated", "fires"), [("11.9 A", False), ("12 A", False), ("12.1 A", True)])
def test_output_current_just_under_at_and_over(rated: str, fires: bool) -> None:
    assert bool(fired(OUTPUT_CURRENT, {"part:pump-r.rated_current": rated})) is fires


def test_two_pumps_on_one_output_are_added() -> None:
    # 2 x 8 A on 12 A
    second: dict[str, Any] = {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m"},
        "runs.R3.conductors[3]": {"from": "DS1.2", "to": "P2.+", "color": "red"},
        "runs.R3.conductors[4]": {"from": "CB1.motor-", "to": "P2.-", "color": "white"},
    }

    assert "16 A" in fired(OUTPUT_CURRENT, second)["CB1"].message
    assert not fired(OUTPUT_CURRENT, {**second, "part:booster-r.output_current": "16 A"})


def test_output_above_the_arrays_current_is_what_a_booster_is_for() -> None:
    # one string gives 6 A, the motor takes 8 A
    assert not fired(OUTPUT_CURRENT, {"panels.PV1.parallel": 1})


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_without_a_controller_there_is_nothing_to_look_at(rule: Any) -> None:
    for edit in (PV_DIRECT, BATTERY):
        assert not [f for f in check_edited(edit, (rule,)).findings if f.rule == rule.id]


@pytest.mark.parametrize(("clamp", "fires"), [("29.9 V", False), ("30 V", False), ("30.1 V", True)])
def test_output_voltage_just_under_at_and_over(clamp: str, fires: bool) -> None:
    assert bool(fired(OUTPUT_VOLTAGE, {"controllers.CB1.output_clamp": clamp})) is fires


def test_without_a_clamp_the_input_counts() -> None:
    finding = fired(OUTPUT_VOLTAGE, {"part:booster-r.max_output_voltage": None})["CB1"]

    assert "49.28 V" in finding.message
    assert "no clamp" in finding.message


def test_a_motor_without_a_maximum_is_a_gap() -> None:
    edit = {"part:pump-r.max_voltage": None}

    assert missing(OUTPUT_VOLTAGE, edit)
    assert not held(OUTPUT_VOLTAGE, edit)


# -- start and stall


@pytest.mark.parametrize(("start", "fires"), [("11.9 A", False), ("12 A", False), ("12.1 A", True)])
def test_start_current_just_under_at_and_over(start: str, fires: bool) -> None:
    assert bool(fired(START_CURRENT, {"part:pump-r.start_current": start})) is fires


def test_a_steady_output_above_the_start_needs_no_peak() -> None:
    assert not missing(START_CURRENT, {"part:booster-r.peak_output_current": None})
    edit = {"part:booster-r.peak_output_current": None, "part:pump-r.start_current": "13 A"}
    assert missing(START_CURRENT, edit)
    assert "CB1" not in held(START_CURRENT, edit)


def test_a_limited_stall_keeps_86_watts_in_the_motor() -> None:
    # 12 A through 0.6 ohm; stall 24 V / 0.6 ohm = 40 A
    message = fired(START_CURRENT, UNPROTECTED)["P1"].message

    assert "86 W" in message
    assert "40 A" in message


@pytest.mark.parametrize(("setting", "fires"), [("11.9 A", False), ("12 A", True), ("13 A", True)])
def test_an_overload_device_must_open_below_the_limit(setting: str, fires: bool) -> None:
    assert bool(fired(START_CURRENT, {**UNPROTECTED, "pumps.P1.overload_setting": setting})) is fires


def test_an_unknown_protector_is_a_gap_and_an_armature_too() -> None:
    assert missing(START_CURRENT, {"part:pump-r.built_in_protector": None})
    assert missing(START_CURRENT, {**UNPROTECTED, "part:pump-r.armature_resistance": None})
    assert not missing(START_CURRENT, {"part:pump-r.armature_resistance": None})


def test_a_gap_in_the_start_does_not_hide_the_stall() -> None:
    edit = {**UNPROTECTED, "part:pump-r.start_current": None}

    assert missing(START_CURRENT, edit)
    assert set(fired(START_CURRENT, edit)) == {"P1"}


# -- hold point


def test_hot_working_voltage_after_the_drop() -> None:
    # hot cell 69.25 degC, hot Vmp 29.63 V, drop of the run 0.905 V and 0.014 V in the box
    hot = numbers(HOLD_VOLTAGE, {}, "voltage at maximum power, hottest day")["PV1"]
    there = numbers(HOLD_VOLTAGE, {}, "hot working voltage at the controller")["CB1"]

    assert hot.value == pytest.approx(29.63, abs=0.005)
    assert there.value == pytest.approx(29.63 - 0.905, abs=0.02)


@pytest.mark.parametrize(("setting", "fires"), [("28.6 V", False), ("28.8 V", True)])
def test_hold_voltage_just_under_and_over(setting: str, fires: bool) -> None:
    assert bool(fired(HOLD_VOLTAGE, {"controllers.CB1.hold_voltage": setting})) is fires


def test_a_hotter_place_counts_for_its_array() -> None:
    # at 58 degC the cells are 20 K hotter: 36 V x 0.4 %/K x 20 K = 2.9 V less
    assert fired(HOLD_VOLTAGE, {"locations.array.hottest_air": "58 degC"})


@pytest.mark.parametrize("key", ["noct", "vmp_coefficient"])
def test_hold_voltage_needs_the_modules_heat_data(key: str) -> None:
    edit = {f"part:panel-r.{key}": None}

    assert missing(HOLD_VOLTAGE, edit)
    assert not held(HOLD_VOLTAGE, edit)


# -- on a battery

ON_BANK: dict[str, Any] = dict(ON_BATTERY.fires[0].edit)


@pytest.mark.parametrize(("hold", "fires"), [("22.7 V", False), ("22.8 V", True)])
def test_the_hold_point_lies_below_the_empty_bank(hold: str, fires: bool) -> None:
    # two of 11.4 V when empty
    edit = {**ON_BANK, "controllers.CB1.hold_voltage": hold, "controllers.CB1.stops_below": "22.8 V"}

    assert bool(fired(ON_BATTERY, edit)) is fires


def test_a_low_voltage_disconnect_on_the_way_is_a_stop() -> None:
    edit = {
        **ON_BANK,
        "controllers.CB1.hold_voltage": "22 V",
        "controllers.LV1": {"part": "low-voltage-disconnect-24v-20a", "location": "array"},
        "runs.R1.conductors": [
            {"from": "BT1.+", "to": "LV1.battery+", "color": "red"},
            {"from": "BT1.-", "to": "LV1.battery-", "color": "white"},
            {"from": "LV1.load+", "to": "Q1.1", "color": "red"},
            {"from": "LV1.load-", "to": "CB1.pv-", "color": "white"},
        ],
    }

    assert not fired(ON_BATTERY, edit)
    assert "CB1" in held(ON_BATTERY, edit)


def test_the_empty_voltage_is_a_gap_and_the_missing_stop_still_fires() -> None:
    edit = {**ON_BANK, "part:battery-r.empty_voltage": None}

    assert missing(ON_BATTERY, edit)
    assert "Nothing stops" in fired(ON_BATTERY, edit)["CB1"].message


def test_a_charging_output_beside_its_battery_need_not_carry_the_load() -> None:
    weak = {**CHARGED_BANK, "part:charger-r.output_current": "5 A"}  # the motor takes 8 A, the bank has it

    assert "CC1" not in fired(OUTPUT_CURRENT, weak)
