"""Edges of the motor rules. Figures: the worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.rules._edits import BATTERY, PV_DIRECT
from specc.rules.motor import DUTY, OVERLOAD, POWER_BALANCE, PV_DIRECT_START
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

UNPROTECTED = {"part:pump-r.built_in_protector": False}
S2 = {"part:pump-r.duty": "S2"}

# A second pump like the first on the same output, well and tank.
TWO_PUMPS: dict[str, Any] = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m"},
    "runs.R3.conductors[3]": {"from": "DS1.2", "to": "P2.+", "color": "red"},
    "runs.R3.conductors[4]": {"from": "CB1.motor-", "to": "P2.-", "color": "white"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "TK1", "length": "119 m"},
}


# -- start on the array alone


@pytest.mark.parametrize(("start", "fires"), [("5.9 A", False), ("6 A", False), ("6.1 A", True)])
def test_start_light_just_under_at_and_over(start: str, fires: bool) -> None:
    # 500 W/m2 of 1000 on 12 A
    assert bool(fired(PV_DIRECT_START, {**PV_DIRECT, "part:pump-r.start_current": start})) is fires


def test_behind_a_booster_or_on_a_battery_there_is_nothing_to_look_at() -> None:
    for edit in ({}, BATTERY):
        assert not fired(PV_DIRECT_START, edit)
        assert not held(PV_DIRECT_START, edit)


def test_a_start_current_that_is_not_given_is_a_gap() -> None:
    edit = {**PV_DIRECT, "part:pump-r.start_current": None}

    assert missing(PV_DIRECT_START, edit) == ["start_current"]
    assert not held(PV_DIRECT_START, edit)


# -- overload


@pytest.mark.parametrize(("setting", "fires"), [("9.1 A", False), ("9.2 A", False), ("9.3 A", True)])
def test_overload_just_under_at_and_over(setting: str, fires: bool) -> None:
    # 115 % of 8 A
    assert bool(fired(OVERLOAD, {**UNPROTECTED, "pumps.P1.overload_setting": setting})) is fires


@pytest.mark.parametrize(
    ("mark", "fires"),
    [({"service_factor": 1.15}, False), ({"service_factor": 1.1}, True), ({"rise_40": True}, False)],
)
def test_marked_motors_take_125_percent(mark: dict[str, Any], fires: bool) -> None:
    edit = {**UNPROTECTED, "pumps.P1.overload_setting": "10 A"}
    edit |= {f"part:pump-r.{key}": value for key, value in mark.items()}

    assert bool(fired(OVERLOAD, edit)) is fires


def test_a_setting_in_the_catalogue_counts_and_the_jobs_own_comes_first() -> None:
    catalogue = {**UNPROTECTED, "part:pump-r.overload_setting": "12 A"}

    assert fired(OVERLOAD, catalogue)
    assert not fired(OVERLOAD, {**catalogue, "pumps.P1.overload_setting": "9 A"})


def test_an_unknown_protector_is_a_gap_unless_a_setting_is_given() -> None:
    unknown = {"part:pump-r.built_in_protector": None}

    assert missing(OVERLOAD, unknown) == ["built_in_protector"]
    assert not held(OVERLOAD, unknown)
    assert not missing(OVERLOAD, {**unknown, "pumps.P1.overload_setting": "9 A"})


def test_each_pump_is_looked_at() -> None:
    assert set(fired(OVERLOAD, {**TWO_PUMPS, **UNPROTECTED})) == {"P1", "P2"}


# -- duty


@pytest.mark.parametrize(("time", "fires"), [("149 min", True), ("150 min", False), ("151 min", False)])
def test_duty_just_under_at_and_over(time: str, fires: bool) -> None:
    # 1500 L a day at 10 L/min
    assert bool(fired(DUTY, {**S2, "part:pump-r.duty_time": time})) is fires


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"part:pump-r.duty": None}, "duty"),
        (S2, "duty_time"),
        ({**S2, "part:pump-r.duty_time": "3 h", "tank.TK1.demand": None}, "demand"),
    ],
)
def test_duty_names_what_it_misses(edit: dict[str, Any], key: str) -> None:
    assert missing(DUTY, edit) == [key]
    assert not held(DUTY, edit)


def test_a_pump_that_lifts_nothing_has_no_running_time() -> None:
    # the curve falls to no flow at 50 m; the tank stands at 80 m
    curve = [
        {"voltage": "24 V", "head": "10 m", "flow": "10 L/min", "current": "2 A"},
        {"voltage": "24 V", "head": "50 m", "flow": "0 L/min", "current": "8 A"},
    ]
    edit = {**S2, "part:pump-r.duty_time": "3 h", "part:pump-r.table": curve, "tank.TK1.inlet": "80 m"}

    assert not held(DUTY, edit)
    assert "P1" in not_checked(DUTY, edit)
    assert "P1" in not_checked(POWER_BALANCE, edit)
    assert not held(POWER_BALANCE, edit)


def test_brushes_that_last_no_year_are_advice() -> None:
    # 2.5 h x 365 = 912.5 h
    assert fired(DUTY, {"part:pump-r.brush_life": "912 h"})["P1"].severity is Severity.ADVICE
    assert not fired(DUTY, {"part:pump-r.brush_life": "913 h"})


# -- power


def test_power_for_full_flow_and_of_the_array() -> None:
    wanted = numbers(POWER_BALANCE, {}, "power for full flow")["P1"]
    given = numbers(POWER_BALANCE, {}, "power of the array in weak light")["PV1"]

    # 46.6 W / (0.35 x 0.92) = 144.9 W; 400 W x 0.5 x 0.75
    assert wanted.value == pytest.approx(144.9, abs=0.2)
    assert given.value == pytest.approx(150.0)


def test_the_data_sheet_stands_in_for_the_efficiency() -> None:
    # 24 V x 5.55 A / 0.92
    wanted = numbers(POWER_BALANCE, {"part:pump-r.efficiency": None}, "power for full flow")["P1"]

    assert wanted.value == pytest.approx(24.0 * 5.55 / 0.92, rel=1e-3)


@pytest.mark.parametrize(("power", "fires"), [("96 W", True), ("97 W", False)])
def test_power_balance_just_under_and_over(power: str, fires: bool) -> None:
    # 144.9 W / (4 x 0.375) = 96.6 W a module
    assert bool(fired(POWER_BALANCE, {"part:panel-r.power": power})) is fires


def test_pumps_on_one_array_share_its_power() -> None:
    assert set(fired(POWER_BALANCE, TWO_PUMPS)) == {"P1", "P2"}


def test_without_a_controller_none_takes_its_share() -> None:
    # 133.3 W against 135 W
    assert not fired(POWER_BALANCE, {**PV_DIRECT, "part:panel-r.power": "90 W"})
    assert fired(POWER_BALANCE, {**PV_DIRECT, "part:panel-r.power": "88 W"})


def test_a_battery_evens_the_light_out() -> None:
    assert not fired(POWER_BALANCE, BATTERY)
    assert not held(POWER_BALANCE, BATTERY)


def test_a_controller_without_an_efficiency_is_a_gap() -> None:
    assert missing(POWER_BALANCE, {"part:booster-r.efficiency": None}) == ["efficiency"]
