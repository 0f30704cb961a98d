"""Where pumps settle that share panels or pipes, for every step of a year at once.

The pipes are settled first, for a grid of the voltages at which pumps are fed: one axis for each bus, so
that pumps on one bus need one axis however many they are. On that grid the panels' crossing is found for
each step, as for a single pump. Buses that are fed apart but pump into one pipe take turns until none moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from specc.operation.flows import Head, motor_v_to_back_v, pipe_head, pump_head, settle_net
from specc.operation.installation import Array, Installation, Pumpset
from specc.operation.operating import Booster, place_in_cell
from specc.operation.panel import Curve, array_curve, cell_k
from specc.operation.plant import NotWorkedOut
from specc.operation.sun import Chosen, Values
from specc.operation.weather import SunYear
from specc.system.hydraulic_network import NoBalance

_NODES: Final = {1: 129, 2: 41, 3: 15, 4: 9}  # of an axis of the grid, by how many axes there are
_TURNS: Final = 60  # of buses that pump into one pipe
_STILL: Final = 1e-4  # of a node
_POWER_HALVINGS: Final = 40
_ALIKE_V: Final = 1e-3  # holds that differ by less are one
_LEAST_A: Final = 1e-6  # that any motor takes to turn


# -- panels ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lit:
    """Arrays that meet, in the light of a year: their curves, each behind its own wire, one a step."""

    arrays: tuple[Array, ...]
    bare: tuple[Curve, ...]

    @cached_property
    def wired(self) -> tuple[Curve, ...]:
        return tuple(c.with_series(a.wire_ohm) for a, c in zip(self.arrays, self.bare, strict=True))

    def at(self, steps: Chosen) -> Lit:
        return Lit(self.arrays, tuple(curve.at(steps) for curve in self.bare))

    def current_a(self, volts: Values | float) -> Values:
        """Current at the voltage where the arrays meet [A]."""
        return np.asarray(sum(curve.current_a(volts) for curve in self.wired))

    def surplus_a(self, volts: Values, amperes: Values) -> Values:
        """What they give over ``amperes`` at a voltage; exact where it is nothing, else of its sign [A]."""
        if len(self.wired) == 1:
            (curve,) = self.wired
            return np.asarray(curve.inner_current_a(volts + amperes * curve.series_ohm) - amperes)
        return self.current_a(volts) - amperes

    def open_v(self) -> Values:
        return np.asarray(np.max([curve.open_v() for curve in self.bare], axis=0))

    def maximum_w(self) -> Values:
        """The most that each array could give, at its own best voltage, added up [W]."""
        total = np.zeros_like(self.bare[0].light_a)
        for curve in self.bare:
            volts, amperes = curve.maximum()
            total = total + volts * amperes
        return np.asarray(np.maximum(total, 0.0))

    def maximum(self) -> tuple[Values, Values]:
        """Volts and amperes where they meet, at the greatest power there."""
        if len(self.wired) == 1:
            return self.wired[0].maximum()
        low, high = np.zeros_like(self.bare[0].light_a), self.open_v()
        for _ in range(_POWER_HALVINGS):
            left, right = low + (high - low) / 3.0, high - (high - low) / 3.0
            rising = left * self.current_a(left) < right * self.current_a(right)
            low, high = np.where(rising, left, low), np.where(rising, high, right)
        volts = 0.5 * (low + high)
        return volts, self.current_a(volts)

    def given_w(self, volts: Values) -> tuple[Values, Values]:
        """What the panels give, and what their own wires lose, at a voltage where they meet [W]."""
        given, lost = np.zeros_like(volts), np.zeros_like(volts)
        for array, curve, wired in zip(self.arrays, self.bare, self.wired, strict=True):
            amperes = wired.current_a(volts)
            at_panel = volts + amperes * array.wire_ohm
            given = given + at_panel * curve.current_a(at_panel)
            lost = lost + amperes**2 * array.wire_ohm
        return given, lost

    def current_for_power(self, power_w: Values, least_v: Values) -> tuple[Values, Values]:
        """Volts and amperes over ``least_v`` at which they give a power steadily."""
        low, high = np.array(least_v, dtype=float), self.open_v()
        if len(self.wired) == 1:
            (curve,) = self.wired  # along its junction voltage no current need be solved for
            low = low + curve.current_a(low) * curve.series_ohm
            for _ in range(_POWER_HALVINGS):
                junction = 0.5 * (low + high)
                amperes = curve.inner_current_a(junction)
                enough = amperes * (junction - amperes * curve.series_ohm) >= power_w
                low, high = np.where(enough, junction, low), np.where(enough, high, junction)
            amperes = np.maximum(curve.inner_current_a(0.5 * (low + high)), 0.0)
            return 0.5 * (low + high) - amperes * curve.series_ohm, amperes
        for _ in range(_POWER_HALVINGS):
            middle = 0.5 * (low + high)
            enough = middle * self.current_a(middle) >= power_w
            low, high = np.where(enough, middle, low), np.where(enough, high, middle)
        volts = 0.5 * (low + high)
        return volts, np.maximum(self.current_a(volts), 0.0)


def lit(arrays: Sequence[Array], suns: Sequence[SunYear]) -> Lit:
    """Arrays in their light, shade and dirt taken off, each with the sun on its own plane."""
    curves = []
    for array, sun in zip(arrays, suns, strict=True):
        light = sun.plane_w_m2 * array.light_share
        cells = cell_k(sun.air_k, light, sun.wind_m_s, array.module.label.noct_k)
        curves.append(array_curve(array.module, array.series, array.parallel, light, cells))
    return Lit(tuple(arrays), tuple(curves))


# -- pipes -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Grid:
    """Pumps that settle in one net of pipes, over the voltages of the buses that feed them.

    ``axes`` are the voltages of each bus. Columns have one row a pump (or tank) and one value a case;
    cases run over the last axis fastest. Watts: water by all pumps, of it friction, and lifted.
    """

    pumps: tuple[int, ...]
    buses: tuple[int, ...]
    axes: tuple[Values, ...]
    back_v: Values
    amperes: Values
    flow_m3_s: Values
    into_m3_s: Values
    friction_w: Values
    lifted_w: Values
    head_m: Values


def settle_pipes(
    made: Installation,
    pumps: tuple[int, ...],
    axes: dict[int, Values],
    open_tanks: frozenset[int],
    levels_m: Sequence[float],
) -> Grid:
    """The grid of pumps that run together, with these tanks open and the wells at these levels.

    Raises ``NotWorkedOut`` where the flows cannot be balanced.
    """
    buses = tuple(dict.fromkeys(made.pumps[n].bus for n in pumps))
    mesh = np.meshgrid(*(axes[bus] for bus in buses), indexing="ij")
    volts = {bus: grid.ravel() for bus, grid in zip(buses, mesh, strict=True)}
    cases = len(next(iter(volts.values())))
    levels = {well.tag: levels_m[n] for n, well in enumerate(made.wells)}
    levels |= {made.tanks[n].tag: made.top_m[n] for n in open_tanks}
    shut = {tank.tag for n, tank in enumerate(made.tanks) if n not in open_tanks}
    ends: list[tuple[str, str]] = []
    heads: list[Head] = []
    one_way: list[bool] = []
    for n in pumps:
        pump = made.pumps[n]
        ends.append((f"{pump.tag}.in", f"{pump.tag}.out"))
        heads.append(pump_head(pump.fit, pump.fit.armature_ohm + pump.lead_ohm, volts[pump.bus]))
        one_way.append(True)
    for start, end, head, check in _live(made, pumps, shut, set(levels)):
        ends.append((start, end))
        heads.append(head)
        one_way.append(check)
    try:
        net = settle_net(ends, heads, one_way, levels, cases)
    except NoBalance as lack:
        tags = " and ".join(made.pumps[n].tag for n in pumps)
        raise NotWorkedOut(f"{tags}: {lack}") from None
    many = len(pumps)
    flow, head_m = net.flow_m3_s[:, :many].T, -net.fall_m[:, :many].T
    back, amperes = np.empty_like(flow), np.empty_like(flow)
    for row, n in enumerate(pumps):
        pump = made.pumps[n]
        ohm = pump.fit.armature_ohm + pump.lead_ohm
        back[row] = motor_v_to_back_v(pump.fit, ohm, volts[pump.bus], flow[row], head_m[row])
        amperes[row] = np.maximum((volts[pump.bus] - back[row]) / ohm, _LEAST_A) if ohm > 0.0 else 0.0
        if not ohm > 0.0:
            amperes[row] = np.maximum(pump.fit.current_a(back[row], flow[row], head_m[row]), _LEAST_A)
    into = np.zeros((len(made.tanks), cases))
    for number, (_, end) in enumerate(ends):
        for tank in open_tanks:
            if end == made.tanks[tank].tag:
                into[tank] += net.flow_m3_s[:, number]
    friction = made.weight_n_m3 * (net.flow_m3_s[:, many:] * net.fall_m[:, many:]).sum(axis=1)
    water = made.weight_n_m3 * (flow * head_m).sum(axis=0)
    return Grid(
        pumps,
        buses,
        tuple(axes[bus] for bus in buses),
        back,
        amperes,
        flow,
        into,
        friction,
        water - friction,
        head_m,
    )


def _live(
    made: Installation, pumps: tuple[int, ...], shut: set[str], fixed: set[str]
) -> list[tuple[str, str, Head, bool]]:
    """Pieces through which water can pass with these pumps running, those of one row made into one."""
    ports = {f"{made.pumps[n].tag}.{port}" for n in pumps for port in ("in", "out")}
    links: list[tuple[str, str, tuple[Head, ...], bool]] = [
        (piece.start, piece.end, (pipe_head(piece),), piece.one_way)
        for piece in made.pieces
        if piece.start not in shut and piece.end not in shut
    ]
    while True:
        ends = [node for link in links for node in link[:2]]
        kept = [
            link
            for link in links
            if all(node in fixed or node in ports or ends.count(node) > 1 for node in link[:2])
        ]
        if len(kept) == len(links):
            break
        links = kept
    merged = True
    while merged:
        merged = False
        for one in links:
            node = one[1]
            beside = [link for link in links if node in link[:2]]
            if node in fixed or node in ports or len(beside) != 2:
                continue
            other = next(link for link in beside if link is not one)
            if other[0] != node:
                continue
            links = [link for link in links if link is not one and link is not other]
            links.append((one[0], other[1], one[2] + other[2], one[3] or other[3]))
            merged = True
            break
    # A pump shuts by itself what lies in one row with it: two valves would halve the head between them.
    ends = [node for link in links for node in link[:2]]
    return [
        (
            start,
            end,
            _added(parts),
            check and not any(n in ports and ends.count(n) == 1 for n in (start, end)),
        )
        for start, end, parts, check in links
    ]


def _added(parts: tuple[Head, ...]) -> Head:
    if len(parts) == 1:
        return parts[0]

    def lost(flow: Values) -> Values:
        return np.asarray(sum(part(flow) for part in parts))

    return lost


# -- what settles ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mode:
    """Some pumps turn, some stand stalled though they are fed, some tanks are open; one value a step.

    ``run`` says of a pump that turns whether it keeps turning, ``start`` of a stalled one whether it
    starts: where they are not negative. Watts of a feed are for the energy.
    """

    flow_m3_s: dict[int, Values]
    run: dict[int, Values]
    start: dict[int, Values]
    into_m3_s: dict[int, Values]
    parts_w: dict[str, Values]
    motor_v: dict[int, Values]
    head_m: dict[int, Values]
    panel_v: dict[int, Values]  # of the first array of each feed
    panel_a: dict[int, Values]


@dataclass(frozen=True)
class _Row:
    """A bus as its feed sees it: volts and amperes at each node, in all steps alike or in each its own."""

    volts: Values  # (nodes,)
    amperes: Values  # (1 or steps, nodes)
    turns: bool  # does any pump of it turn?

    @property
    def last(self) -> int:
        return len(self.volts) - 1


def settle_mode(
    made: Installation,
    lights: dict[int, Lit],
    turning: tuple[int, ...],
    stalled: tuple[int, ...],
    open_tanks: frozenset[int],
    levels_m: Sequence[float],
) -> Mode:
    """Where everything settles in each step.

    lights: the arrays of each feed, one curve a step. Raises ``NotWorkedOut``.
    """
    steps = len(next(iter(lights.values())).bare[0].light_a)
    buses = tuple(dict.fromkeys(made.pumps[n].bus for n in (*turning, *stalled)))
    axes = {bus: _axis(made, bus, turning, open_tanks, levels_m, lights) for bus in buses}
    groups = _in_one_net(made, turning)
    axes = {bus: _as_fine(axis, groups, made, bus) for bus, axis in axes.items()}
    grids = [settle_pipes(made, group, axes, open_tanks, levels_m) for group in groups]
    feeds = {feed: tuple(b for b in buses if made.buses[b].feed == feed) for feed in lights}
    position = {bus: np.full(steps, 0.6 * (len(axis) - 1)) for bus, axis in axes.items()}
    coupled = any(len(grid.buses) > 1 for grid in grids)
    states: dict[int, _FeedState] = {}
    for _ in range(_TURNS if coupled else 1):
        moved = 0.0
        for feed, its in feeds.items():
            if not its:
                continue
            rows = {bus: _row(made, bus, axes[bus], grids, position, stalled) for bus in its}
            states[feed] = _settle_feed(made, lights[feed], rows)
            for bus in its:
                moved = max(moved, float(np.abs(states[feed].position[bus] - position[bus]).max(initial=0.0)))
                position[bus] = states[feed].position[bus]
        if moved < _STILL:
            break
    else:
        if coupled:
            tags = " and ".join(made.pumps[n].tag for n in turning)
            raise NotWorkedOut(f"{tags} pump into one pipe and do not come to rest together")
    return _mode(made, axes, grids, position, states, lights, turning, stalled)


def _in_one_net(made: Installation, turning: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Pumps that need one grid: on one bus, or joined by pipes."""
    joined = replace(made, buses=tuple(replace(bus, feed=n) for n, bus in enumerate(made.buses)))
    found = [tuple(n for n in island if n in turning) for island in joined.islands()]
    return [group for group in found if group]


def _as_fine(axis: Values, groups: list[tuple[int, ...]], made: Installation, bus: int) -> Values:
    together = [{made.pumps[n].bus for n in group} for group in groups]
    axes = max((len(buses) for buses in together if bus in buses), default=1)
    if axes not in _NODES:
        tags = ", ".join(pump.tag for pump in made.pumps)
        raise NotWorkedOut(f"{axes} pumps, each fed apart, pump into one net of pipes ({tags}); at most four")
    return np.linspace(axis[0], axis[-1], _NODES[axes])


def _axis(
    made: Installation,
    bus: int,
    turning: tuple[int, ...],
    open_tanks: frozenset[int],
    levels_m: Sequence[float],
    lights: dict[int, Lit],
) -> Values:
    """From under the volts at which any pump of the bus turns to more than it ever gets [V]."""
    booster = made.buses[bus].booster
    ours = [made.pumps[n] for n in turning if made.pumps[n].bus == bus]
    least = [_just_turns_v(made, pump, open_tanks, levels_m) for pump in ours]
    top = float(lights[made.buses[bus].feed].open_v().max(initial=1.0)) * 1.02
    if booster is not None:
        top = booster.highest_v * 1.02
    return np.array([min(0.9 * min(least, default=0.0), 0.5 * top), max(top, 1.0)])


def _just_turns_v(
    made: Installation, pump: Pumpset, open_tanks: frozenset[int], levels_m: Sequence[float]
) -> float:
    """Volts at the bus under which the pump does not turn against its standing water [V]."""
    head = _standing_m(made, pump, open_tanks, levels_m)
    none, heads = np.zeros(1), np.array([head])
    amperes = max(float(pump.fit.current_a(none, none, heads)[0]), _LEAST_A)
    return amperes * (pump.fit.armature_ohm + pump.lead_ohm)


def _standing_m(
    made: Installation, pump: Pumpset, open_tanks: frozenset[int], levels_m: Sequence[float]
) -> float:
    tops = [made.top_m[n] for n in pump.tanks if n in open_tanks]
    return max(0.0, min(tops, default=0.0) - levels_m[pump.well])


def turning_a(
    made: Installation, pump: Pumpset, open_tanks: frozenset[int], levels_m: Sequence[float]
) -> float:
    """Current that starts a pump: the maker's, or what its standing water asks where that is more [A]."""
    heads = np.array([_standing_m(made, pump, open_tanks, levels_m)])
    return max(pump.start_a, float(pump.fit.current_a(np.zeros(1), np.zeros(1), heads)[0]))


def _row(
    made: Installation,
    bus: int,
    axis: Values,
    grids: list[Grid],
    position: dict[int, Values],
    stalled: tuple[int, ...],
) -> _Row:
    amperes = np.zeros((1, len(axis)))
    for grid in grids:
        if bus not in grid.buses:
            continue
        ours = [row for row, n in enumerate(grid.pumps) if made.pumps[n].bus == bus]
        amperes = amperes + _along_bus(grid, grid.amperes[ours].sum(axis=0), bus, position)
    ease = sum(1.0 / made.pumps[n].loop_ohm for n in stalled if made.pumps[n].bus == bus)
    turns = any(bus in grid.buses for grid in grids)
    return _Row(axis, np.maximum.accumulate(amperes, axis=1) + axis * ease, turns)


def _along_bus(grid: Grid, column: Values, bus: int, position: dict[int, Values]) -> Values:
    """A column along one bus, the others where they stand: (1 or steps, nodes)."""
    shape = tuple(len(axis) for axis in grid.axes)
    values = np.moveaxis(column.reshape(shape), grid.buses.index(bus), -1)[None]
    for other in (b for b in grid.buses if b != bus):
        low, share = _cell(position[other], values.shape[1] - 1)
        rows = np.arange(len(low)) if len(values) > 1 else np.zeros(len(low), dtype=np.intp)
        share = share.reshape(-1, *([1] * (values.ndim - 2)))
        values = values[rows, low] * (1.0 - share) + values[rows, low + 1] * share
    return np.asarray(values)


def _cell(position: Values, last: int) -> tuple[Chosen, Values]:
    low = np.clip(position.astype(np.intp), 0, last - 1)
    return low, position - low


def _at(grid: Grid, column: Values, position: dict[int, Values]) -> Values:
    """A column where all buses stand, one value a step."""
    first = grid.buses[0]
    along = _along_bus(grid, column, first, position)
    low, share = _cell(position[first], along.shape[1] - 1)
    rows = np.arange(len(low)) if len(along) > 1 else np.zeros(len(low), dtype=np.intp)
    return np.asarray(along[rows, low] * (1.0 - share) + along[rows, low + 1] * share)


# -- a feed ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _FeedState:
    """Where the buses of a feed stand; volts where its arrays meet, amperes, watts of its boosters."""

    position: dict[int, Values]
    volts: Values
    amperes: Values
    booster_w: Values  # lost in boosters
    bus_a: dict[int, Values]


def _settle_feed(made: Installation, panels: Lit, rows: dict[int, _Row]) -> _FeedState:
    if any(made.buses[bus].booster is not None for bus in rows):
        return _settle_boosted(made, panels, rows)
    if len(rows) > 1:
        raise NotWorkedOut("pumps straight on an array in groups of their own")
    ((bus, row),) = rows.items()
    return _settle_direct(made.buses[bus].wire_ohm, bus, panels, row)


def _settle_direct(ohm: float, number: int, panels: Lit, row: _Row) -> _FeedState:
    """Panels straight on motors: where their line and the panels' curve cross."""
    steps = len(panels.bare[0].light_a)

    def here(node: Chosen) -> Values:
        which = np.arange(steps) if len(row.amperes) > 1 else np.zeros(steps, dtype=np.intp)
        return np.asarray(row.amperes[which, node])

    def surplus(volts: Values, amperes: Values) -> Values:
        return panels.surplus_a(volts + amperes * ohm, amperes)

    low = np.zeros(steps, dtype=np.intp)
    high = np.full_like(low, row.last)
    while int((high - low).max(initial=0)) > 1:
        middle = (low + high) >> 1
        ahead = surplus(row.volts[middle], here(middle)) >= 0.0
        low, high = np.where(ahead, middle, low), np.where(ahead, high, middle)
    v0, v1, a0, a1 = row.volts[low], row.volts[high], here(low), here(high)
    share = place_in_cell(lambda place: surplus(v0 + place * (v1 - v0), a0 + place * (a1 - a0)), steps)
    volts, amperes = v0 + share * (v1 - v0), a0 + share * (a1 - a0)
    return _FeedState(
        {number: low + share}, volts + amperes * ohm, amperes, np.zeros(steps), {number: amperes}
    )


def _reach(rising: Values, target: Values) -> Values:
    """Where a rising row reaches a target, as a fraction of nodes; rows alike in all steps or one a step."""
    last = rising.shape[1] - 1
    if len(rising) == 1:
        return np.asarray(np.interp(target, rising[0], np.arange(last + 1.0)))
    low = np.clip((rising <= target[:, None]).sum(axis=1) - 1, 0, last - 1)
    rows = np.arange(len(low))
    a, b = rising[rows, low], rising[rows, low + 1]
    return np.asarray(np.clip(low + (target - a) / np.where(b > a, b - a, 1.0), 0.0, float(last)))


def _reach_power(volts: Values, amperes: Values, target_w: Values) -> Values:
    """As ``_reach`` for volts times amperes, both straight between the nodes."""
    low, _ = _cell(_reach(np.maximum.accumulate(volts * amperes, axis=1), target_w), volts.shape[1] - 1)
    rows = np.arange(len(low)) if len(volts) > 1 else np.zeros(len(low), dtype=np.intp)
    v, a = volts[rows, low], amperes[rows, low]
    dv, da = volts[rows, low + 1] - v, amperes[rows, low + 1] - a
    lacks, line = np.maximum(target_w - v * a, 0.0), v * da + a * dv
    root = line + np.sqrt(line**2 + 4.0 * np.maximum(dv * da, 0.0) * lacks)
    return np.asarray(low + np.clip(2.0 * lacks / np.where(root > 0.0, root, 1.0), 0.0, 1.0))


def _value(row: Values, position: Values) -> Values:
    low, share = _cell(position, row.shape[1] - 1)
    rows = np.arange(len(low)) if len(row) > 1 else np.zeros(len(low), dtype=np.intp)
    return np.asarray(row[rows, low] * (1.0 - share) + row[rows, low + 1] * share)


def _settle_boosted(made: Installation, panels: Lit, rows: dict[int, _Row]) -> _FeedState:
    """Boosters side by side on panels: the lower a booster holds them, the sooner it is served.

    Boosters that hold alike share what there is in proportion to what each could take.
    """
    steps = len(panels.bare[0].light_a)
    zero = np.zeros(steps)
    output, most, could, hold = {}, {}, {}, {}
    open_v = panels.open_v()
    for bus, row in rows.items():
        booster = _booster(made, bus)
        output[bus] = row.volts + row.amperes * made.buses[bus].wire_ohm
        limit = booster.limit_a if row.turns else booster.start_limit_a
        ends = (_reach(output[bus], zero + booster.highest_v), _reach(row.amperes, zero + limit))
        most[bus] = np.minimum(*ends)
        hold[bus] = (
            booster.hold_share * open_v if booster.hold_v is None else np.minimum(booster.hold_v, open_v)
        )
        could[bus] = np.minimum(
            _value(output[bus], most[bus]) * _value(row.amperes, most[bus]) / booster.efficiency,
            hold[bus] * booster.input_limit_a,
        )
    order = sorted(rows, key=lambda bus: float(hold[bus].max(initial=0.0)))
    groups: list[list[int]] = []
    for bus in order:
        near = bool(groups) and float(np.abs(hold[bus] - hold[groups[-1][0]]).max(initial=0.0)) < _ALIKE_V
        groups[-1].append(bus) if near else groups.append([bus])
    taken_w: dict[int, Values] = {}
    before = zero
    served = np.ones(steps, dtype=bool)
    volts, amperes = open_v, zero
    held = np.zeros(steps, dtype=bool)
    least = zero
    for group in groups:
        held_v = hold[group[0]]
        here_a = np.maximum(panels.current_a(held_v), 0.0)
        left = np.where(served, np.maximum(held_v * here_a - before, 0.0), 0.0)
        wants = sum((could[bus] for bus in group), zero)
        share = np.clip(np.divide(left, wants, out=np.ones(steps), where=wants > 0.0), 0.0, 1.0)
        for bus in group:
            taken_w[bus] = could[bus] * share
        binds = served & (share < 1.0) & (left > 0.0)
        held, volts, amperes = held | binds, np.where(binds, held_v, volts), np.where(binds, here_a, amperes)
        least = np.where(served & (share >= 1.0), held_v, least)
        before = before + sum((taken_w[bus] for bus in group), zero)
        served = served & (share >= 1.0)
    position, bus_a, lost = {}, {}, zero
    total = zero
    for bus, row in rows.items():
        efficiency = _booster(made, bus).efficiency
        output_w = taken_w[bus] * efficiency
        position[bus] = np.minimum(_reach_power(output[bus], row.amperes, output_w), most[bus])
        bus_a[bus] = _value(row.amperes, position[bus])
        at_output = _value(output[bus], position[bus])
        given = at_output * bus_a[bus]
        # Below the first node nothing turns, whatever is drawn: the energy of such a step is not asked for.
        lost = lost + given * (1.0 / efficiency - 1.0)
        total = total + given / efficiency
    free_v, free_a = panels.current_for_power(total, np.maximum(least, hold[groups[0][0]]))
    volts, amperes = np.where(held, volts, free_v), np.where(held, amperes, free_a)
    return _FeedState(position, volts, amperes, lost, bus_a)


def _booster(made: Installation, bus: int) -> Booster:
    booster = made.buses[bus].booster
    if booster is None:
        raise NotWorkedOut("an array feeds a pump straight and another through a booster")
    return booster


def _mode(
    made: Installation,
    axes: dict[int, Values],
    grids: list[Grid],
    position: dict[int, Values],
    states: dict[int, _FeedState],
    lights: dict[int, Lit],
    turning: tuple[int, ...],
    stalled: tuple[int, ...],
) -> Mode:
    steps = len(next(iter(lights.values())).bare[0].light_a)
    zero = np.zeros(steps)
    flow: dict[int, Values] = {}
    run: dict[int, Values] = {}
    start: dict[int, Values] = {}
    motor_v: dict[int, Values] = {}
    head: dict[int, Values] = {}
    into = dict.fromkeys(range(len(made.tanks)), zero)
    names = (
        "panel wire",
        "booster",
        "motor wire",
        "motor winding",
        "pump friction and slip",
        "pipe friction",
    )
    parts = dict.fromkeys((*names, "water lifted", "taken"), zero)
    for feed, state in states.items():
        given, own = lights[feed].given_w(state.volts)
        parts["taken"] = parts["taken"] + given
        parts["panel wire"] = parts["panel wire"] + own
        parts["booster"] = parts["booster"] + state.booster_w
        for bus, amperes in state.bus_a.items():
            parts["motor wire"] = parts["motor wire"] + amperes**2 * made.buses[bus].wire_ohm
    shaft = zero
    for grid in grids:
        for row, n in enumerate(grid.pumps):
            pump = made.pumps[n]
            back, amperes = _at(grid, grid.back_v[row], position), _at(grid, grid.amperes[row], position)
            flow[n] = np.maximum(_at(grid, grid.flow_m3_s[row], position), 0.0)
            head[n] = _at(grid, grid.head_m[row], position)
            run[n] = back - 1e-9
            motor_v[n] = back + amperes * pump.fit.armature_ohm
            parts["motor wire"] = parts["motor wire"] + amperes**2 * pump.lead_ohm
            parts["motor winding"] = parts["motor winding"] + amperes**2 * pump.fit.armature_ohm
            shaft = shaft + back * amperes
        friction, lifted = _at(grid, grid.friction_w, position), _at(grid, grid.lifted_w, position)
        parts["pipe friction"] = parts["pipe friction"] + friction
        parts["water lifted"] = parts["water lifted"] + lifted
        shaft = shaft - friction - lifted
        for tank in into:
            into[tank] = into[tank] + _at(grid, grid.into_m3_s[tank], position)
    parts["pump friction and slip"] = shaft
    for n in stalled:
        pump = made.pumps[n]
        axis = axes[pump.bus]
        volts = np.interp(position[pump.bus], np.arange(len(axis)), axis)
        amperes = volts / pump.loop_ohm
        start[n] = amperes
        parts["motor wire"] = parts["motor wire"] + amperes**2 * pump.lead_ohm
        parts["motor winding"] = parts["motor winding"] + amperes**2 * pump.rest_ohm
    panel_v, panel_a = {}, {}
    for feed, state in states.items():
        panel_a[feed] = lights[feed].wired[0].current_a(state.volts)
        panel_v[feed] = state.volts + panel_a[feed] * lights[feed].arrays[0].wire_ohm
    return Mode(flow, run, start, into, parts, motor_v, head, panel_v, panel_a)


def settle_line(
    made: Installation,
    lights: dict[int, Lit],
    pumps: tuple[int, ...],
    open_tanks: frozenset[int],
    levels_m: Sequence[float],
) -> tuple[Values, Values] | None:
    """Volts and amperes that pumps straight on one array ask of it, all running; None behind a booster."""
    bus = made.pumps[pumps[0]].bus
    if made.buses[bus].booster is not None:
        return None
    ends = _axis(made, bus, pumps, open_tanks, levels_m, lights)
    axes = {bus: np.linspace(ends[0], ends[1], _NODES[1])}
    grids = [settle_pipes(made, group, axes, open_tanks, levels_m) for group in _in_one_net(made, pumps)]
    amperes = np.sum([grid.amperes.sum(axis=0) for grid in grids], axis=0)
    (array,) = made.feeds[made.buses[bus].feed].arrays
    return axes[bus] + amperes * (array.wire_ohm + made.buses[bus].wire_ohm), amperes
