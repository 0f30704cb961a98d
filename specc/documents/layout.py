"""A diagram laid out on a sheet: from what it says to shapes in millimetres.

The steps, one module each in ``drafting``: rank the devices by the path of energy and water, fold a path
that is too wide for the sheet, plan how every link runs through the columns, order the columns, measure
cells, place them, route wires, draw outlines, and choose the paper. What no paper holds goes on over several
sheets: see ``paging``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from specc.documents.diagram import Diagram, DiagramDevice, DiagramLink
from specc.documents.drafting.cells import COUNT_ASIDE, Cell, caption_lines, make_cells
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
from specc.documents.drafting.plan import Item, Plan, count_words, counts_conductors, make_plan, symbol_of
from specc.documents.drafting.ranking import path_ranks, stand_devices
from specc.documents.drafting.routing import Routing, route_wires
from specc.documents.drafting.sheet import Sheet, around, cut_to_size, empty_sheet, fitting_scale, title_of
from specc.documents.shapes import Drawing, Mark, Outline, PlacedSymbol, Rect, Text, Wire

ATTEMPTS = 5  # at leaving room for the titles of outlines
MOST_ROWS = 6  # of a folded path
LEAST_RANKS = 2  # of a row
HARDLY = 1.2  # of the room's width: what is foretold to be wider is not tried
FOLDED_AREA = 2.0  # of the room: what takes more when it is not folded will not fit when it is


@dataclass(frozen=True)
class Arrangement:
    """Everything placed, in mm at full scale from a corner of its own."""

    plan: Plan
    cells: tuple[Cell, ...]
    heights: tuple[float, ...]
    routing: Routing
    outlines: tuple[Outline, ...]
    titles: tuple[Text, ...]
    extent: Rect


@dataclass(frozen=True)
class Fit:
    """A diagram arranged on a sheet at a scale."""

    diagram: Diagram
    arrangement: Arrangement
    sheet: Sheet


def lay_out(diagram: Diagram, papers: Sequence[Paper] = ()) -> Drawing:
    """The drawing on the first of ``papers`` (US sheets unless given) on which it is legible.

    Raises DiagramError when a device names a symbol that does not exist.
    """
    return draw(fit_on(diagram, papers or papers_of("us")))


def fit_on(diagram: Diagram, papers: Sequence[Paper], made: Foldings | None = None) -> Fit:
    """The diagram on the first of the papers on which it is legible; else on a sheet cut to its size.

    ``made`` are arrangements of the same devices and links, where there are any; the letters and sheet
    numbers of match marks may have been others, if they were not narrower.
    """
    made = made or Foldings(diagram)
    for paper in papers:
        if fit := _fit(diagram, made, paper):
            return fit
    arrangement = made[0]
    width, height = arrangement.extent.width, arrangement.extent.height
    return Fit(diagram, arrangement, cut_to_size(around(diagram), width, height, papers))


def try_on(diagram: Diagram, made: Foldings, paper: Paper) -> tuple[Rect, bool]:
    """What the diagram takes on this paper, folded until it fits, and whether it is legible then."""
    room = empty_sheet(around(diagram), paper).room
    extent = made[0].extent
    for number in _worth_trying(made, room, paper.least_scale):
        extent = made[number].extent
        if fitting_scale(room, extent.width, extent.height) >= paper.least_scale:
            return extent, True
        if _is_too_high(extent, room):
            break
    return extent, False


def _fit(diagram: Diagram, made: Foldings, paper: Paper) -> Fit | None:
    """The diagram as large as it can be on the paper; None where it is not legible."""
    sheet = empty_sheet(around(diagram), paper)
    arrangement, scale = _largest(made, sheet.room, paper.least_scale)
    if scale < paper.least_scale:
        return None
    return Fit(diagram, arrangement, replace(sheet, scale=scale))


def _largest(made: Foldings, room: Rect, least: float) -> tuple[Arrangement, float]:
    """The folding that is drawn largest in the room, and its scale."""
    best, most = made[0], 0.0
    for number in _worth_trying(made, room, least):
        arrangement = made[number]
        width, height = arrangement.extent.width, arrangement.extent.height
        scale = fitting_scale(room, width, height)
        if scale > most:
            best, most = arrangement, scale
        if _is_too_high(arrangement.extent, room) or scale >= read_look().most_scale:
            break
    return best, most


def _worth_trying(made: Foldings, room: Rect, least: float) -> Iterator[int]:
    """The foldings that may fit at the least scale, the widest first; none where the area is too small."""
    whole = made[0].extent
    if whole.width * whole.height * least**2 <= FOLDED_AREA * max(room.width, 0.0) * max(room.height, 0.0):
        for number in range(len(made)):
            if made.width_of(number) * least <= HARDLY * room.width:
                yield number


def _is_too_high(extent: Rect, room: Rect) -> bool:
    """Is it the height that keeps it from being drawn larger? Folded, it would be higher still."""
    return room.height * extent.width <= room.width * extent.height


class Foldings:
    """The arrangements of a diagram from the widest to the narrowest, each made when it is asked for."""

    def __init__(self, diagram: Diagram) -> None:
        self.diagram = diagram.saying_once()
        self.whole, self.limits = _limits(self.diagram)
        self.made: dict[int, Arrangement] = {}

    def __len__(self) -> int:
        return len(self.limits)

    def width_of(self, number: int) -> float:
        """About how wide an arrangement is that need not be made, mm."""
        limit = self.limits[number]
        if limit is None or number in self.made:
            return self[number].extent.width
        return self[0].extent.width * limit / self.whole

    def __getitem__(self, number: int) -> Arrangement:
        if number not in self.made:
            self.made[number] = _arrange(self.diagram, self.limits[number])
        return self.made[number]


def _limits(diagram: Diagram) -> tuple[int, list[int | None]]:
    """The ranks of the path, and how many a row of it may have, from any number down to few."""
    ranks = path_ranks(diagram)
    if not ranks:
        return 1, [None]
    wet = {device.tag for device in diagram.devices if device.band == "water"}
    bands = [[rank for tag, rank in ranks.items() if (tag in wet) is side] for side in (True, False)]
    span = max(max(band) - min(band) + 1 for band in bands if band)
    whole = max(ranks.values()) + 1
    # One rank more than the path needs leaves a choice of where to cut it.
    narrower = {math.ceil(span / rows) + more for rows in range(1, MOST_ROWS + 1) for more in (0, 1)}
    return whole, [None, *sorted((n for n in narrower if LEAST_RANKS <= n < whole), reverse=True)]


def _arrange(diagram: Diagram, most: int | None) -> Arrangement:
    plan = make_plan(diagram, stand_devices(diagram, most))
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
    titles = title_texts(groups, outlines, scene)
    extent = _extent(plan, cells, heights, routing, outlines)
    return Arrangement(plan, cells, heights, routing, outlines, titles, extent)


def _extent(
    plan: Plan,
    cells: tuple[Cell, ...],
    heights: tuple[float, ...],
    routing: Routing,
    outlines: tuple[Outline, ...],
) -> Rect:
    rects = [outline.rect for outline in outlines]
    for item, cell, y in zip(plan.items, cells, heights, strict=True):
        x = routing.axes[item.column]
        rects.append(Rect(x - cell.left, y - cell.up, x + cell.right, y + cell.down))
    for wire in routing.wires:
        rects += [Rect(x, y, x, y).grown(1.0) for piece in wire.pieces for x, y in piece]
    whole = rects[0] if rects else Rect(0, 0, 0, 0)
    for rect in rects[1:]:
        whole = whole.union(rect)
    return whole


def draw(fit: Fit) -> Drawing:
    """The finished sheet."""
    diagram, arrangement, sheet = fit.diagram, fit.arrangement, fit.sheet
    extent = arrangement.extent
    scale = sheet.scale
    left = sheet.room.left + (sheet.room.width - extent.width * scale) / 2 - extent.left * scale
    top = sheet.room.top + (sheet.room.height - extent.height * scale) / 2 - extent.top * scale
    move = Move(left, top, scale)
    plan, routing = arrangement.plan, arrangement.routing
    symbols, texts, marks = [], list(arrangement.titles), [Mark("dot", x, y) for x, y in routing.dots]
    devices = {device.tag: device for device in diagram.devices}
    for item, cell, y in zip(plan.items, arrangement.cells, arrangement.heights, strict=True):
        x = routing.axes[item.column]
        if item.device is not None:
            device = devices[item.device.tag]
            symbols.append(_symbol(device, x, y))
            texts += _letter(device, symbols[-1])
            texts += stack(caption_lines(device), x, y + cell.caption_top, "middle", device.tag)
        elif item.link is not None:
            texts += _label(item, item.link, x, y)
            marks += _signs(item, item.link, x, y)
            if counts_conductors(item.link):
                texts.append(_count(item.link, x, y))
    mark_names = _mark_names(diagram)
    wires = [
        Wire(route.link.tags, route.link.kind, _words(route.link, mark_names), wire.pieces, wire.jumps)
        for route, wire in zip(plan.routes, routing.wires, strict=True)
    ]
    block = diagram.title_block
    return Drawing(
        title=title_of(block),
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
        images=sheet.images,
    )


def _symbol(device: DiagramDevice, x: float, y: float) -> PlacedSymbol:
    symbol = symbol_of(device)
    left, top = x - symbol.width / 2, y - symbol.axis
    box = Rect(left, top, left + symbol.width, top + symbol.height)
    name = f"match mark {device.mark}" if device.mark else f"{device.tag}, {symbol.words}"
    words = ", ".join((name, *device.captions))
    return PlacedSymbol(device.tag, symbol.name, words, left, top, 1.0, box, symbol.body)


def _letter(device: DiagramDevice, symbol: PlacedSymbol) -> tuple[Text, ...]:
    """The letter of a match mark, in the middle of its symbol."""
    if not device.mark:
        return ()
    line = Line(device.mark, read_look().text["tag"], bold=True, role="mark")
    middle = (symbol.box.left + symbol.box.right) / 2, (symbol.box.top + symbol.box.bottom) / 2
    return (place_line(line, middle[0], middle[1] + 0.36 * line.size, "middle", device.tag),)


def _label(item: Item, link: DiagramLink, x: float, y: float) -> tuple[Text, ...]:
    return stack(item.label, x, y - 0.8 - block_height(item.label), "middle", link.tag)


def _signs(item: Item, link: DiagramLink, x: float, y: float) -> list[Mark]:
    if link.kind == "water":
        return [Mark("arrow", x, y, link.tag, 0 if item.direction > 0 else 180)]
    return [Mark("tick", x, y, link.tag)] if counts_conductors(link) else []


def _count(link: DiagramLink, x: float, y: float) -> Text:
    size = read_look().text["count"]
    return place_line(
        Line(count_words(link), size, role="count"), x + COUNT_ASIDE, y + 0.3 + size, "start", link.tag
    )


def _mark_names(diagram: Diagram) -> dict[str, str]:
    """Tag of each match mark -> what people call it: "mark A"."""
    return {device.tag: f"mark {device.mark}" for device in diagram.devices if device.mark}


def _words(link: DiagramLink, marks: Mapping[str, str]) -> str:
    said = link.all_captions
    captions = f": {', '.join(said)}" if said else ""
    start, end = (marks.get(tag, tag) for tag in (link.from_tag, link.to_tag))
    return f"{link.tag or link.kind} from {start} to {end}{captions}"


def _description(diagram: Diagram) -> str:
    block = diagram.title_block
    devices = ", ".join(
        f"{device.tags} ({symbol_of(device).words})" for device in diagram.devices if not device.mark
    )
    mark_names = _mark_names(diagram)
    marks = ", ".join(f"{each.mark} {' '.join(each.captions)}" for each in diagram.devices if each.mark)
    links = "; ".join(_words(link, mark_names) for link in diagram.links)
    goes_on = f" Goes on at marks {marks}." if marks else ""
    title = f"{block.drawing or 'Diagram'}, sheet {block.sheet}"
    return f"{title}. Devices: {devices or 'none'}. Links: {links or 'none'}.{goes_on}"
