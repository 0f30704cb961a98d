"""The sheet of worst cases: at each place the highest voltage and current, and what has to happen for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from specc.documents.tables import Cell, Column, Table
from specc.system.every_state import READY
from specc.system.system import System
from specc.system.worst import AtPlace, Worst, every_place

COLUMNS = (
    Column("place", "Place"),
    Column("at", "At", on_paper=False),
    Column("case", "Case"),
    Column("voltage", "Voltage", "voltage", "right", decimals=2),
    Column("current", "Current", "current", "right", decimals=2),
    Column("condition", "When"),
    Column("state", "State of the switches"),
)


def worst_cases(system: System) -> Table:
    """Places whose cases read the same share their rows. What lacks a datum is named in the notes."""
    together: dict[tuple[_Told, ...], list[AtPlace]] = {}
    for place in every_place(system):
        if place.cases:
            together.setdefault(tuple(map(_told, place.cases)), []).append(place)
    rows = tuple(_row(system, places, told) for cases, places in together.items() for told in cases)
    lacking = dict.fromkeys(lack for place in every_place(system) for lack in place.lacking)
    notes = [
        "Voltages and currents are the highest that the place can see, not what it sees on a normal day. The "
        "formula behind each is on the calculation sheet.",
        f"State ready: {READY}, every hand-worked device closed.",
        *(f"Not worked out for want of a datum: {lack}." for lack in lacking),
    ]
    return Table("worst-cases", "Worst cases", COLUMNS, rows, tuple(notes), group_by="place", ticked=False)


@dataclass(frozen=True)
class _Told:
    """A worst case as it is printed."""

    case: str
    dimension: str
    value: float
    condition: str
    state: str


def _told(worst: Worst) -> _Told:
    return _Told(worst.number.what, worst.number.dimension, worst.value, worst.condition, worst.state)


def _row(system: System, places: list[AtPlace], told: _Told) -> dict[str, Cell]:
    value = told.value if math.isfinite(told.value) else None
    tags = [place.tag for place in places]
    return {
        "place": _heading(system, tags),
        "at": ", ".join(tags),
        "case": told.case,
        told.dimension: value,
        "condition": told.condition if value is not None else f"{told.condition}: without limit",
        "state": "ready" if told.state == READY else told.state,
    }


def _heading(system: System, tags: list[str]) -> str:
    """What the places are, and their tags: "Conductors R0.1, R0.2 and R3.1" or "Isolators DS1 and DS2"."""
    conductors = {conductor.tag for conductor in system.conductors}
    kinds: dict[str, list[str]] = {}
    for tag in tags:
        device = system.devices.get(tag)
        kind = "conductor" if tag in conductors else device.kind if device is not None else "pole"
        kinds.setdefault(kind.replace("_", " "), []).append(tag)
    words = "; ".join(
        f"{kind if len(alike) == 1 else several_of(kind)} {_listed(alike)}" for kind, alike in kinds.items()
    )
    return words[:1].upper() + words[1:]


def several_of(kind: str) -> str:
    """The plural of a kind of device: "switches", "batteries", "fuses"."""
    if kind.endswith("y"):
        return f"{kind[:-1]}ies"
    return f"{kind}{'es' if kind.endswith('ch') else 's'}"


def _listed(tags: list[str]) -> str:
    return tags[0] if len(tags) == 1 else f"{', '.join(tags[:-1])} and {tags[-1]}"
