"""Rules on what an enclosure has room for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from specc.calculation import Calculation, Input
from specc.diagnostics import Severity
from specc.rulebooks import Sourced
from specc.rules._edits import METRIC
from specc.rules._limits import keeps_to
from specc.rules._rule import Answer, Case, Rule, satisfied, unchecked, violated
from specc.system.missing import need_part
from specc.system.model import Conductor, Device
from specc.system.system import System


def _mounted(system: System, device: Device) -> Any:
    """The part that stands in the box: of a fuse its holder."""
    if device.table != "fuses":
        return device.part
    holder = device.spec.holder or device.part.holder
    return system.description.catalog.find(holder) if holder else device.part


def _width_m(system: System, device: Device) -> float | None:
    """Width that a device takes on the rail [m]; None where it stands on none."""
    width = getattr(_mounted(system, device), "rail_width", None)
    return None if width is None else float(width)


def _on_rail(system: System, box: Device) -> dict[Device, float]:
    return {d: width for d in system.connected.held_by(box) if (width := _width_m(system, d)) is not None}


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
    beside = [d.tag for d in system.connected.held_by(box) if d not in taken]
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

# -- too small ---------------------------------------------------------------------------------------

_EARTHS_AS_ONE = 4  # so many equipment grounding conductors count as one, each more as a quarter


def _filled(system: System) -> Iterator[Device]:
    return (box for box in system.of_kind("enclosure") if system.connected.held_by(box))


def _bodies(system: System, box: Device) -> tuple[list[Input], list[str]]:
    """Room that each device in a box takes [m3], and the tags of those of which nothing tells it."""
    known, unknown = [], []
    for device in system.connected.held_by(box):
        part = _mounted(system, device)
        if getattr(part, "body", None) is not None:
            known.append(
                Input(
                    f"V {device.tag}",
                    float(part.body),
                    "box_volume",
                    f"{device.tag}, catalogue part {part.id}",
                )
            )
        elif (width := _width_m(system, device)) is not None:
            room = system.handbook.modular_body_m3(width)
            known.append(Input(f"V {device.tag}", room.value, "box_volume", f"its width, {room.source}"))
        else:
            unknown.append(device.tag)
    return known, unknown


def _conductors_into(system: System, box: Device) -> tuple[list[Conductor], list[Conductor]]:
    """Conductors that come into a box from outside and end in it: live ones, and grounding ones."""
    live: list[Conductor] = []
    grounding: list[Conductor] = []
    inside = {box, *system.connected.held_by(box)}
    for conductor in system.connected.conductors_at(*inside):
        if {system.terminal(end).device for end in (conductor.start, conductor.end)} <= inside:
            continue
        earth = conductor.tag in system.walked.ground_conductors
        (grounding if earth else live).append(conductor)
    return live, grounding


def _wire_room(system: System, box: Device) -> list[Input]:
    """Room for the conductors that come into a box [m3], each size once."""
    live, grounding = _conductors_into(system, box)

    def room(conductor: Conductor) -> Sourced[float]:
        return system.handbook.wire_room_m3(system.book.size_area_m2(conductor.size).value)

    inputs = []
    for size in dict.fromkeys(c.size for c in live):
        same = [c for c in live if c.size == size]
        one = room(same[0])
        inputs.append(
            Input(
                f"{len(same)} of {size}",
                len(same) * one.value,
                "box_volume",
                f"each counted once, {one.source}",
            )
        )
    if grounding:
        largest = max((room(c) for c in grounding), key=lambda r: r.value)
        share = 1.0 + max(0, len(grounding) - _EARTHS_AS_ONE) / 4.0
        inputs.append(
            Input(
                f"{len(grounding)} grounding",
                share * largest.value,
                "box_volume",
                f"four count as the largest, each more as a quarter, {largest.source}",
            )
        )
    return inputs


def _too_small(system: System, box: Device) -> Answer:
    path = box.path + ("part",)
    bodies, unknown = _bodies(system, box)
    if unknown:
        return unchecked(
            box.tag,
            box.path + ("holds",),
            f"How much room {' and '.join(unknown)} may want in {box.tag} is not known: give body = in the "
            "catalogue (width x height x depth).",
        )
    if box.part.volume is None:
        return unchecked(
            box.tag, path, f"The volume of {box.tag} is not known: give volume = in the catalogue."
        )
    spare = system.handbook.threshold("box_room_fraction")
    inputs = [*bodies, *_wire_room(system, box)]
    needed = sum(i.value for i in inputs) / spare.value
    has = float(box.part.volume)
    number = Calculation(
        "room needed in the box",
        box.tag,
        "V",
        needed,
        "box_volume",
        f"(Σ bodies + Σ room of conductors) / {spare.value:g}",
        tuple(inputs),
        f"NEC 2023 314.16(B) as the measure; {spare.source}",
    )
    wanted, actual = (system.show(value, "box_volume", 3) for value in (needed, has))
    required = f"at least {wanted}"
    told = f"Its devices and conductors want {wanted}; {box.tag} has {actual}."
    if keeps_to(needed, has):
        return satisfied(box.tag, path, told, required=required, actual=actual, calculations=(number,))
    return violated(
        box.tag,
        path,
        told,
        required=required,
        actual=actual,
        fix=f"Take an enclosure of {wanted} or more, or move some of it to another box.",
        related=(box.path + ("holds",), *(d.path for d in system.connected.held_by(box))),
        calculations=(number,),
    )


# Bodies 0.11 + 0.9 + 0.11 + 0.11 + 0.02 L, then (by 314.16(B)) 4 of 10 AWG and 2 of 18 AWG from outside, and
# 3 grounding as one of 6 AWG: (1.25 L + 4 · 41.0 + 2 · 24.6 + 81.9 mL) / 0.8 = 1.93 L.
TOO_SMALL = Rule(
    id="box.too-small",
    severity=Severity.ERROR,
    title="Enclosure without room for its devices and conductors",
    checks="Σ bodies of what an enclosure holds (catalogue key body; of modular devices their rail width "
    "times 90 mm times 70 mm) + Σ room of the conductors that come in from outside <= four fifths of its "
    "volume. Conductors that stay inside count for nothing; up to four grounding conductors count as one.",
    why="In a box that is too small conductors are forced round sharp bends and devices cook each other; the "
    "cover is then left off.",
    clauses={
        "us-2023": "312.6, 312.7; 314.16(B) taken as the measure",
        "iec": "61439-1 10.10; 60670-1; 314.16(B) of NFPA 70 taken as the measure (common practice)",
    },
    look=_filled,
    examine=_too_small,
    fires=(
        Case("a box of 1.9 L", {"part:box-r.volume": "1.9 L"}, subject="BOX1"),
        Case("a box of 1.9 L, metric rulebook", {**METRIC, "part:box-r.volume": "1.9 L"}, subject="BOX1"),
        Case("a controller of 9 L in a box of 12 L", {"part:booster-r.body": "9 L"}, subject="BOX1"),
    ),
    keeps_still=(Case("a box of 2.0 L", {"part:box-r.volume": "2.0 L"}), Case("a box of 12 L")),
    sees_not="Whether each device fits by its shape, and the bending space at each terminal (312.6(B)).",
)

RULES = (RAIL_FULL, TOO_SMALL)
