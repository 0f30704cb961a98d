"""The height of every item: wires as straight as can be, cells never closer than their room.

Items that a straight wire can join form a block (after Brandes and Köpf: Fast and simple horizontal
coordinate assignment, 2001); blocks are set as high as the ones above allow, then drawn to their neighbours.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from dataclasses import dataclass

from specc.documents.drafting.cells import Cell, pin_height
from specc.documents.drafting.look import read_look
from specc.documents.drafting.ordering import Order
from specc.documents.drafting.plan import Plan

ROUNDS = 4
WEIGHTS = {"power": 8, "water": 8, "control": 3, "signal": 2, "ground": 1}


@dataclass(frozen=True)
class _Tie:
    """A step across a channel: the right item is straight when it stands ``shift`` below the left one."""

    left: int
    right: int
    shift: float
    weight: int


def place_items(plan: Plan, order: Order, cells: tuple[Cell, ...]) -> tuple[float, ...]:
    """The axis height of every item, mm from the top of the drawing."""
    ties = _ties(plan, cells)
    block_of, offset = _blocks(plan, order, ties)
    below = _separations(plan, order, cells, block_of, offset)
    return _settle(plan, block_of, offset, below, ties)


def _ties(plan: Plan, cells: tuple[Cell, ...]) -> list[_Tie]:
    found: dict[tuple[int, int, float], int] = defaultdict(int)
    for route in plan.routes:
        for step in route.steps:
            if step.start.side != step.end.side:
                left, right = sorted((step.start, step.end), key=lambda pin: pin.side == "left")
                shift = pin_height(plan, cells, left) - pin_height(plan, cells, right)
                inner = sum(plan.items[pin.item].device is None for pin in (left, right))
                weight = WEIGHTS[route.link.kind] * (1 + inner)
                found[left.item, right.item, shift] = max(found[left.item, right.item, shift], weight)
    return [_Tie(left, right, shift, weight) for (left, right, shift), weight in found.items()]


def _blocks(plan: Plan, order: Order, ties: list[_Tie]) -> tuple[list[int], list[float]]:
    """The block of every item and its height within the block. Straight wires of a channel never cross."""
    position = {number: index for column in order for index, number in enumerate(column)}
    chosen: dict[int, list[tuple[int, int]]] = defaultdict(list)
    block_of = list(range(len(plan.items)))
    offset = [0.0] * len(plan.items)
    members = {number: [number] for number in block_of}
    for tie in sorted(ties, key=lambda tie: (-tie.weight, plan.items[tie.left].column, position[tie.left])):
        if plan.items[tie.left].lane != plan.items[tie.right].lane:
            continue
        pair = position[tie.left], position[tie.right]
        others = chosen[plan.items[tie.left].column]
        if any((pair[0] - other[0]) * (pair[1] - other[1]) <= 0 for other in others):
            continue
        others.append(pair)
        kept, merged = block_of[tie.left], block_of[tie.right]
        move = offset[tie.left] + tie.shift - offset[tie.right]
        for number in members.pop(merged):
            block_of[number] = kept
            offset[number] += move
            members[kept].append(number)
    return block_of, offset


def _separations(
    plan: Plan, order: Order, cells: tuple[Cell, ...], block_of: list[int], offset: list[float]
) -> dict[int, dict[int, float]]:
    """By block, the blocks below it and how far below at least. Lanes are kept apart by empty blocks."""
    look = read_look()
    below: dict[int, dict[int, float]] = {block: {} for block in block_of}
    lanes = sorted({item.lane for item in plan.items})
    fences = {lane: -1 - lane for lane in lanes}  # the fence stands above its lane
    below |= {fence: {} for fence in fences.values()}

    def keep(upper: int, lower: int, distance: float) -> None:
        below[upper][lower] = max(below[upper].get(lower, -1e9), distance)

    for upper_lane, lower_lane in itertools.pairwise(lanes):
        keep(fences[upper_lane], fences[lower_lane], 0.0)
    for column in order:
        for number in column:
            item, cell = plan.items[number], cells[number]
            keep(fences[item.lane], block_of[number], cell.up - offset[number])
            following = [lane for lane in lanes if lane > item.lane]
            if following:
                gap = look.row_gap if item.device is not None or item.link is not None else 0.0
                keep(block_of[number], fences[following[0]], offset[number] + cell.down + gap)
        for upper, lower in itertools.pairwise(column):
            gap = _gap(plan, upper, lower)
            distance = offset[upper] + cells[upper].down + gap + cells[lower].up - offset[lower]
            keep(block_of[upper], block_of[lower], distance)
    return below


def _gap(plan: Plan, upper: int, lower: int) -> float:
    look = read_look()
    solid = sum(plan.items[number].device is not None for number in (upper, lower))
    return (0.0, look.grid, look.row_gap)[solid]


def _settle(
    plan: Plan,
    block_of: list[int],
    offset: list[float],
    below: dict[int, dict[int, float]],
    ties: list[_Tie],
) -> tuple[float, ...]:
    order = _topological(below)
    above: dict[int, dict[int, float]] = {block: {} for block in below}
    for upper, lowers in below.items():
        for lower, distance in lowers.items():
            above[lower][upper] = distance
    height = dict.fromkeys(below, 0.0)
    for block in order:
        height[block] = max((height[upper] + gap for upper, gap in above[block].items()), default=0.0)
    pulls: dict[int, list[tuple[int, float, int]]] = defaultdict(list)  # other block, wanted shift, weight
    for tie in ties:
        left, right = block_of[tie.left], block_of[tie.right]
        if left != right:
            shift = offset[tie.left] + tie.shift - offset[tie.right]
            pulls[right].append((left, shift, tie.weight))
            pulls[left].append((right, -shift, tie.weight))
    grid = read_look().grid
    for _ in range(ROUNDS):
        for block in (*reversed(order), *order):
            if block < 0 or not pulls[block]:
                continue
            wish = _median([(height[other] + shift, weight) for other, shift, weight in pulls[block]])
            lowest = min((height[lower] - gap for lower, gap in below[block].items()), default=None)
            highest = max((height[upper] + gap for upper, gap in above[block].items()), default=0.0)
            wish = round(wish / grid) * grid
            height[block] = max(highest, wish if lowest is None else min(wish, lowest))
    return tuple(height[block_of[item.number]] + offset[item.number] for item in plan.items)


def _topological(below: dict[int, dict[int, float]]) -> list[int]:
    waiting = dict.fromkeys(below, 0)
    for lowers in below.values():
        for lower in lowers:
            waiting[lower] += 1
    order = [block for block, count in waiting.items() if count == 0]
    for block in order:
        for lower in below[block]:
            waiting[lower] -= 1
            if waiting[lower] == 0:
                order.append(lower)
    if len(order) != len(below):
        raise AssertionError("blocks of straight wires contradict the order of the columns")
    return order


def _median(wishes: list[tuple[float, int]]) -> float:
    """Weighted median."""
    wishes = sorted(wishes)
    half = sum(weight for _, weight in wishes) / 2
    reached = 0.0
    for wish, weight in wishes:
        reached += weight
        if reached >= half:
            return wish
    raise AssertionError("no wishes")
