"""Rules on the parts in a water line: whether they stand its pressure and pass its flow."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Alike, Severity
from specc.rules._delivery import against_flow, delivery_pipes, displacement_pumps, highest_pressures, reliefs
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Way

PRACTICE = "common practice, no source"

# -- valves and filters ------------------------------------------------------------------------------


def _delivery_devices(system: System) -> Iterator[tuple[Device, Pipe, Way]]:
    """Every valve and filter between a pump and a tank, with the pipe before it."""
    for pump in system.water.pumps:
        for way in system.water.ways_out(pump):
            before = way.pipes[0] if way.pipes else None
            for step in way.steps:
                if isinstance(step, Pipe):
                    before = step
                elif step.kind in ("valve", "filter") and before is not None:
                    yield step, before, way


def _device_class(system: System, subject: tuple[Device, Pipe, Way]) -> Answer:
    device, pipe, way = subject
    show, path = system.show, (*device.path, "part")
    allowed = float(need_part(device, "pressure", "pressure rating"))
    level = system.water.elevation_m(f"{device.tag}.in")
    low_m = float(way.pump.spec.elevation) if level is None else level
    worst = max(highest_pressures(system, pipe, way, low_m, device), key=lambda p: p.value)
    required, actual = show(worst.value, "pressure"), show(allowed, "pressure")
    told = f"{device.tag} stands {actual}; {worst.what} comes to {required} there."
    if reaches(allowed, worst.value):
        return satisfied(device.tag, path, told, required=required, actual=actual, calculations=(worst,))
    where = (
        "" if level is not None else f", or give the elevation of {device.tag} if it lies far above the pump"
    )
    return violated(
        device.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Take a {device.kind} rated {required} or more{where}.",
        calculations=(worst,),
    )


DEVICE_CLASS = Rule(
    id="delivery.valve-class",
    severity=Severity.DANGER,
    title="Valve or filter too weak for its pressure",
    checks="Pressure rating of every valve and filter between pump and tank >= the largest of: static "
    "pressure and surge, working pressure, 1.1 · relief setting, a centrifugal pump's shut-off pressure; "
    "each at its elevation, or at the pump's where none is given.",
    why="A filter bowl or a light valve made for the suction side bursts at the outlet of a "
    "positive-displacement pump, though every pipe holds.",
    clauses={
        "us-2023": "maker's rating; common practice, no source",
        "iec": "maker's rating; common practice, no source",
    },
    look=_delivery_devices,
    examine=_device_class,
    fires=(
        Case(
            "check valve for 300 kPa, relief opens at 350 kPa",
            {"part:check-r.pressure": "300 kPa"},
            subject="CV1",
        ),
    ),
    keeps_still=(Case("check valve for 400 kPa", {"part:check-r.pressure": "400 kPa"}),),
    sees_not="How much of its strength a plastic valve loses in the heat.",
)


# -- fittings ----------------------------------------------------------------------------------------


def _fitted_pipes(system: System) -> Iterator[tuple[Pipe, tuple[Way, ...], int]]:
    """Every fitting of a delivery, by its pipe, the ways that the pipe serves, and its number."""
    for pipe, ways in delivery_pipes(system):
        for number, fitting in enumerate(pipe.spec.fittings):
            if system.handbook.fitting_duty(fitting.name) != "no part":
                yield pipe, ways, number


def _fitting_class(system: System, subject: tuple[Pipe, tuple[Way, ...], int]) -> Answer:
    pipe, ways, number = subject
    water, show = system.water, system.show
    name, path = pipe.spec.fittings[number].name, (*pipe.path, "fittings", number)
    part: Any = system.description.catalog.fitting(name, pipe.part.size, pipe.part.family)
    if part is None:
        return unchecked(
            pipe.tag,
            path,
            f"the catalogue has no {name} of {pipe.part.size} to know its pressure rating by: add it to a "
            "catalogue of your own.",
        )
    if part.pressure is None:
        what = f"{pipe.tag}, {name}: pressure rating (catalogue part {part.id}, key pressure)"
        raise MissingDatum(what, path[:-1], "pressure")
    wall_k = water.wall_k(pipe)
    factor = water.hot_share(pipe)
    allowed = Calculation(
        f"pressure allowed for {name}, hot",
        pipe.tag,
        "pallowed",
        part.pressure * factor.value,
        "pressure",
        "PN · f(T)",
        (
            Input("PN", part.pressure, "pressure", f"{name}, catalogue part {part.id}"),
            Input("Twall", wall_k, "temperature", "hottest_wall, else the hottest air over a buried pipe"),
            Input("f", factor.value, "number", f"{factor.source}, of the pipe"),
        ),
        factor.source,
    )
    low_m = pipe.spec.low_point
    worst = max(
        (
            pressed
            for way in ways
            for pressed in highest_pressures(
                system, pipe, way, water.lower_end_m(pipe, way) if low_m is None else float(low_m)
            )
        ),
        key=lambda pressed: pressed.value,
    )
    required, actual = show(worst.value, "pressure"), show(allowed.value, "pressure")
    told = (
        f'The {name} of {pipe.tag} ("{part.id}") stands {actual} when hot; {worst.what} comes to {required}'
    )
    if reaches(allowed.value, worst.value):
        return satisfied(
            pipe.tag, path, f"{told}.", required=required, actual=actual, calculations=(allowed,)
        )
    cold = show(worst.value / factor.value, "pressure")
    return violated(
        pipe.tag,
        path,
        f"{told} at the lowest point.",
        required=required,
        actual=actual,
        fix=f"Take fittings rated {cold} or more when cold, or set the relief valve lower.",
        related=((*pipe.path, "part"),),
        calculations=(allowed, worst),
        alike=Alike(
            f'The {name} of {{}} ("{part.id}") stands {actual} when hot, and more presses on it: up to '
            f"{required}.",
            f"Take fittings rated {cold} or more when cold, or set the relief valve lower.",
        ),
    )


FITTING_CLASS = Rule(
    id="delivery.fitting-class",
    severity=Severity.DANGER,
    title="Fitting too weak for its pressure",
    checks="Rating of every fitting of a delivery · factor of the pipe's hottest wall >= the largest of: "
    "static pressure and surge, working pressure, 1.1 · relief setting, a centrifugal pump's shut-off "
    "pressure; at the pipe's lowest point, or its lower end where none is given.",
    why="A line is as strong as its weakest joint: clamped, crimped and threaded fittings often stand less "
    "than their pipe.",
    clauses={
        "us-2023": "ASTM D2609, D2466 (fittings); maker's rating; common practice",
        "iec": "ISO 17885, ISO 4427-3 (fittings); maker's rating; common practice",
    },
    look=_fitted_pipes,
    examine=_fitting_class,
    fires=(
        Case(
            "elbows of 10 bar at 40 °C: 740 kPa for a relief valve that opens at 750 kPa",
            {
                "part:elbow-r.pressure": "10 bar",
                "pipes.D3.fittings": ["elbow 90"],
                "valves.RV1.setting": "750 kPa",
            },
            subject="D3",
        ),
    ),
    keeps_still=(
        Case(
            "elbows of 6 bar at 40 °C: 444 kPa for 385 kPa",
            {"part:elbow-r.pressure": "6 bar", "pipes.D3.fittings": ["elbow 90"]},
        ),
    ),
    sees_not="Fittings of a material that bears heat less than the pipe; how well joints are made.",
)


# -- flow --------------------------------------------------------------------------------------------


def _relieved(system: System) -> Iterator[tuple[tuple[Device, ...], tuple[Device, ...]]]:
    """Relief valves that serve the same pumps, with these pumps; each set once."""
    served: dict[Device, list[Device]] = {}
    for pump in displacement_pumps(system):
        for relief in reliefs(system, pump):
            served.setdefault(relief, []).append(pump)
    by_pumps: dict[tuple[Device, ...], list[Device]] = {}
    for relief, pumps in served.items():
        by_pumps.setdefault(tuple(pumps), []).append(relief)
    return ((tuple(valves), pumps) for pumps, valves in by_pumps.items())


def _relief_capacity(system: System, subject: tuple[tuple[Device, ...], tuple[Device, ...]]) -> Answer:
    valves, pumps = subject
    show, water = system.show, system.water
    what = "flow that it passes 10 % over its setting"
    passed = tuple(
        Input("Q", float(need_part(valve, "max_flow", what)), "flow", f"{valve.tag}, part {valve.part.id}")
        for valve in valves
    )
    given = tuple(
        Input("q", water.greatest_flow_m3_s(pump), "flow", f"{pump.tag}, greatest of its data sheet")
        for pump in pumps
    )
    capacity, flow = sum(i.value for i in passed), sum(i.value for i in given)
    worked = Calculation(
        "flow that the relief valve has to pass",
        valves[0].tag,
        "Q",
        flow,
        "flow",
        "Σ of the pumps' greatest flows",
        (*given, *passed),
        "volume balance: all that the pump gives, with the line shut",
    )
    tags, names = ", ".join(v.tag for v in valves), " and ".join(p.tag for p in pumps)
    required, actual, path = show(flow, "flow"), show(capacity, "flow"), (*valves[0].path, "part")
    told = f"{tags} passes {actual}; {names} gives up to {required}"
    if reaches(capacity, flow):
        return satisfied(
            valves[0].tag, path, f"{told}.", required=required, actual=actual, calculations=(worked,)
        )
    return violated(
        valves[0].tag,
        path,
        f"{told}: with the line shut the pressure climbs on though the valve is open.",
        required=required,
        actual=actual,
        fix=f"Take a relief valve that passes {required} or more at its setting.",
        related=tuple(pump.path for pump in pumps),
        calculations=(worked,),
    )


RELIEF_CAPACITY = Rule(
    id="delivery.relief-capacity",
    severity=Severity.DANGER,
    title="Relief valve too small for the pump",
    checks="Flow that the relief valve passes 10 % over its setting (max_flow) >= the greatest flow of the "
    "pump's data sheet; of several pumps on one valve all together.",
    why="A positive-displacement pump gives its flow whatever the pressure: what the valve does not pass "
    "raises the pressure until something bursts. Every pressure here counts with an open valve that holds.",
    clauses={
        "us-2023": "ASME B31 (idea); common practice",
        "iec": "ISO 4126 (certified flow); common practice",
    },
    look=_relieved,
    examine=_relief_capacity,
    fires=(
        Case("9 L/min for a pump of 10 L/min", {"part:relief-r.max_flow": "9 L/min"}, subject="RV1"),
        Case(
            "two pumps of 10 L/min on one valve of 15 L/min",
            {
                "part:relief-r.max_flow": "15 L/min",
                "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
                "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
                "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "RV1.in", "length": "1 m"},
            },
            subject="RV1",
        ),
    ),
    keeps_still=(
        Case("10 L/min for a pump of 10 L/min", {"part:relief-r.max_flow": "10 L/min"}),
        Case("20 L/min"),
    ),
    sees_not="Voltages above those of the data sheet; back pressure in the valve's own outlet.",
)

_HELD_TO_FLOW = ("check valve", "float valve")  # they throttle: their flow must be known


def _passing(system: System) -> Iterator[tuple[Device, Device]]:
    """Filters and valves on a pump's way, each with the pump; those whose flow is known or has to be."""
    for pump in system.water.pumps:
        ways = (*system.water.ways_in(pump), *system.water.ways_out(pump))
        for device in dict.fromkeys(d for way in ways for d in way.devices):
            held = device.kind == "filter" or getattr(device.part, "type", "") in _HELD_TO_FLOW
            relief = device.kind == "valve" and device.part.type == "relief valve"  # its flow is another
            if held or (getattr(device.part, "max_flow", None) is not None and not relief):
                yield device, pump


def _over_capacity(system: System, subject: tuple[Device, Device]) -> Answer:
    device, pump = subject
    show, path = system.show, (*device.path, "part")
    made_for = float(need_part(device, "max_flow", "flow that it is made for"))
    flow = system.water.flow_through_m3_s(device, pump)
    required, actual = f"at most {show(made_for, 'flow')}", show(flow, "flow")
    told = f"{actual} run through {device.tag}, which is made for {show(made_for, 'flow')}"
    if keeps_to(flow, made_for):
        return satisfied(device.tag, path, f"{told}.", required=required, actual=actual)
    return violated(
        device.tag,
        path,
        f"{told}.",
        required=required,
        actual=actual,
        fix=f"Take a {device.kind} for {actual} or more.",
        related=((*pump.path, "part"),),
    )


OVER_CAPACITY = Rule(
    id="flow.over-capacity",
    severity=Severity.WARNING,
    title="Filter or valve too small for the flow",
    checks="Flow at the rated voltage, filter clean, other pumps on the line counted, <= the flow that a "
    "filter, check valve or float valve is made for (max_flow); other valves where the catalogue gives it.",
    why="Too fast a flow tears a filter's element or carries the dirt through it, hammers a check valve, and "
    "costs head that nobody counted.",
    clauses={"us-2023": f"maker's data; {PRACTICE}", "iec": f"maker's data; {PRACTICE}"},
    acceptable=True,
    look=_passing,
    examine=_over_capacity,
    fires=(
        Case("filter for 9 L/min", {"part:filter-r.max_flow": "9 L/min"}, subject="FL1"),
        Case("check valve for 9 L/min", {"part:check-r.max_flow": "9 L/min"}, subject="CV1"),
    ),
    keeps_still=(
        Case("filter for 20 L/min, check valve for 40 L/min"),
        Case("filter for 10 L/min", {"part:filter-r.max_flow": "10 L/min"}),
    ),
    sees_not="Check valves too large to open fully, which chatter.",
)

# -- direction ---------------------------------------------------------------------------------------


def _ways(system: System) -> Iterator[Way]:
    for pump in system.water.pumps:
        yield from (*system.water.ways_in(pump), *system.water.ways_out(pump))


def _wrong_way(system: System, way: Way) -> Iterator[Answer]:
    if not way.backwards:
        what = f"Everything between {way.start.tag} and {way.end.tag} stands with the flow."
        yield satisfied(way.pump.tag, way.pump.path, what)
    for device in way.backwards:
        filtering, suction = device.kind == "filter", way.end is way.pump
        checks = suction and system.water.holds_back(device)  # of a delivery, delivery.check-valve tells
        if not (filtering or checks or getattr(device.part, "type", "") == "float valve"):
            continue
        harm = (
            "the dirt stays on the clean side of its element"
            if filtering
            else f"no water comes to {way.end.tag}"
        )
        yield against_flow(device, way.pump, harm, Severity.WARNING if filtering else Severity.ERROR)


WRONG_WAY = Rule(
    id="flow.wrong-way",
    severity=Severity.ERROR,
    title="Valve or filter the wrong way round",
    checks="Water enters every filter, every float valve, and every check valve of a suction by its inlet. "
    "(Check valves of a delivery: delivery.check-valve.)",
    why="A check valve against the flow lets nothing pass, so that the pump runs dry; a filter fed from the "
    "wrong side cannot be cleaned, and lets go of its dirt into the pump.",
    clauses={"us-2023": f"maker's data; {PRACTICE}", "iec": f"maker's data; {PRACTICE}"},
    look=_ways,
    examine=_wrong_way,
    fires=(
        Case(
            "a check valve in the suction, its outlet to the well",
            {
                "valves.CV9": {"part": "check-r", "freeze_safe": True},
                "pipes.S2.to": "CV9.out",
                "pipes.S9": {"part": "pipe-r", "from": "CV9.in", "to": "PR1.in", "length": "0.3 m"},
            },
            subject="CV9",
        ),
        Case(
            "a float valve with its outlet to the pump",
            {
                "valves.FV1": {"part": "float-valve-1", "elevation": "22 m"},
                "pipes.D3.to": "FV1.out",
                "pipes.D9": {"part": "pipe-r", "from": "FV1.in", "to": "TK1.inlet", "length": "0.3 m"},
            },
            subject="FV1",
        ),
        Case(
            "the filter the wrong way round",
            {"pipes.S1.to": "FL1.out", "pipes.S2.from": "FL1.in"},
            severity=Severity.WARNING,
            subject="FL1",
        ),
    ),
    keeps_still=(
        Case("the reference job: all stands with the flow"),
        Case(
            "a ball valve and a priming tee, which have no direction",
            {
                "valves.BV9": {"part": "ball-valve-r", "freeze_safe": True},
                "pipes.S2.to": "PR1.out",
                "pipes.S3.from": "BV9.in",
                "pipes.S9": {"part": "pipe-r", "from": "PR1.in", "to": "BV9.out", "length": "0.3 m"},
            },
        ),
    ),
    sees_not="Fittings, which have no named ends: mind the arrow on a check or foot valve.",
)

RULES = (DEVICE_CLASS, FITTING_CLASS, RELIEF_CAPACITY, OVER_CAPACITY, WRONG_WAY)
