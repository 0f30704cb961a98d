"""Folding: a path with more ranks than a sheet is wide goes on in another row, like a line of text.

Rows are cut where few links cross and no enclosure or place is parted, if that can be. The path of energy
goes on below; that of water above, as water climbs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from specc.documents.diagram import Diagram

CROSSING = 3.0  # what a link across a cut costs
PARTED_BOX = 4.0  # what an enclosure on both sides of it costs
PARTED_PLACE = 2.0
BEHIND_PUMP = 2.0  # less for the pipe out of a pump: a row should end there
UNEVEN = 0.5  # for the square of the ranks that a row lacks or has beyond the mean
PUMP = "dc-motor-pump"


@dataclass(frozen=True)
class Stand:
    """Where a device stands: ranks from the left, and the row of its band, from 0 where the path begins."""

    rank: int
    row: int = 0


def fold(diagram: Diagram, ranks: Mapping[str, int], most: int | None) -> dict[str, Stand]:
    """The place of every device that has a rank; no row has more than ``most`` ranks where that is given."""
    if most is None or not ranks:
        return {tag: Stand(rank) for tag, rank in ranks.items()}
    wet = {device.tag for device in diagram.devices if device.band == "water"}
    stands: dict[str, Stand] = {}
    for band in ([tag for tag in ranks if tag not in wet], [tag for tag in ranks if tag in wet]):
        stands |= _fold_band(diagram, {tag: ranks[tag] for tag in band}, max(most, 1))
    return _below_their_feed(diagram, stands, wet, max(most, 1))


def _fold_band(diagram: Diagram, ranks: Mapping[str, int], most: int) -> dict[str, Stand]:
    if not ranks:
        return {}
    first = min(ranks.values())
    starts = _starts(_costs(diagram, ranks, first), most)
    stands = {}
    for tag, rank in ranks.items():
        row = sum(start <= rank - first for start in starts) - 1
        stands[tag] = Stand(rank - first - starts[row], row)
    return stands


def _costs(diagram: Diagram, ranks: Mapping[str, int], first: int) -> list[float]:
    """What a cut before each rank costs; the list is as long as there are ranks."""
    costs = [0.0] * (max(ranks.values()) - first + 1)

    def add(tags: Sequence[str], cost: float) -> None:
        places = [ranks[tag] - first for tag in tags if tag in ranks]
        for cut in range(min(places, default=0) + 1, max(places, default=0) + 1):
            costs[cut] += cost

    pumps = {device.tag for device in diagram.devices if device.symbol == PUMP}
    for link in diagram.links:
        if link.from_tag in ranks and link.to_tag in ranks:
            add((link.from_tag, link.to_tag), CROSSING - BEHIND_PUMP * (link.from_tag in pumps))
    for box in diagram.boxes:
        add(box.holds, PARTED_BOX)
    for place in {device.place for device in diagram.devices if device.place}:
        add([device.tag for device in diagram.devices if device.place == place], PARTED_PLACE)
    return costs


def _starts(costs: Sequence[float], most: int) -> list[int]:
    """The first rank of every row: as few rows as can be, cut where it costs least."""
    count = len(costs)
    rows = math.ceil(count / most)
    mean = count / rows
    best = [[math.inf] * (count + 1) for _ in range(rows + 1)]
    cut = [[0] * (count + 1) for _ in range(rows + 1)]
    best[0][0] = 0.0
    for row in range(1, rows + 1):
        for end in range(1, count + 1):
            for start in range(max(0, end - most), end):
                cost = best[row - 1][start] + UNEVEN * (end - start - mean) ** 2
                cost += costs[start] if start else 0.0
                if cost < best[row][end]:
                    best[row][end], cut[row][end] = cost, start
    starts, end = [], count
    for row in range(rows, 0, -1):
        end = cut[row][end]
        starts.append(end)
    return starts[::-1]


def _below_their_feed(
    diagram: Diagram, stands: Mapping[str, Stand], wet: set[str], most: int
) -> dict[str, Stand]:
    """Every row of the water band moved right as far as it may, so that pumps stand below what feeds them."""
    moved = dict(stands)
    feeds = [
        (link.from_tag, link.to_tag)
        for link in diagram.links
        if link.kind == "power"
        and link.to_tag in wet
        and link.from_tag in stands
        and link.from_tag not in wet
    ]
    for row in {stands[tag].row for tag in wet if tag in stands}:
        tags = [tag for tag in wet if tag in stands and stands[tag].row == row]
        room = most - 1 - max(stands[tag].rank for tag in tags)
        wishes = sorted(stands[feed].rank - stands[tag].rank for feed, tag in feeds if tag in tags)
        shift = min(max(wishes[len(wishes) // 2], 0), room) if wishes else 0
        for tag in tags:
            moved[tag] = Stand(stands[tag].rank + shift, row)
    return moved
