"""Findings as text for a terminal: what, how far off, where, and one thing to do about it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping

from specc.diagnostics import Finding, Severity, Span, Verdict, folded

_MOST_PLACES = 3  # that are shown with their line
GUTTER = 9  # the column in which the severity word stands
_WORDS = {
    Severity.DANGER: "DANGER",
    Severity.ERROR: "ERROR",
    Severity.WARNING: "Warning",
    Severity.ADVICE: "Advice",
}
_COLOURS = {
    Severity.DANGER: "1;37;41",
    Severity.ERROR: "1;31",
    Severity.WARNING: "1;33",
    Severity.ADVICE: "1",
}


def findings_text(
    findings: Iterable[Finding],
    lines_of: Mapping[str, list[str]],
    *,
    width: int = 80,
    colour: bool = False,
    every: bool = False,
) -> str:
    """Findings one below the other; ``lines_of`` gives the lines of each file for the excerpts.

    Satisfied answers are left out unless ``every``.
    """
    shown = folded(f for f in findings if every or f.verdict is not Verdict.SATISFIED)
    return "\n\n".join(_block(finding, lines_of, width, colour) for finding in shown)


def _still(text: str) -> str:
    """A line without the letters that would steer a terminal: they may stand in what the user wrote."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _block(finding: Finding, lines_of: Mapping[str, list[str]], width: int, colour: bool) -> str:
    word = _word(finding)
    head = word.ljust(GUTTER)
    if colour and finding.verdict is Verdict.VIOLATED and not finding.accepted:
        head = f"\033[{_COLOURS[finding.severity]}m{word}\033[0m" + " " * (GUTTER - len(word))
    lines = [head + finding.rule]
    lines += _wrapped(finding.message, width)
    if finding.follows:
        lines += _wrapped(f"follows from {finding.follows.name}, and goes with it.", width)
        return "\n".join(lines)
    if finding.required and finding.actual:
        lines += _wrapped(f"wanted: {finding.required}; here: {finding.actual}", width)
    if finding.clause:
        lines += _wrapped(f"clause: {finding.clause}", width)
    for span in finding.places[:_MOST_PLACES]:
        lines += _where(span, lines_of, width)
    if more := finding.places[_MOST_PLACES:]:
        lines += _wrapped(f"and at {', '.join(map(str, more))}", width)
    if finding.verdict is Verdict.VIOLATED and finding.fix and not finding.accepted:
        lines += _wrapped(f"to do: {finding.fix}", width)
    if finding.accepted:
        lines += _wrapped(f"accepted: {finding.accepted}", width)
    return "\n".join(lines)


def _word(finding: Finding) -> str:
    if finding.verdict is Verdict.NOT_CHECKED:
        return "Open"
    if finding.verdict is Verdict.SATISFIED:
        return "Holds"
    return "Accepted" if finding.accepted else _WORDS[finding.severity]


def _wrapped(text: str, width: int) -> list[str]:
    indent = " " * GUTTER
    return textwrap.wrap(
        _still(" ".join(text.split())),
        width,
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=True,
        break_on_hyphens=False,
    )


def _where(span: Span, lines_of: Mapping[str, list[str]], width: int) -> list[str]:
    place = " " * GUTTER + f"at {span}"
    lines = lines_of.get(span.file, [])
    if not 1 <= span.line <= len(lines):
        return [place]
    excerpt = _still(" ".join(lines[span.line - 1].split()))
    room = width - GUTTER - 3
    if len(excerpt) > room:
        excerpt = excerpt[: room - 3] + "..."
    return [place, " " * (GUTTER + 3) + excerpt] if excerpt else [place]


def summary_text(findings: Iterable[Finding], *, read: bool) -> str:
    """The verdict in one or two sentences, and the counts behind it."""
    found = folded(findings)
    violated = [f for f in found if f.verdict is Verdict.VIOLATED and not f.accepted]
    counts = {severity: sum(1 for f in violated if f.severity is severity) for severity in Severity}
    named = ", ".join(
        f"{count} {severity}{'s' if count > 1 and severity is not Severity.ADVICE else ''}"
        for severity, count in counts.items()
        if count
    )
    if not read:
        return f"The spec could not be read: {len(violated)} to put right. Nothing was checked."
    accepted = sum(1 for f in found if f.accepted)
    unchecked = sum(1 for f in found if f.verdict is Verdict.NOT_CHECKED)
    satisfied = sum(1 for f in found if f.verdict is Verdict.SATISFIED)
    stopped = counts[Severity.DANGER] + counts[Severity.ERROR]
    following = sum(1 for f in violated if f.follows)
    if following:
        named += f" ({following} of them follow{'s' if following == 1 else ''} from another)"
    verdict = "Do not build this yet." if stopped else "No danger or error found in what was checked."
    return (
        f"{verdict} {satisfied} checks hold; {named or 'nothing'} found; "
        f"{accepted} accepted; {unchecked} not checked."
    )
