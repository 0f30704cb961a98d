"""What to write instead of what people write where the spec has another word for it.

A slip of the finger is found by ``suggest.py``. ``guesses.toml`` holds other words, other places, and what
the spec leaves to the parts or to the rulebook; it is read only when something is wrong.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

_GENERAL = ("tag", "part", "note", "location")  # keys that an answer for any table may name
_BRACKETED = re.compile(r"\[+(\w+)\]+")
_LONGEST = 100  # no word that is listed here is longer


def key_for(table: str, key: str, known: Iterable[str]) -> str:
    """What to write instead of a key that a table does not know; "" where nobody knows."""
    keys, general = _guesses()["keys"], set(known).intersection(_GENERAL)
    answer = _of(keys.get(table, {}), key) or keys.get(table, {}).get("*", "")
    if answer:
        return answer
    answer = _of(keys["any"], key)
    return answer if any(f"{name} =" in answer for name in general) else ""


def table_for(table: str, known: Iterable[str]) -> str:
    """What to write instead of a table that is not known; "" where nobody knows.

    ``known`` are the tables of the file: what a job spec calls otherwise, a catalogue may not have at all.
    """
    answer = _of(_guesses()["tables"], table)
    return answer if set(_BRACKETED.findall(answer)) <= set(known) else ""


def value_for(key: str, value: str) -> str:
    """What to write instead of a value that a key does not take; "" where nobody knows.

    Of several words all must be known, and all must mean the same: half understood is misunderstood.
    """
    words, filling = _guesses()["values"].get(key, {}), _guesses()["filling"].split()
    if whole := _of(words, value):
        return whole
    single = [w for w in re.split(r"[\s,_-]+", value[:_LONGEST].casefold()) if w and w not in filling]
    answers = {_of(words, word) for word in single if not word.isdigit()}
    return answers.pop() if len(answers) == 1 else ""


def type_for(table: str, key: str) -> str:
    """What to write where a key has a value of a type that it does not take; "" where nobody knows."""
    return str(_guesses()["types"].get(table, {}).get(key, ""))


def word_of_parts(word: str) -> str:
    """The word that the names of parts have for one that people use."""
    return _of(_guesses()["parts"], word) or word


def example_for(table: str, model: type[BaseModel], key: str) -> str:
    """How a key is written, with a value that it takes; "" where nobody knows."""
    examples = _guesses()["examples"]
    if listed := examples.get(table, {}).get(key) or examples["any"].get(key):
        return f"{key} = {listed}"
    info = next((info for name, info in model.model_fields.items() if key in (name, info.alias)), None)
    if info is None:
        return ""
    choices = [f'"{choice}"' for choice in _choices(info.annotation)]
    if choices:
        return f"{key} = {' or '.join(choices)}"
    example = next((each.example for each in info.metadata if getattr(each, "example", "")), "")
    return f'{key} = "{example}"' if example else ""


def _choices(annotation: Any) -> list[str]:
    if get_origin(annotation) is Literal:
        return [choice for choice in get_args(annotation) if isinstance(choice, str)]
    return [choice for inner in get_args(annotation) for choice in _choices(inner)]


def _of(words: Mapping[str, str], word: str) -> str:
    plain = re.sub(r"[\s_-]+", "_", word[:_LONGEST].strip().casefold())
    return next((answer for these, answer in words.items() if plain in these.split()), "")


@cache
def _guesses() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("guesses.toml").read_text(encoding="utf-8"))
