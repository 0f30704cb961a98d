"""The year of a job: light, settled states, running, water, energy, and the twelve months of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from specc.operation.energy import Energy, balance
from specc.operation.installation import Array, Bus, Feed, Installation, Store, Works
from specc.operation.motor import PumpFit
from specc.operation.operating import Points, boosted, pv_direct
from specc.operation.panel import Curve, Module, array_curve, cell_k
from specc.operation.plant import NotWorkedOut, Plant, Range, Tank
from specc.operation.running import Running, through_the_year
from specc.operation.sun import DAY_S, Values
from specc.operation.together import Ran, Together, bring_together
from specc.operation.weather import DAYS_OF_MONTH, SunYear

BAD_DAY: Final = 10.0  # percentile of the days of a month that stands for a bad day
GOOD_DAY: Final = 90.0
_SHORT_SHARE: Final = 0.01  # a day is short when more than this share of its demand is lacking
_CLOSE_UP_S: Final = 120.0  # steps in which the first and last minute of several pumps are looked for

# The sun of a job: on its panels, or for each feed on each of its arrays, where these face apart.
Sky = SunYear | tuple[tuple[SunYear, ...], ...]


@dataclass(frozen=True)
class Lit:
    """A plant in the light of a year: the panels' curve, light and cell temperature in each step."""

    sun: SunYear
    light_w_m2: Values
    cell_k: Values
    curve: Curve


@dataclass(frozen=True)
class DaySpan:
    """When the first pump first and the last one last turns on a day, minutes after midnight; or never."""

    first_min: float | None
    last_min: float | None


@dataclass(frozen=True)
class Month:
    """One month; water is what pumps and sources can bring with room in the tanks, a day [m³].

    ``low_m3`` and ``high_m3`` are the mean day with the inflow at the ends of its range. ``clear`` and
    ``dull`` are None for pumps on a battery, which no light starts.
    """

    number: int
    sun_h: float
    water_m3: float
    bad_day_m3: float
    good_day_m3: float
    low_m3: float
    high_m3: float
    plain_m3: float | None  # without the boosters, None where the job has none
    demand_m3: float | None
    run_h: float
    starts: float
    clear: DaySpan | None
    dull: DaySpan | None
    lowest_tank_m3: float | None
    days_short: int | None
    most_days_short: int | None  # least inflow, greatest demand
    overflow_m3: float


@dataclass(frozen=True)
class TankMonth:
    """One month of one tank, a day [m³]: what runs in and what is got of the demand, at worst too.

    At worst: least inflow, greatest demand.
    """

    number: int
    into_m3: float
    demand_m3: float | None
    got_m3: float | None
    most_demand_m3: float | None
    least_got_m3: float | None
    lowest_m3: float | None
    days_short: int | None
    most_days_short: int | None
    overflow_m3: float


@dataclass(frozen=True)
class TankYear:
    """A tank through the year; ``level_m3`` one value an hour, None without a demand."""

    tank: Tank
    level_m3: Values | None
    months: tuple[TankMonth, ...]


@dataclass(frozen=True)
class PumpMonth:
    """What a pump lifts with room in the tanks [m³ a day]; how long it runs, and starts, with the floats."""

    number: int
    water_m3: float
    run_h: float
    starts: float


@dataclass(frozen=True)
class PumpYear:
    """A pump through the year."""

    tag: str
    fit: PumpFit
    months: tuple[PumpMonth, ...]


@dataclass(frozen=True)
class BankYear:
    """A battery through the year: charge as a share of its capacity at each hour; hours off by month."""

    store: Store
    share: Values
    off_h: tuple[float, ...]  # a day, held off by the low-voltage disconnect


@dataclass(frozen=True)
class WaterYear:
    """A year of water. ``daily_*`` have 365 values."""

    works: Works
    origin: str
    months: tuple[Month, ...]
    daily_m3: Values
    daily_plain_m3: Values | None
    tanks: tuple[TankYear, ...]
    pumps: tuple[PumpYear, ...]
    banks: tuple[BankYear, ...]
    energy: Energy | None
    beyond_table_share: float  # of the water, lifted outside the rows of the data sheet
    dry_h: float  # hours in which a pump drew air, no float in the well
    shut_h: float  # hours in which a pump was fed, but every way on was shut by a float valve
    notes: tuple[str, ...]

    @property
    def total_m3(self) -> float:
        """Water that the year could bring [m³]."""
        return float(self.daily_m3.sum())

    @property
    def days_short(self) -> int | None:
        """Days on which some tank gave less than its demand."""
        counts = [month.days_short for month in self.months if month.days_short is not None]
        return sum(counts) if counts else None


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
    low: Points
    high: Points

    @property
    def sun(self) -> SunYear:
        return self.light.sun

    def run(self, inflow_m3_s: float | None, demand_m3_s: float | None) -> Running:
        plant, step_s = self.plant, self.light.sun.step_s
        return through_the_year(self.low, self.high, plant.well, plant.tank, inflow_m3_s, demand_m3_s, step_s)


Ready = Settled | Together
Run = Running | Ran


def settle(works: Works, sun: Sky) -> Ready:
    """Every state that the year needs, worked out once (of an installation: when it is first met).

    Raises ``NotWorkedOut``.
    """
    if isinstance(works, Installation):
        return bring_together(works, _suns(works, sun))
    assert isinstance(sun, SunYear)
    light = lit(works, sun)
    low = settled(works, light, works.static_low_m)
    same = works.static_low_m == works.static_high_m
    return Settled(works, light, low, low if same else settled(works, light, works.static_high_m))


def _suns(made: Installation, sky: Sky) -> tuple[tuple[SunYear, ...], ...]:
    if isinstance(sky, SunYear):
        return tuple(tuple(sky for _ in feed.every_array()) for feed in made.feeds)
    return sky


def run_year(ready: Ready, inflow: str, demand: str | None, *, energy: bool = False) -> Run:
    """The year with every inflow, and every demand, at one end of its range: "low", "nominal" or "high".

    demand: None for tanks that are never full.
    """
    if isinstance(ready, Settled):
        plant = ready.plant
        wanted = None if demand is None else _at(plant.tank.demand_m3_s, demand)
        return ready.run(_at(plant.well.inflow_m3_s, inflow), wanted)
    return ready.run(
        [_at(well.inflow_m3_s, inflow) for well in ready.made.wells],
        [None if demand is None else _at(tank.demand_m3_s, demand) for tank in ready.made.tanks],
        energy=energy,
    )


def without_booster(plant: Plant) -> Plant:
    """The same panels straight on the motor, wired for its voltage: as many in series as its class needs."""
    series, parallel = _for_motor(
        plant.module, plant.series * plant.parallel, plant.parallel, plant.motor_nominal_v
    )
    return replace(plant, booster=None, series=series, parallel=parallel)


def without_boosters(made: Installation) -> Installation:
    """The same panels straight on the motors: pumps of a feed on one bus, wired for the highest of them."""
    feeds: list[Feed] = []
    buses: list[Bus] = []
    bus_of: dict[int, int] = {}
    for number, feed in enumerate(made.feeds):
        ours = [n for n, bus in enumerate(made.buses) if bus.feed == number]
        volts = max(pump.nominal_v for pump in made.pumps if pump.bus in ours)
        bus_of |= dict.fromkeys(ours, len(buses))
        wire = made.buses[ours[0]].wire_ohm if len(ours) == 1 else 0.0
        buses.append(Bus(number, wire))
        feeds.append(replace(feed, arrays=tuple(_restrung(array, volts) for array in feed.arrays)))
    apart = [made.buses[pump.bus].wire_ohm for pump in made.pumps]
    alone = [sum(1 for bus in made.buses if bus.feed == made.buses[p.bus].feed) == 1 for p in made.pumps]
    pumps = tuple(
        replace(pump, bus=bus_of[pump.bus], lead_ohm=pump.lead_ohm + (0.0 if one else wire))
        for pump, wire, one in zip(made.pumps, apart, alone, strict=True)
    )
    return replace(made, pumps=pumps, buses=tuple(buses), feeds=tuple(feeds))


def _restrung(array: Array, volts: float) -> Array:
    series, parallel = _for_motor(array.module, array.series * array.parallel, array.parallel, volts)
    return replace(array, series=series, parallel=parallel)


def _for_motor(module: Module, total: int, parallel: int, volts: float) -> tuple[int, int]:
    wanted = max(1, min(total, round(volts / (module.label.vmp_v / 1.5))))
    series = wanted if total % wanted == 0 or parallel > 1 else _nearest_divisor(total, wanted)
    return series, max(1, total // series)


def _nearest_divisor(total: int, wanted: int) -> int:
    """As many in series as can be with no panel left over, nearest to what is wanted."""
    divisors = [n for n in range(1, total + 1) if total % n == 0]
    return min(divisors, key=lambda n: (abs(n - wanted), n))


def water_year(works: Works, sun: Sky) -> WaterYear:
    """The year of a job under a sun. Raises ``NotWorkedOut`` where some part of it is not worked out."""
    return year_of(works, settle(works, sun), sun)


def year_of(works: Works, ready: Ready, sun: Sky) -> WaterYear:
    """As ``water_year``, with what has settled already."""
    first = sun if isinstance(sun, SunYear) else sun[0][0]
    free = run_year(ready, "nominal", None)
    ranged = any(w.inflow_m3_s is not None and w.inflow_m3_s.low < w.inflow_m3_s.high for w in works.wells)
    least = run_year(ready, "low", None) if ranged else free
    most = run_year(ready, "high", None) if ranged else free
    served = worst = None
    energy_free: Run | None = None
    demands = [tank.demand_m3_s for tank in works.tanks]
    if any(demands):
        served = run_year(ready, "nominal", "nominal", energy=True)
        wide = ranged or any(d is not None and d.high > d.low for d in demands)
        worst = run_year(ready, "low", "high") if wide else served
    elif isinstance(ready, Together):
        energy_free = run_year(ready, "nominal", None, energy=True)
    shown = served or energy_free or free
    plain, notes = _plain(works, sun)
    spans = _spans(ready, free, first, sun)
    months = tuple(
        _month(number, days, works, first, (free, least, most), plain, served, worst, spans)
        for number, days in enumerate(_months_of_days(), 1)
    )
    hour = round(3600.0 / first.step_s)
    return WaterYear(
        works=works,
        origin=first.origin,
        months=months,
        daily_m3=_daily(free.pumped_m3),
        daily_plain_m3=None if plain is None else _daily(plain.pumped_m3),
        tanks=tuple(
            TankYear(
                tank,
                None if served is None or tank.demand_m3_s is None else served.level_m3[n][hour - 1 :: hour],
                tuple(
                    _tank_month(number, days, tank, n, free, served, worst)
                    for number, days in enumerate(_months_of_days(), 1)
                ),
            )
            for n, tank in enumerate(works.tanks)
        ),
        pumps=tuple(
            PumpYear(tag, fit, tuple(_pump_months(n, free, shown))) for n, (tag, fit) in enumerate(works.fits)
        ),
        banks=_bank_years(ready, shown, hour),
        energy=_energy(ready, shown),
        beyond_table_share=_beyond(ready, free),
        dry_h=float(free.dry_s.sum()) / 3600.0,
        shut_h=float(shown.shut_s.sum()) / 3600.0 if isinstance(shown, Ran) else 0.0,
        notes=notes,
    )


def _energy(ready: Ready, shown: Run) -> Energy | None:
    if isinstance(ready, Settled):
        assert isinstance(shown, Running)
        return balance(ready.plant, ready.sun, ready.light.curve, ready.low, ready.high, shown)
    assert isinstance(shown, Ran)
    return shown.energy


def _plain(works: Works, sun: Sky) -> tuple[Run | None, tuple[str, ...]]:
    """The year without the boosters, and what that means."""
    if not works.boosted:
        return None, ()
    bare: Works = without_booster(works) if isinstance(works, Plant) else without_boosters(works)
    strings = (
        [f"{bare.series} in series and {bare.parallel} in parallel"]
        if isinstance(bare, Plant)
        else [
            f"{a.tag} {a.series} in series and {a.parallel} in parallel" for f in bare.feeds for a in f.arrays
        ]
    )
    motor = "motor" if len(works.fits) == 1 else "motors"
    said = f"Without the booster: the same panels, {'; '.join(strings)}, straight on the {motor}."
    try:
        return run_year(settle(bare, sun), "nominal", None), (said,)
    except NotWorkedOut as reason:
        return None, (f"Without the booster the year is not worked out: {reason}.",)


def _at(given: Range | None, end: str) -> float | None:
    return None if given is None else float(getattr(given, end))


def _months_of_days() -> Iterator[slice]:
    first = 0
    for count in DAYS_OF_MONTH:
        yield slice(first, first + count)
        first += count


def _daily(values: Values) -> Values:
    return np.asarray(values.reshape(365, -1).sum(axis=1))


Spans = Callable[[int], DaySpan | None]


def _month(
    number: int,
    days: slice,
    works: Works,
    sun: SunYear,
    free: tuple[Run, Run, Run],
    plain: Run | None,
    served: Run | None,
    worst: Run | None,
    spans: Spans,
) -> Month:
    light = _light_of_days(sun)[days]
    water = _daily(free[0].pumped_m3)[days]
    shown = served if served is not None else free[0]
    clear, dull = (_day_near(light, percent) + days.start for percent in (GOOD_DAY, BAD_DAY))
    a_day = round(DAY_S / sun.step_s)
    stretch = slice(days.start * a_day, days.stop * a_day)
    demands = [tank.demand_m3_s for tank in works.tanks]
    stated = [demand for demand in demands if demand is not None]
    alone = len(works.tanks) == 1
    return Month(
        number=number,
        sun_h=float(light.mean()),
        water_m3=float(water.mean()),
        bad_day_m3=float(np.percentile(water, BAD_DAY)),
        good_day_m3=float(np.percentile(water, GOOD_DAY)),
        low_m3=float(_daily(free[1].pumped_m3)[days].mean()),
        high_m3=float(_daily(free[2].pumped_m3)[days].mean()),
        plain_m3=None if plain is None else float(_daily(plain.pumped_m3)[days].mean()),
        demand_m3=sum(demand.nominal for demand in stated) * DAY_S if stated else None,
        run_h=float(_daily(shown.any_run_s)[days].mean()) / 3600.0,
        starts=float(_daily(shown.started)[days].mean()),
        clear=spans(clear),
        dull=spans(dull),
        lowest_tank_m3=float(served.level_m3[0][stretch].min()) if served is not None and alone else None,
        days_short=_short_days(served, days, demands, "nominal"),
        most_days_short=_short_days(worst, days, demands, "high"),
        overflow_m3=float(_daily(shown.overflow_m3)[days].sum()),
    )


def _light_of_days(sun: SunYear) -> Values:
    """Light on the panels, day by day [kWh/m²], which are peak sun hours."""
    return np.asarray(_daily(sun.plane_w_m2) * sun.step_s / 3600.0 / 1000.0)


def _tank_month(
    number: int, days: slice, tank: Tank, n: int, free: Run, served: Run | None, worst: Run | None
) -> TankMonth:
    demand = tank.demand_m3_s

    def got(run: Run | None, end: str) -> float | None:
        wanted = _at(demand, end)
        if run is None or wanted is None:
            return None
        return wanted * DAY_S - float(_daily(run.lack_m3[n])[days].mean())

    a_day = len(free.pumped_m3) // 365
    stretch = slice(days.start * a_day, days.stop * a_day)
    ends = ("nominal", "high")
    wanted = [None if demand is None else _at(demand, end) for end in ends]
    return TankMonth(
        number=number,
        into_m3=float(_daily(free.into_m3[n])[days].mean()),
        demand_m3=None if wanted[0] is None else wanted[0] * DAY_S,
        got_m3=got(served, "nominal"),
        most_demand_m3=None if wanted[1] is None else wanted[1] * DAY_S,
        least_got_m3=got(worst, "high"),
        lowest_m3=float(served.level_m3[n][stretch].min())
        if served is not None and demand is not None
        else None,
        days_short=_tank_short(served, days, n, wanted[0]),
        most_days_short=_tank_short(worst, days, n, wanted[1]),
        overflow_m3=float(_daily((served or free).over_m3[n])[days].sum()),
    )


def _pump_months(n: int, free: Run, shown: Run) -> Iterator[PumpMonth]:
    for number, days in enumerate(_months_of_days(), 1):
        run = shown.run_s[n] if isinstance(shown, Ran) else shown.any_run_s
        started = shown.started_of[n] if isinstance(shown, Ran) else shown.started
        yield PumpMonth(
            number,
            float(_daily(free.pump_m3[n])[days].mean()),
            float(_daily(run)[days].mean()) / 3600.0,
            float(_daily(started)[days].mean()),
        )


def _bank_years(ready: Ready, shown: Run, hour: int) -> tuple[BankYear, ...]:
    if isinstance(ready, Settled) or isinstance(shown, Running):
        return ()
    return tuple(
        BankYear(
            bank.store,
            shown.stored_c[n][hour - 1 :: hour] / bank.store.capacity_c,
            tuple(float(_daily(shown.bank_off_s[n])[days].mean()) / 3600.0 for days in _months_of_days()),
        )
        for n, bank in enumerate(ready.banks)
    )


def _day_near(light: Values, percent: float) -> int:
    """The day whose light is nearest to a percentile of the month's."""
    return int(np.argmin(np.abs(light - np.percentile(light, percent))))


def _short_days(run: Run | None, days: slice, demands: Sequence[Range | None], end: str) -> int | None:
    """Days on which some tank gave less than its demand."""
    if run is None or not any(demands):
        return None
    short = np.zeros(365, dtype=bool)
    for n, demand in enumerate(demands):
        if demand is not None:
            short |= _daily(run.lack_m3[n]) > _SHORT_SHARE * float(getattr(demand, end)) * DAY_S
    return int(np.count_nonzero(short[days]))


def _tank_short(run: Run | None, days: slice, n: int, demand_m3_s: float | None) -> int | None:
    if run is None or demand_m3_s is None:
        return None
    return int(np.count_nonzero(_daily(run.lack_m3[n])[days] > _SHORT_SHARE * demand_m3_s * DAY_S))


# -- the first and the last minute -------------------------------------------------------------------


def _spans(ready: Ready, free: Run, sun: SunYear, sky: Sky) -> Spans:
    """First and last minute of pumping on a day with room in the tanks."""
    if isinstance(ready, Settled):
        assert isinstance(free, Running)
        return lambda day: _span(ready, free, day)
    if ready.banks:
        return lambda day: None
    light = _light_of_days(sun)
    wanted = sorted(
        {
            _day_near(light[days], percent) + days.start
            for days in _months_of_days()
            for percent in (GOOD_DAY, BAD_DAY)
        }
    )
    close = _close_up(ready.made, sky, wanted)
    return lambda day: close[day]


def _close_up(made: Installation, sky: Sky, days: list[int]) -> dict[int, DaySpan]:
    """A few days in short steps, for the first and last minute of any pump."""
    suns = tuple(tuple(_some_days(sun, days) for sun in row) for row in _suns(made, sky))
    ready = bring_together(made, suns)
    inflows = [_at(well.inflow_m3_s, "nominal") for well in made.wells]
    lifted = ready.run(inflows, [None] * len(made.tanks)).pumped_m3.reshape(len(days), -1) > 0.0
    found = {}
    for day, row in zip(days, lifted, strict=True):
        at = np.flatnonzero(row)
        ends = (
            (None, None) if not len(at) else (at[0] * _CLOSE_UP_S / 60.0, (at[-1] + 1) * _CLOSE_UP_S / 60.0)
        )
        found[day] = DaySpan(*ends)
    return found


def _some_days(sun: SunYear, days: list[int]) -> SunYear:
    """These days in short steps, by straight lines between the steps of the year."""
    many = sun.steps_a_day
    finer = np.arange(_CLOSE_UP_S / 2.0, DAY_S, _CLOSE_UP_S)
    middles = (np.arange(many) + 0.5) * sun.step_s

    def of(values: Values) -> Values:
        by_day = values.reshape(-1, many)
        return np.concatenate([np.interp(finer, middles, by_day[day]) for day in days])

    return SunYear(sun.origin, _CLOSE_UP_S, of(sun.plane_w_m2), of(sun.air_k), of(sun.wind_m_s))


def _span(states: Settled, run: Running, day: int) -> DaySpan:
    sun = states.light.sun
    many = sun.steps_a_day
    here = slice(day * many, (day + 1) * many)
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


def _beyond(ready: Ready, run: Run) -> float:
    """Share of the water that is lifted at volts or heads that the data sheet does not cover."""
    total = float(run.pumped_m3.sum())
    if not total > 0.0:
        return 0.0
    if isinstance(ready, Settled):
        outside = ready.plant.pump.beyond(ready.low.motor_v, ready.low.head_m)
        return float(run.pumped_m3[outside].sum()) / total
    assert isinstance(run, Ran)
    return float(run.beyond_m3.sum()) / total
