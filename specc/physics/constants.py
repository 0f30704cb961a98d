"""Named constants, each with its reference."""

from __future__ import annotations

from typing import Final

G_M_S2: Final = 9.80665
"""Standard acceleration of free fall [m/s²]. Source: 3rd CGPM, 1901; ISO 80000-3."""

ZERO_CELSIUS_K: Final = 273.15
"""The zero of the Celsius scale [K]. Source: ISO 80000-5; SI Brochure, 9th edition."""

ATMOSPHERE_PA: Final = 101325.0
"""Standard atmosphere [Pa]. Source: 10th CGPM, 1954; ISO 2533 sea level."""

STANDARD_IRRADIANCE_W_M2: Final = 1000.0
"""Irradiance at standard test conditions [W/m²]. Source: IEC 60904-3."""

STANDARD_CELL_TEMPERATURE_K: Final = 298.15
"""Cell temperature at standard test conditions, 25 °C [K]. Source: IEC 60904-3."""

NOCT_IRRADIANCE_W_M2: Final = 800.0
"""Irradiance at which the nominal operating cell temperature is stated [W/m²].
Source: IEC 61215, from memory, unverified."""

NOCT_AIR_TEMPERATURE_K: Final = 293.15
"""Air temperature at which the nominal operating cell temperature is stated, 20 °C [K].
Source: IEC 61215, from memory, unverified."""

LIGHT_VOLTAGE_FACTOR: Final = 0.06
"""Relative rise of open-circuit voltage with ln(irradiance) of a usual silicon module [-].
Source: IEC 60891 procedure 2, typical value of ``a``, from memory, unverified."""

WATER_BULK_MODULUS_PA: Final = 2.18e9
"""Bulk modulus of cold water at low pressure [Pa]. Source: handbook value near 20 °C,
from memory, unverified."""
