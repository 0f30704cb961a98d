"""Rules on a suction at its edges: a source drawn down, openings that let air in, water that stands above."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import SPRING_ABOVE
from specc.system.missing import need, need_part
from specc.system.model import Device, Path, Pipe
from specc.system.system import System
from specc.system.water import Step, Way

PRACTICE = "common practice, no source"
_LIMITLESS = ("pond", "stream")  # where no inflow is given


def _pumps(system: System) -> tuple[Device, ...]:
    return system.water.pumps


# -- drawn down to where the switch stops ------------------------------------------------------------


def _lowest(system: System, source: Device) -> tuple[float, Path] | None:
    """How far a source that does not keep up is drawn down, and what says so; None where it keeps up [m]."""
    water = system.water
    if source.spec.inflow is None and source.spec.kind in _LIMITLESS:
        return None
    inflow = float(need(source.spec.inflow, f"{source.tag}: its inflow", source.path, "inflow"))
    drawn = math.fsum(water.operating(pump, False).flow_m3_s for pump in water.drawn_by(source))
    if reaches(inflow, drawn):
        return None
    if water.low_switches(source):
        level = water.stop_level_m(source)
        switch = max(water.low_switches(source), key=lambda s: float(s.spec.acts_at))
        return level, (*switch.path, "acts_at")
    what = f"{source.tag}: elevation of the intake"
    return float(need(source.spec.intake, what, source.path, "intake")), (*source.path, "intake")


def _drawn_down(system: System, pump: Device) -> Iterator[Answer]:
    water, show = system.water, system.show
    way = water.suction(pump)
    source = way.start
    stated, found = water.pumping_level_m(source), _lowest(system, source)
    if found is None:
        message = f"{source.tag} keeps up with what is drawn: it is not drawn below its low water level."
        yield satisfied(pump.tag, pump.path, message)
        return
    level, place = found
    below = max(0.0, stated - level)
    told = (
        f"{source.tag} gives less than is drawn: it falls to {show(level, 'elevation')} before the pump stops"
    )
    related = ((*source.path, "inflow"), (*source.path, "low_water_level"))
    yield _npsh_there(system, pump, below, told, place, related)
    yield from _vacuum_there(system, way, below, told, place, related)
    if water.foot_valve(way) is None:
        yield _dry_lift_there(system, pump, level, told, place, related)


def _raise(system: System, level_m: float) -> str:
    return f"Stop the pump at {system.show(level_m, 'elevation')} or higher, or draw no more than comes in."


def _npsh_there(
    system: System, pump: Device, below: float, told: str, place: Path, related: tuple[Path, ...]
) -> Answer:
    show, available = system.show, system.water.npsh_available(pump, True)
    wanted = float(need_part(pump, "npsh_required", "NPSH required"))
    limit = wanted + system.handbook.threshold("npsh_margin_m").value
    left = Calculation(
        "NPSH available, filter dirty, source drawn down",
        pump.tag,
        "NPSHa",
        available.value - below,
        "head",
        "NPSHa at the low water level - what the water falls below it",
        (
            Input("NPSHa", available.value, "head", "at the low water level"),
            Input("Δz", below, "head", "low water level down to where the pump stops"),
        ),
        "definition of NPSH; the flow taken as at the low water level",
    )
    required, actual = show(limit, "head"), show(left.value, "head")
    if reaches(left.value, limit):
        message = f"{told}; there {pump.tag} is left {actual} of suction head."
        return satisfied(
            pump.tag, place, message, required=required, actual=actual, calculations=(available, left)
        )
    stop = system.water.pumping_level_m(system.water.suction(pump).start) - (available.value - limit)
    return violated(
        pump.tag,
        place,
        f"{told}; there {pump.tag} is left {actual} of suction head with a dirty filter, and wants "
        f"{required}.",
        required=required,
        actual=actual,
        fix=_raise(system, stop),
        related=related,
        calculations=(available, left),
    )


def _vacuum_there(
    system: System, way: Way, below: float, told: str, place: Path, related: tuple[Path, ...]
) -> Iterator[Answer]:
    water, show, pump = system.water, system.show, way.pump
    vacuum, density = water.vacuum(pump, True), water.density_kg_m3(way.start)
    there = Calculation(
        "vacuum at the pump inlet, filter dirty, source drawn down",
        pump.tag,
        "pvac",
        vacuum.value + hydraulics.pressure_from_head_pa(below, density),
        "pressure",
        "vacuum at the low water level + ρ · g · Δz",
        (
            Input("pvac", vacuum.value, "pressure", "at the low water level"),
            Input("ρ", density, "density", "water density, Kell 1975"),
            Input("Δz", below, "head", "low water level down to where the pump stops"),
        ),
        "hydrostatics",
    )
    required = show(there.value, "pressure")
    for pipe in way.pipes:
        stands = float(water.of_pipe(pipe, "vacuum", "vacuum that it stands"))
        actual, weight = show(stands, "pressure"), hydraulics.pressure_from_head_pa(1.0, density)
        if reaches(stands, there.value):
            message = f"{told}; {pipe.tag} stands the vacuum of {pump.tag} there."
            yield satisfied(pipe.tag, place, message, required=required, actual=actual, calculations=(there,))
            continue
        stop = water.pumping_level_m(way.start) - (stands - vacuum.value) / weight
        yield violated(
            pipe.tag,
            place,
            f"{told}; there {pump.tag} draws {required} of vacuum, and {pipe.tag} stands {actual}: it sucks "
            "flat.",
            required=required,
            actual=actual,
            fix=_raise(system, stop),
            related=(*related, (*pipe.path, "part")),
            calculations=(there,),
        )


def _dry_lift_there(
    system: System, pump: Device, level: float, told: str, place: Path, related: tuple[Path, ...]
) -> Answer:
    show, dry = system.show, system.water.dry_lift(pump)
    lift = float(pump.spec.elevation) - level
    required, actual = f"at most {show(dry.value, 'head')}", show(lift, "head")
    if reaches(dry.value, lift):
        message = f"{told}; {pump.tag} primes itself from there."
        return satisfied(pump.tag, place, message, required=required, actual=actual, calculations=(dry,))
    return violated(
        pump.tag,
        place,
        f"{told}; {pump.tag} has no foot valve and primes itself over {show(dry.value, 'head')}, not over "
        f"the {actual} from there.",
        required=required,
        actual=actual,
        fix=f"{_raise(system, float(pump.spec.elevation) - dry.value)} A foot valve at the intake helps too.",
        related=related,
        calculations=(dry,),
    )


_SLOW: Mapping[str, Any] = {"source.WELL.inflow": "6 L/min"}
_STRONG: Mapping[str, Any] = {"part:pipe-r.vacuum": "80 kPa"}

DRAWN_DOWN = Rule(
    id="suction.drawn-down",
    severity=Severity.ERROR,
    title="The pump loses the water before its switch stops it",
    checks="Where the pumps draw more than the inflow, the water falls below the stated low level, to where "
    "the low switch stops them (without one: to the intake). There too NPSH available >= NPSH required + "
    "0.5 m, each pipe of the suction stands the vacuum, and a pump without a foot valve primes itself.",
    why="A low level that is stated by hope is passed on the first dry day; the switch that should stop the "
    "pump then hangs deeper than the pump can draw, and it turns in steam or air all day.",
    clauses={
        "us-2023": "ANSI/HI 9.6.1 (margin); common practice",
        "iec": "ISO 9906; common practice (margin)",
    },
    look=_pumps,
    examine=_drawn_down,
    fires=(
        Case(
            "inflow 6 L/min, switch at -4.5 m: 2.97 m of 3.0 m",
            {**_SLOW, **_STRONG, "switches.LS2.acts_at": "-4.5 m"},
            subject="P1",
        ),
        Case("inflow 6 L/min, switch at -4.2 m: 60.2 kPa on pipe for 60 kPa", _SLOW, subject="S1"),
        Case(
            "inflow 6 L/min, no foot valve, dry lift 4.4 m: 4.10 m for 4.2 m",
            {
                **_SLOW,
                **_STRONG,
                "part:pump-r.self_priming_lift": "4.4 m",
                "pipes.S1.fittings": ["elbow 90", "elbow 90"],
            },
            subject="P1",
        ),
    ),
    keeps_still=(
        Case("the reference job: 15 L/min come, 10 are drawn"),
        Case("inflow 6 L/min, switch at -4.2 m: 3.27 m of 3.0 m", {**_SLOW, **_STRONG}),
        Case("inflow 6 L/min, switch at -4.17 m: 59.9 kPa", {**_SLOW, "switches.LS2.acts_at": "-4.17 m"}),
    ),
    sees_not="Whether the switch acts on the pump (see source.run-dry); of several sources of one pump all "
    "but the hardest.",
)


# -- openings that let air in ------------------------------------------------------------------------


def _air_inlets(system: System, pump: Device) -> Iterator[Answer]:
    found = False
    for way in system.water.ways_in(pump):
        for valve in _opening_valves(system, way):
            found = True
            yield _lets_in(valve.tag, valve.path, f"air valve {valve.tag}", pump)
        for pipe in _holed_pipes(system, way):
            found = True
            yield _lets_in(pipe.tag, (*pipe.path, "weep_hole"), f"weep hole of {pipe.tag}", pump)
    if not found:
        yield satisfied(pump.tag, pump.path, f"No valve and no hole lets air into the suction of {pump.tag}.")


def _lets_in(tag: str, path: Path, name: str, pump: Device) -> Answer:
    return violated(
        tag,
        path,
        f"The {name} is in the suction of {pump.tag}, where the pressure is below that of the air: it lets "
        "air in, and the prime is lost.",
        required="a suction that is tight throughout",
        actual=name,
        fix=f"Do without the {name}; lay the suction so that it rises all the way to {pump.tag}.",
        related=((*pump.path, "elevation"),),
    )


def _below_air(system: System, way: Way, elevation_m: float | None) -> bool:
    """Is the pressure at a place of a suction below that of the air while the pump runs?"""
    level = system.water.pumping_level_m(way.start)
    at = float(way.pump.spec.elevation) if elevation_m is None else elevation_m
    return not keeps_to(at, level)


def _opening_valves(system: System, way: Way) -> Iterator[Device]:
    """Air valves joined to a suction, on its line or by one pipe, above the drawn-down water."""
    nodes = {node for pipe in way.pipes for node in (pipe.start, pipe.end)} - {way.start.tag}
    pipes = system.connected.pipes.values()
    near = nodes | {node for p in pipes if {p.start, p.end} & nodes for node in (p.start, p.end)}
    for valve in system.of_kind("valve"):
        ports = {f"{valve.tag}.in", f"{valve.tag}.out"}
        if valve.part.type == "air valve" and ports & near and _below_air(system, way, valve.spec.elevation):
            yield valve


def _holed_pipes(system: System, way: Way) -> Iterator[Pipe]:
    for pipe in way.pipes:
        if pipe.spec.weep_hole and _below_air(system, way, pipe.spec.high_point):
            yield pipe


AIR_INLET = Rule(
    id="suction.air-inlet",
    severity=Severity.ERROR,
    title="An opening in the suction that lets air in",
    checks="No air valve is joined to a suction above the drawn-down water, and no pipe of it that rises "
    "above that has a weep hole.",
    why="Above the water a suction is under vacuum: what lets air out of a delivery lets it in there.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_pumps,
    examine=_air_inlets,
    fires=(
        Case(
            "an air valve at the top of the suction",
            {
                "valves.AV9": {"part": "air-valve-0.5", "elevation": "0 m", "freeze_safe": True},
                "pipes.S3.to": "AV9.in",
                "pipes.S9": {"part": "pipe-r", "from": "AV9.in", "to": "P1.in", "length": "0.3 m"},
            },
            subject="AV9",
        ),
        Case("a weep hole in the suction", {"pipes.S2.weep_hole": "1.5 mm"}, subject="S2"),
    ),
    keeps_still=(
        Case("the reference job: neither"),
        Case(
            "a weep hole in a suction that lies under the water",
            {"pipes.S1.weep_hole": "1.5 mm", "pipes.S1.high_point": "-3.5 m"},
        ),
        Case("an air valve in the delivery", {"valves.CV1.part": "air-valve-0.5"}),
    ),
    sees_not="Joints, seals and plugs that leak; drain cocks left open.",
)


# -- water that stands above the pump ----------------------------------------------------------------


def _suction_steps(system: System) -> Iterator[tuple[Step, Way]]:
    for pump in system.water.pumps:
        for way in system.water.ways_in(pump):
            yield from ((step, way) for step in way.steps if isinstance(step, Pipe) or _holds_water(step))


def _holds_water(device: Device) -> bool:
    return device.kind in ("valve", "filter")


# Below this share of its cold rating a pipe stands the pressure at any heat that the tables know.
_SMALL = 0.2


def _flooded(system: System, subject: tuple[Step, Way]) -> Answer:
    step, way = subject
    water, show, source = system.water, system.show, way.start
    level, pump = water.standing_level_m(source), way.pump
    low = float(pump.spec.elevation)
    if isinstance(step, Device):
        stated = water.elevation_m(f"{step.tag}.in")
        low = low if stated is None else stated
    elif step.spec.low_point is not None and step is not way.pipes[0]:  # the first one hangs in the water
        low = min(low, float(step.spec.low_point))
    path = (*step.path, "part")
    if keeps_to(level, low):
        return satisfied(step.tag, path, f"{source.tag} lies below {step.tag}: nothing presses on it.")
    stood = Calculation(
        "static pressure of the source",
        step.tag,
        "p",
        hydraulics.pressure_from_head_pa(level - low, water.density_kg_m3(source)),
        "pressure",
        "ρ · g · (zwater - zlow)",
        (
            Input("zwater", level, "elevation", f"{source.tag}, water_level"),
            Input("zlow", low, "elevation", f"{step.tag}, lowest point, or {pump.tag}"),
        ),
        "hydrostatics",
    )
    if isinstance(step, Pipe):
        cold = float(water.of_pipe(step, "pressure", "pressure rating"))
        stands = cold if stood.value <= _SMALL * cold else water.allowed_pressure(step).value
    else:
        stands = float(need_part(step, "pressure", "pressure rating"))
    required, actual = show(stood.value, "pressure"), show(stands, "pressure")
    told = f"The water of {source.tag} presses on {step.tag} with {required}; it stands {actual}"
    if reaches(stands, stood.value):
        return satisfied(step.tag, path, f"{told}.", required=required, actual=actual, calculations=(stood,))
    return violated(
        step.tag,
        path,
        f"{told}, by day and by night.",
        required=required,
        actual=actual,
        fix=f"Take a {step.kind if isinstance(step, Device) else 'pipe'} that stands {required} or more"
        f"{'' if isinstance(step, Device) else ' when hot'}.",
        related=((*source.path, "water_level"),),
        calculations=(stood,),
    )


_ABOVE: Mapping[str, Any] = {**SPRING_ABOVE, "tank.TK1.inlet": "70 m", "tank.TK1.overflow": "69.95 m"}

FLOODED = Rule(
    id="suction.flooded-class",
    severity=Severity.DANGER,
    title="Part of the suction too weak for the water above it",
    checks="Where the source stands above the pump, rating (of a pipe: · factor of its hottest wall) of "
    "every pipe, valve and filter of the suction >= ρ · g · (standing water - lowest point, or the pump).",
    why="Hoses and filter bowls for suction are made for vacuum; under a spring on the hill they burst, and "
    "the spring runs out.",
    clauses={
        "us-2023": "ASTM D1785, D2241, D2239 (ratings); maker's rating; common practice",
        "iec": "ISO 4427-1 Annex A; ISO 4422; maker's rating; common practice",
    },
    look=_suction_steps,
    examine=_flooded,
    fires=(
        Case(
            "a filter for 500 kPa, 60 m under a spring: 588 kPa",
            {**_ABOVE, "part:filter-r.pressure": "500 kPa", "part:pipe-r.pressure": "12 bar"},
            subject="FL1",
        ),
        Case(
            "pipe of PN 6 that gets 38 degC warm: 460 kPa for 588 kPa",
            {**_ABOVE, "part:filter-r.pressure": "600 kPa"},
            subject="S1",
        ),
    ),
    keeps_still=(
        Case("the reference job: the well lies below the pump"),
        Case(
            "a filter for 600 kPa and pipe of PN 12",
            {**_ABOVE, "part:filter-r.pressure": "600 kPa", "part:pipe-r.pressure": "12 bar"},
        ),
    ),
    sees_not="Fittings; the pump's own inlet and seal; surge when a displacement pump stops a long suction.",
)


RULES = (DRAWN_DOWN, AIR_INLET, FLOODED)
