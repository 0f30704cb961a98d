"""Large jobs made by construction: one clean installation, many times over, in one job."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import tomli_w

ONCE = ("job", "site", "locations", "sightlines")  # one job in one place, however much stands there


def copies(spec: Path, count: int, *, in_places_of_their_own: bool = False) -> bytes:
    """The spec with everything that has a tag ``count`` times, the copies on no net in common."""
    data = tomllib.loads(spec.read_text(encoding="utf-8"))
    once = ("job", "site") if in_places_of_their_own else ONCE
    whole: dict[str, Any] = {table: data[table] for table in once if table in data}
    tags = {item["tag"] for table in data for item in _items(data[table]) if "tag" in item}
    if in_places_of_their_own:
        tags |= {item["location"] for table in data for item in _items(data[table]) if "location" in item}
        tags |= {item["name"] for item in data.get("locations", ())}
    for table in data:
        if table in once:
            continue
        whole[table] = [
            _renamed(item, tags, number) for number in range(1, count + 1) for item in _items(data[table])
        ]
    return tomli_w.dumps(whole).encode()


def _items(table: Any) -> list[dict[str, Any]]:
    return table if isinstance(table, list) else [table]


def _renamed(value: Any, tags: set[str], number: int) -> Any:
    """Every ``TAG`` and ``TAG.terminal`` in a value as ``TAG-number`` and ``TAG-number.terminal``."""
    if isinstance(value, dict):
        return {key: _renamed(item, tags, number) for key, item in value.items()}
    if isinstance(value, list):
        return [_renamed(item, tags, number) for item in value]
    if isinstance(value, str):
        tag, dot, rest = value.partition(".")
        return f"{tag}-{number}{dot}{rest}" if tag in tags else value
    return value
