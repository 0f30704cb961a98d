"""Where panels, wire, booster and pump settle, for every step of a year at once.

A pump on its pipe is a line of nodes, volts rising (see ``motor.PumpCurve``). Along that line the
junction voltage of the panels is explicit, so the crossing needs no inner iteration: halving over
the nodes finds the cell, regula falsi the place in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.motor import PumpCurve
from specc.operation.panel import Curve
from specc.operation.sun import Chosen, Values

_POWER_HALVINGS: Final = 40
_FALSI: Final = 6


@dataclass(frozen=True)
class Booster:
    """A current booster: holds the panels at a voltage, gives the motor fewer volts and more amperes.

    ``hold_v`` is the voltage held; where None, ``hold_share`` of the open-circuit voltage.
    """

    hold_v: float | None
    hold_share: float
    efficiency: float
    clamp_v: float
    limit_a: float
    start_limit_a: float
    input_limit_a: float

    @property
    def highest_v(self) -> float:
        """Volts the motor gets at most: the clamp, and no more than is held, as it only steps down."""
        return self.clamp_v if self.hold_v is None else min(self.clamp_v, self.hold_v)


@dataclass(frozen=True)
class Points:
    """One settled state a step; watts where it is about energy.

    ``can_run``, ``can_start`` and ``can_lift`` are margins: the pump keeps turning, starts from rest,
    or lifts water, where they are not negative (amperes at the panels without a booster, watts with one).
    """

    can_run: Values
    can_start: Values
    can_lift: Values
    flow_m3_s: Values
    motor_v: Values
    motor_a: Values
    back_v: Values
    head_m: Values
    panel_v: Values
    panel_a: Values
    booster_in_w: Values
    booster_out_w: Values
    stall_a: Values


def pv_direct(curve: Curve, pump: PumpCurve, wire_ohm: float, armature_ohm: float, start_a: float) -> Points:
    """Panels straight on the motor.

    curve: the panels alone, one a step; wire_ohm: both legs together [ohm]; start_a: current that
    turns the pump from rest [A].
    """
    wired = curve.with_series(wire_ohm)
    junction_v = pump.voltage_v + pump.current_a * wired.series_ohm

    def surplus(node: Chosen) -> Values:
        return np.asarray(wired.inner_current_a(junction_v[node]) - pump.current_a[node])

    low = np.zeros(len(curve.light_a), dtype=np.intp)
    high = np.full_like(low, pump.last)
    first, top = surplus(low), surplus(high)
    while int((high - low).max(initial=0)) > 1:
        middle = (low + high) >> 1
        ahead = surplus(middle) >= 0.0
        low, high = np.where(ahead, middle, low), np.where(ahead, high, middle)

    def between(share: Values) -> Values:
        volts = junction_v[low] + share * (junction_v[high] - junction_v[low])
        amperes = pump.current_a[low] + share * (pump.current_a[high] - pump.current_a[low])
        return np.asarray(wired.inner_current_a(volts) - amperes)

    share = place_in_cell(between, len(low))
    position = np.where(top >= 0.0, float(pump.last), low + share)
    start_v = start_a * (wired.series_ohm + armature_ohm)
    start = wired.inner_current_a(start_v) - start_a
    motor_a = pump.at(pump.current_a, position)
    motor_v = pump.at(pump.voltage_v, position)
    nothing = np.zeros_like(position)
    return Points(
        can_run=first,
        can_start=np.minimum(start, first),
        can_lift=surplus(np.full_like(low, pump.lifts_at)),
        flow_m3_s=pump.at(pump.flow_m3_s, position),
        motor_v=motor_v,
        motor_a=motor_a,
        back_v=pump.at(pump.back_v, position),
        head_m=pump.at(pump.head_m, position),
        panel_v=motor_v + motor_a * wire_ohm,
        panel_a=motor_a,
        booster_in_w=nothing,
        booster_out_w=nothing,
        stall_a=wired.with_series(armature_ohm).current_a(0.0),
    )


def place_in_cell(surplus: Callable[[Values], Values], steps: int) -> Values:
    """Where in a cell, from 0 to 1, a falling surplus vanishes, by regula falsi (Illinois) [-].

    0 where it is nothing from the start (the pump stalls).
    """
    left, right = np.zeros(steps), np.ones(steps)
    at_left, at_right = surplus(left), surplus(right)
    share = left
    for _ in range(_FALSI):
        span = at_left - at_right
        crosses = (at_left > 0.0) & (at_right <= 0.0)
        share = np.where(crosses, left + (right - left) * at_left / np.where(span > 0.0, span, 1.0), left)
        here = surplus(share)
        ahead = here > 0.0
        left, right = np.where(ahead, share, left), np.where(ahead, right, share)
        at_left, at_right = np.where(ahead, here, 0.5 * at_left), np.where(ahead, 0.5 * at_right, here)
    return share


def boosted(
    curve: Curve,
    pump: PumpCurve,
    booster: Booster,
    panel_wire_ohm: float,
    motor_wire_ohm: float,
    armature_ohm: float,
    start_a: float,
) -> Points:
    """Panels on a booster, booster on the motor."""
    wired = curve.with_series(panel_wire_ohm)
    hold_v = booster.hold_v if booster.hold_v is not None else booster.hold_share * wired.open_v()
    held_a = np.clip(wired.current_a(hold_v), 0.0, booster.input_limit_a)
    given_w = booster.efficiency * hold_v * held_a
    output_v = pump.voltage_v + pump.current_a * motor_wire_ohm
    needed_w = np.maximum.accumulate(output_v * pump.current_a)
    nodes = np.arange(len(needed_w), dtype=float)
    most = min(
        float(np.interp(booster.highest_v, output_v, nodes)),
        float(np.interp(booster.limit_a, np.maximum.accumulate(pump.current_a), nodes)),
    )
    position = np.minimum(np.interp(given_w, needed_w, nodes), most)
    able = pump.current_a[0] <= booster.limit_a and output_v[0] <= booster.highest_v
    loop_ohm = armature_ohm + motor_wire_ohm
    able_start = able and start_a <= booster.start_limit_a and start_a * loop_ohm <= booster.highest_v
    run = given_w - float(needed_w[0]) if able else np.full_like(given_w, -np.inf)
    start = given_w - start_a**2 * loop_ohm if able_start else np.full_like(given_w, -np.inf)
    motor_a, motor_v = pump.at(pump.current_a, position), pump.at(pump.voltage_v, position)
    out_w = (motor_v + motor_a * motor_wire_ohm) * motor_a
    in_w = out_w / booster.efficiency
    # At its clamp or its limit the booster takes less than it could hold: the panels' voltage rises.
    short = (position >= most) | (wired.current_a(hold_v) > booster.input_limit_a)
    panel_a = np.where(short, _current_for_power(wired, in_w, hold_v), held_a)
    input_v = np.where(panel_a > 0.0, in_w / np.where(panel_a > 0.0, panel_a, 1.0), hold_v)
    return Points(
        can_run=run,
        can_start=np.minimum(start, run),
        can_lift=np.minimum(given_w - float(needed_w[pump.lifts_at]), run),
        flow_m3_s=pump.at(pump.flow_m3_s, position),
        motor_v=motor_v,
        motor_a=motor_a,
        back_v=pump.at(pump.back_v, position),
        head_m=pump.at(pump.head_m, position),
        panel_v=input_v + panel_a * panel_wire_ohm,
        panel_a=panel_a,
        booster_in_w=in_w,
        booster_out_w=out_w,
        stall_a=np.zeros_like(panel_a),
    )


def _current_for_power(wired: Curve, power_w: Values, least_v: Values | float) -> Values:
    """Current at which the panels give a power, at the voltage over ``least_v`` that does so steadily [A].

    The panels must give that power, or more, at ``least_v``; then one voltage above does.
    """
    low, high = least_v + wired.current_a(least_v) * wired.series_ohm, wired.open_v()
    for _ in range(_POWER_HALVINGS):
        junction_v = 0.5 * (low + high)
        amperes = wired.inner_current_a(junction_v)
        enough = amperes * (junction_v - amperes * wired.series_ohm) >= power_w
        low, high = np.where(enough, junction_v, low), np.where(enough, high, junction_v)
    return np.maximum(wired.inner_current_a(0.5 * (low + high)), 0.0)
