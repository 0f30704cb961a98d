"""A job as a newcomer writes it from the README: two dug wells, two pumps, a battery, one cistern."""

from __future__ import annotations

import copy
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w

from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import compile_spec

FILE = Path(__file__).parent / "data" / "two-wells.toml"
JOB: dict[str, Any] = tomllib.loads(FILE.read_text(encoding="utf-8"))


def _found(job: dict[str, Any]) -> tuple[Finding, ...]:
    def no_file(name: str) -> bytes:
        raise FileNotFoundError(2, "No such file", name)

    return compile_spec(tomli_w.dumps(job).encode(), FILE.name, no_file, strict=True).findings


@cache
def _as_it_stands() -> tuple[Finding, ...]:
    return _found(JOB)


def _new_in(job: dict[str, Any]) -> set[tuple[str, str]]:
    """Rules that are violated now, with their subjects, and were not before."""
    before = {(f.rule, f.subject) for f in _as_it_stands() if f.verdict is Verdict.VIOLATED}
    return {(f.rule, f.subject) for f in _found(job) if f.verdict is Verdict.VIOLATED} - before


def _run(job: dict[str, Any], tag: str) -> dict[str, Any]:
    return next(run for run in job["runs"] if run["tag"] == tag)


def test_a_sound_job_of_two_wells_is_clean() -> None:
    open_or_bad = [
        f
        for f in _as_it_stands()
        if f.verdict is Verdict.NOT_CHECKED
        or (f.verdict is Verdict.VIOLATED and not f.accepted and f.severity is not Severity.ADVICE)
    ]

    assert open_or_bad == []


def test_each_well_float_answers_for_the_pump_that_draws_from_its_well() -> None:
    held = [
        f.message for f in _as_it_stands() if f.rule == "control.stop-logic" and f.subject in ("LSA", "LSB")
    ]

    assert len(held) == 2
    assert any("PA" in text for text in held)
    assert any("PB" in text for text in held)


def test_floats_changed_over_between_the_wells_are_found() -> None:
    job = copy.deepcopy(JOB)
    for run in (_run(job, "R6"), _run(job, "R7")):
        for conductor in run["conductors"]:
            for end in ("from", "to"):
                swapped = conductor[end].replace("LSA.", "LSX.").replace("LSB.", "LSA.")
                conductor[end] = swapped.replace("LSX.", "LSB.")

    assert {("control.wrong-pump", "LSA"), ("control.wrong-pump", "LSB")} <= _new_in(job)


def test_a_float_with_a_wire_round_it_does_not_stop_its_own_pump() -> None:
    job = copy.deepcopy(JOB)
    _run(job, "R6")["conductors"].append({"from": "LSA.1", "to": "LSA.2", "color": "red"})

    assert ("control.stop-logic", "LSA") in _new_in(job)


def test_the_branch_to_the_pumps_need_carry_no_more_than_its_fuses_let_through() -> None:
    """12 A do in 6 mm2; with 30 A in both poles the controller's 30 A would pass, too much as it is laid."""
    job = copy.deepcopy(JOB)
    for fuse in job["fuses"]:
        if fuse["tag"] in ("F3", "F4"):
            fuse["part"] = "fuse-10x38-dc-30a"

    assert ("ampacity.corrected", "R11.1") in _new_in(job)
