"""A schedule as JSON for other programs: SI values, the unit in the key, columns and rows in order."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from specc import units
from specc.documents.tables import Cell, Column, Table
from specc.rendering.numbers import for_files


def table_json(table: Table) -> bytes:
    """The schedule as UTF-8 JSON; null where nothing applies or a value is not known.

    Raises:
        ValueError: two columns that would share a key.
    """
    keys = {column.key: json_key(column) for column in table.columns}
    if len(set(keys.values())) < len(table.columns):
        raise ValueError(f"two columns of {table.name} share a key")
    document = {
        "name": table.name,
        "title": table.title,
        "columns": [{"key": keys[column.key], "title": column.title} for column in table.columns],
        "rows": [{key: _value(row.get(name)) for name, key in keys.items()} for row in table.rows],
        "totals": _sums(table.totals, keys),
        **({"subtotals": {g: _sums(s, keys) for g, s in table.subtotals.items()}} if table.subtotals else {}),
        "notes": list(table.notes),
    }
    return (json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode("utf-8")


def _sums(sums: Mapping[str, Cell], keys: Mapping[str, str]) -> dict[str, Cell]:
    return {key: _value(sums[name]) for name, key in keys.items() if name in sums}


def json_key(column: Column) -> str:
    """The column's key with its SI unit behind it, ``length_m``, once."""
    if column.dimension in ("", "money", "count", "number"):
        return column.key
    suffix = "_" + units.DIMENSIONS[column.dimension].key_suffix
    return column.key if column.key.endswith(suffix) else column.key + suffix


def _value(cell: Cell) -> Cell:
    """JSON has no word for NaN or infinity."""
    if isinstance(cell, str):
        return for_files(cell)
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell
