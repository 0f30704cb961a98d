"""What holds for every rule: its explanation is there, its examples do what they say."""

from __future__ import annotations

import re

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules import ALL_RULES
from specc.rules._rule import Case, Rule
from tests.reference import check_edited


def _cases(kind: str) -> list[object]:
    return [
        pytest.param(rule, case, id=f"{rule.id}-{number}")
        for rule in ALL_RULES
        for number, case in enumerate(getattr(rule, kind), 1)
    ]


@pytest.mark.parametrize(("rule", "case"), _cases("fires"))
def test_fires_where_its_example_says(rule: Rule, case: Case) -> None:
    checked = check_edited(case.edit, (rule,))
    mine = [f for f in checked.findings if f.rule == rule.id]
    violated = [f for f in mine if f.verdict is Verdict.VIOLATED]
    assert violated, f"{case.says}: nothing fired; got {[(f.verdict, f.message) for f in mine]}"
    assert (case.severity or rule.severity) in {f.severity for f in violated}
    if case.subject:
        assert case.subject in {f.subject for f in violated}
    for finding in violated:
        assert finding.places, "a finding without a place"
        assert finding.fix, "a finding without a suggestion"
        assert "nan" not in finding.message.lower().split()


@pytest.mark.parametrize(("rule", "case"), _cases("keeps_still"))
def test_keeps_still_where_its_example_says(rule: Rule, case: Case) -> None:
    checked = check_edited(case.edit, (rule,))
    mine = [f for f in checked.findings if f.rule == rule.id]
    assert not [f.message for f in mine if f.verdict is Verdict.VIOLATED], case.says
    assert not mine or any(f.verdict is Verdict.SATISFIED for f in mine), (
        f"{case.says}: only unchecked: {[f.message for f in mine]}"
    )


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda rule: rule.id)
def test_explains_itself(rule: Rule) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*\.[a-z]+(-[a-z]+)*", rule.id)
    assert len(rule.title) > 10 and len(rule.checks) > 30 and len(rule.why) > 30
    assert set(rule.clauses) == {"us-2023", "iec"} and all(rule.clauses.values())
    assert rule.fires and rule.keeps_still
    assert not (rule.acceptable and rule.severity is Severity.DANGER)


def test_ids_are_unique() -> None:
    ids = [rule.id for rule in ALL_RULES]

    assert len(ids) == len(set(ids))


def test_the_reference_job_is_clean() -> None:
    findings = check_edited({}).findings
    loud = [
        (f.rule, f.subject, f.message)
        for f in findings
        if f.verdict is not Verdict.SATISFIED and f.severity is not Severity.ADVICE
    ]

    assert loud == []
