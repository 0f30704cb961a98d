"""A device of the wiring diagram as a block: terminals on its sides, and what joins them inside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from specc.documents.drafting.legend import Entry
from specc.documents.drafting.lettering import Line, block_height, block_width, lines_of, place_line, stack
from specc.documents.drafting.look import read_look
from specc.documents.shapes import Point, Rect, Stroke, Text
from specc.documents.wiring import Inner, Post, WiredConductor, WiredDevice

Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")
HEADER_GAP = 0.6  # mm from the words of a header to the terminals


@dataclass(frozen=True)
class Lead:
    """One end of a conductor at a terminal: ``end`` is 0 or 1. ``away`` says where the other end goes,
    below the wire; ``leaves`` is True where that is on another sheet. ``pull`` is negative where the other
    end is to the left."""

    conductor: WiredConductor
    end: int
    away: str
    leaves: bool = False
    pull: float = 0.0

    @property
    def key(self) -> tuple[str, int]:
        """Conductor tag and end."""
        return self.conductor.tag, self.end

    @property
    def lines(self) -> tuple[Line, Line]:
        """The words above and below the wire."""
        size = read_look().text["label"]
        return Line(self.conductor.words, size, role="wire"), Line(self.away, size, role="away")


@dataclass(frozen=True)
class Cell:
    """A terminal on a side of the block, its first row, and its leads (a row each)."""

    post: Post
    side: Side
    first: int
    leads: tuple[Lead, ...]

    @property
    def rows(self) -> int:
        """Rows that it takes: one a lead, and one where it is free."""
        return max(1, len(self.leads))

    @property
    def line(self) -> Line:
        """The name of the terminal."""
        return Line(self.post.words, read_look().text["label"], role="post")


@dataclass(frozen=True)
class Block:
    """A device with its terminals dealt out to the sides."""

    device: WiredDevice
    cells: tuple[Cell, ...]

    @property
    def rows(self) -> int:
        """Rows of the longer side."""
        return max((cell.first + cell.rows for cell in self.cells), default=1)

    @property
    def inner_width(self) -> float:
        """Room for the joins inside, mm."""
        sizes = read_look().wiring
        lanes = max(_lanes(self).values(), default=-1) + 1
        return max(sizes["inner"], (lanes + 1) * sizes["lane"])

    def cell_width(self, side: Side) -> float:
        """Width of the terminals of a side, mm; 0 where it has none."""
        pad = read_look().wiring["cell_pad"]
        return max((cell.line.width + 2 * pad for cell in self.cells if cell.side == side), default=0.0)

    @property
    def least_width(self) -> float:
        """The width that terminals and joins need, mm."""
        return sum(self.cell_width(side) for side in SIDES) + self.inner_width

    def label_width(self, side: Side) -> float:
        """The widest words on the wires of a side, mm; 0 where no wire leaves."""
        leads = [lead for cell in self.cells if cell.side == side for lead in cell.leads]
        return max((block_width(lead.lines) for lead in leads), default=0.0)

    def header(self, width: float) -> tuple[Line, ...]:
        """Tag and captions, wrapped to the block."""
        look = read_look()
        room = width - 2 * look.wiring["cell_pad"]
        return _header(
            self.device.tag, ", ".join(self.device.captions), room, look.text["tag"], look.text["label"]
        )

    def header_height(self, width: float) -> float:
        """Height of the words above the terminals, mm."""
        return block_height(self.header(width)) + HEADER_GAP


@lru_cache(maxsize=4096)
def _header(tag: str, captions: str, width: float, tag_size: float, size: float) -> tuple[Line, ...]:
    """All that it depends on is an argument, since a firm's own templates may change the sizes."""
    return (
        *lines_of(tag, tag_size, width, bold=True, role="tag"),
        *lines_of(captions, size, width),
    )


def make_block(device: WiredDevice, sides: tuple[Side, ...], leads: Mapping[str, tuple[Lead, ...]]) -> Block:
    """Terminals dealt out: where both sides are open, the two of a pole face each other, and a single one
    goes to the side where its wires lead. On each side they keep their order."""
    if len(sides) == 1:
        return Block(device, tuple(_stacked(device.posts, sides[0], leads)))
    bottom: dict[Side, int] = {"left": 0, "right": 0}
    cells: list[Cell] = []

    def add(post: Post, side: Side) -> None:
        cell = Cell(post, side, bottom[side], leads.get(post.name, ()))
        bottom[side] += cell.rows
        cells.append(cell)

    for unit in _units(device):
        pulls = [sum(lead.pull for lead in leads.get(post.name, ())) for post in unit]
        if len(unit) == 2:
            bottom["left"] = bottom["right"] = max(bottom.values())
            first, second = SIDES if pulls[0] <= pulls[1] else SIDES[::-1]
            add(unit[0], first)
            add(unit[1], second)
        elif pulls[0]:
            add(unit[0], "left" if pulls[0] < 0 else "right")
        else:
            add(unit[0], min(SIDES, key=lambda side: bottom[side]))
    return Block(device, tuple(cells))


def _stacked(posts: Iterable[Post], side: Side, leads: Mapping[str, tuple[Lead, ...]]) -> Iterator[Cell]:
    row = 0
    for post in posts:
        cell = Cell(post, side, row, leads.get(post.name, ()))
        row += cell.rows
        yield cell


def _units(device: WiredDevice) -> Iterator[tuple[Post, ...]]:
    """Neighbouring terminals that only face each other as pairs, all others alone."""
    partners: dict[str, set[str]] = defaultdict(set)
    for inner in device.inners:
        partners[inner.start].add(inner.end)
        partners[inner.end].add(inner.start)
    posts = list(device.posts)
    while posts:
        post = posts.pop(0)
        if posts and partners[post.name] == {posts[0].name} and partners[posts[0].name] == {post.name}:
            yield post, posts.pop(0)
        else:
            yield (post,)


def joints(device: WiredDevice) -> tuple[tuple[Inner, ...], ...]:
    """What is drawn as one: each pole alone, plain joins that hang together as one bar."""
    bars: list[tuple[set[str], list[Inner]]] = []
    alone: list[tuple[Inner, ...]] = []
    for inner in dict.fromkeys(device.inners):
        if inner.kind != "join":
            alone.append((inner,))
            continue
        touching = [bar for bar in bars if bar[0] & {inner.start, inner.end}]
        names, inners = {inner.start, inner.end}, [inner]
        for bar in touching:
            names |= bar[0]
            inners = [*bar[1], *inners]
            bars.remove(bar)
        bars.append((names, inners))
    return (*alone, *(tuple(inners) for _, inners in bars))


@dataclass(frozen=True)
class _Joint:
    """Cells that one joint leads to, with the middle rows of each, and how it is drawn."""

    kind: str
    ends: tuple[tuple[Side, float], ...]

    @property
    def span(self) -> tuple[float, float]:
        rows = [row for _, row in self.ends]
        return min(rows), max(rows)

    @property
    def straight(self) -> bool:
        """Two terminals that face each other."""
        return len(self.ends) == 2 and self.span[0] == self.span[1]


def _joints(block: Block) -> tuple[_Joint, ...]:
    at = {cell.post.name: cell for cell in block.cells}
    found = []
    for inners in joints(block.device):
        names = dict.fromkeys(name for inner in inners for name in (inner.start, inner.end))
        pair = [at[name] for name in names]
        facing = len(pair) == 2 and pair[0].first == pair[1].first and pair[0].side != pair[1].side
        ends = tuple((cell.side, float(cell.first) if facing else _middle(cell)) for cell in pair)
        found.append(_Joint(inners[0].kind, ends))
    return tuple(found)


def _middle(cell: Cell) -> float:
    return cell.first + (cell.rows - 1) / 2


def _lanes(block: Block) -> dict[int, int]:
    """The lane of each joint that runs down the block, by its number: none that overlap share one."""
    ends: list[float] = []
    lanes: dict[int, int] = {}
    bent = [(joint.span, number) for number, joint in enumerate(_joints(block)) if not joint.straight]
    for (top, bottom), number in sorted(bent):
        lane = next((n for n, end in enumerate(ends) if end < top), len(ends))
        ends[lane:] = [bottom, *ends[lane + 1 :]]
        lanes[number] = lane
    return lanes


# -- drawing ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PlacedBlock:
    """A block at its place: ``left`` and ``right`` edges, ``first`` the height of its first row."""

    block: Block
    left: float
    right: float
    first: float

    @property
    def tag(self) -> str:
        """Tag of the device."""
        return self.block.device.tag

    @property
    def rect(self) -> Rect:
        """The block with its header."""
        row = read_look().wiring["row"]
        top = self.first - row / 2 - self.block.header_height(self.right - self.left)
        return Rect(self.left, top, self.right, self.first + (self.block.rows - 0.5) * row)

    def height(self, row: float) -> float:
        """Height of a row, which may be halfway between two, mm."""
        return self.first + row * read_look().wiring["row"]

    def leads(self) -> Iterator[tuple[Lead, Side, Point]]:
        """Every lead with the side and the point on the edge of the block where it begins."""
        for cell in self.block.cells:
            x = self.left if cell.side == "left" else self.right
            for number, lead in enumerate(cell.leads):
                yield lead, cell.side, (x, self.height(cell.first + number))

    def texts(self) -> tuple[Text, ...]:
        """Header, names of terminals, and the words along the wires."""
        look = read_look()
        pad, rect = look.wiring["cell_pad"], self.rect
        header = self.block.header(self.right - self.left)
        texts = [*stack(header, (self.left + self.right) / 2, rect.top + 0.4, "middle", self.tag)]
        for cell in self.block.cells:
            y = self.height(_middle(cell)) + 0.36 * cell.line.size
            if cell.side == "left":
                texts.append(place_line(cell.line, self.left + pad, y, "start", self.tag))
            else:
                texts.append(place_line(cell.line, self.right - pad, y, "end", self.tag))
        for lead, side, (x, y) in self.leads():
            upper, lower = lead.lines
            away = look.wiring["label_pad"]
            for line, base in ((upper, y - 0.9), (lower, y + 0.6 + 0.95 * lower.size)):
                if side == "left":
                    texts.append(place_line(line, x - away, base, "end", lead.conductor.tag))
                else:
                    texts.append(place_line(line, x + away, base, "start", lead.conductor.tag))
        return tuple(texts)

    def strokes(self) -> Iterator[Stroke]:
        """The outline, a box round every terminal, and the joins inside."""
        line, rect = read_look().line, self.rect
        yield Stroke("block", _closed(rect), line["medium"], self.tag)
        for cell in self.block.cells:
            yield Stroke("cell", _closed(self._cell_rect(cell)), line["thin"], self.tag)
        for points in self._joint_lines():
            yield Stroke("inner", points, line["thin"], self.tag)

    def _cell_rect(self, cell: Cell) -> Rect:
        top, bottom = self.height(cell.first - 0.5), self.height(cell.first + cell.rows - 0.5)
        width = self.block.cell_width(cell.side)
        if cell.side == "left":
            return Rect(self.left, top, self.left + width, bottom)
        return Rect(self.right - width, top, self.right, bottom)

    def _joint_lines(self) -> Iterator[tuple[Point, ...]]:
        left = self.left + self.block.cell_width("left")
        right = self.right - self.block.cell_width("right")
        lanes = _lanes(self.block)
        count = max(lanes.values(), default=0) + 1
        for number, joint in enumerate(_joints(self.block)):
            edges = [(left if side == "left" else right, self.height(row)) for side, row in joint.ends]
            if joint.straight:
                yield from _with_sign(min(edges), max(edges), joint.kind)
                continue
            x = left + (right - left) * (lanes[number] + 1) / (count + 1)
            for edge in edges:
                yield edge, (x, edge[1])
            top, bottom = (self.height(row) for row in joint.span)
            yield from _with_sign((x, top), (x, bottom), joint.kind)


def _closed(rect: Rect) -> tuple[Point, ...]:
    return (
        (rect.left, rect.top),
        (rect.right, rect.top),
        (rect.right, rect.bottom),
        (rect.left, rect.bottom),
        (rect.left, rect.top),
    )


# Signs after IEC 60617, mm along the line and across it, from the middle of the line.
_GAP = 1.8
_SIGNS: dict[str, tuple[tuple[Point, ...], ...]] = {
    "join": (),
    "contact": (((-_GAP, 0.0), (1.5, -1.7)),),
    "breaker": (((-_GAP, 0.0), (1.5, -1.7)), ((1.2, -0.6), (2.4, 0.6)), ((1.2, 0.6), (2.4, -0.6))),
    "fuse": (((-2.4, -0.9), (2.4, -0.9), (2.4, 0.9), (-2.4, 0.9), (-2.4, -0.9)),),
}


def _with_sign(start: Point, end: Point, kind: str) -> Iterator[tuple[Point, ...]]:
    """The line between two points, level or upright, with the sign of its kind in the middle."""
    length = abs(end[0] - start[0]) + abs(end[1] - start[1])
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length) if length else (1.0, 0.0)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)

    def at(point: Point) -> Point:
        """The sign turned into the line; upright, what is above the line lies to its right."""
        forth, aside = point
        return (
            middle[0] + forth * along[0] - aside * along[1],
            middle[1] + forth * along[1] + aside * along[0],
        )

    if kind in ("contact", "breaker"):
        yield start, at((-_GAP, 0.0))
        yield at((_GAP, 0.0)), end
    else:
        yield start, end
    for sign in _SIGNS[kind]:
        yield tuple(at(point) for point in sign)


def inner_entries(kinds: Iterable[str]) -> tuple[Entry, ...]:
    """The legend of what joins terminals inside: contact, breaker, fuse; a plain join is a plain line."""
    look, kinds = read_look(), set(kinds)
    entries = []
    for kind in (each for each in ("contact", "breaker", "fuse") if each in kinds):
        lines = _with_sign((0.0, 2.0), (look.legend_line, 2.0), kind)
        path = "".join(
            "M" + "L".join(f"{round(x, 3):g} {round(y, 3):g}" for x, y in points) for points in lines
        )
        body = f'<g><path stroke-width="{look.line["thin"]:g}" d="{path}"/></g>'
        words = look.legend["inner"][kind]
        entries.append(Entry(f"{kind} inside", words, look.legend_line, 4.0, body, is_line=True))
    return tuple(entries)
