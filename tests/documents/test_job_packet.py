"""The whole packet of a job on paper: every tag on a drawing and in its schedule, each on its sheet."""

from __future__ import annotations

import io
from functools import cache

import pypdf
import pytest

from specc.pipeline import packet
from specc.rendering.pdf import packet_pdf
from tests.jobs import compiled, solved

NAME = "hazel-hollow-spring"


@cache
def _pages() -> dict[str, str]:
    """Text of the sheets under each bookmark."""
    reader = pypdf.PdfReader(io.BytesIO(packet_pdf(packet(compiled(NAME), draft=False))))
    marks = [mark for mark in reader.outline if not isinstance(mark, list)]
    starts = [reader.get_destination_page_number(mark) for mark in marks]
    texts = [page.extract_text() for page in reader.pages]
    ends = [*starts[1:], len(texts) - 1]
    return {
        str(mark.title): "\n".join(texts[start : max(end, start) + 1])
        for mark, start, end in zip(marks, starts, ends, strict=True)
    }


@pytest.mark.slow
def test_every_tag_stands_on_a_drawing_and_in_its_schedule() -> None:
    system, pages = solved(NAME), _pages()
    wiring, terminations = pages["Wiring diagram"], pages["Termination schedule"]

    for conductor in system.conductors:
        assert wiring.count(f"{conductor.tag} {conductor.color} {conductor.size}") == 2
        assert terminations.count(conductor.tag) >= 2
        assert conductor.tag in pages["Conductor schedule"]
    for terminal in system.connected.terminals.values():
        assert terminal.device.tag in wiring
        assert terminal.id in terminations
    for tag in (*system.connected.pipes, *(d.tag for d in system.of_kind("valve", "filter"))):
        assert tag in pages["One-line diagram"]
        assert tag in pages["Pipes and fittings"]
    for device in system.of_kind("isolator", "fuse", "breaker"):
        assert device.tag in pages["Fuses, breakers and isolators"]
    for device in system.of_kind("raceways"):
        assert device.tag in pages["Raceway schedule"]
    assert "Label schedule" in pages


@pytest.mark.slow
def test_a_drawing_has_a_page_to_itself() -> None:
    made = packet(compiled(NAME), draft=False)

    assert [sheet.title for sheet in made.drawings][:2] == ["One-line diagram", "Wiring diagram"]
    assert {table.name for table in made.tables} >= {
        "termination-schedule",
        "raceway-schedule",
        "overcurrent-schedule",
        "pipe-schedule",
        "label-schedule",
    }
