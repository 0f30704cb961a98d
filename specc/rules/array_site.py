"""Rules on where an array stands."""

from __future__ import annotations

from collections.abc import Iterator

from specc.diagnostics import Severity
from specc.rules._limits import reaches
from specc.rules._questions import Question, ask, each
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import need
from specc.system.model import Device, Run
from specc.system.once import once
from specc.system.system import System
from specc.system.walk import Source


def _arrays(system: System) -> Iterator[tuple[Source, Question[Source]]]:
    return each((s for s in system.walked.sources if s.kind == "array"), _rapid_shutdown, _arc_fault)


def _rapid_shutdown(system: System, source: Source) -> Answer:
    path, where = source.devices[0].path + ("mounted",), _what_is_on_a_building(system, source)
    if not where:
        return _off_buildings(source)
    told = f"{source.tag}: {', '.join(where)} on or in a building; the rulebook asks for rapid shutdown there"
    if not system.book.flag("rapid_shutdown_on_building").value:
        return satisfied(source.tag, path, "This rulebook asks for no rapid shutdown on buildings.")
    if all(d.spec.rapid_shutdown for d in source.devices):
        return satisfied(
            source.tag, path, f"{told}, and it is fitted.", required="rapid shutdown", actual="fitted"
        )
    return violated(
        source.tag,
        path,
        f"{told}, and none is given.",
        required="rapid shutdown",
        actual="none given",
        fix='Set the array on the ground or a pole, or fit rapid shutdown and say "rapid_shutdown = true".',
    )


def _arc_fault(system: System, source: Source) -> Answer:
    book, show, path = system.book, system.show, source.devices[0].path + ("mounted",)
    where = _what_is_on_a_building(system, source)
    if not where:
        return _off_buildings(source)
    if not book.flag("arc_fault_on_building").value:
        return satisfied(source.tag, path, "This rulebook asks for no arc-fault protection on buildings.")
    voltage = system.electrical.highest_voltage(source)
    limit = book.threshold("arc_fault_v").value
    required, actual = f"arc-fault protection from {show(limit, 'voltage')}", show(voltage.value, "voltage")
    told = (
        f"{source.tag}: {', '.join(where)} on or in a building, at up to {actual}; arc-fault protection is "
        "asked for "
        f"from {show(limit, 'voltage')}"
    )
    needed = reaches(voltage.value, limit)
    if needed and not all(d.spec.arc_fault_protection for d in source.devices):
        return violated(
            source.tag,
            path,
            f"{told}, and none is given.",
            required=required,
            actual=f"{actual}, none given",
            fix="Set the array on the ground or a pole, put fewer modules in series, or fit the protection "
            "and say "
            '"arc_fault_protection = true".',
            calculations=(voltage,),
        )
    return satisfied(
        source.tag,
        path,
        f"{told}: {'fitted' if needed else 'not needed here'}.",
        required=required,
        actual=actual,
        calculations=(voltage,),
    )


def _off_buildings(source: Source) -> Answer:
    path = source.devices[0].path + ("mounted",)
    return satisfied(
        source.tag, path, f"{source.tag} and its circuits keep off buildings.", actual="off buildings"
    )


def _what_is_on_a_building(system: System, source: Source) -> tuple[str, ...]:
    """Tags of the array's devices, and of the runs of its circuits, that are on or in a building."""
    devices = [d.tag for d in source.devices if _mounted_on_building(system, d)]
    runs = [run.tag for run in _runs_of(system).get(source, ()) if _laid_on_building(system, run)]
    return (*devices, *runs)


@once
def _runs_of(system: System) -> dict[Source, list[Run]]:
    """The runs that carry an array's current, by array."""
    found: dict[Source, list[Run]] = {}
    for run in system.connected.runs.values():
        branches = [b for c in run.conductors if (b := system.electrical.branch(c)) is not None]
        for source in dict.fromkeys(s for b in branches for s in system.electrical.arrays_through(b)):
            found.setdefault(source, []).append(run)
    return found


def _mounted_on_building(system: System, device: Device) -> bool:
    if device.spec.mounted is not None:
        return bool(device.spec.mounted == "building")
    place = system.connected.places.locations.get(device.location or "")
    told = need(place, f"{device.tag}: what it is mounted on", device.path + ("mounted",), "mounted")
    return bool(told.on_building)


def _laid_on_building(system: System, run: Run) -> bool:
    """Is a run, its raceway, or a device at one of its ends on or in a building?"""
    raceway = run.raceway
    if raceway is not None and raceway.spec.on_roof:
        return True
    ends = {system.terminal(end).device for c in run.conductors for end in (c.start, c.end)}
    named = [
        run.spec.location,
        raceway.location if raceway else None,
        *(d.location for d in ends if d.kind != "panel"),
    ]
    found = [system.connected.places.locations.get(name) for name in named if name]
    return any(place is not None and place.on_building for place in found)


_ROOF = {"panels.PV1.mounted": "building", "panels.PV1.location": "pump house"}

ON_BUILDING = Rule(
    id="array.on-building",
    severity=Severity.WARNING,
    title="Array or its circuits on a building without the protection asked for there",
    checks="Where an array or its direct-current circuits are on or in a building: rapid shutdown, and from "
    "the rulebook's "
    "voltage (80 V) arc-fault protection, where the rulebook asks for them. Four 12 V-class modules in "
    "series pass 80 V.",
    why="A roof array stays live under the hands of whoever fights a fire, and an arc in it lights the "
    "building.",
    clauses={"us-2023": "690.11; 690.12", "iec": "63027, where adopted"},
    look=_arrays,
    examine=ask,
    fires=(
        Case(
            "four in series on the pump-house roof: 98.56 V", {**_ROOF, "panels.PV1.series": 4}, subject="PV1"
        ),
        Case(
            "the same with rapid shutdown: arc-fault protection is still asked for",
            {**_ROOF, "panels.PV1.series": 4, "panels.PV1.rapid_shutdown": True},
        ),
        Case("array on the ground, its circuits into a house", {"locations.pump house.on_building": True}),
    ),
    keeps_still=(
        Case("three in series on the ground: 73.92 V", {"panels.PV1.series": 3}),
        Case(
            "three in series on a roof, with rapid shutdown: 73.92 V asks for no arc-fault protection",
            {**_ROOF, "panels.PV1.series": 3, "panels.PV1.rapid_shutdown": True},
        ),
        Case(
            "four in series on a roof by the metric book",
            {**_ROOF, "panels.PV1.series": 4, "job.rulebook": "iec"},
        ),
    ),
    acceptable=True,
    sees_not="A building that serves only to house the equipment of an array on the ground is exempt: leave "
    "its "
    "location without `on_building`.",
)

RULES = (ON_BUILDING,)
