"""The termination schedule: every end of every conductor once, in its box, with what the part says."""

from __future__ import annotations

from collections import Counter

import pytest

from specc.documents.termination_schedule import PER_MAKER, termination_schedule
from tests.jobs import EXAMPLES, solved
from tests.reference import read_edited


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_end_of_every_conductor_has_a_row_and_every_terminal_is_there(name: str) -> None:
    system = solved(name)
    rows = termination_schedule(system).rows
    rows = tuple(row for row in rows if "link" not in str(row["conductor"]))
    ends = Counter((c.tag, end) for c in system.conductors for end in (c.start, c.end))

    assert Counter((r["conductor"], r["terminal"]) for r in rows if r["conductor"] != "free") == ends
    assert {r["terminal"] for r in rows} == set(system.connected.terminals)
    for row in rows:
        if row["conductor"] == "free":
            assert all(row["terminal"] not in (c.start, c.end) for c in system.conductors)
            assert "done" not in row


def test_joints_within_an_array_and_a_bank_have_their_rows_too() -> None:
    # Two modules in series: one link and one from frame to frame; four blocks in series: three links. The
    # torque is that of the part: studs of the block 6 N m, clips of the module 1.2 N m.
    found = {
        (r["terminal"], r["conductor"], r["other_end"]): r["torque"]
        for r in termination_schedule(solved("saltbush-paddock")).rows
        if "link" in str(r["conductor"])
    }

    assert found[("BAT1 -", "3 links", "to next +")] == pytest.approx(6.0)
    assert found[("PV1 -", "1 link", "to next +")] == pytest.approx(1.2)
    assert ("PV1 frame", "1 link", "to next frame") in found
    lone = termination_schedule(solved("hazel-hollow-spring"))
    assert not any("link" in str(r["conductor"]) for r in lone.rows)
    assert not any("Links" in note for note in lone.notes)


def test_two_conductors_at_a_terminal_have_two_rows_with_their_own_other_ends() -> None:
    rows = [r for r in termination_schedule(read_edited({})).rows if r["terminal"] == "CB1.pv-"]

    assert [(r["conductor"], r["other_end"]) for r in rows] == [("R1.2", "PV1.-"), ("R5.2", "GB1.system")]


def test_terminals_stand_in_their_box_or_place() -> None:
    system = solved("cedar-fold-orchard")
    group = {str(r["terminal"]): str(r["group"]) for r in termination_schedule(system).rows}

    assert group["TB1.1"].startswith("BOX1")
    assert group["BOX1.ground"].startswith("BOX1")
    assert group["DS1.1"].startswith("BOX2")
    assert group["LS1.1"] == "Outside of boxes, tank"


def test_strip_and_torque_are_those_of_the_part_else_the_makers() -> None:
    edit = {
        "part:holder-r.wire.torque": "1.8 N m",
        "part:holder-r.wire.strip": "11 mm",
    }
    rows = {
        str(r["conductor"]): r
        for r in termination_schedule(read_edited(edit)).rows
        if r["terminal"] == "F1.1"
    }
    (row,) = rows.values()

    assert row["torque"] == pytest.approx(1.8)
    assert row["strip"] == pytest.approx(0.011)
    bare = next(r for r in termination_schedule(read_edited({})).rows if r["terminal"] == "LS1.1")
    assert (bare["strip"], bare["torque"]) == (PER_MAKER, PER_MAKER)


def test_a_stud_takes_a_ring_lug() -> None:
    rows = termination_schedule(solved("saltbush-paddock")).rows

    assert {r["strip"] for r in rows if str(r["terminal"]).startswith("BAT1.")} == {"ring lug"}
