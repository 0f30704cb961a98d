"""Everything that one rule says of a changed reference job, whatever its verdict."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specc.diagnostics import Finding, Verdict
from specc.rules._rule import Rule
from tests.reference import check_edited

_WORST_FIRST = (Verdict.VIOLATED, Verdict.NOT_CHECKED, Verdict.SATISFIED)


def answers(rule: Rule, edit: Mapping[str, Any]) -> list[Finding]:
    """All findings of this rule; empty where it had nothing to look at."""
    return [f for f in check_edited(edit, (rule,)).findings if f.rule == rule.id]


def verdicts(rule: Rule, edit: Mapping[str, Any]) -> dict[str, Verdict]:
    """The worst verdict on each subject."""
    worst: dict[str, Verdict] = {}
    for finding in answers(rule, edit):
        known = worst.get(finding.subject, finding.verdict)
        worst[finding.subject] = min(finding.verdict, known, key=_WORST_FIRST.index)
    return worst
