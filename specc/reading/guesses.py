"""What to write instead of what people write where the spec has another word for it.

A slip of the finger is found by ``suggest.py``. ``guesses.toml`` holds other words, other places, and what
the spec leaves to the parts or to the rulebook; it is read only when something is wrong.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

_GENERAL = ("tag", "part", "note", "location")  # keys that an answer for any table may name


def key_for(table: str, key: str, known: Iterable[str]) -> str:
    """What to write instead of a key that a table does not know; "" where nobody knows."""
    keys, general = _guesses()["keys"], set(known).intersection(_GENERAL)
    answer = _of(keys.get(table, {}), key)
    if answer:
        return answer
    answer = _of(keys["any"], key)
    return answer if any(f"{name} =" in answer for name in general) else ""


def table_for(table: str) -> str:
    """What to write instead of a table that is not known; "" where nobody knows."""
    return _of(_guesses()["tables"], table)


def value_for(key: str, value: str) -> str:
    """What to write instead of a value that a key does not take; "" where nobody knows.

    Of several words the first that says something counts.
    """
    words = _guesses()["values"].get(key, {})
    return next((answer for word in (value, *value.split()) if (answer := _of(words, word))), "")


def type_for(table: str, key: str) -> str:
    """What to write where a key has a value of a type that it does not take; "" where nobody knows."""
    answer = _guesses()["types"].get(table, {}).get(key, "")
    return f"Write {answer}." if answer else ""


def _of(words: Mapping[str, str], word: str) -> str:
    plain = word.strip().casefold().replace(" ", "_")
    return next((answer for these, answer in words.items() if plain in these.split()), "")


@cache
def _guesses() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("guesses.toml").read_text(encoding="utf-8"))
