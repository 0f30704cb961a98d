"""Every public function of the physics documents its arguments, units, source, and holds its range."""

from __future__ import annotations

import doctest
import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pytest

import specc.physics

# Endings of names, longest first where one contains another, and the unit that each must show.
UNITS = (
    ("_per_km2_year", "1/(km²·year)"),
    ("ohm_per_m", "Ω/m"),
    ("_w_m2_k", "W/(m²·K)"),
    ("_kg_m3", "kg/m³"),
    ("_ohm_m", "Ω·m"),
    ("_per_k", "1/K"),
    ("_pa_s", "Pa·s"),
    ("_w_m2", "W/m²"),
    ("_m3_s", "m³/s"),
    ("_rev_s", "1/s"),
    ("_m_s", "m/s"),
    ("_ohm", "Ω"),
    ("_pa", "Pa"),
    ("_m3", "m³"),
    ("_m2", "m²"),
    ("_kg", "kg"),
    ("_a", "A"),
    ("_k", "K"),
    ("_m", "m"),
    ("_s", "s"),
    ("_v", "V"),
    ("_w", "W"),
)
DESCRIBED = re.compile(r"^(\w+): .*?\[([^\]]+)\]", re.MULTILINE)

Function = Callable[..., Any]


def public_functions() -> dict[str, Function]:
    found: dict[str, Function] = {}
    for module_info in pkgutil.iter_modules(specc.physics.__path__):
        module = importlib.import_module(f"specc.physics.{module_info.name}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            own = function.__module__ == module.__name__
            if own and not name.startswith("_") and not module_info.name.startswith("_"):
                found[f"{module_info.name}.{name}"] = function
    return found


FUNCTIONS = public_functions()
every_function = pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)


def unit_of(name: str) -> str | None:
    return next((unit for ending, unit in UNITS if name.endswith(ending)), None)


def example_arguments(function: Function) -> dict[str, Any]:
    """The arguments of the function's own call in its docstring."""
    seen: list[Mapping[str, Any]] = []

    def record(*args: Any, **kwargs: Any) -> Any:
        seen.append(inspect.signature(function).bind(*args, **kwargs).arguments)
        return function(*args, **kwargs)

    module = importlib.import_module(function.__module__)
    names = {**vars(module), function.__name__: record}
    for example in doctest.DocTestParser().get_examples(function.__doc__ or ""):
        exec(compile(example.source, "<example>", "single"), names)
    return dict(seen[-1])


def spoilt(value: Any, bad: float) -> Iterator[Any]:
    """The value with each number in it, one at a time, replaced by a bad one."""
    if isinstance(value, bool) or callable(value):
        return
    if isinstance(value, int | float):
        yield bad
    elif hasattr(value, "_fields"):
        for name in value._fields:
            yield from (value._replace(**{name: inner}) for inner in spoilt(getattr(value, name), bad))
    elif isinstance(value, list | tuple):
        for place, item in enumerate(value):
            kind = type(value)
            yield from (kind([*value[:place], inner, *value[place + 1 :]]) for inner in spoilt(item, bad))


def test_the_physics_has_functions_in_every_module() -> None:
    modules = {name.split(".")[0] for name in FUNCTIONS}

    assert modules == {
        "conductors",
        "disinfection",
        "enclosures",
        "hydraulics",
        "panels",
        "protection",
        "pumps",
        "water",
    }


@every_function
def test_each_parameter_is_described_with_its_unit(function: Function) -> None:
    described = dict(DESCRIBED.findall(inspect.getdoc(function) or ""))
    returned = described.pop("Returns", None)

    assert list(described) == list(inspect.signature(function).parameters)
    assert returned is not None
    for name, unit in described.items():
        assert unit == (unit_of(name) or "-"), name
    assert unit_of(function.__name__) in (None, returned)


@every_function
def test_there_is_a_formula_an_example_and_a_source(function: Function) -> None:
    text = inspect.getdoc(function) or ""
    examples = doctest.DocTestParser().get_examples(text)

    assert re.search(r"^Formula: .{4}", text, re.MULTILINE)
    assert re.search(r"^Source: .{4}", text, re.MULTILINE)
    assert any(f"{function.__name__}(" in example.source for example in examples)
    assert any(example.want for example in examples)


@every_function
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf], ids=str)
def test_no_number_that_is_not_finite_gets_through(function: Function, bad: float) -> None:
    arguments = example_arguments(function)
    attempts = [
        {**arguments, name: wrong} for name, value in arguments.items() for wrong in spoilt(value, bad)
    ]

    assert attempts
    for attempt in attempts:
        with pytest.raises(ValueError):
            function(**attempt)
