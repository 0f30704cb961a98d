"""Chlorine for the shock disinfection of a well."""

from __future__ import annotations

from specc.physics._range import require_between, require_positive


def chlorine_mass_kg(volume_m3: float, dose_kg_m3: float = 0.1) -> float:
    """Free chlorine that brings a volume of water to a dose.

    Formula: m = c V.

    volume_m3: water to be treated V [m³], above 0
    dose_kg_m3: dose c [kg/m³], 0.01 to 0.5; 0.1 is 100 mg/L
    Returns: mass of chlorine [kg].

    A round well of 0.9 m with 2.0 m of water holds 1.27 m³:

    >>> round(chlorine_mass_kg(1.272), 3)
    0.127

    Source: definition of concentration; 50 to 100 mg/L for 6 h or more as health departments publish for
    private wells.
    """
    require_positive(volume_m3=volume_m3)
    require_between(0.01, 0.5, dose_kg_m3=dose_kg_m3)
    return dose_kg_m3 * volume_m3


def bleach_volume_m3(chlorine_kg: float, strength_kg_m3: float) -> float:
    """Plain bleach that holds a mass of chlorine.

    Formula: V = m / s.

    chlorine_kg: mass of chlorine m [kg], above 0
    strength_kg_m3: chlorine in the bleach s [kg/m³], 10 to 150; 52.5 is a bleach of 5.25 %
    Returns: volume of bleach [m³].

    >>> round(bleach_volume_m3(0.127, 52.5) * 1000.0, 1)
    2.4

    Source: definition of concentration; strength as on the label, weight by volume.
    """
    require_positive(chlorine_kg=chlorine_kg)
    require_between(10.0, 150.0, strength_kg_m3=strength_kg_m3)
    return chlorine_kg / strength_kg_m3
