"""Fuse and breaker arithmetic: standard ratings, fusing currents, fault currents, motor limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from specc.physics._range import require_between, require_count, require_not_negative, require_positive

# A computed limit that equals a standard rating but for float noise counts as equal.
_ROUNDING = 1e-9


class FuseWindow(NamedTuple):
    """Bounds of a string fuse rating [A]; empty where ``lowest_a`` exceeds ``highest_a``."""

    lowest_a: float
    highest_a: float


def fusing_current_a(rating_a: float, factor: float = 1.45) -> float:
    """Current at which a fuse for photovoltaic strings is sure to open within its time.

    Formula: If = k In.

    rating_a: rated current In [A], above 0
    factor: fusing factor k [-], 1 to 3; 1.45 for class gPV
    Returns: conventional fusing current [A].

    >>> round(fusing_current_a(15.0), 2)
    21.75

    Source: IEC 60269-6, 1 h up to 63 A; from memory, unverified.
    """
    require_positive(rating_a=rating_a)
    require_between(1.0, 3.0, factor=factor)
    return factor * rating_a


def non_fusing_current_a(rating_a: float, factor: float = 1.13) -> float:
    """Current that a fuse for photovoltaic strings carries without opening within its time.

    Formula: Inf = k In.

    rating_a: rated current In [A], above 0
    factor: non-fusing factor k [-], 1 to 3; 1.13 for class gPV
    Returns: conventional non-fusing current [A].

    >>> round(non_fusing_current_a(15.0), 2)
    16.95

    Source: IEC 60269-6; from memory, unverified.
    """
    return fusing_current_a(rating_a, factor)


def battery_fault_current_a(
    nominal_v: float, battery_ohm: float, circuit_ohm: float, voltage_factor: float = 1.05
) -> float:
    """Prospective short-circuit current of a battery.

    Formula: Ik = k Un / (Rb + Rc).

    nominal_v: nominal voltage of the bank Un [V], above 0
    battery_ohm: internal resistance of the bank Rb [Ω], above 0
    circuit_ohm: resistance of the cables up to the fault, cold [Ω], 0 or more
    voltage_factor: open-circuit over nominal voltage k [-], 1 to 1.3
    Returns: prospective current [A].

    >>> round(battery_fault_current_a(24.0, 0.008, 0.00264))
    2368

    Source: IEC 61660-1 (E = 1.05 Un), from memory, unverified.
    """
    require_positive(nominal_v=nominal_v, battery_ohm=battery_ohm)
    require_not_negative(circuit_ohm=circuit_ohm)
    require_between(1.0, 1.3, voltage_factor=voltage_factor)
    return voltage_factor * nominal_v / (battery_ohm + circuit_ohm)


def next_standard_rating_a(current_a: float, ratings_a: Sequence[float]) -> float | None:
    """Smallest standard rating that is not below a current.

    Formula: min{r : r >= I}.

    current_a: current to be reached [A], 0 or more
    ratings_a: the standard ratings in any order [A], each above 0
    Returns: the rating [A], or None if all are smaller.

    >>> next_standard_rating_a(18.75, (15, 20, 25, 30))
    20

    Source: NFPA 70 (NEC) 2023, 240.4(B) and 240.6(A).
    """
    require_not_negative(current_a=current_a)
    _require_ratings(ratings_a)
    return min((r for r in ratings_a if r >= current_a * (1.0 - _ROUNDING)), default=None)


def largest_standard_rating_a(current_a: float, ratings_a: Sequence[float]) -> float | None:
    """Largest standard rating that does not exceed a current.

    Formula: max{r : r <= I}.

    current_a: current not to be exceeded [A], 0 or more
    ratings_a: the standard ratings in any order [A], each above 0
    Returns: the rating [A], or None if all are larger.

    >>> largest_standard_rating_a(18.75, (15, 20, 25, 30))
    15

    Source: NFPA 70 (NEC) 2023, 240.4 and 240.6(A).
    """
    require_not_negative(current_a=current_a)
    _require_ratings(ratings_a)
    return max((r for r in ratings_a if r <= current_a * (1.0 + _ROUNDING)), default=None)


def string_fuse_window_a(
    short_circuit_a: float, module_limit_a: float, low_factor: float, high_factor: float | None = None
) -> FuseWindow:
    """Band of ratings for the fuse of one string.

    Formula: k1 Isc to min(k2 Isc, module limit). Whether an end belongs to the band is for
    the rulebook to say: the US one includes both, the IEC one excludes k1 Isc and k2 Isc.

    short_circuit_a: short-circuit current of one module at standard conditions [A], above 0
    module_limit_a: maximum series fuse of the module [A], above 0
    low_factor: k1 [-], 1 to 3; 1.56 (US) or 1.5 (IEC)
    high_factor: k2 [-], 1 to 5; 2.4 (IEC), None where only the module sets the limit (US)
    Returns: the band [A].

    >>> window = string_fuse_window_a(6.0, 15.0, low_factor=1.5, high_factor=2.4)
    >>> round(window.lowest_a, 2), round(window.highest_a, 2)
    (9.0, 14.4)

    Source: NFPA 70 (NEC) 2023, 690.9(B); IEC 62548, string protection.
    """
    require_positive(short_circuit_a=short_circuit_a, module_limit_a=module_limit_a)
    require_between(1.0, 3.0, low_factor=low_factor)
    highest_a = module_limit_a
    if high_factor is not None:
        require_between(1.0, 5.0, high_factor=high_factor)
        highest_a = min(module_limit_a, high_factor * short_circuit_a)
    return FuseWindow(low_factor * short_circuit_a, highest_a)


def string_backfeed_a(strings: int, short_circuit_a: float, factor: float, other_sources_a: float) -> float:
    """Current that the rest of the array can drive into one faulty string.

    Formula: I = (Np - 1) k Isc + I_other.

    strings: strings in parallel Np [-], 1 or more
    short_circuit_a: short-circuit current of one string [A], above 0
    factor: k [-], 1 to 2; 1.25 (US) or 1 (IEC)
    other_sources_a: current that a battery or controller can feed back [A], 0 or more
    Returns: current into the faulty string [A].

    >>> string_backfeed_a(4, 6.0, 1.25, 0.0)
    22.5

    Source: NFPA 70 (NEC) 2023, 690.9(A); IEC 62548, overcurrent protection of strings.
    """
    require_count(strings=strings)
    require_positive(short_circuit_a=short_circuit_a)
    require_between(1.0, 2.0, factor=factor)
    require_not_negative(other_sources_a=other_sources_a)
    return (strings - 1) * factor * short_circuit_a + other_sources_a


def motor_limit_a(rated_current_a: float, factor: float) -> float:
    """Limit that a rulebook sets as a multiple of the motor's rated current.

    Formula: I = k Im. US: conductor at least 1.25, short-circuit device at most 1.50,
    overload device at most 1.25 (service factor 1.15 or 40 K rise) or 1.15, disconnect at least 1.15.

    rated_current_a: rated current of the label Im [A], above 0
    factor: k [-], 1 to 4
    Returns: the limit [A].

    >>> round(motor_limit_a(8.0, factor=1.50), 2)
    12.0

    Source: NFPA 70 (NEC) 2023, 430.22, 430.52, 430.32 and 430.110(A); from memory, unverified.
    """
    require_positive(rated_current_a=rated_current_a)
    require_between(1.0, 4.0, factor=factor)
    return factor * rated_current_a


def surge_critical_length_m(flashes_per_km2_year: float, factor_m: float) -> float:
    """Route length between array and controller beyond which a surge device is wanted.

    Formula: Lcrit = k / Ng.

    flashes_per_km2_year: lightning ground flash density Ng [1/(km²·year)], above 0
    factor_m: k [m], above 0: 115 on a dwelling, 200 on the ground, 450 on other buildings
    Returns: critical length [m].

    >>> surge_critical_length_m(8.0, 200.0)
    25.0

    Source: IEC 60364-7-712, 712.443.5; from memory, unverified.
    """
    require_positive(flashes_per_km2_year=flashes_per_km2_year, factor_m=factor_m)
    return factor_m / flashes_per_km2_year


def functional_earth_least_ohm(voltage_v: float, current_a: float) -> float:
    """Least resistance between a conductor and earth, where a resistor alone holds the earth fault down.

    Formula: R = V / I.

    voltage_v: highest voltage of the supply V [V], above 0
    current_a: current that an earth fault may drive for hours I [A], above 0
    Returns: resistance [Ω].

    >>> round(functional_earth_least_ohm(60.0, 0.03), 1)
    2000.0

    Source: Ohm's law; 30 mA: IEC 62109-2, 4.8.2.2; from memory, unverified.
    """
    require_positive(voltage_v=voltage_v, current_a=current_a)
    return voltage_v / current_a


def resistor_heat_w(voltage_v: float, resistance_ohm: float) -> float:
    """Heat in a resistor.

    Formula: P = V² / R.

    voltage_v: voltage across it V [V], at least 0
    resistance_ohm: resistance R [Ω], above 0
    Returns: heat [W].

    >>> resistor_heat_w(60.0, 2000.0)
    1.8

    Source: Joule's law.
    """
    require_not_negative(voltage_v=voltage_v)
    require_positive(resistance_ohm=resistance_ohm)
    return voltage_v**2 / resistance_ohm


def _require_ratings(ratings_a: Sequence[float]) -> None:
    """Raise ValueError for an empty series or one with a rating that is not above zero."""
    if not ratings_a:
        raise ValueError("ratings_a must not be empty")
    for rating_a in ratings_a:
        require_positive(rating_a=rating_a)
