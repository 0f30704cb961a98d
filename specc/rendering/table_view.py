"""A schedule made ready for paper: every cell a text, every column a share of the width."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NumberStyle

# How many characters of schedule text a line of the page takes, between margins, on the narrower paper.
PORTRAIT_CHARACTERS = 108
LANDSCAPE_CHARACTERS = 148
MOST_ROWS_OF_SHORT = 16  # schedules up to this long may share a page
PADDING_CHARACTERS = 3  # the blank that every column adds
LONGEST_WORD = 18  # longer words may break
LONGEST_LINE = 40  # longer texts may wrap


@dataclass(frozen=True)
class ColumnView:
    """A column: heading, unit for the heading, alignment, share of the table width in per cent."""

    title: str
    unit: str
    align: str
    share_percent: float


@dataclass(frozen=True)
class GroupView:
    """Rows that stand under one heading; the heading is "" where the table is not grouped."""

    heading: str
    rows: tuple[tuple[str, ...], ...]
    subtotals: tuple[str, ...] = ()


@dataclass(frozen=True)
class TableView:
    """A table of texts; ``landscape`` where the columns need the long side of the paper."""

    title: str
    columns: tuple[ColumnView, ...]
    groups: tuple[GroupView, ...]
    totals: tuple[str, ...]
    notes: tuple[str, ...]
    landscape: bool

    @property
    def short(self) -> bool:
        """May it stand on one page with the schedule before it?"""
        return sum(len(group.rows) + bool(group.heading) for group in self.groups) <= MOST_ROWS_OF_SHORT


def view(table: Table, style: NumberStyle) -> TableView:
    """The table as texts in the units of the job. A grouping column becomes headings."""
    columns = tuple(c for c in table.columns if c.on_paper and c.key != table.group_by)
    rows = tuple(tuple(style.cell(row.get(c.key), c) for c in columns) for row in table.rows)
    totals = _sums(table.totals, columns, style)
    headings = [str(row.get(table.group_by) or "") for row in table.rows]
    groups = tuple(
        GroupView(
            heading, tuple(row for _, row in pairs), _sums(table.subtotals.get(heading, {}), columns, style)
        )
        for heading, pairs in groupby(zip(headings, rows, strict=True), key=lambda pair: pair[0])
    )
    summed = [group.subtotals for group in groups]
    texts = [
        [row[i] for row in (*rows, *summed, totals) if row] + [style.unit(column)]
        for i, column in enumerate(columns)
    ]
    needs = [_need(column, cells) for column, cells in zip(columns, texts, strict=True)]
    landscape = sum(line for _, line in needs) > PORTRAIT_CHARACTERS
    shares = _shares(needs, LANDSCAPE_CHARACTERS if landscape else PORTRAIT_CHARACTERS)
    return TableView(
        title=table.title,
        columns=tuple(
            ColumnView(column.title, style.unit(column), column.align, share)
            for column, share in zip(columns, shares, strict=True)
        ),
        groups=groups,
        totals=totals,
        notes=table.notes,
        landscape=landscape,
    )


def _sums(sums: Mapping[str, Cell], columns: Sequence[Column], style: NumberStyle) -> tuple[str, ...]:
    """A row of totals, empty where there is nothing to sum; no row where there are no totals."""
    return tuple(style.cell(sums[c.key], c) if c.key in sums else "" for c in columns) if sums else ()


def _need(column: Column, cells: Sequence[str]) -> tuple[int, int]:
    """Characters that a column needs so that no word breaks, and so that no text wraps."""
    words = [len(word) for text in (column.title, *cells) for word in text.split(" ")]
    lines = [len(text) for text in cells]
    word = min(max(words, default=1), LONGEST_WORD)
    line = max(word, min(max(lines, default=1), LONGEST_LINE))
    return word + PADDING_CHARACTERS, line + PADDING_CHARACTERS


def _shares(needs: Sequence[tuple[int, int]], capacity: int) -> list[float]:
    """Per cent of the width for each column: the longest texts wrap first, words break last."""
    widths = [line for _, line in needs]
    for longest in range(max(widths, default=0), 0, -1):
        widths = [max(word, min(line, longest)) for word, line in needs]
        if sum(widths) <= capacity:
            break
    return [round(100 * width / sum(widths), 2) for width in widths]
