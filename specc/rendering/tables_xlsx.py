"""All schedules as one workbook. The only importer of xlsxwriter.

Texts are written as texts whatever they begin with, so that no cell can run as a formula; the bytes are the
same for the same schedules.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from specc import units
from specc.documents.packet import UnitSystem
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NOT_KNOWN, NumberStyle, decimals_of

LONGEST_SHEET_NAME = 31  # what a workbook allows
NARROWEST, WIDEST = 6, 48  # characters
BARE = ("", "money", "count", "number")


def workbook_xlsx(tables: Iterable[Table], system: UnitSystem, title: str, made_on: date) -> bytes:
    """A sheet a schedule: title, heading line (frozen, repeated on every printed page), rows, totals, notes.

    Numbers are numbers in the units of the job. The date of the job is the date of the file.
    """
    import xlsxwriter  # only when a workbook is made

    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_numbers": False,
            "strings_to_urls": False,
            "nan_inf_to_errors": False,
        },
    )
    book.set_properties(
        {"title": title, "created": datetime(made_on.year, made_on.month, made_on.day), "comments": "specc"}
    )
    formats = _Formats(book)
    for table in tables:
        _Sheet(book, table, NumberStyle(system), formats).write()
    book.close()
    return out.getvalue()


class _Formats:
    """The cell formats of the workbook, each made once."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.made: dict[tuple[tuple[str, object], ...], Any] = {}

    def of(self, **properties: object) -> Any:
        key = tuple(sorted(properties.items()))
        if key not in self.made:
            self.made[key] = self.book.add_format(properties)
        return self.made[key]


class _Sheet:
    """Writes one schedule."""

    def __init__(self, book: Any, table: Table, style: NumberStyle, formats: _Formats) -> None:
        self.table = table
        self.style = style
        self.formats = formats
        self.sheet = book.add_worksheet(table.title[:LONGEST_SHEET_NAME])

    def write(self) -> None:
        sheet, columns = self.sheet, self.table.columns
        sheet.write_string(0, 0, self.table.title, self.formats.of(bold=True, font_size=14))
        for number, column in enumerate(columns):
            heading = self.formats.of(bold=True, bottom=2, text_wrap=True, valign="bottom", **_align(column))
            sheet.write_string(1, number, self._heading(column), heading)
            sheet.set_column(number, number, self._width(column))
        row = 2
        for values in self.table.rows:
            self._row(row, values, {"bottom": 4})
            row += 1
        last = row - 1
        if self.table.totals:
            self._row(row, self.table.totals, {"bold": True, "top": 1})
            row += 1
        for note in self.table.notes:
            row += 1
            sheet.write_string(row, 0, note, self.formats.of(italic=True))
        self._page(max(last, 2), row)

    def _row(self, row: int, values: Mapping[str, Cell], properties: Mapping[str, object]) -> None:
        for number, column in enumerate(self.table.columns):
            value = values.get(column.key)
            look = {**properties, "valign": "top", **_align(column)}
            if isinstance(value, str):
                self.sheet.write_string(row, number, value, self.formats.of(text_wrap=True, **look))
            elif value is None:
                self.sheet.write_blank(row, number, None, self.formats.of(**look))
            elif not math.isfinite(value):
                self.sheet.write_string(row, number, NOT_KNOWN, self.formats.of(**look))
            else:
                shown = self._shown(value, column)
                form = self.formats.of(num_format=_number_format(shown, column), **look)
                self.sheet.write_number(row, number, shown, form)

    def _shown(self, value: float, column: Column) -> float:
        """The value in the unit of its heading."""
        if column.dimension in BARE:
            return float(value)
        return units.to_display(value, column.dimension, self.style.system)

    def _heading(self, column: Column) -> str:
        unit = self.style.unit(column)
        return f"{column.title}, {unit}" if unit else column.title

    def _width(self, column: Column) -> float:
        """Room for the longest word and, up to a limit, for the longest text."""
        cells = [self.style.cell(row.get(column.key), column) for row in self.table.rows]
        words = [len(word) for word in self._heading(column).split()]
        longest = max([*words, *(len(cell) for cell in cells)], default=0)
        return float(min(max(longest + 2, NARROWEST), WIDEST))

    def _page(self, last: int, end: int) -> None:
        sheet = self.sheet
        sheet.freeze_panes(2, 1)
        sheet.repeat_rows(0, 1)
        sheet.print_area(0, 0, end, len(self.table.columns) - 1)
        sheet.autofilter(1, 0, last, len(self.table.columns) - 1)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_footer("&L&A&RPage &P of &N")


def _align(column: Column) -> dict[str, object]:
    return {"align": {"right": "right", "centre": "center"}.get(column.align, "left")}


def _number_format(shown: float, column: Column) -> str:
    """As many decimals as the printed schedule has."""
    if column.dimension == "money":
        return "#,##0.00"
    if column.dimension == "count":
        return "0"
    if not column.dimension:
        return "General"
    if column.decimals is not None:
        decimals = decimals_of(shown, column.decimals)
    else:
        whole = math.floor(math.log10(abs(shown))) + 1 if shown else 1
        decimals = max(0, column.digits - max(whole, 1)) if whole > 0 else column.digits - whole
    return f"0.{'0' * decimals}" if decimals else "0"
