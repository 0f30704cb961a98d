"""Whatever number stands in a job or a part, every check comes to an answer: none fails by itself."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from typing import Any

import pytest
import tomli_w

from specc.pipeline import compile_spec
from tests.reference import check_edited, reference_job, reference_parts

_QUANTITY = re.compile(r"^(-?\d+(?:\.\d+)?)( .+)$")
TRIES, CHUNK = 240, 40


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every value of nested tables, with its path."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(inner, (*path, key))
    else:
        yield path, value


def odd(value: Any) -> list[Any]:
    """What somebody could write instead: nothing, none, another sign, a slipped decimal point."""
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, int | float):
        return [value * 0, -value, value * 10, value * 1000]
    number = _QUANTITY.match(value) if isinstance(value, str) else None
    if number is None:
        return []
    return [f"{float(number[1]) * factor:g}{number[2]}" for factor in (0, -1, 1e-3, 0.1, 10, 1e3)]


def changes() -> list[tuple[str, tuple[Any, ...], Any]]:
    job, parts = reference_job(), reference_parts()
    found = [
        (where, path, changed)
        for where, data in (("job", job), ("parts", parts))
        for path, value in places(data)
        for changed in (*odd(value), None)
    ]
    random.Random("odd values").shuffle(found)
    return found[:TRIES]


def changed(data: Any, path: tuple[Any, ...], value: Any) -> None:
    for key in path[:-1]:
        data = data[key]
    if value is None:
        del data[path[-1]]
    else:
        data[path[-1]] = value


@pytest.mark.parametrize("first", range(0, TRIES, CHUNK))
def test_no_value_makes_a_check_fail(first: int) -> None:
    for where, path, value in changes()[first : first + CHUNK]:
        job, parts = reference_job(), reference_parts()
        changed(job if where == "job" else parts, path, value)
        text = tomli_w.dumps(parts).encode()
        made = compile_spec(tomli_w.dumps(job).encode(), "job.toml", lambda _, text=text: text, strict=True)

        assert made.findings, (where, path, value)


@pytest.mark.parametrize(
    ("part", "value", "told"),
    [
        ("panel-r.noct", "4.5 degC", "noct must be from 303.15 to 343.15 K, not 277.6 K"),
        ("panel-r.voc", "0 V", "module must be above zero V, not 0 V"),
        ("fuse-r.rating", "0 A", "rating must be above zero A, not 0 A"),
        ("filter-r.at_flow", "0 L/min", "flow of its drop must be above zero m³/s, not 0 m³/s"),
    ],
)
def test_what_a_formula_does_not_hold_for_is_an_error_that_says_so(part: str, value: str, told: str) -> None:
    findings = [f for f in check_edited({f"part:{part}": value}).findings if f.rule == "spec.outside-tables"]

    assert any(told in f.message for f in findings), [f.message for f in findings]
    assert all(f.stops_the_job for f in findings)
