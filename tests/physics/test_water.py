from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from specc.physics.water import atmosphere_pa, density_kg_m3, dynamic_viscosity_pa_s, vapour_pressure_pa

# IAPWS-IF97 (density, saturation) and IAPWS R12-08 (viscosity) at 101.325 kPa:
# °C, kg/m³, mPa·s, Pa.
WATER = (
    (0, 999.84, 1.7918, 611.2),
    (5, 999.97, 1.5182, 872.6),
    (10, 999.70, 1.3059, 1228.2),
    (15, 999.10, 1.1376, 1705.7),
    (18, 998.60, 1.0527, 2064.7),
    (20, 998.21, 1.0016, 2339.2),
    (25, 997.05, 0.8900, 3169.7),
    (30, 995.65, 0.7972, 4246.7),
    (35, 994.04, 0.7191, 5628.6),
    (40, 992.22, 0.6527, 7384.4),
)

# US Standard Atmosphere 1976 = ISO 2533, geometric altitude: m, Pa.
AIR = ((0, 101325), (600, 94322), (1500, 84560), (2400, 75634), (3000, 70121), (4000, 61660))


@pytest.mark.parametrize(("celsius", "density", "viscosity_mpa_s", "vapour_pa"), WATER)
def test_water_agrees_with_the_iapws_tables(
    celsius: float, density: float, viscosity_mpa_s: float, vapour_pa: float
) -> None:
    temperature_k = celsius + 273.15

    assert density_kg_m3(temperature_k) == pytest.approx(density, abs=0.02)
    assert dynamic_viscosity_pa_s(temperature_k) * 1e3 == pytest.approx(viscosity_mpa_s, rel=1e-4)
    assert vapour_pressure_pa(temperature_k) == pytest.approx(vapour_pa, abs=0.06)


@pytest.mark.parametrize(
    ("temperature_k", "pressure_mpa"),
    # IAPWS-IF97, Table 35: the values for checking a program of equation 30.
    [(300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)],
)
def test_saturation_agrees_with_the_verification_table(temperature_k: float, pressure_mpa: float) -> None:
    assert vapour_pressure_pa(temperature_k) == pytest.approx(pressure_mpa * 1e6, rel=2e-9)


@pytest.mark.parametrize("celsius", [1.0, 18.0, 45.0, 70.0, 99.0])
def test_water_agrees_with_a_library_of_the_iapws_formulations(celsius: float) -> None:
    iapws = pytest.importorskip("iapws")  # IAPWS-IF97, 0.101325 MPa
    water = iapws.IAPWS97(T=celsius + 273.15, P=0.101325)
    boiling = iapws.IAPWS97(T=celsius + 273.15, x=0.0)

    assert density_kg_m3(celsius + 273.15) == pytest.approx(water.rho, rel=3e-5)
    assert dynamic_viscosity_pa_s(celsius + 273.15) == pytest.approx(water.mu, rel=3e-4)
    assert vapour_pressure_pa(celsius + 273.15) == pytest.approx(boiling.P * 1e6, rel=1e-6)


@pytest.mark.parametrize(("elevation_m", "pressure_pa"), AIR)
def test_air_pressure_agrees_with_the_standard_atmosphere(elevation_m: float, pressure_pa: float) -> None:
    assert atmosphere_pa(elevation_m) == pytest.approx(pressure_pa, abs=0.6)


@pytest.mark.parametrize("elevation_m", [-400.0, 0.0, 378.0, 2750.0, 8000.0])
def test_air_pressure_agrees_with_fluids(elevation_m: float) -> None:
    atmosphere = pytest.importorskip("fluids.atmosphere")  # fluids, ATMOSPHERE_1976

    assert atmosphere_pa(elevation_m) == pytest.approx(atmosphere.ATMOSPHERE_1976(elevation_m).P, rel=1e-5)


@pytest.mark.parametrize("function", [density_kg_m3, dynamic_viscosity_pa_s, vapour_pressure_pa])
def test_ice_and_celsius_by_mistake_are_refused(function: Callable[[float], float]) -> None:
    for temperature_k in (18.0, 273.0, 700.0):
        with pytest.raises(ValueError, match="temperature_k"):
            function(temperature_k)


def test_elevation_out_of_the_model_is_refused() -> None:
    for elevation_m in (-501.0, 11001.0):
        with pytest.raises(ValueError, match="elevation_m"):
            atmosphere_pa(elevation_m)


def test_arrays_pass_through_and_one_bad_element_stops_them() -> None:
    numpy = pytest.importorskip("numpy")
    temperatures_k = numpy.array([283.15, 293.15])

    for function in (density_kg_m3, dynamic_viscosity_pa_s, vapour_pressure_pa):
        values: Any = function(temperatures_k)
        assert list(values) == pytest.approx([function(283.15), function(293.15)])
        with pytest.raises(ValueError, match="temperature_k"):
            function(numpy.array([283.15, math.nan]))
