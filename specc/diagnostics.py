"""Findings: what every stage tells the user, in one frozen form and one order.

A mistake in a spec is a value in a list, never an exception; exceptions are for
our own bugs. Nothing in this module knows how a finding is printed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple


class Severity(StrEnum):
    """How bad a violated rule is, worst first."""

    DANGER = "danger"  # can hurt someone or burn something
    ERROR = "error"  # will not work, or breaks the rulebook
    WARNING = "warning"
    ADVICE = "advice"

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return _RANKS[self]


_RANKS = {severity: rank for rank, severity in enumerate(Severity)}


class Verdict(StrEnum):
    """What a rule says of one thing that it looked at."""

    VIOLATED = "violated"
    SATISFIED = "satisfied"
    NOT_CHECKED = "not checked"


class Alike(NamedTuple):
    """What is said once of several things with the same fault; ``{}`` stands for their tags."""

    message: str
    fix: str


class Span(NamedTuple):
    """A stretch of a file. Lines and columns count from 1, in characters; the end is exclusive."""

    file: str
    line: int
    column: int
    end_line: int
    end_column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


# A place in the spec (its key path) and the value that belongs there; None takes a conductor out.
Edit = tuple[tuple[str | int, ...], str | None]


@dataclass(frozen=True)
class Finding:
    """One answer of one rule (or of the reader) about one thing.

    ``places`` holds the narrowest stretch to blame first, related ones after it.
    ``required`` and ``actual`` are short texts with units, ready to print.
    """

    rule: str
    verdict: Verdict
    severity: Severity
    message: str
    subject: str = ""
    required: str = ""
    actual: str = ""
    clause: str = ""
    fix: str = ""
    places: tuple[Span, ...] = ()
    accepted: str = ""  # reason given in [[accepted]], where the rule allows one
    book: str = ""  # id of the rulebook that it was judged by; empty where none matters
    alike: Alike | None = None  # what people read where several say the same, see ``folded``
    mends: tuple[Edit, ...] = ()  # the edit that would mend it, where its rule knows one
    follows: Finding | None = None  # the finding with whose cause it goes, once that is mended

    @property
    def name(self) -> str:
        """Rule and subject: "polarity.reversed on CB1"."""
        return f"{self.rule} on {self.subject}" if self.subject else self.rule

    @property
    def stops_the_job(self) -> bool:
        """True for a violated, unaccepted rule of danger or error level."""
        return (
            self.verdict is Verdict.VIOLATED
            and not self.accepted
            and self.severity in (Severity.DANGER, Severity.ERROR)
        )

    def sort_key(self) -> tuple[object, ...]:
        """Violated before unchecked before satisfied, worst first, then by place and rule."""
        first = self.places[0] if self.places else Span("", 0, 0, 0, 0)
        return (
            _VERDICT_ORDER[self.verdict],
            bool(self.accepted),
            self.severity.rank,
            first,
            self.rule,
            self.subject,
            self.message,
        )


_VERDICT_ORDER = {Verdict.VIOLATED: 0, Verdict.NOT_CHECKED: 1, Verdict.SATISFIED: 2}


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings in the one order in which every form prints them, without repeats.

    What follows from another stands behind it, and both where the worse of them belongs.
    """
    distinct = tuple(dict.fromkeys(findings))
    if not any(finding.follows for finding in distinct):
        return tuple(sorted(distinct, key=Finding.sort_key))
    first: dict[Finding, tuple[object, ...]] = {}
    for finding in distinct:
        head = finding.follows or finding
        first[head] = min(first.get(head, finding.sort_key()), finding.sort_key())

    def place(finding: Finding) -> tuple[object, ...]:
        head = finding.follows or finding
        return (first[head], head.sort_key(), finding is not head, finding.sort_key())

    return tuple(sorted(distinct, key=place))


def folded(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings as people read them: several that say the same of several things become one.

    It stands where the first of them stood and has the places of all. Files for programs keep each.
    """
    groups: dict[object, list[Finding]] = {}
    for finding in findings:
        own = finding.alike is None or finding.verdict is not Verdict.VIOLATED or finding.accepted
        same = (finding.rule, finding.severity, finding.book, finding.alike, finding.actual, finding.follows)
        groups.setdefault(finding if own else same, []).append(finding)
    return tuple(group[0] if len(group) == 1 else _one_of(group) for group in groups.values())


def _one_of(group: list[Finding]) -> Finding:
    first, subjects = group[0], list(dict.fromkeys(finding.subject for finding in group))
    assert first.alike is not None
    tags = subjects[0] if len(subjects) == 1 else f"{', '.join(subjects[:-1])} and {subjects[-1]}"
    return replace(
        first,
        subject=", ".join(subjects),
        message=first.alike.message.replace("{}", tags),
        fix=first.alike.fix.replace("{}", tags),
        places=tuple(dict.fromkeys(place for finding in group for place in finding.places)),
    )


def reading_error(
    rule: str, message: str, *places: Span, fix: str = "", required: str = "", actual: str = ""
) -> Finding:
    """A violated rule of error level, as the reading stages report it."""
    return Finding(
        rule=rule,
        verdict=Verdict.VIOLATED,
        severity=Severity.ERROR,
        message=message,
        required=required,
        actual=actual,
        fix=fix,
        places=tuple(places),
    )
