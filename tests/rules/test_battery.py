"""Edges of the rules on batteries. Figures: worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Finding, Verdict
from specc.rules import battery
from specc.rules._rule import Rule
from specc.rules._variants import BATTERY
from tests.reference import check_edited


def of_rule(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in check_edited({**BATTERY, **edit}, (rule,)).findings if f.rule == rule.id]


def violated(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in of_rule(rule, edit) if f.verdict is Verdict.VIOLATED]


def not_checked(rule: Rule, edit: dict[str, Any]) -> bool:
    findings = check_edited({**BATTERY, **edit}, (rule,)).findings
    return "spec.missing-data" in {f.rule for f in findings} and Verdict.NOT_CHECKED in {
        f.verdict for f in findings
    }


def test_the_battery_variant_breaks_no_rule_on_batteries() -> None:
    verdicts = {f.verdict for rule in battery.RULES for f in of_rule(rule, {})}

    assert verdicts == {Verdict.SATISFIED}


@pytest.mark.parametrize(("length", "fires"), [("0.3 m", False), ("0.31 m", True)])
def test_the_fuse_stands_within_three_tenths_of_a_metre(length: str, fires: bool) -> None:
    # 0.3 m: common practice, no source.
    assert bool(violated(battery.FUSE_AT_POST, {"runs.R7.length": length})) is fires


def test_a_floating_battery_is_fused_on_both_posts() -> None:
    edit = {
        "job.earthing": "floating",
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
        "runs.R5": None,
    }

    assert [f.subject for f in violated(battery.FUSE_AT_POST, edit)] == ["R8.2"]


def test_a_second_cable_at_the_post_needs_a_fuse_of_its_own() -> None:
    edit = {"runs.R8.conductors[2].to": "BT1.+"}

    assert "R8.3" in {f.subject for f in violated(battery.FUSE_AT_POST, edit)}


def test_two_batteries_in_series_are_judged_at_their_outer_posts() -> None:
    edit = {
        "batteries.BT1.series": 1,
        "batteries.BT2": {"part": "battery-r", "series": 1, "location": "pump house"},
        "runs.R8.conductors[1].from": "BT2.-",
        "runs.R9": {
            "wire": "thwn2-r",
            "size": "6 AWG",
            "length": "0.4 m",
            "laid": "in enclosure",
            "conductors": [{"from": "BT2.+", "to": "BT1.-", "color": "black"}],
        },
    }

    for rule in battery.RULES:
        assert not violated(rule, edit), rule.id
    assert {f.verdict for f in of_rule(battery.CHARGE_CONTROL, edit)} == {Verdict.SATISFIED}


def test_a_booster_is_no_charge_controller() -> None:
    (finding,) = violated(battery.CHARGE_CONTROL, {"part:charger-r.type": "current booster"})

    assert "current booster" in finding.message


def test_the_stop_may_lie_at_the_empty_voltage_and_not_below() -> None:
    # 2 · 11.4 V = 22.8 V, the maker's figure; the same as 12 cells · 1.9 V (common practice, no source).
    assert not violated(battery.LOW_VOLTAGE_STOP, {"part:battery-r.empty_voltage": None})
    assert violated(battery.LOW_VOLTAGE_STOP, {"part:low-voltage-r.stops_below": "22.7 V"})
    assert violated(battery.LOW_VOLTAGE_STOP, {"part:low-voltage-r.restarts_above": "22.8 V"})


def test_the_set_points_of_a_disconnect_are_asked_for() -> None:
    assert not_checked(battery.LOW_VOLTAGE_STOP, {"part:low-voltage-r.stops_below": None})
    assert not_checked(battery.LOW_VOLTAGE_STOP, {"part:low-voltage-r.restarts_above": None})


def test_the_voltage_of_an_unknown_motor_is_asked_for() -> None:
    assert not_checked(battery.TOP_VOLTAGE, {"part:pump-r.max_voltage": None})


def test_without_a_setting_the_battery_gives_the_highest_voltage() -> None:
    edit = {"part:charger-r.highest_charge_voltage": None, "part:battery-r.highest_charge_voltage": "15.5 V"}

    assert "P1" in {f.subject for f in violated(battery.TOP_VOLTAGE, edit)}


def test_an_opening_just_large_enough_is_enough() -> None:
    # 12 vented cells of 100 Ah: 28 · 1.2 m³/h = 33.6 cm² (IEC 62485-2, from memory, unverified).
    box = {
        "part:battery-r.vented": True,
        "enclosures.BOX2": {"part": "box-r", "location": "pump house", "holds": ["BT1"]},
    }

    assert not violated(battery.GAS, {**box, "part:box-r.openings": "33.6 cm2"})
    assert violated(battery.GAS, {**box, "part:box-r.openings": "33.5 cm2"})
    # Valve-regulated cells give off less: 8 in place of 20 mA per Ah, so 13.44 cm².
    box["part:battery-r.vented"] = False
    assert not violated(battery.GAS, {**box, "part:box-r.openings": "13.5 cm2"})
    assert violated(battery.GAS, {**box, "part:box-r.openings": "13.4 cm2"})


def test_a_room_says_its_openings() -> None:
    assert not_checked(battery.GAS, {"locations.pump house.outdoors": False})
    assert not_checked(battery.GAS, {"part:battery-r.vented": None})


def test_lithium_cells_give_off_no_hydrogen() -> None:
    edit = {"part:battery-r.chemistry": "lithium iron phosphate", "locations.pump house.outdoors": False}

    assert {f.verdict for f in of_rule(battery.GAS, edit)} == {Verdict.SATISFIED}


# -- strings side by side, fuse at another place ------------------------------------------------------


def test_strings_of_one_entry_have_no_fuse_of_their_own() -> None:
    assert not violated(battery.STRINGS_SHARE, {})
    assert violated(battery.STRINGS_SHARE, {"batteries.BT1.parallel": 2})


def test_strings_of_two_entries_behind_one_fuse_are_found_at_their_posts() -> None:
    """Both strings meet at the fuse; with a fuse each, none is missing."""
    second = {"batteries.BT2": {"part": "battery-r", "series": 2, "location": "pump house"}}
    cables = {"wire": "thwn2-r", "size": "6 AWG", "length": "0.2 m", "laid": "in enclosure"}
    shared = {
        **second,
        "runs.R9": {
            **cables,
            "conductors": [
                {"from": "BT2.+", "to": "F0.1", "color": "red"},
                {"from": "BT2.-", "to": "BT1.-", "color": "white"},
            ],
        },
    }
    own = {
        **shared,
        "fuses.F9": {"part": "fuse-r", "location": "pump house"},
        "runs.R9.conductors": [
            {"from": "BT2.+", "to": "F9.1", "color": "red"},
            {"from": "F9.2", "to": "F0.2", "color": "red"},
            {"from": "BT2.-", "to": "BT1.-", "color": "white"},
        ],
    }

    assert {f.subject for f in violated(battery.FUSE_AT_POST, shared)} == {"R7.1", "R9.1"}
    assert not violated(battery.FUSE_AT_POST, own)


def test_a_fuse_at_another_place_is_as_far_as_that_place() -> None:
    assert violated(battery.FUSE_AT_POST, {"fuses.F0.location": "array"})
    near = {"fuses.F0.location": "array", "sightlines.0.distance": "0.3 m"}
    assert not violated(battery.FUSE_AT_POST, near)


def test_a_fuse_at_a_place_of_unknown_distance_is_a_gap() -> None:
    assert not_checked(battery.FUSE_AT_POST, {"fuses.F0.location": "tank"})
