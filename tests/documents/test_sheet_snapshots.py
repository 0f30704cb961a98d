"""One-line and wiring diagram of the example jobs as they stand; made anew only after looking at each."""

from __future__ import annotations

import pytest
from syrupy.assertion import SnapshotAssertion

from specc.pipeline import XML_HEAD, one_line_drawings, wiring_drawings
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
