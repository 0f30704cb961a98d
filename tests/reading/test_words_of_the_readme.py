"""The table of words in the README holds what a spec may really say."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, get_args

import pytest

from specc.reading import spec

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
