"""The order from top to bottom in every column, by barycentre sweeps with the fewest crossings kept.

Sugiyama, Tagawa, Toda: Methods for visual understanding of hierarchical system structures, 1981.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import defaultdict

from specc.documents.diagram import Diagram
from specc.documents.drafting.plan import Item, Plan

SWEEPS = 8
Order = tuple[tuple[int, ...], ...]


def order_columns(plan: Plan, diagram: Diagram) -> Order:
    """Item numbers by column from the top. Lanes never mix; members of one box or place stay together."""
    groups = _groups(plan, diagram)
    neighbours = _neighbours(plan)
    columns: list[list[int]] = [[] for _ in range(plan.columns)]
    for item in plan.items:
        columns[item.column].append(item.number)
    for column in columns:
        column.sort(key=lambda number: (plan.items[number].lane, number))
    best, fewest = _frozen(columns), count_crossings(plan, _frozen(columns))
    for sweep in range(SWEEPS):
        rightwards = sweep % 2 == 0
        for index in range(plan.columns) if rightwards else range(plan.columns - 1, -1, -1):
            _sort_column(columns, index, -1 if rightwards else 1, neighbours, plan.items, groups)
        crossings = count_crossings(plan, _frozen(columns))
        if crossings < fewest:
            best, fewest = _frozen(columns), crossings
        if not fewest and sweep:
            break
    return best


def count_crossings(plan: Plan, order: Order) -> int:
    """Crossings of links between neighbouring columns, were they drawn straight."""
    position = {number: index for column in order for index, number in enumerate(column)}
    channels: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for left, right in _straight_edges(plan):
        channels[plan.items[left].column].append((position[left], position[right]))
    total = 0
    for edges in channels.values():
        seen: list[int] = []
        for _, end in sorted(edges):
            total += len(seen) - bisect_right(seen, end)
            insort(seen, end)
    return total


def _frozen(columns: list[list[int]]) -> Order:
    return tuple(tuple(column) for column in columns)


def _straight_edges(plan: Plan) -> list[tuple[int, int]]:
    """(left item, right item) of every step that leads across its channel, each pair once."""
    edges: dict[tuple[int, int], None] = {}
    for route in plan.routes:
        for step in route.steps:
            if step.start.side != step.end.side:
                pair = (step.start, step.end) if step.start.side == "right" else (step.end, step.start)
                edges[pair[0].item, pair[1].item] = None
    return list(edges)


def _neighbours(plan: Plan) -> dict[tuple[int, int], list[int]]:
    found: dict[tuple[int, int], list[int]] = defaultdict(list)
    for left, right in _straight_edges(plan):
        found[left, 1].append(right)
        found[right, -1].append(left)
    return found


def _groups(plan: Plan, diagram: Diagram) -> dict[int, tuple[str, str]]:
    box_of = {tag: box.tag for box in diagram.boxes for tag in box.holds}
    return {
        item.number: (item.device.place, box_of.get(item.device.tag, ""))
        for item in plan.items
        if item.device is not None
    }


def _sort_column(
    columns: list[list[int]],
    index: int,
    towards: int,
    neighbours: dict[tuple[int, int], list[int]],
    items: tuple[Item, ...],
    groups: dict[int, tuple[str, str]],
) -> None:
    beside = columns[index + towards] if 0 <= index + towards < len(columns) else []
    heights = {number: items[number].lane * 1000.0 + place for place, number in enumerate(beside)}
    own: dict[int, float] = {}
    for place, number in enumerate(columns[index]):
        known = [heights[other] for other in neighbours.get((number, towards), ())]
        own[number] = sum(known) / len(known) if known else items[number].lane * 1000.0 + place
    gathered: dict[tuple[int, str, str], list[float]] = defaultdict(list)
    for number in columns[index]:
        for key in _group_keys(number, items, groups):
            gathered[key].append(own[number])
    middle = {key: sum(heights) / len(heights) for key, heights in gathered.items()}

    def rank(number: int) -> tuple[float, ...]:
        outer, inner = _group_keys(number, items, groups)
        return (items[number].lane, middle[outer], middle[inner], own[number])

    # a stable sort: what the neighbours do not decide stays as it was
    columns[index].sort(key=rank)


def _group_keys(
    number: int, items: tuple[Item, ...], groups: dict[int, tuple[str, str]]
) -> tuple[tuple[int, str, str], tuple[int, str, str]]:
    place, box = groups.get(number, ("", ""))
    lane = items[number].lane
    alone = f"\0{number}"
    outer = (lane, place or alone, "")
    return outer, (lane, place or alone, box or alone)
