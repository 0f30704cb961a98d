"""Charts of the year of water: the months, the tank, a clear and a dull day, the panels' curves."""

from __future__ import annotations

import math

from specc import units
from specc.documents.charts import Axis, Chart, Note, Series
from specc.documents.water_year import MONTHS
from specc.operation.day import ArrayCurves, Day, array_curves, clear_and_dull
from specc.operation.sun import Values
from specc.operation.weather import DAYS_OF_MONTH
from specc.operation.year import BankYear, Month, Ready, TankYear, WaterYear
from specc.system.system import System

_SHORT = tuple(name[:3] for name in MONTHS)
_WEEK_H = 7 * 24
_HOURS = tuple((float(hour), str(hour)) for hour in range(0, 25, 3))
_MONTH_STARTS = tuple((float(sum(DAYS_OF_MONTH[:number])), name) for number, name in enumerate(_SHORT))


def year_charts(system: System, year: WaterYear, ready: Ready) -> tuple[Chart, ...]:
    """Every chart that a year has, in the order of the packet."""
    us = system.job.units
    clear, dull = clear_and_dull(ready, tightest_month(year))
    tanks = [tank for tank in year.tanks if tank.level_m3 is not None]
    arrays = array_curves(year.works, ready)
    return (
        water_month(year, us),
        *(tank_level(tank, us, alone=len(year.tanks) == 1) for tank in tanks),
        *(bank_charge(bank, alone=len(year.banks) == 1) for bank in year.banks),
        clear_and_dull_day(clear, dull, us, by_battery=year.works.has_bank),
        *(panel_curve(curves, alone=len(arrays) == 1) for curves in arrays),
    )


def tightest_month(year: WaterYear) -> int:
    """The month (1 to 12) in which water is shortest against the demand, or shortest at all."""

    def plenty(month: Month) -> float:
        return month.water_m3 / month.demand_m3 if month.demand_m3 else month.water_m3

    return min(year.months, key=plenty).number


def water_month(year: WaterYear, us: str) -> Chart:
    """Water a day by month, between a bad and a good day, against the demand."""

    def shown(value: float | None) -> float:
        return math.nan if value is None else units.to_display(value, "volume", us)

    places = tuple(float(n) for n in range(12))
    months = year.months
    series = [
        Series("water a day, mean", "bars", places, tuple(shown(m.water_m3) for m in months)),
        Series(
            "good day (9 in 10 bring less)",
            "points",
            places,
            tuple(shown(m.good_day_m3) for m in months),
            style=2,
        ),
        Series(
            "bad day (1 in 10 brings less)",
            "points",
            places,
            tuple(shown(m.bad_day_m3) for m in months),
            style=3,
        ),
    ]
    if all(m.plain_m3 is not None for m in months):
        without = tuple(shown(m.plain_m3) for m in months)
        series.insert(1, Series("without the booster", "bars", places, without, style=1))
    if all(m.demand_m3 is not None for m in months):
        demand = tuple(shown(m.demand_m3) for m in months)
        edges = (-0.5, *(n + 0.5 for n in range(12)))
        series.append(Series("demand", "step", edges, (*demand, demand[-1]), style=1))
    return Chart(
        "water-month",
        "Water a day, month by month",
        Axis("month", names=_SHORT),
        Axis(f"water a day, {units.unit_label('volume', us)}", low=0.0),
        tuple(series),
        remarks=(f"What pump and source can bring while the tank has room. Sun: {year.origin}.",),
    )


def _by_week(hourly: Values) -> tuple[tuple[float, ...], list[Values]]:
    """Days in the middle of each week, and the hours of each; the first and last reach to the year's ends."""
    weeks = [hourly[start : start + _WEEK_H] for start in range(0, len(hourly) - _WEEK_H + 1, _WEEK_H)]
    days = tuple((number + 0.5) * 365.0 / len(weeks) for number in range(len(weeks)))
    return (0.0, *days[1:-1], 365.0), weeks


def tank_level(year: TankYear, us: str, *, alone: bool) -> Chart:
    """A tank through the year: the least and the most that it holds in each week."""
    assert year.level_m3 is not None
    days, weeks = _by_week(year.level_m3)

    def shown(value: float) -> float:
        return units.to_display(value, "volume", us)

    full = shown(year.tank.stop_m3)
    lowest = int(year.level_m3.argmin())
    month, day = _date(lowest // 24)
    stops = "the float valve shuts" if year.tank.float_valve else "the float stops the pump"
    return Chart(
        "tank-level" if alone else f"tank-level-{year.tank.tag}",
        f"Water in {year.tank.tag} through the year",
        Axis("the first of each month", low=0.0, high=365.0, marks=_MONTH_STARTS),
        Axis(f"in the tank, {units.unit_label('volume', us)}", low=0.0),
        (
            Series(
                "least to most of each week",
                "band",
                days,
                tuple(shown(float(week.min())) for week in weeks),
                upper=tuple(shown(float(week.max())) for week in weeks),
            ),
            Series(stops if year.tank.has_float else "full", "line", (0.0, 365.0), (full, full), style=1),
        ),
        notes=(Note(f"lowest: {day} {_SHORT[month - 1]}", lowest / 24.0, shown(float(year.level_m3.min()))),),
    )


def bank_charge(bank: BankYear, *, alone: bool) -> Chart:
    """A battery through the year: the least and the most of its charge in each week."""
    days, weeks = _by_week(bank.share)
    lowest = int(bank.share.argmin())
    month, day = _date(lowest // 24)
    return Chart(
        "battery-charge" if alone else f"battery-charge-{bank.store.tag}",
        f"Charge of {bank.store.tag} through the year",
        Axis("the first of each month", low=0.0, high=365.0, marks=_MONTH_STARTS),
        Axis("charge, % of capacity", low=0.0, high=100.0),
        (
            Series(
                "least to most of each week",
                "band",
                days,
                tuple(100.0 * float(week.min()) for week in weeks),
                upper=tuple(100.0 * float(week.max()) for week in weeks),
            ),
        ),
        notes=(Note(f"lowest: {day} {_SHORT[month - 1]}", lowest / 24.0, 100.0 * float(bank.share.min())),),
    )


def _date(day: int) -> tuple[int, int]:
    """Month and day of the month of a day of the year, counted from 0."""
    for month, count in enumerate(DAYS_OF_MONTH, 1):
        if day < count:
            return month, day + 1
        day -= count
    raise ValueError("a year has 365 days")


_FROM_BEFORE = (
    "What the days before left in the battery counts: run low, it is charged first, the pump held off."
)


def clear_and_dull_day(clear: Day, dull: Day, us: str, *, by_battery: bool = False) -> Chart:
    """Power of the panels and flow on a clear and a dull day."""
    series: list[Series] = []
    for number, (word, day) in enumerate((("clear", clear), ("dull", dull))):
        hours = tuple(float(h) for h in day.hour)
        flow = tuple(units.to_display(float(q), "flow", us) for q in day.flow_m3_s)
        series += [
            Series(f"flow, {word} day", "line", hours, flow, style=number),
            Series(
                f"panels, {word} day",
                "line",
                hours,
                tuple(float(w) for w in day.panel_w),
                style=number + 2,
                right=True,
            ),
        ]
    return Chart(
        "clear-and-dull-day",
        f"A clear and a dull day in {MONTHS[clear.month - 1]}",
        Axis("hour, sun highest at 12", low=0.0, high=24.0, marks=_HOURS),
        Axis(f"flow, {units.unit_label('flow', us)}", low=0.0),
        tuple(series),
        right=Axis("most that the panels can give, W", low=0.0),
        remarks=(
            "The month in which water is shortest against the demand; the tank has room all day. Clear: 9 "
            "days in 10 have less light; dull: 1 in 10 has less.",
            *_dry(clear, dull),
            *((_FROM_BEFORE,) if by_battery else ()),
        ),
    )


def _dry(clear: Day, dull: Day) -> tuple[str, ...]:
    if dull.flow_m3_s.any():
        return ()
    return ("The dull day brings no water.",) if clear.flow_m3_s.any() else ("Neither day brings water.",)


def panel_curve(made: ArrayCurves, *, alone: bool) -> Chart:
    """An array's curves in several lights, the motors' line, and where they settle."""
    widest = max(float(curve.voltage_v[-1]) for curve in made.curves)
    series = [
        Series(
            f"panels in {curve.light_w_m2:.0f} W/m²" if number else "panels, by the light on them",
            "line",
            tuple(float(v) for v in curve.voltage_v),
            tuple(float(a) for a in curve.current_a),
            listed=number == 0,
        )
        for number, curve in enumerate(made.curves)
    ]
    notes = tuple(
        Note(f"{curve.light_w_m2:.0f} W/m²", 0.12 * widest, float(curve.current_a[0]), dot=False)
        for curve in made.curves
    )
    if made.motor_v is not None and made.motor_a is not None:
        seen = made.motor_v <= widest
        series.append(
            Series(
                f"{made.drives} with its wire",
                "line",
                tuple(float(v) for v in made.motor_v[seen]),
                tuple(float(a) for a in made.motor_a[seen]),
                style=1,
            )
        )
    at = [curve.settles for curve in made.curves if curve.settles is not None]
    if at:
        series.append(Series(made.settles, "points", tuple(v for v, _ in at), tuple(a for _, a in at)))
    return Chart(
        "panel-curve" if alone else f"panel-curve-{made.tag}",
        f"Panels {made.tag} and what they drive",
        Axis("volts at the panels, V", low=0.0, high=math.ceil(widest / 5.0) * 5.0),
        Axis("amperes, A", low=0.0),
        tuple(series),
        notes=notes,
        remarks=("Air 20 °C, light wind; the source drawn down.",),
    )
