"""A module's whole curve from its label: the single-diode model, for any light and temperature."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from specc.operation.sun import Chosen, Values
from specc.physics.constants import (
    NOCT_AIR_TEMPERATURE_K,
    NOCT_IRRADIANCE_W_M2,
    STANDARD_CELL_TEMPERATURE_K,
    STANDARD_IRRADIANCE_W_M2,
)

_EV_PER_K: Final = 8.617333262e-5  # Boltzmann's constant [eV/K], CODATA 2018
_GAP_EV: Final = 1.121  # silicon at 25 degC, De Soto 2006
_GAP_PER_K: Final = -0.0002677
_WARMER_K: Final = 2.0  # the step over which the temperature coefficient is met, as De Soto does
_NEWTON: Final = 12
# From 8 to 60 slopes in Voc covers far more than the ideality of silicon cells, 0.5 to 2.5.
_STEEPEST: Final = 8.0
_FLATTEST: Final = 60.0
_SLOPES: Final = 17
_ROUNDS: Final = 6
_HALVINGS: Final = 36
_EXACT_PER_K: Final = 2e-5


@dataclass(frozen=True)
class Label:
    """What a module's data sheet says, at standard conditions; coefficients are relative [1/K]."""

    voc_v: float
    isc_a: float
    vmp_v: float
    imp_a: float
    voc_per_k: float
    isc_per_k: float
    noct_k: float


@dataclass(frozen=True)
class Module:
    """The five parameters at standard conditions, of one module.

    ``coefficient_error_per_k`` is what the curve's Voc coefficient misses the label's by.
    """

    label: Label
    light_a: float
    diode_a: float
    slope_v: float  # ideality · cells · kT/q
    series_ohm: float
    shunt_s: float
    coefficient_error_per_k: float = 0.0


@dataclass(frozen=True)
class Curve:
    """The curves of an array, one a step.

    I = light - diode·(exp(Vd/slope) - 1) - shunt·Vd, Vd = V + I·series.
    """

    light_a: Values
    diode_a: Values
    slope_v: Values
    series_ohm: float
    shunt_s: Values

    def with_series(self, ohm: float) -> Curve:
        """The same behind more wire."""
        return Curve(self.light_a, self.diode_a, self.slope_v, self.series_ohm + ohm, self.shunt_s)

    def at(self, steps: Chosen) -> Curve:
        """Some of the steps."""
        return Curve(
            self.light_a[steps],
            self.diode_a[steps],
            self.slope_v[steps],
            self.series_ohm,
            self.shunt_s[steps],
        )

    def inner_current_a(self, diode_v: Values | float) -> Values:
        """Current where the junction itself stands at this voltage [A]."""
        grown = np.expm1(np.minimum(diode_v / self.slope_v, 200.0))
        return np.asarray(self.light_a - self.diode_a * grown - self.shunt_s * diode_v)

    def current_a(self, voltage_v: Values | float) -> Values:
        """Current at a terminal voltage, by Newton's method on the junction voltage [A]."""
        rs = self.series_ohm
        diode_v = np.minimum(voltage_v + rs * self.light_a, self.open_v())
        for _ in range(_NEWTON):
            grown = self.diode_a * np.exp(np.minimum(diode_v / self.slope_v, 200.0))
            current = self.light_a - (grown - self.diode_a) - self.shunt_s * diode_v
            miss = diode_v - rs * current - voltage_v
            diode_v = diode_v - miss / (1.0 + rs * (grown / self.slope_v + self.shunt_s))
        return self.inner_current_a(diode_v)

    def open_v(self) -> Values:
        """Open-circuit voltage [V]."""
        volts = self.slope_v * np.log1p(np.maximum(self.light_a, 0.0) / self.diode_a)
        for _ in range(5):
            grown = self.diode_a * np.exp(volts / self.slope_v)
            miss = self.light_a - (grown - self.diode_a) - self.shunt_s * volts
            volts = volts + miss / (grown / self.slope_v + self.shunt_s)
        return np.maximum(volts, 0.0)

    def maximum(self) -> tuple[Values, Values]:
        """Volts and amperes at maximum power, by bisection on the junction voltage."""
        low, high = np.zeros_like(self.light_a), self.open_v()
        for _ in range(36):
            diode_v = 0.5 * (low + high)
            growth = self.diode_a * np.exp(diode_v / self.slope_v)
            current = self.light_a - (growth - self.diode_a) - self.shunt_s * diode_v
            falling = growth / self.slope_v + self.shunt_s  # -dI/dVd
            # dP/dVd with P = I (Vd - I Rs)
            rising = current * (1.0 + self.series_ohm * falling) > falling * (
                diode_v - current * self.series_ohm
            )
            low, high = np.where(rising, diode_v, low), np.where(rising, high, diode_v)
        diode_v = 0.5 * (low + high)
        current = self.inner_current_a(diode_v)
        return diode_v - current * self.series_ohm, current


def cell_k(air_k: Values, light_w_m2: Values, wind_m_s: Values, noct_k: float) -> Values:
    """Cell temperature by the nominal operating cell temperature, cooled by wind [K].

    Formula: Tc = Ta + (NOCT - 20 °C) G/800 · 9.5 / (5.7 + 3.8 v); at 1 m/s the wind's factor is 1.
    Source: Duffie and Beckman, Solar Engineering of Thermal Processes, on NOCT; from memory, unverified.
    """
    warmth = (noct_k - NOCT_AIR_TEMPERATURE_K) * light_w_m2 / NOCT_IRRADIANCE_W_M2
    return np.asarray(air_k + warmth * 9.5 / (5.7 + 3.8 * wind_m_s))


@cache
def fit_module(label: Label) -> Module:
    """The five parameters from the label.

    Short circuit, open circuit and maximum power give three linear equations once slope and series
    resistance are chosen; those two follow from dP/dV = 0 and from the coefficient of Voc. One label
    in five asks for a negative shunt: then the curve without shunt is taken that meets all but
    dP/dV = 0 (its greatest power lies a little off Vmp, and a little over the label's).

    Raises ``ValueError`` for a label that no curve meets.
    Source: W. De Soto, S. A. Klein, W. A. Beckman, Solar Energy 80 (2006) 78-88.
    """
    if not (0.0 < label.vmp_v < label.voc_v and 0.0 < label.imp_a < label.isc_a):
        raise ValueError("a module's Vmp lies below its Voc, and its Imp below its Isc")
    found = _nearest(label, _with_shunt)
    if found is None or abs(found.coefficient_error_per_k) > _EXACT_PER_K:
        bare = _nearest(label, _without_shunt)
        both = [module for module in (found, bare) if module is not None]
        if not both:
            raise ValueError("no single-diode curve meets the label's Voc, Isc, Vmp and Imp")
        found = min(both, key=lambda module: abs(module.coefficient_error_per_k))
    return found


@dataclass(frozen=True)
class _Tried:
    """Parameters for each slope that was tried, and for which of them there is such a curve."""

    light_a: Values
    diode_a: Values
    series_ohm: Values
    shunt_s: Values
    sound: NDArray[np.bool_]


def _nearest(label: Label, way: Callable[[Label, Values], _Tried]) -> Module | None:
    """Of the curves of all slopes the one whose Voc coefficient is nearest to the label's."""
    low, high = label.voc_v / _FLATTEST, label.voc_v / _STEEPEST
    best: Module | None = None
    for _ in range(_ROUNDS):
        slopes = np.linspace(low, high, _SLOPES)
        tried = way(label, slopes)
        if not tried.sound.any():
            break
        errors = np.where(tried.sound, _errors_per_k(label, slopes, tried), np.inf)
        at = int(np.argmin(np.abs(errors)))
        best = Module(
            label,
            float(tried.light_a[at]),
            float(tried.diode_a[at]),
            float(slopes[at]),
            float(tried.series_ohm[at]),
            float(tried.shunt_s[at]),
            float(errors[at]),
        )
        width = (high - low) / (_SLOPES - 1)
        low, high = best.slope_v - width, best.slope_v + width
    return best


def _errors_per_k(label: Label, slopes_v: Values, tried: _Tried) -> Values:
    """What the Voc coefficient of each curve misses the label's by [1/K]."""
    sound = tried.sound
    shape = Module(label, 0.0, 1.0, 1.0, 0.0, 0.0)
    warm = np.array([STANDARD_CELL_TEMPERATURE_K + _WARMER_K])
    # The change with temperature is the same for all: take it from a curve of unit parameters.
    unit = array_curve(shape, 1, 1, np.array([STANDARD_IRRADIANCE_W_M2]), warm)
    curve = Curve(
        np.where(sound, tried.light_a, 1.0) + unit.light_a,
        np.where(sound, tried.diode_a, 1.0) * unit.diode_a,
        slopes_v * unit.slope_v,
        0.0,
        np.where(sound, tried.shunt_s, 0.0),
    )
    return np.asarray((curve.open_v() / label.voc_v - 1.0) / _WARMER_K - label.voc_per_k)


def _most_series_ohm(label: Label, slopes_v: Values) -> Values:
    """Upper end for the series resistance: beyond it the label's own Vmp could not stand below Voc."""
    return np.full_like(slopes_v, 0.999 * (label.voc_v - label.vmp_v) / label.imp_a)


def _with_shunt(label: Label, slopes_v: Values) -> _Tried:
    """For each slope the curve whose greatest power stands at Vmp."""

    def solve(series: Values) -> tuple[Values, Values]:
        """Light current, diode current and shunt, (n, 3); and dP/dV at Vmp, (n,)."""
        volts = np.stack(
            (label.isc_a * series, np.full_like(series, label.voc_v), label.vmp_v + label.imp_a * series),
            axis=1,
        )
        currents = np.broadcast_to(np.array([label.isc_a, 0.0, label.imp_a]), volts.shape)
        matrix = np.stack((np.ones_like(volts), -np.expm1(volts / slopes_v[:, None]), -volts), axis=2)
        found = np.linalg.solve(matrix, currents[..., None])[..., 0]
        falling = found[:, 1] / slopes_v * np.exp(volts[:, 2] / slopes_v) + found[:, 2]
        return found, label.imp_a - label.vmp_v * falling / (1.0 + series * falling)

    low, high = np.zeros_like(slopes_v), _most_series_ohm(label, slopes_v)
    try:
        rising, end = solve(low)[1], solve(high)[1]
        crosses = (rising > 0.0) != (end > 0.0)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            same = (solve(middle)[1] > 0.0) == (rising > 0.0)
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        light, diode, shunt = solve(low)[0].T
    except np.linalg.LinAlgError:
        nothing = np.zeros_like(slopes_v)
        return _Tried(nothing, nothing, nothing, nothing, np.zeros(len(slopes_v), dtype=np.bool_))
    return _Tried(light, diode, low, shunt, crosses & (diode > 0.0) & (shunt >= 0.0))


def _without_shunt(label: Label, slopes_v: Values) -> _Tried:
    """For each slope the curve without shunt through Isc, Voc and the point of maximum power."""

    def solve(series: Values) -> tuple[Values, Values, Values]:
        """Light and diode current, and what the current at Vmp is over Imp [A]."""
        at_short, at_open = np.expm1(label.isc_a * series / slopes_v), np.expm1(label.voc_v / slopes_v)
        diode = label.isc_a / (at_open - at_short)
        light = diode * at_open
        at_peak = np.expm1((label.vmp_v + label.imp_a * series) / slopes_v)
        return light, diode, light - diode * at_peak - label.imp_a

    low, high = np.zeros_like(slopes_v), _most_series_ohm(label, slopes_v)
    crosses = (solve(low)[2] > 0.0) & (solve(high)[2] < 0.0)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        over = solve(middle)[2] > 0.0
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    light, diode, _ = solve(low)
    return _Tried(light, diode, low, np.zeros_like(low), crosses)


def array_curve(
    module: Module, series: int, parallel: int, light_w_m2: Values, cell_temperature_k: Values
) -> Curve:
    """The curves of an array of like modules, one for each light and temperature.

    Source: De Soto 2006, equations for the five parameters at other conditions.
    """
    ratio = cell_temperature_k / STANDARD_CELL_TEMPERATURE_K
    share = light_w_m2 / STANDARD_IRRADIANCE_W_M2
    warmer = cell_temperature_k - STANDARD_CELL_TEMPERATURE_K
    gap = _GAP_EV * (1.0 + _GAP_PER_K * warmer)
    exponent = _GAP_EV / (_EV_PER_K * STANDARD_CELL_TEMPERATURE_K) - gap / (_EV_PER_K * cell_temperature_k)
    alpha = module.label.isc_a * module.label.isc_per_k
    return Curve(
        parallel * share * (module.light_a + alpha * warmer),
        parallel * module.diode_a * ratio**3 * np.exp(exponent),
        series * module.slope_v * ratio,
        module.series_ohm * series / parallel,
        module.shunt_s * share * parallel / series,
    )
