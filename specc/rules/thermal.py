"""Rules on the switch that stops a hot pump."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._questions import ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.rules._switches import switches
from specc.system.missing import need, need_part
from specc.system.model import Device, Pipe
from specc.system.stops import must_stop
from specc.system.system import System

_METALS = ("copper", "steel")  # stand more than any pump head


def _thermal(system: System) -> Iterator[object]:
    hot = (s for s in switches(system) if s.spec.guards == "pump hot" or s.part.senses == "temperature")
    return each(hot, _trips_in_time, _on_the_head, _stays_out)


def _pumps_under(system: System, switch: Device) -> tuple[Device, ...]:
    """The pump on whose head the sensor sits; where it sits elsewhere, the pumps that it must stop."""
    named = need(
        switch.spec.mounted_on or None, f"{switch.tag}: what it is mounted on", switch.path, "mounted_on"
    )
    pump = system.devices.get(named)
    return (pump,) if pump is not None and pump.kind == "pump" else must_stop(system, switch)


def _limits(system: System, pump: Device) -> Iterator[tuple[float, str]]:
    """Temperatures that the pump head and the pipes on it stand, each with what it belongs to [K]."""
    head = need_part(pump, "hottest_head", "hottest temperature of its head")
    yield float(head), f"{pump.tag}, head and motor"
    for pipe in _adjoining(system, pump):
        material = pipe.part.material.lower()
        if material not in _METALS:
            limit = system.handbook.threshold(f"hottest_wall_{material}_k")
            yield limit.value, f"{pipe.tag}, {pipe.part.material}"


def _adjoining(system: System, pump: Device) -> Iterator[Pipe]:
    for pipe in system.connected.pipes.values():
        if pump.tag in (pipe.start.split(".")[0], pipe.end.split(".")[0]):
            yield pipe


def _trips_in_time(system: System, switch: Device) -> Answer:
    pumps = _pumps_under(system, switch)
    if not pumps:
        return unchecked(switch.tag, switch.path, f"{switch.tag} is on no pump and stops none.")
    trip = need(
        switch.spec.trips_at if switch.spec.trips_at is not None else switch.part.trips_at,
        f"{switch.tag}: trip temperature",
        switch.path,
        "trips_at",
    )
    least, whose = min(limit for pump in pumps for limit in _limits(system, pump))
    show = system.show
    required = f"at most {show(least, 'temperature')} ({whose})"
    actual = show(trip, "temperature")
    path = switch.path + ("trips_at",) if switch.spec.trips_at is not None else switch.path + ("part",)
    if trip <= least + 1e-6:
        return satisfied(
            switch.tag, path, f"{switch.tag} trips at {actual}.", required=required, actual=actual
        )
    return violated(
        switch.tag,
        path,
        f"{switch.tag} trips at {actual}, above what {whose} stands: {show(least, 'temperature')}.",
        required=required,
        actual=actual,
        fix=f"Take one that trips at {show(least, 'temperature')} or below.",
        related=tuple(pump.path for pump in pumps),
    )


def _on_the_head(system: System, switch: Device) -> Answer:
    named = need(
        switch.spec.mounted_on or None, f"{switch.tag}: what it is mounted on", switch.path, "mounted_on"
    )
    mounted = system.devices.get(named)
    path = switch.path + ("mounted_on",)
    required = "on the wet head of a pump"
    if mounted is not None and mounted.kind == "pump":
        return satisfied(switch.tag, path, f"{switch.tag} sits on {named}.", required=required, actual=named)
    return violated(
        switch.tag,
        path,
        f'{switch.tag} is mounted on "{named}", not on the wet head of a pump: it does not feel the pump '
        "run dry.",
        required=required,
        actual=named,
        fix="Clamp it to the wet head and write the pump's tag.",
    )


def _stays_out(system: System, switch: Device) -> Answer:
    reset = need_part(switch, "reset", "reset, manual or automatic")
    path = switch.path + ("part",)
    required, actual = "manual reset, or a lock-out", f"{reset} reset"
    if reset == "manual":
        return satisfied(
            switch.tag, path, f"{switch.tag} stays out until reset.", required=required, actual=actual
        )
    return violated(
        switch.tag,
        path,
        f"{switch.tag} resets by itself: a pump that has run dry is started again all day.",
        required=required,
        actual=actual,
        fix="Take one with manual reset, or add a lock-out.",
    )


_PVC = {"part:pipe-r.material": "PVC", "part:pump-r.hottest_head": "100 degC"}

TRIP_POINT = Rule(
    id="thermal.trip-point",
    severity=Severity.WARNING,
    title="Hot-pump switch that trips too late, elsewhere, or not for good",
    checks="Trip temperature <= the least limit of pump head, motor and the plastic pipe on it; the sensor "
    "on the wet "
    "head of the pump, not in air; manual reset, or a lock-out.",
    why="A pump that runs dry boils what water it holds and softens its pipes; a switch in the air never "
    "feels it, "
    "and one that resets by itself cycles a dry pump all day.",
    clauses={"us-2023": "430.43 (automatic restart)", "iec": "60034-11; 60730-1"},
    look=_thermal,
    examine=ask,
    fires=(
        Case(
            "90 °C on a head with PVC pipe (60 °C)",
            {**_PVC, "part:thermal-r.trips_at": "90 degC"},
            subject="TS1",
        ),
        Case("automatic reset", {"part:thermal-r.reset": "automatic"}, subject="TS1"),
        Case("the sensor in air", {"switches.TS1.mounted_on": "well wall"}, subject="TS1"),
        Case("61 °C on a head for 60 °C", {"switches.TS1.trips_at": "61 degC"}, subject="TS1"),
    ),
    keeps_still=(
        Case("55 °C, manual reset"),
        Case("60 °C on a head with PVC pipe", {**_PVC, "part:thermal-r.trips_at": "60 degC"}),
    ),
    sees_not="Whether the sensor is clamped well and shielded from the sun.",
)

RULES = (TRIP_POINT,)
