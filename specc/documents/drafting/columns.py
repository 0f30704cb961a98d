"""Blocks of the wiring diagram set in columns, one below the other, with outlines round places and boxes.

Heights keep to a lattice: wires of neighbouring columns never stand at the same height, so that in the
channel between two columns no two level stretches can lie on each other.
"""

from __future__ import annotations

import math
from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from specc.documents.drafting.blocks import SIDES, Block, PlacedBlock, Side
from specc.documents.drafting.lettering import Line, block_height, lines_of, stack
from specc.documents.drafting.look import read_look
from specc.documents.shapes import Outline, Rect, Text
from specc.documents.wiring import WiredDevice, Wiring

SPLIT_BOX = 25.0  # mm of height that are worth not parting a box on two columns
SPLIT_PLACE = 8.0


@dataclass(frozen=True)
class Width:
    """Widths of a column, mm: the block, and the words on either side."""

    block: float
    left: float
    right: float

    @property
    def whole(self) -> float:
        """With room for two outlines on either side."""
        return self.block + self.left + self.right + 4 * read_look().outline_gap


@dataclass(frozen=True)
class Column:
    """A placed column: ``lanes`` are the heights of the wires that pass it, by conductor tag."""

    blocks: tuple[PlacedBlock, ...]
    outlines: tuple[Outline, ...]
    titles: tuple[Text, ...]
    lanes: Mapping[str, float]
    slots: tuple[float, ...]  # heights at which lanes may pass
    left: float
    right: float
    bottom: float


def in_order(wiring: Wiring) -> tuple[WiredDevice, ...]:
    """Devices along the way of energy: what hangs together by wires, then places by their mean distance from
    the first device, then boxes."""
    distance = _distances(wiring)
    whole = _components(wiring)
    number = {device.tag: place for place, device in enumerate(wiring.devices)}
    places: dict[str, list[float]] = defaultdict(list)
    boxes: dict[tuple[str, str], list[float]] = defaultdict(list)
    for device in wiring.devices:
        place, box = group_of(device)
        places[place].append(distance[device.tag])
        boxes[place, box].append(distance[device.tag])

    def rank(device: WiredDevice) -> tuple[object, ...]:
        place, box = group_of(device)
        nearest = distance[device.tag], number[device.tag]
        return whole[device.tag], _mean(places[place]), place, _mean(boxes[place, box]), box, *nearest

    return tuple(sorted(wiring.devices, key=rank))


def group_of(device: WiredDevice) -> tuple[str, str]:
    """Place and box of a device; one that has neither stands for itself."""
    alone = f"\0{device.tag}"
    return device.place or (f"\0{device.box}" if device.box else alone), device.box or alone


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _distances(wiring: Wiring) -> dict[str, float]:
    """Steps from the first device, along power and control wires; then on along grounding ones."""
    live: dict[str, list[str]] = defaultdict(list)
    every: dict[str, list[str]] = defaultdict(list)
    for conductor in wiring.conductors:
        one, other = conductor.start[0], conductor.end[0]
        for near in (every,) if conductor.kind == "ground" else (every, live):
            near[one].append(other)
            near[other].append(one)
    found: dict[str, float] = {}
    for device in wiring.devices:  # what no wire leads to starts a walk of its own
        if device.tag not in found and (live[device.tag] or not every[device.tag]):
            _walk([device.tag], live, found)
    _walk(list(found), every, found)
    return {device.tag: found.get(device.tag, 0.0) for device in wiring.devices}


def _components(wiring: Wiring) -> dict[str, int]:
    """A number for each device, the same for what hangs together by wires of any kind."""
    near: dict[str, list[str]] = defaultdict(list)
    for conductor in wiring.conductors:
        near[conductor.start[0]].append(conductor.end[0])
        near[conductor.end[0]].append(conductor.start[0])
    found: dict[str, int] = {}
    for number, device in enumerate(wiring.devices):
        waiting = [device.tag] if device.tag not in found else []
        for tag in waiting:
            if tag not in found:
                found[tag] = number
                waiting += near[tag]
    return found


def _walk(starts: list[str], near: Mapping[str, list[str]], found: dict[str, float]) -> None:
    waiting = deque(starts)
    for tag in starts:
        found.setdefault(tag, 0.0)
    while waiting:
        tag = waiting.popleft()
        for other in near.get(tag, ()):
            if other not in found:
                found[other] = found[tag] + 1
                waiting.append(other)


def share_out(heights: Sequence[float], groups: Sequence[tuple[str, str]], count: int) -> tuple[int, ...]:
    """The column of each device in turn, so that the tallest of ``count`` columns is as low as may be."""
    total = len(heights)
    sums = [0.0]
    for height in heights:
        sums.append(sums[-1] + height)
    best = [[math.inf] * (count + 1) for _ in range(total + 1)]
    cut = [[0] * (count + 1) for _ in range(total + 1)]
    best[0][0] = 0.0
    splits = [_split(groups, start) for start in range(total)]
    for used in range(1, count + 1):
        for end in range(used, total + 1):
            for start in range(end - 1, used - 2, -1):
                height = sums[end] - sums[start]
                if height >= best[end][used]:
                    break  # higher still from any earlier start
                cost = max(best[start][used - 1], height + splits[start])
                if cost < best[end][used]:
                    best[end][used], cut[end][used] = cost, start
    columns: list[int] = []
    end = total
    for used in range(count, 0, -1):
        start = cut[end][used]
        columns[:0] = [used - 1] * (end - start)
        end = start
    return tuple(columns)


def _split(groups: Sequence[tuple[str, str]], start: int) -> float:
    """What a cut before a device costs."""
    if start == 0:
        return 0.0
    before, after = groups[start - 1], groups[start]
    if before == after:
        return SPLIT_BOX
    return SPLIT_PLACE if before[0] == after[0] else 0.0


def width_of(blocks: Iterable[Block]) -> Width:
    """The widths that these blocks need in one column."""
    blocks = tuple(blocks)
    look = read_look()
    pad = 2 * look.wiring["label_pad"]
    words = {side: max((b.label_width(side) for b in blocks), default=0.0) for side in SIDES}
    sides = {side: width + pad if width else look.outline_gap for side, width in words.items()}
    return Width(
        max([look.wiring["block_width"], *(b.least_width for b in blocks)]), sides["left"], sides["right"]
    )


def place_column(
    blocks: Sequence[Block],
    boxes: Mapping[str, str],
    width: Width,
    left: float,
    odd: bool,
    lanes: Mapping[int, Sequence[str]],
) -> Column:
    """The column with its left edge at ``left``; ``lanes`` are the wires that pass each of its slots."""
    return _Setter(boxes, width, left, odd).set(blocks, lanes)


class _Setter:
    """Sets one column from the top; thrown away when it is done."""

    def __init__(self, boxes: Mapping[str, str], width: Width, left: float, odd: bool) -> None:
        self.boxes = boxes
        self.width = width
        self.left = left
        self.odd = odd
        self.look = read_look()
        self.y = 0.0
        self.blocks: list[PlacedBlock] = []
        self.outlines: list[Outline] = []
        self.titles: list[Text] = []
        self.lanes: dict[str, float] = {}
        self.slots: list[float] = []

    def set(self, blocks: Sequence[Block], lanes: Mapping[int, Sequence[str]]) -> Column:
        by_place = [list(group) for _, group in groupby(blocks, key=lambda b: group_of(b.device)[0])]
        for number, group in enumerate(by_place):
            self._slot(lanes.get(number, ()))
            self._place(group)
        self._slot(lanes.get(len(by_place), ()))
        right = self.left + self.width.whole
        return Column(
            tuple(self.blocks),
            tuple(self.outlines),
            tuple(self.titles),
            self.lanes,
            tuple(self.slots),
            self.left,
            right,
            self.y,
        )

    def _slot(self, lanes: Sequence[str]) -> None:
        self.y += self.look.wiring["gap"] / 2
        self.slots.append(self.y)
        for tag in lanes:
            self.y = self._on_lattice(self.y + self.look.wiring["row"] / 4)
            self.lanes[tag] = self.y
        if lanes:
            self.y += self.look.wiring["row"] / 4
        self.y += self.look.wiring["gap"] / 2

    def _on_lattice(self, least: float) -> float:
        """The next height that is free for a wire of this column."""
        pitch = self.look.wiring["row"] / 2
        shift = pitch / 2 if self.odd else 0.0
        return math.ceil((least - shift) / pitch - 1e-9) * pitch + shift

    def _place(self, blocks: Sequence[Block]) -> None:
        place = blocks[0].device.place
        top = self.y
        if place:
            self._title(place, place, "place", 0)
        for _, group in groupby(blocks, key=lambda b: group_of(b.device)[1]):
            self._box(list(group), bool(place))
        if place:
            self._outline(place, place, "place", blocks, top, 0)

    def _box(self, blocks: Sequence[Block], in_place: bool) -> None:
        box, inset = blocks[0].device.box, self.look.outline_gap if in_place else 0.0
        top = self.y
        title = f"{box} {self.boxes.get(box, '')}".strip()
        if box:
            self._title(box, title, "box", inset)
        for block in blocks:
            self._block(block)
        if box:
            self._outline(box, title, "box", blocks, top, inset)

    def _title(self, tag: str, title: str, role: Literal["box", "place"], inset: float) -> None:
        lines: tuple[Line, ...] = lines_of(
            title, self.look.text["outline"], self.width.whole - 2 * inset - 2.0, role=role
        )
        self.titles += stack(lines, self.left + inset + 0.9, self.y + 0.4, tag=tag)
        self.y += block_height(lines) + 0.5

    def _outline(
        self,
        tag: str,
        title: str,
        kind: Literal["box", "place"],
        blocks: Sequence[Block],
        top: float,
        inset: float,
    ) -> None:
        rect = Rect(self.left + inset, top, self.left + self.width.whole - inset, self.y)
        self.outlines.append(Outline(tag, kind, title, tuple(b.device.tag for b in blocks), rect))
        self.y += self.look.outline_gap

    def _block(self, block: Block) -> None:
        row = self.look.wiring["row"]
        left = self.left + 2 * self.look.outline_gap + self.width.left
        right = left + self.width.block
        first = self._on_lattice(self.y + block.header_height(self.width.block) + row / 2)
        self.blocks.append(PlacedBlock(block, left, right, first))
        self.y = self.blocks[-1].rect.bottom + self.look.wiring["gap"]


def label_side(column: int, last: int) -> tuple[Side, ...]:
    """The sides on which wires may leave a column: the outermost ones have only one channel beside them."""
    if column == 0:
        return ("right",)
    return ("left",) if column == last else SIDES
