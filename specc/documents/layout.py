"""A diagram laid out on a sheet: from what it says to shapes in millimetres.

The steps, one module each in ``drafting``: rank the devices by the path of energy and water, plan how every
link runs through the columns, order the columns, measure cells, place them, route wires, draw outlines, and
choose the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from specc.documents.diagram import Diagram, DiagramLink
from specc.documents.drafting.cells import Cell, make_cells
from specc.documents.drafting.lettering import Line, block_height, place_line, stack
from specc.documents.drafting.look import Paper, papers_of, read_look
from specc.documents.drafting.moving import Move
from specc.documents.drafting.ordering import order_columns
from specc.documents.drafting.outlines import (
    Rooms,
    groups_of,
    make_scene,
    outline_groups,
    rooms_everywhere,
    rooms_needed,
    title_rooms,
    title_texts,
    wider_rooms,
)
from specc.documents.drafting.placing import place_items
from specc.documents.drafting.plan import Item, Plan, counts_conductors, make_plan, symbol_of
from specc.documents.drafting.ranking import rank_devices
from specc.documents.drafting.routing import Routing, route_wires
from specc.documents.drafting.sheet import Sheet, choose_sheet
from specc.documents.shapes import Drawing, Mark, Outline, PlacedSymbol, Rect, Text, Wire

ATTEMPTS = 5  # at leaving room for the titles of outlines


@dataclass(frozen=True)
class _Arrangement:
    """Everything placed, in mm at full scale from a corner of its own."""

    plan: Plan
    cells: tuple[Cell, ...]
    heights: tuple[float, ...]
    routing: Routing
    outlines: tuple[Outline, ...]
    titles: tuple[Text, ...]


def lay_out(diagram: Diagram, papers: Sequence[Paper] = ()) -> Drawing:
    """The drawing on the smallest of ``papers`` (US sheets unless given) on which it is legible.

    Raises DiagramError when a device names a symbol that does not exist.
    """
    arrangement = _arrange(diagram)
    extent = _extent(arrangement)
    sheet = choose_sheet(diagram, extent.width, extent.height, papers or papers_of("us"))
    return _on_sheet(diagram, arrangement, extent, sheet)


def _arrange(diagram: Diagram) -> _Arrangement:
    plan = make_plan(diagram, rank_devices(diagram))
    order = order_columns(plan, diagram)
    groups = groups_of(diagram)
    rooms: Rooms = {}
    for attempt in range(ATTEMPTS + 1):
        if attempt == ATTEMPTS:
            rooms = wider_rooms(rooms, rooms_everywhere(groups))
        cells = make_cells(plan, diagram, title_rooms(rooms))
        heights = place_items(plan, order, cells)
        routing = route_wires(plan, order, cells, heights)
        scene = make_scene(plan, cells, heights, routing, rooms)
        outlines = outline_groups(groups, scene)
        wider = wider_rooms(rooms, rooms_needed(groups, outlines, scene))
        if wider == rooms:
            break
        rooms = wider
    return _Arrangement(plan, cells, heights, routing, outlines, title_texts(groups, outlines, scene))


def _extent(arrangement: _Arrangement) -> Rect:
    rects = [outline.rect for outline in arrangement.outlines]
    for item, cell, y in zip(arrangement.plan.items, arrangement.cells, arrangement.heights, strict=True):
        x = arrangement.routing.axes[item.column]
        rects.append(Rect(x - cell.left, y - cell.up, x + cell.right, y + cell.down))
    for wire in arrangement.routing.wires:
        rects += [Rect(x, y, x, y).grown(1.0) for piece in wire.pieces for x, y in piece]
    whole = rects[0] if rects else Rect(0, 0, 0, 0)
    for rect in rects[1:]:
        whole = whole.union(rect)
    return whole


def _on_sheet(diagram: Diagram, arrangement: _Arrangement, extent: Rect, sheet: Sheet) -> Drawing:
    scale = sheet.scale
    left = sheet.room.left + (sheet.room.width - extent.width * scale) / 2 - extent.left * scale
    top = sheet.room.top + (sheet.room.height - extent.height * scale) / 2 - extent.top * scale
    move = Move(left, top, scale)
    plan, routing = arrangement.plan, arrangement.routing
    symbols, texts, marks = [], list(arrangement.titles), [Mark("dot", x, y) for x, y in routing.dots]
    for item, cell, y in zip(plan.items, arrangement.cells, arrangement.heights, strict=True):
        x = routing.axes[item.column]
        if item.device is not None:
            symbols.append(_symbol(item, x, y))
            texts += stack(cell.caption, x, y + cell.caption_top, "middle", item.device.tag)
        elif item.link is not None:
            texts += _label(item, item.link, x, y)
            marks += _signs(item, item.link, x, y)
            if counts_conductors(item.link):
                texts.append(_count(item.link, x, y))
    wires = [
        Wire(route.link.tag, route.link.kind, _words(route.link), wire.pieces, wire.jumps)
        for route, wire in zip(plan.routes, routing.wires, strict=True)
    ]
    block = diagram.title_block
    return Drawing(
        title=" ".join(part for part in (block.number, block.title) if part),
        description=_description(diagram),
        paper=sheet.paper.name,
        width=sheet.paper.width,
        height=sheet.paper.height,
        frame=sheet.frame,
        scale=scale,
        draft=block.draft,
        symbols=(*(move.symbol(symbol) for symbol in symbols), *sheet.symbols),
        wires=tuple(move.wire(wire) for wire in wires),
        marks=tuple(move.mark(mark) for mark in marks),
        outlines=tuple(move.outline(outline) for outline in arrangement.outlines),
        texts=(*(move.text(text) for text in texts), *sheet.texts),
        rules=sheet.rules,
    )


def _symbol(item: Item, x: float, y: float) -> PlacedSymbol:
    if item.device is None:
        raise AssertionError("only a device has a symbol")
    symbol = symbol_of(item.device)
    left, top = x - symbol.width / 2, y - symbol.axis
    box = Rect(left, top, left + symbol.width, top + symbol.height)
    words = ", ".join((item.device.tag, symbol.words, *item.device.captions))
    return PlacedSymbol(item.device.tag, symbol.name, words, left, top, 1.0, box, symbol.body)


def _label(item: Item, link: DiagramLink, x: float, y: float) -> tuple[Text, ...]:
    return stack(item.label, x, y - 0.8 - block_height(item.label), "middle", link.tag)


def _signs(item: Item, link: DiagramLink, x: float, y: float) -> list[Mark]:
    if link.kind == "water":
        return [Mark("arrow", x, y, link.tag, 0 if item.direction > 0 else 180)]
    return [Mark("tick", x, y, link.tag)] if counts_conductors(link) else []


def _count(link: DiagramLink, x: float, y: float) -> Text:
    size = read_look().text["count"]
    return place_line(
        Line(str(link.conductors), size, role="count"), x + 0.8, y + 0.3 + size, "start", link.tag
    )


def _words(link: DiagramLink) -> str:
    captions = f": {', '.join(link.captions)}" if link.captions else ""
    return f"{link.tag or link.kind} from {link.from_tag} to {link.to_tag}{captions}"


def _description(diagram: Diagram) -> str:
    devices = ", ".join(f"{device.tag} ({symbol_of(device).words})" for device in diagram.devices)
    links = "; ".join(_words(link) for link in diagram.links)
    return f"One-line diagram. Devices: {devices or 'none'}. Links: {links or 'none'}."
