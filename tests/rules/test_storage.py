"""Edges of the tank rules. Figures: the worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules.storage import DAYS, OVERFLOW
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
