"""What one rule says of a changed reference job, by verdict."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specc.diagnostics import Finding, Verdict
from specc.rules._rule import Rule
from tests.reference import check_edited


def found(rule: Rule, edit: Mapping[str, Any], verdict: Verdict = Verdict.VIOLATED) -> list[Finding]:
    """Findings of this rule with this verdict."""
    return [f for f in check_edited(edit, (rule,)).findings if f.rule == rule.id and f.verdict is verdict]


def missing(rule: Rule, edit: Mapping[str, Any]) -> list[str]:
    """Keys of the data that the rule misses; fails unless the rule says too that it is not checked."""
    findings = check_edited(edit, (rule,)).findings
    gaps = [f.required for f in findings if f.rule == "spec.missing-data"]
    assert not gaps or any(f.verdict is Verdict.NOT_CHECKED for f in findings if f.rule == rule.id)
    return gaps


def subjects(findings: list[Finding]) -> set[str]:
    return {finding.subject for finding in findings}
