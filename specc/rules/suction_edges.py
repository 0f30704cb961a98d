"""Rules on a suction at its edges: drawn down, over the rated volts, open to the air, flooded from above."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.physics import hydraulics, pumps
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._settling import driving_v
from specc.rules._variants import SPRING_ABOVE
from specc.system.missing import need, need_part
from specc.system.model import Device, Path, Pipe
from specc.system.system import System
from specc.system.water import Step, Way

PRACTICE = "common practice, no source"
_NEAR = 0.002  # as close as a flow is looked for
_STEPS = 40
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


# -- at the highest voltage --------------------------------------------------------------------------


def _flow_m3_s(system: System, pump: Device, volts: float, least: float, most: float) -> float:
    """Where pump curve and pipe meet at a voltage, filter dirty, between two flows; never too low [m³/s]."""
    water = system.water
    table, displacement = water.table(pump), pump.part.type == "positive displacement"

    def excess(flow: float) -> float:
        head = max(0.0, water.total_head_m(pump, flow, dirty=True))
        return pumps.pump_point(table, volts, head, displacement=displacement).flow_m3_s - flow

    over, under = excess(least), excess(most)
    for step in range(_STEPS):
        if most - least <= _NEAR * most or not over > 0.0 > under:
            break
        # A little past the secant, so that the upper end comes down too; every third step halves.
        share = 0.5 if step % 3 == 2 else over / (over - under)
        middle = least + (most - least) * share + (0.3 * _NEAR * most if step % 3 != 2 else 0.0)
        if not least < middle < most:
            middle = (least + most) / 2.0
        here = excess(middle)
        if here > 0.0:
            least, over = middle, here
        else:
            most, under = middle, here
    return most


def _over_rated(system: System, pump: Device) -> Iterator[Answer]:
    water, show = system.water, system.show
    way, path = water.suction(pump), (*pump.path, "part")
    rated_v = float(pump.part.nominal_voltage)
    displacement, table = pump.part.type == "positive displacement", water.table(pump)
    head, rated = max(0.0, water.total_head(pump, True).value), water.operating(pump, True).flow_m3_s

    def at(volts: float) -> pumps.PumpPoint:
        """At the head of the rated voltage: more flow meets more head, so that both read a little high."""
        return pumps.pump_point(table, volts, head, displacement=displacement)

    volts = driving_v(system, pump, lambda v: at(v).current_a)
    if keeps_to(volts, rated_v):
        yield satisfied(pump.tag, path, f"{pump.tag} never runs over its rated {show(rated_v, 'voltage')}.")
        return
    flow = _flow_m3_s(system, pump, volts, rated, max(rated, at(volts).flow_m3_s))
    more = water.loss_m(way, flow, dirty=True) - water.loss_m(way, rated, dirty=True)
    pulses = water.acceleration_m(pump, flow) - water.acceleration_m(pump, rated)
    driven = (
        Input("V", volts, "voltage", f"highest at which {pump.tag} is driven"),
        Input("Q", flow, "flow", f"{pump.tag} at V, filter dirty"),
        Input("Δh", more, "head", "losses at Q less those at the rated voltage"),
    )
    told = f"Driven at {show(volts, 'voltage', 3)}, {pump.tag} gives {show(flow, 'flow', 3)}"
    yield _npsh_driven(system, pump, more + pulses, told, driven)
    yield from _vacuum_driven(system, way, more, told, driven)


def _npsh_driven(system: System, pump: Device, more: float, told: str, driven: tuple[Input, ...]) -> Answer:
    show, available = system.show, system.water.npsh_available(pump, True)
    wanted, path = float(need_part(pump, "npsh_required", "NPSH required")), (*pump.path, "part")
    left = Calculation(
        "NPSH available, filter dirty, highest voltage",
        pump.tag,
        "NPSHa",
        available.value - more,
        "head",
        "NPSHa at the rated voltage - Δh - what the pulses take more",
        (Input("NPSHa", available.value, "head", "at the rated voltage"), *driven),
        "definition of NPSH; speed of the motor as its volts",
    )
    required, actual = show(wanted, "head"), show(left.value, "head")
    told += f", and is left {actual} of suction head with a dirty filter"
    if reaches(left.value, wanted):
        return satisfied(pump.tag, path, f"{told}.", required=required, actual=actual, calculations=(left,))
    return violated(
        pump.tag,
        path,
        f"{told}; it needs {required}: in full sun the water boils in it.",
        required=required,
        actual=actual,
        fix="Clean the filter early (a vacuum gauge after it tells), take a larger filter or suction pipe, "
        "or set the controller's output lower.",
        calculations=(available, left),
    )


def _vacuum_driven(
    system: System, way: Way, more: float, told: str, driven: tuple[Input, ...]
) -> Iterator[Answer]:
    water, show, pump = system.water, system.show, way.pump
    vacuum = water.vacuum(pump, True)
    there = Calculation(
        "vacuum at the pump inlet, filter dirty, highest voltage",
        pump.tag,
        "pvac",
        vacuum.value + hydraulics.pressure_from_head_pa(more, water.density_kg_m3(way.start)),
        "pressure",
        "vacuum at the rated voltage + ρ · g · Δh",
        (Input("pvac", vacuum.value, "pressure", "at the rated voltage"), *driven),
        "hydrostatics",
    )
    required = show(there.value, "pressure")
    for pipe in way.pipes:
        stands = float(water.of_pipe(pipe, "vacuum", "vacuum that it stands"))
        actual, path = show(stands, "pressure"), (*pipe.path, "part")
        if reaches(stands, there.value):
            yield satisfied(
                pipe.tag,
                path,
                f"{told}; {pipe.tag} stands its vacuum.",
                required=required,
                actual=actual,
                calculations=(there,),
            )
            continue
        yield violated(
            pipe.tag,
            path,
            f"{told}, draws {required} of vacuum with a dirty filter, and {pipe.tag} stands {actual}: it "
            "sucks flat.",
            required=required,
            actual=actual,
            fix=f"Take reinforced suction hose or rigid pipe that stands {required} or more.",
            calculations=(there,),
        )


OVER_RATED = Rule(
    id="suction.over-rated",
    severity=Severity.WARNING,
    title="Too little pressure left at the pump inlet in full sun",
    checks="At the highest voltage that drives the pump (a controller's output, a battery being charged, the "
    "array's curve) it gives more than its rated flow; with a dirty filter NPSH available >= NPSH required "
    "there too, and each pipe of the suction stands the vacuum.",
    why="A pump on a 24 V class controller runs at 28 V for much of a bright day: a sixth more water, and a "
    "third more lost in filter and fittings.",
    clauses={
        "us-2023": "ANSI/HI 9.6.1 (idea); common practice",
        "iec": "ISO 9906 (idea); common practice",
    },
    acceptable=True,
    look=_pumps,
    examine=_over_rated,
    fires=(
        Case(
            "drop 2.5 m when dirty, 28 V on 24 V: 2.01 m of 2.5 m",
            {"part:filter-r.dirty_drop": "2.5 m"},
            subject="P1",
        ),
        Case("pipe for 58 kPa: 59.3 kPa", {"part:pipe-r.vacuum": "58 kPa"}, subject="S1"),
    ),
    keeps_still=(
        Case("the reference job: 3.37 m at 28 V"),
        Case(
            "drop 2.5 m when dirty, and an output clamp of 24 V",
            {"part:filter-r.dirty_drop": "2.5 m", "controllers.CB1.output_clamp": "24 V"},
        ),
    ),
    sees_not="That NPSH required grows with the flow: ask the maker for its curve.",
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


RULES = (DRAWN_DOWN, OVER_RATED, AIR_INLET, FLOODED)
