"""Turns what pydantic says of a table into findings at the very value to blame."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from specc.diagnostics import Finding, reading_error
from specc.reading.suggest import did_you_mean, nearest
from specc.reading.toml_positions import TomlDocument

M = TypeVar("M", bound=BaseModel)
Path = tuple[str | int, ...]

# What pydantic calls a wrong type, in the words of a TOML file.
_TYPES = {
    "string_type": "a text in quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list in [ ]",
    "list_type": "a list in [ ]",
    "date_type": "a date such as 2026-05-02",
    "date_from_datetime_parsing": "a date such as 2026-05-02",
    "date_from_datetime_inexact": "a date such as 2026-05-02",
    "date_parsing": "a date such as 2026-05-02",
    "model_type": "a table in { }",
    "model_attributes_type": "a table in { }",
}


def keys_of(model: type[BaseModel]) -> list[str]:
    """The keys that a table of this model takes, as the user writes them."""
    return [
        info.alias or name
        for name, info in model.model_fields.items()
        if name != "kind" or info.is_required()
    ]


def _model_at(model: type[BaseModel], steps: Iterable[str | int]) -> type[BaseModel]:
    """The model of the innermost table on the way down to a value."""
    for step in steps:
        if isinstance(step, int):
            continue
        for name, info in model.model_fields.items():
            if step == (info.alias or name):
                model = next(iter(_models_in(info.annotation)), model)
                break
    return model


def _models_in(annotation: Any) -> Iterable[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in getattr(annotation, "__args__", ()):
        yield from _models_in(inner)


def model(kind: type[M], data: Any, path: Path, document: TomlDocument) -> tuple[M | None, list[Finding]]:
    """The validated table, or None with everything that is wrong with it."""
    try:
        return kind.model_validate(data), []
    except ValidationError as error:
        return None, [_finding(kind, wrong, path, document) for wrong in error.errors(include_url=False)]


def _finding(kind: type[BaseModel], wrong: Any, path: Path, document: TomlDocument) -> Finding:
    location: Path = path + tuple(step for step in wrong["loc"])
    key = str(next((step for step in reversed(location) if isinstance(step, str)), ""))
    what, given = wrong["type"], wrong.get("input")
    span = document.positions.span(location)
    if what == "extra_forbidden":
        return _unknown_key(kind, key, location, wrong["loc"], document)
    if what == "missing":
        return reading_error(
            "spec.missing-key",
            f'The key "{key}" is missing from {_table_name(location[:-1])}.',
            document.positions.key_span(location[:-1]),
            fix=f"Add {key} = ... to the table.",
            required=key,
        )
    if what in ("literal_error", "enum"):
        allowed = wrong["ctx"]["expected"].replace(" or ", ", ")
        choices = [item.strip().strip("'") for item in allowed.split(",")]
        guess = value_guess(key, given, choices)
        return reading_error(
            "spec.unknown-value",
            f'{_shown(given)} is not a value of "{key}"; it takes '
            + " or ".join(f'"{c}"' for c in choices)
            + ".",
            span,
            fix=guess or f"Write one of: {', '.join(choices)}.",
            required=" or ".join(choices),
            actual=str(given)[:60],
        )
    if what in _TYPES:
        from specc.reading.guesses import type_for

        table = _innermost(location)
        return reading_error(
            "spec.wrong-type",
            f'"{key}" takes {_TYPES[what]}, and {_shown(given)} is none.',
            span,
            fix=type_for(table, key) or f"Write {_TYPES[what]}.",
            required=_TYPES[what],
            actual=_shown(given),
        )
    own = (
        "missing-unit",
        "wrong-dimension",
        "unknown-unit",
        "not-a-number",
        "not-finite",
        "out-of-range",
        "wrong-type",
    )
    if what in own:
        rule = "spec.not-a-number" if what == "not-finite" else f"spec.{what}"
        return reading_error(rule, f'"{key}": {wrong["msg"]}', span, actual=str(given)[:60])
    return reading_error(
        "spec.out-of-range",
        f'"{key}": {_in_plain_words(wrong)}',
        span,
        fix=_form(key, what),
        actual=str(given)[:60],
    )


def _unknown_key(
    kind: type[BaseModel], key: str, location: Path, steps: tuple[Any, ...], document: TomlDocument
) -> Finding:
    from specc.reading.guesses import key_for

    known = keys_of(_model_at(kind, steps[:-1]))
    instead = key_for(_innermost(location), key, known)
    guess = "" if instead else did_you_mean(key, known)
    message = f'There is no key "{key}" in {_table_name(location[:-1])}'
    if instead:
        message += f": {instead}."
    else:
        message += f": {guess}" if guess else f". Known keys: {', '.join(known)}."
    return reading_error(
        "spec.unknown-key",
        message,
        document.positions.key_span(location),
        fix=_sentence(instead) or guess or "Remove the key, or use one of the known ones.",
    )


def value_guess(key: str, given: Any, choices: list[str]) -> str:
    """What is meant by a value that a key does not take; "" where nobody knows."""
    from specc.reading.guesses import value_for

    instead = value_for(key, given) if isinstance(given, str) else ""
    return f"Write {instead}." if instead else did_you_mean(str(given), choices)


def _form(key: str, what: str) -> str:
    """What a name that has not the form of one should be."""
    if what != "string_pattern_mismatch":
        return ""
    if key in ("part", "wire", "holder"):
        return f'Write {key} = "..." with the id of a part, as `specc parts` lists it: it holds the ratings.'
    if key in ("from", "to"):
        return 'Write a tag, a dot and a terminal, such as "P1.+"; `specc parts ID` shows those of a part.'
    return ""


def _innermost(location: Path) -> str:
    """The name of the innermost table in which a key stands: "conductors" for one of a run's."""
    return str(next((step for step in reversed(location[:-1]) if isinstance(step, str)), ""))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _in_plain_words(wrong: Any) -> str:
    context = wrong.get("ctx", {})
    match wrong["type"]:
        case "greater_than_equal":
            return f"{_shown(wrong['input'])} is too small; the least is {context['ge']}."
        case "greater_than":
            return f"{_shown(wrong['input'])} is too small; it must be more than {context['gt']}."
        case "less_than_equal":
            return f"{_shown(wrong['input'])} is too large; the most is {context['le']}."
        case "string_too_long":
            return f"the text is longer than {context['max_length']} characters."
        case "string_too_short":
            return "the text is empty."
        case "too_short":
            return f"the list has {context['actual_length']} entries; {context['min_length']} are wanted."
        case "too_long":
            return f"the list has {context['actual_length']} entries; {context['max_length']} are wanted."
        case "string_pattern_mismatch":
            return (
                f"{_shown(wrong['input'])} does not have the form of a name here: letters, digits, - and _ , "
                "no blanks (a terminal is TAG.terminal)."
            )
        case "missing_argument" | "unexpected_positional_argument":
            return f"{_shown(wrong['input'])} has the wrong number of entries."
        case _:
            return f"{_shown(wrong['input'])} does not fit: {wrong['msg'][:1].lower()}{wrong['msg'][1:]}."


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    text = text if len(text) <= 40 else text[:37] + "..."
    return f'"{text}"' if isinstance(value, str) else text


def _table_name(path: Path) -> str:
    """How people call a table: [job], [[runs]], an entry of "conductors" in [[runs]]."""
    outer, *inner = (str(step) for step in path if isinstance(step, str))
    named = f"[[{outer}]]" if any(isinstance(step, int) for step in path) else f"[{outer}]"
    return f'an entry of "{inner[-1]}" in {named}' if inner else named


def unknown_table(
    document: TomlDocument, table: str, known: Iterable[str], brackets: Callable[[str], str] = "[[{}]]".format
) -> Finding:
    """The finding for a table name that nothing knows; ``brackets`` writes one that is known."""
    from specc.reading.guesses import table_for

    names = list(known)
    near = [] if (instead := table_for(table)) else nearest(table, names)
    instead = instead or (f"write {brackets(near[0])}" if near else "")
    return reading_error(
        "spec.unknown-table",
        f"There is no table [{table}]"
        + (f": {instead}." if instead else f". Known tables: {', '.join(names)}."),
        document.positions.key_span((table,)),
        fix=_sentence(instead) or "Remove the table, or use one of the known ones.",
    )
