"""Rules on the delivery side: head, pipe class, relief, and what falls back when the pump stops."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from specc.calculation import Calculation
from specc.diagnostics import Severity
from specc.rules._delivery import (
    against_flow,
    delivery_pipes,
    displacement_pumps,
    highest_pressures,
    obstructs,
    reached_reliefs,
    reliefs,
    setting_pa,
)
from specc.rules._limits import keeps_to, reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.rules._variants import SPRING_ABOVE
from specc.rules._velocity import CHECKS, examine_velocity
from specc.system.missing import MissingDatum, need_part
from specc.system.model import Device, Path, Pipe
from specc.system.system import System
from specc.system.water import Step, Way

PRACTICE = "common practice, no source"


def _pumps(system: System) -> tuple[Device, ...]:
    return system.water.pumps


# -- total head --------------------------------------------------------------------------------------


def _total_head(system: System, pump: Device) -> Answer:
    water, show = system.water, system.show
    head, flow = water.total_head(pump, True), water.operating(pump, True).flow_m3_s
    limit = water.vouched_head_m(pump)
    required, actual = f"at most {show(limit, 'head')}", show(head.value, "head")
    path, related = (*pump.path, "part"), ((*water.delivery(pump).end.path, "inlet"),)
    if flow <= 0.0 or not keeps_to(head.value, limit):
        at = f"at {show(flow, 'flow')}" if flow > 0.0 else "before any water flows"
        return violated(
            pump.tag,
            path,
            f"{pump.tag} has to make {actual} {at}, filter dirty; its maker vouches for "
            f"{show(limit, 'head')}.",
            required=required,
            actual=actual,
            fix=f"Take another pump for {actual} or more, or save "
            f"{show(max(0.0, head.value - limit), 'head')} by larger pipe or a lower inlet.",
            related=related,
            calculations=(head,),
        )
    message = f"{pump.tag} makes {actual} at {show(flow, 'flow')}, filter dirty."
    return satisfied(pump.tag, path, message, required=required, actual=actual, calculations=(head,))


TOTAL_HEAD = Rule(
    id="delivery.total-head",
    severity=Severity.ERROR,
    title="More head than the pump makes",
    checks="(highest place of the delivery - drawn-down level) + friction + fittings + dirty filter, at the "
    "flow where pump and pipe meet, <= the head that the data sheet vouches for with flow; not the shut-off "
    "head.",
    why="A pump at its limit gives a trickle, draws its highest current, and wears out.",
    clauses={
        "us-2023": "pump data sheet; energy equation; ANSI/HI test codes",
        "iec": "pump data sheet; ISO 9906",
    },
    look=_pumps,
    examine=_total_head,
    fires=(
        Case("tank inlet at +36 m: 42.58 m of 41.87 m", {"tank.TK1.inlet": "36 m"}, subject="P1"),
        Case(
            "a check valve at +36 m, on a rise before the tank",
            {"valves.CV1.elevation": "36 m"},
            subject="P1",
        ),
    ),
    keeps_still=(Case("tank inlet at +35 m: 41.58 m", {"tank.TK1.inlet": "35 m"}),),
    sees_not="Other voltages than the rated one; a worn pump.",
)


# -- pipe class --------------------------------------------------------------------------------------


def _pipe_class(system: System, subject: tuple[Pipe, tuple[Way, ...]]) -> Answer:
    pipe, ways = subject
    water, show = system.water, system.show
    allowed = water.allowed_pressure(pipe)
    lows = [(way, water.lowest_m(pipe, way)) for way in ways]
    worst = max(
        (p for way, low_m in lows for p in highest_pressures(system, pipe, way, low_m)),
        key=lambda p: p.value,
    )
    required, actual = show(worst.value, "pressure"), show(allowed.value, "pressure")
    numbers = (allowed, worst, *(water.surge(pipe, way.pump) for way in ways))
    path = (*pipe.path, "part")
    if reaches(allowed.value, worst.value):
        message = f"{pipe.tag} stands {actual} when hot; at most {required} presses on it."
        return satisfied(pipe.tag, path, message, required=required, actual=actual, calculations=numbers)
    if pipe.spec.low_point is None:
        at_ends = max(
            (p for way in ways for p in highest_pressures(system, pipe, way, water.lower_end_m(pipe, way))),
            key=lambda p: p.value,
        )
        if reaches(allowed.value, at_ends.value):
            return _low_point_assumed(system, pipe, ways, worst, numbers)
        worst, required = at_ends, show(at_ends.value, "pressure")
    factor = allowed.inputs[2].value
    return violated(
        pipe.tag,
        path,
        f"{pipe.tag} stands {actual} at {show(allowed.inputs[1].value, 'temperature')}; {worst.what} comes "
        f"to {required} at its lowest point.",
        required=required,
        actual=actual,
        fix=f"Take pipe rated {show(worst.value / factor, 'pressure')} or more when cold, or keep it cooler "
        "by burying it.",
        related=((*pipe.path, "hottest_wall"), (*pipe.path, "low_point")),
        calculations=numbers,
    )


def _low_point_assumed(
    system: System, pipe: Pipe, ways: tuple[Way, ...], worst: Calculation, numbers: tuple[Calculation, ...]
) -> Answer:
    """It stands the pressure at its lower end, and would not as far down as its length lets it hang."""
    water, show = system.water, system.show
    end_m = min(water.lower_end_m(pipe, way) for way in ways)
    deepest_m = min(water.lowest_m(pipe, way) for way in ways)
    allowed = numbers[0].value
    return violated(
        pipe.tag,
        (*pipe.path, "low_point"),
        f"The lowest point of {pipe.tag} is not given: {show(end_m, 'elevation')}, its lower end, is "
        f"assumed, and there it stands the pressure. At {show(deepest_m, 'elevation')}, as far down as its "
        f"length lets it hang, {worst.what} would come to {show(worst.value, 'pressure')}, and it stands "
        f"{show(allowed, 'pressure')}.",
        required="low_point",
        actual="assumed",
        fix=f"Give low_point of {pipe.tag}: the lowest elevation that it passes.",
        severity=Severity.WARNING,
        calculations=numbers,
    )


_SHUT_BELOW: Mapping[str, Any] = {
    **SPRING_ABOVE,
    "valves.FV1": {"part": "float-valve-1", "elevation": "22 m", "freeze_safe": True},
    "pipes.D3.to": "FV1.in",
    "pipes.D4": {"part": "pipe-r", "from": "FV1.out", "to": "TK1.inlet", "length": "0.5 m", "buried": "1 m"},
}

PIPE_CLASS = Rule(
    id="delivery.pipe-class",
    severity=Severity.DANGER,
    title="Pipe too weak for its pressure",
    checks="Rating · factor of the hottest wall >= the largest of: static pressure (of the tank, or of a "
    "source that stands higher) and surge, working pressure, 1.1 · relief setting, a centrifugal pump's "
    "shut-off head · (highest voltage / rated voltage)²; each at the pipe's lowest point. Where that is not "
    "given, as far down as the pipe's length lets it hang; if that is too far, at its lower end, and a "
    "warning says that this is assumed.",
    why="Plastic pipe loses a quarter or more of its strength in the sun, and bursts at the bottom of the "
    "hill.",
    clauses={
        "us-2023": "ASTM D1785, D2241, D2239 (ratings); plastic-pipe handbooks (temperature); common "
        "practice",
        "iec": "ISO 4427-1 Annex A; ISO 4422; common practice",
    },
    look=delivery_pipes,
    examine=_pipe_class,
    fires=(
        Case("PN 4 at 40 °C: 296 kPa for 385 kPa", {"part:pipe-r.pressure": "4 bar"}, subject="D3"),
        Case(
            "a centrifugal pump of 36 m shut off, driven at 28 V instead of 24 V: 451 kPa of 444 kPa",
            {"part:pump-r.type": "centrifugal", "part:pump-r.shut_off_head": "36 m"},
            subject="D3",
        ),
        Case(
            "a tank that shuts itself, below a spring 60 m over the pump: 705 kPa of 444 kPa",
            _SHUT_BELOW,
            subject="D3",
        ),
    ),
    keeps_still=(
        Case("PN 6 at 40 °C: 444 kPa", {"part:pipe-r.pressure": "6 bar"}),
        Case(
            "a centrifugal pump of 35 m shut off, driven at 28 V: 437 kPa",
            {"part:pump-r.type": "centrifugal", "part:pump-r.shut_off_head": "35 m"},
        ),
    ),
    sees_not="Fittings (see delivery.fitting-class).",
)


# -- relief ------------------------------------------------------------------------------------------


def _relief_missing(system: System, pump: Device) -> Answer:
    water = system.water
    path = (*pump.path, "part")
    steps = [step for way in water.deliveries(pump) for step in way.steps]
    obstructions = [step for step in steps if obstructs(system, step)]
    if pump.part.built_in_relief:
        return satisfied(pump.tag, path, f"{pump.tag} has a relief inside.")
    if not obstructions:
        return satisfied(pump.tag, path, f"Nothing on the delivery of {pump.tag} can stop the flow.")
    valves = reliefs(system, pump)
    first = obstructions[0]
    if not valves:
        useless = [_useless(valve, by) for valve, by in reached_reliefs(system, pump) if by is not None]
        return violated(
            pump.tag,
            path,
            f"{pump.tag} is a positive-displacement pump and {first.tag} can stop its flow: without a "
            "relief valve before it the pressure rises until pipe, pump or motor gives way."
            + "".join(f" {told}" for told, _, _ in useless),
            required=f"a relief valve between {pump.tag} and {first.tag}",
            actual="none that nothing can cut off",
            fix=" ".join(fix for _, fix, _ in useless)
            or f"Fit a relief valve between {pump.tag} and {first.tag}, with nothing to shut on either "
            "side, that discharges in sight, back to the source or to waste.",
            related=(first.path, *(place for _, _, place in useless)),
        )
    for relief in valves:
        if not _discharges(system, relief):
            raise MissingDatum(f"{relief.tag}: where it discharges to", relief.path, "discharges_to")
    tags = ", ".join(relief.tag for relief in valves)
    return satisfied(pump.tag, path, f"{tags} relieves {pump.tag} before {first.tag}.", actual=tags)


def _useless(relief: Device, hindrance: Step) -> tuple[str, str, Path]:
    """Why a relief valve does not count, what to do, and where."""
    if hindrance is relief:
        return (
            f"{relief.tag} stands the wrong way round.",
            f"Turn {relief.tag} round: join the pipe from the pump to {relief.tag}.in.",
            relief.path,
        )
    return (
        f"The discharge of {relief.tag} can be shut by {hindrance.tag}.",
        f"Take the valve of {hindrance.tag} out: nothing may stand in the way of what {relief.tag} lets go.",
        hindrance.path,
    )


def _discharges(system: System, relief: Device) -> bool:
    """Is it said where a relief valve discharges, or piped from its outlet to a source?"""
    pipes = system.connected.pipes.values()
    ends = [{p.start, p.end} for p in pipes if f"{relief.tag}.out" in (p.start, p.end)]
    sources = {d.tag for d in system.of_kind("source")}
    return bool(relief.spec.discharges_to.strip()) or any(nodes & sources for nodes in ends)


_NO_RELIEF: Mapping[str, Any] = {"valves.RV1": None, "pipes.D1": None, "pipes.D2.from": "P1.out"}
_BALL_VALVE_AT_TANK: Mapping[str, Any] = {"pipes.D3.fittings": ["ball valve"]}


def _relief_branch(fittings: list[str] | None = None) -> dict[str, Any]:
    """The relief valve on a branch at the pump, its outlet piped back to the well."""
    return {
        "pipes.D1": None,
        "pipes.D2.from": "P1.out",
        "pipes.B1": {"part": "pipe-r", "from": "P1.out", "to": "RV1.in", "length": "0.3 m"},
        "pipes.B2": {
            "part": "pipe-r",
            "from": "RV1.out",
            "to": "WELL",
            "length": "3 m",
            "fittings": fittings or [],
        },
    }


RELIEF_MISSING = Rule(
    id="delivery.relief-missing",
    severity=Severity.DANGER,
    title="Positive-displacement pump without relief",
    checks="Between a positive-displacement pump and the first valve or filter on any branch of its "
    "delivery stands a relief valve, its inlet to the pump, that nothing can cut off on either side, and "
    "that discharges somewhere stated; or the pump has one inside.",
    why="Such a pump does not slip: against a shut valve or a plug of ice it presses until something bursts.",
    clauses={"us-2023": "ASME B31 (idea); common practice", "iec": "ISO 4126; common practice"},
    look=displacement_pumps,
    examine=_relief_missing,
    fires=(
        Case("no relief valve, ball valve at the tank", {**_NO_RELIEF, **_BALL_VALVE_AT_TANK}, subject="P1"),
        Case("a ball valve before the relief valve", {"pipes.D1.fittings": ["ball valve"]}, subject="P1"),
        Case("a ball valve in the relief valve's own outlet", _relief_branch(["ball valve"]), subject="P1"),
        Case(
            "a relief valve the wrong way round on its branch",
            {**_relief_branch(), "pipes.B1.to": "RV1.out", "pipes.B2.from": "RV1.in"},
            subject="P1",
        ),
    ),
    keeps_still=(
        Case(
            "centrifugal pump, same pipe, no relief valve",
            {**_NO_RELIEF, **_BALL_VALVE_AT_TANK, "part:pump-r.type": "centrifugal"},
        ),
        Case("a relief inside the pump", {**_NO_RELIEF, "part:pump-r.built_in_relief": True}),
        Case("the reference job: relief valve before the check valve"),
        Case("a relief valve on a branch, piped back to the well", _relief_branch()),
    ),
    sees_not="Ice (see freeze.standing-water); whether the discharge can be seen; a relief valve that "
    "sticks.",
)


def _settings(system: System) -> Iterator[tuple[Device, Device]]:
    """Relief valves, each with the displacement pump that it guards."""
    for pump in displacement_pumps(system):
        yield from ((relief, pump) for relief in reliefs(system, pump))


def _relief_setting(system: System, subject: tuple[Device, Device]) -> Answer:
    relief, pump = subject
    water, show = system.water, system.show
    setting, working = setting_pa(relief), water.discharge(pump, True)
    pipes = {pipe: water.allowed_pressure(pipe) for way in water.deliveries(pump) for pipe in way.pipes}
    weakest = {pipe.tag: allowed.value for pipe, allowed in pipes.items()}
    weakest[pump.tag] = float(need_part(pump, "max_pressure", "highest pressure"))
    weak_tag = min(weakest, key=lambda tag: weakest[tag])
    wanted = system.handbook.threshold("relief_set_min_of_working").value * working.value
    share = system.handbook.threshold("relief_set_max_of_weakest").value
    stood = share * weakest[weak_tag]
    least = max(wanted, relief.part.lowest_setting or 0.0)
    most = min(stood, relief.part.highest_setting or math.inf)
    actual, path = show(setting, "pressure"), (*relief.path, "setting")
    numbers = (working, *pipes.values())
    told = (
        f"{relief.tag} opens at {actual}; {pump.tag} works at {show(working.value, 'pressure')}, and the "
        f"weakest, {weak_tag}, stands {show(weakest[weak_tag], 'pressure')}"
    )
    if not reaches(most, least):
        fix = (
            f"Take a relief valve that can be set within {show(wanted, 'pressure')} to "
            f"{show(stood, 'pressure')}."
            if reaches(stood, wanted)
            else f"Take {weak_tag} for {show(least / share, 'pressure')} or more (a pipe: when hot), or "
            "lower the head; then set the valve."
        )
        return violated(
            relief.tag,
            path,
            f"{told}: no setting will do, for it should open at {show(least, 'pressure')} or more and at "
            f"{show(most, 'pressure')} or less.",
            required=f"at least {show(least, 'pressure')}, and at most {show(most, 'pressure')}",
            actual=actual,
            fix=fix,
            related=((*relief.path, "part"),),
            calculations=numbers,
        )
    required = f"{show(least, 'pressure')} to {show(most, 'pressure')}"
    if reaches(setting, least) and keeps_to(setting, most):
        message = (
            f"{relief.tag} opens at {actual}, over the working pressure of {show(working.value, 'pressure')}."
        )
        return satisfied(relief.tag, path, message, required=required, actual=actual, calculations=(working,))
    return violated(
        relief.tag,
        path,
        f"{told}: it should open within {required}.",
        required=required,
        actual=actual,
        fix=f"Set {relief.tag} between {show(least, 'pressure')} and {show(most, 'pressure')}.",
        calculations=numbers,
    )


RELIEF_SETTING = Rule(
    id="delivery.relief-setting",
    severity=Severity.ERROR,
    title="Relief valve set too low or too high",
    checks="1.2 · working pressure <= setting <= 0.9 · the least of the hot pipe ratings and the pump's "
    "highest pressure, and within the valve's own range.",
    why="Set low it weeps all day; set high it opens after the pipe has burst.",
    clauses={"us-2023": PRACTICE, "iec": "ISO 4126; common practice"},
    look=_settings,
    examine=_relief_setting,
    fires=(
        Case("250 kPa, less than 273 kPa", {"valves.RV1.setting": "250 kPa"}, subject="RV1"),
        Case("400 kPa, more than 369 kPa", {"valves.RV1.setting": "400 kPa"}, subject="RV1"),
        Case(
            "no setting serves: 273 kPa or more, 250 kPa or less",
            {"part:relief-r.highest_setting": "250 kPa", "valves.RV1.setting": "250 kPa"},
            subject="RV1",
        ),
    ),
    keeps_still=(Case("350 kPa", {"valves.RV1.setting": "350 kPa"}),),
    sees_not="The spread of a cheap valve; how much flow it passes.",
)


# -- falling back ------------------------------------------------------------------------------------


def _outlets(system: System) -> Iterator[Way]:
    for pump in system.water.pumps:
        yield from system.water.ways_out(pump)


def _check_valve(system: System, way: Way) -> Answer:
    water, show, pump = system.water, system.show, way.pump
    lift = water.top_m(way) - pump.spec.elevation
    held = [step for step in way.steps if water.holds_back(step)]
    others = _others_through(system, way)
    own = [step for step in (*way.steps, *_suction_steps(system, pump)) if step not in others]
    if held and others and not any(water.holds_back(step) for step in own):
        beside = next(iter(others.values()))
        return violated(
            pump.tag,
            pump.path,
            f"{held[0].tag} serves {pump.tag} and {beside.tag} together: when {beside.tag} runs alone it "
            f"presses its water back through the standing {pump.tag}.",
            required=f"a check valve for {pump.tag} alone",
            actual=f"{held[0].tag}, shared",
            fix=f"Fit a check valve between {pump.tag} and where the line of {beside.tag} joins.",
            related=(held[0].path, beside.path),
        )
    if held:
        return satisfied(
            pump.tag, pump.path, f"{held[0].tag} holds the column over {pump.tag}.", actual=held[0].tag
        )
    if pump.spec.drain_back:
        return satisfied(
            pump.tag, pump.path, f"{pump.tag} is meant to drain back.", actual="drain-back stated"
        )
    if lift <= 0.0:
        return satisfied(pump.tag, pump.path, f"{pump.tag} lifts to no place above itself.")
    return violated(
        pump.tag,
        pump.path,
        f"No check valve holds the {show(lift, 'head')} of water over {pump.tag}: when it stops the column "
        "falls back, spins the pump, and the motor generates into conductors thought dead.",
        required="check valve at the discharge, or drain-back stated",
        actual="neither",
        fix=f"Fit a check valve after {pump.tag}; or write drain_back = true, label it, and check the prime.",
        related=(way.end.path,),
    )


def _suction_steps(system: System, pump: Device) -> Iterator[Step]:
    for suction in system.water.ways_in(pump):
        yield from suction.steps


def _others_through(system: System, way: Way) -> dict[Step, Device]:
    """What water of other pumps passes through on a pump's delivery and suctions, with one of these."""
    ours = {*way.steps, *_suction_steps(system, way.pump)}
    return {
        step: other
        for other in system.water.pumps
        if other is not way.pump
        for theirs in (*system.water.ways_out(other), *system.water.ways_in(other))
        for step in theirs.steps
        if step in ours
    }


def _check_direction(system: System, way: Way) -> Iterator[Answer]:
    for device in way.backwards:
        if system.water.holds_back(device):
            yield against_flow(device, way.pump, "no water passes it", Severity.ERROR)


def _checks(system: System, way: Way) -> Iterator[Answer]:
    yield _check_valve(system, way)
    yield from _check_direction(system, way)


def _second_pump(joins: str) -> dict[str, Any]:
    return {
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
        "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
        "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": joins, "length": "1 m"},
    }


CHECK_VALVE = Rule(
    id="delivery.check-valve",
    severity=Severity.WARNING,
    title="Nothing keeps the column from falling back",
    checks="A pump that lifts water above itself has a check valve on its delivery, or drain-back is "
    "stated; of pumps that share a line each has a check or foot valve for itself; no check valve stands "
    "against the flow.",
    why="A falling column turns the pump into a turbine and its permanent-magnet motor into a generator.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_outlets,
    examine=_checks,
    fires=(
        Case(
            "no check valve, no drain-back",
            {"valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "RV1.out"},
            subject="P1",
        ),
        Case(
            "the check valve the wrong way round",
            {"pipes.D2.to": "CV1.out", "pipes.D3.from": "CV1.in"},
            severity=Severity.ERROR,
            subject="CV1",
        ),
        Case(
            "a second pump that joins before the check valve of the first",
            _second_pump("CV1.in"),
            subject="P2",
        ),
    ),
    keeps_still=(
        Case("the reference job: check valve CV1"),
        Case(
            "two pumps on one line, each with a check or foot valve of its own",
            {**_second_pump("CV1.in"), "pipes.D9.fittings": ["swing check"]},
        ),
        Case(
            "no check valve, drain-back stated",
            {"valves.CV1": None, "pipes.D2": None, "pipes.D3.from": "RV1.out", "pumps.P1.drain_back": True},
        ),
    ),
    sees_not="Pumps whose own valves hold the column.",
)


# -- air at the top of a hill ------------------------------------------------------------------------


@dataclass(frozen=True)
class _Stand:
    """A place of a delivery whose elevation the spec gives: a pipe's high or low point, or a node."""

    tag: str
    elevation_m: float
    path: Path
    nodes: tuple[str, ...]  # where an air valve would stand
    hill: bool = False  # a pipe's high point


def _stands(system: System, way: Way) -> Iterator[_Stand]:
    """The places of a delivery in flow order, from the pump to the tank's inlet."""
    water, pump = system.water, way.pump
    yield _Stand(pump.tag, pump.spec.elevation, (*pump.path, "elevation"), ())
    for number, step in enumerate(way.steps):
        if isinstance(step, Device):
            if step.spec.elevation is not None:
                ports = (f"{step.tag}.in", f"{step.tag}.out")
                yield _Stand(step.tag, step.spec.elevation, (*step.path, "elevation"), ports)
            continue
        low, high, ends = step.spec.low_point, step.spec.high_point, (step.start, step.end)
        if low is not None and number:
            yield _Stand(step.tag, low, (*step.path, "low_point"), ends)
        if high is not None:
            yield _Stand(step.tag, high, (*step.path, "high_point"), ends, hill=True)
    yield _Stand(way.end.tag, water.inlet_m(way.end), (*way.end.path, "inlet"), ())


def _hills(system: System) -> Iterator[tuple[Way, _Stand | None, float]]:
    """The high places of each delivery beyond which it falls, with the lowest place after; else None once."""
    least = system.handbook.threshold("air_pocket_m").value
    for pump in system.water.pumps:
        for way in system.water.ways_out(pump):
            stands = tuple(_stands(system, way))
            hills = [
                (here, min(after.elevation_m for after in stands[n + 1 :]))
                for n, here in enumerate(stands[:-1])
                if n
                and here.elevation_m > stands[n - 1].elevation_m
                and here.elevation_m >= stands[n + 1].elevation_m
                and here.elevation_m > min(after.elevation_m for after in stands[n + 1 :]) + least
            ]
            yield from ((way, hill, low) for hill, low in hills)
            if not hills:
                yield way, None, 0.0


def _vents(system: System, way: Way, hill: _Stand) -> tuple[Device, ...]:
    """Air valves that stand at a hill: joined there, and no lower than it."""
    least = system.handbook.threshold("air_pocket_m").value
    pipes = system.connected.pipes.values()
    near = {node for p in pipes if {p.start, p.end} & set(hill.nodes) for node in (p.start, p.end)}
    near |= set(hill.nodes)
    valves = [d for d in system.of_kind("valve") if d.part.type == "air valve"]
    found = [d for d in valves if {f"{d.tag}.in", f"{d.tag}.out"} & near]
    for valve in found:
        if valve.spec.elevation is None:
            raise MissingDatum(f"{valve.tag}: its elevation, beside a high point", valve.path, "elevation")
    return tuple(d for d in found if d.spec.elevation >= hill.elevation_m - least)


def _air_valve(system: System, subject: tuple[Way, _Stand | None, float]) -> Answer:
    way, hill, low = subject
    show, pump = system.show, way.pump
    if hill is None:
        message = f"The delivery of {pump.tag} to {way.end.tag} climbs all the way, by what the spec gives."
        return satisfied(pump.tag, pump.path, message)
    at, after = show(hill.elevation_m, "elevation"), show(low, "elevation")
    vents = _vents(system, way, hill)
    if vents:
        tags = ", ".join(valve.tag for valve in vents)
        return satisfied(hill.tag, hill.path, f"{tags} lets the air out of {hill.tag} at {at}.", actual=tags)
    return violated(
        hill.tag,
        hill.path,
        f"{hill.tag} climbs to {at} and falls to {after} after it: air gathers there, and nothing lets it "
        "out.",
        required=f"an air valve at {at}",
        actual="none",
        fix=f"Part the pipe at {at} and fit an automatic air valve there, or lay it so that it climbs all "
        "the way to the tank.",
        related=((*way.end.path, "inlet"),),
    )


_HILL: Mapping[str, Any] = {"pipes.D3.high_point": "24 m"}
_PARTED: Mapping[str, Any] = {
    "valves.AV1": {"part": "air-valve-0.5", "elevation": "24 m", "freeze_safe": True},
    "pipes.D3.to": "AV1.in",
    "pipes.D3.high_point": "24 m",
    "pipes.D4": {
        "part": "pipe-r",
        "from": "AV1.in",
        "to": "TK1.inlet",
        "length": "20 m",
        "buried": "1.0 m",
        "hottest_wall": "40 degC",
    },
}

AIR_VALVE = Rule(
    id="delivery.air-valve",
    severity=Severity.WARNING,
    title="A hill in the delivery where air gathers",
    checks="Each stated high point of a delivery that lies more than 0.3 m over a later place on it, or over "
    "the tank's inlet, has an air valve at that height.",
    why="A pocket of air at the top of a hill narrows the pipe and asks the pump for head that nobody "
    "counted; a small pump stops there.",
    clauses={"us-2023": "AWWA M51 (air valves); common practice", "iec": "EN 1074-4; common practice"},
    look=_hills,
    examine=_air_valve,
    fires=(Case("a hill of +24 m before the tank at +22 m", _HILL, subject="D3"),),
    keeps_still=(
        Case("the reference job: it climbs all the way"),
        Case("an air valve at the top of the hill", _PARTED),
        Case("over the rim of the tank, 0.2 m above its inlet", {"pipes.D3.high_point": "22.2 m"}),
    ),
    sees_not="Humps that the spec does not state; water fast enough to sweep the air along; the size of the "
    "valve.",
)


# -- velocity ----------------------------------------------------------------------------------------


def _velocity(system: System, subject: tuple[Pipe, tuple[Way, ...]]) -> Answer:
    pipe, ways = subject
    return examine_velocity(system, pipe, [way.pump for way in ways], "losses and water hammer grow fast")


VELOCITY = Rule(
    id="delivery.velocity",
    severity=Severity.ADVICE,
    title="Water runs fast in the delivery",
    checks=CHECKS,
    why="Friction and water hammer grow fast with it, and the sun pays for every metre.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    acceptable=True,
    look=delivery_pipes,
    examine=_velocity,
    fires=(Case("pipe of 11 mm bore: 1.75 m/s", {"part:pipe-r.bore": "11 mm"}, subject="D3"),),
    keeps_still=(Case("pipe of 12 mm bore: 1.47 m/s", {"part:pipe-r.bore": "12 mm"}),),
    sees_not="Fittings narrower than their pipe.",
)


RULES = (
    TOTAL_HEAD,
    PIPE_CLASS,
    RELIEF_MISSING,
    RELIEF_SETTING,
    CHECK_VALVE,
    AIR_VALVE,
    VELOCITY,
)
