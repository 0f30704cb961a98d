"""Runs the rules over an installation: answers in, findings out, nothing lost on the way."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from specc.calculation import Calculation
from specc.diagnostics import Finding, Severity, Span, Verdict, in_order
from specc.rulebooks import NotInTable
from specc.rules import ALL_RULES
from specc.rules._rule import Answer, Rule, unchecked
from specc.system.missing import MissingDatum
from specc.system.model import Path
from specc.system.system import System

MISSING = "spec.missing-data"


@dataclass(frozen=True)
class Checked:
    """Findings in print order, and every number that a rule worked out on the way."""

    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...]


def check(system: System, rules: Iterable[Rule] = ALL_RULES, *, strict: bool = False) -> Checked:
    """Every rule on everything that it looks at.

    A rule that crashes is our own bug: raised when ``strict`` (in tests), else reported as not
    checked, so that a user still sees the rest.
    """
    findings: list[Finding] = []
    calculations: list[Calculation] = []
    missing: dict[tuple[str, Path, str], list[str]] = defaultdict(list)
    for rule in rules:
        for answer in _answers(rule, system, missing, strict):
            findings.append(_finding(rule, answer, system))
            calculations += answer.calculations
    findings += [_missing(what, path, key, ids, system) for (what, path, key), ids in missing.items()]
    findings = list(_accept(findings, rules, system))
    return Checked(in_order(findings), tuple(dict.fromkeys(calculations)))


def _answers(
    rule: Rule, system: System, missing: dict[tuple[str, Path, str], list[str]], strict: bool
) -> Iterator[Answer]:
    def guarded(subject: object) -> Iterator[Answer]:
        name, path = _whereabouts(subject)
        try:
            given = rule.examine(system, subject)
            yield from [given] if isinstance(given, Answer) else list(given or ())
        except MissingDatum as gap:
            missing[gap.what, gap.path, gap.key].append(rule.id)
            yield unchecked(name, gap.path, f"it needs what is missing: {gap.what}.")
        except NotInTable as outside:
            yield unchecked(name, path, f"{outside}")
        except Exception as bug:
            if strict:
                raise
            yield unchecked(name, path, f"the check itself failed ({type(bug).__name__}); please report it.")

    try:
        subjects = list(rule.look(system))
    except MissingDatum as gap:
        missing[gap.what, gap.path, gap.key].append(rule.id)
        yield unchecked("", gap.path, f"it needs what is missing: {gap.what}.")
        return
    for subject in subjects:
        yield from guarded(subject)


def _whereabouts(subject: object) -> tuple[str, Path]:
    """Tag and place of whatever a rule looks at (a pair is known by its first)."""
    if isinstance(subject, tuple) and subject:
        subject = subject[0]
    subject = getattr(subject, "device", subject)
    return str(getattr(subject, "tag", "")), getattr(subject, "path", ())


def _finding(rule: Rule, answer: Answer, system: System) -> Finding:
    return Finding(
        rule=rule.id,
        verdict=answer.verdict,
        severity=answer.severity or rule.severity,
        message=answer.message,
        subject=answer.subject,
        required=answer.required,
        actual=answer.actual,
        clause=rule.clauses.get(system.book.id, ""),
        fix=answer.fix,
        places=_places((answer.path, *answer.related), system),
    )


def _places(paths: Iterable[Path], system: System) -> tuple[Span, ...]:
    return tuple(dict.fromkeys(system.span(path) for path in paths))


def _missing(what: str, path: Path, key: str, ids: list[str], system: System) -> Finding:
    blocked = sorted(set(ids))
    return Finding(
        rule=MISSING,
        verdict=Verdict.VIOLATED,
        severity=Severity.ERROR,
        message=f"{what} is missing; without it these rules cannot be checked: {', '.join(blocked)}.",
        subject=what.split(":")[0] if ":" in what else "",
        required=key,
        actual="absent",
        clause=next((r.clauses.get(system.book.id, "") for r in ALL_RULES if r.id == MISSING), ""),
        fix=f"Give {key}: read it on the label or in the maker's data, or measure it.",
        places=_places([path], system),
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
            if by_id[finding.rule].acceptable and finding.severity is not Severity.DANGER:
                finding = replace(finding, accepted=f"{spec.reason} ({spec.by})")
            else:
                yield _refusal(
                    f"{spec.rule} on {spec.on} cannot be accepted: "
                    + ("it is a danger." if finding.severity is Severity.DANGER else "its rule allows no deviation."),
                    path + ("rule",),
                    Severity.ERROR,
                    "Mend the cause and remove this table.",
                    system,
                )
        yield finding
    for spec, path in wanted:
        if path in used:
            continue
        known = spec.rule in by_id
        yield _refusal(
            f"{spec.rule} on {spec.on} is accepted here, but "
            + ("nothing of the kind was found." if known else "there is no such rule."),
            path + ("rule",),
            Severity.ADVICE if known else Severity.ERROR,
            "Remove this table." if known else "Write the id as `specc explain` lists it.",
            system,
        )


def _refusal(message: str, path: Path, severity: Severity, fix: str, system: System) -> Finding:
    return Finding(
        rule="spec.acceptance",
        verdict=Verdict.VIOLATED,
        severity=severity,
        message=message,
        fix=fix,
        places=_places([path], system),
    )
