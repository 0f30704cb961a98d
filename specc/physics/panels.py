"""Voltage and current of modules and arrays: cold, hot, in any light, and against a load."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from specc.physics._range import require_between, require_count, require_not_negative, require_positive
from specc.physics.constants import (
    LIGHT_VOLTAGE_FACTOR,
    NOCT_AIR_TEMPERATURE_K,
    NOCT_IRRADIANCE_W_M2,
    STANDARD_CELL_TEMPERATURE_K,
    STANDARD_IRRADIANCE_W_M2,
)

_SCAN_STEPS = 400  # looks for the first crossing before halving
_HALVINGS = 60  # below float resolution of any array voltage


class ModulePoints(NamedTuple):
    """The four points that every module label gives, at one irradiance and cell temperature."""

    voc_v: float
    isc_a: float
    vmp_v: float
    imp_a: float


class ArrayPoint(NamedTuple):
    """A point on the curve of an array."""

    voltage_v: float
    current_a: float


def cold_voltage_v(
    voc_v: float, modules_in_series: int, coefficient_per_k: float, coldest_air_k: float
) -> float:
    """Highest open-circuit voltage of a string, by the temperature coefficient.

    Formula: Vmax = Ns Voc (1 + β (Tmin - 25 °C)).

    voc_v: open-circuit voltage of one module at standard conditions [V], above 0
    modules_in_series: Ns [-], 1 or more
    coefficient_per_k: temperature coefficient of Voc, β [1/K], -0.01 to 0
    coldest_air_k: lowest expected air temperature [K], 183.15 to 323.15
    Returns: voltage [V].

    >>> round(cold_voltage_v(22.0, 2, -0.0030, 258.15), 2)
    49.28

    Source: NFPA 70 (NEC) 2023, 690.7(A)(1); IEC 62548.
    """
    require_between(183.15, 323.15, coldest_air_k=coldest_air_k)
    return string_voltage_v(voc_v, modules_in_series, coefficient_per_k, coldest_air_k)


def cold_voltage_by_factor_v(voc_v: float, modules_in_series: int, factor: float) -> float:
    """Highest open-circuit voltage of a string, by a factor from a table.

    Formula: Vmax = k Ns Voc.

    voc_v: open-circuit voltage of one module at standard conditions [V], above 0
    modules_in_series: Ns [-], 1 or more
    factor: table factor for the coldest air k [-], 1 to 1.5
    Returns: voltage [V].

    >>> round(cold_voltage_by_factor_v(22.0, 2, 1.16), 2)
    51.04

    Source: NFPA 70 (NEC) 2023, Table 690.7(A); IEC 60364-7-712 Annex B (1.2).
    """
    require_positive(voc_v=voc_v)
    require_count(modules_in_series=modules_in_series)
    require_between(1.0, 1.5, factor=factor)
    return factor * modules_in_series * voc_v


def maximum_current_a(short_circuit_sum_a: float, factor: float = 1.25) -> float:
    """Highest current that an array is reckoned to give.

    Formula: Imax = k Σ Isc.

    short_circuit_sum_a: sum of the short-circuit currents of the parallel strings [A], above 0
    factor: k for brighter light than standard [-], 1 to 2
    Returns: current [A].

    >>> maximum_current_a(12.0)
    15.0

    Source: NFPA 70 (NEC) 2023, 690.8(A)(1); IEC 60364-7-712 Annex B.
    """
    require_positive(short_circuit_sum_a=short_circuit_sum_a)
    require_between(1.0, 2.0, factor=factor)
    return factor * short_circuit_sum_a


def cell_temperature_k(
    air_temperature_k: float, noct_k: float, irradiance_w_m2: float = STANDARD_IRRADIANCE_W_M2
) -> float:
    """Cell temperature in sun, from the nominal operating cell temperature.

    Formula: Tc = Ta + (NOCT - 20 °C) G / 800.

    air_temperature_k: air temperature Ta [K], 183.15 to 343.15
    noct_k: nominal operating cell temperature of the module [K], 303.15 to 343.15
    irradiance_w_m2: irradiance on the module G [W/m²], 0 to 1500
    Returns: cell temperature [K].

    >>> round(cell_temperature_k(311.15, 318.15) - 273.15, 2)
    69.25

    Source: IEC 61215, definition of NOCT (800 W/m², 20 °C, 1 m/s); from memory, unverified.
    """
    require_between(183.15, 343.15, air_temperature_k=air_temperature_k)
    require_between(303.15, 343.15, noct_k=noct_k)
    require_between(0.0, 1500.0, irradiance_w_m2=irradiance_w_m2)
    return air_temperature_k + (noct_k - NOCT_AIR_TEMPERATURE_K) * irradiance_w_m2 / NOCT_IRRADIANCE_W_M2


def string_voltage_v(
    module_v: float, modules_in_series: int, coefficient_per_k: float, cell_temperature_k: float
) -> float:
    """Voltage of a string at a cell temperature: Vmp for a hot day, Voc for a reading on site.

    Formula: V = Ns V1 (1 + γ (Tc - 25 °C)).

    module_v: Vmp or Voc of one module at standard conditions [V], above 0
    modules_in_series: Ns [-], 1 or more
    coefficient_per_k: temperature coefficient of that voltage, γ [1/K], -0.01 to 0
    cell_temperature_k: cell temperature Tc [K], 183.15 to 373.15
    Returns: voltage [V].

    >>> round(string_voltage_v(18.0, 2, -0.0040, 342.40), 2)
    29.63

    Source: IEC 60891, linear temperature coefficients.
    """
    require_positive(module_v=module_v)
    require_count(modules_in_series=modules_in_series)
    require_between(-0.01, 0.0, coefficient_per_k=coefficient_per_k)
    require_between(183.15, 373.15, cell_temperature_k=cell_temperature_k)
    factor = 1.0 + coefficient_per_k * (cell_temperature_k - STANDARD_CELL_TEMPERATURE_K)
    return modules_in_series * module_v * factor


def start_irradiance_w_m2(starting_current_a: float, short_circuit_sum_a: float) -> float:
    """Irradiance at which an array alone gives a motor its starting current.

    Formula: G = 1000 Istart / Σ Isc.

    starting_current_a: current that turns the pump from rest [A], 0 or more
    short_circuit_sum_a: sum of the short-circuit currents of the parallel strings [A], above 0
    Returns: irradiance [W/m²]; above about 1000 it may never start.

    >>> round(start_irradiance_w_m2(10.0, 12.0))
    833

    Source: current in proportion to irradiance, IEC 60891; standard irradiance of IEC 60904-3.
    """
    require_not_negative(starting_current_a=starting_current_a)
    require_positive(short_circuit_sum_a=short_circuit_sum_a)
    return STANDARD_IRRADIANCE_W_M2 * starting_current_a / short_circuit_sum_a


def module_at(
    standard: ModulePoints,
    irradiance_w_m2: float,
    cell_temperature_k: float,
    voc_coefficient_per_k: float,
    vmp_coefficient_per_k: float,
    isc_coefficient_per_k: float = 0.0,
    light_voltage_factor: float = LIGHT_VOLTAGE_FACTOR,
) -> ModulePoints:
    """The label points of a module moved to another irradiance and cell temperature.

    Formula: I = I0 (G/1000) (1 + α ΔT), V = V0 (1 + β ΔT + a ln(G/1000)), ΔT = Tc - 25 °C.
    The light term a is stated for Voc; taking it for Vmp too is an approximation.

    standard: points at standard conditions, volts and amperes [-]
    irradiance_w_m2: irradiance on the module G [W/m²], 1 to 1500
    cell_temperature_k: cell temperature Tc [K], 183.15 to 373.15
    voc_coefficient_per_k: temperature coefficient of Voc [1/K], -0.01 to 0
    vmp_coefficient_per_k: temperature coefficient of Vmp [1/K], -0.01 to 0
    isc_coefficient_per_k: temperature coefficient of current α [1/K], -0.002 to 0.002
    light_voltage_factor: a [-], 0 to 0.12
    Returns: points at that irradiance and temperature, volts and amperes [-]. ValueError where
    the coefficients do not leave 0 < Vmp < Voc.

    >>> hot = module_at(ModulePoints(22.0, 6.0, 18.0, 5.56), 800.0, 318.15, -0.003, -0.004)
    >>> round(hot.isc_a, 2)
    4.8

    Source: IEC 60891 procedure 2 without its series resistance terms; from memory, unverified.
    """
    _require_points(standard)
    require_between(1.0, 1500.0, irradiance_w_m2=irradiance_w_m2)
    require_between(183.15, 373.15, cell_temperature_k=cell_temperature_k)
    require_between(
        -0.01, 0.0, voc_coefficient_per_k=voc_coefficient_per_k, vmp_coefficient_per_k=vmp_coefficient_per_k
    )
    require_between(-0.002, 0.002, isc_coefficient_per_k=isc_coefficient_per_k)
    require_between(0.0, 0.12, light_voltage_factor=light_voltage_factor)
    warming_k = cell_temperature_k - STANDARD_CELL_TEMPERATURE_K
    light = irradiance_w_m2 / STANDARD_IRRADIANCE_W_M2
    light_term = light_voltage_factor * math.log(light)
    current_factor = light * (1.0 + isc_coefficient_per_k * warming_k)
    moved = ModulePoints(
        voc_v=standard.voc_v * (1.0 + voc_coefficient_per_k * warming_k + light_term),
        isc_a=standard.isc_a * current_factor,
        vmp_v=standard.vmp_v * (1.0 + vmp_coefficient_per_k * warming_k + light_term),
        imp_a=standard.imp_a * current_factor,
    )
    _require_points(moved)
    return moved


def array_current_a(
    module: ModulePoints, modules_in_series: int, strings: int, array_voltage_v: float
) -> float:
    """Current of an array of like modules at a voltage.

    Formula: I = Np Isc (1 - C1 (exp(V / (C2 Ns Voc)) - 1)), C1 = (1 - Imp/Isc) exp(-Vmp / (C2 Voc)),
    C2 = (Vmp/Voc - 1) / ln(1 - Imp/Isc). Above open circuit the current is 0, as behind a diode.
    Against the single-diode model: within 1.5 % of Isc up to Vmp; between Vmp and Voc the voltage
    reads up to 4 % of Voc high, cautious for limits, a little flattering for a light load.

    module: label points at the irradiance and temperature wanted, volts and amperes [-]
    modules_in_series: Ns [-], 1 or more
    strings: strings in parallel Np [-], 1 or more
    array_voltage_v: voltage at the array [V], 0 or more
    Returns: current [A].

    At the point of maximum power the curve gives back the label:

    >>> round(array_current_a(ModulePoints(22.0, 6.0, 18.0, 5.56), 2, 2, 36.0), 2)
    11.12

    Source: explicit two-point model of the solar cell array design handbooks, 1980; from memory, unverified.
    """
    _require_array(module, modules_in_series, strings)
    require_not_negative(array_voltage_v=array_voltage_v)
    c1, c2 = _shape(module)
    # Past twice open circuit nothing changes, and the exponential would overflow.
    relative_v = min(array_voltage_v / (modules_in_series * module.voc_v), 2.0)
    current_a = strings * module.isc_a * (1.0 - c1 * math.expm1(relative_v / c2))
    return max(0.0, current_a)


def array_voltage_v(
    module: ModulePoints, modules_in_series: int, strings: int, array_current_a: float
) -> float:
    """Voltage of an array of like modules at a current: the inverse of ``array_current_a``.

    Formula: V = Ns C2 Voc ln(1 + (1 - I/(Np Isc)) / C1), constants as there.

    module: label points at the irradiance and temperature wanted, volts and amperes [-]
    modules_in_series: Ns [-], 1 or more
    strings: strings in parallel Np [-], 1 or more
    array_current_a: current drawn [A], 0 to Np Isc
    Returns: voltage [V].

    >>> round(array_voltage_v(ModulePoints(22.0, 6.0, 18.0, 5.56), 2, 2, 11.12), 2)
    36.0

    Source: explicit two-point model of the solar cell array design handbooks, 1980; from memory, unverified.
    """
    _require_array(module, modules_in_series, strings)
    short_circuit_a = strings * module.isc_a
    require_between(0.0, short_circuit_a, array_current_a=array_current_a)
    c1, c2 = _shape(module)
    rest = 1.0 - array_current_a / short_circuit_a
    return modules_in_series * module.voc_v * c2 * math.log1p(rest / c1)


def load_crossing(
    module: ModulePoints, modules_in_series: int, strings: int, load_current_a: Callable[[float], float]
) -> ArrayPoint | None:
    """Where an array settles with a load that starts from rest.

    Formula: the first root, from 0 V upwards, of I_array(V) - I_load(V), by bisection.

    module: label points at the irradiance and temperature wanted, volts and amperes [-]
    modules_in_series: Ns [-], 1 or more
    strings: strings in parallel Np [-], 1 or more
    load_current_a: gives the load's current at a voltage [A], 0 or more and finite
    Returns: volts and amperes [-], or None where the load wants all the array has at 0 V: it stalls.

    A resistor of 3.2374 ohm meets the curve at its point of maximum power:

    >>> point = load_crossing(ModulePoints(22.0, 6.0, 18.0, 5.56), 2, 2, lambda v: v / 3.2374)
    >>> round(point.voltage_v, 2), round(point.current_a, 2)
    (36.0, 11.12)

    Source: current balance; bisection as in any text on numerical methods.
    """
    _require_array(module, modules_in_series, strings)

    def surplus_a(voltage_v: float) -> float:
        load_a = load_current_a(voltage_v)
        require_not_negative(load_current_a=load_a)
        return array_current_a(module, modules_in_series, strings, voltage_v) - load_a

    open_v = array_voltage_v(module, modules_in_series, strings, 0.0)
    if surplus_a(0.0) <= 0.0:
        return None
    low_v = 0.0
    for step in range(1, _SCAN_STEPS + 1):
        high_v = open_v * step / _SCAN_STEPS
        if surplus_a(high_v) <= 0.0:
            crossing_v = _halve(surplus_a, low_v, high_v)
            return ArrayPoint(crossing_v, array_current_a(module, modules_in_series, strings, crossing_v))
        low_v = high_v
    return ArrayPoint(open_v, 0.0)  # the load draws nothing: float noise left a trace of surplus


def maximum_power_point(module: ModulePoints, modules_in_series: int, strings: int) -> ArrayPoint:
    """Where the curve of an array gives most power.

    Formula: the root of dP/dV = I + V dI/dV, by bisection; close to Ns Vmp, Np Imp.

    module: label points at the irradiance and temperature wanted, volts and amperes [-]
    modules_in_series: Ns [-], 1 or more
    strings: strings in parallel Np [-], 1 or more
    Returns: volts and amperes [-].

    >>> point = maximum_power_point(ModulePoints(22.0, 6.0, 18.0, 5.56), 2, 2)
    >>> round(point.voltage_v * point.current_a)
    400

    Source: explicit two-point model of the solar cell array design handbooks, 1980; from memory, unverified.
    """
    _require_array(module, modules_in_series, strings)
    c1, c2 = _shape(module)

    def slope(relative_v: float) -> float:
        growth = math.exp(relative_v / c2)
        return 1.0 - c1 * (growth - 1.0) - relative_v * c1 * growth / c2

    voltage_v = modules_in_series * module.voc_v * _halve(slope, 0.0, 1.0)
    return ArrayPoint(voltage_v, array_current_a(module, modules_in_series, strings, voltage_v))


def power_crossing(
    module: ModulePoints, modules_in_series: int, strings: int, power_w: float
) -> ArrayPoint | None:
    """Where an array settles when a controller draws a steady power from it.

    Formula: the root of V I(V) = P on the steady side, between maximum power and open circuit.

    module: label points at the irradiance and temperature wanted, volts and amperes [-]
    modules_in_series: Ns [-], 1 or more
    strings: strings in parallel Np [-], 1 or more
    power_w: power that the controller takes in [W], 0 or more
    Returns: volts and amperes [-], or None where the array cannot give that power.

    >>> power_crossing(ModulePoints(22.0, 6.0, 18.0, 5.56), 2, 2, 500.0) is None
    True

    Source: power balance; bisection as in any text on numerical methods.
    """
    require_not_negative(power_w=power_w)
    best = maximum_power_point(module, modules_in_series, strings)
    if power_w > best.voltage_v * best.current_a:
        return None

    def surplus_w(voltage_v: float) -> float:
        return voltage_v * array_current_a(module, modules_in_series, strings, voltage_v) - power_w

    open_v = array_voltage_v(module, modules_in_series, strings, 0.0)
    voltage_v = _halve(surplus_w, best.voltage_v, open_v)
    return ArrayPoint(voltage_v, array_current_a(module, modules_in_series, strings, voltage_v))


def _shape(module: ModulePoints) -> tuple[float, float]:
    """C1 and C2 of the explicit two-point model."""
    unused = 1.0 - module.imp_a / module.isc_a
    c2 = (module.vmp_v / module.voc_v - 1.0) / math.log(unused)
    return unused * math.exp(-module.vmp_v / (c2 * module.voc_v)), c2


def _halve(function: Callable[[float], float], low: float, high: float) -> float:
    """Root of a function that is positive at ``low`` and not positive at ``high``."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if function(middle) > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _require_points(module: ModulePoints) -> None:
    """Raise ValueError unless 0 < Vmp < Voc and 0 < Imp < Isc, all finite."""
    require_positive(voc_v=module.voc_v, isc_a=module.isc_a, vmp_v=module.vmp_v, imp_a=module.imp_a)
    if not (module.vmp_v < module.voc_v and module.imp_a < module.isc_a):
        raise ValueError(f"Vmp must be below Voc and Imp below Isc, not {module!r}")


def _require_array(module: ModulePoints, modules_in_series: int, strings: int) -> None:
    """Raise ValueError unless the points and both counts are in range."""
    _require_points(module)
    require_count(modules_in_series=modules_in_series, strings=strings)
