"""Fuses and breakers against the start of a motor."""

from __future__ import annotations

import math

import pytest

from specc.rulebooks import NotInTable, load_handbook
from specc.rules._variants import BATTERY
from specc.rules.fuse_start import OPENS_ON_START, _breaker
from tests.rules.answers import found, missing
from tests.rules.by_subject import numbers

HANDBOOK = load_handbook()
STRONG = {**BATTERY, "part:low-voltage-r.peak_output_current": "90 A"}


def test_curve_runs_straight_on_logarithmic_axes_between_its_points() -> None:
    # Hand: gPV 2.7 at 1 s, 2.0 at 10 s; at sqrt(10) s the geometric mean.
    assert HANDBOOK.fuse_melting_multiple("gPV", 1.0).value == pytest.approx(2.7)
    assert HANDBOOK.fuse_melting_multiple("gPV", math.sqrt(10.0)).value == pytest.approx(math.sqrt(2.7 * 2.0))


@pytest.mark.parametrize("fuse_class", ["gPV", "gG", "midget", "blade", "bolt-down", "battery"])
def test_every_class_of_the_catalogue_has_a_falling_curve(fuse_class: str) -> None:
    values = [HANDBOOK.fuse_melting_multiple(fuse_class, t).value for t in (0.15, 1.0, 10.0, 60.0, 3600.0)]

    assert values == sorted(values, reverse=True)
    assert all(value > 1.0 for value in values)


@pytest.mark.parametrize("after_s", [0.0, -1.0, math.nan, math.inf, 1e9, 1e-6])
def test_beyond_the_curve_nothing_is_guessed(after_s: float) -> None:
    with pytest.raises(NotInTable):
        HANDBOOK.fuse_melting_multiple("gPV", after_s)


@pytest.mark.parametrize(("start", "fires"), [("40.4 A", False), ("40.6 A", True)])
def test_fires_just_over_the_melting_current(start: str, fires: bool) -> None:
    # Hand: 15 A x 2.7 = 40.5 A at 1 s.
    assert bool(found(OPENS_ON_START, {**STRONG, "part:pump-r.start_current": start})) is fires


def test_a_longer_start_melts_at_less() -> None:
    # Hand: 15 A x 1.7 = 25.5 A at 60 s.
    edit = {**STRONG, "part:pump-r.start_current": "30 A", "part:pump-r.start_time": "60 s"}
    (number,) = numbers(OPENS_ON_START, edit, "current that melts the fuse within the start").values()

    assert number.value == pytest.approx(25.5)
    assert found(OPENS_ON_START, edit)


def test_a_hot_box_lowers_the_melting_current() -> None:
    edit = {**STRONG, "part:pump-r.start_current": "39 A"}

    assert not found(OPENS_ON_START, edit)
    assert found(OPENS_ON_START, {**edit, "part:fuse-r.hot_factor": 0.9})


def test_without_a_starting_current_it_is_not_passed() -> None:
    assert missing(OPENS_ON_START, {"part:pump-r.start_current": None}) == ["start_current"]


@pytest.mark.parametrize("curve", ["B", "C", "hydraulic-magnetic", None])
def test_every_breaker_curve_falls_and_none_lies_below_the_unmarked_one(curve: str | None) -> None:
    times = (0.05, 0.15, 0.5, 1.0, 2.0, 8.0, 60.0, 3600.0)
    values = [HANDBOOK.breaker_trip_multiple(curve, t).value for t in times]
    unmarked = [HANDBOOK.breaker_trip_multiple(None, t).value for t in times]

    assert values == sorted(values, reverse=True)
    assert all(value >= least - 1e-9 for value, least in zip(values, unmarked, strict=True))


@pytest.mark.parametrize(("curve", "multiple"), [("B", 4.0), ("C", 7.0)])
def test_magnetic_release_on_direct_current(curve: str, multiple: float) -> None:
    # IEC 60898-2: 4 to 7 In for B, 7 to 15 In for C on direct current; from memory, unverified.
    assert HANDBOOK.breaker_trip_multiple(curve, 0.1).value == pytest.approx(multiple)
    # IEC 60898-1: 1.13 In for an hour, 2.55 In for at least a second; from memory, unverified.
    assert HANDBOOK.breaker_trip_multiple(curve, 1.0).value == pytest.approx(2.55)
    assert HANDBOOK.breaker_trip_multiple(curve, 3600.0).value == pytest.approx(1.13)


@pytest.mark.parametrize(("start", "fires"), [("38.2 A", False), ("38.3 A", True)])
def test_fires_just_over_what_a_breaker_holds(start: str, fires: bool) -> None:
    # Hand: 15 A x 2.55 = 38.25 A at 1 s.
    assert bool(found(OPENS_ON_START, _breaker("B", start))) is fires


def test_a_breaker_of_two_poles_is_looked_at_once() -> None:
    two = {
        **_breaker("B", "40 A"),
        "part:breaker-r-free.poles": [{"between": ["1", "2"]}, {"between": ["3", "4"]}],
        "part:breaker-r-free.terminals": [{"name": n} for n in ("1", "2", "3", "4")],
        "runs.R3.conductors[1].from": "F1.4",
        "runs.R2.conductors[3]": {"from": "CB1.motor-", "to": "F1.3", "color": "white"},
    }
    assert len(found(OPENS_ON_START, two)) == 1
