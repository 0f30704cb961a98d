"""The conductor schedule: one row a conductor, to wire from and to hand to the inspector."""

from __future__ import annotations

from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system.guarding import opens_for
from specc.system.missing import MissingDatum
from specc.system.model import Conductor
from specc.system.network import DesignPoint, reference_v
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
    Column("highest_current", "Highest current", "current", "right", decimals=2),
    Column("ampacity", "Corrected ampacity", "current", "right", decimals=1),
    Column("device", "Fuse or breaker"),
    Column("working_current", "Working current", "current", "right", decimals=2),
    Column("drop", "Drop", "voltage", "right", decimals=2),
    Column("drop_share", "Drop", "fraction", "right", decimals=2, on_paper=False),
    Column("total_share", "Drop from source", "fraction", "right", decimals=2),
)


_ALIKE_V = 1e-9
NOTES = (
    "Highest current: what can flow for hours, of an array by the factor of the rulebook, of a controller "
    "its rating; conductors and devices are judged by it. Working current: arrays at maximum power, motors "
    "at their label.",
    "Drop is that of the one conductor at the working current, with the resistance of a hot conductor; drop "
    "from source adds up along its leg. The circuit loses what its out and its return leg lose together.",
    "Fuse or breaker: what opens on a fault in the conductor, by the battery where one feeds it; arrays and "
    "controllers that limit their own current need none. Left empty: none stands ahead in its own leg.",
)


def conductor_schedule(system: System) -> Table:
    """Every conductor of the job, in the order of the spec. What cannot be computed is left empty."""
    points = _points(system)
    rows = tuple(_row(system, conductor, points) for conductor in system.conductors)
    joints = [f"{c.tag}: {c.joint_note}" for c in system.conductors if c.joint_note]
    return Table("conductor-schedule", "Conductor schedule", COLUMNS, rows, (*NOTES, *joints))


def _points(system: System) -> tuple[DesignPoint, ...]:
    """By day, and by night where a battery then carries its loads alone."""
    try:
        by_day = system.design_point()
        return (by_day, system.night_point()) if system.of_kind("battery") else (by_day,)
    except (MissingDatum, NotInTable):
        return ()


def _row(system: System, conductor: Conductor, points: tuple[DesignPoint, ...]) -> dict[str, Cell]:
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
    row["device"] = ", ".join(dict.fromkeys(pole.device.tag for pole in opens_for(system, conductor))) or None
    for key, work in (
        ("highest_current", electrical.continuous_current),
        ("ampacity", electrical.corrected_ampacity),
    ):
        try:
            found = work(conductor)
        except (MissingDatum, NotInTable):
            continue
        row[key] = found.value if found else None
    known = [
        (round(abs(point.current_a[conductor.tag]), 6), _from_source(system, conductor, point))
        for point in points
        if conductor.tag in point.current_a
    ]
    if known:
        amperes, total_v = max(known, key=lambda found: (found[0], found[1] or 0.0))
        drop_v = amperes * electrical.resistance_ohm(conductor)
        row["working_current"], row["drop"] = amperes, drop_v
        rated_v = _rated_voltage(system, conductor)
        if rated_v:
            row["drop_share"] = drop_v / rated_v
            row["total_share"] = None if total_v is None else total_v / rated_v
    return row


def wire_type(conductor: Conductor) -> str:
    """Insulation and metal, as the wire is marked: "THWN-2 Cu"."""
    metal = {"copper": "Cu", "tinned copper": "tinned Cu", "aluminium": "Al"}[conductor.wire.material]
    insulation = conductor.wire.insulation
    return f"{insulation.upper() if any(c.isdigit() for c in insulation) else insulation} {metal}"


def _rated_voltage(system: System, conductor: Conductor) -> float | None:
    """The volts that a drop is a share of, as the rule on drop has it: the motor's, else the source's [V]."""
    branch = system.electrical.branch(conductor)
    pairs = system.walked.crossings(branch) if branch is not None else ()
    return max((reference_v(pair) for pair in pairs), default=0.0) or None


def _from_source(system: System, conductor: Conductor, point: DesignPoint) -> float | None:
    """Volts lost on this leg to the conductor's far end, from the farthest source that drives it."""
    branch = system.electrical.branch(conductor)
    volts = point.voltage_v
    if branch is None or conductor.start not in volts or conductor.end not in volts:
        return None
    found = []
    for source in system.electrical.crossing_sources(branch):
        pluses = {port.plus for port in source.ports}
        for end in system.electrical.source_ends(source, branch.net):
            sign = 1.0 if end in pluses else -1.0
            losses = [sign * (volts[end] - volts[at]) for at in (conductor.start, conductor.end)]
            if min(losses) >= -_ALIKE_V:  # a battery on charge, or a charger by night, is not the source
                found.append(max(losses))
    return max(found, default=None)
