from __future__ import annotations

import math

import pytest

from specc.physics.panels import (
    ModulePoints,
    array_current_a,
    array_voltage_v,
    cell_temperature_k,
    cold_voltage_by_factor_v,
    cold_voltage_v,
    load_crossing,
    maximum_current_a,
    maximum_power_point,
    module_at,
    power_crossing,
    start_irradiance_w_m2,
    string_voltage_v,
)

MODULE = ModulePoints(voc_v=22.0, isc_a=6.0, vmp_v=18.0, imp_a=5.56)
BETA_PER_K, GAMMA_PER_K = -0.0030, -0.0040


@pytest.mark.parametrize(("modules", "volts"), [(1, 24.64), (2, 49.28), (3, 73.92), (4, 98.56)])
def test_cold_voltage_by_coefficient(modules: int, volts: float) -> None:
    # NEC 2023 690.7(A)(1); own arithmetic at -15 °C.
    assert cold_voltage_v(22.0, modules, BETA_PER_K, 258.15) == pytest.approx(volts)


def test_cold_voltage_by_table_is_the_more_cautious() -> None:
    # NEC 2023 Table 690.7(A), -11 to -15 °C: 1.16.
    by_table_v = cold_voltage_by_factor_v(22.0, 2, 1.16)

    assert by_table_v == pytest.approx(51.04)
    assert by_table_v > cold_voltage_v(22.0, 2, BETA_PER_K, 258.15)


def test_coefficient_in_per_cent_or_with_the_wrong_sign_is_refused() -> None:
    for coefficient_per_k in (-0.30, 0.003):
        with pytest.raises(ValueError, match="coefficient_per_k"):
            cold_voltage_v(22.0, 2, coefficient_per_k, 258.15)


def test_currents_for_conductors() -> None:
    # NEC 2023 690.8: 1.25 of the sum, and 1.25 again.
    assert maximum_current_a(12.0) == 15.0
    assert maximum_current_a(maximum_current_a(12.0)) == 18.75


def test_cell_temperature_at_the_conditions_of_its_definition() -> None:
    # IEC 61215: 800 W/m², 20 °C air give NOCT itself.
    assert cell_temperature_k(293.15, 318.15, 800.0) == pytest.approx(318.15)
    assert cell_temperature_k(293.15, 318.15, 0.0) == 293.15


def test_open_circuit_reading_on_site() -> None:
    # Own arithmetic: two modules, cells at 45 °C: 41.36 V.
    assert string_voltage_v(22.0, 2, BETA_PER_K, 318.15) == pytest.approx(41.36)


def test_light_at_which_a_motor_starts() -> None:
    # Own arithmetic, ΣIsc 12 A: 10 A needs 833, 5 A needs 417 W/m².
    assert start_irradiance_w_m2(10.0, 12.0) == pytest.approx(833.3, abs=0.1)
    assert start_irradiance_w_m2(5.0, 12.0) == pytest.approx(416.7, abs=0.1)


def test_curve_passes_through_the_label() -> None:
    assert array_current_a(MODULE, 1, 1, 0.0) == pytest.approx(6.0)
    assert array_current_a(MODULE, 1, 1, 18.0) == pytest.approx(5.56, rel=1e-5)
    assert array_current_a(MODULE, 1, 1, 22.0) == pytest.approx(0.0, abs=1e-5)


def test_no_current_flows_above_open_circuit() -> None:
    assert array_current_a(MODULE, 1, 1, 22.5) == 0.0
    assert array_current_a(MODULE, 1, 1, 1e6) == 0.0


def test_series_adds_volts_and_strings_add_amperes() -> None:
    assert array_current_a(MODULE, 3, 2, 51.0) == pytest.approx(2.0 * array_current_a(MODULE, 1, 1, 17.0))


@pytest.mark.parametrize("current_a", [0.0, 3.0, 11.12, 11.9, 12.0])
def test_voltage_at_a_current_is_the_inverse(current_a: float) -> None:
    voltage_v = array_voltage_v(MODULE, 2, 2, current_a)

    assert array_current_a(MODULE, 2, 2, voltage_v) == pytest.approx(current_a, abs=1e-9)


def test_more_than_short_circuit_current_is_refused() -> None:
    with pytest.raises(ValueError, match="array_current_a"):
        array_voltage_v(MODULE, 2, 2, 12.01)


@pytest.mark.parametrize("series_ohm", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("ideality", [1.0, 1.2, 1.4])
def test_curve_from_four_points_stays_close_to_the_single_diode_model(
    ideality: float, series_ohm: float
) -> None:
    # Single-diode model with series resistance, any photovoltaics text, solved here by scipy:
    # I = Isc - I0 (exp((V + I Rs)/a) - 1). Its own four points go into the explicit curve.
    optimize = pytest.importorskip("scipy.optimize")
    slope_v = 36 * ideality * 0.02569  # 36 cells, thermal voltage at 25 °C
    saturation_a = 6.0 / math.expm1(22.0 / slope_v)

    def diode_v(current_a: float) -> float:
        return slope_v * math.log1p((6.0 - current_a) / saturation_a) - current_a * series_ohm

    imp_a = optimize.minimize_scalar(lambda i: -i * diode_v(i), bounds=(1.0, 5.99), method="bounded").x
    points = ModulePoints(22.0, 6.0, diode_v(imp_a), imp_a)

    for share in (0.1, 0.3, 0.5, 0.7, 0.9, 0.98):
        ours_v = array_voltage_v(points, 1, 1, share * imp_a)
        assert ours_v == pytest.approx(diode_v(share * imp_a), abs=0.04 * 22.0)
        assert ours_v > diode_v(share * imp_a)  # never lower: cautious for voltage limits
    for share in (0.3, 0.6, 0.9, 1.0):
        voltage_v = share * points.vmp_v
        diode_a = optimize.brentq(lambda i, v=voltage_v: diode_v(i) - v, -1.0, 6.0)
        assert array_current_a(points, 1, 1, voltage_v) == pytest.approx(diode_a, abs=0.015 * 6.0)


def test_standard_conditions_leave_the_label_as_it_is() -> None:
    assert module_at(MODULE, 1000.0, 298.15, BETA_PER_K, GAMMA_PER_K) == pytest.approx(MODULE)


def test_hot_module_gives_its_hot_voltages() -> None:
    hot = module_at(MODULE, 1000.0, 342.40, BETA_PER_K, GAMMA_PER_K)

    assert 2 * hot.vmp_v == pytest.approx(string_voltage_v(18.0, 2, GAMMA_PER_K, 342.40))
    assert 2 * hot.voc_v == pytest.approx(string_voltage_v(22.0, 2, BETA_PER_K, 342.40))


def test_dim_light_lowers_current_in_proportion_and_voltage_a_little() -> None:
    dim = module_at(MODULE, 200.0, 298.15, BETA_PER_K, GAMMA_PER_K)

    assert dim.isc_a == pytest.approx(1.2)
    assert dim.imp_a == pytest.approx(1.112)
    # IEC 60891 procedure 2 with a = 0.06 (from memory, unverified): 1 + 0.06 ln 0.2 = 0.903.
    assert dim.voc_v == pytest.approx(0.9034 * 22.0, abs=0.01)


def test_warm_cells_give_a_little_more_current() -> None:
    # IEC 60891, linear coefficient: 0.05 %/K over 20 K is 1 %.
    warm = module_at(MODULE, 500.0, 318.15, BETA_PER_K, GAMMA_PER_K, isc_coefficient_per_k=0.0005)

    assert warm.isc_a == pytest.approx(3.03)
    assert warm.imp_a == pytest.approx(0.5 * 5.56 * 1.01)


@pytest.mark.parametrize(
    "points",
    [MODULE._replace(vmp_v=22.0), MODULE._replace(imp_a=6.0), MODULE._replace(imp_a=0.0)],
)
def test_labels_that_cannot_be_are_refused(points: ModulePoints) -> None:
    with pytest.raises(ValueError):
        array_current_a(points, 1, 1, 10.0)


def test_crossing_with_a_load_agrees_with_a_library_root() -> None:
    brentq = pytest.importorskip("scipy.optimize").brentq

    def load_a(voltage_v: float) -> float:
        return 2.0 + 0.15 * voltage_v

    point = load_crossing(MODULE, 2, 2, load_a)
    root_v = brentq(lambda v: array_current_a(MODULE, 2, 2, v) - load_a(v), 0.0, 44.0)

    assert point is not None
    assert point.voltage_v == pytest.approx(root_v, abs=1e-8)
    assert point.current_a == pytest.approx(load_a(point.voltage_v), abs=1e-6)


def test_load_that_wants_more_than_the_array_has_stalls() -> None:
    dim = module_at(MODULE, 400.0, 298.15, BETA_PER_K, GAMMA_PER_K)

    assert load_crossing(dim, 2, 2, lambda _: 8.0) is None
    assert load_crossing(MODULE, 2, 2, lambda _: 8.0) is not None


def test_load_that_starts_stays_at_its_first_crossing() -> None:
    # Wants 13 A between 5 and 20 V, 4 A elsewhere: the array (12 A) never takes it past 5 V.
    point = load_crossing(MODULE, 2, 2, lambda v: 13.0 if 5.0 < v < 20.0 else 4.0)

    assert point is not None
    assert point.voltage_v == pytest.approx(5.0, abs=1e-6)


def test_lightest_load_is_met_just_below_open_circuit() -> None:
    point = load_crossing(MODULE, 2, 2, lambda _: 0.02)

    assert point is not None
    assert point.current_a == pytest.approx(0.02, abs=1e-6)
    assert 43.9 < point.voltage_v < 44.0


def test_unloaded_array_stands_at_open_circuit() -> None:
    point = load_crossing(MODULE, 2, 2, lambda _: 0.0)

    assert point == pytest.approx((44.0, 0.0), abs=1e-3)


@pytest.mark.parametrize("bad_a", [math.nan, math.inf, -1.0])
def test_load_without_a_number_is_refused(bad_a: float) -> None:
    with pytest.raises(ValueError, match="load_current_a"):
        load_crossing(MODULE, 2, 2, lambda _: bad_a)


def test_maximum_power_lies_at_the_label_and_is_the_top_of_the_curve() -> None:
    best = maximum_power_point(MODULE, 2, 2)
    scanned_w = max(v / 100 * array_current_a(MODULE, 2, 2, v / 100) for v in range(4401))

    assert best.voltage_v * best.current_a == pytest.approx(scanned_w, rel=1e-5)
    assert best.voltage_v * best.current_a == pytest.approx(4 * 18.0 * 5.56, rel=0.01)
    assert best.voltage_v == pytest.approx(36.0, rel=0.02)


def test_steady_power_is_met_between_maximum_power_and_open_circuit() -> None:
    best = maximum_power_point(MODULE, 2, 2)
    point = power_crossing(MODULE, 2, 2, 138.8)

    assert point is not None
    assert point.voltage_v * point.current_a == pytest.approx(138.8)
    assert best.voltage_v < point.voltage_v < 44.0


def test_power_that_the_array_has_not_gives_no_point() -> None:
    best = maximum_power_point(MODULE, 2, 2)

    assert power_crossing(MODULE, 2, 2, 1.001 * best.voltage_v * best.current_a) is None
    assert power_crossing(MODULE, 2, 2, 0.0) == pytest.approx((44.0, 0.0), abs=1e-3)
