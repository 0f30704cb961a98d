"""Findings, worked numbers and the resolved system as JSON for other programs: SI, the unit in the key."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

from specc import units
from specc.calculation import Calculation
from specc.choices import Choice
from specc.diagnostics import Finding, Span
from specc.system.missing import MissingDatum
from specc.system.other_book import AlsoUnder
from specc.system.roles import role_of
from specc.system.system import System


def _bytes(document: Any) -> bytes:
    return (json.dumps(_plain(document), ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode(
        "utf-8"
    )


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def _place(span: Span) -> dict[str, Any]:
    return {
        "file": span.file,
        "line": span.line,
        "column": span.column,
        "end_line": span.end_line,
        "end_column": span.end_column,
    }


def finding_row(finding: Finding) -> dict[str, Any]:
    """One finding, keys as the command line promises them."""
    row: dict[str, Any] = {
        "rule": finding.rule,
        "verdict": str(finding.verdict),
        "severity": str(finding.severity),
        "subject": finding.subject,
        "message": finding.message,
        "required": finding.required,
        "actual": finding.actual,
        "clause": finding.clause,
        "fix": finding.fix,
        "places": [_place(span) for span in finding.places],
    }
    if finding.book:
        row["rulebook"] = finding.book
    if finding.follows:
        row["follows"] = {"rule": finding.follows.rule, "subject": finding.follows.subject}
    if finding.accepted:
        row["accepted"] = finding.accepted
    return row


def _choice_row(choice: Choice) -> dict[str, Any]:
    return {
        "path": list(choice.path),
        "tag": choice.tag,
        "what": choice.what,
        "key": choice.key,
        "chosen": choice.chosen,
        "reason": choice.reason,
        "next_smaller": choice.next_smaller,
        "would_fail": list(choice.would_fail),
        "passes": choice.passes,
        "place": _place(choice.place),
    }


def findings_json(
    file: str,
    job: Any,
    findings: Iterable[Finding],
    choices: Iterable[Choice] = (),
    also: AlsoUnder | None = None,
) -> bytes:
    """``{"job": ..., "findings": [...], "choices": [...]}``; ``job`` is None for an unreadable spec.

    With a second rulebook, ``also_under`` holds its id, its findings, and what it takes foreign sizes for.
    """
    about = {"file": file}
    if job is not None:
        about |= {"title": job.title, "number": job.number, "rulebook": job.rulebook}
    return _bytes(
        {
            "job": about,
            "findings": [finding_row(f) for f in findings],
            "choices": [_choice_row(c) for c in choices],
            **({"also_under": _second(also)} if also is not None else {}),
        }
    )


def _second(also: AlsoUnder) -> dict[str, Any]:
    return {
        "rulebook": also.id,
        "title": also.title,
        "sizes": dict(also.sizes),
        "findings": [finding_row(f) for f in also.findings],
    }


def _quantity(key: str, value: float, dimension: str) -> dict[str, float]:
    if dimension in ("number", "count", "fraction", "money", ""):
        return {key: value}
    return {f"{key}_{units.DIMENSIONS[dimension].key_suffix}": value}


def calculations_json(calculations: Iterable[Calculation]) -> bytes:
    """Every worked number with formula, inputs and source."""
    return _bytes(
        {
            "calculations": [
                {
                    "what": c.what,
                    "subject": c.subject,
                    "symbol": c.symbol,
                    **_quantity("value", c.value, c.dimension),
                    "formula": c.formula,
                    "inputs": [
                        {"symbol": i.symbol, **_quantity("value", i.value, i.dimension), "origin": i.origin}
                        for i in c.inputs
                    ],
                    "source": c.source,
                }
                for c in calculations
            ]
        }
    )


def system_json(system: System) -> bytes:
    """The whole resolved job: devices with their part ids, conductors, pipes, nets, the design point."""
    walked = system.walked
    try:
        point = system.design_point()
        voltage, current = point.voltage_v, point.current_a
    except (MissingDatum, LookupError):
        voltage, current = {}, {}
    job = system.job
    return _bytes(
        {
            "job": {
                "title": job.title,
                "number": job.number,
                "date": job.date.isoformat(),
                "rulebook": job.rulebook,
                "earthing": job.earthing,
            },
            "devices": [
                {
                    "tag": d.tag,
                    "table": d.table,
                    "kind": d.kind,
                    "part": getattr(d.part, "id", None),
                    "location": d.location,
                    "box": d.box,
                }
                for d in system.devices.values()
            ],
            "terminals": [
                {
                    "terminal": name,
                    "net": walked.net(name),
                    "grounding_net": walked.ground_of.get(name),
                    "design_voltage_v": voltage.get(name),
                }
                for name in system.connected.terminals
            ],
            "conductors": [
                {
                    "tag": c.tag,
                    "run": c.run.tag,
                    "from": c.start,
                    "to": c.end,
                    "role": role_of(system.connected, walked, c).words,
                    "color": c.color,
                    "size": c.size,
                    "wire": c.wire.id,
                    "length_m": c.length_m,
                    "design_current_a": current.get(c.tag),
                }
                for c in system.conductors
            ],
            "pipes": [
                {
                    "tag": p.tag,
                    "from": p.start,
                    "to": p.end,
                    "part": p.part.id,
                    "length_m": p.spec.length,
                    "bore_m": p.part.bore,
                }
                for p in system.connected.pipes.values()
            ],
        }
    )
