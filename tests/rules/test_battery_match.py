"""Batteries that do not match each other, what charges them, or the cold."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.rules._variants import BATTERY
from specc.rules.battery_match import COLD_CHARGE, NEVER_FULL, UNLIKE
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked

TWO_STRINGS: dict[str, Any] = next(c.edit for c in UNLIKE.keeps_still if "side by side" in c.says)
TWO_ENTRIES: dict[str, Any] = next(c.edit for c in UNLIKE.keeps_still if "two entries" in c.says)
AGM = "lead-acid, absorbed glass mat"


def test_lithium_beside_lead_acid_is_a_danger_and_names_both() -> None:
    edit = {**TWO_STRINGS, "batteries.BT2.part": "battery-lfp-12v-100ah"}

    finding = fired(UNLIKE, edit)["BT2"]

    assert finding.severity is Severity.DANGER
    assert "BT1" in finding.message
    assert "lithium" in finding.message


def test_unequal_capacity_side_by_side_is_let_be_where_each_string_has_its_fuse() -> None:
    edit = {
        **TWO_STRINGS,
        "part:battery-r.chemistry": AGM,
        "batteries.BT2.part": "battery-agm-12v-55ah",
    }
    assert not fired(UNLIKE, edit)
    assert set(held(UNLIKE, edit)) == {"BT2"}


def test_unequal_number_of_blocks_side_by_side_is_a_danger() -> None:
    assert fired(UNLIKE, {**TWO_STRINGS, "batteries.BT2.series": 1})["BT2"].severity is Severity.DANGER


def test_unlike_parts_whose_chemistry_nobody_gives_cannot_be_judged() -> None:
    edit = {**TWO_ENTRIES, "batteries.BT2.part": "battery-agm-12v-55ah", "part:battery-r.chemistry": None}
    assert missing(UNLIKE, edit) == ["chemistry"]


# Reference bank: 2 x 12.9 V full; the array's label 2 x 18.0 V, 29.63 V hot (both by hand).
@pytest.mark.parametrize(
    ("edit", "severity"),
    [
        ({"part:panel-r.vmp": "12.8 V"}, Severity.ERROR),  # 25.6 < 25.8 V
        ({"part:panel-r.vmp": "13.0 V"}, Severity.WARNING),
        ({"part:charger-r.highest_charge_voltage": "25.7 V"}, Severity.ERROR),
        ({"part:charger-r.highest_charge_voltage": "29.7 V"}, Severity.WARNING),  # hot 29.63 V
    ],
)
def test_a_bank_that_never_gets_full(edit: dict[str, Any], severity: Severity) -> None:
    assert fired(NEVER_FULL, {**BATTERY, **edit})["CC1"].severity is severity


@pytest.mark.parametrize(
    "edit", [{}, {"part:charger-r.highest_charge_voltage": "25.8 V"}, {"part:charger-r.steps_up": True}]
)
def test_a_bank_that_gets_full(edit: dict[str, Any]) -> None:
    assert not fired(NEVER_FULL, {**BATTERY, **edit})


def test_modules_of_unknown_heat_are_not_passed() -> None:
    assert "CC1" in not_checked(NEVER_FULL, {**BATTERY, "part:panel-r.noct": None})


@pytest.mark.parametrize(
    ("edit", "fires"),
    [
        ({"site.coldest_air": "0 degC"}, False),
        ({"site.coldest_air": "-0.5 degC"}, True),
        ({"part:battery-r.coldest_charge": "-15 degC"}, False),
        ({"part:battery-r.coldest_charge": "-14 degC"}, True),
        ({"locations.pump house.coldest_air": "4 degC"}, False),
        ({"locations.pump house.coldest_air": "4 degC", "part:battery-r.coldest_charge": "5 degC"}, True),
    ],
)
def test_lithium_in_the_cold(edit: dict[str, Any], fires: bool) -> None:
    cold = {**BATTERY, "part:battery-r.chemistry": "Lithium iron phosphate", **edit}
    assert bool(fired(COLD_CHARGE, cold)) is fires
