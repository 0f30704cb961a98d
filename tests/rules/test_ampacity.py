"""Edges of the ampacity rules. Figures: NEC 2023 Table 310.16, worked reference job (own arithmetic)."""

from __future__ import annotations

import pytest

from specc.rules._edits import PV_DIRECT
from specc.rules._rule import Rule
from specc.rules.ampacity import BOOSTER_OUTPUT, CORRECTED, MOTOR_CIRCUIT, PV_CIRCUIT, TERMINAL_TEMPERATURE
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

# The motor run of the reference job in 14 AWG: 15 A at 60 °C terminals (NEC 2023 Table 310.16).
THIN_MOTOR_RUN = {**PV_DIRECT, "runs.R3.size": "14 AWG"}

SECOND_PUMP = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "10 m",
        "raceway": "C2",
        "conductors": [
            {"from": "DS1.2", "to": "P2.+", "color": "red"},
            {"from": "CB1.motor-", "to": "P2.-", "color": "white"},
        ],
    },
}

SECOND_ARRAY = {
    "panels.PV1.parallel": 1,
    "panels.PV2": {"part": "panel-r", "series": 2, "parallel": 1, "location": "array"},
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "14 AWG",
        "length": "5 m",
        "laid": "out of reach",
        "conductors": [
            {"from": "PV2.+", "to": "PV1.+", "color": "red"},
            {"from": "PV2.-", "to": "PV1.-", "color": "white"},
        ],
    },
}


@pytest.mark.parametrize(("isc", "fires"), [("4.79 A", False), ("4.8 A", False), ("4.81 A", True)])
def test_array_conductor_at_its_limit(isc: str, fires: bool) -> None:
    # 14 AWG at 60 °C terminals: 15 A = 1.5625 · 2 · 4.8 A (NEC 2023 690.8)
    edit = {"runs.R1.size": "14 AWG", "part:panel-r.isc": isc, "part:panel-r.imp": "4.4 A"}

    assert ("R1.1" in fired(PV_CIRCUIT, edit)) is fires
    assert ("R1.1" in held(PV_CIRCUIT, edit)) is not fires


def test_each_array_loads_its_own_conductor_and_both_load_the_common_one() -> None:
    # own arithmetic: 1.25 · 6 A = 7.5 A in the one, 15 A in the other
    figures = numbers(CORRECTED, SECOND_ARRAY, "maximum current of the array")

    assert figures["PV2"].value == pytest.approx(7.5)
    assert figures["PV1, PV2"].value == pytest.approx(15.0)
    assert not fired(PV_CIRCUIT, SECOND_ARRAY)  # 14 AWG carries 15 A, 9.375 A are wanted


def test_the_fix_names_the_next_size_that_serves() -> None:
    three_strings = {"runs.R1.size": "14 AWG", "panels.PV1.parallel": 4}

    # 1.5625 · 24 A = 37.5 A: 8 AWG with 40 A (NEC 2023 Table 310.16, 60 °C)
    assert "8 AWG" in fired(PV_CIRCUIT, three_strings)["R1.1"].fix
    assert "R1.1" not in fired(PV_CIRCUIT, {**three_strings, "runs.R1.size": "8 AWG"})


def test_corrected_ampacity_on_a_sunny_roof() -> None:
    # worked reference job (own arithmetic): 30 · 0.50 · 0.80 = 12.0 A
    edit = {
        "raceways.C1.buried": None,
        "raceways.C1.on_roof": True,
        "runs.R3.raceway": "C1",
        "runs.R1.size": "12 AWG",
    }

    assert numbers(CORRECTED, edit, "corrected ampacity")["R1.1"].value == pytest.approx(12.0)


def test_array_may_have_exactly_what_the_corrected_ampacity_allows() -> None:
    # 10 AWG: 40 · 0.50 · 0.80 = 16.0 A = 1.25 · 2 · 6.4 A
    edit = {"raceways.C1.buried": None, "raceways.C1.on_roof": True, "runs.R3.raceway": "C1"}

    assert not fired(CORRECTED, {**edit, "part:panel-r.isc": "6.4 A"})
    assert "R1.1" in fired(CORRECTED, {**edit, "part:panel-r.isc": "6.41 A"})


def test_power_conductor_too_small_for_the_table_goes_by_the_small_conductor_limit() -> None:
    # 18 AWG: 7 A (NEC 2023 240.4(D)(1), from memory, unverified)
    found = fired(MOTOR_CIRCUIT, {"runs.R3.size": "18 AWG"})["R3.1"]

    assert found.actual == "7 A"
    assert found.required == "10 A"


def test_cool_insulation_on_hot_terminals_sets_the_column() -> None:
    # 10 AWG: 30 A in the 60 °C column, 35 A in the 75 °C one (NEC 2023 Table 310.16)
    hot = {f"part:{part}.wire.temperature": "75 degC" for part in ("isolator-r", "pump-r")}
    figures = numbers(TERMINAL_TEMPERATURE, hot, "ampacity at the terminals")
    cool = {**hot, "part:thwn2-r.insulation_temperature": "60 degC"}

    assert figures["R3.1"].value == 35.0
    assert numbers(TERMINAL_TEMPERATURE, cool, "ampacity at the terminals")["R3.1"].value == 30.0


@pytest.mark.parametrize(("rated", "fires"), [("11.9 A", False), ("12 A", False), ("12.1 A", True)])
def test_motor_conductor_at_its_limit(rated: str, fires: bool) -> None:
    # 15 A = 1.25 · 12 A (NEC 2023 430.22)
    edit = {**THIN_MOTOR_RUN, "part:pump-r.rated_current": rated}

    assert ("R3.1" in fired(MOTOR_CIRCUIT, edit)) is fires


def test_two_motors_on_one_conductor() -> None:
    # 1.25 · 8 A + 8 A = 18 A (NEC 2023 430.24); each branch alone 10 A
    figures = numbers(MOTOR_CIRCUIT, SECOND_PUMP, "conductor for motors")

    assert figures["R2.2"].value == pytest.approx(18.0)
    assert figures["R9.1"].value == pytest.approx(10.0)


def test_heat_counts_for_motor_conductors_too() -> None:
    # 14 AWG, 90 °C column: 25 · 0.41 at 80 °C = 10.25 A (NEC 2023 Table 310.15(B)(1)(1)) under 1.25 · 8.5 A
    hot = {"runs.R3.size": "14 AWG", "runs.R3.hottest": "59 degC"}
    roof = {"raceways.C2.buried": None, "raceways.C2.on_roof": True}  # + 33 K: beyond the table at 92 °C

    assert "R3.1" not in fired(MOTOR_CIRCUIT, hot)
    assert "R3.1" in not_checked(MOTOR_CIRCUIT, {**hot, **roof})
    warm = {**hot, **roof, "runs.R3.hottest": "47 degC", "part:pump-r.rated_current": "8.5 A"}
    assert "R3.1" in fired(MOTOR_CIRCUIT, warm)


@pytest.mark.parametrize(("rating", "fires"), [("12 A", False), ("12.1 A", True)])
def test_booster_output_at_its_limit(rating: str, fires: bool) -> None:
    # 14 AWG at 60 °C terminals: 15 A = 1.25 · 12 A (NEC 2023 690.8)
    edit = {"runs.R3.size": "14 AWG", "part:booster-r.output_current": rating}

    assert ("R3.1" in fired(BOOSTER_OUTPUT, edit)) is fires


def test_array_run_is_not_judged_by_the_booster() -> None:
    assert not any(tag.startswith("R1") for tag in held(BOOSTER_OUTPUT, {}))


def test_the_coolest_end_is_named() -> None:
    edit = {
        "panels.PV1.parallel": 6,
        "runs.R1.size": "8 AWG",
        "part:panel-r.wire.temperature": "75 degC",
    }

    assert "ends on Q1.1, good for 60 °C" in fired(TERMINAL_TEMPERATURE, edit)["R1.1"].message


@pytest.mark.parametrize(
    ("rule", "place"),
    [
        (PV_CIRCUIT, "site.hottest_air"),
        (CORRECTED, "part:thwn2-r.insulation_temperature"),
        (BOOSTER_OUTPUT, "part:booster-r.output_current"),
        (MOTOR_CIRCUIT, "part:pump-r.rated_current"),
    ],
)
def test_what_is_missing_is_never_a_pass(rule: Rule, place: str) -> None:
    edit = {place: None}

    assert missing(rule, edit)
    assert not_checked(rule, edit)
    assert not any(tag.startswith("R3") for tag in held(rule, edit))


def test_conductors_that_no_current_passes_are_not_looked_at() -> None:
    assert not any(tag.startswith(("R4", "R6")) for tag in held(CORRECTED, {}))
