"""Edges of the weather rules."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules.outdoor import CONDUCTOR_TYPE, DROWNED, ENCLOSURE_TYPE
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


UNBOXED = {"enclosures.BOX1.holds": ["Q1", "F1", "DS1", "GB1"], "controllers.CB1.location": "pump house"}


# IEC 60529: the second figure 4 is splashing, 5 a jet of water (from memory, unverified).
@pytest.mark.parametrize(
    ("case", "place", "fires"),
    [
        ({}, {}, True),
        ({"case_ip": "IP44"}, {}, False),
        ({"case_ip": "IP23"}, {}, True),
        ({"case_type": "3R"}, {}, False),
        ({"case_type": "1"}, {}, True),
        ({"case_ip": "IP54"}, HOSED, True),
        ({"case_ip": "IP55"}, HOSED, False),
        ({"case_type": "4X"}, CORROSIVE, False),
        ({}, {"locations.pump house.outdoors": False}, False),
        ({}, {"locations.pump house.outdoors": False, "locations.pump house.wet": True}, True),
    ],
)
def test_a_device_in_no_enclosure_is_held_to_its_own_case(
    case: dict[str, str], place: dict[str, Any], fires: bool
) -> None:
    edit = {**UNBOXED, **place, **{f"part:booster-r.{key}": mark for key, mark in case.items()}}

    assert ("CB1" in fired(ENCLOSURE_TYPE, edit)) is fires
    assert ("CB1" in held(ENCLOSURE_TYPE, edit)) is not fires


@pytest.mark.parametrize("tag", ["Q1", "F1", "DS1"])
def test_every_kind_of_live_device_is_looked_at(tag: str) -> None:
    rest = [other for other in ("Q1", "CB1", "F1", "DS1", "GB1") if other != tag]
    table = {"Q1": "breakers", "F1": "fuses", "DS1": "disconnects"}[tag]

    assert tag in fired(ENCLOSURE_TYPE, {"enclosures.BOX1.holds": rest, f"{table}.{tag}.location": "array"})


def test_a_fuse_stands_in_the_case_of_its_holder() -> None:
    edit = {"enclosures.BOX1.holds": ["Q1", "CB1", "DS1", "GB1"], "fuses.F1.location": "array"}

    assert "F1" in held(ENCLOSURE_TYPE, {**edit, "part:holder-r.case_ip": "IP66"})


def test_a_device_of_which_nobody_knows_where_it_stands_is_a_gap() -> None:
    edit = {"enclosures.BOX1.holds": ["Q1", "F1", "DS1", "GB1"]}

    assert missing(ENCLOSURE_TYPE, edit) == ["location"]
    assert "CB1" in held(ENCLOSURE_TYPE, {**edit, "part:booster-r.case_ip": "IP66"})


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
    nowhere = {f"locations.{name}": None for name in ("array", "pump house", "well", "tank")}
    hill = {**nowhere, "runs.R6.location": "hill"}

    assert missing(CONDUCTOR_TYPE, hill) == ["location"]
    assert not missing(CONDUCTOR_TYPE, {**hill, "part:thwn2-r.sunlight": True})


def test_a_bare_conductor_has_no_insulation_to_judge() -> None:
    bare = {"runs.R6.wire": "bare-cu-solid", "runs.R6.location": "array"}

    assert "R6" not in fired(CONDUCTOR_TYPE, bare)


def test_a_conductor_of_another_wire_is_judged_by_its_own() -> None:
    mixed = {"runs.R1.conductors[0].wire": "thhn-cu"}

    assert "thhn-cu" in fired(CONDUCTOR_TYPE, mixed)["R1"].message


def test_a_pump_in_the_well_of_which_nobody_says_whether_it_may_drown_is_not_passed() -> None:
    assert missing(DROWNED, {"pumps.P1.elevation": "-3.1 m"}) == ["submersible"]
    assert not missing(DROWNED, {"pumps.P1.elevation": "-3.0 m"})
