"""What goes into a terminal."""

from __future__ import annotations

import pytest

from specc.rules.terminal import RANGE
from tests.rules.answers import found, missing, subjects


@pytest.mark.parametrize(
    ("size", "fires"), [("14 AWG", False), ("10 AWG", False), ("16 AWG", True), ("8 AWG", True)]
)
def test_ends_of_the_range(size: str, fires: bool) -> None:
    findings = [f for f in found(RANGE, {"runs.R2.size": size}) if "CB1" in f.message]

    assert bool(findings) is fires


# ASTM B258: 14 AWG 2.08 mm², 10 AWG 5.26 mm².
@pytest.mark.parametrize(
    ("size", "fires"), [("1.5 mm2", True), ("2.5 mm2", False), ("4 mm2", False), ("6 mm2", True)]
)
def test_metric_conductor_in_a_terminal_marked_in_gauge(size: str, fires: bool) -> None:
    findings = [f for f in found(RANGE, {"job.rulebook": "iec", "runs.R2.size": size}) if "CB1" in f.message]

    assert bool(findings) is fires


def test_gauge_conductor_in_a_terminal_marked_in_metric() -> None:
    wide = {"part:booster-r.wire.smallest": "2.5 mm2", "part:booster-r.wire.largest": "6 mm2"}

    assert found(RANGE, wide) == []
    assert subjects(found(RANGE, {**wide, "part:booster-r.wire.largest": "4 mm2"})) >= {"R2.1", "R2.2"}


def test_size_of_one_conductor_is_blamed_at_that_conductor() -> None:
    findings = found(RANGE, {"runs.R2.conductors[0].size": "6 AWG"})

    assert subjects(findings) == {"R2.1"}
    assert all("10 AWG" in f.fix for f in findings)


def test_as_many_conductors_as_permitted_pass_and_one_more_does_not() -> None:
    two = {"runs.R2.conductors[3]": {"from": "CB1.motor+", "to": "Q1.2", "color": "red"}}
    three = {**two, "runs.R2.conductors[4]": {"from": "CB1.motor+", "to": "DS1.2", "color": "red"}}

    assert "CB1.motor+" not in subjects(found(RANGE, two))
    assert "CB1.motor+" in subjects(found(RANGE, three))


def test_terminal_that_does_not_say_what_it_takes_is_not_checked() -> None:
    assert "wire" in missing(RANGE, {"part:breaker-r.wire": None})


def test_fine_strands_pass_where_the_terminal_takes_them() -> None:
    edit = {"part:thwn2-r.strand": "fine"}

    assert not [f for f in found(RANGE, edit) if " P1.+" in f.message]


def test_size_left_to_the_compiler_never_comes_before_a_rule() -> None:
    with pytest.raises(ValueError, match="auto"):
        found(RANGE, {"runs.R2.size": "auto"})
