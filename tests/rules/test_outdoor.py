"""Edges of the weather rules."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules.outdoor import CONDUCTOR_TYPE, ENCLOSURE_TYPE
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked

HOSED = {"locations.pump house.hosed": True}
CORROSIVE = {"locations.pump house.corrosive": True}
NOWHERE = {"enclosures.BOX1.location": None}


def _box(kind: str | None, ip: str | None = None) -> dict[str, Any]:
    return {"part:box-r.type": kind, "part:box-r.ip": ip}


# Types of NEC 2023 Table 110.28, from memory, unverified.
@pytest.mark.parametrize(
    ("place", "kind", "fires"),
    [
        ({}, "1", True),
        ({}, "3R", False),
        ({}, "12", True),
        (HOSED, "3R", True),
        (HOSED, "4", False),
        (CORROSIVE, "4", True),
        (CORROSIVE, "4X", False),
        ({"locations.pump house.outdoors": False}, "1", False),
        ({"locations.pump house.outdoors": False, "locations.pump house.wet": True}, "1", True),
    ],
)
def test_type_by_place(place: dict[str, Any], kind: str, fires: bool) -> None:
    assert bool(fired(ENCLOSURE_TYPE, {**place, **_box(kind)})) is fires


# AD3 asks IPX3 (IEC 60364-5-51, from memory, unverified); the US book takes IPX4 for rain, common practice.
@pytest.mark.parametrize(
    ("book", "ip", "fires"),
    [
        ("iec", "IP22", True),
        ("iec", "IP23", False),
        ("iec", "IPX4", False),
        ("iec", "IP6X", True),
        ("us-2023", "IP23", True),
        ("us-2023", "IP24", False),
    ],
)
def test_ip_code_by_rulebook(book: str, ip: str, fires: bool) -> None:
    assert bool(fired(ENCLOSURE_TYPE, {"job.rulebook": book, **_box(None, ip)})) is fires


def test_an_ip_code_says_nothing_of_corrosion() -> None:
    edit = {**CORROSIVE, **_box(None, "IP66")}

    assert "BOX1" in not_checked(ENCLOSURE_TYPE, edit)
    assert not held(ENCLOSURE_TYPE, edit)
    assert fired(ENCLOSURE_TYPE, {**CORROSIVE, **_box("4", "IP66")})


def test_a_box_without_a_mark_is_a_gap() -> None:
    assert missing(ENCLOSURE_TYPE, _box(None)) == ["type"]


def test_an_undescribed_place_matters_only_to_a_lesser_box() -> None:
    assert held(ENCLOSURE_TYPE, {**NOWHERE, **_box("4")})
    assert missing(ENCLOSURE_TYPE, {**NOWHERE, **_box("1")}) == ["location"]


def test_a_rail_device_in_no_enclosure_is_not_passed() -> None:
    edit = {
        "part:isolator-r.rail_width": "18 mm",
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "GB1"],
        "disconnects.DS1.location": "array",
    }

    assert "DS1" in not_checked(ENCLOSURE_TYPE, edit)
    assert "DS1" in held(ENCLOSURE_TYPE, {**edit, "locations.array.outdoors": False})


# -- conductors


@pytest.mark.parametrize(
    ("edit", "subjects"),
    [
        ({"part:thwn2-r.wet": False}, {"R1", "R3"}),
        ({"part:control-r.direct_burial": False}, {"R4"}),
        ({"part:control-r.wet": False}, {"R4"}),
        ({"raceways.C1.buried": None, "part:thwn2-r.wet": False}, {"R1", "R3"}),
        ({"runs.R6.location": "array"}, {"R6"}),
        ({"runs.R4.laid": "submerged", "part:control-r.submersible": False}, {"R4"}),
    ],
)
def test_marks_by_laying(edit: dict[str, Any], subjects: set[str]) -> None:
    assert subjects <= set(fired(CONDUCTOR_TYPE, edit))
    assert "R2" not in fired(CONDUCTOR_TYPE, edit)


def test_a_raceway_in_a_dry_house_asks_nothing() -> None:
    dry = {
        "part:thwn2-r.wet": False,
        "raceways.C1.buried": None,
        "locations.array.outdoors": False,
        "locations.pump house.outdoors": False,
    }

    assert "R1" in held(CONDUCTOR_TYPE, dry)


def test_how_a_run_is_laid_must_be_said_unless_its_wire_stands_all() -> None:
    silent = {"runs.R4.laid": None}

    assert missing(CONDUCTOR_TYPE, silent) == ["laid"]
    assert "R4" not in held(CONDUCTOR_TYPE, silent)
    assert "R4" in held(CONDUCTOR_TYPE, {**silent, "part:control-r.sunlight": True})


def test_an_undescribed_place_matters_only_to_a_wire_without_the_mark() -> None:
    # the wire suits wet places, and has no mark for sunlight
    assert missing(CONDUCTOR_TYPE, {"runs.R6.location": "hill"}) == ["location"]
    assert not missing(CONDUCTOR_TYPE, {"runs.R6.location": "hill", "part:thwn2-r.sunlight": True})


def test_a_bare_conductor_has_no_insulation_to_judge() -> None:
    bare = {"runs.R6.wire": "bare-cu-solid", "runs.R6.location": "array"}

    assert "R6" not in fired(CONDUCTOR_TYPE, bare)


def test_a_conductor_of_another_wire_is_judged_by_its_own() -> None:
    mixed = {"runs.R1.conductors[0].wire": "thhn-cu"}

    assert "thhn-cu" in fired(CONDUCTOR_TYPE, mixed)["R1"].message
