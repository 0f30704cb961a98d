"""Rules on the tank: days of storage, overflow, and what stops the pump when it is full."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics
from specc.rulebooks import ROUNDING
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._switches import acting_on, switches
from specc.system.missing import need
from specc.system.model import Device
from specc.system.once import once
from specc.system.states import TooManySwitches
from specc.system.stops import must_stop
from specc.system.system import System
from specc.system.water import Way

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


# -- what stops the pump when the tank is full ---------------------------------------------------------


def _fillings(system: System) -> Iterator[Way]:
    for pump in system.water.pumps:
        yield from system.water.ways_out(pump)


def _of_this_tank(system: System, switch: Device, tank: Device) -> bool | None:
    """Does a switch that guards a full tank hang in this one? None where nothing says so."""
    if len(_tanks(system)) == 1:
        return True
    if switch.location is None or tank.location is None:
        return None
    return bool(switch.location == tank.location)


@once
def _tank_floats(system: System) -> tuple[Device, ...]:
    """Level switches that guard against a full tank."""
    return tuple(s for s in switches(system) if s.spec.guards == "tank full" and s.part.senses == "level")


def _closing_valve(way: Way) -> Device | None:
    """The float valve by which a tank closes its own filling; None without one."""
    return next((d for d in way.devices if d.kind == "valve" and d.part.type == "float valve"), None)


def _stops_when_full(system: System, way: Way) -> Answer:
    pump, tank = way.pump, way.end
    try:
        acting = acting_on(system, pump)
    except TooManySwitches as many:
        return unchecked(tank.tag, tank.path, str(many))
    if acting is None:
        return unchecked(tank.tag, tank.path, f"{pump.tag} runs in no state of its switches.")
    closing = _closing_valve(way)
    here = {s: _of_this_tank(system, s, tank) for s in _tank_floats(system)}
    felt = [s for s, at in here.items() if at]
    if closing is not None:  # a line that its tank closes tells a pressure switch
        felt += [
            s
            for s in switches(system)
            if s.part.senses == "pressure" and s.spec.guards in ("tank full", "pressure high")
        ]
    stopping = [s for s in felt if s in acting]
    if stopping:
        message = f"{stopping[0].tag} stops {pump.tag} when {tank.tag} is full."
        return satisfied(tank.tag, tank.path, message, actual=stopping[0].tag)
    idle = [s for s in felt if pump in must_stop(system, s) or not must_stop(system, s)]
    if idle:
        tags = ", ".join(s.tag for s in idle)
        return unchecked(
            tank.tag,
            tank.path,
            f"{tags} should stop {pump.tag} when {tank.tag} is full and does not; see control.stop-logic and "
            "float.wrong-way.",
        )
    unplaced = [s for s, at in here.items() if at is None and s in acting]
    if unplaced:
        return unchecked(
            tank.tag,
            tank.path,
            f"{unplaced[0].tag} stops {pump.tag}, and whether it hangs in {tank.tag} is not said: give the "
            "location of both.",
        )
    return _runs_on(system, way, closing)


def _runs_on(system: System, way: Way, closing: Device | None) -> Answer:
    pump, tank, show = way.pump, way.end, system.show
    required = f"a switch that stops {pump.tag} when {tank.tag} is full"
    fix = f"Hang a float in {tank.tag} that closes on fall, in series with what stops {pump.tag}"
    told = f"Nothing stops {pump.tag} when {tank.tag} is full"
    if closing is not None:
        return violated(
            tank.tag,
            closing.path,
            f"{told}: {closing.tag} shuts the line, and {pump.tag} works against it all day.",
            required=required,
            actual=f"{closing.tag} alone",
            fix=f"{fix}, or a pressure switch on the line that does.",
            related=(tank.path,),
        )
    flow = system.water.flow(pump)
    inflow, size = _inflow_of_sources(system, pump), tank.spec.overflow_size
    factor = system.handbook.threshold("overflow_discharge_coefficient").value
    carried = hydraulics.orifice_flow_m3_s(size, size, factor) if size else 0.0
    if not size or not carried >= flow.value * (1.0 - ROUNDING):
        told += f": {show(flow.value, 'flow')} runs over, and no overflow carries it"
        worse = True
    elif _on_battery(system, pump):
        told += ": it pumps over the overflow day and night, until its battery is empty"
        worse = True
    elif inflow is None or not reaches(inflow, flow.value):
        told += ": it pumps its source empty over the overflow"
        worse = True
    else:
        told += f": what it lifts, {show(flow.value, 'flow')}, leaves by the overflow until the light goes"
        worse = False
    return violated(
        tank.tag,
        tank.path,
        f"{told}.",
        required=required,
        actual="none",
        fix=f"{fix}; or accept this with the reason." if not worse else f"{fix}.",
        related=(pump.path,),
        severity=None if worse else Severity.ADVICE,
        calculations=(flow,),
    )


def _inflow_of_sources(system: System, pump: Device) -> float | None:
    """The inflow of all the sources that a pump draws from; None where one of them is not known [m³/s]."""
    flows = [way.start.spec.inflow for way in system.water.ways_in(pump)]
    return None if not flows or None in flows else float(sum(flows))


def _on_battery(system: System, pump: Device) -> bool:
    wiring = system.wiring()
    return any(wiring.get(b.tag) == wiring.get(pump.tag) for b in system.of_kind("battery"))


_NO_TANK_FLOAT: Mapping[str, Any] = {
    "switches.LS1": None,
    "runs.R4.conductors[0].to": "LS2.1",
    "runs.R4.conductors[1]": None,
}
_FLOAT_VALVE: Mapping[str, Any] = {
    "valves.FV1": {"part": "float-valve-1", "elevation": "22 m", "freeze_safe": True},
    "pipes.D3.to": "FV1.in",
    "pipes.D4": {
        "part": "pipe-r",
        "from": "FV1.out",
        "to": "TK1.inlet",
        "length": "0.5 m",
        "freeze_safe": True,
        "hottest_wall": "40 degC",
    },
}

NO_FULL_STOP = Rule(
    id="storage.no-full-stop",
    severity=Severity.WARNING,
    title="Nothing stops the pump when the tank is full",
    checks="For each tank that a pump fills, a level switch in the tank stops the pump: found by opening "
    "each switch. A float valve at the tank serves with a pressure switch that stops the pump. Without "
    "either: advice where an overflow carries the flow, the source keeps up and no battery feeds the pump; "
    "else a warning.",
    why="A pump that runs on wears itself out, pumps a slow source or a battery empty, and floods what lies "
    "below a tank whose overflow is too small.",
    clauses={"us-2023": "common practice, no source", "iec": "common practice, no source"},
    acceptable=True,
    sees_not="A valve on another branch that takes what is too much; somebody who stands by.",
    look=_fillings,
    examine=_stops_when_full,
    fires=(
        Case(
            "no float in the tank, an overflow that carries all, a well that keeps up",
            _NO_TANK_FLOAT,
            severity=Severity.ADVICE,
            subject="TK1",
        ),
        Case(
            "no float, and the overflow carries 7.1 of 10 L/min",
            {**_NO_TANK_FLOAT, "tank.TK1.overflow_size": "20 mm"},
            subject="TK1",
        ),
        Case(
            "no float, and the well gives 8 of 10 L/min",
            {**_NO_TANK_FLOAT, "source.WELL.inflow": "8 L/min"},
            subject="TK1",
        ),
        Case(
            "a float valve, and nothing that stops the pump",
            {**_NO_TANK_FLOAT, **_FLOAT_VALVE},
            subject="TK1",
        ),
    ),
    keeps_still=(
        Case("a float in the tank"),
        Case("a float in the tank beside a float valve", _FLOAT_VALVE),
        Case(
            "a float valve, and a pressure switch in place of the float",
            {
                **_FLOAT_VALVE,
                "switches.LS1.guards": "pressure high",
                "switches.LS1.part": "pressure-switch-signal-90psi",
                "switches.LS1.location": "well",
            },
        ),
    ),
)

RULES = (DAYS, OVERFLOW, NO_FULL_STOP)
