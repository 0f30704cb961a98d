"""What goes into a terminal."""

from __future__ import annotations

import pytest

from specc.rules._edits import METRIC
from specc.rules.terminal import CURRENT, RANGE
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


def test_a_metric_job_reads_the_range_in_sizes_that_are_sold_to_it() -> None:
    # 14 AWG is 2.08 mm² and 10 AWG 5.26 mm² (ASTM B258): of the sizes of IEC 60228, 2.5 and 4 lie between.
    edit = {"job.rulebook": "iec", "runs.R2.size": "10 mm2"}
    booster = next(f for f in found(RANGE, edit) if "CB1" in f.message)

    assert booster.required == "2.5 mm2 to 4 mm2 (marked 14 AWG to 10 AWG)"
    assert "pigtail of 4 mm2" in booster.fix


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


# -- current -----------------------------------------------------------------------------------------

IN_THE_ARRAY_RUN = {
    "terminal_blocks.TB1": {"part": "block-r"},
    "runs.R2.conductors[0].to": "TB1.1",
    "runs.R2.conductors[3]": {"from": "TB1.2", "to": "CB1.pv+", "color": "red"},
}


# ΣIsc 12 A: Imax = 1.25 · 12 = 15 A; NFPA 70 690.8(B) asks 1.25 times that, IEC 60364-7-712 once.
@pytest.mark.parametrize(
    ("rated", "book", "fires"),
    [
        ("18.7 A", "us-2023", True),
        ("18.75 A", "us-2023", False),
        ("14.9 A", "iec", True),
        ("15 A", "iec", False),
    ],
)
def test_a_block_is_held_to_what_passes_it(rated: str, book: str, fires: bool) -> None:
    edit = {**(METRIC if book == "iec" else {}), **IN_THE_ARRAY_RUN, "part:block-r.current": rated}

    assert ("TB1" in subjects(found(CURRENT, edit))) is fires


# The fuse of 15 A lets 15 A through, whatever the motor draws.
@pytest.mark.parametrize(("rated", "fires"), [("14 A", True), ("15 A", False)])
def test_a_holder_is_held_to_its_fuse(rated: str, fires: bool) -> None:
    assert bool(found(CURRENT, {"part:holder-r.dc_current": rated})) is fires


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({**IN_THE_ARRAY_RUN, "part:block-r.current": None}, "current"),
        ({"part:holder-r.dc_current": None}, "dc_current"),
        ({"part:isolator-r.load_break": False, "part:isolator-r.dc_current": None}, "dc_current"),
    ],
)
def test_a_rating_that_is_not_there_is_missing_data(edit: dict[str, object], key: str) -> None:
    assert missing(CURRENT, edit) == [key]


def test_the_middle_of_a_bar_carries_more_than_any_of_its_screws() -> None:
    """Two strings in at one end, two ways out at the other: 15 A between, 7.5 A on each screw in."""
    bar = {
        "part:block-r.joined": [["1", "2", "3", "4"]],
        "panels.PV1.parallel": 1,
        "panels.PV2": {
            "part": "panel-r",
            "series": 2,
            "parallel": 1,
            "mounted": "ground",
            "location": "array",
        },
        "terminal_blocks.TB1": {"part": "block-r"},
        "runs.R1.conductors[0].to": "TB1.1",
        "runs.R1.conductors[3]": {"from": "PV2.+", "to": "TB1.2", "color": "red"},
        "runs.R1.conductors[4]": {"from": "PV2.-", "to": "PV1.-", "color": "white"},
        "runs.R2.conductors[3]": {"from": "TB1.3", "to": "Q1.1", "color": "red"},
        "runs.R2.conductors[4]": {"from": "TB1.4", "to": "Q1.1", "color": "red"},
    }

    (finding,) = found(CURRENT, {**bar, "part:block-r.current": "18 A"})

    assert finding.required == "at least 18.75 A"


def test_a_block_in_the_remote_loop_carries_nothing_to_speak_of() -> None:
    edit = {
        "terminal_blocks.TB1": {"part": "block-r"},
        "part:block-r.current": "1 A",
        "runs.R4.conductors[0].to": "TB1.1",
        "runs.R4.conductors[4]": {"from": "TB1.2", "to": "LS1.1", "color": "blue"},
    }

    assert "TB1" not in subjects(found(CURRENT, edit))


def test_a_link_carries_what_its_two_ways_share() -> None:
    edit = {
        **IN_THE_ARRAY_RUN,
        "terminal_blocks.TB1.links": [["2", "3"]],
        "runs.R2.conductors[3].from": "TB1.4",
        "part:block-r.current": "18 A",
    }

    assert "TB1" in subjects(found(CURRENT, edit))
