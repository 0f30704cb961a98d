"""Edges of the raceway rules. Figures: NEC 2023 Chapter 9 Tables 1, 4, 5 and Table 300.5(A), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules.raceway import COVER, ENDS_EARLY, FILL, MIXED_CIRCUITS
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

IN2 = 0.0254**2

# A pump of its own battery, whose conductors run through the array's raceway.
OTHER_SYSTEM: dict[str, Any] = {
    "batteries.BT2": {"part": "battery-r", "series": 2, "location": "array"},
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "14 AWG",
        "length": "10 m",
        "raceway": "C1",
        "conductors": [
            {"from": "BT2.+", "to": "P2.+", "color": "red"},
            {"from": "BT2.-", "to": "P2.-", "color": "black"},
        ],
    },
}


def _only(*conductors: dict[str, str]) -> dict[str, Any]:
    """The array run with these conductors alone, in 1/2 in conduit."""
    return {"part:conduit-r.trade_size": "1/2 in", "runs.R1.conductors": list(conductors)}


PLUS = {"from": "PV1.+", "to": "Q1.1", "color": "red"}
MINUS = {"from": "PV1.-", "to": "CB1.pv-", "color": "white"}


def test_fill_counts_grounding_conductors() -> None:
    # 2 · 0.0211 + 0.0133 in² in 0.508 in²
    figure = numbers(FILL, {}, "raceway fill")["C1"]

    assert figure.value == pytest.approx((2 * 0.0211 + 0.0133) / 0.508)


@pytest.mark.parametrize(
    ("edit", "share"),
    [
        (_only({**PLUS, "size": "6 AWG"}), 0.53),
        (_only({**PLUS, "size": "6 AWG"}, {**MINUS, "size": "6 AWG"}), 0.31),
    ],
)
def test_one_and_two_conductors_have_shares_of_their_own(edit: dict[str, Any], share: float) -> None:
    # 6 AWG: 0.0507 in² each in 0.285 in²: 17.8 % and 35.6 %
    fires = bool(fired(FILL, edit))

    assert fires is (0.0507 * len(edit["runs.R1.conductors"]) / 0.285 > share)


def test_short_nipple_may_be_fuller() -> None:
    # six of 10 AWG in 1/2 in: 44.4 %, 60 % in a nipple of 600 mm (NEC 2023 Chapter 9 note 4)
    six = {
        "part:conduit-r.trade_size": "1/2 in",
        "runs.R1.conductors[2].size": "10 AWG",
        "runs.R3.raceway": "C1",
    }

    assert "C1" in fired(FILL, six)
    assert "C1" not in fired(FILL, {**six, "raceways.C1.length": "0.6 m"})


def test_suggested_trade_size_serves() -> None:
    six = {"runs.R1.conductors[2].size": "10 AWG", "runs.R3.raceway": "C1"}

    assert "3/4" in fired(FILL, {**six, "part:conduit-r.trade_size": "1/2 in"})["C1"].fix
    assert "C1" in held(FILL, {**six, "part:conduit-r.trade_size": "3/4 in"})


def test_conductor_outside_the_table_goes_by_its_own_diameter() -> None:
    # 18 AWG is not in Table 5: 2.8 mm over all, 6.158 mm²
    sizes = [
        {"size": "18 AWG", "price": 24.0, "pack_length": "75 m", "outer": "2.8 mm"},
        {"size": "14 AWG", "price": 32.0, "pack_length": "75 m"},
    ]
    edit = {
        "runs.R4.raceway": "C2",
        "runs.R4.laid": None,
        "runs.R4.buried": None,
        "part:control-r.sizes": sizes,
    }
    figure = numbers(FILL, edit, "raceway fill")["C2"]

    assert figure.value == pytest.approx((3 * 0.0211 + 4 * 6.158e-6 / IN2) / 0.508, rel=1e-3)


def test_conductor_of_unknown_size_is_not_guessed() -> None:
    edit = {"runs.R4.raceway": "C2", "runs.R4.laid": None, "runs.R4.buried": None}

    assert "C2" in not_checked(FILL, edit)


def test_what_the_fill_lacks_does_not_hide_the_bends() -> None:
    edit = {"runs.R4.raceway": "C2", "runs.R4.laid": None, "runs.R4.buried": None, "raceways.C2.bends": 5}

    assert "450°" in fired(FILL, edit)["C2"].message


def test_other_circuits_leave_the_fill_undecided() -> None:
    assert "C1" in not_checked(FILL, {"raceways.C1.other_circuits": ["house 120 V AC"]})


def test_empty_raceway_is_not_looked_at() -> None:
    assert "C2" not in held(FILL, {"runs.R3.raceway": "C1"})


@pytest.mark.parametrize(("depth", "fires"), [("449 mm", True), ("450 mm", False), ("18 in", False)])
def test_cover_at_its_limit(depth: str, fires: bool) -> None:
    assert ("C1" in fired(COVER, {"raceways.C1.buried": depth})) is fires


@pytest.mark.parametrize(("units", "asked"), [("us", "24 in"), ("si", "600 mm")])
def test_cover_is_asked_for_as_the_table_prints_it(units: str, asked: str) -> None:
    # NFPA 70 (2023) Table 300.5(A): 24 in, beside it 600 mm, for cable direct in the ground.
    found = fired(COVER, {"job.units": units, "runs.R5.laid": "direct buried", "runs.R5.buried": "16 in"})

    assert f"at least {asked}" == found["R5"].required
    assert f"Bury R5 {asked} deep" in found["R5"].fix


def test_thin_metal_tube_has_no_relief() -> None:
    shallow = {"raceways.C1.buried": "150 mm"}

    assert "C1" in fired(COVER, {**shallow, "part:conduit-r.raceway": "emt"})
    assert "C1" not in fired(COVER, {**shallow, "part:conduit-r.raceway": "rigid-metal"})


def test_24_volt_array_is_no_low_voltage_control_circuit() -> None:
    edit = {"panels.PV1.series": 1, "raceways.C1.buried": "150 mm"}

    assert "C1" in fired(COVER, edit)


@pytest.mark.parametrize(("volts", "fires"), [("30 V", False), ("31 V", True)])
def test_control_loop_may_lie_shallow_up_to_30_volts(volts: str, fires: bool) -> None:
    edit = {"runs.R4.buried": "150 mm", "part:booster-r.remote.open_voltage": volts}

    assert ("R4" in fired(COVER, edit)) is fires


def test_depth_of_a_cable_in_the_ground_must_be_known() -> None:
    edit = {"runs.R4.buried": None}

    assert missing(COVER, edit)
    assert "R4" not in held(COVER, edit)


def test_raceway_above_ground_needs_no_cover() -> None:
    assert "C1" not in {
        **fired(COVER, {"raceways.C1.buried": None}),
        **held(COVER, {"raceways.C1.buried": None}),
    }


def test_another_system_is_found_by_its_wiring() -> None:
    assert "R9.1" in fired(MIXED_CIRCUITS, OTHER_SYSTEM)["C1"].message
    assert "C1" not in fired(MIXED_CIRCUITS, {**OTHER_SYSTEM, "raceways.C1.divider": True})


def test_motor_run_of_the_same_system_may_share() -> None:
    assert not fired(MIXED_CIRCUITS, {"runs.R3.raceway": "C1"})


def test_missing_insulation_rating_does_not_hide_strangers() -> None:
    edit = {**OTHER_SYSTEM, "part:thwn2-r.voltage": None}

    assert "C1" in fired(MIXED_CIRCUITS, edit)
    assert missing(MIXED_CIRCUITS, edit)


# A run may be 3 m, or five feet at either end, longer than its raceway (common practice, no source).
@pytest.mark.parametrize(("length", "fires"), [("13.0 m", False), ("13.1 m", True)])
def test_a_run_goes_on_behind_its_raceway_for_its_tails_only(length: str, fires: bool) -> None:
    assert ("R1" in fired(ENDS_EARLY, {"runs.R1.length": length})) is fires


@pytest.mark.parametrize(("length", "fires"), [("330 ft", False), ("331 ft", True)])
def test_ten_feet_of_tails_are_ten_feet(length: str, fires: bool) -> None:
    found = fired(ENDS_EARLY, {"job.units": "us", "raceways.C1.length": "320 ft", "runs.R1.length": length})

    assert ("R1" in found) is fires
    assert not fires or found["R1"].required.startswith("at most 10 ft of it outside")


def test_a_run_that_says_how_the_rest_is_laid_may_go_on() -> None:
    edit = {"runs.R3.length": "30 m", "runs.R3.laid": "out of reach"}
    assert not fired(ENDS_EARLY, edit)
