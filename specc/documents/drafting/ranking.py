"""Ranks: how far to the right each device stands. Sources are at rank 0, each link leads one rank on.

A path longer than the sheet is wide is folded like a line of text: what is beyond goes on in another row.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from specc.documents.diagram import Diagram, DiagramLink
from specc.documents.drafting.folding import Stand, fold

ROD = "ground-rod"  # the symbol at which a chain of earth links ends


@dataclass(frozen=True)
class Edge:
    """``after`` stands at least ``distance`` ranks to the right of ``before``."""

    before: str
    after: str
    distance: int


def rank_devices(diagram: Diagram) -> dict[str, int]:
    """The rank of every device, from 0, where nothing is folded.

    Power and water links set the ranks by longest path; a link that would close a cycle is left out. Devices
    of the water band move right as far as what they feed allows, so that the water path stays short. What has
    neither power nor water stands near what it is linked to.
    """
    return {tag: stand.rank for tag, stand in stand_devices(diagram).items()}


def stand_devices(diagram: Diagram, most: int | None = None) -> dict[str, Stand]:
    """The place of every device; no row has more than ``most`` ranks (at least 1) where that is given."""
    stands = fold(diagram, path_ranks(diagram), most)
    ranks = {tag: stand.rank for tag, stand in stands.items()}
    hosts = _add_followers(ranks, diagram.links, most)
    _add_earths(ranks, diagram)
    last = max(ranks.values(), default=0)
    for number, device in enumerate(device for device in diagram.devices if device.tag not in ranks):
        ranks[device.tag] = number % (last + 1)
    for tag in hosts:  # in the order in which they were found, so a host has its row
        stands[tag] = Stand(ranks[tag], stands[hosts[tag]].row)
    return {device.tag: stands.get(device.tag, Stand(ranks[device.tag])) for device in diagram.devices}


def path_ranks(diagram: Diagram) -> dict[str, int]:
    """The ranks of what is on the path of power or water."""
    bands = {device.tag: device.band for device in diagram.devices}
    edges = [
        # a pump stands straight below what feeds it
        Edge(
            link.from_tag,
            link.to_tag,
            0
            if link.kind == "power" and (bands[link.from_tag], bands[link.to_tag]) == ("energy", "water")
            else 1,
        )
        for link in diagram.links
        if link.kind in ("power", "water") and link.from_tag != link.to_tag
    ]
    movable = {device.tag for device in diagram.devices if device.band == "water" or device.mark}
    return _longest_paths(edges, frozenset(movable))


def _longest_paths(edges: Iterable[Edge], movable: frozenset[str]) -> dict[str, int]:
    leaving: dict[str, list[Edge]] = defaultdict(list)
    for edge in dict.fromkeys(edges):
        leaving[edge.before].append(edge)
        leaving.setdefault(edge.after, [])
    order, kept = _without_cycles(leaving)
    ranks = dict.fromkeys(order, 0)
    for tag in order:
        for edge in kept[tag]:
            ranks[edge.after] = max(ranks[edge.after], ranks[tag] + edge.distance)
    for tag in reversed(order):
        if tag in movable and kept[tag]:
            ranks[tag] = min(ranks[edge.after] - edge.distance for edge in kept[tag])
    return ranks


def _without_cycles(leaving: dict[str, list[Edge]]) -> tuple[list[str], dict[str, list[Edge]]]:
    """An order in which all kept edges lead onward, and the kept edges by their first end."""
    fed = {edge.after for edges in leaving.values() for edge in edges}
    starts = [tag for tag in leaving if tag not in fed] + [tag for tag in leaving if tag in fed]
    kept: dict[str, list[Edge]] = {tag: [] for tag in leaving}
    finished: list[str] = []
    state: dict[str, str] = {}
    for start in starts:
        if start in state:
            continue
        state[start] = "open"
        pending = [(start, iter(leaving[start]))]
        while pending:
            tag, edges = pending[-1]
            edge = next(edges, None)
            if edge is None:
                state[tag] = "done"
                finished.append(tag)
                pending.pop()
            elif state.get(edge.after) != "open":
                kept[tag].append(edge)
                if edge.after not in state:
                    state[edge.after] = "open"
                    pending.append((edge.after, iter(leaving[edge.after])))
    return finished[::-1], kept


def _add_followers(ranks: dict[str, int], links: tuple[DiagramLink, ...], most: int | None) -> dict[str, str]:
    """Put what hangs on control or signal links only to the right of what it is linked to, chains in a row.

    A chain that reaches the last rank goes on below its beginning. Gives for each what it was put beside.
    """
    hosts: dict[str, str] = {}
    last = max(ranks.values(), default=0) if most is None else most - 1
    near: dict[str, list[str]] = defaultdict(list)
    for link in links:
        if link.kind in ("control", "signal"):
            near[link.from_tag].append(link.to_tag)
            near[link.to_tag].append(link.from_tag)
    for known in list(ranks):
        pending = [(known, iter(near[known]))]
        while pending:
            tag, others = pending[-1]
            new = next((other for other in others if other not in ranks), None)
            if new is None:
                pending.pop()
                continue
            onward = ranks[tag] + 1
            ranks[new] = onward if onward <= max(last, 1) else min(ranks[known] + 1, max(last, 1))
            hosts[new] = tag
            pending.append((new, iter(near[new])))
    return hosts


def _add_earths(ranks: dict[str, int], diagram: Diagram) -> None:
    """Put what hangs on earth links only below what it serves, the chain from there to the rod leftwards."""
    near: dict[str, list[str]] = defaultdict(list)
    rods = {device.tag for device in diagram.devices if device.symbol == ROD}
    for link in diagram.links:
        if link.kind == "ground":
            near[link.from_tag].append(link.to_tag)
            near[link.to_tag].append(link.from_tag)
    last = max(ranks.values(), default=0)
    left = [tag for tag in near if tag not in ranks]
    while left:
        group = _hanging_together(left[0], near, set(left))
        steps = _steps_from_the_rod(group, near, rods)
        # One to the left of what it serves: the wire down to it passes the space between, where its label is.
        wishes = sorted(
            ranks[other] - 1 - steps[tag] for tag in group for other in near[tag] if other in ranks
        )
        first = wishes[(len(wishes) - 1) // 2] if wishes else 0
        first = max(0, min(first, last - max(steps.values())))
        for tag in group:
            ranks[tag] = min(first + steps[tag], max(last, 1))
        left = [tag for tag in left if tag not in ranks]


def _hanging_together(start: str, near: Mapping[str, list[str]], among: set[str]) -> list[str]:
    """What can be reached from one without leaving ``among``, in the order in which it is found."""
    found = {start: None}
    waiting = [start]
    for tag in waiting:
        for other in near[tag]:
            if other in among and other not in found:
                found[other] = None
                waiting.append(other)
    return list(found)


def _steps_from_the_rod(
    group: Sequence[str], near: Mapping[str, list[str]], rods: Collection[str]
) -> dict[str, int]:
    """How many links each is away from a rod, or from the last of the group where there is none."""
    inside = set(group)
    steps = dict.fromkeys([tag for tag in group if tag in rods] or group[-1:], 0)
    waiting = list(steps)
    for tag in waiting:
        for other in near[tag]:
            if other in inside and other not in steps:
                steps[other] = steps[tag] + 1
                waiting.append(other)
    return steps
