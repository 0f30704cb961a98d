"""Edges of the rule on what a switch is by its making."""

from __future__ import annotations

import pytest

from specc.rules.switch import CANNOT_FEEL, CLOSES_ON
from tests.rules.by_subject import fired, held


def test_a_float_that_can_be_turned_is_left_to_its_hanging() -> None:
    assert not fired(CLOSES_ON, {})
    assert not held(CLOSES_ON, {})


def test_each_switch_of_a_part_is_held_against_its_own_word() -> None:
    # LS1 closes on fall, LS2 on rise, both of one part
    fixed = {"part:float-r.closes_on": "fall"}

    assert set(fired(CLOSES_ON, fixed)) == {"LS2"}
    assert set(held(CLOSES_ON, fixed)) == {"LS1"}


def test_the_finding_points_at_the_word() -> None:
    finding = fired(CLOSES_ON, {"part:thermal-r.closes_on": "rise"})["TS1"]

    assert finding.required == "closes on rise"
    assert finding.actual == "closes on fall"
    assert len(finding.places) == 2


# The well of the reference job stands at -3.0 m; its bottom is at -4.8 m.
@pytest.mark.parametrize(
    ("level", "fires"), [("-3.0 m", True), ("-3.01 m", False), ("-4.79 m", False), ("-4.8 m", True)]
)
def test_a_low_water_float_hangs_in_its_water(level: str, fires: bool) -> None:
    assert ("LS2" in fired(CANNOT_FEEL, {"switches.LS2.acts_at": level})) is fires


def test_a_float_whose_place_is_not_given_is_held_against_the_well_of_its_pump() -> None:
    edit = {"switches.LS2.acts_at": "1 m", "switches.LS2.location": None}
    assert "LS2" in fired(CANNOT_FEEL, edit)
