"""Rules on the water of a year.

They need the year hour by hour, so ``check`` leaves them to ``water`` and ``build``.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from specc.calculation import Calculation, Input
from specc.diagnostics import Finding, Severity, Verdict
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import MissingDatum, need
from specc.system.model import Device
from specc.system.system import System

if TYPE_CHECKING:
    from specc.operation.year import Month, WaterYear

_DAY_S = 86_400.0
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip


def _tanks(system: System) -> tuple[Device, ...]:
    stated = tuple(tank for tank in system.of_kind("tank") if tank.spec.demand is not None)
    return stated or system.of_kind("tank")


def _shortfall(system: System, tank: Device) -> Answer:
    from specc.operation.made import made_year
    from specc.operation.plant import NotWorkedOut
    from specc.operation.weather import WeatherError

    need(tank.spec.demand, f"{tank.tag}: demand", tank.path, "demand")
    if system.site.weather is not None:
        return unchecked(tank.tag, tank.path, "its weather file was not read.")
    try:
        return judged(system, tank, made_year(system, steps_an_hour=1))
    except (NotWorkedOut, WeatherError) as reason:
        return unchecked(tank.tag, tank.path, f"the year is not worked out: {reason}.")


def judged(system: System, tank: Device, year: WaterYear) -> Answer:
    """The months of a year against the demand, its greatest where it is a range."""
    its = next((t for t in year.tanks if t.tank.tag == tank.tag), None)
    if its is None:
        return unchecked(tank.tag, tank.path, f"no pump fills {tank.tag}, so no year of it is worked out.")
    if its.tank.demand_m3_s is None:
        raise MissingDatum(f"{tank.tag}: demand", tank.path, "demand")
    path, wanted = (*tank.path, "demand"), its.tank.demand_m3_s.high * _DAY_S
    # A tank that shares its pumps gets what the others leave; alone, all that the pumps could bring.
    brings = (
        [month.low_m3 for month in year.months]
        if len(year.tanks) == 1
        else [month.least_got_m3 or 0.0 for month in its.months]
    )
    short = [number for number, water in enumerate(brings) if not reaches(water, wanted)]
    worst = min(range(12), key=lambda number: brings[number])
    required, actual = (f"{system.show(v, 'volume', 3)} a day" for v in (wanted, brings[worst]))
    leanest = _MONTHS[worst]
    worked = _worked(tank, year.months[worst], brings[worst], wanted)
    if not short:
        return satisfied(
            tank.tag,
            path,
            f"Every month brings the demand of {tank.tag}; the least is {actual}, in {leanest}.",
            required=required,
            actual=actual,
            calculations=(worked,),
        )
    names = "every month" if len(short) == 12 else ", ".join(_MONTHS[number] for number in short)
    return violated(
        tank.tag,
        path,
        f"{tank.tag} wants {required}; less comes in {names} ({actual} in {leanest}).",
        required=required,
        actual=actual,
        fix="Add panels or another source for these months, or take less: `specc water` says what brings "
        "most.",
        calculations=(worked,),
    )


def _worked(tank: Device, worst: Month, water_m3: float, wanted: float) -> Calculation:
    return Calculation(
        "water of the leanest month, a day",
        tank.tag,
        "Wday",
        water_m3,
        "volume",
        "Σ Q(sun) · Δt over the month / its days, limited by the source",
        (
            Input("month", float(worst.number), "number", "the leanest"),
            Input("sun", worst.sun_h, "number", "peak sun hours a day, on the panels"),
            Input("demand", wanted, "volume", f"{tank.tag}, demand a day"),
        ),
        "settled states of panels, booster, motor, pump and pipe through the year",
    )


DAILY_SHORTFALL = Rule(
    id="yield.daily-shortfall",
    severity=Severity.WARNING,
    title="Some months bring less water than is wanted",
    checks="Water a day in each month, Σ Q(sun) over the hours and limited by the source, >= demand a day. "
    "Not Q times peak sun hours: nothing flows below the light that starts the pump. Checked by `specc "
    "water` and `specc build`; `specc check` leaves it out, since it takes the year hour by hour.",
    why="A job that is sized on the yearly mean runs dry in its dullest month.",
    clauses={
        "us-2023": "open sun data and demand tables; common practice, no source",
        "iec": "IEC 61725 day profile, IEC 62253; from memory, unverified",
    },
    look=_tanks,
    examine=_shortfall,
    fires=(
        Case(
            "demand 5300 L a day, more than December brings", {"tank.TK1.demand": "5300 L/day"}, subject="TK1"
        ),
    ),
    keeps_still=(
        Case("demand 4800 L a day, less than every month brings", {"tank.TK1.demand": "4800 L/day"}),
        Case("demand 1500 L a day"),
    ),
    sees_not="Years duller or drier than the average.",
    acceptable=True,
)

YEAR_RULES = (DAILY_SHORTFALL,)


def not_judged(system: System, because: str) -> tuple[Finding, ...]:
    """The rules of the year where there is none: not checked, and why."""
    return tuple(
        Finding(
            rule=rule.id,
            verdict=Verdict.NOT_CHECKED,
            severity=rule.severity,
            message=f"the year is not worked out: {because}.",
            subject=tank.tag,
            places=(system.span(tank.path),),
        )
        for rule in YEAR_RULES
        for tank in _tanks(system)
    )


def with_year(year: WaterYear) -> tuple[Rule, ...]:
    """The rules of the year, on a year that is worked out already."""
    return (replace(DAILY_SHORTFALL, examine=lambda system, tank: judged(system, tank, year)),)
