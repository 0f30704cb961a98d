"""The raceway schedule: what each raceway is, what it holds, and how full that makes it."""

from __future__ import annotations

from specc.documents.one_line import size_words
from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system import raceways
from specc.system.model import Device
from specc.system.system import System

COLUMNS = (
    Column("tag", "Tag"),
    Column("kind", "Raceway"),
    Column("size", "Size"),
    Column("length", "Length", "length", "right"),
    Column("cover", "Cover", "short_length", "right"),
    Column("bends", "Quarter bends", "count", "right"),
    Column("count", "Conductors", "count", "right"),
    Column("inside", "Conductors inside"),
    Column("fill", "Fill", "fraction", "right", decimals=1),
    Column("allowed", "Allowed", "fraction", "right", decimals=0),
)


def raceway_schedule(system: System) -> Table:
    """Every raceway of the job, in the order of the spec."""
    devices = system.of_kind("raceways")
    return Table(
        "raceway-schedule",
        "Raceway schedule",
        COLUMNS,
        tuple(_row(system, device) for device in devices),
        (
            "Cover is from the ground to the top of the raceway; none is given where it is not buried.",
            *(
                f"{device.tag} also holds {', '.join(device.spec.other_circuits)}: not counted in the fill."
                for device in devices
                if device.spec.other_circuits
            ),
        ),
    )


def _row(system: System, raceway: Device) -> dict[str, Cell]:
    inside = raceways.inside(system, raceway)
    sizes = {c.size for c in inside}
    row: dict[str, Cell] = {
        "tag": raceway.tag,
        "kind": raceway.part.name,
        "size": size_words(raceway.part.trade_size),
        "length": raceway.spec.length,
        "cover": raceway.spec.buried,
        "bends": raceway.spec.bends,
        "count": len(inside),
        "inside": ", ".join(c.tag if len(sizes) == 1 else f"{c.tag} {c.size}" for c in inside) or "empty",
    }
    if inside:
        try:
            filled = raceways.fill(system, raceway)
        except NotInTable:
            return {**row, "fill": "not in the tables", "allowed": "not in the tables"}
        row |= {"fill": filled.fraction, "allowed": filled.limit.value}
    return row
