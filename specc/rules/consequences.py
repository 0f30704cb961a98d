"""Which findings follow from which: what is gone once a cause is mended, and nothing else worse for it.

Some rules know the edit of the spec that would mend what they found (``Answer.mends``). Each such edit is
tried: the job with it is solved and checked anew, and whatever is then no longer found follows from that
cause. A finding is only ever marked, never dropped, and only beside a cause that is itself found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from specc.diagnostics import Edit, Finding, Severity, Verdict
from specc.reading.read import Description, Entry
from specc.system.connect import connect
from specc.system.model import Path
from specc.system.system import System, solve

MOST_TRIES = 6  # repairs that are tried for one job
MOST_WORK = 1500  # of devices times tries: a large job is not kept waiting

Check = Callable[[System], tuple[Finding, ...]]
_Key = tuple[str, str]


def with_causes(system: System, findings: tuple[Finding, ...], check: Check) -> tuple[Finding, ...]:
    """The findings, each consequence marked with its cause. ``check`` gives those of a mended system."""
    causes: dict[tuple[Edit, ...], Finding] = {}
    for finding in findings:
        if finding.verdict is Verdict.VIOLATED and finding.mends and not finding.accepted:
            causes.setdefault(finding.mends, finding)
    most = min(MOST_TRIES, MOST_WORK // max(len(system.devices), 1))
    gone = {cause: _gone(system, findings, cause, check) for cause in list(causes.values())[:most]}
    follows: dict[_Key, Finding] = {}
    # The repair that clears away the most is the first to be believed.
    for cause in sorted(gone, key=lambda c: -len(gone[c])):
        if _key(cause) in follows:
            continue
        for key in gone[cause] - {_key(cause)} - {_key(head) for head in follows.values()}:
            follows.setdefault(key, cause)
    return tuple(_marked(finding, follows) for finding in findings)


def _key(finding: Finding) -> _Key:
    return finding.rule, finding.subject


def _open(findings: Iterable[Finding]) -> set[_Key]:
    return {_key(f) for f in findings if f.verdict is not Verdict.SATISFIED and not f.accepted}


def _grave(findings: Iterable[Finding]) -> set[_Key]:
    kinds = (Severity.DANGER, Severity.ERROR)
    return {_key(f) for f in findings if f.verdict is Verdict.VIOLATED and f.severity in kinds}


def _gone(system: System, findings: tuple[Finding, ...], cause: Finding, check: Check) -> set[_Key]:
    """What is no longer found once a cause is mended; nothing where the edit mends it not, or harms."""
    connected, wrong = connect(edited(system.description, cause.mends))
    if connected is None or wrong:
        return set()
    left = check(solve(connected, system.book.id))
    if _key(cause) in _open(left) or _grave(left) - _grave(findings):
        return set()
    return _open(findings) - _open(left)


def _marked(finding: Finding, follows: dict[_Key, Finding]) -> Finding:
    cause = follows.get(_key(finding))
    if cause is None or finding.accepted or finding.verdict is Verdict.SATISFIED:
        return finding
    return replace(finding, follows=cause)


# -- edits ---------------------------------------------------------------------------------------------


def edited(description: Description, edits: Iterable[Edit]) -> Description:
    """The description with other values at these places; a conductor given as None is taken out."""
    by_entry: dict[Path, dict[Path, Any]] = {}
    for path, value in edits:
        by_entry.setdefault(path[:2], {})[path[2:]] = value
    tables = {path[0] for path in by_entry}
    entries = {
        table: tuple(_entry(entry, by_entry.get(entry.path, {})) for entry in group)
        if table in tables
        else group
        for table, group in description.entries.items()
    }
    return replace(description, entries=entries)


def _entry(entry: Entry, changes: dict[Path, Any]) -> Entry:
    if not changes:
        return entry
    own = {str(path[0]): value for path, value in changes.items() if len(path) == 1}
    model = entry.model.model_copy(update=own)
    if entry.table == "runs":
        conductors = []
        for index, conductor in enumerate(model.conductors):
            # So that each keeps its tag when one before it is taken out.
            told = {"tag": conductor.tag or f"{model.tag}.{index + 1}"}
            for path, value in changes.items():
                if path[:2] == ("conductors", index) and len(path) == 3:
                    told[{"from": "start", "to": "end"}[str(path[2])]] = value
            if changes.get(("conductors", index), ...) is not None:
                conductors.append(conductor.model_copy(update=told))
        model = model.model_copy(update={"conductors": tuple(conductors)})
    return replace(entry, model=model)
