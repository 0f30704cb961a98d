"""What is told to those who write another word than the spec has is true of the spec."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel, ValidationError

from specc.reading import guesses, spec
from specc.reading.catalog import PART_KINDS, Catalog
from specc.reading.guesses import example_for, key_for, table_for, value_for
from specc.reading.suggest import slips_between
from specc.reading.validate import keys_of
from specc.rulebooks import known_rulebooks, load_handbook

GUESSES: dict[str, Any] = tomllib.loads(
    Path(guesses.__file__).with_name("guesses.toml").read_text(encoding="utf-8")
)
MODELS: dict[str, type[BaseModel]] = {table: model for table, (model, _) in spec.TABLES.items()} | {
    "conductors": spec.Conductor,
    "fittings": spec.PipeFitting,
}
PARTS = Catalog()

# `key = value`, where the value ends with the first bracket or quote that closes it.
_VALUE = r'\[\[?[^\]]*\]\]?|\{[^}]*\}|"[^"]*"|true|false|-?\d[\d.-]*|\.\.\.'
_SNIPPET = re.compile(rf"(?<![\w.`])([a-z_]+) = ({_VALUE})")
_TABLE = re.compile(r"\[+([a-z_]+)\]+")


def _words(table: dict[str, str]) -> Iterator[tuple[str, str]]:
    for words, answer in table.items():
        for word in words.split():
            yield word, answer


ANSWERS = (
    [(table, answer) for table, of in GUESSES["keys"].items() if table != "any" for answer in of.values()]
    + [(table, answer) for table, of in GUESSES["types"].items() for answer in of.values()]
    + [
        (table, f"{key} = {answer}")
        for table, of in GUESSES["examples"].items()
        if table != "any"
        for key, answer in of.items()
    ]
    + [("", answer) for answer in GUESSES["tables"].values()]
)
SNIPPETS = [
    pytest.param(table, answer, key, value, id=f"{table or 'tables'}: {key} = {value}"[:70])
    for table, answer in ANSWERS
    for key, value in _SNIPPET.findall(answer)
]


def _tables_meant(table: str, answer: str, key: str) -> list[str]:
    """The tables that a key of an answer may stand in: those that the answer names, else its own."""
    inside = re.search(rf"\b(conductors|fittings) = \[[^\]]*\b{key} = ", answer)
    named = [name for name in _TABLE.findall(answer) if name in MODELS]
    return [inside[1]] if inside else [table, *named] if table else named


@pytest.mark.parametrize(("table", "answer", "key", "value"), SNIPPETS)
def test_what_it_tells_to_write_is_taken(table: str, answer: str, key: str, value: str) -> None:
    models = [MODELS[name] for name in _tables_meant(table, answer, key)]
    owners = [model for model in models if key in keys_of(model)]
    assert owners, f"no {key} in {[m.__name__ for m in models]}"

    if value == "..." or "..." in value:
        return  # where any text of one's own belongs
    data = tomllib.loads(f"{key} = {value}")
    assert any(_takes(owner, key, data) for owner in owners)


def _takes(model: type[BaseModel], key: str, data: dict[str, Any]) -> bool:
    """Whether a table may say that, whatever else it lacks."""
    try:
        model.model_validate(data)
    except ValidationError as error:
        wrong = [each for each in error.errors() if each["type"] != "missing" and each["loc"][0] == key]
        return not wrong
    return True


def test_every_snippet_of_the_file_is_looked_at() -> None:
    assert len(SNIPPETS) >= 100
    for _, answer in ANSWERS:
        spans = [match.span() for match in _SNIPPET.finditer(answer)]
        for begun in re.finditer(r"\b[a-z_]+ = ", answer):
            assert any(start <= begun.start() < end for start, end in spans), (answer, begun[0])


@pytest.mark.parametrize("table", [t for t in GUESSES["keys"] if t != "any"])
def test_no_word_is_itself_a_key_of_its_table(table: str) -> None:
    valid = set(keys_of(MODELS[table]))

    assert not [word for word, _ in _words(GUESSES["keys"][table]) if word in valid]


@pytest.mark.parametrize("table", [t for t in GUESSES["keys"] if t != "any"])
def test_the_key_that_is_meant_by_its_spelling_is_the_key_that_is_told(table: str) -> None:
    """One slip away from a key: the answer names that key, or the slip is another word altogether."""
    others = {("site", "altitude"), ("enclosures", "parts"), ("runs", "wires")}
    for word, answer in _words(GUESSES["keys"][table]):
        for key in keys_of(MODELS[table]):
            if slips_between(word, key) <= 1 and (table, word) not in others:
                assert f"{key} = " in answer, (word, key)


@pytest.mark.parametrize(
    "of",
    [*(f"keys.{t}" for t in GUESSES["keys"]), "tables", *(f"values.{k}" for k in GUESSES["values"]), "parts"],
)
def test_no_word_has_two_answers_and_each_can_be_found(of: str) -> None:
    group, _, name = of.partition(".")
    found = [word for word, _ in _words(GUESSES[group][name] if name else GUESSES[group])]

    assert len(found) == len(set(found)), sorted(w for w in found if found.count(w) > 1)
    assert all(word == word.casefold() and "-" not in word for word in found)


@pytest.mark.parametrize("word", [w for w, _ in _words(GUESSES["tables"])])
def test_a_table_that_is_told_exists_and_the_other_does_not(word: str) -> None:
    answer = table_for(word, spec.TABLES)

    assert word not in spec.TABLES
    assert answer, f"{word}: the answer names a table that is not there"
    for name, brackets in re.findall(r"\[\[?([a-z_]+)(\]\]?)", answer):
        model, many = spec.TABLES[name]
        single = brackets == "]"
        assert model and (many != single or name in ("source", "tank")), f"[{name}] is written otherwise"


def test_a_catalogue_is_not_told_of_the_tables_of_a_job() -> None:
    for word, _ in _words(GUESSES["tables"]):
        named = _TABLE.findall(table_for(word, PART_KINDS))
        assert set(named) <= set(PART_KINDS)


def _choices(annotation: Any) -> set[str]:
    if get_origin(annotation) is Literal:
        return {each for each in get_args(annotation) if isinstance(each, str)}
    return {each for inner in get_args(annotation) for each in _choices(inner)}


@pytest.mark.parametrize("key", GUESSES["values"])
def test_a_value_that_is_told_is_one_that_the_key_takes(key: str) -> None:
    owners = [model for model in MODELS.values() if key in keys_of(model)]
    assert owners
    takes = {each for model in owners for each in _choices(model.model_fields[key].annotation)}
    takes |= set(known_rulebooks()) if key == "rulebook" else set()
    for word, answer in _words(GUESSES["values"][key]):
        assert word not in takes
        bare = _SNIPPET.sub("", answer)
        assert set(re.findall(r'"([^"]+)"', bare)) <= takes, answer
        for name, value in _SNIPPET.findall(answer):
            data = tomllib.loads(f"{name} = {value}")
            assert any(name in keys_of(m) and _takes(m, name, data) for m in MODELS.values()), answer
        assert re.search(r'"[^"]+"', answer), f"{answer} tells nothing to write"


@pytest.mark.parametrize(
    ("table", "key"),
    [(table, key) for table, of in GUESSES["types"].items() for key in of],
)
def test_a_type_is_told_of_a_key_that_there_is(table: str, key: str) -> None:
    assert key in keys_of(MODELS[table])


@pytest.mark.parametrize(
    ("table", "key"),
    [
        (table, info.alias or name)
        for table, model in MODELS.items()
        for name, info in model.model_fields.items()
        if info.is_required()
    ],
)
def test_every_key_that_may_be_missing_has_an_example(table: str, key: str) -> None:
    example = example_for(table, MODELS[table], key)

    assert example.startswith(f"{key} = ")
    assert len(example) > len(f"{key} = ")


@pytest.mark.parametrize("answer", sorted({answer for _, answer in ANSWERS if "part = " in answer}))
def test_a_part_and_a_fitting_that_are_told_exist(answer: str) -> None:
    for part_id in re.findall(r'part = "([^".]+[^"]*)"', answer):
        assert part_id in ("auto", *PARTS.ids()), part_id
    for kind in re.findall(r"--kind ([a-z_]+)", answer):
        assert kind in PART_KINDS


def test_fittings_that_are_told_are_in_the_table_of_losses() -> None:
    known = load_handbook().fitting_names()
    told = [
        name
        for _, answer in ANSWERS
        for listed in re.findall(r"fittings = \[([^\]]*)\]", answer)
        for name in re.findall(r'"([^"]+)"', listed)
    ]

    assert told
    assert set(told) <= set(known)


@pytest.mark.parametrize("word", [w for w, _ in _words(GUESSES["parts"])])
def test_a_word_of_parts_is_one_that_names_have(word: str) -> None:
    named = " ".join(f"{part.id} {part.name}" for part in PARTS.parts()).casefold()
    answer = guesses.word_of_parts(word)

    assert answer in re.findall(r"[a-z]+", named)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("earthing", "positive and negative grounded"),
        ("earthing", "grounded or floating"),
        ("guards", "tank low"),
        ("guards", "tank empty"),
        ("guards", "low pressure"),
        ("laid", "within reach of water"),
        ("kind", "open reservoir"),
        ("use", "animals and house"),
        ("use", ""),
        ("use", "of the"),
        ("use", "x" * 100_000),
        ("closes_on", "not falling"),
    ],
)
def test_half_understood_is_not_guessed(key: str, value: str) -> None:
    assert value_for(key, value) == ""


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("earthing", "not grounded", '"floating"'),
        ("earthing", "Positive Ground", '"functionally grounded"'),
        ("closes_on", "when falling", '"fall"'),
        ("rulebook", "NEC 2023", '"us-2023"'),
        ("azimuth", "South-East", '"135 deg"'),
        ("laid", "on the wall", '"within reach"'),
        ("kind", "drilled well", '"bored well"'),
    ],
)
def test_a_value_in_other_words_is_understood(key: str, value: str, told: str) -> None:
    assert told in value_for(key, value)


def test_an_answer_for_any_table_is_given_only_where_its_key_is() -> None:
    assert key_for("pumps", "comment", keys_of(spec.Pump)).startswith("write note")
    assert key_for("site", "comment", keys_of(spec.Site)) == ""


def test_a_clean_spec_loads_none_of_it() -> None:
    program = (
        "import sys; from pathlib import Path; from specc.reading.read import read_spec\n"
        "folder = Path('examples')\n"
        "data = (folder / 'cedar-fold-orchard.toml').read_bytes()\n"
        "reading = read_spec(data, 'job.toml', lambda name: (folder / name).read_bytes())\n"
        "assert reading.description is not None\n"
        "print([name for name in sys.modules if name.endswith(('.guesses', '.unknown_part'))])\n"
    )
    root = Path(__file__).parents[2]
    said = subprocess.run(
        [sys.executable, "-c", program], cwd=root, capture_output=True, text=True, check=True
    )

    assert said.stdout.strip() == "[]"
