"""What a designer may accept, and what nobody may."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import Compiled, compile_spec
from tests.reference import edited

FAR = {"runs.R1.length": "30 m", "raceways.C1.length": "30 m"}  # 2.72 V of 36 V: a warning
THIN = {"runs.R1.size": "14 AWG"}  # a danger


def accepted(
    edit: dict[str, Any], rule: str, on: str, reason: str = "it is known", by: str = "J. Installer"
) -> Compiled:
    row = {"rule": rule, "on": on, "reason": reason, "by": by}
    spec, parts = edited({**edit, "accepted.0": row})
    return compile_spec(spec, "job.toml", lambda name: parts, strict=True)


def refusal(made: Compiled) -> Finding:
    (finding,) = [f for f in made.findings if f.rule == "spec.acceptance"]
    return finding


@pytest.mark.parametrize("on", ["R1", "r1", " R1 "])
def test_a_warning_of_a_rule_that_allows_it_is_accepted(on: str) -> None:
    made = accepted(FAR, "drop.power-run", on)

    assert ("drop.power-run", "R1") in {(f.rule, f.subject) for f in made.findings if f.accepted}
    assert not [f for f in made.findings if f.rule == "spec.acceptance"]


@pytest.mark.parametrize(
    ("edit", "rule", "on", "word"),
    [
        (THIN, "ampacity.pv-circuit", "R1.1", "a danger"),
        (
            {"batteries.BT1": {"part": "battery-r", "parallel": 2}},
            "battery.strings-share-fuse",
            "BT1",
            "danger",
        ),
        ({"runs.R2.conductors[2]": None}, "wiring.open-path", "P1", "no deviation"),
        ({"runs.R1.length": "4 m"}, "wiring.run-too-short", "R1", "no deviation"),
        ({"part:panel-r.voc_coefficient": None}, "spec.missing-data", "PV1", "no deviation"),
        # worse than what the rule finds as a rule
        (
            {"runs.R1.length": "110 m", "raceways.C1.length": "110 m"},
            "drop.power-run",
            "R1",
            "level of an error",
        ),
        (
            {"source.WELL.water_level": "3.0 m", "source.WELL.low_water_level": "3.4 m"},
            "spec.implausible",
            "WELL",
            "level of an error",
        ),
    ],
)
def test_what_nobody_may_accept_stays_and_the_acceptance_is_an_error(
    edit: dict[str, Any], rule: str, on: str, word: str
) -> None:
    made = accepted(edit, rule, on)

    assert made.exit_status == 1
    assert not any(f.accepted for f in made.findings)
    found = [f for f in made.findings if f.rule == "spec.acceptance"]
    assert found and all(f.severity is Severity.ERROR and word in f.message for f in found)


@pytest.mark.parametrize(
    ("rule", "word"),
    [
        ("ampacity", "no such rule"),
        ("ampacity.*", "no such rule"),
        ("*", "no such rule"),
        ("drop.power-rum", 'did you mean "drop.power-run"?'),
        ("Drop.Power-Run", 'did you mean "drop.power-run"?'),
        ("spec.acceptance", "no deviation"),
        ("spec.unknown-part", "no deviation"),
    ],
)
def test_no_group_and_no_misspelt_rule_is_accepted(rule: str, word: str) -> None:
    made = accepted(THIN, rule, "R1.1")

    assert word in refusal(made).message
    assert refusal(made).severity is Severity.ERROR
    assert any(f.rule == "ampacity.pv-circuit" and f.stops_the_job for f in made.findings)


def test_an_acceptance_of_nothing_says_where_it_was_found() -> None:
    finding = refusal(accepted(FAR, "drop.power-run", "R77"))

    assert finding.severity is Severity.ADVICE
    assert "it was on R1" in finding.message


@pytest.mark.parametrize("key", ["reason", "by"])
def test_blanks_are_no_reason_and_nobody(key: str) -> None:
    made = accepted(FAR, "drop.power-run", "R1", **{key: "   "})

    assert made.system is None
    assert [(f.rule, f.verdict) for f in made.findings] == [("spec.out-of-range", Verdict.VIOLATED)]
