"""Rules on what an enclosure has room for."""

from __future__ import annotations

from collections.abc import Iterator

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rules._edits import METRIC
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, violated
from specc.system.missing import need_part
from specc.system.model import Device
from specc.system.system import System


def _width_m(system: System, device: Device) -> float | None:
    """Width that a device takes on the rail [m], a fuse by its holder; None where it stands on none."""
    part = device.part
    if device.table == "fuses":
        holder = device.spec.holder or part.holder
        part = system.description.catalog.find(holder) if holder else part
    width = getattr(part, "rail_width", None)
    return None if width is None else float(width)


def _on_rail(system: System, box: Device) -> dict[Device, float]:
    held = (d for d in system.devices.values() if d.box == box.tag)
    return {d: width for d in held if (width := _width_m(system, d)) is not None}


def _boxes(system: System) -> Iterator[Device]:
    return (box for box in system.of_kind("enclosure") if _on_rail(system, box))


def _rail_full(system: System, box: Device) -> Answer:
    show, taken = system.show, _on_rail(system, box)
    rail = float(need_part(box, "rail", "length of its rail"))
    total = sum(taken.values())
    path = box.path + ("holds",)
    number = Calculation(
        "rail taken",
        box.tag,
        "Σw",
        total,
        "short_length",
        "Σw",
        tuple(
            Input(f"w {d.tag}", width, "short_length", f"{d.tag}, catalogue") for d, width in taken.items()
        ),
        "makers' data",
    )
    required, actual = f"at most {show(rail, 'short_length')}", show(total, "short_length")
    beside = [d.tag for d in system.devices.values() if d.box == box.tag and d not in taken]
    note = f" Beside the rail stand: {', '.join(beside)}." if beside else ""
    names = ", ".join(d.tag for d in taken)
    told = f"{names} take {actual} of the {show(rail, 'short_length')} rail of {box.tag}."
    if keeps_to(total, rail):
        return satisfied(box.tag, path, told + note, required=required, actual=actual, calculations=(number,))
    return violated(
        box.tag,
        path,
        told + note,
        required=required,
        actual=actual,
        fix=f"Take an enclosure with {actual} of rail or more, or move some of it to another box.",
        related=(box.path + ("part",), *(d.path for d in taken)),
        calculations=(number,),
    )


_ON_RAIL = {
    "part:box-r.rail": "60 mm",
    "part:breaker-r.rail_width": "18 mm",
    "part:isolator-r.rail_width": "18 mm",
    "part:holder-r.rail_width": "18 mm",
}

RAIL_FULL = Rule(
    id="box.rail-full",
    severity=Severity.ERROR,
    title="More on the rail of an enclosure than it is long",
    checks="Sum of the rail widths of what an enclosure holds (a fuse counts with its holder) <= length of "
    "its rail. What has no rail width in the catalogue stands beside the rail and is not counted.",
    why="What does not fit is hung on its wires, and the first service pulls one out.",
    clauses={
        "us-2023": "110.3(B); 312.6, 312.7 (room for conductors)",
        "iec": "61439-1 10.10; 60715 (rails)",
    },
    look=_boxes,
    examine=_rail_full,
    fires=(
        Case(
            "three devices of 18 mm on 50 mm of rail",
            {**_ON_RAIL, "part:box-r.rail": "50 mm"},
            subject="BOX1",
        ),
        Case(
            "three devices of 18 mm on 50 mm of rail, metric rulebook",
            {**METRIC, **_ON_RAIL, "part:box-r.rail": "50 mm"},
            subject="BOX1",
        ),
    ),
    keeps_still=(
        Case("three devices of 18 mm on 60 mm of rail", _ON_RAIL),
        Case("on exactly 54 mm of rail", {**_ON_RAIL, "part:box-r.rail": "54 mm"}),
    ),
    sees_not="End stops, wiring space and what stands beside the rail.",
)

RULES = (RAIL_FULL,)
