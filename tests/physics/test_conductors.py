from __future__ import annotations

import math
from typing import Any

import pytest

from specc.physics.conductors import (
    ambient_correction_factor,
    corrected_ampacity_a,
    drop_fraction,
    egc_upsized_area_m2,
    loop_resistance_ohm,
    ohm_per_m_from_area,
    raceway_fill_fraction,
    resistance_at,
    two_wire_drop_v,
)

FOOT_M = 0.3048
CIRCULAR_MIL_M2 = math.pi / 4.0 * (0.001 * 0.0254) ** 2


@pytest.mark.parametrize(
    ("area_mm2", "ohm_per_km_at_75_c"),
    # NEC 2023 Chapter 9 Table 8, stranded uncoated copper: 14, 12, 10, 8, 6 AWG.
    [(2.08, 10.3), (3.31, 6.50), (5.261, 4.07), (8.367, 2.551), (13.30, 1.608)],
)
def test_annealed_copper_at_75_c_gives_the_table(area_mm2: float, ohm_per_km_at_75_c: float) -> None:
    # IEC 60028: 0.017241 Ω·mm²/m and α = 0.00393/K at 20 °C; 2 % longer strands (common practice, no source).
    cold = ohm_per_m_from_area(1.02 * 0.017241e-6, area_mm2 * 1e-6)

    assert resistance_at(cold, 293.15, 348.15, 0.00393) * 1e3 == pytest.approx(ohm_per_km_at_75_c, rel=0.007)


def test_resistance_goes_there_and_back_to_the_reference_temperature() -> None:
    assert resistance_at(4.07e-3, 348.15, 348.15, 0.00323) == 4.07e-3
    assert resistance_at(4.07e-3, 348.15, 293.15, 0.00323) < 4.07e-3


@pytest.mark.parametrize(
    ("cmil", "length_ft", "current_a"), [(4110, 50, 8), (10380, 190, 10), (26240, 300, 25)]
)
def test_drop_agrees_with_the_published_formula(cmil: float, length_ft: float, current_a: float) -> None:
    # Published hand formula: V = 2 K L I / cmil, K = 12.9 Ω·cmil/ft for copper at 75 °C.
    published_v = 2.0 * 12.9 * length_ft * current_a / cmil
    ohm_per_m = ohm_per_m_from_area(12.9 * CIRCULAR_MIL_M2 / FOOT_M, cmil * CIRCULAR_MIL_M2)

    assert two_wire_drop_v(length_ft * FOOT_M, ohm_per_m, current_a) == pytest.approx(published_v)


def test_drop_by_the_table_agrees_with_the_hand_constant() -> None:
    # NEC 2023 Chapter 9 Table 8, 10 AWG: 1.24 Ω/kft; hand constant K = 12.9 Ω·cmil/ft.
    by_table_v = two_wire_drop_v(100 * FOOT_M, 1.24 / (1000 * FOOT_M), 10.0)

    assert by_table_v == pytest.approx(2.0 * 12.9 * 100 * 10 / 10380, rel=0.005)


def test_no_current_and_no_length_lose_nothing() -> None:
    assert two_wire_drop_v(10.0, 4.07e-3, 0.0) == 0.0
    assert two_wire_drop_v(0.0, 4.07e-3, 8.0) == 0.0


def test_a_control_loop_keeps_the_coil_above_or_below_its_pick_up() -> None:
    # Own arithmetic: 24 V, 80 m of 18 AWG (26.1 Ω/km): 19.8 V = 82.6 % at 1.0 A, 21.9 V = 91.3 % at 0.5 A.
    loop_ohm = loop_resistance_ohm(80.0, 26.1e-3)

    assert 1.0 - drop_fraction(1.0 * loop_ohm, 24.0) == pytest.approx(0.826, abs=5e-4)
    assert 1.0 - drop_fraction(0.5 * loop_ohm, 24.0) == pytest.approx(0.913, abs=5e-4)


@pytest.mark.parametrize(
    ("limit_c", "ambient_c", "printed"),
    # NEC 2023 Table 310.15(B)(1)(1), base 30 °C; each value belongs to the upper end of its band.
    [
        (60, 35, 0.91),
        (60, 40, 0.82),
        (75, 35, 0.94),
        (75, 40, 0.88),
        (75, 45, 0.82),
        (75, 50, 0.75),
        (90, 35, 0.96),
        (90, 40, 0.91),
        (90, 45, 0.87),
        (90, 50, 0.82),
    ],
)
def test_ambient_factor_agrees_with_the_printed_bands(
    limit_c: float, ambient_c: float, printed: float
) -> None:
    factor = ambient_correction_factor(limit_c + 273.15, ambient_c + 273.15, 303.15)

    assert factor == pytest.approx(printed, abs=0.0055)


def test_ambient_factor_is_one_at_the_table_ambient_and_nothing_at_the_limit() -> None:
    assert ambient_correction_factor(363.15, 303.15, 303.15) == 1.0
    assert ambient_correction_factor(363.15, 363.15, 303.15) == 0.0
    with pytest.raises(ValueError, match="ambient_k"):
        ambient_correction_factor(363.15, 364.15, 303.15)


def test_ampacity_of_hot_grouped_conductors() -> None:
    # Own arithmetic: 10 AWG, 90 °C column 40 A, 0.50 at 71 °C, 0.80 for four conductors.
    assert corrected_ampacity_a(40.0, 0.50, 0.80) == pytest.approx(16.0)


def test_grounding_conductor_grows_with_the_circuit_but_never_shrinks() -> None:
    # NEC 2023 250.122(B); circular mils of Chapter 9 Table 8: 14 AWG 4110, 10 AWG 10 380.
    assert egc_upsized_area_m2(4110e-9, 10380e-9, 4110e-9) == pytest.approx(10380e-9, rel=1e-3)
    assert egc_upsized_area_m2(4110e-9, 4110e-9, 10380e-9) == 4110e-9


def test_fill_of_a_raceway() -> None:
    # NEC 2023 Chapter 9 Tables 4 and 5: 0.0211 in² each, 40 % of 0.285 in² allowed:
    # six are too many, five are not.
    assert raceway_fill_fraction([0.0211] * 6, 0.285) > 0.40
    assert raceway_fill_fraction([0.0211] * 5, 0.285) < 0.40
    assert raceway_fill_fraction([], 0.285) == 0.0


def test_impossible_values_are_refused() -> None:
    with pytest.raises(ValueError, match="ohm_per_m"):
        two_wire_drop_v(10.0, 0.0, 8.0)
    with pytest.raises(ValueError, match="current_a"):
        two_wire_drop_v(10.0, 4.07e-3, -1.0)
    with pytest.raises(ValueError, match="supply_v"):
        drop_fraction(1.0, 0.0)


def test_arrays_pass_through_and_one_bad_element_stops_them() -> None:
    numpy = pytest.importorskip("numpy")
    drops_v: Any = two_wire_drop_v(10.0, 4.07e-3, numpy.array([0.0, 8.0]))

    assert list(drops_v) == pytest.approx([0.0, 0.6512])
    with pytest.raises(ValueError, match="current_a"):
        two_wire_drop_v(10.0, 4.07e-3, numpy.array([8.0, math.nan]))
