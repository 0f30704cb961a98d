"""Every id that the reading stages use is explained, and its examples do what they say."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from specc.diagnostics import Finding
from specc.reading.read import read_spec
from specc.rules import ampacity, storage
from specc.rules.engine import check
from specc.rules.reading import READING_RULES, ReadingRule
from specc.sizing.size import size
from specc.system.connect import connect
from specc.system.system import solve

PACKAGE = Path(__file__).parent.parent.parent / "specc"
SOUND = {
    "job": '[job]\ntitle = "a job"\ndate = 2026-03-01\n'
    'rulebook = "us-2023"\nunits = "si"\nearthing = "floating"\n',
    "site": '[site]\nelevation = "600 m"\n',
    "source": '[source]\ntag = "WELL"\nkind = "dug well"\n',
    "tank": '[tank]\ntag = "TK1"\ninlet = "22 m"\n',
}
# Rules that the examples of spec.acceptance, spec.nothing-checked and spec.outside-tables need.
RULES = (*storage.RULES, ampacity.PV_CIRCUIT)
EXAMPLES = [rule for rule in READING_RULES if rule.wrong or rule.right]
# Ids of rules that look at the joined system; they explain themselves in their own files.
ON_THE_SYSTEM = {"spec.missing-data", "spec.unused-part", "spec.implausible"}


def _laid_in(snippet: str) -> str:
    """A sound spec in which the tables that the snippet names are the snippet's."""
    named = set(re.findall(r"^\[+(\w+)\]+", snippet, re.MULTILINE))
    return "\n".join([text for table, text in SOUND.items() if table not in named] + [snippet])


def _no_file(name: str) -> bytes:
    raise FileNotFoundError(2, "No such file", name)


def _findings(text: str) -> tuple[Finding, ...]:
    reading = read_spec(text.encode(), "job.toml", _no_file)
    if reading.description is None:
        return reading.findings
    sized = size(reading.description, strict=True)
    if sized.description is None:
        return sized.findings
    connected, wrong = connect(sized.description)
    if connected is None:
        return wrong
    return (*sized.findings, *check(solve(connected), RULES, strict=True).findings)


def _ids(rule: ReadingRule, text: str) -> set[str]:
    found = _findings(text if rule.whole else _laid_in(text))
    return {f.rule for f in found if f.rule in {r.id for r in READING_RULES}}


@pytest.mark.parametrize("rule", EXAMPLES, ids=lambda rule: rule.id)
def test_the_broken_text_raises_exactly_its_rule(rule: ReadingRule) -> None:
    assert _ids(rule, rule.wrong) == {rule.id, *rule.beside}


@pytest.mark.parametrize("rule", EXAMPLES, ids=lambda rule: rule.id)
def test_the_sound_text_does_not_raise_it(rule: ReadingRule) -> None:
    found = _ids(rule, rule.right)

    assert rule.id not in found
    assert rule.whole or not found


@pytest.mark.parametrize("rule", READING_RULES, ids=lambda rule: rule.id)
def test_it_explains_itself(rule: ReadingRule) -> None:
    assert len(rule.title) > 10
    assert len(rule.checks) > 30
    assert len(rule.why) > 30
    assert all(line.isprintable() and len(line) <= 100 for line in rule.shown_wrong.split("\n"))


def test_every_id_in_the_code_is_explained() -> None:
    sources = [*PACKAGE.glob("reading/*.py"), *PACKAGE.glob("system/*.py"), PACKAGE / "rules" / "engine.py"]
    written = re.compile(r'"(spec\.[a-z]+(?:-[a-z]+)+|spec\.(?:syntax|encoding|empty|acceptance))"')
    used = {name for path in sources for name in written.findall(path.read_text(encoding="utf-8"))}

    assert len(used) > 15
    assert used - ON_THE_SYSTEM <= {rule.id for rule in READING_RULES}


def test_only_what_one_file_cannot_show_has_no_example() -> None:
    """A fault of the program, and an amendment, which stands in a file of its own."""
    without = {rule.id for rule in READING_RULES if rule not in EXAMPLES}

    assert without == {"spec.check-failed", "spec.amendment-loosens"}
    assert all(rule.wrong and rule.right for rule in EXAMPLES)


def test_ids_are_unique() -> None:
    ids = [rule.id for rule in READING_RULES]

    assert len(ids) == len(set(ids))
