"""Edges of the rules on parts in a water line. Figures: worked reference job (own arithmetic)."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules.water_parts import DEVICE_CLASS, FITTING_CLASS, OVER_CAPACITY, RELIEF_CAPACITY, WRONG_WAY
from tests.rules.answers import found, missing, subjects

ELBOWS: dict[str, Any] = {"pipes.D3.fittings": ["elbow 90", "elbow 90"]}
SECOND: dict[str, Any] = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m"},
}

# -- delivery.valve-class ------------------------------------------------------------------------


@pytest.mark.parametrize(("rated", "fires"), [("384 kPa", True), ("385 kPa", False), ("386 kPa", False)])
def test_a_valve_at_the_pressure_of_the_open_relief_valve(rated: str, fires: bool) -> None:
    # 1.1 · 350 = 385 kPa
    assert bool(found(DEVICE_CLASS, {"part:check-r.pressure": rated})) is fires


# -- delivery.fitting-class ----------------------------------------------------------------------


@pytest.mark.parametrize(("rated", "fires"), [("520 kPa", True), ("520.3 kPa", False), ("521 kPa", False)])
def test_a_fitting_at_what_presses_on_it_when_hot(rated: str, fires: bool) -> None:
    # 385 kPa / 0.74 (PE at 40 degC, ISO 4427-1 Annex A) = 520.27 kPa
    assert bool(found(FITTING_CLASS, {**ELBOWS, "part:elbow-r.pressure": rated})) is fires


def test_a_fitting_in_a_dip_has_the_column_on_it_too() -> None:
    # 10 m lower adds 97.9 kPa (998.6 kg/m3): 482.9 kPa / 0.74 = 652.6 kPa
    dip = {**ELBOWS, "pipes.D3.low_point": "-10 m"}

    assert found(FITTING_CLASS, {**dip, "part:elbow-r.pressure": "652 kPa"})
    assert not found(FITTING_CLASS, {**dip, "part:elbow-r.pressure": "653 kPa"})


def test_a_cool_fitting_keeps_its_strength() -> None:
    cool = {**ELBOWS, "pipes.D3.hottest_wall": "20 degC"}

    assert not found(FITTING_CLASS, {**cool, "part:elbow-r.pressure": "386 kPa"})


def test_fittings_of_the_suction_are_not_under_pressure() -> None:
    assert not found(FITTING_CLASS, {"part:elbow-r.pressure": "1 kPa"}, Verdict.SATISFIED)


def test_an_unknown_rating_is_missing_and_an_unknown_fitting_not_checked() -> None:
    assert missing(FITTING_CLASS, {**ELBOWS, "part:elbow-r.pressure": None}) == ["pressure"]
    (open_one,) = found(FITTING_CLASS, {"pipes.D3.fittings": ["return bend"]}, Verdict.NOT_CHECKED)
    assert "no return bend of 32 mm" in open_one.message


def test_an_edge_of_a_pipe_is_no_fitting() -> None:
    assert not found(FITTING_CLASS, {"pipes.D3.fittings": ["exit"]}, Verdict.NOT_CHECKED)


# -- delivery.relief-capacity --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("passes", "fires"), [("9.99 L/min", True), ("10 L/min", False), ("10.1 L/min", False)]
)
def test_the_relief_valve_passes_the_whole_flow(passes: str, fires: bool) -> None:
    assert bool(found(RELIEF_CAPACITY, {"part:relief-r.max_flow": passes})) is fires


def test_the_greatest_flow_of_the_data_sheet_counts() -> None:
    rows = [
        {"voltage": "24 V", "head": "10 m", "flow": "10 L/min", "current": "1.943 A"},
        {"voltage": "24 V", "head": "41.87 m", "flow": "10 L/min", "current": "8.135 A"},
        {"voltage": "30 V", "head": "10 m", "flow": "12.5 L/min", "current": "2.4 A"},
        {"voltage": "30 V", "head": "41.87 m", "flow": "12.5 L/min", "current": "10 A"},
    ]
    faster = {"part:pump-r.table": rows}

    assert found(RELIEF_CAPACITY, {**faster, "part:relief-r.max_flow": "12.4 L/min"})
    assert not found(RELIEF_CAPACITY, {**faster, "part:relief-r.max_flow": "12.5 L/min"})


def test_pumps_on_one_valve_count_together() -> None:
    both = {**SECOND, "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "RV1.in", "length": "1 m"}}

    assert found(RELIEF_CAPACITY, {**both, "part:relief-r.max_flow": "19.9 L/min"})
    assert not found(RELIEF_CAPACITY, {**both, "part:relief-r.max_flow": "20 L/min"})


def test_the_flow_of_a_relief_valve_must_be_known() -> None:
    assert missing(RELIEF_CAPACITY, {"part:relief-r.max_flow": None}) == ["max_flow"]
    assert not missing(RELIEF_CAPACITY, {"part:relief-r.max_flow": None, "part:pump-r.type": "centrifugal"})


# -- flow.over-capacity --------------------------------------------------------------------------


@pytest.mark.parametrize("part", ["filter-r", "check-r"])
@pytest.mark.parametrize(("flow", "fires"), [("9.99 L/min", True), ("10 L/min", False)])
def test_flow_just_under_and_at(part: str, flow: str, fires: bool) -> None:
    assert bool(found(OVER_CAPACITY, {f"part:{part}.max_flow": flow})) is fires


def test_the_flow_of_filter_and_check_valve_must_be_known() -> None:
    assert missing(OVER_CAPACITY, {"part:filter-r.max_flow": None}) == ["max_flow"]
    assert missing(OVER_CAPACITY, {"part:check-r.max_flow": None}) == ["max_flow"]


def test_other_valves_are_held_to_their_flow_where_it_is_given() -> None:
    assert subjects(found(OVER_CAPACITY, {}, Verdict.SATISFIED)) == {"FL1", "CV1"}
    assert subjects(found(OVER_CAPACITY, {"part:priming-tee-r.max_flow": "8 L/min"})) == {"PR1"}


def test_the_flow_of_both_pumps_runs_through_a_shared_check_valve() -> None:
    both = {**SECOND, "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"}}

    assert "CV1" in subjects(found(OVER_CAPACITY, {**both, "part:check-r.max_flow": "19 L/min"}))
    assert not found(OVER_CAPACITY, {**both, "part:check-r.max_flow": "20.1 L/min"})


# -- flow.wrong-way ------------------------------------------------------------------------------

CHECK_IN_SUCTION: dict[str, Any] = {
    "valves.CV9": {"part": "check-r", "freeze_safe": True},
    "pipes.S2.to": "CV9.in",
    "pipes.S9": {"part": "pipe-r", "from": "CV9.out", "to": "PR1.in", "length": "0.3 m"},
}
TURNED: dict[str, Any] = {"pipes.S2.to": "CV9.out", "pipes.S9.from": "CV9.in"}


def test_a_check_valve_of_the_suction_with_and_against_the_flow() -> None:
    assert not found(WRONG_WAY, CHECK_IN_SUCTION)
    (finding,) = found(WRONG_WAY, {**CHECK_IN_SUCTION, **TURNED})
    assert (finding.subject, finding.severity) == ("CV9", Severity.ERROR)


def test_a_pipe_may_be_written_either_way_round() -> None:
    assert not found(WRONG_WAY, {"pipes.S1.from": "FL1.in", "pipes.S1.to": "WELL"})


def test_a_filter_in_the_delivery_has_a_direction_too() -> None:
    line: dict[str, Any] = {
        "filters.FL9": {"part": "filter-r", "freeze_safe": True},
        "pipes.D3.to": "FL9.in",
        "pipes.D9": {"part": "pipe-r", "from": "FL9.out", "to": "TK1.inlet", "length": "0.3 m"},
    }

    assert not found(WRONG_WAY, line)
    (finding,) = found(WRONG_WAY, {**line, "pipes.D3.to": "FL9.out", "pipes.D9.from": "FL9.in"})
    assert (finding.subject, finding.severity) == ("FL9", Severity.WARNING)


def test_a_check_valve_of_the_delivery_is_told_by_its_own_rule() -> None:
    assert not found(WRONG_WAY, {"pipes.D2.to": "CV1.out", "pipes.D3.from": "CV1.in"})
