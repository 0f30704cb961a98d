"""A rule explained for a terminal: what it checks, why, by which clause, and where it fires."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from specc.rules._rule import Case, Rule
from specc.rules.reading import ReadingRule


def explain_rule(rule: Rule | ReadingRule, *, width: int = 80) -> str:
    """The explanation of one rule."""
    if isinstance(rule, ReadingRule):
        return "\n".join(
            [
                f"{rule.id}  ({rule.severity})",
                *_wrap(rule.title, width),
                "",
                "What it checks",
                *_wrap(rule.checks, width),
                "",
                "Why it matters",
                *_wrap(rule.why, width),
                "",
                "Refused",
                *_quoted(rule.wrong),
                "",
                "Taken",
                *_quoted(rule.right),
            ]
        )
    lines = [f"{rule.id}  ({rule.severity})", *_wrap(rule.title, width)]
    for heading, text in (
        ("What it checks", rule.checks),
        ("Why it matters", rule.why),
        ("What it does not see", rule.sees_not),
    ):
        if text:
            lines += ["", heading, *_wrap(text, width)]
    lines += ["", "Clauses"]
    for book, clause in rule.clauses.items():
        lines += _wrap(f"{book}: {clause}", width)
    lines += ["", "Fires in the reference job with"]
    for case in rule.fires:
        lines += _case(case, width)
    lines += ["", "Keeps still in the reference job with"]
    for case in rule.keeps_still:
        lines += _case(case, width)
    accepted = "may be accepted in [[accepted]], with a reason" if rule.acceptable else "cannot be accepted"
    return "\n".join([*lines, "", f"A deviation {accepted}."])


def _wrap(text: str, width: int, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _quoted(text: str) -> list[str]:
    return [f"    {line}" for line in text.strip("\n").splitlines()]


def _case(case: Case, width: int) -> list[str]:
    lines = _wrap(case.says + (":" if case.edit else "."), width)
    for place, value in case.edit.items():
        said = f"{place} removed" if value is None else f"{place} = {_toml(value)}"
        lines += textwrap.wrap(
            said, width, initial_indent="    ", subsequent_indent="      ", break_on_hyphens=False
        )
    return lines


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return str(value)
