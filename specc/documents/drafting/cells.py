"""The room that every item needs around its axis: symbol, captions, wires that turn, gaps for outlines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from specc.documents.diagram import Diagram, DiagramDevice
from specc.documents.drafting.lettering import Line, block_height, block_width, lines_of, text_width
from specc.documents.drafting.look import read_look
from specc.documents.drafting.plan import Item, Pin, Plan, count_words, counts_conductors, symbol_of
from specc.documents.drafting.symbols import Port

COUNT_ASIDE = 0.8  # mm from the stroke to the number of conductors


@dataclass(frozen=True)
class Room:
    """Width and height that the titles of outlines take above a device, mm."""

    width: float = 0.0
    height: float = 0.0


@dataclass(frozen=True)
class Cell:
    """Room around the axis point of an item, mm, all on the grid. ``levels`` are the heights, from the axis,
    at which the wires from top and bottom ports turn sideways; ``caption_top`` is where the text begins."""

    left: float
    right: float
    up: float
    down: float
    levels: dict[str, float]
    caption_top: float = 0.0
    caption: tuple[Line, ...] = ()


def make_cells(plan: Plan, diagram: Diagram, titles: dict[str, Room]) -> tuple[Cell, ...]:
    """The cell of every item."""
    boxed = {tag for box in diagram.boxes for tag in box.holds}
    exits: dict[tuple[int, str], set[str]] = {}
    for route in plan.routes:
        for pin in (route.steps[0].start, route.steps[-1].end):
            exits.setdefault((pin.item, pin.port), set()).add(pin.side)
    cells = []
    for item in plan.items:
        if item.device is not None:
            depth = (item.device.tag in boxed) + bool(item.device.place)
            cells.append(
                _device_cell(plan, item, item.device, exits, depth, titles.get(item.device.tag, Room()))
            )
        else:
            cells.append(_wire_cell(item))
    return tuple(cells)


def pin_height(plan: Plan, cells: tuple[Cell, ...], pin: Pin) -> float:
    """Height of a pin below the axis of its item, mm."""
    item = plan.items[pin.item]
    if item.device is None:
        return 0.0
    if pin.port in cells[pin.item].levels:
        return cells[pin.item].levels[pin.port]
    return port_of(plan, pin).y - symbol_of(item.device).axis


def port_of(plan: Plan, pin: Pin) -> Port:
    """The port of a device pin."""
    return next(port for port in plan.ports[pin.item] if port.name == pin.port)


def caption_lines(device: DiagramDevice) -> tuple[Line, ...]:
    """The text of a device: its tag in bold, its captions below. A match mark has its letter inside."""
    look = read_look()
    tag = "" if device.mark else device.tag
    return _caption(tag, device.captions, look.text["tag"], look.text["caption"], look.caption_width)


@lru_cache(maxsize=4096)
def _caption(
    tag: str, captions: tuple[str, ...], tag_size: float, size: float, width: float
) -> tuple[Line, ...]:
    """All that it depends on is an argument, since a firm's own templates may change the sizes."""
    lines = lines_of(tag, tag_size, width, bold=True, role="tag")
    return (*lines, *(line for caption in captions for line in lines_of(caption, size, width)))


def snap_up(length: float) -> float:
    """The next multiple of the grid, mm."""
    grid = read_look().grid
    return math.ceil(length / grid - 1e-9) * grid


def _device_cell(
    plan: Plan,
    item: Item,
    device: DiagramDevice,
    exits: dict[tuple[int, str], set[str]],
    depth: int,
    title: Room,
) -> Cell:
    look = read_look()
    symbol = symbol_of(device)
    above = [port.name for port in _turning_ports(plan, item, exits, "top", symbol.width)]
    below = [port.name for port in _turning_ports(plan, item, exits, "bottom", symbol.width)]
    bottom = symbol.height - symbol.axis
    levels = {name: snap_up(-symbol.axis) - look.track * (row + 1) for row, name in enumerate(above)}
    levels |= {name: snap_up(bottom) + look.track * (row + 1) for row, name in enumerate(below)}
    caption = caption_lines(device)
    caption_top = max([bottom, *(levels[name] for name in below)]) + 0.8
    margin = depth * look.outline_gap
    half = max(symbol.width, block_width(caption)) / 2 + margin
    half = max(half, title.width / 2 + margin)
    top = max([symbol.axis, *(-levels[name] for name in above)])
    title_room = title.height + look.outline_gap if title.height else 0.0
    return Cell(
        snap_up(half),
        snap_up(half),
        snap_up(top + 0.6 + margin + title_room),
        snap_up(caption_top + block_height(caption) + margin),
        levels,
        caption_top,
        caption,
    )


def _turning_ports(
    plan: Plan, item: Item, exits: dict[tuple[int, str], set[str]], side: str, width: float
) -> list[Port]:
    """Ports on the top or bottom in use, the one that turns first (nearest to the symbol) first."""
    ports = [port for port in plan.ports.get(item.number, ()) if port.side == side]

    def way_out(port: Port) -> tuple[float, str]:
        ways = [port.x if exit == "left" else width - port.x for exit in exits[item.number, port.name]]
        return max(ways), port.name

    return sorted(ports, key=way_out)


def _wire_cell(item: Item) -> Cell:
    look = read_look()
    if item.link is None:
        return Cell(0.0, 0.0, look.grid, look.grid, {})
    below = max(look.grid, look.arrow / 2)
    width = max(block_width(item.label), 2 * look.arrow)
    if counts_conductors(item.link):
        below = max(below, look.text["count"] * 1.15 + 0.3)
        width = max(width, 2 * (COUNT_ASIDE + text_width(count_words(item.link), look.text["count"])))
    half = snap_up(width / 2 + 0.6)
    return Cell(half, half, snap_up(block_height(item.label) + 0.8), snap_up(below), {})
