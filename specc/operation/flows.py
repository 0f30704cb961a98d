"""Flows in a net of pipes for many voltages of its pumps at once.

The same equations as ``specc.system.hydraulic_network``, and the same method (E. Todini, S. Pilati, a
gradient algorithm for the analysis of pipe networks, 1988), for arrays: there a check asks for one point
and must import nothing heavy, here a year asks for the whole curve.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.installation import Piece
from specc.operation.motor import PumpFit
from specc.operation.sun import Values
from specc.system.hydraulic_network import NoBalance

_SHUT: Final = 1e10  # head per flow backwards through a shut check valve [m/(m³/s)]
_STEP: Final = 1e-7  # of a flow, for the slope there
_STEP_AT_REST: Final = 1e-9  # [m³/s]
_LEAST_SLOPE: Final = 1e-3  # of a link that loses next to nothing [m/(m³/s)]
_STEEPEST: Final = 1e10  # of a pump that gives the same at every head [m/(m³/s)]
_CLOSE_M: Final = 1e-5
_NEAR_M: Final = 1e-2
_MOST_STEPS: Final = 150
_HALVINGS: Final = 30

Head = Callable[[Values], Values]  # flow of each case [m³/s] -> head lost [m]


@dataclass(frozen=True)
class Net:
    """What settled, one row a case: flow of every link [m³/s], and by how much the head falls along it [m].

    A link that is shut holds back more than it could lose.
    """

    flow_m3_s: Values
    fall_m: Values


def motor_v_to_back_v(
    fit: PumpFit, loop_ohm: float, bus_v: Values, flow_m3_s: Values, head_m: Values
) -> Values:
    """Back voltage of a motor behind a resistance, by the voltage before it; below 0 it cannot turn [V].

    loop_ohm: armature and leads together [ohm]
    """
    i0, d0, d1, d2 = fit.electric
    if fit.displacement:
        return np.asarray((bus_v - loop_ohm * (i0 + d0 * head_m)) / (1.0 + loop_ohm * d1))
    square, line = loop_ohm * d0, 1.0 + loop_ohm * d1 * flow_m3_s
    rest = loop_ohm * (i0 + d2 * flow_m3_s**2) - bus_v
    root = np.sqrt(np.maximum(line**2 - 4.0 * square * rest, 0.0))
    return np.asarray(-2.0 * rest / (line + root))


def pump_head(fit: PumpFit, loop_ohm: float, bus_v: Values) -> Head:
    """Minus the head that a pump makes at a flow, each case at its voltage: never falling with the flow."""
    first, second, third = fit.hydraulic
    if fit.displacement:
        i0, i1, i2, _ = fit.electric
        drive = (bus_v - loop_ohm * i0) / (1.0 + loop_ohm * i2)  # back voltage at no head
        brake = loop_ohm * i1 / (1.0 + loop_ohm * i2)
        fall = np.maximum(drive * second + brake * first + third, 1.0 / _STEEPEST)
        bend = brake * second

        def displaced(flow: Values) -> Values:
            over = drive * first - flow
            root = np.sqrt(np.maximum(fall**2 - 4.0 * bend * over, 0.0))
            return np.asarray(-2.0 * over / (fall + root))

        return displaced

    def turned(flow: Values) -> Values:
        back = np.maximum(motor_v_to_back_v(fit, loop_ohm, bus_v, flow, flow), 0.0)
        # A curve that first rises with the flow is held at its top, or two flows would balance.
        flow = np.maximum(flow, np.minimum(-second * back / (2.0 * third), 1e3) if second > 0.0 else flow)
        return np.asarray(-(first * back**2 + second * back * flow + third * flow**2))

    return turned


def pipe_head(piece: Piece) -> Head:
    """Head lost in a piece, between its figures by straight lines, beyond them by the square of the flow."""
    flows, losses = np.array(piece.flows_m3_s), np.array(piece.losses_m)
    last, most = flows[-1], losses[-1]

    def lost(flow: Values) -> Values:
        size = np.abs(flow)
        here = np.where(size > last, most * (size / last) ** 2, np.interp(size, flows, losses))
        return np.asarray(np.where(flow < 0.0, -here, here))

    return lost


def settle_net(
    ends: Sequence[tuple[str, str]],
    heads: Sequence[Head],
    one_way: Sequence[bool],
    levels_m: Mapping[str, float],
    cases: int,
) -> Net:
    """Flows of a net with these water levels, for every case of its pumps.

    ends: start and end node of each link
    heads: what each loses
    Raises ``NoBalance`` where a case does not come to rest.
    """
    free = {
        node: number
        for number, node in enumerate(dict.fromkeys(n for pair in ends for n in pair if n not in levels_m))
    }
    shut = np.array(one_way)
    # Head between the ends of each link: a constant, and what the free nodes add.
    given = np.array([levels_m.get(a, 0.0) - levels_m.get(b, 0.0) for a, b in ends])
    joins = np.zeros((len(ends), len(free)))
    for number, (a, b) in enumerate(ends):
        if a in free:
            joins[number, free[a]] += 1.0
        if b in free:
            joins[number, free[b]] -= 1.0

    def lost(flow: Values) -> Values:
        made = np.empty_like(flow)
        for number, head in enumerate(heads):
            forward = np.maximum(flow[:, number], 0.0) if shut[number] else flow[:, number]
            made[:, number] = head(forward)
        return np.where(shut & (flow < 0.0), made + _SHUT * flow, made)

    flow = np.zeros((cases, len(ends)))
    for turn in range(_MOST_STEPS):
        loss = lost(flow)
        step = np.maximum(np.abs(flow) * _STEP, _STEP_AT_REST) * np.where(flow < 0.0, -1.0, 1.0)
        slope = np.clip((lost(flow + step) - loss) / step, _LEAST_SLOPE, _SHUT)
        ease = 1.0 / slope
        inside = joins.T @ (ease[:, :, None] * joins)  # (cases, free, free)
        right = (flow + ease * (given - loss)) @ joins
        try:
            nodes = np.linalg.solve(inside, -right[:, :, None])[:, :, 0] if free else np.zeros((cases, 0))
        except np.linalg.LinAlgError:
            raise NoBalance("a part of the pipes hangs on no water level") from None
        over = given + nodes @ joins.T - loss
        miss = np.abs(over).max(axis=1, initial=0.0)
        if not (miss > _CLOSE_M).any():
            return Net(np.where(shut & (flow < 0.0), 0.0, flow), given + nodes @ joins.T)
        change = over * ease
        # Whole steps seldom swing to and fro about a valve; when they do, the search along them ends it.
        # So near the end that search would see rounding only.
        near = miss < _NEAR_M
        share = np.ones(cases) if turn % 8 < 4 else np.where(near, 1.0, _share(lost, flow, change, given))
        flow = flow + share[:, None] * change
    raise NoBalance("the flows of the pipes could not be balanced")


def _share(lost: Callable[[Values], Values], flow: Values, change: Values, given: Values) -> Values:
    """How much of a step to take in each case: all, or up to where its uphill part begins, by halving."""

    def uphill(share: Values) -> Values:
        return np.asarray(((lost(flow + share[:, None] * change) - given) * change).sum(axis=1))

    whole = np.ones(len(flow))
    if not (uphill(whole) > 0.0).any():
        return whole
    low, high = np.zeros(len(flow)), whole
    steep = uphill(whole) > 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = uphill(middle) > 0.0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.where(steep, np.where(low > 0.0, low, high), 1.0)
