"""Properties of water at atmospheric pressure, and air pressure by elevation."""

from __future__ import annotations

from specc.physics._range import require_between
from specc.physics.constants import ATMOSPHERE_PA, ZERO_CELSIUS_K

_EARTH_RADIUS_M = 6356766.0  # of ISO 2533, geometric to geopotential altitude
_SEA_LEVEL_TEMPERATURE_K = 288.15  # ISO 2533
_LAPSE_K_M = 0.0065  # ISO 2533, to 11 000 m
_PRESSURE_EXPONENT = 5.25588  # g M / (R lapse) with the constants of ISO 2533

# IAPWS-IF97, region 4, Table 34
_N1, _N2, _N3 = 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2
_N4, _N5, _N6 = 0.12020824702470e5, -0.32325550322333e7, 0.14915108613530e2
_N7, _N8 = -0.48232657361591e4, 0.40511340542057e6
_N9, _N10 = -0.23855557567849, 0.65017534844798e3


def density_kg_m3(temperature_k: float) -> float:
    """Density of air-free water at 101.325 kPa.

    Formula: ρ = (999.83952 + 16.945176 t - 7.9870401e-3 t² - 46.170461e-6 t³ + 105.56302e-9 t⁴
    - 280.54253e-12 t⁵) / (1 + 16.879850e-3 t), t in °C.

    temperature_k: water temperature [K], 273.15 to 373.15
    Returns: density [kg/m³].

    >>> round(density_kg_m3(291.15), 1)
    998.6

    Source: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97, equation 16.
    """
    require_between(273.15, 373.15, temperature_k=temperature_k)
    t = temperature_k - ZERO_CELSIUS_K
    above = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return above / (1.0 + 16.879850e-3 * t)


def dynamic_viscosity_pa_s(temperature_k: float) -> float:
    """Dynamic viscosity of liquid water at 0.1 MPa.

    Formula: μ/(1e-6 Pa s) = 280.68 τ^-1.9 + 511.45 τ^-7.7 + 61.131 τ^-19.6 + 0.45903 τ^-40, τ = T/(300 K).

    temperature_k: water temperature [K], 273.15 to 373.15
    Returns: dynamic viscosity [Pa·s].

    >>> round(dynamic_viscosity_pa_s(298.15) * 1e6, 1)
    890.0

    Source: IAPWS R12-08 (2008) / SR6-08, liquid water at 0.1 MPa.
    """
    require_between(273.15, 373.15, temperature_k=temperature_k)
    tau = temperature_k / 300.0
    micro_pa_s: float = 280.68 * tau**-1.9 + 511.45 * tau**-7.7 + 61.131 * tau**-19.6 + 0.45903 * tau**-40.0
    return 1e-6 * micro_pa_s


def vapour_pressure_pa(temperature_k: float) -> float:
    """Saturation pressure of water.

    Formula: p = (2C / (-B + sqrt(B² - 4AC)))⁴ MPa, with A, B, C quadratic in
    θ = T + n9/(T - n10).

    temperature_k: water temperature [K], 273.15 to 647.096
    Returns: saturation pressure [Pa].

    >>> round(vapour_pressure_pa(300.0), 4)
    3536.5894

    Source: IAPWS-IF97, region 4, equation 30 and verification Table 35.
    """
    require_between(273.15, 647.096, temperature_k=temperature_k)
    theta = temperature_k + _N9 / (temperature_k - _N10)
    a = theta**2 + _N1 * theta + _N2
    b = _N3 * theta**2 + _N4 * theta + _N5
    c = _N6 * theta**2 + _N7 * theta + _N8
    root: float = (b**2 - 4.0 * a * c) ** 0.5
    return 1e6 * (2.0 * c / (root - b)) ** 4


def atmosphere_pa(elevation_m: float) -> float:
    """Air pressure of the standard atmosphere at an elevation.

    Formula: p = 101325 (1 - 0.0065 H / 288.15)^5.25588, H = r z / (r + z), r = 6 356 766 m.

    elevation_m: geometric elevation z above sea level [m], -500 to 11 000
    Returns: air pressure [Pa].

    >>> round(atmosphere_pa(600.0))
    94322

    Source: ISO 2533; US Standard Atmosphere 1976.
    """
    require_between(-500.0, 11000.0, elevation_m=elevation_m)
    geopotential_m = _EARTH_RADIUS_M * elevation_m / (_EARTH_RADIUS_M + elevation_m)
    warmth = 1.0 - _LAPSE_K_M * geopotential_m / _SEA_LEVEL_TEMPERATURE_K
    ratio: float = warmth**_PRESSURE_EXPONENT
    return ATMOSPHERE_PA * ratio
