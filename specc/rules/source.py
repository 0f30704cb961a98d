"""Rules on the source: whether it keeps up, what stops the pump when it does not, air at the intake."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics
from specc.rules._limits import keeps_to, reaches
from specc.rules._questions import ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._switches import acting_on
from specc.system.missing import MissingDatum, need, need_part
from specc.system.model import Device
from specc.system.states import TooManySwitches
from specc.system.system import System
from specc.system.water import Way

PRACTICE = "common practice, no source"
DAY_S = 86_400.0
HOUR_S = 3_600.0


def _sources(system: System) -> Iterator[Device]:
    """Sources that some pump draws from."""
    for device in system.of_kind("source"):
        if device.table == "source" and system.water.drawn_by(device):
            yield device


# -- recovery ----------------------------------------------------------------------------------------


def _pumping_day(system: System, source: Device, flow_m3_s: float) -> Input:
    """Time for which the pumps run on the longest day, at their rated flow [s].

    The peak sun hours of the best month where the site has them; else what the demand takes.
    """
    if system.site.sun is not None:
        return Input("tday", max(system.site.sun) * HOUR_S, "time", "[site] sun, best month")
    tanks = {way.end for pump in system.water.drawn_by(source) for way in system.water.deliveries(pump)}
    demands = [tank.spec.demand for tank in tanks]
    if not demands or None in demands or flow_m3_s <= 0.0:
        raise MissingDatum("the site's peak sun hours by month", ("site",), "sun")
    return Input("tday", math.fsum(demands) * DAY_S / flow_m3_s, "time", "demand over flow")


def _area_m2(source: Device) -> float:
    """Plan area of the water in a source [m²]."""
    if source.spec.plan_area is not None:
        return float(source.spec.plan_area)
    what = f"{source.tag}: its diameter (or plan_area)"
    return hydraulics.circle_area_m2(need(source.spec.diameter, what, source.path, "diameter"))


def _recovery(system: System, source: Device) -> Answer:
    water, show = system.water, system.show
    inflow = float(need(source.spec.inflow, f"{source.tag}: its inflow", source.path, "inflow"))
    flow = math.fsum(water.operating(pump, False).flow_m3_s for pump in water.drawn_by(source))
    path, drawn, fills = (*source.path, "inflow"), show(flow, "flow"), show(inflow, "flow")
    if reaches(inflow, flow):
        message = f"{source.tag} gives {fills}; no more than {drawn} is drawn."
        return satisfied(source.tag, path, message, required=drawn, actual=fills)
    day = _pumping_day(system, source, flow)
    depth = max(0.0, water.standing_level_m(source) - water.stop_level_m(source))
    stored = _area_m2(source) * depth
    lasts = Calculation(
        "time until the low level stops the pump",
        source.tag,
        "t",
        hydraulics.storage_time_s(stored, flow, inflow),
        "short_time",
        "V / (Q - q)",
        (
            Input("V", stored, "volume", f"{source.tag}, standing level down to the stop level"),
            Input("Q", flow, "flow", "pumps at rated voltage, filter clean"),
            Input("q", inflow, "flow", f"{source.tag}, inflow"),
            day,
        ),
        "water balance",
    )
    required, actual = show(day.value, "short_time"), show(lasts.value, "short_time")
    if reaches(lasts.value, day.value):
        message = f"{source.tag} has {show(stored, 'volume')} in store and lasts the pumping day."
        return satisfied(source.tag, path, message, required=required, actual=actual, calculations=(lasts,))
    daily = min(stored + inflow * day.value, inflow * DAY_S)
    return violated(
        source.tag,
        path,
        f"{source.tag} gives {fills} and {drawn} is drawn: its {show(stored, 'volume')} in store last "
        f"{actual} of a pumping day of {required}, then the low switch cycles; {show(daily, 'volume')} a "
        "day really come.",
        required=required,
        actual=actual,
        fix=f"Draw {show(inflow + stored / day.value, 'flow')} or less, or make the store in the source "
        "larger.",
        related=((*source.path, "water_level"), *((*d.path, "acts_at") for d in water.low_switches(source))),
        calculations=(lasts,),
    )


RECOVERY = Rule(
    id="source.recovery",
    severity=Severity.WARNING,
    title="Source does not keep up with the pump",
    checks="Inflow >= flow of all pumps on the source; or the water stored between the standing level and "
    "the stop level lasts t = V / (Q - q) >= the pumping day: the peak sun hours of the best month at the "
    "rated flow, or, where the site gives none, demand / flow.",
    why="A source that is outrun is pumped down and rests all day; far less water comes than the pump could "
    "lift.",
    clauses={
        "us-2023": "well test practice; common practice, no source",
        "iec": "ISO 22282-4; common practice",
    },
    look=_sources,
    examine=_recovery,
    fires=(Case("inflow 6 L/min: 191 of 300 min", {"source.WELL.inflow": "6 L/min"}, subject="WELL"),),
    keeps_still=(
        Case("inflow 8 L/min: 382 min", {"source.WELL.inflow": "8 L/min"}),
        Case("inflow 15 L/min, more than is drawn"),
    ),
    sees_not="Dry years: the inflow is as tested on its day.",
    acceptable=True,
)


# -- running dry -------------------------------------------------------------------------------------


def _covers_intake(source: Device, switch: Device) -> bool:
    """Does a low switch act before the water falls below the intake?"""
    acts = need(switch.spec.acts_at, f"{switch.tag}: the level at which it acts", switch.path, "acts_at")
    intake = need(source.spec.intake, f"{source.tag}: elevation of the intake", source.path, "intake")
    return reaches(acts, intake)


def _run_dry(system: System, way: Way) -> Answer:
    water, pump, source = system.water, way.pump, way.start
    path = (*pump.path, "tag")
    try:
        acting = acting_on(system, pump)
    except TooManySwitches as many:
        return unchecked(pump.tag, path, str(many))
    if acting is None:
        return unchecked(pump.tag, path, f"{pump.tag} does not run in any state of its switches.")
    low = [s for s in water.low_switches(source) if s in acting and _covers_intake(source, s)]
    hot = [s for s in acting if s.spec.guards == "pump hot"]
    closable = [step for step in way.steps if water.can_shut(step)]
    if low and not closable:
        return satisfied(
            pump.tag, path, f"{low[0].tag} stops {pump.tag} before {source.tag} is empty.", actual=low[0].tag
        )
    if hot:
        return _by_heat(system, way, hot, low)
    if low:
        tags = ", ".join(step.tag for step in closable)
        return violated(
            pump.tag,
            path,
            f"A valve of {tags} can shut the suction of {pump.tag}; {low[0].tag} does not see that, and "
            "nothing else stops a dry pump.",
            required="a thermal or flow cut-out beside the low switch",
            actual=low[0].tag,
            fix=f"Take the valve out of the suction, or fit a thermal switch on {pump.tag} that stops it.",
            related=(closable[0].path,),
            severity=Severity.WARNING,
        )
    idle = [s for s in system.of_kind("switch") if s.spec.guards in ("source low", "pump hot")]
    named = ", ".join(s.tag for s in idle)
    return violated(
        pump.tag,
        path,
        f"Nothing stops {pump.tag} when {source.tag} falls below the intake"
        + (f": {named} does not act on it, or acts too late." if idle else "."),
        required="a low-level, flow or thermal switch that stops the motor",
        actual=named or "none",
        fix=f"Fit a level switch in {source.tag}, above the intake, that closes on rise, in series with "
        f"what stops {pump.tag}.",
        related=tuple(s.path for s in idle) or (source.path,),
    )


def _trip_time_s(switch: Device, pump: Device) -> float:
    """How long a thermal switch takes to trip once its pump runs dry [s]."""
    if switch.spec.trip_time is not None:
        return float(switch.spec.trip_time)
    part = switch.part
    what = (
        f"{switch.tag}: how long it takes to trip once {pump.tag} runs dry (trip_time, from the maker of "
        f"pump or switch, or measured; catalogue part {part.id})"
    )
    return float(need(part.trip_time, what, switch.path, "trip_time"))


def _by_heat(system: System, way: Way, hot: list[Device], low: list[Device]) -> Answer:
    """A thermal switch is all that stops the dry pump: it must trip before the pump is harmed."""
    show, pump = system.show, way.pump
    stands = float(need_part(pump, "runs_dry", "how long it may run dry"))
    times = {switch: _trip_time_s(switch, pump) for switch in hot}
    switch = min(times, key=lambda s: times[s])
    timed = switch.spec.trip_time is not None
    path = (*switch.path, "trip_time" if timed else "part")
    required, actual = f"at most {show(stands, 'short_time')}", show(times[switch], "short_time")
    if keeps_to(times[switch], stands):
        message = (
            f"{switch.tag} trips {actual} after {pump.tag} runs dry; it stands {show(stands, 'short_time')}."
        )
        return satisfied(pump.tag, path, message, required=required, actual=actual)
    seen = (
        f"{low[0].tag} does not see a shut suction, and {switch.tag}"
        if low
        else f"Nothing else sees that {way.start.tag} runs empty, and {switch.tag}"
    )
    return violated(
        pump.tag,
        path,
        f"{seen} trips {actual} after {pump.tag} runs dry; {pump.tag} stands {show(stands, 'short_time')}.",
        required=required,
        actual=actual,
        fix=f"Take a switch that feels it within {show(stands, 'short_time')} (of flow, or of pressure in "
        "the suction)"
        + (
            ", or take the valve out of the suction."
            if low
            else f", or fit a level switch in {way.start.tag}, above the intake, that closes on rise."
        ),
        related=((*pump.path, "part"),),
        severity=Severity.WARNING if low else None,
    )


def _intakes(system: System) -> Iterator[Way]:
    for pump in system.water.pumps:
        yield from system.water.ways_in(pump)


_NO_LOW: Mapping[str, Any] = {
    "switches.LS2": None,
    "runs.R4.conductors[1].to": "TS1.1",
    "runs.R4.conductors[2]": None,
}
_NO_THERMAL: Mapping[str, Any] = {
    "switches.TS1": None,
    "runs.R4.conductors[2].to": "CB1.remote2",
    "runs.R4.conductors[3]": None,
}
_LOW_IDLE: Mapping[str, Any] = {
    "switches.TS1": None,
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
}

RUN_DRY = Rule(
    id="source.run-dry",
    severity=Severity.ERROR,
    title="Nothing stops the pump when the water ends",
    checks="A low-level switch that acts above the intake, or a thermal switch that trips (trip_time) before "
    "the pump is harmed (runs_dry), stops the motor: found by opening each switch and looking whether the "
    "pump still runs. Where a valve can shut the suction the level switch alone is not enough.",
    why="A pump that turns in air burns its seal or its vanes within minutes; an alarm that nobody hears "
    "saves nothing.",
    clauses={"us-2023": "430.43 (idea); common practice", "iec": "IEC 60335-2-41 (idea); common practice"},
    look=_intakes,
    examine=_run_dry,
    fires=(
        Case("neither well switch nor thermal switch", {**_LOW_IDLE, "switches.LS2": None}, subject="P1"),
        Case("a well switch that is wired to nothing", _LOW_IDLE, subject="P1"),
        Case(
            "a valve in the suction and no thermal switch",
            {**_NO_THERMAL, "pipes.S2.fittings": ["ball valve"]},
            severity=Severity.WARNING,
        ),
        Case(
            "only the thermal switch, which trips after 90 s; the pump stands 60 s",
            {**_NO_LOW, "switches.TS1.trip_time": "90 s"},
            subject="P1",
        ),
        Case(
            "a valve in the suction, and the thermal switch trips after 90 s",
            {"pipes.S2.fittings": ["ball valve"], "switches.TS1.trip_time": "90 s"},
            severity=Severity.WARNING,
        ),
    ),
    keeps_still=(
        Case("only the thermal switch: it trips after 45 s, the pump stands 60 s", _NO_LOW),
        Case("only the well switch", _NO_THERMAL),
    ),
    sees_not="Controllers that sense a dry pump; colder air than when the trip was timed.",
)


# -- intake ------------------------------------------------------------------------------------------


def _intake_m(source: Device) -> float:
    return float(need(source.spec.intake, f"{source.tag}: elevation of the intake", source.path, "intake"))


def _cover(system: System, source: Device) -> Iterator[Answer]:
    """Water above the intake at the stop level."""
    water, show = system.water, system.show
    covered = water.stop_level_m(source) - _intake_m(source)
    least = system.handbook.threshold("submergence_m")
    ways = [way for pump in water.drawn_by(source) for way in water.ways_in(pump) if way.start is source]
    for way in ways:
        pipe, flow = way.pipes[0], water.operating(way.pump, False).flow_m3_s
        velocity = water.velocity_m_s(pipe, flow)
        vortex = Calculation(
            "water above the intake against air",
            pipe.tag,
            "S",
            hydraulics.submergence_m(pipe.part.bore, velocity),
            "head",
            "D · (1 + 2.3 · v / √(g · D))",
            (
                Input("D", pipe.part.bore, "short_length", f"{pipe.tag}, catalogue part {pipe.part.id}"),
                Input("v", velocity, "velocity", f"{way.pump.tag} at rated voltage"),
            ),
            "ANSI/HI 9.8, from memory, unverified",
        )
        wanted = max(least.value, vortex.value)
        required, actual = show(wanted, "head"), show(covered, "head")
        switches = water.low_switches(source)
        path = (*switches[0].path, "acts_at") if switches else (*source.path, "low_water_level")
        if reaches(covered, wanted):
            message = f"{actual} of water stand over the intake of {source.tag} when the pump stops."
            yield satisfied(
                source.tag, path, message, required=required, actual=actual, calculations=(vortex,)
            )
            continue
        yield violated(
            source.tag,
            path,
            f"Only {actual} of water stand over the intake of {source.tag} at the stop level; {required} "
            "keep air out.",
            required=required,
            actual=actual,
            fix=f"Raise the stop level to {show(_intake_m(source) + wanted, 'elevation')} or lower the "
            "intake.",
            related=((*source.path, "intake"),),
            calculations=(vortex,),
        )


def _clearance(system: System, source: Device) -> Answer:
    """Intake above the bottom."""
    show = system.show
    bottom = need(source.spec.bottom, f"{source.tag}: elevation of the bottom", source.path, "bottom")
    above = _intake_m(source) - bottom
    wanted = system.handbook.threshold("intake_above_bottom_m").value
    required, actual, path = show(wanted, "head"), show(above, "head"), (*source.path, "intake")
    if reaches(above, wanted):
        message = f"The intake hangs {actual} above the bottom of {source.tag}."
        return satisfied(source.tag, path, message, required=required, actual=actual)
    return violated(
        source.tag,
        path,
        f"The intake hangs {actual} above the bottom of {source.tag}; {required} keep the mud out.",
        required=required,
        actual=actual,
        fix=f"Raise the intake to {show(bottom + wanted, 'elevation')}, and see that water still covers it.",
        related=((*source.path, "bottom"),),
    )


SUBMERGENCE = Rule(
    id="source.submergence",
    severity=Severity.WARNING,
    title="Intake too near the surface or the bottom",
    checks="Stop level - intake >= the larger of 0.3 m and D · (1 + 2.3 · v / √(g · D)); intake >= 0.3 m "
    "above the bottom.",
    why="A shallow intake draws a funnel of air and the prime is gone; a deep one draws mud.",
    clauses={"us-2023": "ANSI/HI 9.8; common practice", "iec": PRACTICE},
    look=lambda system: each(_sources(system), _cover, _clearance),
    examine=ask,
    fires=(
        Case("stop level 0.10 m above the intake", {"switches.LS2.acts_at": "-4.4 m"}, subject="WELL"),
        Case("intake 0.2 m above the bottom", {"source.WELL.bottom": "-4.7 m"}, subject="WELL"),
    ),
    keeps_still=(Case("0.30 m above the intake", {"switches.LS2.acts_at": "-4.2 m"}),),
    sees_not="Inflow that falls into the water and carries air down.",
    acceptable=True,
)


RULES = (RECOVERY, RUN_DRY, SUBMERGENCE)
