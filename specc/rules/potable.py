"""Rules on drinking water: what the water touches, the air gap of the tank's inlet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Alike, Severity
from specc.rules._limits import reaches
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import MissingDatum, need
from specc.system.model import Device, Path, Pipe
from specc.system.system import System

_WATER_TABLES = ("pumps", "filters", "valves", "gauges", "tank")


@dataclass(frozen=True)
class _Wetted:
    """One part that the water touches. ``part`` is None where the catalogue has none of that name."""

    tag: str
    path: Path
    what: str
    part: Any


def _wetted(system: System) -> Iterator[_Wetted]:
    """Everything that the water touches, unless the job says that nobody drinks it.

    Where the job does not say, and not all of it is listed, the job itself: that decides.
    """
    if system.job.use not in (None, "drinking"):
        return
    found = tuple(_touched(system))
    if system.job.use is None and not all(getattr(t.part, "drinking_water", False) for t in found):
        yield _Wetted("", ("job",), "", None)
        return
    yield from found


def _touched(system: System) -> Iterator[_Wetted]:
    for device in system.devices.values():
        if device.table in _WATER_TABLES or _in_water(device):
            yield _Wetted(device.tag, device.path + ("part",), device.tag, device.part)
    for pipe in system.connected.pipes.values():
        yield _Wetted(pipe.tag, pipe.path + ("part",), f"pipe {pipe.tag}", pipe.part)
        yield from _fittings(system, pipe)


def _in_water(device: Device) -> bool:
    return device.kind == "switch" and bool(device.part.senses == "level")


def _fittings(system: System, pipe: Pipe) -> Iterator[_Wetted]:
    for index, fitting in enumerate(pipe.spec.fittings):
        part = system.description.catalog.fitting(fitting.name, pipe.part.size, pipe.part.family)
        yield _Wetted(pipe.tag, (*pipe.path, "fittings", index), f"{fitting.name} of {pipe.tag}", part)


def _material(system: System, thing: _Wetted) -> Answer:
    if not thing.what:
        raise MissingDatum(
            'what the water is for ([job] use = "drinking", "stock" or "irrigation"), where not every part '
            "is listed for drinking water",
            thing.path,
            "use",
        )
    if thing.part is None and thing.path[-1] == "part":
        raise MissingDatum(
            f"{thing.tag}: its catalogue part, which says whether it is listed for drinking water",
            thing.path,
            "part",
        )
    if thing.part is None:
        return unchecked(thing.tag, thing.path, f"no catalogue part is known for {thing.what}.")
    if not thing.part.drinking_water:
        return violated(
            thing.tag,
            thing.path,
            f'{thing.what} ("{thing.part.id}") touches drinking water and is not listed for it.',
            required="listed for drinking water",
            actual="not listed",
            fix="Take a part that is listed for drinking water.",
            related=(("job", "use"),),
            alike=Alike(
                f'{{}} ("{thing.part.id}") touch drinking water and are not listed for it.',
                "Take a part that is listed for drinking water in each place.",
            ),
        )
    return satisfied(thing.tag, thing.path, f"{thing.what} is listed for drinking water.")


# The wetted parts of the reference job, listed; its tank from the catalogue.
_LISTED: dict[str, Any] = {
    "job.use": "drinking",
    "tank.TK1.part": "tank-pe-5000l",
    **{
        f"part:{part}.drinking_water": True
        for part in ("pump-r", "pipe-r", "filter-r", "priming-tee-r", "relief-r", "check-r", "float-r")
    },
}

MATERIAL = Rule(
    id="potable.material",
    severity=Severity.ERROR,
    title="Part not listed for drinking water",
    checks="In a job for drinking, every part that the water touches is listed for drinking water: pump, "
    "pipe, hose, fittings, valves, filter, gauges, level switches, tank. Where the job does not say what the "
    "water is for, that is a missing datum, unless every part is listed.",
    why="Hose, paint, sealant and brass of the wrong kind give lead, solvents and taste to the water.",
    clauses={"us-2023": "NSF/ANSI/CAN 61 and 372", "iec": "EU 2020/2184 Art. 11; EN 12873"},
    sees_not="Paint, thread sealant and cement, which are in no catalogue: buy listed ones.",
    look=_wetted,
    examine=_material,
    fires=(
        Case("garden hose, drinking use", {**_LISTED, "part:pipe-r.drinking_water": False}, subject="S1"),
        Case(
            "unlisted filter, drinking use", {**_LISTED, "part:filter-r.drinking_water": False}, subject="FL1"
        ),
    ),
    keeps_still=(
        Case("irrigation use", {"job.use": "irrigation"}),
        Case("every part listed", _LISTED),
        Case(
            "every part listed, and the job does not say what the water is for", {**_LISTED, "job.use": None}
        ),
    ),
)


def _filled(system: System) -> Iterator[tuple[Device, Pipe]]:
    """Tanks with the last pipe of each way from a pump."""
    found: dict[tuple[Device, Pipe], None] = {}
    for pump in system.of_kind("pump"):
        for way in system.water.deliveries(pump):
            found[way.end, way.pipes[-1]] = None
    return iter(found)


def _air_gap(system: System, subject: tuple[Device, Pipe]) -> Answer:
    tank, pipe = subject
    spec, show = tank.spec, system.show
    path = tank.path + ("inlet",)
    if spec.overflow is None and spec.overflow_size is None:
        return unchecked(tank.tag, tank.path, f"{tank.tag} has no overflow stated to measure from.")
    level = need(spec.overflow, f"{tank.tag}: overflow elevation", tank.path, "overflow")
    gap = system.water.inlet_m(tank) - level
    bores = system.handbook.threshold("air_gap_bores")
    least = system.handbook.threshold("air_gap_min_m")
    wanted = max(bores.value * pipe.part.bore, least.value)
    worked = Calculation(
        "least air gap of the inlet",
        tank.tag,
        "gap",
        wanted,
        "short_length",
        f"the larger of {bores.value:g} · d and {show(least.value, 'short_length')}",
        (Input("d", pipe.part.bore, "short_length", f"{pipe.tag}, catalogue part {pipe.part.id}"),),
        bores.source,
    )
    required, actual = f"at least {show(wanted, 'short_length')}", show(gap, "short_length")
    if not reaches(gap, wanted):
        return violated(
            tank.tag,
            path,
            f"The inlet of {tank.tag} ends {actual} above its overflow; {show(wanted, 'short_length')} keep "
            "tank water from being drawn back.",
            required=required,
            actual=actual,
            fix=f"Raise the inlet to {show(level + wanted, 'elevation')} or more, or lower the overflow.",
            related=(tank.path + ("overflow",),),
            calculations=(worked,),
        )
    return satisfied(
        tank.tag,
        path,
        f"The inlet of {tank.tag} ends {actual} above its overflow.",
        required=required,
        actual=actual,
        calculations=(worked,),
    )


AIR_GAP = Rule(
    id="potable.air-gap",
    severity=Severity.WARNING,
    title="Too little air gap between inlet and overflow",
    checks="Inlet elevation - overflow elevation >= the larger of 2 · d and 25 mm, d the bore of the "
    "filling pipe.",
    why="A drowned inlet lets tank water siphon back into the line, and into the well when the check valve "
    "leaks.",
    clauses={"us-2023": "ASME A112.1.2", "iec": "EN 1717 (AA)"},
    acceptable=True,
    sees_not="Screens of overflow and vent, and cross-connections to another supply.",
    look=_filled,
    examine=_air_gap,
    fires=(Case("25 mm bore, gap 30 mm", {"tank.TK1.overflow": "21.97 m"}),),
    keeps_still=(
        Case("gap 50 mm", {"tank.TK1.overflow": "21.95 m"}),
        Case("10 mm bore, gap 25 mm", {"tank.TK1.overflow": "21.975 m", "part:pipe-r.bore": "10 mm"}),
    ),
)

RULES = (MATERIAL, AIR_GAP)
