"""What an authority amends: single values of a rulebook or of the handbook, each with its source.

An amendment names a value by its table and the keys on the way down; of a list of rows it names the
row by its first entry. The amended table notes who asks for the value, so that whatever rests on it can
say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

HANDBOOK = "handbook"
# What defines a table rather than limits anything, and the words of its source.
FIXED_TABLES = frozenset({"meta", "clauses", "sizes", "resistance", "conductor_areas", "raceways", "aliases"})
FIXED_KEYS = frozenset({"source", "clause", "verified", "unit", "pressure_unit", "length_unit"})


@dataclass(frozen=True)
class Amendment:
    """One value as an authority has it. ``book`` is the id of a rulebook, or "handbook"."""

    book: str
    keys: tuple[str, ...]
    value: Any
    was: Any
    authority: str
    source: str
    loosens: bool | None = None  # None where it is neither looser nor stricter

    @property
    def name(self) -> str:
        """The value in words: "factors motor_device"."""
        return " ".join(key for key in self.keys if key not in ("value", "rows")).replace("_", " ")

    @property
    def told(self) -> str:
        """One line for the cover."""
        looser = " (looser than the book)" if self.loosens else ""
        change = f"{shown(self.value)} in place of {shown(self.was)}{looser}"
        return f"{self.book}, {self.name}: {change}. {self.by}"

    @property
    def by(self) -> str:
        """Who amended it, and where that stands."""
        return f"{self.authority}, {self.source}"


def shown(value: Any) -> str:
    """A value of a table as people write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list | tuple):
        return ", ".join(map(str, value))
    return str(value)


class Noting(dict[str, Any]):
    """A row of a table that notes when one of its amended values is asked for."""

    def __init__(
        self, row: Mapping[str, Any], amended: Mapping[str, Amendment], used: set[Amendment]
    ) -> None:
        super().__init__(row)
        self._amended, self._used = amended, used

    def __getitem__(self, key: str) -> Any:
        if key in self._amended:
            self._used.add(self._amended[key])
        return super().__getitem__(key)

    def get(self, key: str, default: Any = None) -> Any:
        """As of a dict."""
        return self[key] if key in self else default  # noqa: SIM401 (so that it is noted)


def step(table: Any, key: str) -> Any:
    """One step down into a table: a key, or the row of a list whose first entry is the key.

    Raises ``KeyError`` where there is none.
    """
    if isinstance(table, Mapping):
        return table[key]
    if isinstance(table, list):
        for row in table:
            if isinstance(row, Mapping) and _named(row, key):
                return row
    raise KeyError(key)


def names(table: Any) -> list[str]:
    """The keys that ``step`` takes here."""
    if isinstance(table, Mapping):
        return [key for key in table if key not in FIXED_KEYS]
    if isinstance(table, list):
        return [str(next(iter(row.values()))) for row in table if isinstance(row, Mapping) and row]
    return []


def _named(row: Mapping[str, Any], key: str) -> bool:
    first = next(iter(row.values()), None)
    return not isinstance(first, list | dict) and str(first) == key


def amended(table: Any, amendments: Iterable[Amendment], used: set[Amendment]) -> Any:
    """A table with these amendments laid over it; what is asked for is noted in ``used``."""
    for amendment in amendments:
        table = _laid_over(table, amendment, amendment.keys[1:], used)
    return table


def _laid_over(table: Any, amendment: Amendment, keys: tuple[str, ...], used: set[Amendment]) -> Any:
    key, rest = keys[0], keys[1:]
    if isinstance(table, list):
        return [
            _laid_over(row, amendment, rest, used) if isinstance(row, Mapping) and _named(row, key) else row
            for row in table
        ]
    if rest:
        changed = _copy(table, {key: _laid_over(table[key], amendment, rest, used)}, {}, used)
    else:
        changed = _copy(table, {key: amendment.value}, {key: amendment}, used)
    for said in ("source", "clause"):
        if said in table and not _said_below(table, keys):
            dict.__setitem__(changed, said, f"{table[said]}; {amendment.name} amended by {amendment.by}")
    return changed


def _said_below(table: Any, keys: tuple[str, ...]) -> bool:
    """Does a row further down name a source of its own?"""
    below = table
    for key in keys[:-1]:
        below = step(below, key)
        if isinstance(below, Mapping) and {"source", "clause"} & set(below):
            return True
    return False


def _copy(
    row: Mapping[str, Any], changes: Mapping[str, Any], notes: Mapping[str, Amendment], used: set[Amendment]
) -> Noting:
    already = row._amended if isinstance(row, Noting) else {}
    plain = dict(row.items())
    return Noting({**plain, **changes}, {**already, **notes}, used)
