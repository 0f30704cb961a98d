"""Rules on water that runs by itself: down to a low tank, and back out of a drowned inlet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from specc.diagnostics import Severity
from specc.rules._limits import keeps_to
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import need
from specc.system.model import Device
from specc.system.system import System
from specc.system.water import Way

PRACTICE = "common practice, no source"


def _deliveries(system: System) -> Iterator[tuple[Way, Question[Way]]]:
    ways = (way for pump in system.water.pumps for way in system.water.ways_out(pump))
    return each(ways, _runs_on, _runs_back)


def _highest_source(system: System, pump: Device) -> Device | None:
    """Of the sources that a pump draws from, that with the highest standing water."""
    water = system.water
    sources = [way.start for way in water.ways_in(pump)]
    return max(sources, key=water.standing_level_m, default=None)


def _air_valve(way: Way, level_m: float) -> Device | None:
    """An air valve of the delivery above a level: it lets air in when the pump stops, and breaks the run."""
    for device in way.devices:
        if device.kind == "valve" and device.part.type == "air valve":
            what = f"{device.tag}: its elevation, where the line could run by itself"
            if need(device.spec.elevation, what, device.path, "elevation") > level_m:
                return device
    return None


def _runs_on(system: System, way: Way) -> Answer | None:
    """Does water run through the standing pump to a tank below its source?"""
    water, show, pump, tank = system.water, system.show, way.pump, way.end
    source = _highest_source(system, pump)
    if source is None:
        return None
    level, outfall = water.standing_level_m(source), water.outfall_m(tank)
    required, actual = f"at least {show(level, 'elevation')}", show(outfall, "elevation")
    path = (*tank.path, "inlet")
    if keeps_to(level, outfall):
        message = f"Water comes to {tank.tag} by {pump.tag} alone: it lies above the water of {source.tag}."
        return satisfied(tank.tag, path, message, required=required, actual=actual)
    closing = next((d for d in way.devices if d.kind == "valve" and d.part.type == "float valve"), None)
    breaker = closing or _air_valve(way, level)
    if breaker is not None:
        message = f"{breaker.tag} ends the run of water from {source.tag} down to {tank.tag}."
        return satisfied(tank.tag, path, message, required=required, actual=actual)
    fall = show(level - outfall, "head")
    return violated(
        tank.tag,
        path,
        f"{tank.tag} takes its water {fall} below the standing water of {source.tag}: once the line is full "
        f"it runs by itself, through the standing {pump.tag}, and no switch stops it.",
        required=required,
        actual=actual,
        fix=f"Check both elevations. If they are right, close the line at {tank.tag} with a float valve, or "
        f"lead it over a rise above {show(level, 'elevation')} with an air valve on top; and ask whether "
        "the job needs a pump at all.",
        related=((*source.path, "water_level"),),
    )


def _runs_back(system: System, way: Way) -> Answer | None:
    """Does the tank run back into the source, when its inlet is under water and nothing holds?"""
    water, show, pump, tank = system.water, system.show, way.pump, way.end
    inlet, path = water.inlet_m(tank), (*tank.path, "inlet")
    below = [step for suction in water.ways_in(pump) for step in suction.steps]
    held = next((step for step in (*way.steps, *below) if water.holds_back(step)), None)
    if held is not None:
        message = f"{held.tag} keeps the water of {tank.tag} from running back."
        return satisfied(tank.tag, path, message, actual=held.tag)
    if tank.spec.overflow is None:
        return unchecked(
            tank.tag,
            path,
            f"nothing holds the water back when {pump.tag} stops, and without the elevation of the overflow "
            f"nobody knows whether the inlet of {tank.tag} is under water.",
        )
    drowned = float(tank.spec.overflow) - inlet
    if keeps_to(drowned, 0.0):
        message = f"The inlet of {tank.tag} ends above its water: nothing runs back out of it."
        return satisfied(tank.tag, path, message, required="inlet above the overflow")
    return violated(
        tank.tag,
        path,
        f"The inlet of {tank.tag} lies {show(drowned, 'head')} under its full level, and no valve holds: "
        f"when {pump.tag} stops the tank runs back through it into the source, down to its inlet.",
        required="inlet above the overflow, or a valve that holds",
        actual=f"{show(drowned, 'head')} under water",
        fix=f"Raise the inlet above {show(float(tank.spec.overflow), 'elevation')}, or fit a check valve "
        f"after {pump.tag}.",
        related=((*tank.path, "overflow"), pump.path),
    )


_BELOW: Mapping[str, Any] = {"tank.TK1.inlet": "-3.2 m", "tank.TK1.overflow": "-3.25 m"}
_NOTHING_HOLDS: Mapping[str, Any] = {
    "valves.CV1": None,
    "pipes.D2": None,
    "pipes.D3.from": "RV1.out",
    "pipes.S1.fittings": ["elbow 90", "elbow 90"],
    "pumps.P1.drain_back": True,
}
_DROWNED: Mapping[str, Any] = {"tank.TK1.inlet": "20 m"}

SIPHON = Rule(
    id="delivery.siphon",
    severity=Severity.ERROR,
    title="Water runs by itself, down to the tank or back out of it",
    checks="The outfall of a delivery (the tank's inlet; where it is under water, the full tank's level) is "
    "not below the standing water of the source; else a float valve closes the line at the tank, or an air "
    "valve above the source's level breaks the run. And an inlet under the full tank's level has a check or "
    "foot valve below it.",
    why="A full line is a siphon: it runs through a pump that stands still, empties the source over the "
    "tank's overflow, and no float switch stops it. The other way round it empties the tank overnight.",
    clauses={"us-2023": f"hydrostatics; {PRACTICE}", "iec": f"hydrostatics; EN 1717 (idea); {PRACTICE}"},
    look=_deliveries,
    examine=ask,
    fires=(
        Case("inlet 0.2 m below the standing water", _BELOW, subject="TK1"),
        Case(
            "inlet 1.95 m under the full level, and no valve that holds",
            {**_NOTHING_HOLDS, **_DROWNED},
            subject="TK1",
        ),
    ),
    keeps_still=(
        Case("the reference job: inlet 25 m above the water"),
        Case("inlet at the standing water", {"tank.TK1.inlet": "-3.0 m", "tank.TK1.overflow": "-3.05 m"}),
        Case("inlet under the full level, and a check valve", _DROWNED),
        Case("nothing holds, inlet above the full level", _NOTHING_HOLDS),
        Case(
            "a low tank that closes its own filling",
            {
                **_BELOW,
                "valves.FV1": {"part": "float-valve-1", "elevation": "-3.2 m", "freeze_safe": True},
                "pipes.D3.to": "FV1.in",
                "pipes.D4": {"part": "pipe-r", "from": "FV1.out", "to": "TK1.inlet", "length": "0.5 m"},
            },
        ),
    ),
    sees_not="Pumps that no water passes while they stand; runs broken by a leak.",
)

RULES = (SIPHON,)
