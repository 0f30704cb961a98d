"""Edges of the voltage rules. Figures: the worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._edits import BATTERY, PV_DIRECT
from specc.rules.voltage import DEVICE_RATING, NO_DC_RATING, NOMINAL_MISMATCH, TOUCH_LIMIT
from tests.rules.answers import found, missing
from tests.rules.by_subject import fired, held, not_checked, numbers

FUSED_ARRAY: dict[str, Any] = {"breakers.Q1": None, "fuses.Q1": {"part": "fuse-r"}}

TWO_POLES: dict[str, Any] = {
    "part:breaker-r.dc_voltage": "96 V",
    "part:breaker-r.poles_in_series": 2,
    "part:breaker-r.poles": [{"between": ["1", "2"]}, {"between": ["3", "4"]}],
    "part:breaker-r.terminals": [{"name": name} for name in ("1", "2", "3", "4")],
}


# -- nominal voltages


def test_open_array_of_49_volts_is_no_mismatch_for_a_24_volt_motor() -> None:
    assert not fired(NOMINAL_MISMATCH, {})
    assert set(held(NOMINAL_MISMATCH, {})) == {"P1"}


@pytest.mark.parametrize(("nominal", "fires"), [("12.8 V", False), ("13.2 V", False), ("15.5 V", True)])
def test_battery_of_the_same_class_agrees(nominal: str, fires: bool) -> None:
    # two in series against 24 V: 25.6 V (lithium iron phosphate) and 26.4 V agree, 31 V is above 30 V
    assert bool(fired(NOMINAL_MISMATCH, {**BATTERY, "part:battery-r.nominal": nominal})) is fires


def test_motor_that_stands_more_may_run_above_its_nominal() -> None:
    wide = {**BATTERY, "part:pump-r.nominal_voltage": "12 V", "part:pump-r.max_voltage": "30 V"}
    unknown = {**wide, "part:pump-r.max_voltage": None}

    assert not fired(NOMINAL_MISMATCH, wide)
    assert missing(NOMINAL_MISMATCH, unknown)
    assert not held(NOMINAL_MISMATCH, unknown)


def test_output_clamp_below_the_nominal_is_what_the_motor_gets() -> None:
    motor = {"part:pump-r.nominal_voltage": "12 V", "part:pump-r.max_voltage": "15 V"}

    assert "P1" in fired(NOMINAL_MISMATCH, motor)
    assert not fired(NOMINAL_MISMATCH, {**motor, "controllers.CB1.output_clamp": "14.4 V"})


def test_motor_on_the_array_settles_where_the_current_is_the_pumps() -> None:
    figure = numbers(NOMINAL_MISMATCH, PV_DIRECT, "motor voltage on the array")["P1"]
    inputs = {i.symbol: i.value for i in figure.inputs}

    # worked reference job: 27.4 m and 5.32 A with a clean filter
    assert inputs["H"] == pytest.approx(27.4, abs=0.05)
    assert inputs["I"] == pytest.approx(5.32, abs=0.01)
    assert 36.0 < figure.value < 49.28  # between maximum power and open circuit


def test_overspeed_when_unloaded_is_advice_only() -> None:
    edit = {**PV_DIRECT, "panels.PV1.series": 1, "part:pump-r.max_voltage": "24.5 V"}
    mine = fired(NOMINAL_MISMATCH, edit)["P1"]

    assert mine.severity is Severity.ADVICE
    assert "24.64 V" in mine.message


def test_unlike_modules_on_one_motor_are_not_guessed() -> None:
    edit = {
        **PV_DIRECT,
        "panels.PV2": {"part": "panel-r", "series": 1, "location": "array"},
        "runs.R9": {
            "wire": "thwn2-r",
            "size": "10 AWG",
            "length": "5 m",
            "laid": "out of reach",
            "conductors": [
                {"from": "PV2.+", "to": "PV1.+", "color": "red"},
                {"from": "PV2.-", "to": "PV1.-", "color": "white"},
            ],
        },
    }

    assert not_checked(NOMINAL_MISMATCH, edit)
    assert not held(NOMINAL_MISMATCH, edit)


@pytest.mark.parametrize(
    "place", ["part:pump-r.max_voltage", "part:panel-r.vmp_coefficient", "site.coldest_air"]
)
def test_missing_data_of_a_motor_on_the_array(place: str) -> None:
    edit = {**PV_DIRECT, place: None}

    assert missing(NOMINAL_MISMATCH, edit)
    assert not held(NOMINAL_MISMATCH, edit)


# -- device ratings


@pytest.mark.parametrize(("rating", "fires"), [("49.2 V", True), ("49.28 V", False), ("49.3 V", False)])
def test_device_rated_for_exactly_the_cold_voltage(rating: str, fires: bool) -> None:
    assert ("Q1" in fired(DEVICE_RATING, {"part:breaker-r.dc_voltage": rating})) is fires


def test_holder_counts_apart_from_its_fuse() -> None:
    mine = fired(DEVICE_RATING, {**FUSED_ARRAY, "part:holder-r.dc_voltage": "40 V"})["Q1"]

    assert "holder of Q1" in mine.message


def test_what_a_holder_lacks_does_not_hide_the_fuse() -> None:
    edit = {**FUSED_ARRAY, "part:fuse-r.dc_voltage": "32 V", "part:holder-r.dc_voltage": None}

    assert "Q1" in fired(DEVICE_RATING, edit)
    assert missing(DEVICE_RATING, edit)


def test_everything_live_is_looked_at() -> None:
    seen = set(held(DEVICE_RATING, {}))

    assert {"Q1", "F1", "DS1", "PV1", "R1.1", "R1.2", "R2.1", "R3.2"} <= seen
    assert not {"LS1", "R4.1", "R1.3"} & seen  # control loop on no source; grounding conductor


def test_wire_terminal_block_and_module_count() -> None:
    assert "R1.1" in fired(DEVICE_RATING, {"part:thwn2-r.voltage": "48 V"})
    assert "PV1" in fired(DEVICE_RATING, {"part:panel-r.max_system_voltage": "45 V"})
    assert "TB1" in fired(DEVICE_RATING, {**PV_DIRECT, "part:block-r.voltage": "48 V"})


def test_cold_voltage_without_a_coefficient_differs_by_rulebook() -> None:
    plain = {"part:panel-r.voc_coefficient": None}
    us = numbers(DEVICE_RATING, plain, "open-circuit voltage, coldest morning")["PV1"]
    iec = numbers(DEVICE_RATING, {**plain, "job.rulebook": "iec"}, "open-circuit voltage, coldest morning")[
        "PV1"
    ]

    assert us.value == pytest.approx(51.04)  # NEC 2023 Table 690.7(A), factor 1.16
    assert iec.value == pytest.approx(52.8)  # IEC 60364-7-712 Annex B, 1.2


def test_no_coldest_air_no_pass() -> None:
    edit = {"site.coldest_air": None}

    assert missing(DEVICE_RATING, edit)
    assert "Q1" not in held(DEVICE_RATING, edit)
    assert "F1" in held(DEVICE_RATING, edit)  # behind the booster's clamp the cold does not matter


def test_converter_without_a_clamp_passes_the_array_voltage_on() -> None:
    edit = {"part:booster-r.max_output_voltage": None, "part:fuse-r.dc_voltage": "32 V"}

    assert "F1" in fired(DEVICE_RATING, edit)


# -- DC ratings


def test_neither_ac_nor_dc_rating_is_missing_data() -> None:
    edit = {"part:isolator-r.dc_voltage": None}

    assert missing(NO_DC_RATING, edit)
    assert "DS1" not in held(NO_DC_RATING, edit)


def test_ac_only_device_is_told_once_as_a_danger() -> None:
    edit = {"part:isolator-r.dc_voltage": None, "part:isolator-r.ac_voltage": "250 V"}

    assert fired(NO_DC_RATING, edit)["DS1"].severity is Severity.DANGER
    assert "DS1" not in fired(DEVICE_RATING, edit)
    assert "DS1" in not_checked(DEVICE_RATING, edit)


def test_poles_side_by_side_are_not_in_series() -> None:
    side_by_side = {
        **TWO_POLES,
        "runs.R2.conductors[3]": {"from": "Q1.1", "to": "Q1.3", "color": "red"},
        "runs.R2.conductors[4]": {"from": "Q1.2", "to": "Q1.4", "color": "red"},
    }

    assert "Q1" in fired(NO_DC_RATING, side_by_side)


def test_pole_of_the_grounded_leg_does_not_help_the_other() -> None:
    both_legs = {
        **TWO_POLES,
        "runs.R1.conductors[1]": {"from": "PV1.-", "to": "Q1.3", "color": "white"},
        "runs.R2.conductors[3]": {"from": "Q1.4", "to": "CB1.pv-", "color": "white"},
    }

    assert "Q1" in fired(NO_DC_RATING, both_legs)


def test_share_of_the_rating_is_enough_where_the_voltage_is_low() -> None:
    # one module: 24.64 V on one pole that holds 48 V
    assert not fired(NO_DC_RATING, {**TWO_POLES, "panels.PV1.series": 1})


# -- touch


@pytest.mark.parametrize(("voc", "fires"), [("30 V", False), ("30.1 V", True)])
def test_touch_limit_of_array_circuits(voc: str, fires: bool) -> None:
    # NEC 2023 690.31(A), 30 V, from memory, unverified
    edit = {
        "runs.R1.raceway": None,
        "runs.R1.laid": "within reach",
        "site.coldest_air": "25 degC",
        "panels.PV1.series": 1,
        "part:panel-r.voc": voc,
    }

    assert ("R1" in fired(TOUCH_LIMIT, edit)) is fires


def test_how_a_run_is_laid_must_be_known_above_the_limit() -> None:
    edit = {"runs.R1.raceway": None}

    assert missing(TOUCH_LIMIT, edit)
    assert "R1" not in held(TOUCH_LIMIT, edit)
    assert "R1" in held(TOUCH_LIMIT, {**edit, "panels.PV1.series": 1})  # 24.64 V may be touched


def test_every_live_run_is_judged_once() -> None:
    subjects = [f.subject for f in found(TOUCH_LIMIT, {}, Verdict.SATISFIED)]

    assert sorted(subjects) == ["R1", "R2", "R3", "R5"]
