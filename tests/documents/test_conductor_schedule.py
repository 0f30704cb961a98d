"""The conductor schedule: one row a conductor, with the figures of the reference job."""

from __future__ import annotations

import pytest

from specc.documents.conductor_schedule import conductor_schedule
from specc.documents.tables import Cell
from specc.rules._edits import PV_DIRECT
from tests.reference import read_edited
from tests.test_examples import EXAMPLES, compiled


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
    # Worked reference job: Np Imp 11.12 A, 1.25 x 12.0 A (NEC 690.8(A)(1)); 10 AWG,
    # 90 degC column, 40 A x 0.91 at 38 degC; half of 0.905 V each way.
    row = _rows()["R1.1"]

    assert row["highest_current"] == pytest.approx(15.0)
    assert row["working_current"] == pytest.approx(11.12)
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


def test_behind_a_booster_the_highest_current_is_its_rating_not_that_of_the_motor() -> None:
    # Reference job: booster 12 A for hours (NEC 690.8(A), converter output), motor 8 A.
    row = _rows()["R3.1"]

    assert row["highest_current"] == pytest.approx(12.0)
    assert row["working_current"] == pytest.approx(8.0)


def test_a_drop_is_a_share_of_what_the_rule_on_drop_judges_by() -> None:
    # Straight on the array the motor's 24 V count, not the array's: as in drop.power-run.
    rows = _rows({**PV_DIRECT, "panels.PV1.series": 1})
    row = rows["R1.1"]

    assert row["drop_share"] == pytest.approx(float(row["drop"] or 0.0) / 24.0)


def _saltbush() -> dict[str, dict[str, Cell]]:
    system = compiled(EXAMPLES / "saltbush-paddock.toml").system
    assert system is not None
    return {str(row["tag"]): dict(row) for row in conductor_schedule(system).rows}


def test_a_battery_carries_its_loads_alone_by_night() -> None:
    # Hand figure: motor 6.4 A through 1.5 m of 10 mm2 at 0.0225 ohm mm2/m (IEC 60364-5-52 Annex G): 21.6 mV.
    # By day the charger takes part of it, and gives 2 x 36.2 V x 4.97 A x 0.97 / 48 V = 7.27 A.
    rows = _saltbush()

    assert rows["R3.1"]["working_current"] == pytest.approx(6.4)
    assert rows["R3.1"]["drop"] == pytest.approx(6.4 * 1.5 * 0.0225 / 10, rel=1e-6)
    assert rows["R3.3"]["working_current"] == pytest.approx(2 * 36.2 * 4.97 * 0.97 / 48, rel=1e-6)
    leg_v = (0.2 + 1.5 + 0.4 + 0.4) * 0.0225 / 10 * 6.4  # R2.1, R3.1, R4.1, R4.3
    assert rows["R4.3"]["total_share"] == pytest.approx(leg_v / 48, rel=1e-4)


def test_the_fuse_at_the_post_is_named_for_all_that_only_it_makes_safe() -> None:
    rows = _saltbush()

    assert rows["R2.1"]["device"] is None  # between the post and the fuse
    assert [rows[tag]["device"] for tag in ("R3.1", "R3.3", "R4.3", "R5.1")] == ["F1"] * 4
    assert [rows[tag]["device"] for tag in ("R3.2", "R4.4", "R7.2", "R9.1")] == ["F2"] * 4  # the other leg
    assert [rows[tag]["device"] for tag in ("R6.1", "R7.1", "R8.2")] == ["F3"] * 3
    assert rows["R1.1"]["device"] is None  # the array alone feeds it


def test_a_joint_note_is_printed() -> None:
    system = read_edited({"runs.R3.conductors[0].joint_note": "pump lead is brown"})

    assert any("R3.1: pump lead is brown" in note for note in conductor_schedule(system).notes)


def test_what_cannot_be_worked_out_is_left_empty_not_zero() -> None:
    row = _rows({"part:pump-r.rated_current": None})["R3.1"]

    assert row.get("working_current") is None
    assert row.get("drop") is None
