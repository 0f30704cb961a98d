"""The pump, the well and the tank through a year, step by step, with their floats.

Within a step all rates are steady, so the moment at which a float acts is worked out, not stepped
to. Stretches in which the pump cannot turn are taken at one stride.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from specc.operation.operating import Points
from specc.operation.plant import Tank, Well
from specc.operation.sun import Values

_MOMENT_S: Final = 1.0  # no float acts twice within a second
_NONE: Final = 1e-12


@dataclass(frozen=True)
class Running:
    """What happened in each step: seconds, cubic metres; levels at the end of the step.

    ``level`` is where the well stood, 0 at the stop level to 1 at the standing level (mean while
    pumping). ``started`` counts starts. ``supplied_m3`` is what the demand got.
    """

    run_s: Values
    tank_wait_s: Values
    well_wait_s: Values
    pumped_m3: Values
    tank_m3: Values
    overflow_m3: Values
    short_m3: Values
    level: Values
    started: Values
    dry_s: Values  # drew the well down with no float to stop it

    @property
    def any_run_s(self) -> Values:
        """Seconds in which water is lifted."""
        return np.asarray(self.run_s * (self.pumped_m3 > 0.0))

    @property
    def pump_m3(self) -> tuple[Values, ...]:
        return (self.pumped_m3,)

    @property
    def into_m3(self) -> tuple[Values, ...]:
        return (self.pumped_m3,)

    @property
    def level_m3(self) -> tuple[Values, ...]:
        return (self.tank_m3,)

    @property
    def over_m3(self) -> tuple[Values, ...]:
        return (self.overflow_m3,)

    @property
    def lack_m3(self) -> tuple[Values, ...]:
        return (self.short_m3,)


def through_the_year(
    at_low: Points,
    at_high: Points,
    well: Well,
    tank: Tank,
    inflow_m3_s: float | None,
    demand_m3_s: float | None,
    step_s: float,
) -> Running:
    """A pump that runs when the sun lets it.

    at_low, at_high: states with the well at its stop level and at its standing level.
    inflow_m3_s: None for a limitless source. demand_m3_s: None for a tank that is never full.
    """
    steps = len(at_low.flow_m3_s)
    made = _blank(steps)
    run_s, tank_wait, well_wait = made["run_s"], made["tank_wait_s"], made["well_wait_s"]
    pumped, levels, starts = made["pumped_m3"], made["level"], made["started"]
    tanks, overflow, short, dry = made["tank_m3"], made["overflow_m3"], made["short_m3"], made["dry_s"]
    demand = _demand(tank, demand_m3_s, step_s)
    day = len(demand)
    q_low, q_high = at_low.flow_m3_s.tolist(), at_high.flow_m3_s.tolist()
    run_low, run_high = at_low.can_run.tolist(), at_high.can_run.tolist()
    start_low, start_high = at_low.can_start.tolist(), at_high.can_start.tolist()
    active = np.flatnonzero(np.maximum(at_low.can_run, at_high.can_run) >= 0.0).tolist()
    never_full = demand_m3_s is None
    full = tank.stop_m3 if tank.has_float else float("inf")
    roof, restart = tank.capacity_m3, tank.restart_m3
    limited = inflow_m3_s is not None
    inflow = inflow_m3_s or 0.0
    most = well.storage_m3 if limited else 1.0
    well_restart = min(well.restart_m * well.area_m2, most)
    stops_low = limited and well.has_float and most > _NONE
    v, w = (tank.capacity_m3 if full == float("inf") else full), most
    tank_waits = well_waits = running = False
    last = -1
    for step in active:
        if step > last + 1:
            v, w = _idle(
                last + 1, step, v, w, demand, step_s, inflow, most, limited, never_full, tanks, short
            )
            running = False
        last = step
        d = demand[step % day]
        left = step_s
        ran = waited_tank = waited_well = lifted = over = lacked = weighed = 0.0
        began = 0
        while left > 0.0:
            level = w / most if most > _NONE else 1.0
            if tank_waits and v <= restart + _NONE:
                tank_waits = False
            if well_waits and w >= well_restart - _NONE:
                well_waits = False
            margin = (
                run_low[step] + level * (run_high[step] - run_low[step])
                if running
                else start_low[step] + level * (start_high[step] - start_low[step])
            )
            q = 0.0
            airs = False
            stride = left
            if not margin >= 0.0:
                running = False
            elif tank_waits or well_waits:
                running = False
                if tank_waits and d > 0.0:
                    stride = min(stride, max((v - restart) / d, _MOMENT_S))
                if well_waits and inflow > 0.0:
                    stride = min(stride, max((well_restart - w) / inflow, _MOMENT_S))
                if tank_waits:
                    waited_tank += min(stride, left)
                else:
                    waited_well += min(stride, left)
            else:
                if not running:
                    running = True
                    began += 1
                q = q_low[step] + level * (q_high[step] - q_low[step])
                if limited and q > inflow:
                    if w > _NONE:
                        stride = min(stride, max(w / (q - inflow), _MOMENT_S))
                    else:
                        q = inflow
                        airs = not stops_low
                if not never_full and q > d:
                    stride = min(stride, max((full - v) / (q - d), _MOMENT_S))
            stride = min(stride, left)
            left -= stride
            if airs:
                dry[step] += stride
            if q > 0.0 or running:
                ran += stride
                weighed += level * stride
            come = q * stride
            if limited:
                fresh = w + inflow * stride - come
                if fresh < 0.0:  # the last moment drew more than stood there
                    come += fresh
                    fresh = 0.0
                w = fresh if fresh < most else most
            lifted += come
            if not never_full:
                v += come - d * stride
                if v < 0.0:
                    lacked -= v
                    v = 0.0
                elif v > roof:
                    over += v - roof
                    v = roof
                if running and v >= full - _NONE:
                    tank_waits, running = True, False
            if running and stops_low and w <= _NONE:
                well_waits, running = True, False
        run_s[step], tank_wait[step], well_wait[step] = ran, waited_tank, waited_well
        pumped[step], overflow[step], short[step], tanks[step] = lifted, over, lacked, v
        levels[step] = weighed / ran if ran > 0.0 else w / most if most > _NONE else 1.0
        starts[step] = began
    _idle(last + 1, steps, v, w, demand, step_s, inflow, most, limited, never_full, tanks, short)
    return Running(**made)


def _idle(
    first: int,
    end: int,
    v: float,
    w: float,
    demand: list[float],
    step_s: float,
    inflow: float,
    most: float,
    limited: bool,
    never_full: bool,
    tanks: Values,
    short: Values,
) -> tuple[float, float]:
    """The tank is drawn from and the well recovers while the pump rests from step ``first`` to ``end``."""
    if limited:
        w = min(most, w + inflow * (end - first) * step_s)
    if never_full:
        tanks[first:end] = v
        return v, w
    taken = [demand[step % len(demand)] * step_s for step in range(first, end)]
    for step, drawn in enumerate(taken, first):
        v -= drawn
        if v < 0.0:
            short[step] = -v
            v = 0.0
        tanks[step] = v
    return v, w


def _demand(tank: Tank, demand_m3_s: float | None, step_s: float) -> list[float]:
    """Draw from the tank in each step of a day [m³/s]."""
    an_hour = round(3600.0 / step_s)
    return [share * 24.0 * (demand_m3_s or 0.0) for share in tank.profile for _ in range(an_hour)]


def _blank(steps: int) -> dict[str, Values]:
    return {name: np.zeros(steps) for name in Running.__dataclass_fields__}
