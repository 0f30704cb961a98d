"""The words and figures of every sheet of the example jobs; made anew only after looking at what changed."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest
from syrupy.assertion import SnapshotAssertion

from specc import pipeline
from specc.rendering.html import packet_html
from specc.rendering.water_sheets import water_sheets
from tests.jobs import EXAMPLES, compiled, solved

CELLS, ROWS = {"td", "th"}, {"tr", "p", "li", "h2", "h3", "h4", "dt", "dd", "figcaption", "caption", "text"}


class Sheets(HTMLParser):
    """Lines of text by the sheet that they stand on, cells of a row side by side."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: dict[str, list[str]] = {}
        self.sheet = ""
        self.line = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "section" and "sheet" in str(found.get("class")).split():
            self._end()
            self.sheet = str(found.get("id"))
            self.sheets[self.sheet] = []
        elif tag in CELLS and self.line:
            self.line += " | "

    def handle_endtag(self, tag: str) -> None:
        if tag in ROWS:
            self._end()

    def handle_data(self, data: str) -> None:
        if self.sheet:
            self.line += " ".join(data.split()) + (" " if data[-1:].isspace() else "")

    def _end(self) -> None:
        if line := self.line.strip(" |"):
            self.sheets[self.sheet].append(line)
        self.line = ""


@pytest.mark.slow
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_words_of_every_sheet_are_as_they_were(name: str, snapshot: SnapshotAssertion) -> None:
    system = solved(name)
    year = pipeline.water(system, drawn=True)
    further = (year.table,) if year.table else ()
    pictures = water_sheets(system, year.charts, draft=False).sheets
    packet = pipeline.packet(compiled(name), draft=False, further=further, pictures=pictures)
    reader = Sheets()
    reader.feed(packet_html(packet))

    assert len(reader.sheets) > 15
    assert all(reader.sheets.values()), "a sheet without a word"
    for sheet, lines in reader.sheets.items():
        assert "\n".join(lines) == snapshot(name=sheet)
