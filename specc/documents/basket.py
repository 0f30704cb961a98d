"""What is to be bought, while it is gathered: one line a part, and small parts found by what they suit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from specc.documents.buying import Pack, packs_of
from specc.system.other_book import size_area_m2
from specc.system.system import System

# Shop visits, in the order in which a job is bought.
GROUPS = {
    "solar": "1 Solar",
    "pump": "2 Pump",
    "electrical": "3 Electrical",
    "wire": "4 Wire",
    "raceway": "5 Raceway and boxes",
    "plumbing": "6 Plumbing",
}
# Of these kinds everything is bought with the raceways.
_WITH_RACEWAYS = ("enclosure", "raceway")
_OF_RACEWAYS = ("box", "coupling", "elbow", "expansion")
_SAME_SIZE = 0.03  # areas of one size differ in the tables by as much, from rounding


@dataclass
class Line:
    """A line while it is gathered: a count, or pieces [m], and the tags that use it."""

    part: Any
    what: str
    group: str
    count: float = 0.0
    pieces_m: list[float] = field(default_factory=list)
    joinable: bool = False  # pieces are joined: only their sum counts
    packs: tuple[Pack, ...] = ()
    used: dict[str, None] = field(default_factory=dict)

    def use(self, *tags: str) -> None:
        self.used.update(dict.fromkeys(tags))

    def add(self, count: float, *tags: str) -> None:
        """So many more, for these tags."""
        self.count += count
        self.use(*tags)


class Basket:
    """The lines of a job, and what has to be said beside them."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.lines: dict[tuple[str, ...], Line] = {}
        self.notes: dict[str, None] = {}
        self.practices: dict[str, None] = {}

    @cached_property
    def _sundries(self) -> tuple[Any, ...]:
        return self.system.description.catalog.parts("sundry")

    def note(self, words: str) -> None:
        """A sentence below the list; said once."""
        self.notes[words] = None

    def practice(self, words: str) -> None:
        """A sentence on how something is counted; these stand together."""
        self.practices[words] = None

    def line(self, part: Any, group: str = "") -> Line:
        """The line of a part."""
        if not group:
            sundry = part.kind == "sundry" and part.type in _OF_RACEWAYS
            group = "raceway" if sundry or part.kind in _WITH_RACEWAYS else part.buy_with
        return self.lines.setdefault((part.id,), Line(part, part.name, GROUPS[group], packs=packs_of(part)))

    def other(self, words: str, group: str) -> Line:
        """The line of something that the catalogue lacks."""
        return self.lines.setdefault((words,), Line(None, words, GROUPS[group]))

    def wire(self, wire: Any, size: str, color: str) -> Line:
        """The line of a wire of one size and colour."""
        key = (wire.id, size, color)
        if key not in self.lines:
            priced = next((s for s in wire.sizes if s.size == size), None)
            packs = packs_of(wire, priced) if priced else ()
            self.lines[key] = Line(wire, f"{wire.name}, {size}, {color}", GROUPS["wire"], packs=packs)
        return self.lines[key]

    def add(self, part: Any, count: float, *tags: str, group: str = "") -> None:
        """So many of a part, and of all that it needs beside it."""
        self.line(part, group).add(count, *tags)
        for beside in self.with_needs(part.needs):
            self.line(beside).add(count, *tags)

    def with_needs(self, ids: Iterable[str]) -> Iterator[Any]:
        """The parts of these ids and, in turn, what they need; each entry once per chain."""
        seen: set[str] = set()
        waiting = list(ids)
        while waiting:
            part_id = waiting.pop(0)
            part = self.system.description.catalog.find(part_id)
            if part is None:
                continue
            yield part
            if part_id not in seen:
                seen.add(part_id)
                waiting += part.needs

    def sundry(self, type: str, *, suits: str = "", trade_size: str = "", size: str = "") -> Any:
        """The small part of that type; None where the catalogue has none.

        Of several that take a conductor of ``size`` the one that takes no larger than need be.
        """
        fits = [part for part in self._sundries if part.type == type]
        if suits:
            fits = [part for part in fits if suits in part.suits]
        if trade_size:
            fits = [part for part in fits if part.trade_size == trade_size]
        if size:
            area = size_area_m2(size)
            if area is None:
                return None
            spans = [(span, part) for part in fits if (span := _takes(part, area)) is not None]
            return min(spans, key=lambda pair: (pair[0], pair[1].id))[1] if spans else None
        return fits[0] if fits else None

    def buy(
        self,
        type: str,
        words: str,
        count: float,
        *tags: str,
        group: str = "electrical",
        suits: str = "",
        trade_size: str = "",
        size: str = "",
    ) -> None:
        """So many small parts of that type, or a line in words where the catalogue has none."""
        if count <= 0:
            return
        part = self.sundry(type, suits=suits, trade_size=trade_size, size=size)
        if part is None:
            self.other(words, group).add(count, *tags)
        else:
            self.add(part, count, *tags)


def by_area(size: str) -> float:
    """Sizes of any family from thin to thick: the area [m²], 0 where no book knows the size."""
    return size_area_m2(size) or 0.0


def _takes(part: Any, area_m2: float) -> float | None:
    """How wide the range of a part is that takes a conductor of this area [m²]; None where it does not."""
    low = size_area_m2(part.smallest) if part.smallest else None
    high = size_area_m2(part.largest) if part.largest else None
    if low is None or high is None:
        return None
    if not low * (1.0 - _SAME_SIZE) <= area_m2 <= high * (1.0 + _SAME_SIZE):
        return None
    return high - low
