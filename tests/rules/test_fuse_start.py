"""Fuses against the start of a motor."""

from __future__ import annotations

import math

import pytest

from specc.rulebooks import NotInTable, load_handbook
from specc.rules._variants import BATTERY
from specc.rules.fuse_start import OPENS_ON_START
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
