"""Choices as text for a terminal: from what to what, why, and TOML that can be copied."""

from __future__ import annotations

import dataclasses
import tomllib

from specc.choices import Choice
from specc.diagnostics import Span
from specc.rendering.choices_text import choices_text

WIRE = Choice(
    ("runs", 0, "size"),
    Span("job.toml", 84, 8, 84, 14),
    "R1",
    "wire size",
    "8 AWG",
    "The smallest wire size that passes every rule. With 10 AWG: R1 loses 4.02 %.",
    "10 AWG",
    ("drop.power-run",),
)
INNER = Choice(
    ("runs", 0, "conductors", 2, "size"),
    Span("job.toml", 89, 60, 89, 66),
    "R1.3",
    "wire size",
    "12 AWG",
    "It is.",
)
PANELS = Choice(
    ("panels", 0, "series"), Span("job.toml", 30, 10, 30, 16), "PV1", "number of panels", 3, "It is."
)


def test_from_what_to_what_with_line_reason_and_rules() -> None:
    text = choices_text([WIRE])

    assert 'line 84   size = "auto"  ->  size = "8 AWG"' in text
    assert "R1 loses 4.02 %. (drop.power-run)" in " ".join(text.split())


def test_lines_to_copy_are_toml() -> None:
    block = choices_text([PANELS]).split("\n\n")[-1]

    assert tomllib.loads(block) == {"series": 3}
    assert tomllib.loads(choices_text([WIRE]).split("\n\n")[-1]) == {"size": "8 AWG"}


def test_a_conductor_of_its_own_is_pointed_out() -> None:
    assert "# [[runs]] R1.3, line 89, within its { }" in choices_text([INNER])


def test_no_line_of_a_reason_is_wider_than_asked() -> None:
    reasons = [line for line in choices_text([WIRE], width=50).splitlines() if line.startswith(" " * 12)]

    assert len(reasons) > 1
    assert max(map(len, reasons)) <= 50


FAILS = dataclasses.replace(WIRE, tag="R2", chosen="14 AWG", passes=False)


def test_what_passes_no_check_is_not_offered() -> None:
    told, block, rest = choices_text([PANELS, FAILS]).rsplit("\n\n", 2)

    assert tomllib.loads(block) == {"series": 3}
    assert rest.startswith("For size of R2 there is nothing to write")
    assert 'size = "auto"  ->  none passes; checked with 14 AWG   (R2)' in told
    assert 'size = "14 AWG"' not in choices_text([FAILS])
    assert "write in place" not in choices_text([FAILS])


def test_nothing_chosen_is_nothing_said() -> None:
    assert choices_text([]) == ""
