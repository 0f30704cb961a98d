"""What the compiler chose where the spec says "auto", as a table for the calculation sheet."""

from __future__ import annotations

from collections.abc import Iterable

from specc.choices import Choice
from specc.documents.tables import Column, Table

COLUMNS = (
    Column("tag", "Tag"),
    Column("what", "What"),
    Column("key", "Key"),
    Column("chosen", "Chosen"),
    Column("reason", "Why"),
    Column("would_fail", "Rules that the next smaller breaks"),
)


def choices_table(choices: Iterable[Choice]) -> Table | None:
    """One row a choice, in the order of the spec; None where the spec leaves nothing open."""
    rows = tuple(
        {
            "tag": choice.tag,
            "what": choice.what,
            "key": choice.key,
            "chosen": choice.chosen,
            "reason": choice.reason,
            "would_fail": ", ".join(choice.would_fail),
        }
        for choice in choices
    )
    return Table("choices", "Sized by the compiler", COLUMNS, rows, ticked=False) if rows else None
