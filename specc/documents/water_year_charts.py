"""Charts of the year of water: the months, the tank, a clear and a dull day, the panels' curves."""

from __future__ import annotations

import math

from specc import units
from specc.documents.charts import Axis, Chart, Note, Series
from specc.documents.water_year import MONTHS
from specc.operation.day import ArrayCurves, Day, array_curves, clear_and_dull
from specc.operation.weather import DAYS_OF_MONTH
from specc.operation.year import Month, Settled, WaterYear
from specc.system.system import System

_SHORT = tuple(name[:3] for name in MONTHS)
_WEEK_H = 7 * 24
_HOURS = tuple((float(hour), str(hour)) for hour in range(0, 25, 3))
_MONTH_STARTS = tuple((float(sum(DAYS_OF_MONTH[:number])), name) for number, name in enumerate(_SHORT))


def year_charts(system: System, year: WaterYear, states: Settled) -> tuple[Chart, ...]:
    """Every chart that a year has, in the order of the packet."""
    us = system.job.units
    clear, dull = clear_and_dull(states, tightest_month(year))
    tank = () if year.tank_m3 is None else (tank_level(year, us),)
    return (
        water_month(year, us),
        *tank,
        clear_and_dull_day(clear, dull, us),
        panel_curve(array_curves(year.plant, states), year),
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


def tank_level(year: WaterYear, us: str) -> Chart:
    """The tank through the year: the least and the most that it holds in each week."""
    assert year.tank_m3 is not None
    hours = len(year.tank_m3)
    weeks = [year.tank_m3[start : start + _WEEK_H] for start in range(0, hours - _WEEK_H + 1, _WEEK_H)]

    def shown(value: float) -> float:
        return units.to_display(value, "volume", us)

    # The first and last week reach to the ends of the year.
    days = tuple((number + 0.5) * 365.0 / len(weeks) for number in range(len(weeks)))
    days = (0.0, *days[1:-1], 365.0)
    full = shown(year.plant.tank.stop_m3)
    lowest = int(year.tank_m3.argmin())
    month, day = _date(lowest // 24)
    return Chart(
        "tank-level",
        f"Water in {year.plant.tank.tag} through the year",
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
            Series("the float stops the pump", "line", (0.0, 365.0), (full, full), style=1),
        ),
        notes=(Note(f"lowest: {day} {_SHORT[month - 1]}", lowest / 24.0, shown(float(year.tank_m3.min()))),),
    )


def _date(day: int) -> tuple[int, int]:
    """Month and day of the month of a day of the year, counted from 0."""
    for month, count in enumerate(DAYS_OF_MONTH, 1):
        if day < count:
            return month, day + 1
        day -= count
    raise ValueError("a year has 365 days")


def clear_and_dull_day(clear: Day, dull: Day, us: str) -> Chart:
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
            *(() if dull.flow_m3_s.any() else ("The dull day brings no water.",)),
        ),
    )


def panel_curve(made: ArrayCurves, year: WaterYear) -> Chart:
    """The array's curves in several lights, the motor's line, and where they settle."""
    plant = year.plant
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
                f"{plant.pump_tag} with its wire",
                "line",
                tuple(float(v) for v in made.motor_v[seen]),
                tuple(float(a) for a in made.motor_a[seen]),
                style=1,
            )
        )
    at = [curve.settles for curve in made.curves if curve.settles is not None]
    if at:
        word = "best power" if plant.bank is not None else "where it settles"
        series.append(Series(word, "points", tuple(v for v, _ in at), tuple(a for _, a in at)))
    return Chart(
        "panel-curve",
        f"Panels {plant.panel_tag} and what they drive",
        Axis("volts at the panels, V", low=0.0, high=math.ceil(widest / 5.0) * 5.0),
        Axis("amperes, A", low=0.0),
        tuple(series),
        notes=notes,
        remarks=("Air 20 °C, light wind; the source drawn down.",),
    )
