"""Ranks: how far to the right each device stands. Sources are at rank 0, each link leads one rank on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from specc.documents.diagram import Diagram, DiagramLink


@dataclass(frozen=True)
class Edge:
    """``after`` stands at least ``distance`` ranks to the right of ``before``."""

    before: str
    after: str
    distance: int


def rank_devices(diagram: Diagram) -> dict[str, int]:
    """The rank of every device, from 0.

    Power and water links set the ranks by longest path; a link that would close a cycle is left out. Devices
    of the water band move right as far as what they feed allows, so that the water path stays short. What has
    neither power nor water stands near what it is linked to.
    """
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
    ranks = _longest_paths(edges, frozenset(tag for tag, band in bands.items() if band == "water"))
    _add_followers(ranks, diagram.links)
    _add_earths(ranks, diagram.links)
    last = max(ranks.values(), default=0)
    for number, tag in enumerate(tag for tag in bands if tag not in ranks):
        ranks[tag] = number % (last + 1)
    return {tag: ranks[tag] for tag in bands}


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


def _add_followers(ranks: dict[str, int], links: tuple[DiagramLink, ...]) -> None:
    """Put what hangs on control or signal links only one rank right of what it is linked to."""
    last = max(ranks.values(), default=0)
    wired = [link for link in links if link.kind in ("control", "signal")]
    found = True
    while found:
        found = False
        for link in wired:
            for known, new in ((link.from_tag, link.to_tag), (link.to_tag, link.from_tag)):
                if known in ranks and new not in ranks:
                    ranks[new] = min(ranks[known] + 1, max(last, 1))
                    found = True


def _add_earths(ranks: dict[str, int], links: tuple[DiagramLink, ...]) -> None:
    """Put what hangs on earth links only at the middle of what it serves."""
    found = True
    while found:
        found = False
        nearby: dict[str, list[int]] = defaultdict(list)
        for link in links:
            if link.kind == "ground":
                for known, new in ((link.from_tag, link.to_tag), (link.to_tag, link.from_tag)):
                    if known in ranks and new not in ranks:
                        nearby[new].append(ranks[known])
        for tag, neighbours in nearby.items():
            ranks[tag] = sorted(neighbours)[(len(neighbours) - 1) // 2]
            found = True
