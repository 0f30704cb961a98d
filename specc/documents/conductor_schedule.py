"""The conductor schedule: one row a conductor, to wire from and to hand to the inspector."""

from __future__ import annotations

from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system.missing import MissingDatum
from specc.system.model import Conductor
from specc.system.network import DesignPoint
from specc.system.roles import role_of
from specc.system.system import System

COLUMNS = (
    Column("tag", "Tag"),
    Column("from", "From"),
    Column("to", "To"),
    Column("role", "Role"),
    Column("color", "Colour"),
    Column("size", "Size"),
    Column("type", "Wire type"),
    Column("length", "Length", "length", "right"),
    Column("laid", "Raceway or laying"),
    Column("design_current", "Design current", "current", "right", decimals=2),
    Column("ampacity", "Corrected ampacity", "current", "right", decimals=1),
    Column("device", "Fuse or breaker"),
    Column("drop", "Drop", "voltage", "right", decimals=2),
    Column("drop_share", "Drop", "fraction", "right", decimals=2),
    Column("total_share", "Drop from source", "fraction", "right", decimals=2),
)


def conductor_schedule(system: System) -> Table:
    """Every conductor of the job, in the order of the spec. What cannot be computed is left empty."""
    point = _design_point(system)
    rows = tuple(_row(system, conductor, point) for conductor in system.conductors)
    notes = [
        "Drop is that of the one conductor at the design current, with the resistance of a hot conductor; "
        "drop from source adds up along its leg.",
        "An empty overcurrent device means that none stands between the source and this conductor.",
    ]
    joints = [f"{c.tag}: {c.joint_note}" for c in system.conductors if c.joint_note]
    return Table("conductor-schedule", "Conductor schedule", COLUMNS, rows, (*notes, *joints))


def _design_point(system: System) -> DesignPoint:
    try:
        return system.design_point()
    except (MissingDatum, NotInTable):
        return DesignPoint({}, {})


def _row(system: System, conductor: Conductor, point: DesignPoint) -> dict[str, Cell]:
    row: dict[str, Cell] = {
        "tag": conductor.tag,
        "from": conductor.start,
        "to": conductor.end,
        "role": role_of(system.connected, system.walked, conductor).words,
        "color": conductor.color,
        "size": conductor.size.replace(" ", "\N{NO-BREAK SPACE}"),
        "type": wire_type(conductor),
        "length": conductor.length_m,
        "laid": conductor.run.raceway.tag if conductor.run.raceway else conductor.run.spec.laid,
    }
    electrical = system.electrical
    if not electrical.carries_current(conductor):
        return row
    guard = electrical.guards(conductor)
    row["device"] = guard.device.tag if guard else None
    for key, work in (
        ("design_current", electrical.design_current),
        ("ampacity", electrical.corrected_ampacity),
    ):
        try:
            found = work(conductor)
        except (MissingDatum, NotInTable):
            continue
        row[key] = found.value if found else None
    drop = point.drop_v(conductor.start, conductor.end)
    source_v = _source_voltage(system, conductor)
    if drop is not None:
        row["drop"] = drop
        if source_v:
            row["drop_share"] = drop / source_v
            total = _from_source(system, conductor, point)
            row["total_share"] = None if total is None else total / source_v
    return row


def wire_type(conductor: Conductor) -> str:
    """Insulation and metal, as the wire is marked: "THWN-2 Cu"."""
    metal = {"copper": "Cu", "tinned copper": "tinned Cu", "aluminium": "Al"}[conductor.wire.material]
    insulation = conductor.wire.insulation
    return f"{insulation.upper() if any(c.isdigit() for c in insulation) else insulation} {metal}"


def _source_voltage(system: System, conductor: Conductor) -> float | None:
    branch = system.electrical.branch(conductor)
    if branch is None:
        return None
    rated = [
        abs(system.walked.voltage(s.ports[-1].plus, s.ports[0].minus) or 0.0)
        for s in system.electrical.crossing_sources(branch)
    ]
    return max(rated, default=0.0) or None


def _from_source(system: System, conductor: Conductor, point: DesignPoint) -> float | None:
    """Volts lost on this leg from the source to the conductor's far end."""
    branch = system.electrical.branch(conductor)
    if branch is None:
        return None
    found = []
    for source in system.electrical.crossing_sources(branch):
        for end in system.electrical.source_ends(source, branch.net):
            losses = [point.drop_v(end, conductor.start), point.drop_v(end, conductor.end)]
            found += [loss for loss in losses if loss is not None]
    return max(found, default=None)
