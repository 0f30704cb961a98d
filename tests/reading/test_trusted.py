"""Parts built without their schema are the very parts that pydantic makes."""

from __future__ import annotations

import tomllib

import pytest

from specc.reading.catalog import Catalog, _built_in, parse_entry
from specc.reading.parts import PART_KINDS


@pytest.mark.parametrize("kind", PART_KINDS)
def test_every_built_in_part_is_as_pydantic_makes_it(kind: str) -> None:
    entries = [entry for entry in _built_in().values() if entry.kind == kind]

    assert entries
    for entry in entries:
        checked = PART_KINDS[kind].model_validate(tomllib.loads(entry.text)[kind][0])

        assert parse_entry(entry) == checked, entry.id
        assert repr(parse_entry(entry)) == repr(checked), entry.id


def test_the_split_of_a_file_is_what_a_full_parse_gives() -> None:
    whole = {}
    from specc.resources import catalogs_dir

    for path in sorted(catalogs_dir().glob("*.toml")):
        for kind, parts in tomllib.loads(path.read_text(encoding="utf-8")).items():
            whole |= {part["id"]: (kind, part) for part in parts}

    split = {e.id: (e.kind, tomllib.loads(e.text)[e.kind][0]) for e in _built_in().values()}

    assert split == whole
    assert set(Catalog().ids()) == set(whole)
