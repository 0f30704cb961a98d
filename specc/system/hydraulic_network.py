"""Steady flow in a net of pipes: branches, loops, several tanks, several pumps on one line.

Every link loses head as its flow grows (a pump "loses" less than nothing), so the flows that balance are
the lowest point of one convex function, and there is only one answer. Found by Newton's method on flows and
heads together, as E. Todini and S. Pilati put it (A gradient algorithm for the analysis of pipe networks,
1988), with a search along each step, so that check valves and pumps that shut cannot upset it.

Nets of a job have a dozen nodes: plain elimination is enough, and nothing heavy is imported for a check.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from specc.physics.pumps import CurvePoint, pump_point

Loss = Callable[[float], float]  # flow from start to end [m³/s], 0 or more -> head lost [m], never falling

_SHUT = 1e12  # head per flow backwards through a shut check valve [m/(m³/s)]
_STEP = 1e-9  # of a flow, for the slope there
_STEP_AT_REST = 1e-6  # [m³/s]
_LEAST_SLOPE = 1e-3  # of a link that loses next to nothing [m/(m³/s)]
_CLOSE_M = 1e-6  # heads agree to this [m]
_MOST_STEPS = 200
_SLIP = 1e-6  # share of the flow that a pump of constant flow is let slip over its whole head


class NoBalance(ValueError):
    """The flows of a net could not be found: a part that hangs on no level, or no end to the search."""


@dataclass(frozen=True)
class Link:
    """A pipe, valve or running pump between two nodes. ``one_way``: nothing runs from end to start."""

    name: str
    start: str
    end: str
    lost_m: Loss
    one_way: bool = False

    def at(self, flow_m3_s: float) -> float:
        """Head lost from start to end at a flow of either direction [m]."""
        if flow_m3_s >= 0.0:
            return self.lost_m(flow_m3_s)
        if self.one_way:
            return self.lost_m(0.0) + _SHUT * flow_m3_s
        return -self.lost_m(-flow_m3_s)

    def slope(self, flow_m3_s: float) -> float:
        """How the head lost grows with the flow [m/(m³/s)]."""
        step = flow_m3_s * _STEP or _STEP_AT_REST
        return max(_LEAST_SLOPE, (self.at(flow_m3_s + step) - self.at(flow_m3_s)) / step)


@dataclass(frozen=True)
class Balance:
    """The flow in every link, from its start to its end [m³/s], and the head at every node [m]."""

    flow_m3_s: Mapping[str, float]
    head_m: Mapping[str, float]


def balance(links: Sequence[Link], levels_m: Mapping[str, float]) -> Balance:
    """Flows and heads of a net with these water levels, by node.

    links: the net; each name once
    levels_m: head of every node whose level is given [m]
    Returns: flows [m³/s] and heads [m]; nothing is lost at a node, and the heads of a link's ends differ
        by what it loses, within a thousandth of a millimetre.
    Raises: ``NoBalance``.

    Source: E. Todini, S. Pilati, gradient algorithm, in Computer Applications in Water Supply (1988).
    """
    nodes = dict.fromkeys(node for link in links for node in (link.start, link.end))
    free = {node: number for number, node in enumerate(n for n in nodes if n not in levels_m)}
    flows = [0.0] * len(links)
    for _ in range(_MOST_STEPS):
        lost = [link.at(flow) for link, flow in zip(links, flows, strict=True)]
        slopes = [link.slope(flow) for link, flow in zip(links, flows, strict=True)]
        heads = _heads(links, levels_m, free, flows, lost, slopes)
        over = [heads[link.start] - heads[link.end] - loss for link, loss in zip(links, lost, strict=True)]
        if max(map(abs, over), default=0.0) <= _CLOSE_M:
            shut = [0.0 if link.one_way and q < 0.0 else q for link, q in zip(links, flows, strict=True)]
            return Balance({link.name: q for link, q in zip(links, shut, strict=True)}, heads)
        change = [each / slope for each, slope in zip(over, slopes, strict=True)]
        share = _along(links, flows, change, levels_m)
        flows = [flow + share * step for flow, step in zip(flows, change, strict=True)]
    raise NoBalance("the flows of the pipes could not be balanced")


def _heads(
    links: Sequence[Link],
    levels_m: Mapping[str, float],
    free: Mapping[str, int],
    flows: Sequence[float],
    lost: Sequence[float],
    slopes: Sequence[float],
) -> dict[str, float]:
    """The heads at which the linked flows, taken as straight lines, run into no node more than out of it."""
    matrix = [[0.0] * len(free) for _ in free]
    right = [0.0] * len(free)
    for link, flow, loss, slope in zip(links, flows, lost, slopes, strict=True):
        ease = 1.0 / slope
        for node, other, sign in ((link.start, link.end, 1.0), (link.end, link.start, -1.0)):
            row = free.get(node)
            if row is None:
                continue
            matrix[row][row] += ease
            right[row] -= sign * (flow - ease * loss)
            if other in free:
                matrix[row][free[other]] -= ease
            else:
                right[row] += ease * levels_m[other]
    solved = _eliminated(matrix, right)
    return {**levels_m, **{node: solved[number] for node, number in free.items()}}


def _eliminated(matrix: list[list[float]], right: list[float]) -> list[float]:
    """Solution of the equations; their diagonal outweighs the rest, so no row need change places."""
    size = len(right)
    for pivot in range(size):
        whole = matrix[pivot][pivot]
        if not whole > 0.0 or whole < 1e-14 * max(map(abs, matrix[pivot]), default=0.0):
            raise NoBalance("a part of the pipes hangs on no water level")
        for row in range(pivot + 1, size):
            share = matrix[row][pivot] / whole
            if share:
                for column in range(pivot, size):
                    matrix[row][column] -= share * matrix[pivot][column]
                right[row] -= share * right[pivot]
    solved = [0.0] * size
    for row in reversed(range(size)):
        rest = sum(matrix[row][column] * solved[column] for column in range(row + 1, size))
        solved[row] = (right[row] - rest) / matrix[row][row]
    return solved


def _along(
    links: Sequence[Link], flows: Sequence[float], change: Sequence[float], levels_m: Mapping[str, float]
) -> float:
    """How much of a step to take: all of it, or up to where its uphill part begins (Illinois search)."""

    def uphill(share: float) -> float:
        # The heads of free nodes drop out: a balanced step brings them as much as it takes away.
        return sum(
            (link.at(flow + share * step) - levels_m.get(link.start, 0.0) + levels_m.get(link.end, 0.0))
            * step
            for link, flow, step in zip(links, flows, change, strict=True)
        )

    low, high, under, over = 0.0, 1.0, uphill(0.0), uphill(1.0)
    if over <= 0.0 or under >= 0.0:
        return 1.0
    goal = 1e-3 * abs(under)
    for _ in range(60):
        middle = low + (high - low) * under / (under - over)
        here = uphill(middle)
        if abs(here) <= goal or high - low <= 1e-15:
            return middle
        if here < 0.0:
            low, under, over = middle, here, over / 2.0
        else:
            high, over, under = middle, here, under / 2.0
    return low or high


# -- pumps -------------------------------------------------------------------------------------------


def pump_loss(table: tuple[CurvePoint, ...], voltage_v: float, *, displacement: bool) -> Loss:
    """What a running pump "loses": minus the head that it makes at a flow, from its data sheet.

    table: rows of the data sheet; the head is read between them as ``pump_point`` reads the flow
    voltage_v: voltage at the motor [V], above 0
    displacement: true for a positive-displacement pump
    Returns: the loss as a function of flow; beyond the largest flow it grows without end.

    Source: the rows themselves, see ``specc.physics.pumps.pump_point``.
    """
    knots = tuple(_knots(table, voltage_v, displacement))

    def lost(flow_m3_s: float) -> float:
        for (flow, head), (less, higher) in pairwise(knots):
            if flow_m3_s >= less:
                return -(head + (higher - head) * (flow - flow_m3_s) / (flow - less))
        return -knots[-1][1]

    return lost


def _knots(
    table: tuple[CurvePoint, ...], voltage_v: float, displacement: bool
) -> Iterator[tuple[float, float]]:
    """The corners of flow over head, largest flow first; each flow a little less than the one before."""
    ratios = {1.0} if displacement else {1.0, *((voltage_v / row.voltage_v) ** 2 for row in table)}
    heads = {0.0, *(row.head_m * ratio for row in table for ratio in ratios)}

    def flow_at(head: float) -> float:
        return pump_point(table, voltage_v, head, displacement=displacement).flow_m3_s

    heads.add(_head_without_flow(flow_at, max(heads)))
    top, greatest = max(heads), flow_at(0.0)
    yield greatest * 2.0, -_SHUT * greatest
    for head in sorted(heads):
        slipped = flow_at(head) - (_SLIP * greatest * head / top if top else 0.0)
        yield max(slipped, -_SLIP * greatest), head
        if slipped <= 0.0:
            return


def _head_without_flow(flow_at: Callable[[float], float], tabled_m: float) -> float:
    """The head at which a pump gives nothing; far above its table where it always gives the same [m]."""
    low, high = 0.0, max(1.0, tabled_m)
    while flow_at(high) > 0.0:
        low, high = high, high * 2.0
        if high > 1e4:
            return high
    while high - low > 1e-9 * high:
        middle = (low + high) / 2.0
        low, high = (middle, high) if flow_at(middle) > 0.0 else (low, middle)
    return high
