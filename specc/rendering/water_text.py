"""The year of water for a terminal: twelve lines, then what they rest on."""

from __future__ import annotations

import textwrap
from dataclasses import replace

from specc.documents.packet import UnitSystem
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import NumberStyle

# Columns in the order in which they are given up where the width does not hold them all.
_SPARE = (
    "overflow",
    "most",
    "least",
    "lowest_tank",
    "most_days_short",
    "starts",
    "demand",
    "dull_day",
    "plain",
)
_SHORT = {
    "month": "Month",
    "sun_hours": "Sun h",
    "water": "Water",
    "bad_day": "Bad day",
    "good_day": "Good",
    "least": "Least",
    "most": "Most",
    "plain": "Direct",
    "demand": "Demand",
    "run": "Runs h",
    "starts": "Starts",
    "clear_day": "Clear day",
    "dull_day": "Dull day",
    "lowest_tank": "Tank",
    "days_short": "Short",
    "most_days_short": "Worst",
    "overflow": "Over",
}
_NARROWEST_MONTH = 3


def water_text(table: Table, system: UnitSystem, *, width: int = 80) -> str:
    """The table with short headings; columns that do not fit are named below, never silently dropped."""
    style = NumberStyle(system)
    columns = list(table.columns)
    left: list[Column] = []
    for key in _SPARE:
        if _width(table, columns, style) <= width:
            break
        gone = next((c for c in columns if c.key == key), None)
        if gone is not None:
            columns.remove(gone)
            left.append(gone)
    cells = [[_cell(row.get(c.key), c, style) for c in columns] for row in table.rows]
    sizes = [max(len(_SHORT[c.key]), *(len(row[i]) for row in cells)) for i, c in enumerate(columns)]
    lines = [table.title, ""]
    lines.append(_line([_SHORT[c.key] for c in columns], columns, sizes))
    lines += [_line(row, columns, sizes) for row in cells]
    volume = next((style.unit(c) for c in columns if c.dimension == "volume"), "")
    lines += ["", *_wrapped(f"Water in {volume} a day. " + _legend(columns), width)]
    if left:
        names = ", ".join(c.title.lower() for c in left)
        lines += _wrapped(f"Not shown for want of width: {names}.", width)
    for note in table.notes:
        lines += ["", *_wrapped(note, width)]
    return "\n".join(lines)


def _cell(value: Cell, column: Column, style: NumberStyle) -> str:
    if column.key == "month":
        return str(value)[:_NARROWEST_MONTH]
    return style.cell(value, column)


def _width(table: Table, columns: list[Column], style: NumberStyle) -> int:
    total = 0
    for column in columns:
        texts = [_cell(row.get(column.key), column, style) for row in table.rows]
        total += max(len(_SHORT[column.key]), *(len(text) for text in texts)) + 2
    return total - 2


def _line(texts: list[str], columns: list[Column], sizes: list[int]) -> str:
    placed = (
        text.rjust(size) if column.align == "right" else text.ljust(size)
        for text, column, size in zip(texts, columns, sizes, strict=True)
    )
    return "  ".join(placed).rstrip()


def _legend(columns: list[Column]) -> str:
    """The short headings that need a word."""
    told = [
        replace(c, key=_SHORT[c.key])
        for c in columns
        if c.key in ("plain", "run", "days_short", "lowest_tank")
    ]
    return "; ".join(f"{c.key}: {c.title[:1].lower()}{c.title[1:]}" for c in told) + "." if told else ""


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_on_hyphens=False)
