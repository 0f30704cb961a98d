"""Tracks for the upright stretches of wires in the channel between two columns of the wiring diagram."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from specc.documents.drafting.look import read_look


@dataclass(frozen=True)
class Hop:
    """A wire in a channel: it enters at one height from one side and leaves at another."""

    tag: str
    enters: tuple[str, float]  # side of the channel ("left", "right") and height
    leaves: tuple[str, float]

    @property
    def span(self) -> tuple[float, float]:
        """Top and bottom of its upright stretch, mm."""
        return min(self.enters[1], self.leaves[1]), max(self.enters[1], self.leaves[1])

    def heights(self, side: str) -> tuple[float, ...]:
        """Heights at which it reaches a side of the channel."""
        return tuple(height for at, height in (self.enters, self.leaves) if at == side)


def tracks_of(hops: Sequence[Hop]) -> tuple[Mapping[str, int], int]:
    """The track of each wire, from the left, and how many there are; few crossings, none overlapping."""
    order = _few_crossings(hops)
    clear = read_look().wiring["row"] / 4
    taken: list[list[tuple[float, float]]] = []
    tracks: dict[str, int] = {}
    for hop in order:
        top, bottom = hop.span
        track = next(
            (
                number
                for number, spans in enumerate(taken)
                if all(bottom + clear <= low or high + clear <= top for low, high in spans)
            ),
            len(taken),
        )
        if track == len(taken):
            taken.append([])
        taken[track].append((top, bottom))
        tracks[hop.tag] = track
    return tracks, len(taken)


def _few_crossings(hops: Sequence[Hop]) -> list[Hop]:
    """An order from left to right in which no swap of neighbours would save a crossing."""
    order = sorted(hops, key=lambda hop: (hop.enters[0] != "left", hop.span[1] - hop.span[0], hop.tag))
    for _ in range(len(order)):
        changed = False
        for place in range(len(order) - 1):
            one, other = order[place], order[place + 1]
            if _crossings(other, one) < _crossings(one, other):
                order[place], order[place + 1] = other, one
                changed = True
        if not changed:
            break
    return order


def _crossings(one: Hop, other: Hop) -> int:
    """Crossings of two wires, were the first drawn to the left of the second."""
    top, bottom = one.span
    low, high = other.span
    return sum(top < height < bottom for height in other.heights("left")) + sum(
        low < height < high for height in one.heights("right")
    )
