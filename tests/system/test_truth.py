"""The control truth table, against the wiring followed by hand and against the rules on stop logic."""

from __future__ import annotations

from itertools import combinations

import pytest

from specc.system.system import System
from specc.system.truth import TruthRow, truth_rows
from tests.reference import read_edited

TAGS = ("LS1", "LS2", "TS1")


def _rows(system: System) -> dict[str, TruthRow]:
    return {row.state: row for row in truth_rows(system)}


def test_the_pump_of_the_reference_job_runs_in_the_clear_alone() -> None:
    rows = truth_rows(read_edited({}))

    assert [row.state for row in rows if row.pumps[0].runs] == ["all clear"]
    assert rows[0].pumps[0].why == "fed by PV1 through CB1"


def test_every_combination_of_three_switches_is_a_row_and_agrees_with_the_situations() -> None:
    system = read_edited({"runs.R4.conductors[4]": {"from": "LS2.1", "to": "LS2.2", "color": "blue"}})
    pump = system.devices["P1"]
    by_event = {frozenset(t for t, on in row.happened.items() if on): row for row in truth_rows(system)[:8]}

    for count in range(4):
        for happened in map(frozenset, combinations(TAGS, count)):
            assert by_event[happened].pumps[0].runs == system.situations(system.devices["P1"]).runs(
                pump, happened
            ), happened
    assert by_event[frozenset({"LS2"})].pumps[0].runs  # the wire round it


@pytest.mark.parametrize(
    ("state", "why"),
    [
        ("LS1: tank full", "remote loop of CB1 open at LS1"),
        ("LS2: source low; TS1: pump hot", "remote loop of CB1 open at LS2 and TS1"),
        ("remote loop of CB1: any wire cut", "remote loop of CB1 open: a wire is cut"),
        ("Q1 open", "CB1 cut from PV1 at Q1"),
        ("DS1 open", "P1 cut from CB1 at DS1"),
    ],
)
def test_a_row_says_what_stops_the_pump(state: str, why: str) -> None:
    row = _rows(read_edited({}))[state]

    assert (row.pumps[0].runs, row.pumps[0].why) == (False, why)


def test_a_loop_that_stops_when_closed_runs_on_with_a_cut_wire() -> None:
    edit = {
        "part:booster-r.remote.runs_when": "open",
        "switches.LS1.closes_on": "rise",
        "switches.LS2": None,
        "switches.TS1": None,
        "runs.R4.conductors": [
            {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
            {"from": "CB1.remote2", "to": "LS1.2", "color": "brown"},
        ],
    }
    rows = _rows(read_edited(edit))

    assert rows["LS1: tank full"].pumps[0].why == "remote loop of CB1 closed at LS1"
    assert rows["remote loop of CB1: any wire cut"].pumps[0].runs


def test_wires_whose_cut_matters_and_wires_whose_cut_does_not_are_apart() -> None:
    # A second wire beside R4.2: cutting one of the two changes nothing.
    edit = {"runs.R4.conductors[4]": {"from": "LS1.2", "to": "LS2.1", "color": "yellow"}}
    rows = _rows(read_edited(edit))

    assert rows["remote loop of CB1: R4.2, R4.5 cut"].pumps[0].runs
    assert not rows["remote loop of CB1: R4.1, R4.3, R4.4 cut"].pumps[0].runs


def test_many_switches_are_taken_one_by_one_and_all_together() -> None:
    more = {
        f"switches.X{n}": {
            "part": "float-r",
            "location": "tank",
            "closes_on": "fall",
            "guards": "tank full",
        }
        for n in range(2)
    }
    sensed = [
        row for row in truth_rows(read_edited(more)) if "open" not in row.state and "cut" not in row.state
    ]

    assert len(sensed) == 1 + 5 + 1


def test_cutting_a_wire_for_the_table_leaves_the_job_whole() -> None:
    system = read_edited({})
    edges = system.connected.graph.number_of_edges()

    truth_rows(system)

    assert system.connected.graph.number_of_edges() == edges
    assert system.situations(system.devices["P1"]).runs(system.devices["P1"], frozenset())
