"""The year of water as a table, one row a month, with what was taken for granted as notes."""

from __future__ import annotations

from specc.documents.tables import Cell, Column, Table
from specc.operation.advice import Advice
from specc.operation.year import DaySpan, Month, WaterYear
from specc.system.system import System

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
_SHOWN_CHANGES = 3
_LIMITS = {
    "sun": "the sun (light on the panels)",
    "head": "the height to lift",
    "wire": "the wire",
    "pipe": "friction in the pipe",
    "well": "the source",
    "tank": "the tank",
}
_COLUMNS = (
    Column("month", "Month"),
    Column("sun_hours", "Peak sun hours a day", "number", "right", decimals=1),
    Column("water", "Water a day", "volume", "right", decimals=0),
    Column("bad_day", "Bad day", "volume", "right", decimals=0),
    Column("good_day", "Good day", "volume", "right", decimals=0),
    Column("least", "Water a day, least inflow", "volume", "right", decimals=0),
    Column("most", "Water a day, greatest inflow", "volume", "right", decimals=0),
    Column("plain", "Water a day without the booster", "volume", "right", decimals=0),
    Column("demand", "Demand a day", "volume", "right", decimals=0),
    Column("run", "Pumping a day", "time", "right", decimals=1),
    Column("starts", "Starts a day", "number", "right", decimals=1),
    Column("clear_day", "Pumps on a clear day"),
    Column("dull_day", "Pumps on a dull day"),
    Column("lowest_tank", "Lowest in the tank", "volume", "right", decimals=0),
    Column("days_short", "Days short", "count", "right"),
    Column("most_days_short", "Days short at worst", "count", "right"),
    Column("overflow", "Overflow in the month", "volume", "right", decimals=0),
)


def water_year(system: System, year: WaterYear, advice: Advice | None = None) -> Table:
    """The months of a year; a column that says nothing of this job (no booster, no range) is left out."""
    rows = tuple(_row(month) for month in year.months)
    ranged = any(m.low_m3 < m.high_m3 for m in year.months)
    unsaid = set() if ranged else {"least", "most"}
    if all(m.days_short == m.most_days_short for m in year.months):
        unsaid.add("most_days_short")
    if not any(m.overflow_m3 > 0.0 for m in year.months):
        unsaid.add("overflow")
    unsaid |= {c.key for c in _COLUMNS if all(row[c.key] is None for row in rows)}
    columns = tuple(column for column in _COLUMNS if column.key not in unsaid)
    return Table(
        "water-year",
        "Water through the year",
        columns,
        tuple({column.key: row[column.key] for column in columns} for row in rows),
        notes=(*_notes(system, year), *(advice_notes(system, advice) if advice else ())),
    )


def _row(month: Month) -> dict[str, Cell]:
    return {
        "month": MONTHS[month.number - 1],
        "sun_hours": month.sun_h,
        "water": month.water_m3,
        "bad_day": month.bad_day_m3,
        "good_day": month.good_day_m3,
        "least": month.low_m3,
        "most": month.high_m3,
        "plain": month.plain_m3,
        "demand": month.demand_m3,
        "run": month.run_h * 3600.0,
        "starts": month.starts,
        "clear_day": span_text(month.clear),
        "dull_day": span_text(month.dull),
        "lowest_tank": month.lowest_tank_m3,
        "days_short": month.days_short,
        "most_days_short": month.most_days_short,
        "overflow": month.overflow_m3,
    }


def span_text(span: DaySpan) -> str:
    """ "08:56-16:05", or "never"."""
    if span.first_min is None or span.last_min is None:
        return "never"
    return f"{_clock(span.first_min)}-{_clock(span.last_min)}"


def _clock(minutes: float) -> str:
    whole = min(round(minutes), 24 * 60)
    return f"{whole // 60:02d}:{whole % 60:02d}"


def _notes(system: System, year: WaterYear) -> tuple[str, ...]:
    fit, plant = year.plant.pump, year.plant
    said = [
        f"Worked out from a {year.origin}, for an average year and clean filters: no promise, a dry or dull "
        "year brings less.",
        "Water, bad day and good day are what pump and source can bring with room in the tank; one day "
        "in ten is worse than the bad day, one better than the good one. Pumping, starts and days short are "
        "with the tank's float and the demand.",
        "Clock times are local standard time."
        if year.origin.startswith("weather")
        else "Clock times are by the sun: 12:00 is when it stands highest.",
        f"Pump and motor are fitted to the data sheet: rms error {fit.flow_error:.1%} in flow, "
        f"{fit.current_error:.1%} in current.",
        *year.notes,
    ]
    if plant.bank is not None:
        said.append(
            "The pump runs from the battery, day and night, whenever tank, source and battery let it."
        )
    if plant.tank.demand_m3_s is None:
        said.append(
            "No demand is given: the tank is taken to have room at all times; no day counts as short."
        )
    if plant.well.inflow_m3_s is None:
        said.append(f"No inflow is given for {plant.well.tag}: it is taken as limitless.")
    if year.beyond_table_share > 0.005:
        said.append(
            f"{year.beyond_table_share:.0%} of the water is lifted at volts or heads that the pump's data "
            "sheet does not cover: that part is an estimate."
        )
    if year.dry_h > 0.0:
        said.append(
            f"{plant.pump_tag} draws the source dry for {year.dry_h:.0f} h a year: no float stops it there."
        )
    if year.energy is not None:
        said.append("Where the light goes in a year: " + _energy_text(year) + ".")
    elif plant.bank is not None:
        said.append("The losses of a job with a battery are not listed.")
    return tuple(said)


def _energy_text(year: WaterYear) -> str:
    assert year.energy is not None
    total = float(year.energy.sun_j.sum())
    if not total > 0.0:
        return "there is none"
    shares = {name: float(joules.sum()) / total for name, joules in year.energy.parts_j.items()}
    return ", ".join(f"{name} {share:.1%}" for name, share in shares.items() if abs(share) >= 0.0005)


def advice_notes(system: System, advice: Advice) -> tuple[str, ...]:
    """What limits the job most and what to change first, in a sentence each."""
    gained = [limit for limit in advice.limits if limit.gain_share > 0.005]
    what = "the water that could be lifted" if advice.met else "the water that reaches the demand"
    if gained:
        top = gained[0]
        named, gain = _LIMITS[top.name], top.gain_share
        first = f"What limits {what} most is {named}: eased, it gives {gain:.0%} more a year."
    else:
        first = "Nothing limits the water by more than half a per cent."
    met = "The demand is met on every day of the year. " if advice.met else ""
    if not advice.changes:
        return (met + first, "No single change that was tried brings half a per cent more.")
    listed = "; ".join(
        f"{change.says} (+{system.show(change.gain_m3, 'volume', 3)} a year"
        + (f", {change.cost:.2f} {system.job.currency})" if change.cost is not None else ", no price known)")
        for change in advice.changes[:_SHOWN_CHANGES]
    )
    return (
        met + first,
        f"Single changes that were tried, most water for the money first: {listed}. Check each in the spec "
        "before you buy: voltages, fuses and terminals may no longer suit.",
    )
