"""The functions together give every figure of one worked job.

Two modules in series, two strings, a booster, a 24 V displacement pump that lifts 10 L/min from a
dug well at 600 m, 18 °C, to a tank. Source of all figures: worked reference job (own arithmetic).
"""

from __future__ import annotations

import pytest

from specc.physics import conductors, hydraulics, panels, pumps, water

FLOW_M3_S = 10.0 / 60000.0
BORE_M = 0.025
WATER_K = 291.15
DENSITY_KG_M3 = water.density_kg_m3(WATER_K)
VISCOSITY_PA_S = water.dynamic_viscosity_pa_s(WATER_K)
OHM_PER_M = 4.07e-3  # 10 AWG stranded copper at 75 °C, NEC 2023 Chapter 9 Table 8
LIFT_M, RISE_M = 3.4, 22.0
SUCTION_FITTINGS_M, DELIVERY_FITTINGS_M = 0.40, 0.30
FILTER_M = {"clean": 0.3, "dirty": 1.5}


def friction_m(length_m: float) -> float:
    return hydraulics.friction_head_m(FLOW_M3_S, BORE_M, length_m, 1.5e-6, DENSITY_KG_M3, VISCOSITY_PA_S)


def suction_losses_m(filter_state: str) -> float:
    return friction_m(6.0) + SUCTION_FITTINGS_M + FILTER_M[filter_state]


def delivery_head_m() -> float:
    return RISE_M + friction_m(120.0) + DELIVERY_FITTINGS_M


def total_head_m(filter_state: str) -> float:
    return LIFT_M + suction_losses_m(filter_state) + delivery_head_m()


def test_array_cold() -> None:
    assert panels.cold_voltage_v(22.0, 2, -0.0030, 258.15) == pytest.approx(49.28, abs=0.005)
    assert panels.cold_voltage_by_factor_v(22.0, 2, 1.16) == pytest.approx(51.04, abs=0.005)


def test_array_current() -> None:
    maximum_a = panels.maximum_current_a(2 * 6.0)

    assert maximum_a == pytest.approx(15.0)
    assert panels.maximum_current_a(maximum_a) == pytest.approx(18.75)


def test_array_hot() -> None:
    cell_k = panels.cell_temperature_k(311.15, 318.15)

    assert cell_k - 273.15 == pytest.approx(69.25, abs=0.005)
    assert panels.string_voltage_v(18.0, 2, -0.0040, cell_k) == pytest.approx(29.63, abs=0.005)


def test_voltage_drop() -> None:
    array_v = conductors.two_wire_drop_v(10.0, OHM_PER_M, 2 * 5.56)
    motor_v = conductors.two_wire_drop_v(10.0, OHM_PER_M, 8.0)

    assert array_v == pytest.approx(0.905, abs=5e-4)
    assert conductors.drop_fraction(array_v, 36.0) == pytest.approx(0.0251, abs=5e-5)
    assert motor_v == pytest.approx(0.651, abs=5e-4)
    assert conductors.drop_fraction(motor_v, 24.0) == pytest.approx(0.0271, abs=5e-5)


def test_drop_at_the_commissioning_currents() -> None:
    # Warm wire, 40 °C: 0.384 V at 5.32 A, 0.303 V at 4.19 A.
    warm = conductors.resistance_at(OHM_PER_M, 348.15, 313.15, 0.00323)

    assert conductors.two_wire_drop_v(10.0, warm, 5.32) == pytest.approx(0.384, abs=5e-4)
    assert conductors.two_wire_drop_v(10.0, warm, 4.19) == pytest.approx(0.303, abs=5e-4)


def test_flow_and_friction() -> None:
    velocity = hydraulics.velocity_m_s(FLOW_M3_S, BORE_M)

    assert velocity == pytest.approx(0.340, abs=1e-3)
    assert hydraulics.reynolds_number(velocity, BORE_M, DENSITY_KG_M3, VISCOSITY_PA_S) == pytest.approx(
        8050.0, abs=10.0
    )
    assert friction_m(6.0) == pytest.approx(0.05, abs=0.005)
    assert friction_m(120.0) == pytest.approx(0.93, abs=0.005)
    assert hydraulics.hazen_williams_head_m(FLOW_M3_S, BORE_M, 120.0, 150.0) == pytest.approx(0.76, abs=0.005)


@pytest.mark.parametrize(
    ("filter_state", "vacuum_kpa", "available_m", "head_m"),
    [("clean", 40.6, 5.27, 27.4), ("dirty", 52.4, 4.07, 28.6)],
)
def test_suction_and_head(filter_state: str, vacuum_kpa: float, available_m: float, head_m: float) -> None:
    losses_m = suction_losses_m(filter_state)
    vacuum_pa = hydraulics.suction_vacuum_pa(LIFT_M, losses_m, DENSITY_KG_M3)
    npsh_m = hydraulics.npsh_available_m(
        water.atmosphere_pa(600.0), water.vapour_pressure_pa(WATER_K), DENSITY_KG_M3, LIFT_M, losses_m
    )

    assert vacuum_pa / 1e3 == pytest.approx(vacuum_kpa, abs=0.06)
    assert npsh_m == pytest.approx(available_m, abs=0.006)
    assert total_head_m(filter_state) == pytest.approx(head_m, abs=0.05)


def test_discharge_pressure() -> None:
    # 227 kPa; the rounded friction of 0.93 m gives 227.5 exactly.
    pressure_pa = hydraulics.pressure_from_head_pa(delivery_head_m(), DENSITY_KG_M3)

    assert pressure_pa / 1e3 == pytest.approx(227.0, abs=0.6)


def test_power_and_motor_current_with_a_dirty_filter() -> None:
    power_w = hydraulics.hydraulic_power_w(FLOW_M3_S, total_head_m("dirty"), DENSITY_KG_M3)

    assert power_w == pytest.approx(46.6, abs=0.06)
    assert pumps.input_power_w(power_w, 0.35) == pytest.approx(133.0, abs=0.5)
    assert pumps.motor_current_a(power_w, 0.35, 24.0) == pytest.approx(5.55, abs=0.006)


def test_power_and_motor_current_with_a_clean_filter() -> None:
    # 44.7 W, 127.7 W, 5.32 A.
    power_w = hydraulics.hydraulic_power_w(FLOW_M3_S, total_head_m("clean"), DENSITY_KG_M3)

    assert power_w == pytest.approx(44.7, abs=0.06)
    assert pumps.input_power_w(power_w, 0.35) == pytest.approx(127.7, abs=0.15)
    assert pumps.motor_current_a(power_w, 0.35, 24.0) == pytest.approx(5.32, abs=0.006)
