"""All schedules as one workbook. The only importer of xlsxwriter.

Texts are written as texts whatever they begin with, so that no cell can run as a formula; the bytes are the
same for the same schedules.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from specc import units
from specc.documents.packet import JobHeader, Paper
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NOT_KNOWN, NumberStyle, decimals_of, for_files

LONGEST_SHEET_NAME = 31  # what a workbook allows
LONGEST_RUNNING_TEXT = 80  # characters of a title at the head of a page; all of a head may have 255
NARROWEST, WIDEST = 6, 48  # characters
LINE_POINTS = 15.0  # height of a line of text, as new sheets have it
PAPERS = {"letter": 1, "a4": 9}  # ECMA-376 part 1, 18.3.1.63: paperSize
BARE = ("", "money", "count", "number")


def workbook_xlsx(
    tables: Iterable[Table], header: JobHeader, *, paper: Paper = "letter", draft: bool = False
) -> bytes:
    """A sheet a schedule: title, heading line (frozen, repeated on every printed page), rows, sums, notes.

    Numbers are numbers in the units of the job. The date of the job is the date of the file. Every printed
    page names the job; a ``draft`` is marked there and at the head of every sheet.
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
    day = header.date
    book.set_properties(
        {
            "title": header.title,
            "subject": header.number,
            "author": header.prepared_by,
            "created": datetime(day.year, day.month, day.day),
            "comments": "specc",
        }
    )
    formats = _Formats(book)
    for table in tables:
        sheet = _Sheet(book, table, NumberStyle(header.units), formats)
        sheet.write(" (DRAFT)" if draft else "")
        sheet.on_paper(PAPERS[paper], _running_head(header, draft))
    book.close()
    return out.getvalue()


def _running_head(header: JobHeader, draft: bool) -> str:
    """The head of a printed page; a single & begins a code there (ECMA-376 part 1, 18.3.1.46)."""
    job = f"{header.number}   {header.title}"
    cut = (
        job
        if len(job) <= LONGEST_RUNNING_TEXT
        else job[: LONGEST_RUNNING_TEXT - 1] + "\N{HORIZONTAL ELLIPSIS}"
    )
    left = " ".join(cut.split()).replace("&", "&&")
    revision = f", revision {header.revision[:20]}".replace("&", "&&") if header.revision else ""
    return f"&L{left}&R{'DRAFT, ' if draft else ''}{header.date.isoformat()}{revision}"


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

    def write(self, mark: str) -> None:
        sheet, columns = self.sheet, self.table.columns
        sheet.write_string(0, 0, self.table.title + mark, self.formats.of(bold=True, font_size=14))
        for number, column in enumerate(columns):
            heading = self.formats.of(bold=True, bottom=2, text_wrap=True, valign="bottom", **_align(column))
            sheet.write_string(1, number, self._heading(column), heading)
            sheet.set_column(number, number, self._width(column))
        row = 2
        for values in self.table.rows:
            self._row(row, values, {"bottom": 4})
            row += 1
        last = row - 1
        # Behind the rows, so that these can be sorted and filtered.
        for number, (group, sums) in enumerate(self.table.subtotals.items()):
            named = {**sums, columns[0].key: f"Subtotal {group}"}
            self._row(row, named, {"bold": True, **({} if number else {"top": 1})})
            row += 1
        if self.table.totals:
            self._row(row, self.table.totals, {"bold": True, "top": 1})
            row += 1
        for note in self.table.notes:
            row += 1
            self._note(row, for_files(note))
        self._page(max(last, 2), row)

    def _note(self, row: int, note: str) -> None:
        """A note over the whole width, so that no print cuts it off."""
        widths = [self._width(column) for column in self.table.columns]
        look = self.formats.of(italic=True, text_wrap=True, valign="top")
        if len(widths) > 1:
            self.sheet.merge_range(row, 0, row, len(widths) - 1, "", look)
        self.sheet.write_string(row, 0, note, look)
        self.sheet.set_row(row, LINE_POINTS * math.ceil(1.1 * len(note) / sum(widths)))

    def _row(self, row: int, values: Mapping[str, Cell], properties: Mapping[str, object]) -> None:
        for number, column in enumerate(self.table.columns):
            value = values.get(column.key)
            look = {**properties, "valign": "top", **_align(column)}
            if isinstance(value, str):
                self.sheet.write_string(
                    row, number, for_files(value), self.formats.of(text_wrap=True, **look)
                )
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
        from xlsxwriter.utility import xl_col_to_name

        sheet = self.sheet
        sheet.freeze_panes(2, 1)
        sheet.repeat_rows(0, 1)
        sheet.print_area(0, 0, end, len(self.table.columns) - 1)
        sheet.autofilter(1, 0, last, len(self.table.columns) - 1)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_footer("&L&A&RPage &P of &N")
        # "1" beside "12 ft" is meant as a text.
        sheet.ignore_errors(
            {"number_stored_as_text": f"A1:{xl_col_to_name(len(self.table.columns) - 1)}{end + 1}"}
        )

    def on_paper(self, paper: int, head: str) -> None:
        """The paper of the packet, and the head of every printed page."""
        self.sheet.set_paper(paper)
        self.sheet.set_header(head)


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
