"""Which cautions a job prints, and the figures it adds to them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from specc.documents.cautions import cautions_for, shut_down_order
from specc.documents.packet import Caution
from tests.jobs import solved
from tests.reference import read_edited

POND: Mapping[str, Any] = {"source.WELL.kind": "pond"}


def printed(edit: Mapping[str, Any]) -> dict[str, Caution]:
    return {caution.hazard: caution for caution in cautions_for(read_edited(edit)).cautions}


def test_every_hazard_of_a_well_job_is_there() -> None:
    assert list(printed({})) == [
        "Modules",
        "DC arc",
        "Stored energy",
        "Shutting down",
        "Short circuit from the array",
        "Automatic start",
        "Water running back",
        "Well, pit, cistern or tank",
        "Collapse and falls",
        "Lifting",
        "Pressure",
        "Lightning",
        "Heat and wet",
        "Working on the array",
        "Digging",
        "Frost",
        "Disinfection",
    ]


def test_a_tank_is_a_confined_space_beside_a_pond_too() -> None:
    found = printed(POND)
    assert "Well, pit, cistern or tank" in found
    assert "Open water" in found
    assert "Disinfection" not in found


def test_without_well_and_tank_there_is_no_confined_space() -> None:
    assert "Well, pit, cistern or tank" not in printed({**POND, "tank.TK1": None, "pipes.D3": None})


def test_the_edge_of_open_water_is_no_hazard_of_a_well() -> None:
    assert "Open water" not in printed({})


def test_drinking_water_asks_for_approved_materials() -> None:
    assert "Materials for drinking water" in printed({"job.use": "drinking"})
    assert "Materials for drinking water" in printed({"job.use": None})  # nobody ruled it out
    assert "Materials for drinking water" not in printed({"job.use": "stock"})


def test_the_dose_is_worked_out_for_the_water_that_stands_in_the_well() -> None:
    # Own arithmetic: 0.9 m across, 2.0 m of water: 1.27 m³, 127 g, 2.4 L of 5.25 % bleach.
    found = printed({"source.WELL.bottom": "-5.0 m"})["Disinfection"].text
    assert (
        "WELL at its standing level holds 1272 L: 127 g of chlorine, or 2.4 L of plain 5.25 % bleach" in found
    )


@pytest.mark.parametrize(
    ("edit", "missing"),
    [
        ({"source.WELL.bottom": None}, "WELL: bottom"),
        ({"source.WELL.diameter": None}, "WELL: diameter"),
        ({"source.WELL.bottom": "-2 m"}, "WELL: a bottom below its water level"),
    ],
)
def test_a_dose_that_cannot_be_worked_out_says_what_is_missing(edit: Mapping[str, Any], missing: str) -> None:
    assert f"The dose could not be worked out; missing: {missing}." in printed(edit)["Disinfection"].text


def test_the_time_to_wait_is_that_of_the_controller() -> None:
    assert printed({})["Stored energy"].text.endswith("CB1: 5 min.")
    unknown = printed({"part:booster-r.wait_time": None})["Stored energy"].text
    assert unknown.endswith("CB1: 5 min, its maker gives none.")


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("cedar-fold-orchard", ["DS3", "DS2", "DS1"]),  # motor, booster, array
        ("hazel-hollow-spring", ["DS2", "DS1"]),  # beside the pump, under the panel
        ("saltbush-paddock", ["DS3", "DS1", "DS2"]),  # the bank after the array that charges it
    ],
)
def test_the_order_of_shutting_down_goes_from_the_motor_back_and_parts_the_bank_last(
    name: str, order: list[str]
) -> None:
    # Followed by hand along each wiring; order of the two sides of a charger: common practice, no source.
    system = solved(name)
    (caution,) = (c for c in cautions_for(system).cautions if c.hazard == "Shutting down")

    assert [device.tag for device in shut_down_order(system)] == order
    assert f"open {', then '.join(order)}." in caution.text
    assert f"close {', then '.join(reversed(order))}." in caution.text
