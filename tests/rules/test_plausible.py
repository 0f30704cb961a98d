"""Edges of the rule on values that look mistyped. Bands: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.reading.catalog import Catalog
from specc.rulebooks import load_handbook
from specc.rules.plausible import IMPLAUSIBLE, OF_KIND
from specc.system.model import Device
from tests.rules.answers import found, missing, subjects
from tests.rules.by_subject import fired, held, not_checked

NARROW = {"part:pipe-r.bore": "9 mm"}  # 2.6 m/s at 10 L/min


@pytest.mark.parametrize(
    "edit",
    [
        {"source.WELL.water_level": "-3.5 m"},  # below the drawn-down level
        {"source.WELL.bottom": "-4.4 m"},  # above the intake
        {"source.WELL.water_level": "1.0 m"},  # above the rim
    ],
)
def test_levels_of_a_source_that_cannot_be_are_an_error(edit: dict[str, Any]) -> None:
    assert fired(IMPLAUSIBLE, edit)["WELL"].severity is Severity.ERROR


@pytest.mark.parametrize(
    ("edit", "subject"),
    [
        ({"part:panel-r.voc": "17.9 V"}, "PV1"),  # less than Vmp
        ({"part:panel-r.isc": "5.5 A"}, "PV1"),  # less than Imp
        ({"part:panel-r.isc": "0.6 A", "part:panel-r.imp": "0.556 A"}, "PV1"),  # 10 W on a label of 100 W
        ({"part:panel-r.voc_coefficient": "-0.03 %/K"}, "PV1"),
        ({"batteries.BT1": {"part": "battery-r"}, "part:battery-r.internal_resistance": "4.0 ohm"}, "BT1"),
        ({"site.coldest_air": "38 degC"}, ""),
    ],
)
def test_what_cannot_be_and_switches_other_checks_off_is_an_error(edit: dict[str, Any], subject: str) -> None:
    errors = [f for f in found(IMPLAUSIBLE, edit) if f.severity is Severity.ERROR]

    assert subjects(errors) == {subject}


@pytest.mark.parametrize(
    "edit",
    [
        {"site.coldest_air": "-4 degC"},
        {"site.coldest_air": "1 degC", "site.frost_depth": "0.2 m"},
        {"panels.PV1.azimuth": "61 deg"},
        {"panels.PV1.azimuth": "0 deg", "site.latitude": 20.0},
        {"panels.PV1.azimuth": "0 deg", "site.latitude": -40.0},
        {"tank.TK1.part": "tank-pe-1500gal", "tank.TK1.capacity": "1000 gal"},
        {"raceways.C1.buried": "2.4 m"},
    ],
)
def test_placing_frost_and_cover_within_what_is_usual(edit: dict[str, Any]) -> None:
    assert not fired(IMPLAUSIBLE, edit)


@pytest.mark.parametrize(
    ("edit", "subject"),
    [
        ({"part:panel-r.power": "120 W"}, "PV1"),  # 100.1 W by Vmp and Imp
        ({"part:panel-r.vmp": "14 V"}, "PV1"),
        ({"part:panel-r.isc": "5.6 A"}, "PV1"),
        ({"part:panel-r.voc_coefficient": "-0.15 %/K"}, "PV1"),
        ({"part:panel-r.cells": 60}, "PV1"),
        ({"part:panel-r.series_fuse": "30 A"}, "PV1"),
        ({"part:booster-r.efficiency": 0.5}, "CB1"),
        ({"part:pump-r.efficiency": 0.7}, "P1"),
        ({"part:pump-r.armature_resistance": "6 ohm"}, "P1"),
        ({"part:pump-r.stall_current": "49 A"}, "P1"),  # 24 V / 0.6 ohm are 40 A: 22 % off
        ({"part:pump-r.stall_current": "31 A"}, "P1"),
        ({"site.sun": [3.0] * 11 + [10.0]}, ""),
        ({"site.coldest_air": "21 degC"}, ""),
        ({"source.WELL.low_water_level": "-8.1 m"}, "P1"),
        ({"batteries.BT1": {"part": "battery-r"}, "part:battery-r.internal_resistance": "100 mohm"}, "BT1"),
        ({"site.hottest_air": "14 degC"}, ""),
        ({"site.coldest_air": "1 degC"}, ""),  # where the ground freezes 0.9 m deep
        ({"site.coldest_air": "-9 degC", "site.frost_depth": "1.0 m"}, ""),
        ({"panels.PV1.azimuth": "55 deg"}, "PV1"),  # 125 deg off the noon sun
        ({"runs.R4.buried": "8.5 ft"}, "R4"),
        (NARROW, "D3"),
    ],
)
def test_what_lies_out_of_its_band_is_told(edit: dict[str, Any], subject: str) -> None:
    finding = fired(IMPLAUSIBLE, edit)[subject]

    assert finding.severity is Severity.WARNING
    assert finding.fix


@pytest.mark.parametrize(
    ("power", "fires"), [("95 W", True), ("95.1 W", False), ("105 W", False), ("106 W", True)]
)
def test_label_power_just_in_and_out_of_5_percent(power: str, fires: bool) -> None:
    # 18.0 V x 5.56 A = 100.08 W: 95.08 W to 105.08 W
    assert bool(fired(IMPLAUSIBLE, {"part:panel-r.power": power})) is fires


@pytest.mark.parametrize("amperes", ["32.1 A", "40 A", "47.9 A"])
def test_a_stall_current_within_20_percent_of_the_resistance(amperes: str) -> None:
    # 24 V / 0.6 ohm = 40 A
    assert not fired(IMPLAUSIBLE, {"part:pump-r.stall_current": amperes})


def test_hot_as_cold_is_no_range() -> None:
    assert "" in fired(IMPLAUSIBLE, {"site.coldest_air": "19 degC", "site.hottest_air": "19 degC"})


def test_feet_for_metres_are_suggested() -> None:
    # 15 ft are 4.6 m
    finding = fired(IMPLAUSIBLE, {"source.WELL.low_water_level": "-15 m", "source.WELL.intake": None})["P1"]

    assert "ft meant" in finding.fix


def test_very_fast_water_is_not_plausible() -> None:
    # 10 L/min in 9 mm: 2.62 m/s; in 11 mm: 1.75 m/s, which is left to the rules on velocity
    assert fired(IMPLAUSIBLE, {"part:pipe-r.bore": "9 mm"})["D3"].severity is Severity.WARNING
    assert "D3" not in fired(IMPLAUSIBLE, {"part:pipe-r.bore": "11 mm"})


def test_a_wide_pipe_is_no_more_than_advice() -> None:
    # 10 L/min in 60 mm: 0.06 m/s
    findings = found(IMPLAUSIBLE, {"part:pipe-r.bore": "60 mm"})

    assert findings
    assert {f.severity for f in findings} == {Severity.ADVICE}


def test_a_gap_in_the_data_sheet_does_not_hide_the_lift() -> None:
    edit = {"part:pump-r.table": [], "source.WELL.low_water_level": "-34 m"}

    assert missing(IMPLAUSIBLE, edit)
    assert "P1" in fired(IMPLAUSIBLE, edit)


def test_what_is_not_given_cannot_be_odd() -> None:
    bare = {f"part:panel-r.{key}": None for key in ("power", "series_fuse", "voc_coefficient", "cells")}

    assert not fired(IMPLAUSIBLE, bare)
    assert "PV1" in held(IMPLAUSIBLE, bare)


def test_a_pump_that_lifts_nothing_has_no_velocity() -> None:
    curve = [
        {"voltage": "24 V", "head": "10 m", "flow": "10 L/min", "current": "2 A"},
        {"voltage": "24 V", "head": "20 m", "flow": "0 L/min", "current": "8 A"},
    ]

    assert "P1" in not_checked(IMPLAUSIBLE, {"part:pump-r.table": curve})


@pytest.mark.parametrize("kind", ["panel", "controller", "battery", "pump"])
def test_the_built_in_catalogue_is_plausible(kind: str) -> None:
    book, odd = load_handbook(), []
    for part in Catalog().parts(kind):
        device = Device(part.id, kind, kind, None, part, (), None)
        for value in OF_KIND[kind](device):
            if not book.plausible(value.band).holds(value.value):
                odd.append((part.id, value.what, value.value))

    assert odd == []
