"""Pump data sheets between their rows, and the permanent-magnet motor."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from itertools import pairwise
from typing import NamedTuple

from specc.physics._range import require_between, require_not_negative, require_positive

_SAME = 1e-9  # relative: a voltage or head that differs by float noise is on the row


class CurvePoint(NamedTuple):
    """One row of a pump's data sheet."""

    voltage_v: float
    head_m: float
    flow_m3_s: float
    current_a: float


class PumpPoint(NamedTuple):
    """What a pump does at a voltage and head; an estimate where ``beyond_table`` is true."""

    flow_m3_s: float
    current_a: float
    beyond_table: bool


# The rows of one voltage, lowest head first.
_Rows = tuple[CurvePoint, ...]


def pump_point(
    table: tuple[CurvePoint, ...], voltage_v: float, head_m: float, *, displacement: bool
) -> PumpPoint:
    """Flow and current of a pump at a voltage and head, from the rows of its data sheet.

    Formula: linear in head among the rows of one voltage, then linear between the two voltages.
    Outside the tabled voltages the nearest is scaled by r = V/Vrow: displacement Q ~ r, same I at
    the same head; centrifugal Q ~ r, H ~ r², I ~ r². Above the highest head the last two rows are
    prolonged until the flow is 0; below the lowest the first row holds.

    table: rows of voltage, head, flow, current [-]; two heads or more at each voltage, and flow
        must not rise with head
    voltage_v: voltage at the motor [V], above 0
    head_m: total head [m], 0 or more
    displacement: true for a positive-displacement pump, false for a centrifugal [-]
    Returns: flow, current and whether the point lies beyond the table [-].

    Half way between two rows:

    >>> rows = (CurvePoint(24.0, 0.0, 2e-4, 3.0), CurvePoint(24.0, 40.0, 1e-4, 7.0))
    >>> pump_point(rows, 24.0, 20.0, displacement=True).current_a
    5.0

    Source: linear interpolation; affinity laws, ISO 9906 and any pump handbook.
    """
    require_positive(voltage_v=voltage_v)
    require_not_negative(head_m=head_m)
    groups = _by_voltage(table)
    low, high = _neighbours(groups, voltage_v)
    below = _scaled_point(low, voltage_v, head_m, displacement) if low is high else _at_head(low, head_m)
    if low is high:
        return below
    above = _at_head(high, head_m)
    share = (voltage_v - low[0].voltage_v) / (high[0].voltage_v - low[0].voltage_v)
    return PumpPoint(
        _between(below.flow_m3_s, above.flow_m3_s, share),
        _between(below.current_a, above.current_a, share),
        below.beyond_table or above.beyond_table,
    )


def highest_tabled_head_m(table: tuple[CurvePoint, ...], voltage_v: float, *, displacement: bool) -> float:
    """Highest head that the data sheet vouches for at a voltage.

    Formula: the highest row of each voltage, linear between voltages; outside them the nearest:
    unchanged for displacement (torque is current), times (V/Vrow)² for centrifugal.

    table: rows of voltage, head, flow, current [-], as for ``pump_point``
    voltage_v: voltage at the motor [V], above 0
    displacement: true for a positive-displacement pump, false for a centrifugal [-]
    Returns: head [m]; the shut-off head only where the last row has no flow.

    >>> rows = (CurvePoint(24.0, 0.0, 2e-4, 3.0), CurvePoint(24.0, 40.0, 1e-4, 7.0))
    >>> highest_tabled_head_m(rows, 12.0, displacement=False)
    10.0

    Source: affinity laws, ISO 9906 and any pump handbook.
    """
    require_positive(voltage_v=voltage_v)
    low, high = _neighbours(_by_voltage(table), voltage_v)
    if low is not high:
        share = (voltage_v - low[0].voltage_v) / (high[0].voltage_v - low[0].voltage_v)
        return _between(low[-1].head_m, high[-1].head_m, share)
    return low[-1].head_m * (1.0 if displacement else (voltage_v / low[0].voltage_v) ** 2)


def stall_current_a(voltage_v: float, armature_ohm: float) -> float:
    """Current of a permanent-magnet motor at rest: at the first moment, or stalled.

    Formula: I = V / Ra.

    voltage_v: voltage at the motor [V], 0 or more
    armature_ohm: armature resistance with brushes and leads Ra [Ω], above 0
    Returns: current [A].

    >>> round(stall_current_a(24.0, 0.6), 1)
    40.0

    Source: Ohm's law, no back voltage at rest.
    """
    require_not_negative(voltage_v=voltage_v)
    require_positive(armature_ohm=armature_ohm)
    return voltage_v / armature_ohm


def locked_rotor_heat_w(current_a: float, armature_ohm: float) -> float:
    """Heat in a motor that is held at rest.

    Formula: P = I² Ra.

    current_a: current that the source lets through [A], 0 or more
    armature_ohm: armature resistance Ra [Ω], above 0
    Returns: heat [W].

    >>> round(locked_rotor_heat_w(12.0, 0.6))
    86

    Source: Joule's law.
    """
    require_not_negative(current_a=current_a)
    require_positive(armature_ohm=armature_ohm)
    return current_a**2 * armature_ohm


def input_power_w(output_power_w: float, efficiency: float) -> float:
    """Power that a machine takes in to give a power out.

    Formula: P1 = P2 / η; give the product of all efficiencies on the way.

    output_power_w: power given out, as hydraulic power [W], 0 or more
    efficiency: η [-], above 0, at most 1
    Returns: power taken in [W].

    >>> round(input_power_w(46.65, 0.35 * 0.92), 1)
    144.9

    Source: definition of efficiency.
    """
    require_not_negative(output_power_w=output_power_w)
    require_positive(efficiency=efficiency)
    require_between(0.0, 1.0, efficiency=efficiency)
    return output_power_w / efficiency


def motor_current_a(hydraulic_power_w: float, efficiency: float, voltage_v: float) -> float:
    """Current of a pump's motor from the power that the water takes up.

    Formula: I = ρ g Q H / (η V).

    hydraulic_power_w: hydraulic power ρ g Q H [W], 0 or more
    efficiency: wire-to-water efficiency η [-], above 0, at most 1
    voltage_v: voltage at the motor V [V], above 0
    Returns: current [A].

    >>> round(motor_current_a(46.64, 0.35, 24.0), 2)
    5.55

    Source: power balance.
    """
    require_positive(voltage_v=voltage_v)
    return input_power_w(hydraulic_power_w, efficiency) / voltage_v


@cache
def _by_voltage(table: tuple[CurvePoint, ...]) -> tuple[_Rows, ...]:
    """The rows of each voltage by head, voltages rising; ValueError for a table that cannot be read."""
    for row in table:
        require_positive(voltage_v=row.voltage_v)
        require_not_negative(head_m=row.head_m, flow_m3_s=row.flow_m3_s, current_a=row.current_a)
    if not table:
        raise ValueError("the pump table has no rows")
    voltages = sorted({row.voltage_v for row in table})
    return tuple(_checked(row for row in table if row.voltage_v == voltage_v) for voltage_v in voltages)


def _checked(rows: Iterable[CurvePoint]) -> _Rows:
    """Rows of one voltage by head; ValueError unless heads differ and flow falls or holds."""
    ordered = tuple(sorted(rows, key=lambda row: row.head_m))
    if len(ordered) < 2:
        raise ValueError(f"the pump table needs two heads at {ordered[0].voltage_v:g} V")
    for lower, upper in pairwise(ordered):
        if lower.head_m == upper.head_m or lower.flow_m3_s < upper.flow_m3_s:
            raise ValueError(f"flow must fall as head rises, not {lower!r}, {upper!r}")
    return ordered


def _neighbours(groups: tuple[_Rows, ...], voltage_v: float) -> tuple[_Rows, _Rows]:
    """The rows just below and above a voltage; twice the same where one voltage alone is near."""
    below = [rows for rows in groups if rows[0].voltage_v <= voltage_v * (1.0 + _SAME)]
    above = [rows for rows in groups if rows[0].voltage_v >= voltage_v * (1.0 - _SAME)]
    if not below:
        return above[0], above[0]
    if not above or below[-1] is above[0]:
        return below[-1], below[-1]
    return below[-1], above[0]


def _at_head(rows: _Rows, head_m: float) -> PumpPoint:
    """Flow and current at a head among the rows of one voltage."""
    first, last = rows[0], rows[-1]
    if head_m <= first.head_m:
        return PumpPoint(first.flow_m3_s, first.current_a, head_m < first.head_m * (1.0 - _SAME))
    lower, upper = next((pair for pair in pairwise(rows) if head_m <= pair[1].head_m), rows[-2:])
    share = min((head_m - lower.head_m) / (upper.head_m - lower.head_m), _share_without_flow(lower, upper))
    return PumpPoint(
        max(0.0, _between(lower.flow_m3_s, upper.flow_m3_s, share)),
        max(0.0, _between(lower.current_a, upper.current_a, share)),
        head_m > last.head_m * (1.0 + _SAME),
    )


def _share_without_flow(lower: CurvePoint, upper: CurvePoint) -> float:
    """How far along the line through two rows the flow is used up, 1 being the upper row."""
    fall_m3_s = lower.flow_m3_s - upper.flow_m3_s
    return lower.flow_m3_s / fall_m3_s if fall_m3_s > 0.0 else math.inf


def _scaled_point(rows: _Rows, voltage_v: float, head_m: float, displacement: bool) -> PumpPoint:
    """Flow and current with the rows of the nearest voltage scaled to this one."""
    ratio = voltage_v / rows[0].voltage_v
    point = _at_head(rows, head_m if displacement else head_m / ratio**2)
    current_factor = 1.0 if displacement else ratio**2
    return PumpPoint(
        point.flow_m3_s * ratio,
        point.current_a * current_factor,
        point.beyond_table or abs(ratio - 1.0) > _SAME,
    )


def _between(low: float, high: float, share: float) -> float:
    """The value at ``share`` of the way from ``low`` to ``high``, or beyond."""
    return low + share * (high - low)
