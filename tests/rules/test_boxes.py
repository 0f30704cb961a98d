"""Room on the rail, and guards on risers."""

from __future__ import annotations

import pytest

from specc.diagnostics import Verdict
from specc.rules.boxes import _ON_RAIL, RAIL_FULL
from specc.rules.raceway import RISER
from tests.rules.answers import found, missing, subjects


@pytest.mark.parametrize(("rail", "fits"), [("53.9 mm", False), ("54 mm", True), ("54.1 mm", True)])
def test_three_devices_of_18_mm_need_54_mm(rail: str, fits: bool) -> None:
    findings = found(RAIL_FULL, {**_ON_RAIL, "part:box-r.rail": rail})

    assert (findings == []) is fits


def test_a_box_that_does_not_tell_its_rail_is_not_passed() -> None:
    edit = {**_ON_RAIL, "part:box-r.rail": None}

    assert missing(RAIL_FULL, edit) == ["rail"]


def test_what_stands_beside_the_rail_is_named() -> None:
    (finding,) = found(RAIL_FULL, _ON_RAIL, Verdict.SATISFIED)

    assert "CB1" in finding.message.split("Beside the rail")[1]


def test_a_box_with_nothing_on_a_rail_is_not_looked_at() -> None:
    assert [found(RAIL_FULL, {}, verdict) for verdict in Verdict] == [[], [], []]


@pytest.mark.parametrize(
    ("raceway", "guard"), [("rigid-metal", True), ("pvc-sch80", True), ("pvc-sch40", False)]
)
def test_metal_and_schedule_80_guard_themselves(raceway: str, guard: bool) -> None:
    fired = subjects(found(RISER, {"part:conduit-r.raceway": raceway}))

    assert ("C1" not in fired) is guard
    assert "R4" in fired
