"""The reference job with something left to the compiler."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specc.choices import Choice
from specc.diagnostics import Finding, Severity, Verdict
from specc.reading.read import Description, read_spec
from specc.sizing.size import Sized, size
from tests.reference import check_edited, edited

R1: dict[str, Any] = {"runs.R1.size": "auto"}
EGC: dict[str, Any] = {"runs.R1.conductors[2].size": "auto"}


def described(edit: Mapping[str, Any]) -> Description:
    """The changed reference job as read."""
    job, parts = edited(edit)
    reading = read_spec(job, "job.toml", lambda name: parts)
    assert reading.description is not None, [f.message for f in reading.findings]
    return reading.description


def sized(edit: Mapping[str, Any]) -> Sized:
    """The changed reference job with its choices made."""
    return size(described(edit), strict=True)


def chosen(edit: Mapping[str, Any]) -> dict[str, str | int]:
    """What was chosen, by tag and key; everything must pass."""
    made = sized(edit)
    assert made.findings == (), [f.message for f in made.findings]
    return {f"{c.tag}.{c.key}": c.chosen for c in made.choices}


def only(made: Sized) -> Choice:
    """The one choice that was made."""
    (choice,) = made.choices
    return choice


def loud(edit: Mapping[str, Any]) -> list[Finding]:
    """Everything that a spec without "auto" is blamed for, advice aside, and all that is not checked."""
    return [
        f
        for f in check_edited(edit).findings
        if f.verdict is not Verdict.SATISFIED and not f.accepted and f.severity is not Severity.ADVICE
    ]
