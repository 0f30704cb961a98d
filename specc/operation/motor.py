"""Pump and permanent-magnet motor as equations, fitted to the rows of the data sheet.

The motor: V = E + I·Ra, and the shaft takes E·I (back voltage and torque constant are one). Its back
voltage E stands for its speed, since a data sheet seldom gives one.

Displacement pump: Q = E (a - c·H) - s·H: flow follows speed, less slip; I = i0 + i1·H + i2·E: current
follows head, plus friction. Centrifugal pump: H = c0·E² + c1·E·Q + c2·Q², I = i0 + d0·E² + d1·E·Q +
d2·Q², which are the affinity laws. Source: any text on DC machines; ISO 9906 for the affinity laws.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from specc.operation.sun import Values
from specc.physics.pumps import CurvePoint

_NODES: Final = 129
_IDLE_NODES: Final = 16
_GOOD_FIT: Final = 0.03  # rms error with which the maker's armature resistance is kept
NEAR_TABLE: Final = 0.05  # this far outside its rows a data sheet is still believed
_OVER_VOLTS: Final = 1.6  # how far over the tabled voltages a curve is drawn


@dataclass(frozen=True)
class PumpFit:
    """A fitted pump. ``hydraulic`` and ``electric`` are the coefficients of the module's formulas.

    ``flow_error`` and ``current_error`` are rms errors over the rows, as shares of the mean.
    """

    displacement: bool
    armature_ohm: float
    armature_stated: bool
    hydraulic: tuple[float, float, float]
    electric: tuple[float, float, float, float]
    flow_error: float
    current_error: float
    lowest_v: float
    highest_v: float
    highest_head_m: float

    def current_a(self, back_v: Values, flow_m3_s: Values, head_m: Values) -> Values:
        """Motor current [A]."""
        i0, *rest = self.electric
        if self.displacement:
            return np.asarray(i0 + rest[0] * head_m + rest[1] * back_v)
        return np.asarray(i0 + rest[0] * back_v**2 + rest[1] * back_v * flow_m3_s + rest[2] * flow_m3_s**2)

    def back_v(self, flow_m3_s: Values, head_m: Values) -> Values:
        """Back voltage, standing for speed, that gives a flow against a head; NaN where none does [V]."""
        first, second, third = self.hydraulic
        if self.displacement:
            gain = first - second * head_m
            return np.where(
                gain > 0.0, (flow_m3_s + third * head_m) / np.where(gain > 0.0, gain, 1.0), np.nan
            )
        inside = (second * flow_m3_s) ** 2 - 4.0 * first * (third * flow_m3_s**2 - head_m)
        root = np.sqrt(np.maximum(inside, 0.0))
        return np.where(inside >= 0.0, (root - second * flow_m3_s) / (2.0 * first), np.nan)

    def beyond(self, motor_v: Values, head_m: Values) -> NDArray[np.bool_]:
        """Do volts or head lie outside the rows of the data sheet, by more than it is still believed?"""
        near = 1.0 + NEAR_TABLE
        outside = (motor_v < self.lowest_v / near) | (motor_v > self.highest_v * near)
        return np.asarray(outside | (head_m > self.highest_head_m * near))


@dataclass(frozen=True)
class PumpCurve:
    """A pump on its pipe: volts at the motor rise from node to node, from just turning to full flow."""

    voltage_v: Values
    current_a: Values
    flow_m3_s: Values
    head_m: Values
    back_v: Values
    lifts_at: int  # the node at which water begins to flow

    def at(self, values: Values, position: Values) -> Values:
        """A column of the curve at fractional node positions."""
        return np.interp(position, np.arange(len(values)), values)

    @property
    def last(self) -> int:
        return len(self.voltage_v) - 1


def fit_pump(
    table: tuple[CurvePoint, ...], *, displacement: bool, armature_ohm: float | None = None
) -> PumpFit:
    """The pump whose equations miss the rows least.

    The armature resistance is the maker's; it is fitted too where he states none, or where his rows
    follow another one (rows made by the affinity laws alone have none).

    Raises ``ValueError`` for fewer than two rows, or rows that no such pump has.
    """
    if len(table) < 2:
        raise ValueError("a pump is fitted to two rows of its data sheet or more")
    rows = np.array(table, dtype=float)
    volts, current = rows[:, 0], rows[:, 3]
    stated = None
    if armature_ohm is not None:
        try:
            stated = _fitted(rows, displacement, armature_ohm, True)
        except ValueError:
            stated = None
        if stated is not None and max(stated.flow_error, stated.current_error) <= _GOOD_FIT:
            return stated
    # Golden-section search for the armature: the misfit has one trough.
    low, high = 0.0, 0.8 * float(np.min(volts / np.maximum(current, 1e-9)))

    def misfit(ohm: float) -> float:
        try:
            return _misfit(_fitted(rows, displacement, ohm, False))
        except ValueError:
            return float("inf")

    grid = np.linspace(low, high, 41)
    best = int(np.argmin([misfit(float(ohm)) for ohm in grid]))
    low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, 40)])
    for _ in range(60):
        third = (high - low) / 3.0
        low, high = (
            (low, high - third) if misfit(low + third) <= misfit(high - third) else (low + third, high)
        )
    free = _fitted(rows, displacement, 0.5 * (low + high), False)
    if stated is not None and _misfit(stated) <= 2.0 * _misfit(free):
        return stated
    return free


def _misfit(fit: PumpFit) -> float:
    return fit.flow_error**2 + fit.current_error**2


def _fitted(rows: Values, displacement: bool, ohm: float, stated: bool) -> PumpFit:
    volts, head, flow, current = rows.T
    back = volts - ohm * current
    if not np.all(back > 0.0):
        raise ValueError("the armature resistance leaves no voltage to turn the motor at some row")
    if displacement:
        many = len(np.unique(volts)) > 1
        hydraulic = _least(flow, (back, -back * head, -head if many else 0.0 * head))
        if hydraulic[2] < 0.0:  # slip that helps is noise of the rounded rows
            hydraulic = _least(flow, (back, -back * head, 0.0 * head))
        electric = _least(current, (np.ones_like(head), head, back if many else 0.0 * back, 0.0 * head))
        if electric[2] < 0.0:
            electric = _least(current, (np.ones_like(head), head, 0.0 * back, 0.0 * head))
        if electric[0] < 0.0:
            electric = _least(current, (0.0 * head, head, 0.0 * back, 0.0 * head))
        got_flow = back * (hydraulic[0] - hydraulic[1] * head) - hydraulic[2] * head
    else:
        hydraulic = _least(head, (back**2, back * flow, flow**2))
        if hydraulic[2] >= 0.0:
            hydraulic = _least(head, (back**2, 0.0 * flow, flow**2))
        electric = _least(current, (np.ones_like(head), back**2, back * flow, flow**2))
        if electric[0] < 0.0:
            electric = _least(current, (0.0 * head, back**2, back * flow, flow**2))
        c0, c1, c2 = hydraulic
        inside = (c1 * back) ** 2 - 4.0 * c2 * (c0 * back**2 - head)
        got_flow = (-c1 * back - np.sqrt(np.maximum(inside, 0.0))) / (2.0 * c2) if c2 < 0.0 else np.nan * head
    if not hydraulic[0] > 0.0 or not np.all(np.isfinite(got_flow)):
        raise ValueError("no pump of this kind has these rows")
    made = PumpFit(
        displacement,
        ohm,
        stated,
        (hydraulic[0], hydraulic[1], hydraulic[2]),
        (electric[0], electric[1], electric[2], electric[3]),
        _rms(got_flow - flow) / float(flow.mean()),
        0.0,
        float(volts.min()),
        float(volts.max()),
        float(head.max()),
    )
    miss = _rms(made.current_a(back, flow, head) - current) / float(current.mean())
    return PumpFit(**{**vars(made), "current_error": miss})


def _least(target: Values, columns: tuple[Values, ...]) -> tuple[float, ...]:
    """Least squares with columns brought to one size; a column of zeros gets the coefficient 0."""
    matrix = np.column_stack(columns)
    sizes = np.linalg.norm(matrix, axis=0)
    scaled = np.where(sizes > 0.0, sizes, 1.0)
    found, *_ = np.linalg.lstsq(matrix / scaled, target, rcond=None)
    return tuple(float(x) for x in np.where(sizes > 0.0, found / scaled, 0.0))


def _rms(miss: Values) -> float:
    return float(np.sqrt(np.mean(miss**2)))


def on_pipe(fit: PumpFit, static_m: float, loss_m: Callable[[Values], Values]) -> PumpCurve:
    """The pump against a static head and the pipe's losses, from rest to well over its tabled volts.

    Raises ``ValueError`` where the pump cannot lift to this height at all.
    """
    zero = np.zeros(1)
    head0 = np.array([max(static_m, 0.0)])
    start_v = float(fit.back_v(zero, head0)[0])
    if not np.isfinite(start_v):
        raise ValueError("the head is beyond what the pump can lift")
    top_v = _OVER_VOLTS * fit.highest_v
    # The flow at which the top voltage is reached, so that nodes lie where they are wanted.
    trial = np.linspace(0.0, _OVER_VOLTS**2 * _greatest_flow(fit), 400)[1:]
    heads = head0 + loss_m(trial)
    back = fit.back_v(trial, heads)
    terminal = back + fit.armature_ohm * fit.current_a(back, trial, heads)
    within = np.isfinite(back) & (np.maximum.accumulate(np.nan_to_num(terminal, nan=np.inf)) <= top_v)
    flows = np.linspace(0.0, float(trial[within][-1]) if within.any() else 0.0, _NODES)
    idle = np.linspace(0.0, start_v, _IDLE_NODES, endpoint=False) if start_v > 0.0 else np.zeros(0)
    flow = np.concatenate((np.zeros_like(idle), flows))
    head = head0 + loss_m(flow)
    back = np.concatenate((idle, fit.back_v(flows, head[len(idle) :])))
    current = np.maximum.accumulate(np.maximum(fit.current_a(back, flow, head), 1e-6))
    volts = np.maximum.accumulate(back + fit.armature_ohm * current)
    volts = volts + np.arange(len(volts)) * 1e-9  # strictly rising, for looking up
    return PumpCurve(volts, current, flow, head, back, len(idle))


def _greatest_flow(fit: PumpFit) -> float:
    """Flow at the highest tabled volts against no head, roughly [m³/s]."""
    first, second, third = fit.hydraulic
    if fit.displacement:
        return first * fit.highest_v
    inside = (second * fit.highest_v) ** 2 - 4.0 * third * first * fit.highest_v**2
    return float((-second * fit.highest_v - np.sqrt(max(inside, 0.0))) / (2.0 * third))
