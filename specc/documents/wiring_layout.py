"""A wiring diagram laid out: blocks in columns, wires in the channels between them, on one sheet or several.

What does not fit one sheet goes on by place and box; a wire that leaves a sheet says where it goes.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from specc.documents.diagram import TitleBlock
from specc.documents.drafting.blocks import Block, Lead, PlacedBlock, Side, inner_entries, make_block
from specc.documents.drafting.channels import Hop, tracks_of
from specc.documents.drafting.columns import (
    Column,
    Width,
    group_of,
    in_order,
    label_side,
    place_column,
    share_out,
    width_of,
)
from specc.documents.drafting.legend import outline_entry, sign_entries, wire_entries
from specc.documents.drafting.look import Paper, papers_of, read_look
from specc.documents.drafting.moving import Move
from specc.documents.drafting.sheet import Around, Sheet, choose_sheet, empty_sheet, fitting_scale, title_of
from specc.documents.shapes import Drawing, Mark, Point, Rect, Wire
from specc.documents.wiring import WiredConductor, WiredDevice, Wiring

MOST_COLUMNS = 6
TYPICAL_WIDTH = 90.0  # mm of a column with the words and channels beside it
SURE = 0.4  # of a sheet's area, roughly: less than that fits
FAR_TOO_MUCH = 1.8
MORE = 1.1  # of what a sheet took is looked at first for the next
SWEEPS = 4
FEW = 4  # devices: the last sheet does not hold fewer where the one before can give some
EARLIER, HERE, LATER = 10, 50, 88  # stand for sheet numbers while sheets are still shared out

Devices = tuple[WiredDevice, ...]


@dataclass(frozen=True)
class _Arrangement:
    """Everything placed, in mm at full scale."""

    columns: tuple[Column, ...]
    wires: tuple[Wire, ...]
    marks: tuple[Mark, ...]
    extent: Rect

    @property
    def jumps(self) -> int:
        """Crossings of wires."""
        return sum(len(wire.jumps) for wire in self.wires)


@dataclass(frozen=True)
class _Fit:
    arrangement: _Arrangement
    sheet: Sheet


def lay_out_wiring(wiring: Wiring, papers: Sequence[Paper] = ()) -> tuple[Drawing, ...]:
    """The sheets of a wiring diagram, each on the smallest of ``papers`` (by default US) that it fits.

    One device that is too large for the largest paper gets a sheet cut to its size; no device, no sheet.
    """
    papers = papers or papers_of("us")[:2]
    if not wiring.devices:
        return ()
    parts = _share_sheets(wiring, papers)
    sheet_of = {device.tag: number for number, part in enumerate(parts, 1) for device in part}
    drawings = []
    for number, part in enumerate(parts, 1):
        what = _around(wiring, part, f"{number} of {len(parts)}")
        drawings.append(_drawing(wiring, part, what.title_block, _best(wiring, part, sheet_of, what, papers)))
    return tuple(drawings)


def _around(wiring: Wiring, devices: Devices, sheet: str) -> Around:
    """Title block, notes and legend of the sheet with these devices."""
    tags = {device.tag for device in devices}
    conductors = _touching(wiring, devices)
    leaves = any((c.start[0] in tags) != (c.end[0] in tags) for c in conductors)
    legend = (
        *wire_entries(c.kind for c in conductors),
        *inner_entries(inner.kind for device in devices for inner in device.inners),
        *(outline_entry(kind) for kind in ("box", "place") if any(getattr(d, kind) for d in devices)),
        *sign_entries(["jump", "onward"] if leaves else ["jump"]),
    )
    return Around(replace(wiring.title_block, sheet=sheet), wiring.notes, legend)


# -- which device goes on which sheet ----------------------------------------------------------------------


def _share_sheets(wiring: Wiring, papers: Sequence[Paper]) -> list[Devices]:
    """Devices in order; places and boxes stay together where a sheet holds them."""
    devices = in_order(wiring)
    heights = _rough_heights(devices, wiring.conductors)
    height_of = {device.tag: height for device, height in zip(devices, heights, strict=True)}

    def rough_area(some: Devices) -> float:
        return TYPICAL_WIDTH * sum(height_of[device.tag] for device in some)

    area = _area(wiring, papers[-1])
    if rough_area(devices) < FAR_TOO_MUCH * area and any(
        _fits(wiring, devices, (), paper) for paper in papers
    ):
        return [devices]
    pieces: list[Devices] = []
    for _, group in itertools.groupby(devices, key=group_of):
        unit = tuple(group)  # a box, or loose devices of one place
        whole = len(unit) == 1 or rough_area(unit) < SURE * area or _fits(wiring, unit, (), papers[-1])
        pieces += [unit] if whole else [(device,) for device in unit]
    sheets: list[list[Devices]] = []
    done: Devices = ()
    while pieces:
        areas = list(itertools.accumulate(rough_area(piece) for piece in pieces))
        guess = max(sum(each < area for each in areas), 1)
        count = _how_many(wiring, pieces, done, papers[-1], guess)
        if count < len(pieces):
            area = areas[count - 1] * MORE  # what a sheet took, to guess the next by
        sheets.append(pieces[:count])
        done += tuple(itertools.chain(*pieces[:count]))
        pieces = pieces[count:]
    return [tuple(itertools.chain(*sheet)) for sheet in _evened(wiring, sheets, papers[-1])]


def _evened(wiring: Wiring, sheets: list[list[Devices]], paper: Paper) -> list[list[Devices]]:
    """The sheets with pieces of the last but one on the last, where that would hold few devices alone."""
    while len(sheets) > 1 and len(sheets[-2]) > 1:
        *before, giving, taking = sheets
        taken = [giving[-1], *taking]
        few, many = (sum(map(len, sheet)) for sheet in (taking, giving))
        if few >= FEW or many - len(giving[-1]) < few + len(giving[-1]):
            break
        earlier = tuple(itertools.chain(*itertools.chain(*before)))
        here, last = (tuple(itertools.chain(*sheet)) for sheet in (giving[:-1], taken))
        if not (_fits(wiring, here, earlier, paper) and _fits(wiring, last, earlier + here, paper)):
            break
        sheets = [*before, giving[:-1], taken]
    return sheets


def _area(wiring: Wiring, paper: Paper) -> float:
    """The room on a paper, mm2 at the least scale."""
    room = empty_sheet(_around(wiring, (), ""), paper).room
    return room.width * room.height / paper.least_scale**2


def _how_many(wiring: Wiring, pieces: Sequence[Devices], done: Devices, paper: Paper, guess: int) -> int:
    """How many of the pieces fit the next sheet, at least one; looked for from a guess."""

    def fits(count: int) -> bool:
        return _fits(wiring, tuple(itertools.chain(*pieces[:count])), done, paper)

    count = guess
    if count == 1 or fits(count):
        while count < len(pieces) and fits(count + 1):
            count += 1
        return count
    count -= 1
    while count > 1 and not fits(count):
        count -= 1
    return count


def _fits(wiring: Wiring, here: Devices, done: Devices, paper: Paper) -> bool:
    """Would these devices fit a sheet of this paper, after those that earlier sheets hold?"""
    sheet_of = {device.tag: LATER for device in wiring.devices}
    sheet_of |= {device.tag: EARLIER for device in done} | {device.tag: HERE for device in here}
    room = empty_sheet(_around(wiring, here, f"{LATER} of {LATER}"), paper).room
    return any(True for _ in _arrangements(wiring, here, sheet_of, room, paper.least_scale))


def _arrangements(
    wiring: Wiring, devices: Devices, sheet_of: Mapping[str, int], room: Rect, least: float
) -> Iterator[_Arrangement]:
    """The arrangements in two columns and more that fit a room at the least scale."""
    for count in range(1 if len(devices) == 1 else 2, min(MOST_COLUMNS, len(devices)) + 1):
        made = _arrange(wiring, devices, sheet_of, count, (room.width / least, room.height / least))
        if made and fitting_scale(room, made.extent.width, made.extent.height) >= least:
            yield made


def _best(
    wiring: Wiring, devices: Devices, sheet_of: Mapping[str, int], what: Around, papers: Sequence[Paper]
) -> _Fit:
    """The arrangement that is largest on the smallest paper that takes any; of those at full scale, the one
    with the fewest crossings."""
    for paper in papers:
        sheet = empty_sheet(what, paper)
        fits = [
            _Fit(made, replace(sheet, scale=fitting_scale(sheet.room, made.extent.width, made.extent.height)))
            for made in _arrangements(wiring, devices, sheet_of, sheet.room, paper.least_scale)
        ]
        if fits:
            full = paper.enlarged
            return max(fits, key=lambda fit: (min(fit.sheet.scale, full), -fit.arrangement.jumps))
    counts = range(1 if len(devices) == 1 else 2, min(MOST_COLUMNS, len(devices)) + 1)
    made = [_arrange(wiring, devices, sheet_of, count, (math.inf, math.inf)) for count in counts]
    least = min((each for each in made if each), key=lambda a: a.extent.width * a.extent.height)
    return _Fit(least, choose_sheet(what, least.extent.width, least.extent.height, papers))


# -- one sheet ----------------------------------------------------------------------------------------------


def _arrange(
    wiring: Wiring,
    devices: Devices,
    sheet_of: Mapping[str, int],
    count: int,
    most: tuple[float, float],
) -> _Arrangement | None:
    """The devices in some columns; None where these alone are wider or higher (mm) than what there is."""
    conductors = _touching(wiring, devices)
    tags = {device.tag for device in devices}
    heights = _rough_heights(devices, conductors)
    shares = share_out(heights, [group_of(device) for device in devices], count)
    column_of = {device.tag: column for device, column in zip(devices, shares, strict=True)}
    leads = _leads(wiring, conductors, column_of, sheet_of)
    blocks = {
        device.tag: make_block(device, label_side(column_of[device.tag], count - 1), leads[device.tag])
        for device in devices
    }
    stacks = [[blocks[d.tag] for d in devices if column_of[d.tag] == column] for column in range(count)]
    widths = [width_of(stack) for stack in stacks]
    rough = _columns(stacks, widths, wiring.boxes, {})
    if rough[-1].right > most[0] or max(column.bottom for column in rough) > most[1]:
        return None
    inner = [c for c in conductors if c.start[0] in tags and c.end[0] in tags]
    stacks = _ordered(stacks, widths, wiring.boxes, inner)
    at = _Heights(widths, wiring.boxes).of(stacks)
    stacks = [[_untwisted(block, at) for block in stack] for stack in stacks]
    return _routed(stacks, widths, wiring.boxes, inner)


def _touching(wiring: Wiring, devices: Devices) -> list[WiredConductor]:
    tags = {device.tag for device in devices}
    return [c for c in wiring.conductors if c.start[0] in tags or c.end[0] in tags]


def _rough_heights(devices: Sequence[WiredDevice], conductors: Sequence[WiredConductor]) -> list[float]:
    """Heights of blocks before their sides are known, mm."""
    ends = Counter(end[0] for c in conductors for end in (c.start, c.end))
    row = read_look().wiring["row"]
    return [14.0 + max(ends[device.tag], len(device.posts), 1) * row for device in devices]


def _leads(
    wiring: Wiring,
    conductors: Sequence[WiredConductor],
    column_of: Mapping[str, int],
    sheet_of: Mapping[str, int],
) -> dict[str, dict[str, tuple[Lead, ...]]]:
    """The leads of each terminal of each device, in the order of the conductors."""
    device_of = {device.tag: device for device in wiring.devices}
    found: dict[str, dict[str, tuple[Lead, ...]]] = defaultdict(dict)
    for conductor in conductors:
        ends = (conductor.start, conductor.end)
        for end, (here, there) in enumerate((ends, ends[::-1])):
            if here[0] not in column_of:
                continue
            away = f"to {'.'.join(there)}"
            if there[0] in column_of:
                pull = float(column_of[there[0]] - column_of[here[0]])
                lead = Lead(conductor, end, away, pull=pull)
            else:
                sheet, other = sheet_of[there[0]], device_of[there[0]]
                where = ", ".join(word for word in (f"sheet {sheet}", other.box or other.place) if word)
                away = f"to {where}: {'.'.join(there)}"
                ahead = sheet > sheet_of[here[0]]
                lead = Lead(conductor, end, away, leaves=True, pull=0.5 if ahead else -0.5)
            at = found[here[0]]
            at[here[1]] = (*at.get(here[1], ()), lead)
    return found


def _ordered(
    stacks: list[list[Block]],
    widths: Sequence[Width],
    boxes: Mapping[str, str],
    conductors: Sequence[WiredConductor],
) -> list[list[Block]]:
    """The columns re-ordered, places and boxes kept together, so that wires run level where they can."""
    heights = _Heights(widths, boxes)
    best, shortest = stacks, _climb(heights.of(stacks), conductors)
    for sweep in range(SWEEPS):
        before = stacks
        backwards = sweep % 2 == 1
        for column in reversed(range(len(stacks))) if backwards else range(len(stacks)):
            at = heights.of(stacks)
            stacks = [_sorted(s, at, conductors) if n == column else s for n, s in enumerate(stacks)]
        climb = _climb(heights.of(stacks), conductors)
        if climb < shortest:
            best, shortest = stacks, climb
        if stacks == before:
            break
    return best


def _climb(at: Mapping[tuple[str, int], float], conductors: Sequence[WiredConductor]) -> float:
    """Length of all upright stretches, mm."""
    return sum(abs(at[c.tag, 0] - at[c.tag, 1]) for c in conductors)


class _Heights:
    """The heights of all leads; a column that was set before is not set again."""

    def __init__(self, widths: Sequence[Width], boxes: Mapping[str, str]) -> None:
        self.widths = widths
        self.boxes = boxes
        self.known: dict[tuple[int, tuple[str, ...]], dict[tuple[str, int], float]] = {}

    def of(self, stacks: Sequence[Sequence[Block]]) -> dict[tuple[str, int], float]:
        """By conductor tag and end."""
        found: dict[tuple[str, int], float] = {}
        for number, stack in enumerate(stacks):
            key = number, tuple(block.device.tag for block in stack)
            if key not in self.known:
                column = place_column(stack, self.boxes, self.widths[number], 0.0, number % 2 == 1, {})
                self.known[key] = {lead.key: y for lead, _, (_, y) in _all_leads([column])}
            found |= self.known[key]
        return found


def _all_leads(columns: Sequence[Column]) -> Iterator[tuple[Lead, Side, Point]]:
    for column in columns:
        for block in column.blocks:
            yield from block.leads()


def _sorted(
    stack: list[Block], heights: Mapping[tuple[str, int], float], conductors: Sequence[WiredConductor]
) -> list[Block]:
    """One column by the mean height of what its places, boxes and devices lead to."""
    drawn = {conductor.tag for conductor in conductors}
    wanted: dict[tuple[str, ...], list[float]] = defaultdict(list)
    for place, block in enumerate(stack):
        group = group_of(block.device)
        far = [
            heights[lead.conductor.tag, 1 - lead.end]
            for cell in block.cells
            for lead in cell.leads
            if lead.conductor.tag in drawn
        ]
        middle = sum(far) / len(far) if far else place * 30.0
        for key in ((group[0],), group, (*group, block.device.tag)):
            wanted[key].append(middle)
    mean = {key: sum(values) / len(values) for key, values in wanted.items()}

    def rank(block: Block) -> tuple[object, ...]:
        place, box = group_of(block.device)
        return mean[place,], place, mean[place, box], box, mean[place, box, block.device.tag]

    return sorted(stack, key=rank)


def _untwisted(block: Block, heights: Mapping[tuple[str, int], float]) -> Block:
    """The block with the leads of every terminal in the order of the heights that they lead to."""

    def far(lead: Lead) -> float:
        return heights.get((lead.conductor.tag, 1 - lead.end), 0.0)

    cells = (replace(cell, leads=tuple(sorted(cell.leads, key=far))) for cell in block.cells)
    return replace(block, cells=tuple(cells))


# -- wires --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Way:
    """The way of a conductor: its two ends with their channels, and the columns that it passes."""

    conductor: WiredConductor
    channels: tuple[int, int]
    points: tuple[Point, Point]
    sides: tuple[Side, Side]

    @property
    def passes(self) -> tuple[int, ...]:
        """Columns between its channels, in the order in which it meets them."""
        first, last = self.channels
        return tuple(range(first + 1, last + 1)) if first <= last else tuple(range(first, last, -1))


def _columns(
    stacks: Sequence[Sequence[Block]],
    widths: Sequence[Width],
    boxes: Mapping[str, str],
    lanes: Mapping[int, Mapping[int, Sequence[str]]],
    channels: Sequence[float] = (),
) -> tuple[Column, ...]:
    """The columns side by side, with channels of these widths between them."""
    columns = []
    left = 0.0
    for number, (stack, width) in enumerate(zip(stacks, widths, strict=True)):
        columns.append(place_column(stack, boxes, width, left, number % 2 == 1, lanes.get(number, {})))
        left += width.whole + (channels[number] if number < len(channels) else 0.0)
    return tuple(columns)


def _routed(
    stacks: list[list[Block]],
    widths: Sequence[Width],
    boxes: Mapping[str, str],
    conductors: Sequence[WiredConductor],
) -> _Arrangement:
    look = read_look()
    lanes = _lanes(_columns(stacks, widths, boxes, {}), conductors)
    columns = _columns(stacks, widths, boxes, lanes)
    ways = _ways(columns, conductors)
    hops: dict[int, list[Hop]] = defaultdict(list)
    for way in ways:
        for channel, hop in _hops(way, columns):
            hops[channel].append(hop)
    tracks = {channel: tracks_of(found) for channel, found in hops.items()}
    rooms = [
        2 * look.channel_edge + max(tracks[n][1] - 1, 0) * look.track if n in tracks else look.grid
        for n in range(max(len(columns) - 1, 1))
    ]
    columns = _columns(stacks, widths, boxes, lanes, rooms)
    at = {
        (channel, tag): columns[channel].right + look.channel_edge + track * look.track
        for channel, (by_tag, _) in tracks.items()
        for tag, track in by_tag.items()
    }
    wires = [_wire(way, columns, at) for way in _ways(columns, conductors)]
    stubs, marks = _stubs(columns, {c.tag for c in conductors})
    right = columns[-1].right + (rooms[0] if len(columns) == 1 else 0.0)
    extent = Rect(0.0, 0.0, right, max(column.bottom for column in columns))
    return _Arrangement(columns, (*_with_jumps(wires), *stubs), marks, extent)


def _ways(columns: Sequence[Column], conductors: Sequence[WiredConductor]) -> list[_Way]:
    ends: dict[tuple[str, int], tuple[int, Side, Point]] = {}
    for number, column in enumerate(columns):
        for block in column.blocks:
            for lead, side, point in block.leads():
                ends[lead.key] = (number if side == "right" else number - 1, side, point)
    ways = []
    for conductor in conductors:
        (c1, s1, p1), (c2, s2, p2) = ends[conductor.tag, 0], ends[conductor.tag, 1]
        ways.append(_Way(conductor, (c1, c2), (p1, p2), (s1, s2)))
    return ways


def _lanes(
    columns: Sequence[Column], conductors: Sequence[WiredConductor]
) -> dict[int, dict[int, tuple[str, ...]]]:
    """The wires that pass each column, by the slot that keeps them most nearly level."""
    found: dict[int, dict[int, list[tuple[float, str]]]] = defaultdict(lambda: defaultdict(list))
    for way in _ways(columns, conductors):
        start, end = way.points[0][1], way.points[1][1]
        for step, number in enumerate(way.passes, 1):
            wanted = start + (end - start) * step / (len(way.passes) + 1)
            slots = columns[number].slots
            slot = min(range(len(slots)), key=lambda n: (abs(slots[n] - wanted), n))
            found[number][slot].append((wanted, way.conductor.tag))
    return {
        number: {slot: tuple(tag for _, tag in sorted(tags)) for slot, tags in slots.items()}
        for number, slots in found.items()
    }


def _hops(way: _Way, columns: Sequence[Column]) -> Iterator[tuple[int, Hop]]:
    """The stretch in each channel on the way."""
    tag = way.conductor.tag
    forth = way.channels[0] <= way.channels[1]
    # A wire that leaves a block by its right side enters the channel from the left.
    enters = ("left" if way.sides[0] == "right" else "right", way.points[0][1])
    channel = way.channels[0]
    for number in way.passes:
        height = columns[number].lanes[tag]
        yield channel, Hop(tag, enters, ("right" if forth else "left", height))
        channel += 1 if forth else -1
        enters = ("left" if forth else "right", height)
    yield channel, Hop(tag, enters, ("left" if way.sides[1] == "right" else "right", way.points[1][1]))


def _wire(way: _Way, columns: Sequence[Column], at: Mapping[tuple[int, str], float]) -> Wire:
    points = [way.points[0]]
    for channel, hop in _hops(way, columns):
        x = at[channel, hop.tag]
        points += [(x, hop.enters[1]), (x, hop.leaves[1])]
    points.append(way.points[1])
    return Wire(way.conductor.tag, way.conductor.kind, _words(way.conductor), (tuple(points),))


def _words(conductor: WiredConductor) -> str:
    return (
        f"{conductor.tag} from {'.'.join(conductor.start)} to {'.'.join(conductor.end)}: "
        f"{conductor.color}, {conductor.size}"
    )


def _stubs(columns: Sequence[Column], drawn: set[str]) -> tuple[list[Wire], tuple[Mark, ...]]:
    """The wires that leave the sheet: a line along their words, and an arrow at its end."""
    wires, marks = [], []
    for column in columns:
        for lead, side, (x, y) in (lead for block in column.blocks for lead in block.leads()):
            if lead.conductor.tag in drawn:
                continue
            away = column.left if side == "left" else column.right
            tip = away + (1.0 if side == "left" else -1.0) * 2.5 * read_look().outline_gap
            conductor = lead.conductor
            wires.append(Wire(conductor.tag, conductor.kind, _words(conductor), (((x, y), (tip, y)),)))
            marks.append(Mark("arrow", tip, y, conductor.tag, 180 if side == "left" else 0))
    return wires, tuple(marks)


def _with_jumps(wires: Sequence[Wire]) -> list[Wire]:
    """Every wire with the points at which it hops over an upright stretch of another."""
    upright = [
        (start[0], min(start[1], end[1]), max(start[1], end[1]))
        for wire in wires
        for piece in wire.pieces
        for start, end in itertools.pairwise(piece)
        if start[0] == end[0]
    ]
    hopping = []
    for wire in wires:
        jumps = [
            (x, start[1])
            for piece in wire.pieces
            for start, end in itertools.pairwise(piece)
            if start[1] == end[1]
            for x, top, bottom in upright
            if min(start[0], end[0]) < x < max(start[0], end[0]) and top < start[1] < bottom
        ]
        hopping.append(replace(wire, jumps=tuple(sorted(jumps))))
    return hopping


# -- on paper -----------------------------------------------------------------------------------------------


def _drawing(wiring: Wiring, devices: Devices, block: TitleBlock, fit: _Fit) -> Drawing:
    sheet, made = fit.sheet, fit.arrangement
    left = sheet.room.left + (sheet.room.width - made.extent.width * sheet.scale) / 2
    top = sheet.room.top + (sheet.room.height - made.extent.height * sheet.scale) / 2
    move = Move(left, top, sheet.scale)
    blocks: list[PlacedBlock] = [block for column in made.columns for block in column.blocks]
    texts = [text for column in made.columns for text in column.titles]
    texts += [text for block in blocks for text in block.texts()]
    words = "; ".join(_words(conductor) for conductor in _touching(wiring, devices))
    tags = ", ".join(device.tag for device in devices)
    return Drawing(
        title=title_of(block),
        description=f"Wiring diagram, sheet {block.sheet}. Devices: {tags or 'none'}. "
        f"Conductors: {words or 'none'}.",
        paper=sheet.paper.name,
        width=sheet.paper.width,
        height=sheet.paper.height,
        frame=sheet.frame,
        scale=sheet.scale,
        draft=block.draft,
        symbols=sheet.symbols,
        wires=tuple(move.wire(wire) for wire in made.wires),
        marks=tuple(move.mark(mark) for mark in made.marks),
        outlines=tuple(move.outline(o) for column in made.columns for o in column.outlines),
        texts=(*(move.text(text) for text in texts), *sheet.texts),
        rules=sheet.rules,
        images=sheet.images,
        strokes=tuple(move.stroke(stroke) for block in blocks for stroke in block.strokes()),
        name="wiring",
    )
