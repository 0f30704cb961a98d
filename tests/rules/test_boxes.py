"""Room on the rail and in the box, and guards on risers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from specc.calculation import Calculation
from specc.diagnostics import Verdict
from specc.rulebooks import load_handbook, load_rulebook
from specc.rules._rule import Rule
from specc.rules.boxes import _ON_RAIL, RAIL_FULL, TOO_SMALL
from specc.rules.raceway import RISER
from tests.reference import check_edited, read_edited
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


IN3 = 0.0254**3


def found_calculations(rule: Rule, edit: Mapping[str, Any] | None = None) -> tuple[Calculation, ...]:
    return check_edited(edit or {}, (rule,)).calculations


@pytest.mark.parametrize(
    ("size", "cubic_inches"),
    [("18 AWG", 1.5), ("14 AWG", 2.0), ("12 AWG", 2.25), ("10 AWG", 2.5), ("8 AWG", 3.0), ("6 AWG", 5.0)],
)
def test_a_conductor_takes_the_room_of_the_table(size: str, cubic_inches: float) -> None:
    # NEC 2023 Table 314.16(B)(1), from memory, unverified.
    area = load_rulebook("us-2023").size_area_m2(size).value

    assert load_handbook().wire_room_m3(area).value == pytest.approx(cubic_inches * IN3, rel=1e-12)


def test_a_conductor_beyond_the_table_takes_more_than_its_last_row() -> None:
    area = load_rulebook("us-2023").size_area_m2("4 AWG").value  # 21.15 mm2, 13.3 in the last row

    assert load_handbook().wire_room_m3(area).value == pytest.approx(5.0 * IN3 * 21.15 / 13.3, rel=0.01)


def test_the_room_of_the_reference_job_is_that_of_the_sum_by_hand() -> None:
    (finding,) = found(TOO_SMALL, {}, Verdict.SATISFIED)

    # Bodies 0.11 + 0.9 + 0.11 + 0.11 + 0.02 L; from outside 4 of 10 AWG, 2 of 18, 3 grounding as one of 6.
    wires = (4 * 2.5 + 2 * 1.5 + 5.0) * IN3
    (number,) = found_calculations(TOO_SMALL)
    assert number.value == pytest.approx((1.25e-3 + wires) / 0.8, rel=1e-9)
    assert finding.required == "at least 1.93 L"


def test_more_than_four_grounding_conductors_take_a_quarter_each() -> None:
    # NEC 2023 314.16(B)(5): up to four count as one, each more as a quarter.
    def room(count: int) -> float:
        extra = [{"from": "P1.case", "to": "BOX1.ground", "color": "green"}] * count
        number = found_calculations(
            TOO_SMALL,
            {
                "runs.R7": {
                    "wire": "thwn2-r",
                    "size": "10 AWG",
                    "length": "9 m",
                    "laid": "out of reach",
                    "conductors": extra,
                }
            },
        )[0]
        return number.value * 0.8

    assert room(1) == pytest.approx(found_calculations(TOO_SMALL)[0].value * 0.8)
    assert room(3) - room(1) == pytest.approx(5.0 * IN3 * 2 / 4, rel=1e-9)


def test_a_body_that_nothing_tells_leaves_the_box_unchecked_and_says_so() -> None:
    (finding,) = found(TOO_SMALL, {"part:booster-r.body": None}, Verdict.NOT_CHECKED)

    assert "CB1" in finding.message and "body =" in finding.message


def test_a_modular_device_takes_its_width_of_the_row() -> None:
    # DIN 43880: 18 mm x 90 mm x 70 mm.
    assert load_handbook().modular_body_m3(0.018).value == pytest.approx(0.1134e-3)


def test_every_box_and_controller_of_the_catalogue_tells_its_room() -> None:
    parts = read_edited({}).description.catalog.parts()
    untold = [
        part.id
        for part in parts
        if (part.kind == "enclosure" and part.volume is None)
        or (part.kind in ("controller", "isolator", "breaker", "terminal_block") and not _tells(part))
    ]

    assert untold == []


def _tells(part: Any) -> bool:
    return part.body is not None or part.rail_width is not None
