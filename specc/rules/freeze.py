"""Rules on frost: water that stands where it freezes, and draining back that a valve prevents."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from specc.diagnostics import Severity
from specc.physics.constants import ZERO_CELSIUS_K
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import need
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Step, Way

PRACTICE = "common practice, no source"


def _freezes(system: System) -> bool:
    """Does the coldest air fall below freezing?"""
    return system.electrical.coldest_k < ZERO_CELSIUS_K


def _frost_depth_m(system: System) -> float:
    return float(need(system.site.frost_depth, "the site's frost depth", ("site",), "frost_depth"))


def _deep_enough(system: System, pipe: Pipe) -> bool:
    return pipe.spec.buried is not None and reaches(pipe.spec.buried, _frost_depth_m(system))


def _frost_free(system: System, pipe: Pipe) -> bool:
    return bool(pipe.spec.freeze_safe) or _deep_enough(system, pipe)


# -- water that stands -------------------------------------------------------------------------------


def _wet_things(system: System) -> Iterator[Step]:
    """Every pipe, and every device that a pipe is joined to."""
    yield from system.connected.pipes.values()
    for device in system.of_kind("pumps", "filters", "valves", "gauges"):
        if system.water.piped(device):
            yield device


def _standing_water(system: System, step: Step) -> Answer:
    if not _freezes(system):
        return satisfied(step.tag, step.path, "The coldest air of the site does not fall below freezing.")
    return _pipe(system, step) if isinstance(step, Pipe) else _device(system, step)


def _pipe(system: System, pipe: Pipe) -> Answer:
    show, spec = system.show, pipe.spec
    if spec.freeze_safe:
        return satisfied(pipe.tag, pipe.path, f"{pipe.tag} is under water, heated or in a frost-free place.")
    if _deep_enough(system, pipe):
        cover, frost = show(spec.buried, "length"), show(_frost_depth_m(system), "length")
        message = f"{pipe.tag} lies {cover} deep, below the frost."
        return satisfied(pipe.tag, (*pipe.path, "buried"), message, required=frost, actual=cover)
    if spec.drains:
        return _drained(system, pipe)
    wanted = show(_frost_depth_m(system), "length")
    if spec.buried is None:
        lies, path = "lies above ground", pipe.path
    else:
        lies, path = (
            f"lies {show(spec.buried, 'length')} deep, above the frost depth of {wanted}",
            (*pipe.path, "buried"),
        )
    return violated(
        pipe.tag,
        path,
        f"{pipe.tag} {lies}, and nothing says that it drains or is heated: the water in it freezes.",
        required=f"{wanted} of cover, drained or heated",
        actual="above ground" if spec.buried is None else show(spec.buried, "length"),
        fix=f"Bury {pipe.tag} {wanted} deep or more, or lay it to drain to an open end.",
        related=(("site", "frost_depth"),),
    )


def _device(system: System, device: Device) -> Answer:
    if device.spec.freeze_safe:
        return satisfied(device.tag, device.path, f"{device.tag} is heated or in a frost-free place.")
    if getattr(device.spec, "drain_back", False):
        return satisfied(device.tag, device.path, f"{device.tag} drains back.")
    return violated(
        device.tag,
        device.path,
        f"{device.tag} holds water, and nothing says that it is heated or in a frost-free place.",
        required="heated, or in a frost-free room or pit",
        actual="not stated",
        fix=f"Put {device.tag} below the frost or heat it, and write freeze_safe = true.",
    )


def _drained(system: System, pipe: Pipe) -> Answer:
    """A pipe that is said to drain: nothing below may hold its water, and no low spot keep it."""
    path = (*pipe.path, "drains")
    for way in _ways_through(system, pipe):
        holder = _holder_below(system, pipe, way)
        if holder is not None:
            return violated(
                pipe.tag,
                path,
                f"{pipe.tag} is said to drain, but {holder.tag} below it holds the water back: it freezes "
                "there.",
                required="an open way down, or a drain",
                actual=f"held by {holder.tag}",
                fix=f"Fit a drain cock or a weep hole just above the valve of {holder.tag}.",
                related=(holder.path,),
            )
    low = pipe.spec.low_point
    if low is not None:
        ends = [_end_m(system, node) for node in (pipe.start, pipe.end)]
        if not reaches(low, min(ends)):
            height = system.show(low, "elevation")
            return violated(
                pipe.tag,
                (*pipe.path, "low_point"),
                f"{pipe.tag} is said to drain, but its low point at {height} lies below both ends and keeps "
                "water.",
                required=f"at least {system.show(min(ends), 'elevation')}",
                actual=height,
                fix=f"Fit a drain cock at {height}, or regrade {pipe.tag} to fall all the way.",
            )
    return satisfied(pipe.tag, path, f"{pipe.tag} drains when the pump stops.", actual="drains")


def _end_m(system: System, node: str) -> float:
    tag = node.split(".")[0]
    return need(
        system.water.elevation_m(node), f"{tag}: its elevation", system.devices[tag].path, "elevation"
    )


def _ways_through(system: System, pipe: Pipe) -> Iterator[Way]:
    water = system.water
    for pump in water.pumps:
        yield from (way for way in (*water.ways_in(pump), *water.ways_out(pump)) if pipe in way.steps)


def _holder_below(system: System, pipe: Pipe, way: Way) -> Step | None:
    """What holds the water of a pipe, going down its way; None where it finds a drain or the source."""
    below = list(reversed(way.steps[: way.steps.index(pipe) + 1]))
    if way.end is not way.pump:  # of a delivery: through the pump and down its suctions
        for suction in system.water.ways_in(way.pump):
            below += list(reversed(suction.steps))
    for step in below:
        if _drains_out(system, step):
            return None
        if system.water.holds_back(step):
            return step
    return None


def _drains_out(system: System, step: Step) -> bool:
    if isinstance(step, Pipe):
        return bool(step.spec.weep_hole)
    return "drain cock" in system.water.duties(step)


STANDING_WATER = Rule(
    id="freeze.standing-water",
    severity=Severity.ERROR,
    title="Water stands where it freezes",
    checks="Where the coldest air is below 0 °C each pipe lies below the frost depth, drains to an open end "
    "with no check valve or low spot in between, or is heated or frost-free; each filter, pump, valve and "
    "gauge is frost-free.",
    why="Ice bursts pipes and filter bowls, and is a plug against which a pump bursts the rest.",
    clauses={"us-2023": "local frost depth; plumbing code in force", "iec": "local frost depth and rules"},
    look=_wet_things,
    examine=_standing_water,
    fires=(
        Case("cover 0.6 m, frost 0.9 m", {"pipes.D3.buried": "0.6 m"}, subject="D3"),
        Case("a filter that nothing keeps warm", {"filters.FL1.freeze_safe": False}, subject="FL1"),
        Case(
            "a delivery that should drain, above a check valve",
            {"pipes.D3.buried": None, "pipes.D3.drains": True},
            subject="D3",
        ),
    ),
    keeps_still=(
        Case("cover 1.0 m", {"pipes.D3.buried": "1.0 m"}),
        Case("no frost", {"pipes.D3.buried": "0.3 m", "site.coldest_air": "2 degC"}),
        Case(
            "a delivery that drains by a weep hole above its check valve",
            {
                "pipes.D3.buried": None,
                "pipes.D3.drains": True,
                "pipes.D3.weep_hole": "1.5 mm",
                "valves.CV1.elevation": "0 m",
            },
        ),
    ),
    sees_not="The tank itself; places where the frost goes deeper, as under a path kept clear of snow.",
)


# -- draining back -----------------------------------------------------------------------------------


def _draining_pumps(system: System) -> Iterator[Way]:
    water = system.water
    for pump in water.pumps:
        if pump.spec.drain_back:
            yield from water.ways_out(pump)


def _drain_back(system: System, way: Way) -> Iterator[Answer]:
    water, pump = system.water, way.pump
    weeps = [
        number for number, step in enumerate(way.steps) if isinstance(step, Pipe) and step.spec.weep_hole
    ]
    above = way.steps[weeps[-1] + 1 :] if weeps else way.steps
    down: tuple[Step, ...] = ()
    if not weeps:
        down = tuple(step for suction in water.suctions(pump) for step in suction.steps)
    holders = [step for step in (*above, *down) if water.holds_back(step)]
    faults = [_held(step, pump) for step in holders]
    faults += [
        _shallow(step) for n in weeps if isinstance(step := way.steps[n], Pipe) and _cold_weep(system, step)
    ]
    if not holders:
        faults += _lost_prime(system, way, bool(weeps))
    if faults:
        yield from faults
        return
    message = f"{pump.tag} drains back and keeps or regains its prime."
    if weeps:
        lost = system.show(water.weep_m3_s(pump), "flow")
        message = (
            f"{pump.tag} drains through its weep hole, which costs up to {lost} of its flow, and keeps its "
            "prime."
        )
    yield satisfied(pump.tag, (*pump.path, "drain_back"), message, actual="drain-back")


def _held(step: Step, pump: Device) -> Answer:
    return violated(
        pump.tag,
        (*pump.path, "drain_back"),
        f"{pump.tag} is meant to drain back, but {step.tag} holds the column.",
        required="no check or foot valve below the column",
        actual=f"held by {step.tag}",
        fix=f"Take out the valve of {step.tag}; or put a weep hole above it, below the frost, with the pump "
        "under water.",
        related=(step.path,),
    )


def _cold_weep(system: System, pipe: Pipe) -> bool:
    return _freezes(system) and not _frost_free(system, pipe)


def _shallow(pipe: Pipe) -> Answer:
    return violated(
        pipe.tag,
        (*pipe.path, "weep_hole"),
        f"The weep hole of {pipe.tag} is not below the frost: what stands under it freezes.",
        required="below the frost depth",
        actual="above it",
        fix=f"Put the weep hole into a pipe below the frost, or bury {pipe.tag} deeper.",
    )


def _lost_prime(system: System, way: Way, weeps: bool) -> list[Answer]:
    """The pump that is neither flooded, nor kept full, nor able to prime itself."""
    water, show, pump = system.water, system.show, way.pump
    lift = water.lift_m(pump)
    if lift <= 0.0 or (weeps and water.foot_valve(water.suction(pump)) is not None):
        return []
    dry = water.dry_lift(pump)
    if reaches(dry.value, lift):
        return []
    return [
        violated(
            pump.tag,
            (*pump.path, "drain_back"),
            f"Draining back empties the suction of {pump.tag} too; it primes itself over "
            f"{show(dry.value, 'head')} and has to over {show(lift, 'head')}.",
            required=f"a dry lift of {show(lift, 'head')}, or the pump under water",
            actual=show(dry.value, "head"),
            fix=f"Put {pump.tag} under water, or bury the line and give up draining back.",
            related=((*pump.path, "elevation"),),
            calculations=(dry,),
        )
    ]


_NO_VALVES: Mapping[str, Any] = {
    "pumps.P1.drain_back": True,
    "valves.CV1": None,
    "pipes.D2": None,
    "pipes.D3.from": "RV1.out",
    "pipes.S1.fittings": ["elbow 90", "elbow 90"],
}

DRAIN_BACK = Rule(
    id="freeze.drain-back-conflict",
    severity=Severity.ERROR,
    title="Draining back is stated, and prevented or harmful",
    checks="Where drain-back is stated no check or foot valve holds the column below its drain; a weep hole "
    "lies below the frost; and the pump is under water, kept full, or primes itself over its whole lift.",
    why="A column that is thought to have drained bursts its pipe; a suction that drains with it leaves the "
    "pump dry.",
    clauses={"us-2023": PRACTICE, "iec": PRACTICE},
    look=_draining_pumps,
    examine=_drain_back,
    fires=(
        Case("drain-back with the check valve in place", {"pumps.P1.drain_back": True}, subject="P1"),
        Case(
            "drain-back and a pump that cannot prime itself",
            {**_NO_VALVES, "part:pump-r.self_priming_lift": "0 m"},
        ),
    ),
    keeps_still=(
        Case(
            "weep hole below the frost, pump below the water",
            {"pumps.P1.drain_back": True, "pipes.D3.weep_hole": "1.5 mm", "pumps.P1.elevation": "-4 m"},
        ),
        Case("no valves, and a pump that primes itself", _NO_VALVES),
    ),
    sees_not="Whether water passes back through the standing pump; whether the weep hole is clogged.",
)


RULES = (STANDING_WATER, DRAIN_BACK)
