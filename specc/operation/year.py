"""The year of a job: light, settled states, running, water, energy, and the twelve months of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from specc.operation.energy import Energy, balance
from specc.operation.operating import Points, boosted, pv_direct
from specc.operation.panel import Curve, array_curve, cell_k
from specc.operation.plant import NotWorkedOut, Plant, Range
from specc.operation.running import BankStates, Running, on_a_bank, through_the_year
from specc.operation.sun import DAY_S, Values
from specc.operation.weather import DAYS_OF_MONTH, MONTH_OF_DAY, SunYear

BAD_DAY: Final = 10.0  # percentile of the days of a month that stands for a bad day
GOOD_DAY: Final = 90.0
_SHORT_SHARE: Final = 0.01  # a day is short when more than this share of its demand is lacking
_NEAR_TABLE: Final = 0.05  # this far outside its rows a data sheet is still believed


@dataclass(frozen=True)
class Lit:
    """A plant in the light of a year: the panels' curve, light and cell temperature in each step."""

    sun: SunYear
    light_w_m2: Values
    cell_k: Values
    curve: Curve


@dataclass(frozen=True)
class DaySpan:
    """When the pump first and last turns on a day, minutes after midnight; None where it never does."""

    first_min: float | None
    last_min: float | None


@dataclass(frozen=True)
class Month:
    """One month; water is what pump and well can bring with room in the tank, a day [m³].

    ``low_m3`` and ``high_m3`` are the mean day with the inflow at the ends of its range.
    """

    number: int
    sun_h: float
    water_m3: float
    bad_day_m3: float
    good_day_m3: float
    low_m3: float
    high_m3: float
    plain_m3: float | None  # without the booster, None where the job has none
    demand_m3: float | None
    run_h: float
    starts: float
    clear: DaySpan
    dull: DaySpan
    lowest_tank_m3: float | None
    days_short: int | None
    most_days_short: int | None  # least inflow, greatest demand
    overflow_m3: float


@dataclass(frozen=True)
class WaterYear:
    """A year of water. Arrays: ``daily_*`` have 365 values, ``tank_m3`` one an hour."""

    plant: Plant
    origin: str
    months: tuple[Month, ...]
    daily_m3: Values
    daily_plain_m3: Values | None
    tank_m3: Values | None
    energy: Energy | None
    beyond_table_share: float  # of the water, lifted outside the rows of the data sheet
    dry_h: float  # hours in which the pump drew air, no float in the well
    notes: tuple[str, ...]

    @property
    def total_m3(self) -> float:
        """Water that the year could bring [m³]."""
        return float(self.daily_m3.sum())

    @property
    def days_short(self) -> int | None:
        """Days on which the tank gave less than the demand."""
        if self.tank_m3 is None:
            return None
        return sum(month.days_short or 0 for month in self.months)


def lit(plant: Plant, sun: SunYear) -> Lit:
    """The panels in the light of a year, shade and dirt taken off."""
    light = sun.plane_w_m2 * plant.light_share
    cells = cell_k(sun.air_k, light, sun.wind_m_s, plant.module.label.noct_k)
    return Lit(sun, light, cells, array_curve(plant.module, plant.series, plant.parallel, light, cells))


def settled(plant: Plant, light: Lit, static_m: float) -> Points:
    """Where everything settles in each step, with the water at one level; at rest where it is dark.

    Raises ``NotWorkedOut`` where the pump cannot lift to this height.
    """
    try:
        pump = plant.curve(static_m)
    except ValueError as outside:
        raise NotWorkedOut(f"{plant.pump_tag}: {outside}") from None
    bright = np.flatnonzero(light.light_w_m2 > 0.0)
    curve = light.curve.at(bright)
    start_a = max(plant.start_a, float(pump.current_a[0]))
    if plant.booster is None:
        found = pv_direct(curve, pump, plant.panel_wire_ohm + plant.motor_wire_ohm, plant.rest_ohm, start_a)
    else:
        found = boosted(
            curve,
            pump,
            plant.booster,
            plant.panel_wire_ohm,
            plant.motor_wire_ohm,
            plant.rest_ohm,
            start_a,
        )
    steps = len(light.light_w_m2)

    def spread(name: str) -> Values:
        dark = -np.inf if name.startswith("can_") else 0.0
        values = np.full(steps, dark)
        values[bright] = getattr(found, name)
        return values

    made = Points(**{name: spread(name) for name in Points.__dataclass_fields__})
    # Margins are mixed between two levels of the water, which minus infinity does not stand.
    return replace(
        made,
        can_run=np.maximum(made.can_run, -1e12),
        can_start=np.maximum(made.can_start, -1e12),
        can_lift=np.maximum(made.can_lift, -1e12),
    )


@dataclass(frozen=True)
class Settled:
    """A plant's states at the stop level and the standing level of the water, ready to run."""

    plant: Plant
    light: Lit
    low: Points | None
    high: Points | None
    bank: BankStates | None

    def run(self, inflow_m3_s: float | None, demand_m3_s: float | None) -> Running:
        plant, step_s = self.plant, self.light.sun.step_s
        if plant.bank is not None and self.bank is not None:
            return on_a_bank(self.bank, plant.bank, plant.well, plant.tank, inflow_m3_s, demand_m3_s, step_s)
        assert self.low is not None
        assert self.high is not None
        return through_the_year(self.low, self.high, plant.well, plant.tank, inflow_m3_s, demand_m3_s, step_s)


def settle(plant: Plant, sun: SunYear) -> Settled:
    """Every state that the year needs, worked out once."""
    light = lit(plant, sun)
    if plant.bank is not None:
        return Settled(plant, light, None, None, _bank_states(plant, light))
    low = settled(plant, light, plant.static_low_m)
    same = plant.static_low_m == plant.static_high_m
    return Settled(plant, light, low, low if same else settled(plant, light, plant.static_high_m), None)


def _bank_states(plant: Plant, light: Lit) -> BankStates:
    bank = plant.bank
    assert bank is not None
    wired = light.curve.with_series(plant.panel_wire_ohm)
    peak_v, peak_a = wired.maximum() if bank.tracks else (np.zeros(1), np.zeros(1))

    def charge(rest_v: float) -> Values:
        bright = light.light_w_m2 > 0.0
        amperes = wired.with_series(bank.wire_ohm + bank.inner_ohm).current_a(rest_v)
        if bank.tracks:
            amperes = peak_v * peak_a / rest_v
        got = np.where(bright, np.maximum(amperes, 0.0) * bank.charge_efficiency, 0.0)
        return np.minimum(got, bank.charge_limit_a)

    def pump(rest_v: float) -> tuple[tuple[float, float], tuple[float, float]]:
        made = []
        for static_m in (plant.static_low_m, plant.static_high_m):
            try:
                curve = plant.curve(static_m)
            except ValueError as outside:
                raise NotWorkedOut(f"{plant.pump_tag}: {outside}") from None
            volts = curve.voltage_v + curve.current_a * (plant.motor_wire_ohm + bank.inner_ohm)
            position = np.interp(rest_v, volts, np.arange(len(volts)), left=np.nan)
            if np.isnan(position):
                made.append((0.0, 0.0))
            else:
                at = np.array([position])
                made.append(
                    (float(curve.at(curve.flow_m3_s, at)[0]), float(curve.at(curve.current_a, at)[0]))
                )
        return made[0], made[1]

    return BankStates(charge(bank.empty_v), charge(bank.full_v), pump(bank.empty_v), pump(bank.full_v))


def without_booster(plant: Plant) -> Plant:
    """The same panels straight on the motor, wired for its voltage: as many in series as its class needs."""
    total = plant.series * plant.parallel
    wanted = max(1, min(total, round(plant.motor_nominal_v / (plant.module.label.vmp_v / 1.5))))
    series = wanted if total % wanted == 0 or plant.parallel > 1 else _nearest_divisor(total, wanted)
    return replace(plant, booster=None, series=series, parallel=max(1, total // series))


def _nearest_divisor(total: int, wanted: int) -> int:
    """As many in series as can be with no panel left over, nearest to what is wanted."""
    divisors = [n for n in range(1, total + 1) if total % n == 0]
    return min(divisors, key=lambda n: (abs(n - wanted), n))


def water_year(plant: Plant, sun: SunYear) -> WaterYear:
    """The year of a plant under a sun.

    Raises ``NotWorkedOut`` where the pump cannot lift the water at all.
    """
    states = settle(plant, sun)
    inflow, demand = plant.well.inflow_m3_s, plant.tank.demand_m3_s
    free = states.run(_at(inflow, "nominal"), None)
    ranged = inflow is not None and inflow.low < inflow.high
    least = states.run(_at(inflow, "low"), None) if ranged else free
    most = states.run(_at(inflow, "high"), None) if ranged else free
    served = worst = None
    if demand is not None:
        served = states.run(_at(inflow, "nominal"), demand.nominal)
        wide = ranged or demand.low < demand.high
        worst = states.run(_at(inflow, "low"), demand.high) if wide else served
    plain = None
    plain_note: tuple[str, ...] = ()
    if plant.booster is not None:
        bare = without_booster(plant)
        plain_note = (
            f"Without the booster: the same panels, {bare.series} in series and {bare.parallel} in parallel, "
            "straight on the motor.",
        )
        try:
            plain = settle(bare, sun).run(_at(inflow, "nominal"), None)
        except NotWorkedOut as reason:
            plain_note = (f"Without the booster: not worked out ({reason}).",)
    shown = served if served is not None else free
    months = tuple(
        _month(number, days, plant, states, (free, least, most), plain, served, worst)
        for number, days in enumerate(_months_of_days(), 1)
    )
    hour = round(3600.0 / sun.step_s)
    return WaterYear(
        plant=plant,
        origin=sun.origin,
        months=months,
        daily_m3=_daily(free.pumped_m3),
        daily_plain_m3=None if plain is None else _daily(plain.pumped_m3),
        tank_m3=None if served is None else served.tank_m3[hour - 1 :: hour],
        energy=balance(plant, states.light.sun, states.light.curve, states.low, states.high, shown)
        if states.low is not None and states.high is not None
        else None,
        beyond_table_share=_beyond(plant, states, free),
        dry_h=float(free.dry_s.sum()) / 3600.0,
        notes=plain_note,
    )


def _at(given: Range | None, end: str) -> float | None:
    return None if given is None else float(getattr(given, end))


def _months_of_days() -> Iterator[slice]:
    first = 0
    for count in DAYS_OF_MONTH:
        yield slice(first, first + count)
        first += count


def _daily(values: Values) -> Values:
    return np.asarray(values.reshape(365, -1).sum(axis=1))


def _month(
    number: int,
    days: slice,
    plant: Plant,
    states: Settled,
    free: tuple[Running, Running, Running],
    plain: Running | None,
    served: Running | None,
    worst: Running | None,
) -> Month:
    sun = states.light.sun
    light = _daily(sun.plane_w_m2)[days] * sun.step_s / 3600.0 / 1000.0
    water = _daily(free[0].pumped_m3)[days]
    shown = served if served is not None else free[0]
    clear, dull = (_day_near(light, percent) + days.start for percent in (GOOD_DAY, BAD_DAY))
    a_day = round(DAY_S / sun.step_s)
    stretch = slice(days.start * a_day, days.stop * a_day)
    demand = plant.tank.demand_m3_s
    return Month(
        number=number,
        sun_h=float(light.mean()),
        water_m3=float(water.mean()),
        bad_day_m3=float(np.percentile(water, BAD_DAY)),
        good_day_m3=float(np.percentile(water, GOOD_DAY)),
        low_m3=float(_daily(free[1].pumped_m3)[days].mean()),
        high_m3=float(_daily(free[2].pumped_m3)[days].mean()),
        plain_m3=None if plain is None else float(_daily(plain.pumped_m3)[days].mean()),
        demand_m3=None if demand is None else demand.nominal * DAY_S,
        run_h=float(_daily(shown.run_s * (shown.pumped_m3 > 0.0))[days].mean()) / 3600.0,
        starts=float(_daily(shown.started)[days].mean()),
        clear=_span(states, shown if states.low is None else free[0], clear),
        dull=_span(states, shown if states.low is None else free[0], dull),
        lowest_tank_m3=None if served is None else float(served.tank_m3[stretch].min()),
        days_short=_short_days(served, days, None if demand is None else demand.nominal),
        most_days_short=_short_days(worst, days, None if demand is None else demand.high),
        overflow_m3=float(_daily(shown.overflow_m3)[days].sum()),
    )


def _day_near(light: Values, percent: float) -> int:
    """The day whose light is nearest to a percentile of the month's."""
    return int(np.argmin(np.abs(light - np.percentile(light, percent))))


def _short_days(run: Running | None, days: slice, demand_m3_s: float | None) -> int | None:
    if run is None or demand_m3_s is None:
        return None
    return int(np.count_nonzero(_daily(run.short_m3)[days] > _SHORT_SHARE * demand_m3_s * DAY_S))


def _span(states: Settled, run: Running, day: int) -> DaySpan:
    """First and last minute of pumping on a day with room in the tank."""
    sun = states.light.sun
    many = sun.steps_a_day
    here = slice(day * many, (day + 1) * many)
    if states.low is None or states.high is None:
        turned = np.flatnonzero(run.run_s[here] > 0.0)
        if not len(turned):
            return DaySpan(None, None)
        return DaySpan(float(turned[0]) * sun.step_s / 60.0, float(turned[-1] + 1) * sun.step_s / 60.0)
    level = run.level[here]
    start = states.low.can_start[here] + level * (states.high.can_start[here] - states.low.can_start[here])
    keep = states.low.can_run[here] + level * (states.high.can_run[here] - states.low.can_run[here])
    lift = states.low.can_lift[here] + level * (states.high.can_lift[here] - states.low.can_lift[here])
    running, lifting = False, []
    for step in range(many):
        running = bool(keep[step] >= 0.0) if running else bool(start[step] >= 0.0)
        if running and lift[step] >= 0.0:
            lifting.append(step)
    if not lifting:
        return DaySpan(None, None)
    begins = np.minimum(start, lift)
    return DaySpan(_crossing(begins, lifting[0], -1, sun.step_s), _crossing(lift, lifting[-1], 1, sun.step_s))


def _crossing(margin: Values, step: int, towards: int, step_s: float) -> float:
    """Minute at which a margin passes zero between a step and its neighbour, by a straight line."""
    at = (step + 0.5) * step_s / 60.0
    other = step + towards
    if not 0 <= other < len(margin) or margin[other] >= 0.0 or margin[other] <= -1e11:
        return at
    share = margin[step] / (margin[step] - margin[other])
    return float(at + towards * share * step_s / 60.0)


def _beyond(plant: Plant, states: Settled, run: Running) -> float:
    """Share of the water that is lifted at volts or heads that the data sheet does not cover."""
    total = float(run.pumped_m3.sum())
    if not total > 0.0:
        return 0.0
    if states.low is None:
        bank = plant.bank
        assert bank is not None
        near = 1.0 + _NEAR_TABLE
        within = plant.pump.lowest_v / near <= bank.empty_v and bank.full_v <= plant.pump.highest_v * near
        return 0.0 if within else 1.0
    volts, heads = states.low.motor_v, states.low.head_m
    near = 1.0 + _NEAR_TABLE
    outside = (volts < plant.pump.lowest_v / near) | (volts > plant.pump.highest_v * near)
    outside |= heads > plant.pump.highest_head_m * near
    return float(run.pumped_m3[outside].sum()) / total


__all__ = ["MONTH_OF_DAY", "Month", "WaterYear", "settle", "water_year", "without_booster"]
