"""The table of words in the README holds what a spec may really say."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
import tomli_w
from typer.testing import CliRunner

from specc.cli import app
from specc.diagnostics import Verdict
from specc.pipeline import compile_spec
from specc.reading import spec
from specc.reading.catalog import Catalog
from tests.reference import EXAMPLES, edited, reference_job

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
WORDS: dict[str, tuple[Any, str]] = {
    "laid": (spec.Run, "laid"),
    "closes_on": (spec.Switch, "closes_on"),
    "guards": (spec.Switch, "guards"),
    "kind": (spec.Source, "kind"),
    "mounted": (spec.Panels, "mounted"),
    "marked": (spec.Conductor, "marked"),
}


def _literals(annotation: Any) -> set[str]:
    found = get_args(annotation)
    words = {each for each in found if isinstance(each, str)}
    for each in found:
        words |= set() if isinstance(each, str) else _literals(each)
    return words - {""}


@pytest.mark.parametrize("key", WORDS)
def test_every_word_of_a_key_is_in_the_readme_and_no_other(key: str) -> None:
    (row,) = re.findall(rf"^\| `{key}`[^|]*\|(.*)\|$", README, re.MULTILINE)
    model, field = WORDS[key]
    taken = _literals(model.model_fields[field].annotation) - {"in raceway"}  # that is said by `raceway`

    assert set(re.findall(r'`"([^"]+)"`', row)) == taken


@pytest.mark.parametrize(
    ("key", "table", "of"),
    [
        ("family", "raceways", "a raceway"),
        ("family", "pipes", "a pipe"),
        ("form", "fuses", "a fuse"),
        ("type", "controllers", "a controller"),
    ],
)
def test_what_an_auto_part_is_chosen_among_is_in_the_readme_whole(key: str, table: str, of: str) -> None:
    (row,) = re.findall(rf"^\| `{key}` of {of} \|(.*)\|$", README, re.MULTILINE)
    named = spec.AUTO_PARTS[table]
    assert named is not None and named[0] == key
    there = {getattr(part, named[1]) for part in Catalog().parts(*spec.PARTS_OF_TABLE[table])}

    assert set(re.findall(r'`"([^"]+)"`', row)) == there


NEEDS = re.findall(r"^\| `\[+(\w+)\]+` \|([^|]*)\|([^|]*)\|([^|]*)\|$", README, re.MULTILINE)


def _keys(cell: str) -> list[str]:
    return re.findall(r"`(\w+)`", cell)


def test_the_table_of_keys_lists_each_table_that_needs_more_than_tag_and_part() -> None:
    more = {
        table
        for table, (model, _) in spec.TABLES.items()
        for name, info in model.model_fields.items()
        if info.is_required() and (info.alias or name) not in ("tag", "part")
    }

    not_of_a_job = {"firm", "demand", "accepted", "locations", "sightlines"}
    assert more - not_of_a_job <= {table for table, *_ in NEEDS}


@pytest.mark.parametrize(("table", "always"), [(table, always) for table, always, *_ in NEEDS])
def test_what_a_table_always_needs_is_what_it_cannot_do_without(table: str, always: str) -> None:
    model, _ = spec.TABLES[table]
    required = {info.alias or name for name, info in model.model_fields.items() if info.is_required()}

    assert set(_keys(always)) == required


@cache
def _found_in(job: bytes) -> frozenset[tuple[str, str]]:
    parts = edited({})[1]
    found = compile_spec(job, "job.toml", lambda name: parts, strict=True).findings
    return frozenset((f.rule, f.subject) for f in found if f.verdict is not Verdict.SATISFIED)


@pytest.mark.parametrize(
    ("table", "key"), [(table, key) for table, _, asked, _ in NEEDS for key in _keys(asked)]
)
def test_what_the_checks_want_is_missed_where_it_is_not(table: str, key: str) -> None:
    """Taken out of the reference job wherever it stands, one by one: at least once it is missed."""
    whole = _found_in(edited({})[0])
    missed = False
    count = 0
    rows = reference_job()[table]
    for index in range(len(rows) if isinstance(rows, list) else 1):
        job = reference_job()
        row = job[table][index] if isinstance(rows, list) else job[table]
        if row.pop(key, None) is not None:
            count += 1
            missed = missed or bool(_found_in(tomli_w.dumps(job).encode()) - whole)

    assert count, f"the reference job has no {key} in [{table}]"
    assert missed


@pytest.mark.parametrize(
    ("table", "key"), [(table, key) for table, _, _, year in NEEDS for key in _keys(year) if key != "weather"]
)
def test_what_the_year_of_water_wants_is_missed_where_it_is_not(table: str, key: str, tmp_path: Path) -> None:
    job = tomllib.loads((EXAMPLES / "cedar-fold-orchard.toml").read_text(encoding="utf-8"))
    rows = job[table]
    del (rows[0] if isinstance(rows, list) else rows)[key]
    path = tmp_path / "job.toml"
    path.write_bytes(tomli_w.dumps(job).encode())

    said = CliRunner().invoke(app, ["water", str(path)]).output

    assert "cannot be worked out" in said
    assert "is missing. Write " in said
    assert f"Write {key} at job.toml:" in said


@pytest.mark.parametrize(
    "snippet", re.findall(r"```toml\n(.*?)```", README, re.DOTALL), ids=lambda text: text.split("\n")[0]
)
def test_each_example_of_the_readme_says_what_a_spec_may_say(snippet: str) -> None:
    for table, content in tomllib.loads(snippet).items():
        model, _ = spec.TABLES[table]
        for row in content if isinstance(content, list) else [content]:
            model.model_validate(row)
