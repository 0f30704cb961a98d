"""A schedule made ready for paper: every cell a text, every column a share of the width."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from specc.documents.drafting.lettering import text_width
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NumberStyle

# Sizes of schedules in packet.css, mm.
LETTERS_MM = 8.2 * 25.4 / 72  # size of the letters
LINE_MM = 247.0  # between the margins, long side across, on the narrower paper
HALF_MM = 120.0  # of a half of it, where a narrow schedule stands in two columns
CLOSER_MM = 1.0  # less blank between the columns there
PADDING_MM = 3.0  # the blank of every column, and a little for rounding
OF_NUMBERS_MM = 1.0  # more of that at the right of numbers
ROUNDING = 1.01
USUAL = 0.9  # of the cells of a column: their width is its usual one
MOST_ROWS_OF_SHORT = 16  # schedules up to this long are kept on one page
LEAST_ROWS_OF_PAIRED = 24  # shorter ones do not stand in two columns
LONGEST_WORD_MM = 26.0  # longer words may break
LONGEST_LINE_MM = 70.0  # longer texts may wrap


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
    """A table of texts; ``paired`` where it is narrow and long, and stands in two columns.

    ``apart`` where it begins a page of its own, ``tagged`` where its first column names what a row is about,
    ``ticked`` where a row is something to tick off on a screen.
    """

    name: str
    title: str
    columns: tuple[ColumnView, ...]
    groups: tuple[GroupView, ...]
    totals: tuple[str, ...]
    notes: tuple[str, ...]
    paired: bool = False
    apart: bool = False
    tagged: bool = False
    ticked: bool = True

    @property
    def short(self) -> bool:
        """Short enough to be kept in one piece?"""
        return self.lines <= MOST_ROWS_OF_SHORT

    @property
    def lines(self) -> int:
        """Rows and headings."""
        return _lines(self.groups)


def _lines(groups: Sequence[GroupView]) -> int:
    return sum(len(group.rows) + bool(group.heading) for group in groups)


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
    texts = [_Texts(column, [row[i] for row in rows]) for i, column in enumerate(columns)]
    for i, each in enumerate(texts):
        each.bold += [row[i] for row in (*summed, totals) if row]
    needs = [each.need() for each in texts]
    paired = (
        sum(each.usual() - CLOSER_MM for each in texts) <= HALF_MM and _lines(groups) >= LEAST_ROWS_OF_PAIRED
    )
    shares = _shares(needs, HALF_MM if paired else LINE_MM)
    return TableView(
        name=table.name,
        title=table.title,
        columns=tuple(
            ColumnView(column.sign or column.title, style.unit(column), column.align, share)
            for column, share in zip(columns, shares, strict=True)
        ),
        groups=groups,
        totals=totals,
        notes=table.notes,
        paired=paired,
        apart=table.apart,
        tagged=bool(columns) and columns[0].key == "tag",
        ticked=table.ticked,
    )


def _sums(sums: Mapping[str, Cell], columns: Sequence[Column], style: NumberStyle) -> tuple[str, ...]:
    """A row of totals, empty where there is nothing to sum; no row where there are no totals."""
    return tuple(style.cell(sums[c.key], c) if c.key in sums else "" for c in columns) if sums else ()


class _Texts:
    """The texts of a column, and how wide they are, mm."""

    def __init__(self, column: Column, cells: list[str]) -> None:
        self.cells = cells
        self.bold = [*(column.sign or column.title).split(" ")]
        self.first = column.key == "tag"
        self.padding = PADDING_MM + (OF_NUMBERS_MM if column.align == "right" else 0.0)

    def need(self) -> tuple[float, float]:
        """Width so that no word breaks, and so that no text wraps."""
        words = [self._width(word) for text in self.cells for word in text.split(" ")]
        words += [text_width(word, LETTERS_MM, True) for text in self.bold for word in text.split(" ")]
        word = min(max(words, default=0.0), LONGEST_WORD_MM)
        line = max(word, min(max(map(self._width, self.cells), default=0.0), LONGEST_LINE_MM))
        return word + self.padding, line + self.padding

    def usual(self) -> float:
        """Width in which nearly every text stands on one line, and no word of the heading breaks."""
        widths = sorted(map(self._width, self.cells)) or [0.0]
        title = max(text_width(word, LETTERS_MM, True) for word in self.bold)
        return max(title, widths[int(USUAL * (len(widths) - 1))]) + self.padding

    def _width(self, text: str) -> float:
        return ROUNDING * text_width(text, LETTERS_MM, self.first)


def _shares(needs: Sequence[tuple[float, float]], capacity: float) -> list[float]:
    """Per cent of the width for each column: the longest texts wrap first, words break last."""
    widths = [line for _, line in needs]
    for longest in range(math.ceil(max(widths, default=0.0)), 0, -1):
        widths = [max(word, min(line, float(longest))) for word, line in needs]
        if sum(widths) <= capacity:
            break
    return [round(100 * width / sum(widths), 2) for width in widths]
