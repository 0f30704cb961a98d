"""Edges of the tank rules. Figures: the worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.rules._edits import BATTERY
from specc.rules.storage import DAYS, NO_FULL_STOP, OVERFLOW
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

BREAK_TANK: dict[str, Any] = {"tank.TK2": {"inlet": "10 m", "capacity": "200 L", "overflow_size": "25 mm"}}


@pytest.mark.parametrize(("capacity", "fires"), [("4499 L", True), ("4500 L", False), ("4501 L", False)])
def test_days_just_under_at_and_over(capacity: str, fires: bool) -> None:
    # three days of 1500 L
    assert bool(fired(DAYS, {"tank.TK1.capacity": capacity})) is fires


def test_days_say_how_much_would_do() -> None:
    assert "5400 L" in fired(DAYS, {"tank.TK1.demand": "1800 L/day"})["TK1"].fix


def test_the_capacity_of_the_catalogue_serves() -> None:
    assert not missing(DAYS, {"tank.TK1.capacity": None, "tank.TK1.part": "tank-pe-5000l"})


@pytest.mark.parametrize("key", ["capacity", "demand"])
def test_days_need_capacity_and_demand(key: str) -> None:
    edit = {f"tank.TK1.{key}": None}

    assert missing(DAYS, edit) == [key]
    assert not held(DAYS, edit)


def test_a_tank_without_a_demand_of_its_own_is_no_fault() -> None:
    assert set(not_checked(DAYS, BREAK_TANK)) == {"TK2"}
    assert not missing(DAYS, BREAK_TANK)
    assert set(held(DAYS, BREAK_TANK)) == {"TK1"}


@pytest.mark.parametrize(("size", "carried"), [("25 mm", 12.4), ("20 mm", 7.1)])
def test_what_an_overflow_carries(size: str, carried: float) -> None:
    # 0.6 A sqrt(2 g d), litres a minute
    worked = numbers(OVERFLOW, {"tank.TK1.overflow_size": size}, "flow that the overflow carries")["TK1"]

    assert worked.value * 60_000.0 == pytest.approx(carried, abs=0.05)


@pytest.mark.parametrize(("size", "fires"), [("22.9 mm", True), ("23 mm", False)])
def test_overflow_just_under_and_over(size: str, fires: bool) -> None:
    # 10 L/min wants 22.96 mm
    assert bool(fired(OVERFLOW, {"tank.TK1.overflow_size": size})) is fires


def test_an_overflow_of_no_bore_carries_nothing() -> None:
    assert fired(OVERFLOW, {"tank.TK1.overflow_size": "0 mm"})


def test_a_tank_that_no_pump_fills_is_not_judged() -> None:
    assert set(not_checked(OVERFLOW, BREAK_TANK)) == {"TK2"}


def test_a_pump_without_a_data_sheet_is_a_gap() -> None:
    edit = {"part:pump-r.table": []}

    assert missing(OVERFLOW, edit)
    assert not held(OVERFLOW, edit)


# -- what stops the pump when the tank is full ---------------------------------------------------

NO_FLOAT: dict[str, Any] = {
    "switches.LS1": None,
    "runs.R4.conductors[0].to": "LS2.1",
    "runs.R4.conductors[1]": None,
}


@pytest.mark.parametrize(
    ("inflow", "severity"),
    [("9.9 L/min", Severity.WARNING), ("10 L/min", Severity.ADVICE), (None, Severity.WARNING)],
)
def test_a_source_that_is_outrun_or_unknown_makes_it_a_warning(
    inflow: str | None, severity: Severity
) -> None:
    # The pump gives 10 L/min.
    finding = fired(NO_FULL_STOP, {**NO_FLOAT, "source.WELL.inflow": inflow})["TK1"]

    assert finding.severity is severity


@pytest.mark.parametrize(
    ("bore", "severity"),
    [("22.9 mm", Severity.WARNING), ("23 mm", Severity.ADVICE), (None, Severity.WARNING)],
)
def test_an_overflow_that_is_too_small_or_missing_makes_it_a_warning(
    bore: str | None, severity: Severity
) -> None:
    # 0.6 · A · sqrt(2 g d) = 10 L/min at d = 22.95 mm
    finding = fired(NO_FULL_STOP, {**NO_FLOAT, "tank.TK1.overflow_size": bore})["TK1"]

    assert finding.severity is severity


def test_a_battery_pumps_on_by_night() -> None:
    finding = fired(NO_FULL_STOP, {**BATTERY, "switches.LS1": None})["TK1"]

    assert finding.severity is Severity.WARNING
    assert "day and night" in finding.message


@pytest.mark.parametrize(
    "edit",
    [
        {"switches.LS1.closes_on": "rise"},
        {"runs.R4.conductors[4]": {"from": "LS1.1", "to": "LS1.2", "color": "grey"}},
    ],
)
def test_a_float_that_fails_to_act_is_left_to_the_rules_on_floats(edit: dict[str, Any]) -> None:
    assert set(not_checked(NO_FULL_STOP, edit)) == {"TK1"}


def test_a_float_in_the_other_tank_does_not_count() -> None:
    second = {
        "tank.TK2": {"inlet": "10 m", "capacity": "200 L", "location": "well"},
        "pipes.D9": {"part": "pipe-r", "from": "CV1.out", "to": "TK2", "length": "20 m"},
    }

    assert set(fired(NO_FULL_STOP, second)) == {"TK2"}
    assert set(held(NO_FULL_STOP, second)) == {"TK1"}
    unsaid = {**second, "tank.TK2": {"inlet": "10 m", "capacity": "200 L"}}
    assert set(not_checked(NO_FULL_STOP, unsaid)) == {"TK2"}


def test_a_pressure_switch_without_a_float_valve_does_not_feel_the_tank() -> None:
    edit = {
        "switches.LS1.guards": "pressure high",
        "switches.LS1.part": "pressure-switch-signal-90psi",
        "switches.LS1.location": "well",
    }

    assert set(fired(NO_FULL_STOP, edit)) == {"TK1"}
