"""Every pump, well, tank and bank of an installation through a year, step by step, with their floats.

Within a stride all rates are steady, so the moment at which a float or a disconnect acts is worked out, not
stepped to. What settles is worked out for all steps at once, the first time that some set of pumps turns
with some set of tanks open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from specc.operation.bank import Charging, Line, Moment, settle_bank
from specc.operation.energy import BANK_PARTS, LIFTED, LOSSES, Energy
from specc.operation.installation import Installation, Store
from specc.operation.plant import NotWorkedOut
from specc.operation.sharing import Grid, Lit, Mode, lit, settle_mode, settle_pipes, turning_a
from specc.operation.sun import Chosen, Values
from specc.operation.weather import SunYear
from specc.physics.constants import STANDARD_IRRADIANCE_W_M2

_MOMENT_S: Final = 1.0  # no float acts twice within a second
_BANK_MOMENT_S: Final = 60.0  # no disconnect twice within a minute
# A disconnect stays open so long, and a flat bank is left so long: common practice, no source.
_OFF_S: Final = 600.0
_NONE: Final = 1e-12
_BANK_NODES: Final = 33
_BANK_SHARED: Final = ("panel wire", "motor wire", "motor winding", "pump friction and slip", "pipe friction")

Key = tuple[frozenset[int], frozenset[int], frozenset[int]]  # pumps that turn, pumps stalled, open tanks


@dataclass(frozen=True)
class Ran:
    """What happened in each step: seconds, cubic metres, by pump, tank, well and bank; ends of the step."""

    run_s: tuple[Values, ...]
    pump_m3: tuple[Values, ...]
    started_of: tuple[Values, ...]
    wait_s: tuple[Values, ...]
    into_m3: tuple[Values, ...]
    level_m3: tuple[Values, ...]
    over_m3: tuple[Values, ...]
    lack_m3: tuple[Values, ...]
    well_m3: tuple[Values, ...]
    stored_c: tuple[Values, ...]
    bank_off_s: tuple[Values, ...]  # the disconnect holds the pumps off
    dry_s: Values
    shut_s: Values  # a pump would run, but every tank that it can fill is shut by its float valve
    beyond_m3: Values  # lifted at volts or heads that a data sheet does not cover
    energy: Energy | None

    @property
    def pumped_m3(self) -> Values:
        return np.asarray(sum(self.pump_m3))

    @property
    def overflow_m3(self) -> Values:
        return np.asarray(sum(self.over_m3))

    @property
    def short_m3(self) -> Values:
        return np.asarray(sum(self.lack_m3))

    @property
    def any_run_s(self) -> Values:
        return np.asarray(np.max(self.run_s, axis=0))

    @property
    def started(self) -> Values:
        return np.asarray(sum(self.started_of))


class _Listed:
    """A mode as lists: base, and what each well at its standing level adds."""

    def __init__(
        self,
        base: Mode,
        added: Sequence[Mode],
        starts: dict[int, float],
        beyond: dict[int, NDArray[np.bool_]],
    ) -> None:
        self.modes = (base, *added)
        self.flow = {n: _rows(base.flow_m3_s[n], [m.flow_m3_s[n] for m in added]) for n in base.flow_m3_s}
        self.run = {n: _rows(base.run[n], [m.run[n] for m in added]) for n in base.run}
        self.into = {
            t: _rows(v, [m.into_m3_s[t] for m in added]) for t, v in base.into_m3_s.items() if v.any()
        }
        self.start = {n: (base.start[n] - starts[n]).tolist() for n in base.start}
        self.beyond = {n: values.tolist() for n, values in beyond.items()}


def _rows(base: Values, added: Sequence[Values]) -> list[list[float]]:
    return [base.tolist(), *((values - base).tolist() for values in added)]


def _mixed(rows: list[list[float]], at: int, levels: Sequence[float]) -> float:
    value = rows[0][at]
    for level, row in zip(levels, rows[1:], strict=True):
        value += level * row[at]
    return value


class _Island:
    """Pumps that settle together, and the wells that they draw from."""

    def __init__(self, made: Installation, pumps: tuple[int, ...]) -> None:
        self.made, self.pumps = made, pumps
        self.wells = tuple(
            w
            for w in dict.fromkeys(made.pumps[n].well for n in pumps)
            if made.high_m[w] > made.low_m[w] + _NONE
        )
        self.levels = [tuple(made.low_m)]
        for well in self.wells:
            raised = list(made.low_m)
            raised[well] = made.high_m[well]
            self.levels.append(tuple(raised))


class PanelIsland(_Island):
    """On arrays: what settles depends on the light of the step alone."""

    def __init__(
        self, made: Installation, pumps: tuple[int, ...], lights: dict[int, Lit], steps: int
    ) -> None:
        super().__init__(made, pumps)
        feeds = tuple(dict.fromkeys(made.buses[made.pumps[n].bus].feed for n in pumps))
        brightest = np.max([c.light_a for f in feeds for c in lights[f].bare], axis=0)
        self.bright: Chosen = np.flatnonzero(brightest > 0.0)
        self.lights = {feed: lights[feed].at(self.bright) for feed in feeds}
        place = np.full(steps, -1)
        place[self.bright] = np.arange(len(self.bright))
        self.place: list[int] = place.tolist()
        self._modes: dict[Key, _Listed] = {}

    @cached_property
    def most_w(self) -> Values:
        """The most that the panels could give in each bright step [W]."""
        return np.asarray(sum(panels.maximum_w() for panels in self.lights.values()))

    def mode(self, turning: frozenset[int], stalled: frozenset[int], open_tanks: frozenset[int]) -> _Listed:
        key = (turning, stalled, open_tanks)
        if key not in self._modes:
            self._modes[key] = self._settled(*key)
        return self._modes[key]

    def _settled(
        self, turning: frozenset[int], stalled: frozenset[int], open_tanks: frozenset[int]
    ) -> _Listed:
        made = self.made
        levels = self.levels if turning else self.levels[:1]
        args = (tuple(sorted(turning)), tuple(sorted(stalled)), open_tanks)
        modes = [settle_mode(made, self.lights, *args, level) for level in levels]
        modes += [modes[0]] * (len(self.levels) - len(modes))
        starts = {n: turning_a(made, made.pumps[n], open_tanks, made.low_m) for n in stalled}
        beyond = {
            n: made.pumps[n].fit.beyond(modes[0].motor_v[n], modes[0].head_m[n]) for n in sorted(turning)
        }
        return _Listed(modes[0], modes[1:], starts, beyond)


class BankIsland(_Island):
    """On a bank: what settles depends on its charge as well, so each stride is worked out by itself."""

    def __init__(self, made: Installation, pumps: tuple[int, ...], lights: tuple[Lit, ...]) -> None:
        super().__init__(made, pumps)
        self.number = made.buses[made.pumps[pumps[0]].bus].feed
        self.feed = made.feeds[self.number]
        assert self.feed.store is not None
        self.store: Store = self.feed.store
        self.panels = lights
        self.chargers = [Charging(c, panels) for c, panels in zip(self.feed.chargers, lights, strict=True)]
        top = max((c.top_v for c in self.feed.chargers), default=self.store.full_v)
        self.axis = np.linspace(0.6 * self.store.empty_v, 1.03 * max(top, self.store.full_v), _BANK_NODES)
        self.outside: dict[int, list[bool]] = {}  # of each pump, at each of the volts
        self.last_v = 0.0  # of the bank, a guess for the next stride
        self._lines: dict[tuple[frozenset[int], frozenset[int]], _BankLines] = {}
        for n in pumps:
            pump = made.pumps[n]
            if self.store.empty_v / pump.loop_ohm < pump.start_a:
                raise NotWorkedOut(
                    f"{pump.tag} wants {pump.start_a:.1f} A to start, more than {self.feed.tag} drives "
                    "through its leads and motor when it is empty"
                )

    def beyond(self, n: int, bank_v: float) -> bool:
        """Does a pump run outside its data sheet at these volts, as it was last worked out?"""
        place = (bank_v - float(self.axis[0])) / float(self.axis[1] - self.axis[0])
        return self.outside[n][min(max(round(place), 0), len(self.axis) - 1)]

    def lines(self, turning: frozenset[int], open_tanks: frozenset[int]) -> _BankLines:
        key = (turning, open_tanks)
        if key not in self._lines:
            self._lines[key] = _BankLines(self, tuple(sorted(turning)), open_tanks)
        return self._lines[key]


class _BankLines:
    """What pumps that turn on a bank draw and lift, over its volts."""

    def __init__(self, island: BankIsland, turning: tuple[int, ...], open_tanks: frozenset[int]) -> None:
        made, axis = island.made, island.axis
        joined = replace(made, buses=tuple(replace(bus, feed=n) for n, bus in enumerate(made.buses)))
        groups = [tuple(n for n in group if n in turning) for group in joined.islands()]
        bus = made.pumps[turning[0]].bus
        grids = [
            [settle_pipes(made, group, {bus: axis}, open_tanks, level) for group in groups if group]
            for level in island.levels
        ]
        first, step = float(axis[0]), float(axis[1] - axis[0])

        def line(values: list[Values]) -> Line:
            return Line(first, step, _rows(values[0], values[1:]))

        def summed(name: str) -> Line:
            return line(
                [np.asarray(sum(np.atleast_2d(getattr(g, name)).sum(axis=0) for g in gs)) for gs in grids]
            )

        def of_pump(name: str, n: int) -> Line:
            return line([_row_of(gs, name, n) for gs in grids])

        self.load = summed("amperes")
        self.friction, self.lifted = summed("friction_w"), summed("lifted_w")
        self.amperes = {n: of_pump("amperes", n) for n in turning}
        self.back = {n: of_pump("back_v", n) for n in turning}
        self.flow = {n: of_pump("flow_m3_s", n) for n in turning}
        self.into = {
            t: line([np.asarray(sum(g.into_m3_s[t] for g in gs)) for gs in grids]) for t in sorted(open_tanks)
        }
        fits = {n: made.pumps[n].fit for n in turning}
        for n in turning:
            back, amperes, head = (_row_of(grids[0], name, n) for name in ("back_v", "amperes", "head_m"))
            motor_v = back + amperes * fits[n].armature_ohm
            island.outside[n] = fits[n].beyond(motor_v, head).tolist()

    def at_levels(self, levels: tuple[float, ...]) -> None:
        lines = (self.load, self.friction, self.lifted, *self.amperes.values(), *self.back.values())
        for line in (*lines, *self.flow.values(), *self.into.values()):
            line.levels = levels


def _row_of(grids: list[Grid], name: str, n: int) -> Values:
    grid = next(g for g in grids if n in g.pumps)
    return np.asarray(getattr(grid, name)[grid.pumps.index(n)])


@dataclass(frozen=True)
class Together:
    """An installation in the light of a year, ready to run."""

    made: Installation
    sun: SunYear
    suns: tuple[tuple[SunYear, ...], ...]  # of each feed, one for each of its arrays
    panels: tuple[PanelIsland, ...]
    banks: tuple[BankIsland, ...]

    def run(
        self,
        inflows_m3_s: Sequence[float | None],
        demands_m3_s: Sequence[float | None],
        *,
        energy: bool = False,
    ) -> Ran:
        """The year with these inflows (None: limitless) and demands (None: the tank is never full)."""
        return _Run(self, inflows_m3_s, demands_m3_s, energy=energy).through()


def bring_together(made: Installation, suns: Sequence[Sequence[SunYear]]) -> Together:
    """Everything that the year needs, worked out once.

    suns: for each feed the sun on each of its arrays. Raises ``NotWorkedOut``.
    """
    steps = len(suns[0][0].plane_w_m2)
    panels, banks = [], []
    for pumps in made.islands():
        feeds = tuple(dict.fromkeys(made.buses[made.pumps[n].bus].feed for n in pumps))
        if all(made.feeds[feed].store is None for feed in feeds):
            lights = {feed: lit(made.feeds[feed].arrays, suns[feed]) for feed in feeds}
            panels.append(PanelIsland(made, pumps, lights, steps))
        elif len(feeds) > 1:
            tags = " and ".join(made.pumps[n].tag for n in pumps)
            raise NotWorkedOut(
                f"{tags} pump into one net of pipes from {' and '.join(made.feeds[f].tag for f in feeds)}: "
                "pumps on a battery are worked out together with others only where all hang on that battery"
            )
        else:
            (feed,) = feeds
            rest = list(suns[feed])
            lights_of = []
            for charger in made.feeds[feed].chargers:
                lights_of.append(lit(charger.arrays, rest[: len(charger.arrays)]))
                rest = rest[len(charger.arrays) :]
            banks.append(BankIsland(made, pumps, tuple(lights_of)))
    return Together(made, suns[0][0], tuple(tuple(s) for s in suns), tuple(panels), tuple(banks))


class _Run:
    """One run through the year; its state changes from stride to stride."""

    def __init__(
        self,
        ready: Together,
        inflows: Sequence[float | None],
        demands: Sequence[float | None],
        *,
        energy: bool,
    ) -> None:
        made = ready.made
        self.ready, self.made = ready, made
        self.step_s = ready.sun.step_s
        self.steps = len(ready.sun.plane_w_m2)
        self.keeps_energy = energy
        self.demand = [
            None if rate is None else _by_step(tank.profile, rate, self.step_s)
            for tank, rate in zip(made.tanks, demands, strict=True)
        ]
        self.inflow = [rate or 0.0 for rate in inflows]
        self.limited = [rate is not None for rate in inflows]
        self.most = [w.storage_m3 if lim else 1.0 for w, lim in zip(made.wells, self.limited, strict=True)]
        self.well_restart = [
            min(w.restart_m * w.area_m2, most) for w, most in zip(made.wells, self.most, strict=True)
        ]
        self.stops_at = [tank.stop_m3 if tank.has_float else float("inf") for tank in made.tanks]
        self.tank = [min(full, t.capacity_m3) for full, t in zip(self.stops_at, made.tanks, strict=True)]
        self.well = list(self.most)
        self.tank_full = [False] * len(made.tanks)
        self.well_low = [False] * len(made.wells)
        self.turning: set[int] = set()
        self.charge = [bank.store.capacity_c for bank in ready.banks]
        self.guard_off: list[list[bool]] = [[False] * len(bank.feed.guards) for bank in ready.banks]
        self.off_s: list[list[float]] = [[0.0] * len(bank.feed.guards) for bank in ready.banks]

        def zeros(count: int) -> list[list[float]]:
            return [[0.0] * self.steps for _ in range(count)]

        self.made_of = {
            "run_s": zeros(len(made.pumps)),
            "pump_m3": zeros(len(made.pumps)),
            "started_of": zeros(len(made.pumps)),
            "wait_s": zeros(len(made.pumps)),
            "into_m3": zeros(len(made.tanks)),
            "level_m3": zeros(len(made.tanks)),
            "over_m3": zeros(len(made.tanks)),
            "lack_m3": zeros(len(made.tanks)),
            "well_m3": zeros(len(made.wells)),
            "stored_c": zeros(len(ready.banks)),
            "bank_off_s": zeros(len(ready.banks)),
        }
        self.dry, self.shut, self.beyond = zeros(3)
        # Seconds in each mode of each island, bare and weighed by the level of each of its wells.
        self.seconds: list[dict[Key, list[list[float]]]] = [{} for _ in ready.panels]
        self.bank_j: list[dict[str, list[float]]] = [
            {name: [0.0] * self.steps for name in (*BANK_PARTS, LIFTED, *_BANK_SHARED)} for _ in ready.banks
        ]
        self.input_w: list[list[list[float]]] = [zeros(len(bank.chargers)) for bank in ready.banks]

    def through(self) -> Ran:
        for step in range(self.steps):
            self._step(step)
        arrays = {name: tuple(np.array(row) for row in rows) for name, rows in self.made_of.items()}
        energy = self._energy() if self.keeps_energy else None
        return Ran(
            **arrays,
            dry_s=np.array(self.dry),
            shut_s=np.array(self.shut),
            beyond_m3=np.array(self.beyond),
            energy=energy,
        )

    # -- one step ----------------------------------------------------------------------------------

    def _step(self, step: int) -> None:
        left = self.step_s
        demand = [None if rates is None else rates[step % len(rates)] for rates in self.demand]
        while left > 0.0:
            left -= self._stride(step, left, demand)
        for t, value in enumerate(self.tank):
            self.made_of["level_m3"][t][step] = value
        for w, value in enumerate(self.well):
            self.made_of["well_m3"][w][step] = value
        for b, value in enumerate(self.charge):
            self.made_of["stored_c"][b][step] = value

    def _stride(self, step: int, left: float, demand: list[float | None]) -> float:
        made = self.made
        share = [w / most if most > _NONE else 1.0 for w, most in zip(self.well, self.most, strict=True)]
        for t, tank in enumerate(made.tanks):
            if self.tank_full[t] and self.tank[t] <= tank.restart_m3 + _NONE:
                self.tank_full[t] = False
        for w in range(len(made.wells)):
            if self.well_low[w] and self.well[w] >= self.well_restart[w] - _NONE:
                self.well_low[w] = False
        open_tanks = frozenset(
            t for t, tank in enumerate(made.tanks) if not (tank.float_valve and self.tank_full[t])
        )
        allowed, shut = self._allowed(open_tanks)
        stride = left
        flow: dict[int, float] = {}
        beyond: set[int] = set()
        into = [0.0] * len(made.tanks)
        lit_modes: list[tuple[int, Key, tuple[float, ...]]] = []
        for number, island in enumerate(self.ready.panels):
            place = island.place[step]
            ours = frozenset(n for n in island.pumps if n in allowed)
            levels = tuple(share[w] for w in island.wells)
            if place < 0:
                self.turning -= set(island.pumps)
                continue
            reach = frozenset(t for n in island.pumps for t in made.pumps[n].tanks) & open_tanks
            turning = self._turning(island, place, ours, reach, levels, step)
            key = (turning, ours - turning, reach)
            lit_modes.append((number, key, levels))
            if not turning:
                continue
            mode = island.mode(*key)
            for n in turning:
                flow[n] = max(0.0, _mixed(mode.flow[n], place, levels))
                if mode.beyond[n][place]:
                    beyond.add(n)
            for t, rows in mode.into.items():
                into[t] += max(0.0, _mixed(rows, place, levels))
        running: list[tuple[frozenset[int], Moment, float]] = []
        for b, bank in enumerate(self.ready.banks):
            on, limit = self._bank_on(b, bank, step, allowed, open_tanks)
            stride = min(stride, limit)
            moment = self._on_bank(b, bank, step, stride, on, open_tanks)
            running.append((on, moment, stride))
            for n in on - self.turning:
                self.made_of["started_of"][n][step] += 1.0
            self.turning = (self.turning - set(bank.pumps)) | on
            if not on:
                continue
            lines = bank.lines(on, self._reach(bank, open_tanks))
            for n in on:
                flow[n] = max(0.0, lines.flow[n].at(moment.bank_v))
                if bank.beyond(n, moment.bank_v):
                    beyond.add(n)
            for t, line in lines.into.items():
                into[t] += max(0.0, line.at(moment.bank_v))
        factor = self._held_by_wells(flow)
        dry = any(f < 1.0 - 1e-12 and not made.pumps[n].stops_when_low for n, f in factor.items())
        if any(f < 1.0 for f in factor.values()):
            total = sum(flow.values())
            flow = {n: q * factor[n] for n, q in flow.items()}
            kept = sum(flow.values()) / total if total > 0.0 else 0.0
            into = [rate * kept for rate in into]
        stride = self._until_a_float_acts(stride, flow, into, demand)
        for b, (bank, (on, moment, taken_s)) in enumerate(zip(self.ready.banks, running, strict=True)):
            # Over the stride as it came out, and before anything moves that it depends on.
            if stride < taken_s:
                moment = self._on_bank(b, bank, step, stride, on, open_tanks)
            self._book_bank(b, step, stride, moment, on, open_tanks)
        self._book(step, stride, flow, into, demand, dry=dry, beyond=beyond)
        for n in shut:
            if n not in flow:
                self.shut[step] = min(self.step_s, self.shut[step] + stride)
                break
        self._book_waiting(step, stride, allowed)
        for number, key, levels in lit_modes:
            self._book_mode(number, key, levels, step, stride)
        return stride

    def _allowed(self, open_tanks: frozenset[int]) -> tuple[set[int], set[int]]:
        """Pumps that no float stops; and those that only shut float valves keep from pumping."""
        allowed: set[int] = set()
        shut: set[int] = set()
        for n, pump in enumerate(self.made.pumps):
            if any(self.tank_full[t] for t in pump.stops_when_full):
                continue
            if pump.stops_when_low and self.well_low[pump.well]:
                continue
            (allowed if open_tanks.intersection(pump.tanks) else shut).add(n)
        return allowed, shut

    def _turning(
        self,
        island: PanelIsland,
        place: int,
        allowed: frozenset[int],
        open_tanks: frozenset[int],
        levels: tuple[float, ...],
        step: int,
    ) -> frozenset[int]:
        """Which of the pumps that are let turn do turn; those that turned before keep turning if they can."""
        before = frozenset(self.turning & set(island.pumps))
        turning = before & allowed
        failed: set[int] = set()
        for _ in range(2 * len(island.pumps) + 2):
            if not allowed:
                break
            mode = island.mode(turning, allowed - turning, open_tanks)
            stops = {n for n in turning if not _mixed(mode.run[n], place, levels) >= 0.0}
            starts = {n for n in allowed - turning - failed if mode.start[n][place] >= 0.0}
            if stops:
                # The one that is nearest to a stall goes first: the others then get its current.
                worst = min(stops, key=lambda n: (_mixed(mode.run[n], place, levels), n))
                turning -= {worst}
                failed.add(worst)
            elif starts:
                turning |= starts
            else:
                break
        for n in turning - before:
            self.made_of["started_of"][n][step] += 1.0
        self.turning = (self.turning - set(island.pumps)) | turning
        return turning

    def _held_by_wells(self, flow: dict[int, float]) -> dict[int, float]:
        """By how much a dry well cuts the flow of each pump: it gives no more than runs in."""
        factor = dict.fromkeys(flow, 1.0)
        for w in range(len(self.made.wells)):
            if not self.limited[w] or self.well[w] > _NONE:
                continue
            ours = [n for n in flow if self.made.pumps[n].well == w]
            drawn = sum(flow[n] for n in ours)
            if drawn > self.inflow[w]:
                factor |= dict.fromkeys(ours, self.inflow[w] / drawn)
        return factor

    def _until_a_float_acts(
        self, stride: float, flow: dict[int, float], into: list[float], demand: list[float | None]
    ) -> float:
        made = self.made
        for t, tank in enumerate(made.tanks):
            out = demand[t]
            if out is None:
                continue
            gain = into[t] - out
            if self.tank_full[t]:
                if gain < 0.0:
                    stride = min(stride, max((self.tank[t] - tank.restart_m3) / -gain, _MOMENT_S))
            elif tank.has_float and gain > 0.0:
                stride = min(stride, max((tank.stop_m3 - self.tank[t]) / gain, _MOMENT_S))
        for w in range(len(made.wells)):
            if not self.limited[w]:
                continue
            drawn = sum(q for n, q in flow.items() if made.pumps[n].well == w)
            gain = self.inflow[w] - drawn
            if self.well_low[w] and gain > 0.0:
                stride = min(stride, max((self.well_restart[w] - self.well[w]) / gain, _MOMENT_S))
            elif gain < 0.0 and self.well[w] > _NONE:
                stride = min(stride, max(self.well[w] / -gain, _MOMENT_S))
        return stride

    # -- keeping the books -------------------------------------------------------------------------

    def _book(
        self,
        step: int,
        stride: float,
        flow: dict[int, float],
        into: list[float],
        demand: list[float | None],
        *,
        dry: bool,
        beyond: set[int],
    ) -> None:
        made, books = self.made, self.made_of
        come_share = [1.0] * len(made.wells)
        for w, most in enumerate(self.most):
            if not self.limited[w]:
                continue
            drawn = sum(q for n, q in flow.items() if made.pumps[n].well == w) * stride
            fresh = self.well[w] + self.inflow[w] * stride - drawn
            if fresh < 0.0:  # the last moment drew more than stood there
                come_share[w] = 1.0 + fresh / drawn
                fresh = 0.0
            self.well[w] = min(most, fresh)
            if self.well[w] <= _NONE and drawn > 0.0:
                self.well_low[w] = any(made.pumps[n].stops_when_low for n in flow if made.pumps[n].well == w)
        pumped = 0.0
        for n, q in flow.items():
            if n in beyond:
                self.beyond[step] += q * stride * come_share[made.pumps[n].well]
            came = q * stride * come_share[made.pumps[n].well]
            pumped += came
            books["pump_m3"][n][step] += came
            books["run_s"][n][step] += stride
        wanted = sum(into) * stride
        kept = pumped / wanted if wanted > 0.0 else 1.0
        for t, tank in enumerate(made.tanks):
            came = into[t] * stride * kept
            books["into_m3"][t][step] += came
            out = demand[t]
            if out is None:
                continue
            level = self.tank[t] + came - out * stride
            if level < 0.0:
                books["lack_m3"][t][step] -= level
                level = 0.0
            elif level > tank.capacity_m3:
                books["over_m3"][t][step] += level - tank.capacity_m3
                level = tank.capacity_m3
            self.tank[t] = level
            if tank.has_float and level >= tank.stop_m3 - _NONE:
                self.tank_full[t] = True
        if dry:
            self.dry[step] += stride

    def _book_waiting(self, step: int, stride: float, allowed: set[int]) -> None:
        for n in range(len(self.made.pumps)):
            if n not in allowed:
                self.made_of["wait_s"][n][step] += stride
                self.turning.discard(n)

    def _book_mode(self, number: int, key: Key, levels: tuple[float, ...], step: int, stride: float) -> None:
        island = self.ready.panels[number]
        place = island.place[step]
        if not self.keeps_energy:
            return
        held = self.seconds[number]
        if key not in held:
            held[key] = [[0.0] * len(island.bright) for _ in range(1 + len(island.wells))]
        rows = held[key]
        rows[0][place] += stride
        for row, level in zip(rows[1:], levels, strict=True):
            row[place] += stride * level

    # -- banks -------------------------------------------------------------------------------------

    def _bank_on(
        self, b: int, bank: BankIsland, step: int, allowed: set[int], open_tanks: frozenset[int]
    ) -> tuple[frozenset[int], float]:
        """Pumps of a bank that run now, and for how long nothing of that changes [s].

        They are let by floats and by their disconnect, and able to turn. Moves the disconnects, by the volts
        of this very moment.
        """
        guards, charge = self.guard_off[b], self.charge[b]
        limit = float("inf")
        if any(guards):
            resting = self._moment(b, bank, step, 0.0, None)
            for g, guard in enumerate(bank.feed.guards):
                if guards[g] and resting.bank_v >= guard.restarts_above_v and self.off_s[b][g] >= _OFF_S:
                    guards[g] = False
            limit = self._until_back(bank, b, resting)
        let = frozenset(n for n in bank.pumps if n in allowed)
        while on := frozenset(n for n in let if not self._guarded(b, n)):
            lines = bank.lines(on, self._reach(bank, open_tanks))
            lines.at_levels(self._levels_of(bank))
            moment = self._moment(b, bank, step, 0.0, lines)
            if charge <= _NONE and moment.bank_a < 0.0:  # flat: nothing runs on what comes in alone
                return frozenset(), min(limit, _OFF_S)
            tripped = [
                g
                for g, guard in enumerate(bank.feed.guards)
                if any(self.made.pumps[n].guard == g for n in on)
                and self._at_guard_v(bank, g, moment, lines) < guard.stops_below_v
            ]
            for g in tripped:
                guards[g], self.off_s[b][g] = True, 0.0
                limit = min(limit, _OFF_S)
            let -= {n for n in on if not lines.back[n].at(moment.bank_v) > 0.0}
            if not tripped and on <= let:
                return on, min(limit, self._until_tripped(bank, b, moment, lines))
        return on, limit

    def _moment(self, b: int, bank: BankIsland, step: int, stride: float, lines: _BankLines | None) -> Moment:
        load = None if lines is None else lines.load
        moment = settle_bank(bank.store, bank.chargers, load, step, self.charge[b], stride, bank.last_v)
        bank.last_v = moment.bank_v
        return moment

    def _on_bank(
        self,
        b: int,
        bank: BankIsland,
        step: int,
        stride: float,
        on: frozenset[int],
        open_tanks: frozenset[int],
    ) -> Moment:
        """What settles on a bank over a stride with these pumps running."""
        lines = None
        if on:
            lines = bank.lines(on, self._reach(bank, open_tanks))
            lines.at_levels(self._levels_of(bank))
        return self._moment(b, bank, step, stride, lines)

    def _reach(self, bank: BankIsland, open_tanks: frozenset[int]) -> frozenset[int]:
        return frozenset(t for n in bank.pumps for t in self.made.pumps[n].tanks) & open_tanks

    def _levels_of(self, island: _Island) -> tuple[float, ...]:
        """How far the wells of an island stand between their stop level and their standing level."""
        return tuple(self.well[w] / self.most[w] if self.most[w] > _NONE else 1.0 for w in island.wells)

    def _guarded(self, b: int, n: int) -> bool:
        guard = self.made.pumps[n].guard
        return guard is not None and self.guard_off[b][guard]

    def _at_guard_v(self, bank: BankIsland, g: int, moment: Moment, lines: _BankLines) -> float:
        """Voltage at a disconnect with its pumps running [V]."""
        drawn = sum(
            line.at(moment.bank_v) for n, line in lines.amperes.items() if self.made.pumps[n].guard == g
        )
        return moment.bank_v - drawn * bank.feed.guards[g].wire_ohm

    def _until_tripped(self, bank: BankIsland, b: int, moment: Moment, lines: _BankLines) -> float:
        """How long until a falling voltage trips a disconnect, or the bank is empty [s]."""
        store = bank.store
        if moment.bank_a >= 0.0:
            return float("inf")
        falls = -moment.bank_a * (store.full_v - store.empty_v) / store.capacity_c  # volts a second
        until = [max(self.charge[b] / -moment.bank_a, _MOMENT_S)]
        for g, guard in enumerate(bank.feed.guards):
            if not self.guard_off[b][g] and falls > 0.0:
                over = self._at_guard_v(bank, g, moment, lines) - guard.stops_below_v
                until.append(max(over / falls, _BANK_MOMENT_S))
        return min(until)

    def _until_back(self, bank: BankIsland, b: int, moment: Moment) -> float:
        """How long until a disconnect can close again, as far as its voltage and its delay tell [s]."""
        store, limit = bank.store, float("inf")
        rises = (
            store.charge_share * max(0.0, moment.bank_a) * (store.full_v - store.empty_v) / store.capacity_c
        )
        for g, guard in enumerate(bank.feed.guards):
            if not self.guard_off[b][g]:
                continue
            lacks_v = guard.restarts_above_v - moment.bank_v
            if lacks_v > 0.0 and not rises > 0.0:
                continue
            until = max(lacks_v / rises if lacks_v > 0.0 else 0.0, _OFF_S - self.off_s[b][g])
            limit = min(limit, max(until, _BANK_MOMENT_S))
        return limit

    def _book_bank(
        self,
        b: int,
        step: int,
        stride: float,
        moment: Moment,
        on: frozenset[int],
        open_tanks: frozenset[int],
    ) -> None:
        made, bank = self.made, self.ready.banks[b]
        store, before = bank.store, self.charge[b]
        leak_a = store.leak_per_s * before
        back = store.charge_share if moment.bank_a > 0.0 else 1.0
        self.charge[b] = min(store.capacity_c, max(0.0, before + (back * moment.bank_a - leak_a) * stride))
        self.off_s[b] = [seconds + stride for seconds in self.off_s[b]]
        if any(self.guard_off[b]):
            self.made_of["bank_off_s"][b][step] += stride
        if not self.keeps_energy:
            return
        books = self.bank_j[b]
        for number, (charging, amperes) in enumerate(zip(bank.chargers, moment.could_a, strict=True)):
            charger, taken = charging.charger, amperes * moment.share
            if not taken > 0.0:
                continue
            at_once = taken
            if not charger.tracks:
                # A switch that is shut part of the time carries the whole current then.
                charging.current_a(step, moment.bank_v)
                at_once = sum(charging.array_a)
                wires = zip(charger.arrays, charging.array_a, strict=True)
                lost = sum(array.wire_ohm * current**2 for array, current in wires)
                books["panel wire"][step] += lost * taken / at_once * stride
            output_v = moment.bank_v + at_once * charger.bank_wire_ohm
            books["battery wire"][step] += at_once * taken * charger.bank_wire_ohm * stride
            books["charge controller"][step] += output_v * taken * (1.0 / charger.efficiency - 1.0) * stride
            self.input_w[b][number][step] += output_v * taken / charger.efficiency * stride / self.step_s
        over_v = moment.bank_v - moment.rest_v
        books["battery resistance"][step] += moment.bank_a * over_v * stride
        if moment.bank_a > 0.0:
            books["charge not given back"][step] += (
                (1.0 - store.charge_share) * moment.bank_a * moment.rest_v * stride
            )
        books["self-discharge"][step] += leak_a * moment.rest_v * stride
        books["put into the battery"][step] += store.energy_j(self.charge[b]) - store.energy_j(before)
        if not on:
            return
        lines = bank.lines(on, self._reach(bank, open_tanks))
        volts = moment.bank_v
        friction, lifted = lines.friction.at(volts), lines.lifted.at(volts)
        shaft = 0.0
        for n in on:
            pump, amperes = made.pumps[n], lines.amperes[n].at(volts)
            books["motor wire"][step] += amperes**2 * pump.lead_ohm * stride
            books["motor winding"][step] += amperes**2 * pump.fit.armature_ohm * stride
            shaft += lines.back[n].at(volts) * amperes
        books["pump friction and slip"][step] += (shaft - friction - lifted) * stride
        books["pipe friction"][step] += friction * stride
        books[LIFTED][step] += lifted * stride

    # -- energy ------------------------------------------------------------------------------------

    def _energy(self) -> Energy:
        names = (*LOSSES, *(name for name in BANK_PARTS if name not in LOSSES), LIFTED)
        if not self.ready.banks:
            names = (*LOSSES, LIFTED)
        parts = {name: np.zeros(self.steps) for name in names}
        sun = np.zeros(self.steps)
        for feed, suns in zip(self.made.feeds, self.ready.suns, strict=True):
            for array, its in zip(feed.every_array(), suns, strict=True):
                falls = array.rated_w / STANDARD_IRRADIANCE_W_M2 * its.plane_w_m2 * self.step_s
                sun += falls
                parts["shade and dirt"] += falls * (1.0 - array.light_share)
                parts["warm cells and low light"] += falls * array.light_share
        for number, island in enumerate(self.ready.panels):
            self._panel_energy(number, island, parts)
        for b, bank in enumerate(self.ready.banks):
            self._bank_energy(b, bank, parts)
        hourly = {name: joules.reshape(8760, -1).sum(axis=1) for name, joules in parts.items()}
        return Energy(sun.reshape(8760, -1).sum(axis=1), hourly)

    def _panel_energy(self, number: int, island: PanelIsland, parts: dict[str, Values]) -> None:
        here, most = island.bright, island.most_w
        parts["warm cells and low light"][here] -= most * self.step_s
        booked = np.zeros(len(here))
        for (turning, stalled, open_tanks), rows in self.seconds[number].items():
            seconds = np.array(rows[0])
            booked += seconds
            if not turning and not stalled:
                able = self._could_start(island)
                parts["pump stopped by a float"][here] += np.where(able, most, 0.0) * seconds
                parts["too little light to turn the pump"][here] += np.where(able, 0.0, most) * seconds
                continue
            listed = island.mode(turning, stalled, open_tanks)
            weights = [seconds - np.sum(rows[1:], axis=0), *(np.array(row) for row in rows[1:])]
            rest = "light not taken up" if turning else "too little light to turn the pump"
            for mode, weight in zip(listed.modes, weights, strict=True):
                parts[rest][here] += (most - mode.parts_w["taken"]) * weight
                for name, watts in mode.parts_w.items():
                    if name != "taken":
                        parts[name][here] += watts * weight
        parts["light not taken up"][here] += most * (self.step_s - booked)

    def _could_start(self, island: PanelIsland) -> NDArray[np.bool_]:
        """Light in which some pump of an island would start if no float held it."""
        tanks = frozenset(t for n in island.pumps for t in self.made.pumps[n].tanks)
        mode = island.mode(frozenset(), frozenset(island.pumps), tanks)
        return np.asarray(np.max(list(mode.start.values()), axis=0) >= 0.0)

    def _bank_energy(self, b: int, bank: BankIsland, parts: dict[str, Values]) -> None:
        books = {name: np.array(row) for name, row in self.bank_j[b].items()}
        for name, joules in books.items():
            parts[name] += joules
        for number, (charging, panels) in enumerate(zip(bank.chargers, bank.panels, strict=True)):
            most = panels.maximum_w() * np.array(charging.lit)
            parts["warm cells and low light"] -= most * self.step_s
            input_w = np.array(self.input_w[b][number])
            if charging.charger.tracks:
                # Throttled, it works at a higher voltage than the best one.
                volts, _ = panels.current_for_power(input_w, panels.maximum()[0])
                given, lost = panels.given_w(volts)
                on = input_w > 0.0
                taken = np.where(on, given, 0.0)
                parts["panel wire"] += np.where(on, lost, 0.0) * self.step_s
            else:
                taken = input_w + books["panel wire"] / self.step_s
            parts["light not taken up"] += (most - taken) * self.step_s


def _by_step(profile: tuple[float, ...], rate_m3_s: float, step_s: float) -> list[float]:
    """Draw from a tank in each step of a day [m³/s]."""
    if step_s > 3600.0:  # several hours in one step
        many = round(step_s / 3600.0)
        hours = [sum(profile[first : first + many]) / many for first in range(0, 24, many)]
        return [share * 24.0 * rate_m3_s for share in hours]
    return [share * 24.0 * rate_m3_s for share in profile for _ in range(round(3600.0 / step_s))]
