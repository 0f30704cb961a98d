"""Resistance at temperature, voltage drop, ampacity after correction, raceway fill."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

from specc.physics._range import require_between, require_not_negative, require_positive


def resistance_at(
    resistance_ohm: float, reference_temperature_k: float, temperature_k: float, coefficient_per_k: float
) -> float:
    """Resistance of a conductor at another temperature.

    Formula: R2 = R1 (1 + α (T2 - T1)), α as stated at T1. Works alike for ohms per metre.

    resistance_ohm: resistance at the reference temperature [Ω], above 0
    reference_temperature_k: temperature of that resistance, and of α [K], 173.15 to 523.15
    temperature_k: temperature wanted [K], 173.15 to 523.15
    coefficient_per_k: temperature coefficient α at the reference temperature [1/K], 0 to 0.01
    Returns: the resistance [Ω].

    10 AWG stranded copper, 4.07 ohm/km at 75 °C, at 40 °C:

    >>> round(resistance_at(4.07e-3, 348.15, 313.15, 0.00323), 5)
    0.00361

    Source: NFPA 70 (NEC) 2023, Chapter 9 Table 8, note 2 (α = 0.00323 for copper at 75 °C).
    """
    require_positive(resistance_ohm=resistance_ohm)
    require_between(
        173.15, 523.15, reference_temperature_k=reference_temperature_k, temperature_k=temperature_k
    )
    require_between(0.0, 0.01, coefficient_per_k=coefficient_per_k)
    factor = 1.0 + coefficient_per_k * (temperature_k - reference_temperature_k)
    require_positive(resistance_factor=factor)
    return resistance_ohm * factor


def ohm_per_m_from_area(resistivity_ohm_m: float, area_m2: float) -> float:
    """Resistance per metre of one conductor from its metal area.

    Formula: R' = ρ / S.

    resistivity_ohm_m: resistivity at the working temperature [Ω·m], above 0
    area_m2: cross-section of the metal [m²], above 0
    Returns: resistance per metre [Ω/m].

    4 mm² at the hot copper value of 0.0225 ohm mm²/m:

    >>> round(ohm_per_m_from_area(0.0225e-6, 4e-6), 6)
    0.005625

    Source: IEC 60364-5-52 Annex G (ρ1 = 0.0225 Ω·mm²/m for copper), from memory, unverified.
    """
    require_positive(resistivity_ohm_m=resistivity_ohm_m, area_m2=area_m2)
    return resistivity_ohm_m / area_m2


def loop_resistance_ohm(length_m: float, ohm_per_m: float) -> float:
    """Resistance of a two-wire run, there and back.

    Formula: R = 2 L R'.

    length_m: one-way length [m], 0 or more
    ohm_per_m: resistance per metre of one conductor [Ω/m], above 0
    Returns: loop resistance [Ω].

    >>> round(loop_resistance_ohm(10.0, 4.07e-3), 4)
    0.0814

    Source: Ohm's law; resistance per metre from NFPA 70 (NEC) 2023, Chapter 9 Table 8.
    """
    require_not_negative(length_m=length_m)
    require_positive(ohm_per_m=ohm_per_m)
    return 2.0 * length_m * ohm_per_m


def two_wire_drop_v(length_m: float, ohm_per_m: float, current_a: float) -> float:
    """Voltage lost on a two-wire direct-current run.

    Formula: ΔV = 2 L R' I.

    length_m: one-way length [m], 0 or more
    ohm_per_m: resistance per metre of one conductor at its temperature [Ω/m], above 0
    current_a: current [A], 0 or more
    Returns: voltage drop [V].

    >>> round(two_wire_drop_v(10.0, 4.07e-3, 11.12), 3)
    0.905

    Source: Ohm's law; IEC 60364-5-52 Annex G with b = 2 and cos φ = 1.
    """
    require_not_negative(current_a=current_a)
    return loop_resistance_ohm(length_m, ohm_per_m) * current_a


def drop_fraction(drop_v: float, supply_v: float) -> float:
    """Voltage drop as a part of the voltage it is taken from.

    Formula: u = ΔV / V.

    drop_v: voltage drop [V], 0 or more
    supply_v: voltage of reference [V], above 0
    Returns: fraction [-], above 1 where the run cannot carry the current at all.

    >>> round(drop_fraction(0.905, 36.0), 4)
    0.0251

    Source: NFPA 70 (NEC) 2023, 210.19 and 215.2 notes (3 % and 5 % targets refer to it).
    """
    require_not_negative(drop_v=drop_v)
    require_positive(supply_v=supply_v)
    return drop_v / supply_v


def ambient_correction_factor(
    conductor_limit_k: float, ambient_k: float, reference_ambient_k: float
) -> float:
    """Factor on table ampacity for another ambient temperature.

    Formula: f = sqrt((Tc - Ta) / (Tc - Tref)).

    conductor_limit_k: temperature limit of the insulation Tc [K], 313.15 to 523.15
    ambient_k: ambient temperature Ta [K], 173.15 up to Tc (there the factor is 0)
    reference_ambient_k: ambient of the table Tref [K], below Tc
    Returns: factor [-].

    90 °C insulation at 50 °C, table for 30 °C; the printed band 46-50 °C says 0.82:

    >>> round(ambient_correction_factor(363.15, 323.15, 303.15), 2)
    0.82

    Source: NFPA 70 (NEC) 2023, 310.15(B), equation of the ambient correction.
    """
    require_between(313.15, 523.15, conductor_limit_k=conductor_limit_k)
    require_between(173.15, conductor_limit_k, ambient_k=ambient_k)
    require_positive(margin_above_reference_ambient_k=conductor_limit_k - reference_ambient_k)
    require_between(173.15, conductor_limit_k, reference_ambient_k=reference_ambient_k)
    ratio = (conductor_limit_k - ambient_k) / (conductor_limit_k - reference_ambient_k)
    factor: float = ratio**0.5
    return factor


def corrected_ampacity_a(table_ampacity_a: float, ambient_factor: float, grouping_factor: float) -> float:
    """Ampacity after the corrections for ambient temperature and for grouping.

    Formula: Iz = I_table f_ambient f_grouping.

    table_ampacity_a: ampacity in the insulation column [A], above 0
    ambient_factor: correction for ambient temperature [-], 0 to 1.5
    grouping_factor: correction for conductors laid together [-], above 0, at most 1
    Returns: corrected ampacity [A].

    >>> round(corrected_ampacity_a(30.0, 0.50, 0.80), 1)
    12.0

    Source: NFPA 70 (NEC) 2023, 310.15(B)(1) and (C)(1); IEC 60364-5-52 Tables B.52.14, B.52.17.
    """
    require_positive(table_ampacity_a=table_ampacity_a, grouping_factor=grouping_factor)
    require_between(0.0, 1.5, ambient_factor=ambient_factor)
    require_between(0.0, 1.0, grouping_factor=grouping_factor)
    return table_ampacity_a * ambient_factor * grouping_factor


def egc_upsized_area_m2(table_area_m2: float, installed_area_m2: float, minimum_area_m2: float) -> float:
    """Area of the equipment grounding conductor where the circuit conductors are enlarged.

    Formula: A = A_table max(1, A_installed / A_minimum).

    table_area_m2: area of the grounding conductor by the table [m²], above 0
    installed_area_m2: area of the circuit conductors as installed [m²], above 0
    minimum_area_m2: area of the smallest circuit conductor of enough ampacity [m²], above 0
    Returns: area required [m²].

    14 AWG (4110 circular mils) enlarged to 10 AWG (10 380), with one circular mil = 506.7e-12 m²:

    >>> round(egc_upsized_area_m2(4110 * 506.7e-12, 10380 * 506.7e-12, 4110 * 506.7e-12) / 506.7e-12)
    10380

    Source: NFPA 70 (NEC) 2023, 250.122(B).
    """
    require_positive(
        table_area_m2=table_area_m2, installed_area_m2=installed_area_m2, minimum_area_m2=minimum_area_m2
    )
    return table_area_m2 * max(1.0, installed_area_m2 / minimum_area_m2)


def raceway_fill_fraction(conductor_areas_m2: Sequence[float], internal_area_m2: float) -> float:
    """Part of a raceway's internal area taken by its conductors, insulation included.

    Formula: fill = Σ A_conductor / A_internal.

    conductor_areas_m2: overall areas of all conductors, grounding too [m²], each above 0
    internal_area_m2: internal area of the raceway [m²], above 0
    Returns: fill [-]; 0 for an empty raceway.

    Five 10 AWG THWN-2 (0.0211 in²) in 1/2 in PVC schedule 40 (0.285 in²):

    >>> round(raceway_fill_fraction([0.0211 * 6.4516e-4] * 5, 0.285 * 6.4516e-4), 3)
    0.37

    Source: NFPA 70 (NEC) 2023, Chapter 9 Tables 1, 4 and 5.
    """
    require_positive(internal_area_m2=internal_area_m2)
    for area_m2 in conductor_areas_m2:
        require_positive(conductor_area_m2=area_m2)
    return sum(conductor_areas_m2) / internal_area_m2


@cache
def gauge_area_m2(gauge: int) -> float:
    """Metal area of a conductor by its American wire gauge number.

    Formula: d = 0.127 mm · 92^((36 - n) / 39), A = π d² / 4.

    gauge: gauge number, 36 to -3 (0 for 1/0, -1 for 2/0, -2 for 3/0, -3 for 4/0) [-]
    Returns: metal area of the solid conductor [m²].

    >>> round(gauge_area_m2(10) * 1e6, 3)
    5.261

    Source: ASTM B258, standard nominal diameters by gauge number.
    """
    require_between(-3.0, 36.0, gauge=float(gauge))
    diameter_m: float = 0.127e-3 * 92.0 ** ((36 - gauge) / 39)
    return math.pi / 4.0 * diameter_m**2
