"""What a rule is: one small function beside its own documentation, examples and clauses.

A rule *looks at* things (conductors, devices, pumps ...) and *examines* each, answering violated,
satisfied, or not checked. A datum that the spec or the catalogue leaves out is raised as
``MissingDatum`` by whoever needs it; the engine turns that into a finding, so that a gap can never
count as a pass.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from specc.calculation import Calculation
from specc.diagnostics import Alike, Edit, Severity, Verdict
from specc.system.model import Path
from specc.system.system import System


@dataclass(frozen=True)
class Answer:
    """What a rule says of one thing. ``path`` is the narrowest place in the spec to blame.

    ``mends`` is the edit of the spec that would mend it, where the rule knows one: what is no longer
    found with it is a consequence (``rules/consequences.py``).
    """

    verdict: Verdict
    subject: str
    path: Path
    message: str
    required: str = ""
    actual: str = ""
    fix: str = ""
    related: tuple[Path, ...] = ()
    severity: Severity | None = None  # where it differs from the rule's own
    calculations: tuple[Calculation, ...] = ()
    alike: Alike | None = None  # what is said once, where the same is found of several things
    mends: tuple[Edit, ...] = ()


def violated(
    subject: str,
    path: Path,
    message: str,
    *,
    required: str = "",
    actual: str = "",
    fix: str = "",
    related: tuple[Path, ...] = (),
    severity: Severity | None = None,
    calculations: tuple[Calculation, ...] = (),
    alike: Alike | None = None,
    mends: tuple[Edit, ...] = (),
) -> Answer:
    """The rule is broken here; the message carries the numbers."""
    return Answer(
        Verdict.VIOLATED,
        subject,
        path,
        message,
        required,
        actual,
        fix,
        related,
        severity,
        calculations,
        alike,
        mends,
    )


def satisfied(
    subject: str,
    path: Path,
    message: str,
    *,
    required: str = "",
    actual: str = "",
    calculations: tuple[Calculation, ...] = (),
) -> Answer:
    """The rule was checked here and holds."""
    return Answer(Verdict.SATISFIED, subject, path, message, required, actual, calculations=calculations)


def unchecked(subject: str, path: Path, because: str) -> Answer:
    """The rule could not be decided here, for a reason other than a missing datum."""
    return Answer(Verdict.NOT_CHECKED, subject, path, because)


@dataclass(frozen=True)
class Case:
    """A change to the reference job under which a rule must fire, or must keep still.

    ``edit`` maps a dotted place to its new value (None removes it): ``"runs.R1.size"``,
    ``"job.earthing"``, ``"runs.R1.conductors[1].color"``, a whole table ``"fuses.F9"``, or a datum
    of a catalogue part, ``"part:booster-r.max_input_voltage"``.
    """

    says: str  # one line for people: what is changed
    edit: Mapping[str, Any] = field(default_factory=dict)
    severity: Severity | None = None  # expected, where it differs from the rule's own
    subject: str = ""  # expected subject tag, when it matters


@dataclass(frozen=True)
class Rule:
    """One rule: identity, explanation, clauses, examples, and its two functions."""

    id: str
    severity: Severity
    title: str
    why: str
    clauses: Mapping[str, str]  # by rulebook id
    look: Callable[[System], Iterable[Any]]
    examine: Callable[[System, Any], Answer | Iterable[Answer] | None]
    fires: tuple[Case, ...]
    keeps_still: tuple[Case, ...]
    checks: str  # what it checks, with the formula
    sees_not: str = ""
    acceptable: bool = False  # may a designer accept a deviation? never a danger

    @property
    def group(self) -> str:
        return self.id.split(".")[0]
