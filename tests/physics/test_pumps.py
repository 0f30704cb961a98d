from __future__ import annotations

import math

import pytest

from specc.physics.pumps import (
    CurvePoint,
    highest_tabled_head_m,
    input_power_w,
    locked_rotor_heat_w,
    motor_current_a,
    pump_point,
    stall_current_a,
)

# Invented data sheets. Volts, metres, m³/s, amperes.
VANE = (
    CurvePoint(24.0, 40.0, 1.6e-4, 7.0),
    CurvePoint(24.0, 0.0, 2.0e-4, 3.0),
    CurvePoint(24.0, 20.0, 1.8e-4, 5.0),
    CurvePoint(12.0, 0.0, 1.0e-4, 3.0),
    CurvePoint(12.0, 40.0, 0.8e-4, 7.0),
)
SINGLE = tuple(row for row in VANE if row.voltage_v == 24.0)
CENTRIFUGAL = (
    CurvePoint(24.0, 0.0, 4.0e-4, 6.0),
    CurvePoint(24.0, 6.0, 2.0e-4, 5.0),
    CurvePoint(24.0, 8.0, 0.0, 4.0),
)


@pytest.mark.parametrize("row", VANE)
def test_rows_of_the_data_sheet_come_back(row: CurvePoint) -> None:
    point = pump_point(VANE, row.voltage_v, row.head_m, displacement=True)

    assert point == pytest.approx((row.flow_m3_s, row.current_a, False))


def test_between_heads_and_between_voltages() -> None:
    # By hand: at 24 V, 30 m: 1.7e-4, 6 A; at 12 V, 30 m: 0.85e-4, 6 A; half way: 1.275e-4, 6 A.
    point = pump_point(VANE, 18.0, 30.0, displacement=True)

    assert point == pytest.approx((1.275e-4, 6.0, False))


def test_displacement_flow_follows_the_voltage_outside_the_table() -> None:
    slow = pump_point(SINGLE, 12.0, 20.0, displacement=True)
    fast = pump_point(SINGLE, 28.0, 20.0, displacement=True)

    assert slow == pytest.approx((0.9e-4, 5.0, True))
    assert fast == pytest.approx((1.8e-4 * 28.0 / 24.0, 5.0, True))


def test_centrifugal_follows_the_affinity_laws_outside_the_table() -> None:
    # ISO 9906 and any pump handbook: Q ~ n, H ~ n², torque ~ n². At half speed 1.5 m is the 6 m row.
    point = pump_point(CENTRIFUGAL, 12.0, 1.5, displacement=False)

    assert point == pytest.approx((1.0e-4, 1.25, True))


def test_head_above_the_table_is_marked_and_never_flatters() -> None:
    above = pump_point(SINGLE, 24.0, 50.0, displacement=True)

    assert above == pytest.approx((1.5e-4, 8.0, True))
    assert above.flow_m3_s < 1.6e-4


def test_no_flow_above_shut_off() -> None:
    at = pump_point(CENTRIFUGAL, 24.0, 8.0, displacement=False)
    above = pump_point(CENTRIFUGAL, 24.0, 30.0, displacement=False)
    slow = pump_point(CENTRIFUGAL, 12.0, 3.0, displacement=False)

    assert at == pytest.approx((0.0, 4.0, False))
    assert above == pytest.approx((0.0, 4.0, True))
    assert slow.flow_m3_s == 0.0


def test_flow_is_used_up_on_the_prolonged_line() -> None:
    # By hand: flow falls 1e-5 per metre, so 1.6e-4 at 40 m is gone at 200 m, and stays gone.
    point = pump_point(SINGLE, 24.0, 500.0, displacement=True)

    assert point.flow_m3_s == pytest.approx(0.0, abs=1e-12)
    assert point.beyond_table


def test_head_below_the_table_holds_the_first_row() -> None:
    rows = (CurvePoint(24.0, 10.0, 1.9e-4, 4.0), CurvePoint(24.0, 40.0, 1.6e-4, 7.0))

    assert pump_point(rows, 24.0, 5.0, displacement=True) == pytest.approx((1.9e-4, 4.0, True))


def test_point_is_marked_where_either_voltage_stops_short_of_the_head() -> None:
    rows = (*SINGLE, CurvePoint(12.0, 0.0, 1.0e-4, 3.0), CurvePoint(12.0, 20.0, 0.9e-4, 5.0))

    assert not pump_point(rows, 18.0, 20.0, displacement=True).beyond_table
    assert pump_point(rows, 18.0, 30.0, displacement=True).beyond_table


@pytest.mark.parametrize("noise", [1.0 - 1e-12, 1.0 + 1e-12])
def test_float_noise_does_not_carry_a_point_beyond_the_table(noise: float) -> None:
    rows = (CurvePoint(24.0, 10.0, 1.9e-4, 4.0), CurvePoint(24.0, 40.0, 1.6e-4, 7.0))

    assert not pump_point(rows, 24.0 * noise, 10.0 * noise, displacement=True).beyond_table
    assert not pump_point(rows, 24.0 * noise, 40.0 * noise, displacement=True).beyond_table


def test_highest_head_between_and_outside_the_voltages() -> None:
    rows = (*CENTRIFUGAL, CurvePoint(12.0, 0.0, 2.0e-4, 3.0), CurvePoint(12.0, 2.0, 0.0, 1.5))

    assert highest_tabled_head_m(rows, 18.0, displacement=False) == pytest.approx(5.0)
    assert highest_tabled_head_m(rows, 6.0, displacement=False) == pytest.approx(0.5)
    assert highest_tabled_head_m(SINGLE, 6.0, displacement=True) == 40.0


@pytest.mark.parametrize(
    ("rows", "complaint"),
    [
        ((), "no rows"),
        ((CurvePoint(24.0, 0.0, 2e-4, 3.0),), "two heads"),
        ((CurvePoint(24.0, 0.0, 1e-4, 3.0), CurvePoint(24.0, 9.0, 2e-4, 3.0)), "flow must fall"),
        ((CurvePoint(24.0, 9.0, 2e-4, 3.0), CurvePoint(24.0, 9.0, 1e-4, 3.0)), "flow must fall"),
        ((CurvePoint(24.0, 0.0, 2e-4, 3.0), CurvePoint(24.0, 9.0, 1e-4, math.nan)), "current_a"),
    ],
)
def test_tables_that_cannot_be_read_are_refused(rows: tuple[CurvePoint, ...], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        pump_point(rows, 24.0, 5.0, displacement=True)


def test_motor_at_rest() -> None:
    # Ohm and Joule; own arithmetic: 0.6 Ω: 40 A at 24 V, 46.7 A at 28 V, 86 W at 12 A.
    assert stall_current_a(24.0, 0.6) == pytest.approx(40.0)
    assert stall_current_a(28.0, 0.6) == pytest.approx(46.7, abs=0.05)
    assert locked_rotor_heat_w(12.0, 0.6) == pytest.approx(86.4)


def test_power_taken_through_a_chain_of_machines() -> None:
    # Own arithmetic: 46.65 W of water, wire to water 0.35, controller 0.92: 144.9 W.
    assert input_power_w(46.65, 0.35 * 0.92) == pytest.approx(144.9, abs=0.05)
    assert motor_current_a(46.65, 0.35, 24.0) == pytest.approx(5.55, abs=0.005)


def test_efficiency_in_per_cent_is_refused() -> None:
    with pytest.raises(ValueError, match="efficiency"):
        input_power_w(46.65, 35.0)
