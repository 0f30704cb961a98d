"""How far an amendment may go: what is looser and what stricter, and what holds whoever asks."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from specc.resources import catalogs_dir
from specc.rulebooks import known_rulebooks, load_rulebook

LOOSEST = 2.0  # a value is not looser than the table's by more than this factor
_ROUNDING = 1e-9
# Keys that say which row of a table it is, not what the row asks.
ROW_KEYS = frozenset(
    {
        *("up_to_conductors", "up_to_count", "up_to_c", "down_to_c", "at", "after_s", "size", "family"),
        *("materials", "material", "media", "serves", "classes", "insulation_c", "place", "role", "circuit"),
        *("location", "device", "bore_in", "outside", "marked_from", "warmest_c", "duty"),
    }
)


@dataclass(frozen=True)
class Limit:
    """Which way a value is stricter ("" where neither is), its bounds and their reason."""

    stricter: str = ""
    least: float | None = None
    most: float | None = None
    looser: float = LOOSEST
    why: str = ""


@cache
def limits() -> Mapping[tuple[str, ...], Limit]:
    """Every limit by the table and keys that it is for."""
    text = (catalogs_dir() / "amending" / "limits.toml").read_text(encoding="utf-8")
    found: dict[tuple[str, ...], Limit] = {}
    for row in tomllib.loads(text)["amending"]:
        limit = Limit(**{key: value for key, value in row.items() if key != "names"})
        found |= {tuple(name.split(".")): limit for name in row["names"]}
    return found


def limit_of(keys: tuple[str, ...]) -> Limit:
    """The limit of a value, by the longest name that fits it."""
    named = tuple(key for key in keys if key not in ("value", "rows"))
    for length in range(len(named), 0, -1):
        if named[:length] in limits():
            return limits()[named[:length]]
    return Limit()


def judged(keys: tuple[str, ...], was: Any, value: Any) -> tuple[str, bool | None]:
    """Why a value of the right type may not be asked for ("" where it may), and whether it loosens.

    None where it is neither looser nor stricter than what the table has.
    """
    in_a_row = len([key for key in keys if key != "rows"]) > 2
    if keys[-1] in ROW_KEYS or (keys[-1] == "up_to_a" and in_a_row):
        return "says which row of the table it is, and cannot be amended.", None
    limit = limit_of(keys)
    if isinstance(was, bool):
        return "", None if limit.stricter not in ("true", "false") or value == was else (
            value is not (limit.stricter == "true")
        )
    if isinstance(was, int | float):
        return _number(limit, float(was), float(value))
    if isinstance(was, list | tuple):
        return _list(limit, tuple(was), tuple(value))
    if limit.stricter == "larger":
        return _size(limit, was, value)
    return "", None


def _number(limit: Limit, was: float, value: float) -> tuple[str, bool | None]:
    if limit.least is not None and value < limit.least:
        return f"is {value:g}; less than {limit.least:g} cannot be asked for: {limit.why}.", None
    if limit.most is not None and value > limit.most:
        return f"is {value:g}; more than {limit.most:g} cannot be asked for: {limit.why}.", None
    loosens = value < was if limit.stricter == "higher" else value > was
    if was == 0.0 or value == was or was in (float("inf"), float("-inf")):
        return "", (loosens or None) if limit.stricter and value != was else None
    ratio = value / was
    bounds = (1.0 / limit.looser, limit.looser)
    low, high = bounds[0] * (1.0 - _ROUNDING), bounds[1] * (1.0 + _ROUNDING)
    if not limit.stricter:
        if low <= ratio <= high:
            return "", None
        return f"is {value:g}, and the table has {was:g}: so far off it is a slip.", None
    if loosens and not low <= ratio <= high:
        return (
            f"is {value:g}, and the table has {was:g}: so much looser than the book it is a slip, or no "
            f"protection at all. The loosest that is taken is {was * bounds[limit.stricter == 'lower']:g}.",
            None,
        )
    return "", loosens


def _list(limit: Limit, was: tuple[str, ...], value: tuple[str, ...]) -> tuple[str, bool | None]:
    more = [item for item in value if item not in was]
    if limit.stricter == "fewer" and more:
        return f"adds {', '.join(more)}, which cannot be asked for: {limit.why}.", None
    if limit.stricter == "fewer" and not value:
        return "is empty: nothing would serve.", None
    return "", None


def _size(limit: Limit, was: str, value: str) -> tuple[str, bool | None]:
    ratio = _area_m2(value) / _area_m2(was)
    if ratio < (1.0 - _ROUNDING) / limit.looser:
        return (
            f"is {value}, and the table has {was}: less than half of the metal, which a fault burns through.",
            None,
        )
    return "", ratio < 1.0 - _ROUNDING


def _area_m2(size: str) -> float:
    """Metal area of a conductor size by its name, in whichever book it stands [m²]."""
    book = next(load_rulebook(id) for id in known_rulebooks() if size in load_rulebook(id).sizes())
    return float(book.size_area_m2(size).value)
