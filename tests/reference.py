"""The reference job as data, and changes to it in the words of a rule's examples."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w

from specc.reading.read import read_spec
from specc.rules._rule import Rule
from specc.rules.engine import Checked, check
from specc.system.connect import connect
from specc.system.system import System, solve

EXAMPLES = Path(__file__).parent.parent / "examples"
_STEP = re.compile(r"\[(\d+)\]")


@cache
def _texts() -> tuple[dict[str, Any], dict[str, Any]]:
    job = tomllib.loads((EXAMPLES / "reference-job.toml").read_text(encoding="utf-8"))
    parts = tomllib.loads((EXAMPLES / "reference-parts.toml").read_text(encoding="utf-8"))
    return job, parts


def reference_job() -> dict[str, Any]:
    """The reference job as plain data, free to change."""
    return copy.deepcopy(_texts()[0])


def reference_parts() -> dict[str, Any]:
    """The parts of the reference job as plain data, free to change."""
    return copy.deepcopy(_texts()[1])


def edited(edit: Mapping[str, Any]) -> tuple[bytes, bytes]:
    """The reference job and its parts, as TOML bytes, with changes made (see ``rules._rule.Case``)."""
    job, parts = copy.deepcopy(_texts())
    for place, value in copy.deepcopy(dict(edit)).items():
        if place.startswith("part:"):
            part_id, _, key = place.removeprefix("part:").partition(".")
            part = next((p for group in parts.values() for p in group if p["id"] == part_id), None)
            assert part is not None, f"no part {part_id} in the reference parts"
            _put(part, key.split("."), value)
        else:
            _change(job, place, value)
    return tomli_w.dumps(job).encode(), tomli_w.dumps(parts).encode()


def _change(job: dict[str, Any], place: str, value: Any) -> None:
    table, _, rest = place.partition(".")
    if table in ("job", "site") or (isinstance(job.get(table), dict) and table not in ("source", "tank")):
        _put(job.setdefault(table, {}), rest.split("."), value)
        return
    if table in ("source", "tank") and isinstance(job.get(table), dict):
        job[table] = [job[table]]
    rows: list[dict[str, Any]] = job.setdefault(table, [])
    name = "name" if table == "locations" else "tag"
    if table in ("sightlines", "accepted"):
        number, _, key = rest.partition(".")
        if int(number) >= len(rows):
            rows.append(value)
        else:
            _put(rows[int(number)], key.split("."), value)
        return
    tag, _, key = rest.partition(".")
    row = next((r for r in rows if r[name] == tag), None)
    if not key:
        if row is not None:
            rows.remove(row)
        if value is not None:
            rows.append({name: tag, **value})
        return
    assert row is not None, f"no {table} {tag} in the reference job"
    _put(row, key.split("."), value)


def _put(row: Any, keys: list[str], value: Any) -> None:
    """Sets (or with None removes) ``a.b[2].c``; an index one past the end appends."""
    steps: list[str | int] = []
    for key in keys:
        steps.append(_STEP.sub("", key))
        steps += [int(n) for n in _STEP.findall(key)]
    for step in steps[:-1]:
        row = row.setdefault(step, {}) if isinstance(row, dict) else row[step]
    last = steps[-1]
    if value is None:
        if isinstance(row, list) or last in row:
            del row[last]
    elif isinstance(row, list) and last == len(row):
        row.append(value)
    else:
        row[last] = value


def read_edited(edit: Mapping[str, Any]) -> System:
    """The changed reference job, solved; fails with the findings where it cannot be read."""
    job, parts = edited(edit)
    reading = read_spec(job, "job.toml", lambda name: parts)
    assert reading.description is not None, [f"{f.rule}: {f.message}" for f in reading.findings]
    connected, wrong = connect(reading.description)
    assert connected is not None, [f"{f.rule}: {f.message}" for f in wrong]
    return solve(connected)


def check_edited(edit: Mapping[str, Any], rules: tuple[Rule, ...] | None = None) -> Checked:
    """Every rule (or these) on the changed reference job; a crash in a rule is raised."""
    system = read_edited(edit)
    return check(system, strict=True) if rules is None else check(system, rules, strict=True)
