"""Rules on the tank: days of storage, overflow."""

from __future__ import annotations

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics
from specc.rulebooks import ROUNDING
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import need
from specc.system.model import Device
from specc.system.system import System

_DAY_S = 86_400.0


def _tanks(system: System) -> tuple[Device, ...]:
    return system.of_kind("tank")


def _days(system: System, tank: Device) -> Answer:
    others = any(other.spec.demand is not None for other in _tanks(system))
    if tank.spec.demand is None and others:
        return unchecked(tank.tag, tank.path, f"no demand is taken from {tank.tag} itself.")
    demand = need(tank.spec.demand, f"{tank.tag}: demand", tank.path, "demand")
    capacity = need(
        tank.spec.capacity or getattr(tank.part, "capacity", None),
        f"{tank.tag}: capacity",
        tank.path,
        "capacity",
    )
    path = tank.path + ("capacity",)
    wanted = system.handbook.threshold("storage_days")
    if not demand > 0.0:
        return satisfied(tank.tag, path, f"{tank.tag} has no demand to store for.")
    days = capacity / (demand * _DAY_S)
    worked = Calculation(
        "days of storage",
        tank.tag,
        "n",
        days,
        "number",
        "capacity / demand a day",
        (
            Input("capacity", capacity, "volume", f"{tank.tag}, capacity"),
            Input("demand", demand, "daily_flow", f"{tank.tag}, demand"),
        ),
        wanted.source,
    )
    required, actual = f"{wanted.value:g} days", f"{days:.1f} days"
    if not reaches(days, wanted.value):
        larger = system.show(wanted.value * demand * _DAY_S, "volume")
        return violated(
            tank.tag,
            path,
            f"{tank.tag} stores {actual} of water; {required} carry a job over dull weather.",
            required=required,
            actual=actual,
            fix=f"Take a tank of {larger} or more, or a smaller demand.",
            calculations=(worked,),
        )
    return satisfied(
        tank.tag,
        path,
        f"{tank.tag} stores {actual} of water.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


DAYS = Rule(
    id="storage.days",
    severity=Severity.ADVICE,
    title="Little storage for dull days",
    checks="Capacity of the tank / demand a day >= 3 days.",
    why="The sun does not shine to order, and a pump can be down for a day or two.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    acceptable=True,
    sees_not="Water below the outlet, which is counted as usable.",
    look=_tanks,
    examine=_days,
    fires=(Case("demand 1800 L a day: 2.8 days", {"tank.TK1.demand": "1800 L/day"}),),
    keeps_still=(
        Case("demand 1600 L a day: 3.1 days", {"tank.TK1.demand": "1600 L/day"}),
        Case("a second tank with no demand of its own", {"tank.TK2": {"inlet": "10 m", "capacity": "200 L"}}),
    ),
)


def _overflow(system: System, tank: Device) -> Answer:
    show, path = system.show, tank.path + ("overflow_size",)
    inflow = _inflow(system, tank)
    if not inflow.value > 0.0:
        return unchecked(tank.tag, path, f"no pump of the job delivers water into {tank.tag}.")
    factor = system.handbook.threshold("overflow_discharge_coefficient")
    least = hydraulics.overflow_bore_m(inflow.value, factor.value)
    fix = f"Give it an overflow of {show(least, 'short_length', 3)} bore or more, one size above the inlet."
    bore = tank.spec.overflow_size
    required = f"at least {show(inflow.value, 'flow')}"
    if bore is None:
        return violated(
            tank.tag,
            path,
            f"{tank.tag} has no overflow stated (overflow_size), and {show(inflow.value, 'flow')} flows in.",
            required=required,
            actual="none",
            fix=fix,
            calculations=(inflow,),
        )
    carried = hydraulics.orifice_flow_m3_s(bore, bore, factor.value) if bore > 0.0 else 0.0
    worked = Calculation(
        "flow that the overflow carries",
        tank.tag,
        "Qoverflow",
        carried,
        "flow",
        "C · A · √(2 · g · d)",
        (
            Input("C", factor.value, "number", factor.source),
            Input("d", bore, "short_length", f"{tank.tag}, overflow_size"),
        ),
        "Torricelli; the water stands one bore above the lip",
    )
    actual = show(carried, "flow")
    if not carried >= inflow.value * (1.0 - ROUNDING):
        return violated(
            tank.tag,
            path,
            f"The overflow of {tank.tag} carries {actual}, and {show(inflow.value, 'flow')} flows in.",
            required=required,
            actual=actual,
            fix=fix,
            calculations=(inflow, worked),
        )
    return satisfied(
        tank.tag,
        path,
        f"The overflow of {tank.tag} carries the whole inflow.",
        required=required,
        actual=actual,
        calculations=(inflow, worked),
    )


def _inflow(system: System, tank: Device) -> Calculation:
    """What all pumps that fill the tank deliver together."""
    filling = [p for p in system.of_kind("pump") if any(w.end is tank for w in system.water.deliveries(p))]
    flows = tuple(
        Input("Q", system.water.flow(p).value, "flow", f"{p.tag}, at rated voltage") for p in filling
    )
    return Calculation(
        "inflow of the tank",
        tank.tag,
        "Qin",
        sum(i.value for i in flows),
        "flow",
        "sum of the pumps that fill it",
        flows,
        "volume balance",
    )


OVERFLOW = Rule(
    id="storage.overflow",
    severity=Severity.WARNING,
    title="Overflow missing or too small",
    checks="The overflow carries the whole inflow with the water one bore above its lip: 0.6 · A · √(2 · g "
    "· d) >= Q.",
    why="When the float sticks, all that the pump gives must leave by the overflow, or the tank fills to "
    "its inlet and its lid.",
    clauses={
        "us-2023": "common practice; orifice formula of the hydraulics handbooks",
        "iec": "common practice, no source",
    },
    acceptable=True,
    sees_not="Where the overflow leads: to daylight, screened, and not into the well.",
    look=_tanks,
    examine=_overflow,
    fires=(
        Case("20 mm: 7.1 L/min of 10 L/min", {"tank.TK1.overflow_size": "20 mm"}),
        Case("no overflow", {"tank.TK1.overflow_size": None, "tank.TK1.overflow": None}),
    ),
    keeps_still=(Case("25 mm: 12.4 L/min", {"tank.TK1.overflow_size": "25 mm"}),),
)

RULES = (DAYS, OVERFLOW)
