"""Labels to cut out: every label of the schedule, with its values, as often as it is needed."""

from __future__ import annotations

import pytest

from specc.documents.label_schedule import labels_of
from specc.documents.placards import MOST_COPIES, placards, split_text
from tests.reference import read_edited


def test_every_label_but_the_conductor_tags_is_there_as_often_as_it_is_needed() -> None:
    system = read_edited({})
    wanted = {
        (lab.name, lab.tag): min(lab.count, MOST_COPIES)
        for lab in labels_of(system)
        if lab.name != "conductor tag"
    }
    made: dict[tuple[str, str], int] = {}
    for placard in placards(system):
        made[placard.name, placard.hangs_at] = made.get((placard.name, placard.hangs_at), 0) + 1
    assert made == wanted
    assert len(made) >= 10


def test_the_values_are_those_of_the_job() -> None:
    # Worked reference job: 49.28 V on the coldest morning, 15.0 A.
    (label,) = (p for p in placards(read_edited({})) if p.name == "array disconnect")
    assert label.main == "PV DISCONNECT Q1"
    assert label.lines == ("Highest voltage 49.3 V DC, highest current 15 A DC.",)
    assert label.complete


def test_a_label_without_its_value_is_marked() -> None:
    broken = read_edited({"site.coldest_air": None})
    labels = [p for p in placards(broken) if p.name == "array disconnect"]
    assert [p.complete for p in labels] == [False]


@pytest.mark.parametrize(
    ("text", "main", "lines"),
    [
        ("PV CIRCUIT. LIVE.", "PV CIRCUIT", ("LIVE.",)),
        ("WARNING. BOTH SIDES LIVE.", "WARNING: BOTH SIDES LIVE", ()),
        ("Set at 3.5 bar. Never shut.", "Set at 3.5 bar", ("Never shut.",)),
        ("DANGER", "DANGER", ()),
    ],
)
def test_the_first_sentence_is_the_main_line(text: str, main: str, lines: tuple[str, ...]) -> None:
    assert split_text(text) == (main, lines)
