"""A schedule as CSV (RFC 4180, UTF-8), in the units of the job, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import unicodedata

from specc.documents.packet import UnitSystem
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NumberStyle, for_files

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")  # and their full-width forms


def table_csv(table: Table, system: UnitSystem) -> bytes:
    """Heading line ("Length, ft") and rows; numbers as printed, an empty cell where nothing applies.

    Totals are left out: the spreadsheet can add, and a total among the rows would be added twice.
    """
    style = NumberStyle(system)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_safe(_heading(column, style)) for column in table.columns])
    writer.writerows(
        [_cell(row.get(column.key), column, style) for column in table.columns] for row in table.rows
    )
    return out.getvalue().encode("utf-8")


def _heading(column: Column, style: NumberStyle) -> str:
    unit = style.unit(column)
    return f"{column.title}, {unit}" if unit else column.title


def _cell(value: Cell, column: Column, style: NumberStyle) -> str:
    if value is None:
        return ""
    text = for_files(style.cell(value, column))
    return _safe(text) if isinstance(value, str) else text


def _safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula, even behind leading blanks."""
    plain = unicodedata.normalize("NFKC", text)
    risky = plain.startswith(FORMULA_STARTS) or plain.lstrip().startswith(FORMULA_STARTS)
    return "'" + text if risky else text
