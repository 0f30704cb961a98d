"""Reads the files of an authority's amendments: each value held against the table that it amends.

A file says who amends, then names values by table and keys, in the units of the tables (SI, in the name)::

    [amendment]
    authority = "Vale County building office"
    source = "ordinance 12-3"
    # rulebook = "iec"               # else that of the job

    [rulebook.factors.motor_device]
    value = 1.75

    [rulebook.cover.general.cover_m]  # of a list, the row whose first entry is "general"
    pvc = 0.6

    [handbook.thresholds]
    npsh_margin_m = 0.8
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from specc.amendments import FIXED_KEYS, FIXED_TABLES, HANDBOOK, Amendment, names, shown, step
from specc.diagnostics import Finding, Span, reading_error
from specc.reading import validate
from specc.reading.amending import judged
from specc.reading.parts import Model, Name
from specc.reading.suggest import did_you_mean
from specc.reading.toml_positions import TomlDocument, read_toml
from specc.rulebooks import known_rulebooks, load_handbook, load_rulebook

Path = tuple[str | int, ...]
_MOST_CHANGE = 2.0  # a factor is not amended by more than this, up or down
_TABLES = ("amendment", "rulebook", HANDBOOK)


class Head(Model):
    """Who amends, where that is written, and which rulebook is meant (else the job's own)."""

    authority: Name
    source: Name
    rulebook: str | None = None


def read_amendments(
    data: bytes, file: str, rulebook: str
) -> tuple[tuple[Amendment, ...], tuple[Finding, ...]]:
    """The amendments of a file, for a job of this rulebook, and everything that is wrong with it."""
    document = read_toml(data, file)
    findings = list(document.findings)
    for table in document.data:
        if table not in _TABLES:
            findings.append(validate.unknown_table(document, table, _TABLES))
    if "amendment" not in document.data:
        if document.valid:
            findings.append(
                reading_error(
                    "spec.missing-key",
                    "The table [amendment] is missing: who amends, and where it is written.",
                    Span(file, 1, 1, 1, 1),
                    fix="Add [amendment] with authority = ... and source = ...",
                )
            )
        return (), tuple(findings)
    head, wrong = validate.model(Head, document.data["amendment"], ("amendment",), document)
    findings += wrong
    if head is None:
        return (), tuple(findings)
    book = head.rulebook or rulebook
    if book not in known_rulebooks():
        known = ", ".join(known_rulebooks())
        findings.append(
            reading_error(
                "spec.unknown-value",
                f'There is no rulebook "{book}"; there are: {known}.',
                document.positions.span(("amendment", "rulebook")),
                fix=f"Write one of: {known}.",
                required=known,
                actual=book,
            )
        )
        return (), tuple(findings)
    found: list[Amendment] = []
    for part, id, tables in (
        ("rulebook", book, load_rulebook(book).tables()),
        (HANDBOOK, HANDBOOK, load_handbook().tables()),
    ):
        open_tables = {name: table for name, table in tables.items() if name not in FIXED_TABLES}
        content = document.data.get(part, {})
        for path, value, source in _leaves(content, (), head.source):
            made, fault = _amendment(open_tables, path, value, (part,), document)
            if fault is not None:
                findings.append(fault)
            elif made is not None:
                keys, was = made
                _, loosens = judged(keys, was, value)
                found.append(Amendment(id, keys, value, was, head.authority, source, loosens))
    return tuple(found), tuple(findings)


def _leaves(content: Any, path: tuple[str, ...], source: str) -> Iterator[tuple[tuple[str, ...], Any, str]]:
    """Every value of nested tables, with its keys and the source that stands nearest to it."""
    if not isinstance(content, Mapping):
        yield path, tuple(content) if isinstance(content, list) else content, source
        return
    source = str(content.get("source", source))
    for key, value in content.items():
        if key != "source":
            yield from _leaves(value, (*path, key), source)


def _amendment(
    tables: Mapping[str, Any],
    keys: tuple[str, ...],
    value: Any,
    part: tuple[str, ...],
    document: TomlDocument,
) -> tuple[tuple[tuple[str, ...], Any] | None, Finding | None]:
    """The full keys and the value that is replaced, or what is wrong."""
    place: Path = (*part, *keys)
    at: Any = tables
    full: list[str] = []
    for depth, key in enumerate(keys):
        if isinstance(at, Mapping) and key not in at and "rows" in at:
            at = at["rows"]  # rows are named without saying so
            full.append("rows")
        try:
            if key in FIXED_KEYS:
                raise KeyError(key)
            at = step(at, key)
        except KeyError:
            return None, _unknown(key, names(at), depth, (*part, *keys[: depth + 1]), document)
        full.append(key)
    keys = tuple(full)
    if isinstance(at, Mapping) and "value" in at:
        keys, at = (*keys, "value"), at["value"]
    if isinstance(at, Mapping | list) and not _texts(at):
        return None, reading_error(
            "spec.wrong-type",
            f'"{keys[-1] if keys else part[0]}" is a table; an amendment names one value in it.',
            document.positions.span(place),
            fix=f"Name one of: {', '.join(names(at)[:12])}.",
        )
    reason = _unfit(keys, at, value)
    if reason:
        rule = "spec.wrong-type" if "takes" in reason else "spec.out-of-range"
        return None, reading_error(
            rule, f'"{keys[-1]}" {reason}', document.positions.span(place), actual=shown(value)[:60]
        )
    return (keys, tuple(at) if isinstance(at, list) else at), None


def _texts(value: Any) -> bool:
    return isinstance(value, list | tuple) and all(isinstance(item, str) for item in value)


def _unknown(key: str, known: list[str], depth: int, place: Path, document: TomlDocument) -> Finding:
    guess = did_you_mean(key, known)
    what = "table" if depth == 0 else "key"
    listed = f": {guess}" if guess else f". Known: {', '.join(known[:20]) or 'none'}."
    return reading_error(
        f"spec.unknown-{what}",
        f'There is no {what} "{key}" to amend here{listed}',
        document.positions.key_span(place),
        fix=guess or "Name a value that the tables have.",
    )


def _unfit(keys: tuple[str, ...], was: Any, value: Any) -> str:
    """Why a value cannot stand in place of another; empty where it can."""
    if isinstance(was, bool) or isinstance(value, bool):
        return (
            judged(keys, was, value)[0]
            if type(was) is type(value)
            else f"takes {'true or false' if isinstance(was, bool) else 'a number'}."
        )
    if isinstance(was, int | float):
        if not isinstance(value, int | float):
            return "takes a number, in the SI unit that its name ends in."
        if not math.isfinite(value):
            return "is not finite: an amendment sets a limit, and cannot take one away."
        if value < 0 <= was:
            return f"cannot be {value:g}: the table has {was:g}."
        if keys[0] == "factors" and not was / _MOST_CHANGE <= value <= was * _MOST_CHANGE:
            return f"is {value:g}, and the table has {was:g}: so far off it is a slip."
        return judged(keys, was, value)[0]
    if _texts(was):
        return judged(keys, was, value)[0] if _texts(value) else "takes a list of texts."
    if not isinstance(value, str):
        return "takes a text."
    sizes = {size for id in known_rulebooks() for size in load_rulebook(id).sizes()}
    if was in sizes and value not in sizes:
        return "is no conductor size of any rulebook."
    return judged(keys, was, value)[0]
