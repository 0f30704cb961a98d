"""A job looked at by a rulebook that is not its own: its conductors in that book's sizes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from specc.diagnostics import Finding
from specc.reading.read import Description, Entry
from specc.rulebooks import NotInTable, Rulebook, known_rulebooks, load_rulebook


@dataclass(frozen=True)
class AlsoUnder:
    """A job looked at by a second rulebook. It does not decide the exit status: the job's own book does.

    ``sizes`` tells what each conductor size counts as that the book does not know.
    """

    id: str
    title: str
    findings: tuple[Finding, ...]
    sizes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Translated:
    """A description in the sizes of another book; ``sizes`` tells what each foreign size counts as."""

    description: Description
    sizes: tuple[tuple[str, str], ...]


def in_sizes_of(description: Description, book: Rulebook) -> Translated:
    """Every conductor size that the book does not know, as its largest size with no more metal.

    A size with less metal than the smallest of the book stays, and is then in none of its tables.
    """
    told: dict[str, str] = {}

    def known(size: str | None) -> str | None:
        if size is None or size in book.sizes():
            return size
        counts_as = _counts_as(size, book)
        if counts_as is not None:
            told[size] = counts_as
        return counts_as or size

    def translated(entry: Entry) -> Entry:
        model: Any = entry.model
        conductors = tuple(c.model_copy(update={"size": known(c.size)}) for c in model.conductors)
        return replace(
            entry, model=model.model_copy(update={"size": known(model.size), "conductors": conductors})
        )

    runs = tuple(translated(entry) for entry in description.all("runs"))
    entries = {**description.entries, "runs": runs} if runs else description.entries
    return Translated(replace(description, entries=entries), tuple(told.items()))


def _counts_as(size: str, book: Rulebook) -> str | None:
    area = size_area_m2(size)
    if area is None:
        return None
    fitting = [own for own in book.sizes() if book.size_area_m2(own).value <= area * 1.001]
    return fitting[-1] if fitting else None


def size_area_m2(size: str) -> float | None:
    """Metal area of a size by whichever book knows it [m²]."""
    for id in known_rulebooks():
        try:
            return load_rulebook(id).size_area_m2(size).value
        except NotInTable:
            continue
    return None
