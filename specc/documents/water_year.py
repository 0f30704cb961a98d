"""The year of water as a table, one row a month, with what was taken for granted as notes."""

from __future__ import annotations

from specc import units
from specc.documents.tables import Cell, Column, Table
from specc.operation.advice import Advice, Change
from specc.operation.installation import Works
from specc.operation.plant import Plant
from specc.operation.weather import DAYS_OF_MONTH
from specc.operation.year import BankYear, DaySpan, Month, TankYear, WaterYear
from specc.system.system import System

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
_SHOWN_CHANGES = 3
_MONTH_S = 365.0 / 12.0 * 86_400.0
_LIMITS = {
    "sun": "the sun (light on the panels)",
    "head": "the height to lift",
    "wire": "the wire",
    "pipe": "friction in the pipe",
    "well": "the source",
    "tank": "the tank",
    "battery": "the battery",
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
        notes=(*_notes(system, year), *(advice_notes(system, advice, year) if advice else ())),
        ticked=False,
    )


_TANK_COLUMNS = (
    Column("tank", "Tank"),
    Column("month", "Month"),
    Column("into", "Could run in a day", "volume", "right", decimals=0),
    Column("demand", "Demand a day", "volume", "right", decimals=0),
    Column("got", "Got of it a day", "volume", "right", decimals=0),
    Column("least_got", "Got a day at worst", "volume", "right", decimals=0),
    Column("lowest", "Lowest in the tank", "volume", "right", decimals=0),
    Column("days_short", "Days short", "count", "right"),
    Column("overflow", "Overflow in the month", "volume", "right", decimals=0),
)
_PUMP_COLUMNS = (
    Column("pump", "Pump"),
    Column("month", "Month"),
    Column("water", "Water a day", "volume", "right", decimals=0),
    Column("run", "Pumping a day", "time", "right", decimals=1),
    Column("starts", "Starts a day", "number", "right", decimals=1),
)
_BANK_COLUMNS = (
    Column("bank", "Battery"),
    Column("month", "Month"),
    Column("mean", "Charge, mean", "fraction", "right", decimals=0),
    Column("lowest", "Charge, lowest", "fraction", "right", decimals=0),
    Column("off", "Held off a day", "time", "right", decimals=1),
)


def parts_of_year(system: System, year: WaterYear) -> tuple[Table, ...]:
    """What the year comes to for each tank and pump, where there are several, and for each battery."""
    made = []
    if len(year.tanks) > 1:
        rows = tuple(
            {
                "tank": tank.tank.tag,
                "month": MONTHS[month.number - 1],
                "into": month.into_m3,
                "demand": month.demand_m3,
                "got": month.got_m3,
                "least_got": None if month.least_got_m3 == month.got_m3 else month.least_got_m3,
                "lowest": month.lowest_m3,
                "days_short": month.days_short,
                "overflow": month.overflow_m3 or None,
            }
            for tank in year.tanks
            for month in tank.months
        )
        note = (
            "With room in every tank, and with the floats and demands; at worst: least inflow, most demand."
        )
        made.append(_said("water-tanks", "Tanks through the year", _TANK_COLUMNS, rows, "tank", note))
    if len(year.pumps) > 1:
        rows = tuple(
            {
                "pump": pump.tag,
                "month": MONTHS[month.number - 1],
                "water": month.water_m3,
                "run": month.run_h * 3600.0,
                "starts": month.starts,
            }
            for pump in year.pumps
            for month in pump.months
        )
        note = "Water with room in every tank; pumping and starts with the floats and demands."
        made.append(_said("water-pumps", "Pumps through the year", _PUMP_COLUMNS, rows, "pump", note))
    if year.banks:
        rows = tuple(_bank_month(bank, number) for bank in year.banks for number in range(12))
        note = "Charge as a share of the capacity; held off: by the low-voltage disconnect."
        made.append(_said("battery-year", "Battery through the year", _BANK_COLUMNS, rows, "bank", note))
    return tuple(made)


def _bank_month(bank: BankYear, number: int) -> dict[str, Cell]:
    first = 24 * sum(DAYS_OF_MONTH[:number])
    hours = bank.share[first : first + 24 * DAYS_OF_MONTH[number]]
    return {
        "bank": bank.store.tag,
        "month": MONTHS[number],
        "mean": float(hours.mean()),
        "lowest": float(hours.min()),
        "off": bank.off_h[number] * 3600.0,
    }


def _said(
    name: str,
    title: str,
    columns: tuple[Column, ...],
    rows: tuple[dict[str, Cell], ...],
    group: str,
    note: str,
) -> Table:
    """A table without the columns that say nothing."""
    kept = tuple(c for c in columns if any(row[c.key] is not None for row in rows))
    alone = len({row[group] for row in rows}) == 1
    return Table(
        name,
        title,
        kept,
        tuple({c.key: row[c.key] for c in kept} for row in rows),
        notes=(note,),
        group_by="" if alone else group,
        ticked=False,
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
        "clear_day": None if month.clear is None else span_text(month.clear),
        "dull_day": None if month.dull is None else span_text(month.dull),
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
    works = year.works
    several = len(works.fits) > 1
    said = [
        f"Worked out from a {year.origin}, for an average year and clean filters: no promise, a dry or dull "
        "year brings less.",
        "Water, bad day and good day are what pump and source can bring with room in the tank; one day "
        "in ten is worse than the bad day, one better than the good one. Pumping, starts and days short are "
        "with the tank's float and the demand.",
    ]
    if any(month.clear is not None for month in year.months):
        said.append(
            "Clock times are local standard time."
            if year.origin.startswith("weather")
            else "Clock times are by the sun: 12:00 is when it stands highest."
        )
    if several or len(works.tanks) > 1:
        said.append(
            "All pumps and tanks are taken together: pumping counts while any pump runs, starts are those of "
            "all, and a day is short when any tank is. Pumps on one array or pipe are worked out together."
        )
    fitted: dict[str, list[str]] = {}
    for tag, fit in works.fits:
        errors = f"rms error {fit.flow_error:.1%} in flow, {fit.current_error:.1%} in current"
        fitted.setdefault(errors, []).append(tag)
    for errors, tags_of in fitted.items():
        which = f" of {' and '.join(tags_of)}" if several else ""
        said.append(f"Pump and motor{which} are fitted to the data sheet: {errors}.")
    if several:
        said.append(f"On the mean day of the year {_shares(system, year)}.")
    said += [
        _tank_note(system, tank) for tank in year.tanks if len(year.tanks) > 1 and tank.level_m3 is not None
    ]
    said += [
        f"{pump.tag} lifts nothing all year: what feeds it never brings it to turn, or the water is too high "
        "for it. Compare its start_current and data sheet with what the panels or the booster can give."
        for pump in year.pumps
        if not any(month.water_m3 > 0.0 for month in pump.months)
    ]
    if _share_evenly(works):
        said.append(
            "Boosters that hold one array at the same voltage are taken to share its power by what each "
            "could take. Set a volt apart, the lower one is served first."
        )
    said += year.notes
    if works.has_bank:
        said.append(
            "The pump runs from the battery, day and night, whenever tank, source and battery let it: no "
            "light starts it, so no clock times are given."
        )
    said += [_bank_note(system, bank) for bank in year.banks]
    for bank in year.banks:
        if not _guarded(works, bank.store.tag):
            said.append(
                f"Nothing stops the pumps before {bank.store.tag} is empty: it is run down each time."
            )
    if not any(tank.demand_m3_s for tank in works.tanks):
        said.append(
            "No demand is given: the tank is taken to have room at all times; no day counts as short."
        )
    elif missing := [tank.tag for tank in works.tanks if tank.demand_m3_s is None]:
        said.append(f"No demand is given for {' and '.join(missing)}: taken to have room at all times.")
    for well in works.wells:
        if well.inflow_m3_s is None:
            said.append(f"No inflow is given for {well.tag}: it is taken as limitless.")
    if year.beyond_table_share > 0.005:
        said.append(
            f"{year.beyond_table_share:.0%} of the water is lifted at volts or heads that the pump's data "
            "sheet does not cover: that part is an estimate."
        )
    tags = " or ".join(tag for tag, _ in works.fits)
    if year.dry_h > 0.0:
        said.append(f"{tags} draws the source dry for {year.dry_h:.0f} h a year: no float stops it there.")
    if year.shut_h > 0.5:
        said.append(
            f"{tags} is fed for {year.shut_h:.0f} h a year while a float valve shuts the way: no water is "
            "counted then, and what the pump does meanwhile a pressure switch or relief valve decides."
        )
    if year.energy is not None:
        said.append("Where the light goes in a year: " + _energy_text(year) + ".")
    return tuple(said)


def _shares(system: System, year: WaterYear) -> str:
    """ "P1 lifts 500 L and P2 300 L"."""
    days = sum(DAYS_OF_MONTH)
    each: list[str] = []
    for pump in year.pumps:
        total = sum(m.water_m3 * n for m, n in zip(pump.months, DAYS_OF_MONTH, strict=True))
        each.append(f"{pump.tag} {'lifts ' if not each else ''}{system.show(total / days, 'volume', 3)}")
    return " and ".join(each)


def _tank_note(system: System, year: TankYear) -> str:
    worst = min(year.months, key=lambda m: (m.got_m3 or 0.0) / (m.demand_m3 or 1.0))
    got, wanted = (system.show(v or 0.0, "volume", 3) for v in (worst.got_m3, worst.demand_m3))
    short = sum(month.days_short or 0 for month in year.months)
    return (
        f"{year.tank.tag} gets {got} of the {wanted} a day wanted from it in its leanest month, "
        f"{MONTHS[worst.number - 1]}; it is short on {short} days of the year."
    )


def _share_evenly(works: Works) -> bool:
    """Do several boosters hold one array at one voltage?"""
    if isinstance(works, Plant):
        return False
    holds = [(bus.feed, bus.booster.hold_v, bus.booster.hold_share) for bus in works.buses if bus.booster]
    return len(set(holds)) < len(holds)


def _guarded(works: Works, tag: str) -> bool:
    return isinstance(works, Plant) or any(f.guards for f in works.feeds if f.store and f.store.tag == tag)


def _bank_note(system: System, bank: BankYear) -> str:
    lowest = int(bank.share.argmin())
    off = sum(hours * days for hours, days in zip(bank.off_h, DAYS_OF_MONTH, strict=True))
    day, month = lowest // 24, 0
    while day >= DAYS_OF_MONTH[month]:
        day, month = day - DAYS_OF_MONTH[month], month + 1
    held = f"; its disconnect holds the pump off for {off:.0f} h a year" if off >= 0.5 else ""
    return (
        f"{bank.store.tag} is never under {bank.share[lowest]:.0%} of its charge (lowest on {day + 1} "
        f"{MONTHS[month]}), on the mean day {bank.share.mean():.0%}{held}. Practice figures: "
        f"{bank.store.charge_share:.0%} of a charge comes back, {bank.store.leak_per_s * _MONTH_S:.0%} is "
        "lost in a month."
    )


def _energy_text(year: WaterYear) -> str:
    assert year.energy is not None
    total = float(year.energy.sun_j.sum())
    if not total > 0.0:
        return "there is none"
    shares = {name: float(joules.sum()) / total for name, joules in year.energy.parts_j.items()}
    return ", ".join(f"{name} {share:.1%}" for name, share in shares.items() if abs(share) >= 0.0005)


def _cost_text(system: System, change: Change) -> str:
    if change.cost is None:
        return "no price known"
    return f"{change.cost:.2f} {system.job.currency}" if change.cost > 0.0 else "nothing to buy"


def advice_notes(system: System, advice: Advice, year: WaterYear | None = None) -> tuple[str, ...]:
    """What limits the job most and what to change first, in a sentence each.

    year: the whole of it, where the advice rests on a few days of each month, which have no run of dull days.
    """
    gained = [limit for limit in advice.limits if limit.gain_share > 0.005]
    what = "the water that could be lifted" if advice.met else "the water that reaches the demand"
    if gained:
        top = gained[0]
        named, gain = _LIMITS[top.name], top.gain_share
        eased = "without its loss" if top.name in ("wire", "pipe") else "eased by a quarter"
        first = f"What limits {what} most is {named}: {eased}, it gives {gain:.0%} more a year."
    else:
        first = "Nothing limits the water by more than half a per cent."
    short = year.days_short if year is not None else None
    met = "The demand is met on every day of the year. " if advice.met and not short else ""
    if short:
        met = f"The demand is not met in full on {short} {'day' if short == 1 else 'days'} of the year. "
    if not advice.changes:
        return (met + first, "No single change that was tried brings half a per cent more.")
    listed = "; ".join(
        f"{change.says} (about +{_about(system, change.gain_m3)} a year, {_cost_text(system, change)})"
        for change in advice.changes[:_SHOWN_CHANGES]
    )
    return (
        met + first,
        f"Single changes that were tried{_tried_on(advice)}, most water for the money first: {listed}. Check "
        "each in the spec before you buy: voltages, fuses and terminals may no longer suit.",
    )


def _tried_on(advice: Advice) -> str:
    if advice.days_a_month is None:
        return ""
    return f" on {advice.days_a_month} days of each month, with the month's light"


def _about(system: System, volume_m3: float) -> str:
    """A volume with two digits: what a change brings is no better known."""
    shown = units.to_display(volume_m3, "volume", system.job.units)
    return f"{float(f'{shown:.2g}'):.0f} {units.unit_label('volume', system.job.units)}"
