"""The schedule of fuses, breakers and isolators: what they are rated for, what they see, do they open."""

from __future__ import annotations

from collections.abc import Callable

from specc.documents.tables import Cell, Column, Table
from specc.rulebooks import NotInTable
from specc.system import guarding
from specc.system.clearing import clearing
from specc.system.missing import MissingDatum
from specc.system.model import Device, Pole
from specc.system.system import System
from specc.system.walk import Crossing

NOT_KNOWN = "not known"

COLUMNS = (
    Column("tag", "Tag"),
    Column("kind", "Kind"),
    Column("place", "Where"),
    Column("rating", "Rating", "current", "right"),
    Column("volts", "Rated DC", "voltage", "right"),
    Column("poles", "Poles", "count", "right"),
    Column("class", "Class"),
    Column("breaks", "Breaking capacity", "current", "right"),
    Column("circuit", "Circuit guarded or cut"),
    Column("highest_voltage", "Highest voltage", "voltage", "right"),
    Column("highest_current", "Highest current", "current", "right"),
    Column("opens", "Opens on a fault?"),
)
_KINDS = {"fuse": "fuse", "breaker": "circuit breaker", "isolator": "isolator"}


def overcurrent_schedule(system: System) -> Table:
    """Every fuse, breaker and isolator, in the order of the spec."""
    devices = [device for device in system.devices.values() if device.kind in _KINDS]
    return Table(
        "overcurrent-schedule",
        "Fuses, breakers and isolators",
        COLUMNS,
        tuple(_row(system, device) for device in devices),
        (
            "Highest voltage and current are those of the circuit, coldest morning and brightest hour; "
            "the current is the one that flows for hours.",
            "Arrays and controllers give little more than their working current: a device that they alone "
            "feed may never open on a fault. A load-break breaker then counts as an isolator; a fuse never "
            "does: open an isolator before it is drawn.",
            f'"{NOT_KNOWN}": a datum is missing, see the findings.',
        ),
    )


def _row(system: System, device: Device) -> dict[str, Cell]:
    part, electrical = device.part, system.electrical
    poles = system.poles_of(device)
    pairs = dict.fromkeys(pair for pole in poles for pair in _in_order(system, pole))
    where = ", ".join(word for word in (device.box, device.location) if word)
    sources = [source for pole in poles for source in electrical.sources_on(pole)]
    return {
        "tag": device.tag,
        "kind": _KINDS[device.kind],
        "place": where,
        "rating": part.dc_current if device.kind == "isolator" else part.rating,
        "volts": part.dc_voltage,
        "poles": len(poles),
        "class": getattr(part, "fuse_class", None),
        "breaks": getattr(part, "breaking_capacity", None),
        "circuit": ", ".join(dict.fromkeys(f"{p.source.tag} to {p.load.device.tag}" for p in pairs))
        or "none",
        "highest_voltage": _known(lambda: electrical.highest_of(sources).value) if sources else None,
        "highest_current": _known(lambda: _current_a(system, poles)),
        "opens": "no, isolator" if device.kind == "isolator" else _known(lambda: _opens(system, poles)),
    }


def _in_order(system: System, pole: Pole) -> list[Crossing]:
    found = guarding.feeds(system, pole)
    return [pair for pair in system.walked.pairs if pair in found]


def _known(work: Callable[[], Cell]) -> Cell:
    try:
        return work()
    except (MissingDatum, NotInTable):
        return NOT_KNOWN


def _current_a(system: System, poles: tuple[Pole, ...]) -> float | None:
    found = [system.electrical.continuous_current(pole) for pole in poles]
    return max((current.value for current in found if current is not None), default=None)


def _opens(system: System, poles: tuple[Pole, ...]) -> str:
    found = [clear for pole in poles if (clear := clearing(system, pole)) is not None]
    if not found:
        return "no source reaches it"
    if all(clear.opens for clear in found):
        return "yes, by battery" if all(clear.by_battery for clear in found) else "yes"
    worst = min((c for c in found if not c.opens), key=lambda c: c.most_a / c.opens_a)
    has, needs = (system.show(value, "current", 3) for value in (worst.most_a, worst.opens_a))
    return f"no: {has} available, {needs} needed"
