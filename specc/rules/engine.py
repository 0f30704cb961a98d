"""Runs the rules over an installation: answers in, findings out, nothing lost on the way."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from specc.amendments import shown
from specc.calculation import Calculation
from specc.diagnostics import Finding, Severity, Span, Verdict, in_order
from specc.physics._range import OutsideRange
from specc.reading.suggest import did_you_mean
from specc.rulebooks import NotInTable
from specc.rules import ALL_RULES, YEAR_RULES
from specc.rules._rule import Answer, Rule, unchecked
from specc.rules.consequences import with_causes
from specc.system.missing import MissingDatum
from specc.system.model import Path
from specc.system.system import System

MISSING = "spec.missing-data"
OUTSIDE = "spec.outside-tables"
FAILED = "spec.check-failed"
KNOWN = frozenset(rule.id for rule in (*ALL_RULES, *YEAR_RULES))


@dataclass(frozen=True)
class Gap:
    """Why something could not be decided: the rule that reports it, what lacks, where, and its key."""

    rule: str
    what: str
    path: Path
    key: str


Gaps = dict[Gap, list[str]]


@dataclass(frozen=True)
class Checked:
    """Findings in print order, and every number that a rule worked out on the way."""

    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...]


def objections(system: System, rule: Rule, *, strict: bool = False) -> Iterator[Finding]:
    """What one rule does not call satisfied, less what is accepted: violations and what is not checked."""
    answers = _answers(rule, system, defaultdict(list), strict)
    findings = [_finding(rule, a, "", system) for a in answers if a.verdict is not Verdict.SATISFIED]
    accepted = _accept(findings, (rule,), system) if system.description.all("accepted") else findings
    return (f for f in accepted if f.rule == rule.id and not f.accepted)


def check(system: System, rules: Iterable[Rule] = ALL_RULES, *, strict: bool = False) -> Checked:
    """Every rule on everything that it looks at, what follows from another marked with its cause.

    A rule that crashes is our own bug: raised when ``strict`` (in tests), else reported as not
    checked, so that a user still sees the rest.
    """
    rules = tuple(rules)
    checked = _checked(system, rules, strict)
    if not any(finding.mends for finding in checked.findings):
        return checked
    marked = with_causes(system, checked.findings, lambda mended: _checked(mended, rules, strict).findings)
    return replace(checked, findings=in_order(marked))


def _checked(system: System, rules: tuple[Rule, ...], strict: bool) -> Checked:
    findings: list[Finding] = []
    calculations: list[Calculation] = []
    gaps: Gaps = defaultdict(list)
    for rule in rules:
        own = system.afresh()
        answers = list(_answers(rule, own, gaps, strict))
        clause = _clause(rule, own)
        for answer in answers:
            findings.append(_finding(rule, answer, clause, system))
            calculations += answer.calculations
    if not findings:
        findings.append(_nothing(system))
    findings += [_undecided(gap, ids, system) for gap, ids in gaps.items()]
    findings += _loosened(system)
    findings = list(_accept(findings, rules, system))
    return Checked(in_order(findings), tuple(dict.fromkeys(calculations)))


def _answers(rule: Rule, system: System, gaps: Gaps, strict: bool) -> Iterator[Answer]:
    """The answers of one rule; whatever kept it from answering is noted in ``gaps``."""

    def guarded(work: Callable[[], Any], name: str, path: Path) -> Iterator[Answer]:
        try:
            given = work()
            yield from [given] if isinstance(given, Answer) else list(given or ())
        except MissingDatum as lack:
            gaps[Gap(MISSING, lack.what, lack.path, lack.key)].append(rule.id)
            yield unchecked(name, lack.path, f"it needs what is missing: {lack.what}.")
        except NotInTable as outside:
            gaps[Gap(OUTSIDE, str(outside), path, "")].append(rule.id)
            yield unchecked(name, path, f"the tables do not reach so far: {outside}.")
        except OutsideRange as outside:
            said = f"{name}: {outside.told}" if name else outside.told
            gaps[Gap(OUTSIDE, said, path, "")].append(rule.id)
            yield unchecked(name, path, f"a formula does not hold there: {outside.told}.")
        except Exception as bug:
            if strict:
                raise
            gaps[Gap(FAILED, f"{type(bug).__name__} in {rule.id}", path, "")].append(rule.id)
            yield unchecked(name, path, f"the check itself failed ({type(bug).__name__}); please report it.")

    subjects: list[Any] = []

    def look() -> tuple[Answer, ...]:
        subjects.extend(rule.look(system))
        return ()

    yield from guarded(look, "", ())
    for subject in subjects:
        yield from guarded(partial(rule.examine, system, subject), *_whereabouts(subject))


def _whereabouts(subject: object) -> tuple[str, Path]:
    """Tag and place of whatever a rule looks at (a pair is known by its first)."""
    if isinstance(subject, tuple) and subject:
        subject = subject[0]
    subject = getattr(subject, "device", subject)
    return str(getattr(subject, "tag", "")), getattr(subject, "path", ())


def _clause(rule: Rule, system: System) -> str:
    """The clause of a rule in the book of the system, with what an authority amended of it."""
    amended = [
        f"amended by {a.by} ({a.name}: {shown(a.value)}, was {shown(a.was)}{', looser' if a.loosens else ''})"
        for a in system.amendments_used()
    ]
    return "; ".join(part for part in (system.book.clause(rule.id, rule.clauses), *amended) if part)


def _finding(rule: Rule, answer: Answer, clause: str, system: System) -> Finding:
    return Finding(
        rule=rule.id,
        verdict=answer.verdict,
        severity=answer.severity or rule.severity,
        message=answer.message,
        subject=answer.subject,
        required=answer.required,
        actual=answer.actual,
        clause=clause,
        fix=answer.fix,
        places=_places((answer.path, *answer.related), system),
        book=system.book.id,
        alike=answer.alike,
        mends=answer.mends,
    )


def _places(paths: Iterable[Path], system: System) -> tuple[Span, ...]:
    return tuple(dict.fromkeys(system.span(path) for path in paths))


def _nothing(system: System) -> Finding:
    return Finding(
        rule="spec.nothing-checked",
        verdict=Verdict.VIOLATED,
        severity=Severity.ERROR,
        message="No rule found anything to look at: the job names no panels, no wiring and no pipes.",
        fix="Describe the system: `specc new` writes a starter to begin from.",
        places=_places([("job",)], system),
    )


def _undecided(gap: Gap, ids: list[str], system: System) -> Finding:
    """What could not be decided is an error of its own: silence must never count as a pass."""
    blocked = ", ".join(sorted(set(ids)))
    match gap.rule:
        case "spec.missing-data":
            message = f"{gap.what} is missing; without it these rules cannot be checked: {blocked}."
            fix = (
                f"Give {gap.key} of the part: read it on the label or in the maker's data."
                if "catalogue part" in gap.what
                else f"Write {gap.key} at the place shown: measure it, or say how it will be built."
            )
        case "spec.outside-tables":
            message = f"Tables and formulas do not decide this: {gap.what}. Not checked: {blocked}."
            fix = (
                "Check the value and its unit; use a size, temperature or rating that the tables know, or "
                "have it judged by hand."
            )
        case _:
            message = f"A check failed by a fault of the program ({gap.what}). Not checked: {blocked}."
            fix = "Please report it with this spec, and have this point judged by hand."
    return Finding(
        rule=gap.rule,
        verdict=Verdict.VIOLATED,
        severity=Severity.ERROR,
        message=message,
        subject=gap.what.split(":")[0] if ":" in gap.what and gap.rule == MISSING else "",
        required=gap.key,
        actual="absent" if gap.key else "",
        fix=fix,
        places=_places([gap.path], system),
    )


def _loosened(system: System) -> Iterator[Finding]:
    """Each amendment that asks for less than the book: its authority answers for it, and it is said."""
    for amendment in (*system.book.amendments, *system.handbook.amendments):
        if amendment.loosens:
            yield Finding(
                rule="spec.amendment-loosens",
                verdict=Verdict.VIOLATED,
                severity=Severity.ADVICE,
                message=f"The job is held to less than the book: {amendment.told}.",
                subject=amendment.name,
                required=shown(amendment.was),
                actual=shown(amendment.value),
                fix="See that the amendment is in force, and that it means this installation.",
                places=_places([("job", "amendments")], system),
                book=system.book.id,
            )


def _accept(findings: list[Finding], rules: Iterable[Rule], system: System) -> Iterator[Finding]:
    """Marks the deviations that the designer accepts, and refuses those that nobody may."""
    by_id = {rule.id: rule for rule in rules}
    used: set[Path] = set()
    wanted = [(entry.model, entry.path) for entry in system.description.all("accepted")]
    for finding in findings:
        for spec, path in wanted:
            same = finding.rule == spec.rule and finding.subject.casefold() == spec.on.casefold()
            if not same or finding.verdict is not Verdict.VIOLATED:
                continue
            used.add(path)
            why_not = _not_acceptable(finding, by_id.get(finding.rule))
            if not why_not:
                finding = replace(finding, accepted=spec.reason)
            else:
                yield _refusal(
                    f"{spec.rule} on {spec.on} cannot be accepted: {why_not}.",
                    path + ("rule",),
                    Severity.ERROR,
                    "Mend the cause and remove this table.",
                    system,
                )
        yield finding
    for spec, path in wanted:
        if path in used:
            continue
        if spec.rule in KNOWN and spec.rule not in by_id:
            continue  # not among the rules that were run here
        if spec.rule not in by_id:
            yield _refusal(
                f"{spec.rule} on {spec.on} is accepted here, but {_no_such_rule(spec.rule)}",
                path + ("rule",),
                Severity.ERROR,
                "Write the id as `specc explain` lists it, or remove this table.",
                system,
            )
            continue
        open_on = dict.fromkeys(
            f.subject
            for f in findings
            if f.rule == spec.rule and f.verdict is Verdict.VIOLATED and not f.accepted and f.subject
        )
        yield _refusal(
            f"{spec.rule} on {spec.on} is accepted here, but nothing of the kind was found"
            + (f" there; it was on {', '.join(open_on)}." if open_on else "."),
            path + ("on",),
            Severity.ADVICE,
            "Remove this table, or name what it is found on.",
            system,
        )


def _not_acceptable(finding: Finding, rule: Rule | None) -> str:
    """Why nobody may accept a finding; empty where somebody may. A danger never, and nothing that is worse
    than what its rule finds as a rule."""
    if finding.severity is Severity.DANGER:
        return "it is a danger"
    if rule is None or not rule.acceptable:
        return "its rule allows no deviation"
    if finding.severity.rank < rule.severity.rank:
        return f"here it is of the level of an {finding.severity}, above what its rule lets pass"
    return ""


def _no_such_rule(id: str) -> str:
    from specc.rules.reading import READING_RULES  # only for what is written wrongly

    reading = {rule.id for rule in READING_RULES}
    if id in reading:
        return "its rule allows no deviation."
    guess = did_you_mean(id, (*KNOWN, *reading))
    return f"there is no such rule: {guess}" if guess else "there is no such rule."


def _refusal(message: str, path: Path, severity: Severity, fix: str, system: System) -> Finding:
    return Finding(
        rule="spec.acceptance",
        verdict=Verdict.VIOLATED,
        severity=severity,
        message=message,
        fix=fix,
        places=_places([path], system),
    )
