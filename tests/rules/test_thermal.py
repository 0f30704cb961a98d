"""The switch that stops a hot pump."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Verdict
from specc.rules.thermal import TRIP_POINT
from tests.rules.answers import found, missing


# PVC pressure rating ends at 140 °F = 60 °C (published derating tables).
@pytest.mark.parametrize(("trip", "fires"), [("60 degC", False), ("140 degF", False), ("60.5 degC", True)])
def test_trip_at_the_limit_of_pvc(trip: str, fires: bool) -> None:
    edit = {
        "part:pipe-r.material": "PVC",
        "part:pump-r.hottest_head": "100 degC",
        "part:thermal-r.trips_at": trip,
    }

    assert bool(found(TRIP_POINT, edit)) is fires


def test_head_counts_where_the_pipe_is_metal() -> None:
    edit = {"part:pipe-r.material": "copper", "part:thermal-r.trips_at": "65 degC"}

    (finding,) = found(TRIP_POINT, edit)

    assert "P1, head" in finding.message
    assert found(TRIP_POINT, {**edit, "part:pump-r.hottest_head": "65 degC"}) == []


def test_setting_in_the_job_goes_before_the_label() -> None:
    (finding,) = found(TRIP_POINT, {"switches.TS1.trips_at": "70 degC"})

    assert "70 °C" in finding.message


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"part:thermal-r.trips_at": None}, "trips_at"),
        ({"part:thermal-r.reset": None}, "reset"),
        ({"switches.TS1.mounted_on": None}, "mounted_on"),
        ({"part:pump-r.hottest_head": None}, "hottest_head"),
    ],
)
def test_missing_figure_is_no_pass(edit: dict[str, Any], key: str) -> None:
    assert missing(TRIP_POINT, edit) == [key]


def test_one_missing_figure_leaves_the_other_questions_answered() -> None:
    assert len(found(TRIP_POINT, {"part:pump-r.hottest_head": None}, Verdict.SATISFIED)) == 2


def test_level_switches_are_not_looked_at() -> None:
    edit = {"switches.TS1": None, "runs.R4.conductors[3]": None, "runs.R4.conductors[2].to": "CB1.remote2"}

    assert found(TRIP_POINT, edit) == []
    assert found(TRIP_POINT, edit, Verdict.SATISFIED) == []
