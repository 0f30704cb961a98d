"""One-line and wiring diagram of the example jobs as they stand; made anew only after looking at each."""

from __future__ import annotations

import pytest
from syrupy.assertion import SnapshotAssertion

from specc.pipeline import XML_HEAD, one_line_drawings, wiring_drawings
from specc.rendering.html import _placed
from tests.jobs import EXAMPLES, FOLDER, solved

DRAWINGS = {"one-line": one_line_drawings, "wiring": wiring_drawings}


@pytest.mark.parametrize("kind", DRAWINGS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sheets_of_an_example_are_as_they_were(name: str, kind: str, snapshot: SnapshotAssertion) -> None:
    assert [sheet.svg for sheet in DRAWINGS[kind](solved(name), draft=False)] == snapshot


def test_the_picture_in_the_readme_is_the_one_line_of_the_example() -> None:
    (sheet,) = one_line_drawings(solved("cedar-fold-orchard"), draft=False)
    picture = (FOLDER / "cedar-fold-one-line.svg").read_text(encoding="utf-8")

    assert picture == XML_HEAD + sheet.svg


def test_the_bookmarks_of_a_sheet_name_its_devices_and_runs_but_not_its_match_marks() -> None:
    (first, _) = one_line_drawings(solved("saltbush-paddock"), draft=False)
    named = {mark.tag for mark in _placed(first, "", "", told=False).marks}

    assert {"PV1", "BOX1", "R1", "F3"} <= named
    assert not [tag for tag in named if tag.startswith("mark")]


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_sheet_of_the_packet_is_printed_at_full_size(name: str) -> None:
    """Else its letters would be lower than on the sheet itself."""
    for drawings in DRAWINGS.values():
        for sheet in drawings(solved(name), draft=False):
            placed = _placed(sheet, "", "", told=False)

            assert (placed.drawn_width_mm, placed.drawn_height_mm) == (sheet.width_mm, sheet.height_mm)
