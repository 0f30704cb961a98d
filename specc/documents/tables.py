"""Schedules as plain rows: what to say, with no formatting and no file format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Cell = str | float | int | None


@dataclass(frozen=True)
class Column:
    """A column of a schedule.

    ``dimension`` is a key of ``units.DIMENSIONS`` for a physical value (cells are SI floats),
    "money", "fraction" (printed as %), "count", or "" for text. ``unit_key`` names the SI unit
    that is appended to the key in JSON, for instance ``length_m``.
    """

    key: str
    title: str
    dimension: str = ""
    align: str = "left"  # left, right, centre
    digits: int = 3  # significant digits of a physical value
    decimals: int | None = None  # fixed decimals instead, where a column should line up
    on_paper: bool = True  # else only in files
    sign: str = ""  # heads the column on paper instead of its title


@dataclass(frozen=True)
class Table:
    """A schedule: its file name stem, its title, columns and rows (cells by column key)."""

    name: str  # "parts-list", "conductor-schedule"
    title: str
    columns: tuple[Column, ...]
    rows: tuple[Mapping[str, Cell], ...]
    notes: tuple[str, ...] = ()
    totals: Mapping[str, Cell] = field(default_factory=dict)
    group_by: str = ""  # column key whose change starts a new group heading
    subtotals: Mapping[str, Mapping[str, Cell]] = field(default_factory=dict)  # by group heading
    apart: bool = False  # taken out of the packet and used alone: it begins a page of its own
    ticked: bool = True  # a row is a thing to fetch, do or look at: on a screen it gets a box to tick
