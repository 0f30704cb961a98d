"""Edges of the siphon rule. Levels: worked reference job (own arithmetic)."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules.delivery import TOTAL_HEAD
from specc.rules.siphon import SIPHON
from tests.reference import check_edited, read_edited
from tests.rules.answers import found, missing

NOTHING_HOLDS: dict[str, Any] = {
    "valves.CV1": None,
    "pipes.D2": None,
    "pipes.D3.from": "RV1.out",
    "pipes.S1.fittings": ["elbow 90", "elbow 90"],
}


def at(inlet: str, overflow: str | None = None) -> dict[str, Any]:
    return {"tank.TK1.inlet": inlet, "tank.TK1.overflow": overflow}


@pytest.mark.parametrize(("inlet", "fires"), [("-3.01 m", True), ("-3 m", False), ("-2.99 m", False)])
def test_inlet_just_under_at_and_over_the_standing_water(inlet: str, fires: bool) -> None:
    assert bool(found(SIPHON, at(inlet))) is fires


def test_the_standing_water_counts_and_not_the_drawn_down() -> None:
    # -3.2 m lies above the drawn-down level of -3.4 m, and runs until the well is down to it.
    assert found(SIPHON, at("-3.2 m"))


def test_a_drowned_inlet_lets_go_at_the_full_level() -> None:
    # The full tank stands at +1 m, above the well: it fills no further by itself.
    assert not found(SIPHON, at("-3.2 m", "1 m"))


def test_an_air_valve_above_the_source_breaks_the_run() -> None:
    hill = {
        **at("-5 m"),
        "valves.AV1": {"part": "air-valve-0.5", "elevation": "1 m", "freeze_safe": True},
        "pipes.D3.to": "AV1.in",
        "pipes.D4": {"part": "pipe-r", "from": "AV1.out", "to": "TK1.inlet", "length": "20 m"},
    }

    assert not found(SIPHON, hill)
    assert found(SIPHON, {**hill, "valves.AV1.elevation": "-4 m"})  # under the well's level
    assert missing(SIPHON, {**hill, "valves.AV1.elevation": None}) == ["elevation"]


def test_a_head_below_zero_fails_no_check() -> None:
    """25 m down: the head is -24.6 m, and every rule still comes to an answer."""
    findings = check_edited(at("-28 m")).findings

    assert not [f for f in findings if f.rule in ("spec.check-failed", "spec.outside-tables")]
    assert any(f.rule == "delivery.siphon" and f.severity is Severity.ERROR for f in findings)


def test_water_that_runs_down_takes_no_power() -> None:
    water = read_edited(at("-28 m")).water
    (pump,) = water.pumps

    assert water.total_head(pump, True).value < 0.0
    assert water.hydraulic_power(pump, True).value == 0.0


def test_a_drowned_inlet_is_pumped_against_the_full_tank() -> None:
    # Inlet at +20 m under a full level of +21.95 m: 21.95 + 3.4 m, and the 3.2 m of losses of the job
    # (28.6 m of total head, 25.4 m of it static; from the worked reference job).
    (finding,) = [
        f
        for f in check_edited(at("20 m", "21.95 m"), (TOTAL_HEAD,)).findings
        if f.rule == TOTAL_HEAD.id and f.verdict is Verdict.SATISFIED
    ]

    assert float(finding.actual.removesuffix(" m")) == pytest.approx(28.55, abs=0.05)


@pytest.mark.parametrize(("overflow", "fires"), [("22 m", False), ("22.01 m", True), ("21.99 m", False)])
def test_back_siphon_at_the_level_of_the_inlet(overflow: str, fires: bool) -> None:
    assert bool(found(SIPHON, {**NOTHING_HOLDS, "tank.TK1.overflow": overflow})) is fires


def test_a_foot_valve_holds_a_drowned_tank_too() -> None:
    assert not found(
        SIPHON,
        {**NOTHING_HOLDS, "pipes.S1.fittings": ["foot valve"], "tank.TK1.overflow": "23 m"},
    )


def test_nothing_holds_and_no_overflow_is_stated() -> None:
    edit = {**NOTHING_HOLDS, "tank.TK1.overflow": None}

    assert found(SIPHON, edit, Verdict.NOT_CHECKED)
