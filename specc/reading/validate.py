"""Turns what pydantic says of a table into findings at the very value to blame."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from specc.diagnostics import Finding, reading_error
from specc.reading.suggest import nearest, slips_between
from specc.reading.toml_positions import TomlDocument
from specc.units import shortened

# The forms of a tag, and of a terminal as a conductor names it.
TAG = r"^[A-Za-z][A-Za-z0-9_\-/]*$"
TERMINAL = r"^[^.\s]+\.[^.\s]+$"

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
        wrongs = error.errors(include_url=False)
        inner = {wrong["loc"][:end] for wrong in wrongs for end in range(1, len(wrong["loc"]))}
        return None, [
            _finding(kind, wrong, path, document)
            for wrong in wrongs
            if wrong["type"] != "too_short" or wrong["loc"] not in inner  # entries that are wrong count too
        ]


def _finding(kind: type[BaseModel], wrong: Any, path: Path, document: TomlDocument) -> Finding:
    location: Path = path + tuple(step for step in wrong["loc"])
    key = str(next((step for step in reversed(location) if isinstance(step, str)), ""))
    what, given = wrong["type"], wrong.get("input")
    span = document.positions.span(location)
    if what == "extra_forbidden":
        return _unknown_key(kind, key, location, wrong["loc"], document)
    if what == "missing":
        return _missing_key(kind, key, location, wrong["loc"], document)
    if what in ("literal_error", "enum"):
        allowed = wrong["ctx"]["expected"].replace(" or ", ", ")
        choices = [item.strip().strip("'") for item in allowed.split(",")]
        listed = _either(choices)
        return reading_error(
            "spec.unknown-value",
            f'{_shown(given)} is not a value of "{key}"; it takes {listed}.',
            span,
            fix=value_guess(key, given, choices) or f"Write {key} = {listed}.",
            required=" or ".join(choices),
            actual=_plain(given),
        )
    if what in _TYPES:
        return reading_error(
            "spec.wrong-type",
            f'"{key}" takes {_TYPES[what]}, and {_shown(given)} is none.',
            span,
            fix=_of_that_type(kind, key, wrong, location),
            required=_TYPES[what],
            actual=_plain(given),
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
        guess = value_guess(key, given, ()) if what == "not-a-number" else ""
        return reading_error(rule, f'"{key}": {wrong["msg"]}', span, fix=guess, actual=_plain(given))
    return reading_error(
        "spec.out-of-range",
        f'"{key}": {_in_plain_words(wrong)}',
        span,
        fix=_form(key, what),
        actual=_plain(given),
    )


def _unknown_key(
    kind: type[BaseModel], key: str, location: Path, steps: tuple[Any, ...], document: TomlDocument
) -> Finding:
    from specc.reading.guesses import key_for

    known = keys_of(_model_at(kind, steps[:-1]))
    written = _at(document.data, location[:-1])
    free = [each for each in known if not isinstance(written, dict) or each not in written]
    near = nearest(key, free)
    slip = near if near and slips_between(key, near[0]) <= 1 else []
    instead = "" if slip else key_for(_innermost(location), key, known)
    message = f'There is no key "{shortened(key)}" in {_table_name(location[:-1])}'
    if instead or near:
        fix = _sentence(instead) or f'Did you mean "{near[0]}"?'
    else:
        message += f"; it takes {', '.join(known)}"
        fix = "Remove the key, or use one of these."
    return reading_error("spec.unknown-key", f"{message}.", document.positions.key_span(location), fix=fix)


def _missing_key(
    kind: type[BaseModel], key: str, location: Path, steps: tuple[Any, ...], document: TomlDocument
) -> Finding:
    from specc.reading.guesses import example_for

    table = location[:-1]
    example = example_for(_innermost(location), _model_at(kind, steps[:-1]), key)
    named = _at(document.data, table)
    names = [named.get(each) for each in ("tag", "id", "name")] if isinstance(named, dict) else []
    tag = next((name for name in names if isinstance(name, str)), "")
    return reading_error(
        "spec.missing-key",
        f'The key "{key}" is missing from {_table_name(table)}' + (f' "{shortened(tag)}".' if tag else "."),
        document.positions.key_span(table),
        fix=f"Add it to the table, for instance {example}." if example else f"Add {key} = ... to the table.",
        required=key,
    )


def _at(data: Any, path: Path) -> Any:
    """What stands in the file at that path, or None."""
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def value_guess(key: str, given: Any, choices: Iterable[str]) -> str:
    """What is meant by a value that a key does not take; "" where nobody knows."""
    from specc.reading.guesses import value_for

    if not isinstance(given, str):
        return ""
    near = nearest(given, choices)
    slip = bool(near) and slips_between(given, near[0]) <= 1
    if not slip and (instead := value_for(key, given)):
        return f"Write {instead}."
    return f'Did you mean "{near[0]}"?' if near else ""


def _of_that_type(kind: type[BaseModel], key: str, wrong: Any, location: Path) -> str:
    """What to write where a value is of another type than the key takes."""
    from specc.reading.guesses import type_for

    named = [index for index, step in enumerate(location) if isinstance(step, str)]
    table = _innermost(location[: named[-1] + 1])
    if answer := type_for(table, key):
        return f"Write {answer}."
    if key in ("part", "wire", "holder"):
        return f'Write {key} = "...", an id that `specc parts` lists.'
    given, what, inside = wrong.get("input"), wrong["type"], isinstance(location[-1], int)
    if what == "string_type" and isinstance(given, int | float) and not isinstance(given, bool):
        return f'Write "{shortened(str(given))}".' if inside else f'Write {key} = "{shortened(str(given))}".'
    if what in ("tuple_type", "list_type") and isinstance(given, str) and not inside:
        return f'Write {key} = ["{shortened(given)}"].'
    if what.startswith("bool"):
        return f"Write {key} = true or {key} = false."
    return f"Write {_TYPES[what]}."


def _form(key: str, what: str) -> str:
    """What a name that has not the form of one should be."""
    if what == "string_pattern_mismatch" and key in ("from", "to"):
        return f'Write {key} = "P1.+" or the like; `specc parts ID` shows the terminals of a part.'
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
        case "string_pattern_mismatch" if context["pattern"] == TERMINAL:
            return f"{_shown(wrong['input'])} is not a terminal: a tag, a dot and a terminal, without blanks."
        case "string_pattern_mismatch" if context["pattern"] == TAG:
            return (
                f"{_shown(wrong['input'])} is not a tag: it begins with a letter, and only letters, digits, "
                "-, _ and / follow."
            )
        case "string_pattern_mismatch":
            return (
                f"{_shown(wrong['input'])} does not have the form of a name here: letters, digits, - and _, "
                "no blanks."
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
    return f'"{shortened(value)}"' if isinstance(value, str) else shortened(str(value))


def _plain(value: Any) -> str:
    """As ``_shown``, without quotes."""
    return shortened(value) if isinstance(value, str) else _shown(value)


def _either(words: Iterable[str]) -> str:
    return " or ".join(f'"{word}"' for word in words)


def _table_name(path: Path) -> str:
    """How people call a table: [job], [[runs]], an entry of "conductors" in [[runs]]."""
    outer, *inner = (shortened(step) for step in path if isinstance(step, str))
    named = f"[[{outer}]]" if any(isinstance(step, int) for step in path) else f"[{outer}]"
    return f'an entry of "{inner[-1]}" in {named}' if inner else named


def unknown_table(
    document: TomlDocument, table: str, known: Iterable[str], brackets: Callable[[str], str] = "[[{}]]".format
) -> Finding:
    """The finding for a table name that nothing knows; ``brackets`` writes one that is known."""
    from specc.reading.guesses import table_for

    names = list(known)
    near = nearest(table, names)
    slip = bool(near) and slips_between(table, near[0]) <= 1
    instead = "" if slip else table_for(table, names)
    instead = instead or (f"write {brackets(near[0])}" if near else "")
    return reading_error(
        "spec.unknown-table",
        f"There is no table [{shortened(table)}]" + ("." if instead else f"; there are {', '.join(names)}."),
        document.positions.key_span((table,)),
        fix=_sentence(instead) or "Remove the table, or use one of these.",
    )
