"""The control truth table as a schedule."""

from __future__ import annotations

from specc.documents.truth_table import truth_table
from tests.reference import read_edited

_NO_PUMP = {
    "pumps.P1": None,
    "switches.TS1": None,
    "runs.R3": None,
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "LS2.1", "color": "yellow"},
        {"from": "LS2.2", "to": "CB1.remote2", "color": "orange"},
    ],
    **{f"pipes.{tag}": None for tag in ("S3", "D1")},
}


def test_each_switch_and_each_pump_has_its_columns() -> None:
    table = truth_table(read_edited({}))
    assert table is not None

    assert table.name == "control-truth-table"
    assert [c.key for c in table.columns] == [
        "state",
        "switch_LS1",
        "switch_LS2",
        "switch_TS1",
        "pump_P1",
        "why_P1",
    ]
    assert len(table.rows) == 8 + 1 + 2  # situations, a cut wire, Q1 and DS1 open
    assert all(set(row) == {c.key for c in table.columns} for row in table.rows)


def test_rows_say_stop_and_stands() -> None:
    table = truth_table(read_edited({}))
    assert table is not None
    row = next(row for row in table.rows if row["state"] == "LS1: tank full")

    assert (row["switch_LS1"], row["switch_LS2"], row["pump_P1"]) == ("STOP", "clear", "stands")


def test_with_many_switches_the_state_in_words_stands_for_the_columns() -> None:
    more = {
        f"switches.X{n}": {"part": "float-r", "location": "tank", "closes_on": "fall", "guards": "tank full"}
        for n in range(9)
    }

    table = truth_table(read_edited(more))

    assert table is not None
    assert [c.key for c in table.columns] == ["state", "pump_P1", "why_P1"]
    assert "X3: tank full" in {row["state"] for row in table.rows}


def test_a_job_without_a_pump_has_no_table() -> None:
    assert truth_table(read_edited(_NO_PUMP)) is None
