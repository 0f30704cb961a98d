"""The termination schedule: box by box, terminal by terminal, what goes on it and how tight."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from specc.documents.one_line import box_title
from specc.documents.tables import Cell, Column, Table
from specc.system.model import Conductor, Device, Terminal
from specc.system.system import System

PER_MAKER = "per maker"
TICK = "\N{BALLOT BOX}"

COLUMNS = (
    Column("group", "Where"),
    Column("terminal", "Terminal"),
    Column("conductor", "Conductor"),
    Column("other_end", "Other end"),
    Column("color", "Colour"),
    Column("size", "Size"),
    Column("strip", "Strip", "short_length", "right", digits=2),
    Column("torque", "Torque", "torque", "right", digits=2),
    Column("done", "Done", align="centre", sign="✓"),
)


def termination_schedule(system: System) -> Table:
    """A row for each conductor at each terminal, and one for each terminal that stays free."""
    at: dict[str, list[Conductor]] = defaultdict(list)
    for conductor in system.conductors:
        at[conductor.start].append(conductor)
        at[conductor.end].append(conductor)
    rows = []
    for group, devices in _groups(system):
        for device in devices:
            for terminal in (t for t in system.connected.terminals.values() if t.device is device):
                rows += [{"group": group, **row} for row in _rows(system, terminal, at[terminal.id])]
            rows += [{"group": group, **row} for row in _links(system, device)]
    return Table(
        "termination-schedule",
        "Termination schedule",
        COLUMNS,
        tuple(rows),
        (
            f'"{PER_MAKER}" where the catalogue part gives no value: read it on the device or its sheet, and '
            "use a torque tool all the same.",
            "Stripping is the bare length; a ring lug is crimped with the tool of its maker.",
            "Tick a row when the terminal is tight and the tag is on the conductor.",
            *_notes_on_links(rows),
        ),
        group_by="group",
    )


def _notes_on_links(rows: list[dict[str, Cell]]) -> Iterator[str]:
    if any("link" in str(row.get("conductor")) for row in rows):
        yield "Links: from module to module, or from block to block, within the array or the bank; both ends."


def _groups(system: System) -> Iterator[tuple[str, list[Device]]]:
    """Enclosures with what they hold, in the order of the spec, then what hangs outside, by place."""
    wired = {terminal.device.tag: terminal.device for terminal in system.connected.terminals.values()}
    for box in system.of_kind("enclosure"):
        held = [wired[tag] for tag in (*box.spec.holds, box.tag) if tag in wired]
        words = (f"{box.tag} {box_title(box)}".strip(), box.location or "")
        yield ", ".join(word for word in words if word), held
    loose: dict[str, list[Device]] = defaultdict(list)
    for device in wired.values():
        if device.box is None and device.kind != "enclosure":
            loose[device.location or ""].append(device)
    for place, devices in loose.items():
        yield f"Outside of boxes, {place}" if place else "Outside of boxes", devices


def _links(system: System, device: Device) -> Iterator[dict[str, Cell]]:
    """Joints within an array or a bank, which no run names: from module to module, from block to block."""
    if device.kind not in ("panel", "battery"):
        return
    series, strings = device.spec.series, device.spec.parallel
    found = [("to next +", "-", (series - 1) * strings), ("of next string", "+, -", 2 * (strings - 1))]
    if device.kind == "panel":
        found.append(("to next frame", "frame", series * strings - 1))
    for other_end, name, count in found:
        if count > 0:
            of_device = system.connected.terminals_of(device)
            wire = next(t.wire for t in of_device if t.id == f"{device.tag}.{name.split(', ')[0]}")
            strip: Cell = "ring lug" if getattr(wire, "stud", False) else getattr(wire, "strip", None)
            torque: Cell = getattr(wire, "torque", None)
            yield {
                "terminal": f"{device.tag} {name}",
                "conductor": f"{count} {'link' if count == 1 else 'links'}",
                "other_end": other_end,
                "strip": PER_MAKER if strip is None else strip,
                "torque": PER_MAKER if torque is None else torque,
                "done": TICK,
            }


def _rows(system: System, terminal: Terminal, conductors: list[Conductor]) -> Iterator[dict[str, Cell]]:
    if not conductors:
        yield {"terminal": terminal.id, "conductor": "free"}
    for conductor in conductors:
        wire = terminal.wire
        strip: Cell = "ring lug" if getattr(wire, "stud", False) else getattr(wire, "strip", None)
        torque: Cell = getattr(wire, "torque", None)
        yield {
            "terminal": terminal.id,
            "conductor": conductor.tag,
            "other_end": conductor.end if conductor.start == terminal.id else conductor.start,
            "color": conductor.color,
            "size": conductor.size.replace(" ", "\N{NO-BREAK SPACE}"),
            "strip": PER_MAKER if strip is None else strip,
            "torque": PER_MAKER if torque is None else torque,
            "done": TICK,
        }
