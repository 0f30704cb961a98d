"""The sheet of worst cases: at each place the highest voltage and current, and what has to happen for it."""

from __future__ import annotations

import math

from specc.documents.tables import Cell, Column, Table
from specc.system.every_state import READY
from specc.system.system import System
from specc.system.worst import AtPlace, Worst, every_place

COLUMNS = (
    Column("at", "At"),
    Column("case", "Case"),
    Column("voltage", "Voltage", "voltage", "right", decimals=2),
    Column("current", "Current", "current", "right", decimals=2),
    Column("condition", "When"),
    Column("state", "State of the switches"),
)


def worst_cases(system: System) -> Table:
    """Places with the same cases share their rows. What lacks a datum is named in the notes."""
    alike: dict[tuple[Worst, ...], list[AtPlace]] = {}
    for place in every_place(system):
        if place.cases:
            alike.setdefault(place.cases, []).append(place)
    rows = tuple(_row(places, worst) for cases, places in alike.items() for worst in cases)
    lacking = dict.fromkeys(lack for place in every_place(system) for lack in place.lacking)
    notes = [
        "Voltages and currents are the highest that the place can see, not what it sees on a normal day. The "
        "formula behind each is on the calculation sheet.",
        f"State ready: {READY}, every hand-worked device closed.",
        *(f"Not worked out for want of a datum: {lack}." for lack in lacking),
    ]
    return Table("worst-cases", "Worst cases", COLUMNS, rows, tuple(notes), group_by="at")


def _row(places: list[AtPlace], worst: Worst) -> dict[str, Cell]:
    value = worst.value if math.isfinite(worst.value) else None
    return {
        "at": ", ".join(place.tag for place in places),
        "case": worst.number.what,
        worst.number.dimension: value,
        "condition": worst.condition if value is not None else f"{worst.condition}: without limit",
        "state": "ready" if worst.state == READY else worst.state,
    }
