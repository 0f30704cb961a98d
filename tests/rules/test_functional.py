"""Edges of the rules on functional earthing. Figures: worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity
from specc.rules import disconnect, fuse, ground
from specc.rules._variants import BATTERY, FUNCTIONAL, FUNCTIONAL_BY_FUSE, FUNCTIONAL_INSIDE
from specc.rules.control import FAILS_RUNNING
from specc.rules.disconnect import _TWO_POLES
from specc.rules.functional import _BY_RESISTOR, _ON_BATTERY, FUNCTIONAL_DEVICE, FUNCTIONAL_LEAD
from tests.reference import check_edited
from tests.rules.answers import found, missing

DEVICE = "part:functional-r.functional_earth"


@pytest.mark.parametrize(("volts", "fires"), [("49.2 V", True), ("49.28 V", False)])
def test_the_device_stands_the_coldest_morning(volts: str, fires: bool) -> None:
    # 49.28 V is the cold open-circuit voltage of the reference job.
    assert bool(found(FUNCTIONAL_DEVICE, {**FUNCTIONAL, f"{DEVICE}.dc_voltage": volts})) is fires


@pytest.mark.parametrize(("rating", "fires"), [("1 A", False), ("1.01 A", True)])
def test_the_rating_keeps_to_the_table(rating: str, fires: bool) -> None:
    # 1 A up to 25 kW of array: IEC 62548-1, UL 1741; from memory, unverified.
    assert bool(found(FUNCTIONAL_DEVICE, {**FUNCTIONAL, f"{DEVICE}.rating": rating})) is fires


@pytest.mark.parametrize(("isc", "fires"), [("0.72 A", True), ("0.73 A", False)])
def test_an_earth_fault_must_open_the_device(isc: str, fires: bool) -> None:
    # Two strings against 1.45 · 1 A (a fuse of unknown class, taken as gPV): 1.44 and 1.46 A.
    edit = {**FUNCTIONAL, "part:panel-r.isc": isc, "part:panel-r.imp": "0.6 A"}
    assert bool(found(FUNCTIONAL_DEVICE, edit)) is fires


@pytest.mark.parametrize(("breaks", "fires"), [("3.1 kA", True), ("3.2 kA", False)])
def test_the_device_breaks_what_a_battery_drives_into_an_earth_fault(breaks: str, fires: bool) -> None:
    # IEC 61660-1: 1.05 · 24 V / 8 mohm = 3 150 A, without cable; the array adds 15 A.
    edit = {**_ON_BATTERY, f"{DEVICE}.breaking_capacity": breaks}
    assert bool(found(FUNCTIONAL_DEVICE, edit)) is fires


@pytest.mark.parametrize(("ohm", "fires"), [("1642 ohm", True), ("1643 ohm", False)])
def test_a_resistor_holds_the_fault_to_30_milliampere(ohm: str, fires: bool) -> None:
    # 49.28 V / 0.03 A = 1 642.7 ohm; 30 mA: IEC 62109-2 4.8.2.2, from memory, unverified.
    assert bool(found(FUNCTIONAL_DEVICE, {**_BY_RESISTOR, f"{DEVICE}.resistance": ohm})) is fires


@pytest.mark.parametrize("key", ["rating", "dc_voltage", "breaking_capacity"])
def test_a_figure_that_the_part_lacks_is_a_finding(key: str) -> None:
    assert missing(FUNCTIONAL_DEVICE, {**FUNCTIONAL, f"{DEVICE}.{key}": None})


@pytest.mark.parametrize("variant", [FUNCTIONAL, FUNCTIONAL_INSIDE, FUNCTIONAL_BY_FUSE])
def test_both_poles_are_opened_whatever_makes_the_joint(variant: dict[str, Any]) -> None:
    assert {f.subject for f in found(disconnect.POLES, variant)} == {"Q1", "DS1"}
    assert found(ground.COLOUR_ROLE, {**variant, "runs.R3.conductors[1].color": "white"})


def test_a_whole_functional_job_is_sound() -> None:
    device = {k: v for k, v in FUNCTIONAL.items() if k != "enclosures.BOX1.holds"}
    holds = ["CB1", "F1", "DS1", "DS2", "GF1"]
    loud = [
        f
        for f in check_edited({**_TWO_POLES, **device, "enclosures.BOX1.holds": holds}).findings
        if f.verdict.value != "satisfied" and f.severity is not Severity.ADVICE
    ]

    assert not loud, [f.message for f in loud]


def test_a_functional_joint_on_the_positive_is_one_as_well() -> None:
    on_plus = {**FUNCTIONAL, "runs.R5.conductors[1].to": "CB1.pv+", "runs.R5.conductors[1].color": "red"}

    assert not found(ground.BOND_MISSING, on_plus)
    assert not found(FUNCTIONAL_DEVICE, on_plus)


def test_metric_colours_of_the_conductor_to_earth() -> None:
    # IEC 60445:2021: pink for functional earthing, green-and-yellow for protection alone.
    def wrong(colour: str) -> bool:
        edit = {**FUNCTIONAL, "job.rulebook": "iec", "runs.R5.conductors[2].color": colour}
        return "R5.3" in {f.subject for f in found(ground.COLOUR_ROLE, edit)}

    assert not wrong("pink")
    assert wrong("green-yellow")


def test_a_wire_round_the_fuse_makes_the_joint_solid() -> None:
    bridged = {
        **FUNCTIONAL_BY_FUSE,
        "runs.R5.conductors[3]": {"from": "F9.1", "to": "F9.2", "color": "black"},
    }

    (finding,) = found(ground.BOND_MISSING, bridged)
    assert "solidly" in finding.message


def test_both_posts_of_a_battery_are_fused() -> None:
    from specc.rules.battery import FUSE_AT_POST

    assert not found(FUSE_AT_POST, BATTERY)
    assert {f.subject for f in found(FUSE_AT_POST, _ON_BATTERY)} == {"R8.2"}


def test_a_float_in_the_functionally_earthed_conductor_can_be_passed_by() -> None:
    in_return = {
        **FUNCTIONAL,
        "switches.LS2": None,
        "switches.TS1": None,
        "runs.R4.conductors": [
            {"from": "CB1.remote1", "to": "GF1.1", "color": "blue"},
            {"from": "GF1.2", "to": "CB1.remote2", "color": "blue"},
        ],
        "runs.R3.conductors[1]": {"from": "CB1.motor-", "to": "LS1.1", "color": "black"},
        "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.-", "color": "black"},
    }
    assert found(FAILS_RUNNING, in_return)


def test_a_fuse_in_the_lead_is_no_fuse_of_a_circuit() -> None:
    assert not [f for f in found(fuse.CANNOT_CLEAR, FUNCTIONAL_BY_FUSE) if f.subject == "F9"]
    assert not [f for f in found(fuse.IN_GROUNDED, FUNCTIONAL_BY_FUSE) if f.subject == "F9"]


def test_fuses_in_both_poles_are_right_where_one_is_functionally_earthed() -> None:
    both = {
        **FUNCTIONAL,
        "job.rulebook": "iec",
        "fuses.F2": {"part": "fuse-r", "location": "pump house"},
        "runs.R2.conductors[3]": {"from": "CB1.motor-", "to": "F2.1", "color": "white"},
        "runs.R3.conductors[1].from": "F2.2",
    }
    assert not found(fuse.IN_GROUNDED, both)


@pytest.mark.parametrize(("size", "fires"), [("16 AWG", True), ("14 AWG", False)])
def test_least_lead_in_the_box(size: str, fires: bool) -> None:
    # NFPA 70 (2023) Table 250.122, smallest row; from memory, unverified.
    assert bool(found(FUNCTIONAL_LEAD, {**FUNCTIONAL, "runs.R5.size": size})) is fires


def test_the_conductor_to_earth_is_not_sized_as_a_protective_one() -> None:
    small = {**FUNCTIONAL, "runs.R5.conductors[2].size": "14 AWG"}

    assert not [f for f in found(ground.EGC_SIZE, small) if f.subject == "R5.3"]


def test_metal_on_that_conductor_is_still_protected() -> None:
    # The motor's case on the device's own terminal: what leads on to the bar protects it.
    through = {
        **FUNCTIONAL,
        "runs.R3.conductors[2]": {"from": "P1.case", "to": "GF1.ground", "color": "green"},
        "runs.R5.conductors[2].size": "18 AWG",
    }
    assert "R5.3" in {f.subject for f in found(ground.EGC_SIZE, through)}
