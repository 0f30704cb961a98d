"""The conductor schedule: one row a conductor, with the figures of the reference job."""

from __future__ import annotations

import pytest

from specc.documents.conductor_schedule import conductor_schedule
from specc.documents.tables import Cell
from tests.reference import read_edited


def _rows(edit: dict[str, object] | None = None) -> dict[str, dict[str, Cell]]:
    return {str(row["tag"]): dict(row) for row in conductor_schedule(read_edited(edit or {})).rows}


def test_every_conductor_has_its_row() -> None:
    system = read_edited({})

    assert list(_rows()) == [c.tag for c in system.conductors]


def test_roles_come_from_the_graph() -> None:
    rows = _rows()

    assert rows["R1.1"]["role"] == "array +"
    assert rows["R1.2"]["role"] == "array -"
    assert rows["R1.3"]["role"] == "equipment ground"
    assert rows["R3.1"]["role"] == "output +"
    assert rows["R4.1"]["role"] == "control"
    assert rows["R5.2"]["role"] == "system bond"
    assert rows["R6.1"]["role"] == "electrode"


def test_currents_ampacity_and_drop_are_the_hand_figures() -> None:
    # Worked reference job: Np Imp 11.12 A; 10 AWG, 90 degC column, 40 A x 0.91 at 38 degC;
    # half of 0.905 V each way.
    row = _rows()["R1.1"]

    assert row["design_current"] == pytest.approx(11.12)
    assert row["ampacity"] == pytest.approx(36.4)
    assert row["drop"] == pytest.approx(0.4526, abs=0.0005)
    assert row["drop_share"] == pytest.approx(0.4526 / 36.0, abs=1e-4)


def test_the_device_ahead_is_named_or_left_empty() -> None:
    rows = _rows()

    assert rows["R3.1"]["device"] == "F1"
    assert rows["R1.1"]["device"] is None  # the array reaches it with nothing between


def test_drop_from_the_source_adds_up_along_the_leg() -> None:
    rows = _rows()
    own = sum(float(rows[tag]["drop"] or 0.0) for tag in ("R2.2", "R2.3", "R3.1"))

    assert rows["R3.1"]["total_share"] == pytest.approx(own / 24.0, rel=1e-6)


def test_a_joint_note_is_printed() -> None:
    system = read_edited({"runs.R3.conductors[0].joint_note": "pump lead is brown"})

    assert any("R3.1: pump lead is brown" in note for note in conductor_schedule(system).notes)


def test_what_cannot_be_worked_out_is_left_empty_not_zero() -> None:
    row = _rows({"part:pump-r.rated_current": None})["R3.1"]

    assert row.get("design_current") is None
    assert row.get("drop") is None
