"""Rules on the suction side: lift, losses, air, vacuum; with the drawn-down level, not the standing one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from specc.diagnostics import Severity
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._velocity import CHECKS, examine_velocity
from specc.system.missing import need, need_part
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Step, Way

PRACTICE = "common practice, no source"


def _pumps(system: System) -> tuple[Device, ...]:
    return system.water.pumps


def _suction_pipes(system: System) -> Iterator[tuple[Pipe, Way]]:
    water = system.water
    for pump in water.pumps:
        for way in water.ways_in(pump):
            yield from ((pipe, way) for pipe in way.pipes)


def _lifts(system: System, way: Way) -> bool:
    """Does the pump of a suction stand above the drawn-down water?"""
    return bool(way.pump.spec.elevation > system.water.pumping_level_m(way.start))


# -- pressure left at the inlet ----------------------------------------------------------------------


def _npsh(system: System, pump: Device) -> Answer:
    water, show = system.water, system.show
    available = water.npsh_available(pump, True)
    wanted = float(need_part(pump, "npsh_required", "NPSH required"))
    margin = system.handbook.threshold("npsh_margin_m").value
    source = water.suction(pump).start
    required, actual = show(wanted + margin, "head"), show(available.value, "head")
    path = (*pump.path, "elevation")
    if not reaches(available.value, wanted + margin):
        short = wanted + margin - available.value
        return violated(
            pump.tag,
            path,
            f"{pump.tag} is left {actual} of suction head with a dirty filter; it needs "
            f"{show(wanted, 'head')} and {show(margin, 'head')} of margin: the water would boil in it.",
            required=required,
            actual=actual,
            fix=f"Lower {pump.tag} by {show(short, 'head')} or more, take a larger suction pipe, or move "
            "the filter to the delivery side.",
            related=((*source.path, "low_water_level"),),
            calculations=(available,),
        )
    if pump.part.type == "positive displacement" and pump.part.action == "diaphragm":
        dry = water.dry_lift(pump)
        if not reaches(dry.value, water.lift_m(pump)):
            return unchecked(
                pump.tag,
                path,
                f"{pump.tag} is a diaphragm pump, and the head that its pulses take is not known: it lifts "
                f"{show(water.lift_m(pump), 'head')}, more than the maker's {show(dry.value, 'head')} here.",
            )
    return satisfied(
        pump.tag,
        path,
        f"{pump.tag} is left {actual} of suction head with a dirty filter.",
        required=required,
        actual=actual,
        calculations=(available,),
    )


NPSH = Rule(
    id="suction.npsh",
    severity=Severity.ERROR,
    title="Too little pressure left at the pump inlet",
    checks="NPSH available = (patm - pv) / (ρ · g) - lift - losses, with the drawn-down level, a dirty "
    "filter and the pulses of a piston pump, >= NPSH required + 0.5 m.",
    why="Where the pressure falls to that of steam the water boils in the pump: noise, little flow, and it "
    "wears out.",
    clauses={
        "us-2023": "ANSI/HI 9.6.1 (margin), 6.1-6.5 (acceleration head); common practice",
        "iec": "ISO 9906; ISO 2533 (air pressure); common practice (margin)",
    },
    look=_pumps,
    examine=_npsh,
    fires=(
        Case(
            "at 2400 m with water of 30 °C: 1.96 m of 3.0 m",
            {"site.elevation": "2400 m", "source.WELL.water_temperature": "30 degC"},
            subject="P1",
        ),
    ),
    keeps_still=(
        Case("the reference job: 4.07 m"),
        Case("at 1500 m: 3.08 m", {"site.elevation": "1500 m"}),
    ),
    sees_not="The pulses of diaphragm pumps, for which only the maker's lift is a measure; gas in the water.",
)


# -- priming -----------------------------------------------------------------------------------------


def _prime_height(system: System, pump: Device) -> Answer:
    water, show = system.water, system.show
    way = water.suction(pump)
    tops = [p.spec.high_point for p in way.pipes if p.spec.high_point is not None]
    tops += [z for d in way.devices if (z := water.elevation_m(f"{d.tag}.in")) is not None]
    height = max([pump.spec.elevation, *tops]) - water.standing_level_m(way.start)
    path = (*pump.path, "elevation")
    if height <= 0.0:
        return satisfied(pump.tag, path, f"{pump.tag} stands below the standing water and fills by itself.")
    dry = water.dry_lift(pump)
    required, actual = f"at most {show(dry.value, 'head')}", show(height, "head")
    if reaches(dry.value, height):
        message = f"{pump.tag} primes itself over {actual}; it can over {show(dry.value, 'head')} here."
        return satisfied(pump.tag, path, message, required=required, actual=actual, calculations=(dry,))
    held = water.foot_valve(way)
    if held is not None and dry.value == 0.0:
        message = f"{pump.tag} cannot prime itself; the foot valve of {held.tag} keeps it full."
        return satisfied(pump.tag, path, message, required=required, actual=actual, calculations=(dry,))
    if held is not None:
        after = f" The foot valve of {held.tag} keeps it full; when that leaks somebody must fill it by hand."
        fix = f"Lower {pump.tag} by {show(height - dry.value, 'head')}, or keep that foot valve tight."
    else:
        after = " It never draws the first water."
        fix = (
            f"Fit a foot valve and a priming tee, or lower {pump.tag} by {show(height - dry.value, 'head')}."
        )
    return violated(
        pump.tag,
        path,
        f"{pump.tag} must draw water up {actual} through an empty line; its dry lift is "
        f"{show(dry.value, 'head')} at this air pressure.{after}",
        required=required,
        actual=actual,
        fix=fix,
        related=((*way.start.path, "water_level"),),
        severity=Severity.WARNING if held is not None else None,
        calculations=(dry,),
    )


_NO_FOOT_VALVE: Mapping[str, Any] = {"pipes.S1.fittings": ["elbow 90", "elbow 90"]}

PRIME_HEIGHT = Rule(
    id="suction.prime-height",
    severity=Severity.ERROR,
    title="Higher above the water than the pump can prime itself",
    checks="Dry lift · patm / 101.325 kPa >= the highest point of the suction over the standing water. A "
    "foot valve that keeps the line full lowers the finding to a warning.",
    why="The dry lift of the label holds at sea level; lift with a wet head is another and larger figure.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_pumps,
    examine=_prime_height,
    fires=(
        Case(
            "dry lift 3.0 m and no foot valve: 2.79 m",
            {"part:pump-r.self_priming_lift": "3.0 m", **_NO_FOOT_VALVE},
        ),
        Case(
            "dry lift 3.0 m with a foot valve: it works until the valve leaks",
            {"part:pump-r.self_priming_lift": "3.0 m"},
            severity=Severity.WARNING,
        ),
    ),
    keeps_still=(
        Case(
            "dry lift 4.0 m: 3.72 m for 3.0 m", {"part:pump-r.self_priming_lift": "4.0 m", **_NO_FOOT_VALVE}
        ),
        Case("a pump that cannot prime itself, with a foot valve", {"part:pump-r.self_priming_lift": "0 m"}),
    ),
    sees_not="How long the pump may run dry while it primes.",
)


# -- air in the line ---------------------------------------------------------------------------------


def _start_m(system: System, pipe: Pipe, way: Way) -> float:
    """Elevation at which a suction pipe begins: the intake, or where the pipe before it ends [m]."""
    water = system.water
    number = way.pipes.index(pipe)
    if number == 0:
        intake = water.elevation_m(way.start.tag)
        return water.pumping_level_m(way.start) if intake is None else intake
    return _end_m(system, way.pipes[number - 1], way)


def _end_m(system: System, pipe: Pipe, way: Way) -> float:
    """Elevation at which a suction pipe ends: pump, stated device, or else its own highest point [m]."""
    water = system.water
    node = pipe.end if pipe.end in _nodes_after(pipe, way) else pipe.start
    known = water.elevation_m(node)
    return _high_m(pipe) if known is None else known


def _nodes_after(pipe: Pipe, way: Way) -> tuple[str, ...]:
    """Nodes of what follows a pipe on its way."""
    after = way.steps[way.steps.index(pipe) + 1 :]
    following = after[0] if after else way.end
    if isinstance(following, Pipe):
        return (following.start, following.end)
    return (following.tag, f"{following.tag}.in", f"{following.tag}.out")


def _high_m(pipe: Pipe) -> float:
    what = f"{pipe.tag}: the elevation of its highest point"
    return float(need(pipe.spec.high_point, what, pipe.path, "high_point"))


def _high_point(system: System, subject: tuple[Pipe, Way]) -> Answer | None:
    pipe, way = subject
    show, pump = system.show, way.pump
    high, path = _high_m(pipe), (*pipe.path, "high_point")
    if (end_m := _end_m(system, pipe, way)) > high:  # what it leads to stands higher than it is said to rise
        high = end_m
    inlet, level = float(pump.spec.elevation), system.water.pumping_level_m(way.start)
    if not keeps_to(high, max(inlet, level)):
        over = high - max(inlet, level)
        return violated(
            pipe.tag,
            path,
            f"{pipe.tag} rises to {show(high, 'elevation')}, {show(over, 'head')} above the inlet of "
            f"{pump.tag}: air gathers there and the prime is lost.",
            required=f"at most {show(max(inlet, level), 'elevation')}",
            actual=show(high, "elevation"),
            fix=f"Lay {pipe.tag} at least {show(over, 'head')} lower, rising all the way to {pump.tag}.",
            related=((*pump.path, "elevation"),),
        )
    if inlet <= level:
        return satisfied(pipe.tag, path, f"{pipe.tag} lies below the water.")
    slope = system.handbook.threshold("suction_slope").value
    start, end = _start_m(system, pipe, way), _end_m(system, pipe, way)
    if not keeps_to(start, max(inlet, level)):
        return None  # it falls from a hump that is told of where it stands
    dips = pipe.spec.low_point is not None and pipe is not way.pipes[0]
    fall = start - min(end, pipe.spec.low_point if dips else end)
    wanted = slope * pipe.spec.length
    required, actual = f"a rise of {show(wanted, 'head')}", f"a rise of {show(end - start, 'head')}"
    fix = f"Regrade {pipe.tag} to rise {show(wanted, 'head')} or more towards {pump.tag}."
    if not keeps_to(fall, 0.0):
        message = f"{pipe.tag} falls {show(fall, 'head')} on its way to {pump.tag}: air gathers before it."
        return violated(
            pipe.tag, path, message, required=required, actual=f"a fall of {show(fall, 'head')}", fix=fix
        )
    if not reaches(end - start, wanted):
        message = (
            f"{pipe.tag} rises {show(end - start, 'head')} over {show(pipe.spec.length, 'length')}, less "
            f"than 1 in {1.0 / slope:.0f}: air stays in it."
        )
        return violated(pipe.tag, path, message, required=required, actual=actual, fix=fix)
    return satisfied(
        pipe.tag, path, f"{pipe.tag} rises towards {pump.tag}.", required=required, actual=actual
    )


HIGH_POINT = Rule(
    id="suction.high-point",
    severity=Severity.WARNING,
    title="Suction line does not rise all the way to the pump",
    checks="No point of a lifted suction lies above the pump inlet, none falls towards the pump, and each "
    "pipe rises 1 in 50 or more.",
    why="Air comes out of the water under vacuum and gathers at any high place until the pump loses its "
    "prime.",
    clauses={"us-2023": "ANSI/HI 9.6.6 (piping); common practice (slope)", "iec": PRACTICE},
    look=_suction_pipes,
    examine=_high_point,
    fires=(
        Case("a hump at +0.30 m before the inlet", {"pipes.S1.high_point": "0.3 m"}, subject="S1"),
        Case("a filter 0.30 m above the inlet", {"filters.FL1.elevation": "0.3 m"}, subject="S1"),
        Case(
            "6 m that rise 0.10 m", {"pipes.S2.high_point": "-0.1 m", "pipes.S3.length": "6 m"}, subject="S3"
        ),
    ),
    keeps_still=(
        Case("6 m that rise 0.12 m, 1 in 50", {"pipes.S2.high_point": "-0.12 m", "pipes.S3.length": "6 m"}),
    ),
    sees_not="The shape of a pipe between the elevations given; reducers with the slope on top.",
    acceptable=True,
)


# -- what holds the prime ----------------------------------------------------------------------------


def _foot_valve(system: System, pump: Device) -> Iterator[Answer]:
    for way in system.water.suctions(pump):
        yield _foot_valve_on(system, way)
        yield from _second_checks(system, way)


def _foot_valve_on(system: System, way: Way) -> Answer:
    water, show, pump = system.water, system.show, way.pump
    path = (*way.pipes[0].path, "fittings") if way.pipes else pump.path
    if not _lifts(system, way):
        return satisfied(pump.tag, path, f"{pump.tag} is flooded by {way.start.tag}: it needs no foot valve.")
    foot = water.foot_valve(way)
    if foot is not None:
        return satisfied(pump.tag, path, f"{foot.tag} has a foot valve at the intake.", actual="foot valve")
    dry, lift = water.dry_lift(pump), pump.spec.elevation - water.pumping_level_m(way.start)
    required, actual = f"foot valve, or a dry lift of {show(lift, 'head')}", show(dry.value, "head")
    if reaches(dry.value, lift):
        message = f"{pump.tag} primes itself over {show(lift, 'head')}: it needs no foot valve."
        return satisfied(pump.tag, path, message, required=required, actual=actual, calculations=(dry,))
    able = "cannot prime itself" if dry.value == 0.0 else f"primes itself over no more than {actual}"
    return violated(
        pump.tag,
        path,
        f"{pump.tag} {able}, stands {show(lift, 'head')} above the drawn-down water of {way.start.tag}, and "
        "no foot valve keeps its suction full.",
        required=required,
        actual=actual,
        fix="Fit a foot valve with strainer at the intake of "
        f"{way.pipes[0].tag if way.pipes else way.start.tag}.",
        related=((*pump.path, "part"),),
        calculations=(dry,),
    )


def _second_checks(system: System, way: Way) -> Iterator[Answer]:
    water = system.water
    if water.foot_valve(way) is None:
        return
    for step in way.steps[1:]:
        if water.holds_back(step):
            yield violated(
                step.tag,
                step.path,
                f"{step.tag} is a second check valve in the suction of {way.pump.tag}: it hides a leaking "
                "foot valve, and the line drains badly.",
                fix=f"Take out the check valve of {step.tag}; keep the foot valve, and one check valve on "
                "the delivery.",
                severity=Severity.ADVICE,
            )


_CENTRIFUGAL: Mapping[str, Any] = {
    "part:pump-r.type": "centrifugal",
    "part:pump-r.self_priming_lift": "0 m",
}

FOOT_VALVE = Rule(
    id="suction.foot-valve",
    severity=Severity.ERROR,
    title="Nothing keeps the suction line full",
    checks="A pump above its water that cannot prime itself down to the drawn-down level has a foot valve "
    "at the intake. A second check valve higher in the suction is advised against.",
    why="A line that empties overnight leaves a pump that turns in air every morning.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_pumps,
    examine=_foot_valve,
    fires=(
        Case(
            "centrifugal pump above the water, no foot valve",
            {**_CENTRIFUGAL, **_NO_FOOT_VALVE},
            subject="P1",
        ),
        Case(
            "a check valve at the pump beside the foot valve",
            {"pipes.S3.fittings": ["check valve"]},
            severity=Severity.ADVICE,
            subject="S3",
        ),
    ),
    keeps_still=(
        Case("self-priming pump within its dry lift, no foot valve", _NO_FOOT_VALVE),
        Case("centrifugal pump with a foot valve", _CENTRIFUGAL),
    ),
    sees_not="Leaks of the foot valve and of the joints.",
)


def _held_suctions(system: System) -> Iterator[Way]:
    water = system.water
    for pump in water.pumps:
        yield from (
            way for way in water.ways_in(pump) if water.foot_valve(way) is not None and _lifts(system, way)
        )


def _fill_height_m(step: Step) -> float:
    """Elevation of a fill plug [m]."""
    if isinstance(step, Pipe):
        return _high_m(step)
    return float(need(step.spec.elevation, f"{step.tag}: the elevation of its plug", step.path, "elevation"))


def _priming_port(system: System, way: Way) -> Answer:
    water, show, pump = system.water, system.show, way.pump
    ahead: list[Step] = list(way.steps)
    ahead += water.downstream(pump, water.holds_back)
    ports = [step for step in ahead if "fill point" in water.duties(step)]
    inlet = float(pump.spec.elevation)
    high = [step for step in ports if reaches(_fill_height_m(step), inlet)]
    if high:
        height = show(_fill_height_m(high[0]), "elevation")
        return satisfied(pump.tag, high[0].path, f"{pump.tag} is filled at {high[0].tag}.", actual=height)
    found = ", ".join(f"{step.tag} at {show(_fill_height_m(step), 'elevation')}" for step in ports)
    return violated(
        pump.tag,
        ports[0].path if ports else pump.path,
        f"{pump.tag} has no place to fill it above its inlet and before the first check valve of the delivery"
        + (f"; there is only {found}." if ports else "."),
        required=f"a fill plug at {show(inlet, 'elevation')} or higher",
        actual=found or "none",
        fix=f"Fit a priming tee with a plug at the highest point of {pump.tag}, at "
        f"{show(inlet, 'elevation')} or higher.",
    )


PRIMING_PORT = Rule(
    id="suction.priming-port",
    severity=Severity.WARNING,
    title="No place to fill pump and suction",
    checks="A lifted suction with a foot valve has a fill point not below the pump inlet, before the first "
    "check valve of the delivery.",
    why="Without one the line cannot be filled the first time, nor after the foot valve has leaked.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_held_suctions,
    examine=_priming_port,
    fires=(
        Case(
            "no priming tee",
            {"valves.PR1": None, "pipes.S3": None, "pipes.S2.to": "P1.in"},
            subject="P1",
        ),
        Case("the plug of the priming tee below the inlet", {"valves.PR1.elevation": "-0.1 m"}),
    ),
    keeps_still=(Case("the reference job: priming tee 0.1 m above the inlet"),),
    sees_not="Whether the air has a way out while filling.",
)


# -- filter and hose ---------------------------------------------------------------------------------


def _filtered_pumps(system: System) -> Iterator[Device]:
    for pump in system.water.pumps:
        displacement = pump.part.type == "positive displacement"
        wanted = displacement if pump.part.needs_filter is None else pump.part.needs_filter
        if wanted or any(d.kind == "filter" for way in system.water.ways_in(pump) for d in way.devices):
            yield pump


def _filter(system: System, pump: Device) -> Iterator[Answer]:
    water, show = system.water, system.show
    way = water.suction(pump)
    filters = [d for d in way.devices if d.kind == "filter"]
    if not filters:
        yield violated(
            pump.tag,
            (*pump.path, "part"),
            f"{pump.tag} needs a filter ahead of it and has none in its suction.",
            required="filter in the suction",
            actual="none",
            fix=f"Fit a filter between the foot valve and {pump.tag}; count its drop when dirty.",
        )
        return
    for device in filters:
        yield from _mesh(device, pump)
    available = water.npsh_available(pump, True)
    wanted = float(need_part(pump, "npsh_required", "NPSH required"))
    limit = wanted + system.handbook.threshold("npsh_margin_m").value
    flow = water.operating(pump, True).flow_m3_s
    drop = sum(water.device_loss_m(d, flow, dirty=True) for d in filters)
    tags, path = ", ".join(d.tag for d in filters), (*filters[0].path, "part")
    required, actual = show(limit, "head"), show(available.value, "head")
    if reaches(available.value, limit):
        message = f"{tags} takes {show(drop, 'head')} when dirty and leaves {pump.tag} {actual}."
        yield satisfied(tags, path, message, required=required, actual=actual, calculations=(available,))
        return
    spare = max(0.0, drop - (limit - available.value))
    yield violated(
        tags,
        path,
        f"{tags} takes {show(drop, 'head')} when dirty; that leaves {pump.tag} {actual} of suction head, "
        f"and {required} is wanted.",
        required=required,
        actual=actual,
        fix=f"Take a larger or coarser filter that drops {show(spare, 'head')} or less when dirty, and fit "
        "a vacuum gauge after it.",
        related=((*pump.path, "part"),),
        calculations=(available,),
    )


def _mesh(device: Device, pump: Device) -> Iterator[Answer]:
    coarsest = pump.part.filter_mesh
    if coarsest is None:
        return
    mesh, path = int(need_part(device, "mesh", "mesh")), (*device.path, "part")
    if mesh >= coarsest:
        yield satisfied(
            device.tag, path, f"{device.tag} is fine enough for {pump.tag}.", actual=f"mesh {mesh}"
        )
        return
    yield violated(
        device.tag,
        path,
        f"{device.tag} has mesh {mesh}; {pump.tag} wants mesh {coarsest} or finer.",
        required=f"mesh {coarsest}",
        actual=f"mesh {mesh}",
        fix=f"Take a filter of mesh {coarsest}.",
        related=((*pump.path, "part"),),
    )


FILTER = Rule(
    id="suction.filter",
    severity=Severity.WARNING,
    title="Filter missing, too coarse, or too tight when dirty",
    checks="A positive-displacement pump has a filter in its suction, as fine as its maker asks; with the "
    "filter dirty NPSH available >= NPSH required + 0.5 m.",
    why="Sand scores vanes and valves; a filter that is sized by its clean drop starves the pump before it "
    "is cleaned.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_filtered_pumps,
    examine=_filter,
    fires=(
        Case("drop 2.6 m when dirty: 2.97 m of 3.0 m", {"part:filter-r.dirty_drop": "2.6 m"}, subject="FL1"),
        Case(
            "no filter ahead of a vane pump",
            {"filters.FL1": None, "pipes.S2": None, "pipes.S1.to": "PR1.in"},
            subject="P1",
        ),
        Case("mesh 60 where the pump wants 100", {"part:pump-r.filter_mesh": 100}, subject="FL1"),
    ),
    keeps_still=(Case("drop 2.5 m when dirty: 3.07 m", {"part:filter-r.dirty_drop": "2.5 m"}),),
    sees_not="Valves on both sides, and room to take out the element: look before building.",
    acceptable=True,
)


def _collapse(system: System, subject: tuple[Pipe, Way]) -> Answer:
    pipe, way = subject
    water, show = system.water, system.show
    vacuum = water.vacuum(way.pump, True)
    stands = float(water.of_pipe(pipe, "vacuum", "vacuum that it stands"))
    required, actual = show(vacuum.value, "pressure"), show(stands, "pressure")
    path = (*pipe.path, "part")
    if not reaches(stands, vacuum.value):
        return violated(
            pipe.tag,
            path,
            f"{pipe.tag} stands a vacuum of {actual}; {way.pump.tag} draws {required} with a dirty filter: "
            "it sucks flat.",
            required=required,
            actual=actual,
            fix=f"Take reinforced suction hose or rigid pipe that stands {required} or more.",
            calculations=(vacuum,),
        )
    message = f"{pipe.tag} stands the vacuum of {way.pump.tag}."
    return satisfied(pipe.tag, path, message, required=required, actual=actual, calculations=(vacuum,))


COLLAPSE = Rule(
    id="suction.collapse",
    severity=Severity.ERROR,
    title="Suction hose collapses under the vacuum",
    checks="Vacuum that the pipe stands >= ρ · g · (lift + all losses with a dirty filter).",
    why="A hose that goes flat stops the flow while the motor labours on.",
    clauses={"us-2023": PRACTICE, "iec": "ISO 7233 (vacuum test of hoses); common practice"},
    look=_suction_pipes,
    examine=_collapse,
    fires=(Case("pipe for 50 kPa: 52.4 kPa", {"part:pipe-r.vacuum": "50 kPa"}, subject="S1"),),
    keeps_still=(Case("pipe for 60 kPa", {"part:pipe-r.vacuum": "60 kPa"}),),
    sees_not="Soft hose in the heat, for which no table is at hand.",
)


# -- hose that lets air in ---------------------------------------------------------------------------


def _lets_air_in(system: System, subject: tuple[Pipe, Way]) -> Answer:
    pipe, way = subject
    path = (*pipe.path, "part")
    if pipe.part.material != "hose":
        return satisfied(pipe.tag, path, f"The wall of {pipe.tag} ({pipe.part.material}) lets no air in.")
    if not _lifts(system, way) and system.water.vacuum(way.pump, True).value <= 0.0:
        return satisfied(pipe.tag, path, f"{pipe.tag} is under pressure: no air comes in.")
    airtight = system.water.of_pipe(
        pipe, "airtight", "whether its wall is airtight, as of a hose for suction"
    )
    required = "a hose made for suction, or rigid pipe"
    if airtight:
        return satisfied(
            pipe.tag, path, f"{pipe.tag} is made for suction.", required=required, actual="so made"
        )
    return violated(
        pipe.tag,
        path,
        f'{pipe.tag} ("{pipe.part.id}") is no hose for suction: under vacuum its wall lets air in, and '
        f"{way.pump.tag} loses its prime though nothing drips.",
        required=required,
        actual="not airtight",
        fix="Take suction hose with a helix, or rigid pipe.",
        related=((*way.pump.path, "elevation"),),
    )


PERMEABLE_HOSE = Rule(
    id="suction.permeable-hose",
    severity=Severity.ERROR,
    title="Suction hose whose wall lets air in",
    checks="A hose in a suction under vacuum is made for suction (airtight in the catalogue).",
    why="Woven and porous hose holds water under pressure and breathes air under vacuum: the pump draws "
    "bubbles, and the leak is never seen.",
    clauses={"us-2023": PRACTICE, "iec": "ISO 1307 (idea); common practice"},
    look=_suction_pipes,
    examine=_lets_air_in,
    fires=(
        Case(
            "woven hose ahead of the pump",
            {"part:pipe-r.material": "hose", "part:pipe-r.airtight": False},
            subject="S1",
        ),
    ),
    keeps_still=(
        Case("suction hose", {"part:pipe-r.material": "hose", "part:pipe-r.airtight": True}),
        Case("polyethylene pipe"),
    ),
    sees_not="Joints and clamps that leak air; hose that has aged.",
)


# -- velocity ----------------------------------------------------------------------------------------


def _drawn_pipes(system: System) -> Iterator[tuple[Pipe, tuple[Device, ...]]]:
    """Every suction pipe with the pumps that draw through it."""
    drawn: dict[Pipe, dict[Device, None]] = {}
    for pipe, way in _suction_pipes(system):
        drawn.setdefault(pipe, {})[way.pump] = None
    return ((pipe, tuple(pumps)) for pipe, pumps in drawn.items())


def _velocity(system: System, subject: tuple[Pipe, tuple[Device, ...]]) -> Answer:
    pipe, pumps = subject
    return examine_velocity(system, pipe, pumps, "the losses of a suction grow fast, and air comes out")


VELOCITY = Rule(
    id="suction.velocity",
    severity=Severity.ADVICE,
    title="Water runs fast in the suction",
    checks=CHECKS,
    why="What the suction loses the pump must lift with the air's pressure alone; slow water is free lift.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    acceptable=True,
    look=_drawn_pipes,
    examine=_velocity,
    fires=(Case("pipe of 11 mm bore: 1.75 m/s", {"part:pipe-r.bore": "11 mm"}, subject="S1"),),
    keeps_still=(Case("pipe of 12 mm bore: 1.47 m/s", {"part:pipe-r.bore": "12 mm"}),),
    sees_not="Fittings narrower than their pipe.",
)


RULES = (NPSH, PRIME_HEIGHT, HIGH_POINT, FOOT_VALVE, PRIMING_PORT, FILTER, COLLAPSE, PERMEABLE_HOSE, VELOCITY)
