"""What one rule says of a changed reference job, and the figures that it works out, by subject."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specc.calculation import Calculation
from specc.diagnostics import Finding, Verdict
from specc.rules._rule import Rule
from tests.reference import check_edited
from tests.rules.answers import found


def fired(rule: Rule, edit: Mapping[str, Any]) -> dict[str, Finding]:
    """Violations, one a subject."""
    return {f.subject: f for f in found(rule, edit)}


def held(rule: Rule, edit: Mapping[str, Any]) -> dict[str, Finding]:
    """What was checked and holds."""
    return {f.subject: f for f in found(rule, edit, Verdict.SATISFIED)}


def not_checked(rule: Rule, edit: Mapping[str, Any]) -> dict[str, Finding]:
    """What the rule could not decide."""
    return {f.subject: f for f in found(rule, edit, Verdict.NOT_CHECKED)}


def numbers(rule: Rule, edit: Mapping[str, Any], what: str) -> dict[str, Calculation]:
    """Figures of a kind that the rule worked out."""
    return {c.subject: c for c in check_edited(edit, (rule,)).calculations if c.what == what}
