"""Findings that say the same of several things are read once; programs still get each."""

from __future__ import annotations

from dataclasses import replace

from specc.diagnostics import Alike, Finding, Severity, Span, Verdict, folded
from specc.rendering.files_json import finding_row
from specc.rendering.findings_text import findings_text, summary_text

ALIKE = Alike("{} want a guard.", "Guard {}.")


def bare(tag: str, line: int) -> Finding:
    """A thing without its guard."""
    return Finding(
        "raceway.riser",
        Verdict.VIOLATED,
        Severity.ADVICE,
        f"{tag} wants a guard.",
        subject=tag,
        fix=f"Guard {tag}.",
        places=(Span("job.toml", line, 1, line, 2),),
        alike=ALIKE,
    )


FIVE = tuple(bare(tag, line) for line, tag in enumerate(("C1", "C2", "C3", "R7", "R9"), 1))


def test_five_that_say_the_same_become_one_with_all_places() -> None:
    (one,) = folded(FIVE)

    assert one.message == "C1, C2, C3, R7 and R9 want a guard."
    assert one.fix == "Guard C1, C2, C3, R7 and R9."
    assert [place.line for place in one.places] == [1, 2, 3, 4, 5]


def test_one_alone_keeps_its_own_words() -> None:
    assert folded(FIVE[:1]) == FIVE[:1]


def test_an_accepted_one_stands_by_itself() -> None:
    accepted = replace(FIVE[0], accepted="behind a wall")

    assert folded((accepted, *FIVE[1:]))[0] == accepted
    assert len(folded((accepted, *FIVE[1:]))) == 2


def test_another_rule_level_or_value_is_not_the_same() -> None:
    others = (
        replace(FIVE[1], severity=Severity.ERROR),
        replace(FIVE[1], rule="raceway.cover"),
        replace(FIVE[1], actual="0.2 m"),
        replace(FIVE[1], alike=None),
        replace(FIVE[1], verdict=Verdict.SATISFIED),
    )

    for other in others:
        assert folded((FIVE[0], other)) == (FIVE[0], other)


def test_the_order_is_that_of_the_first() -> None:
    between = replace(FIVE[1], alike=None)

    assert [f.subject for f in folded((FIVE[0], between, FIVE[2]))] == ["C1, C3", "C2"]


def test_people_read_one_block_and_one_count() -> None:
    text = findings_text(FIVE, {})

    assert text.count("raceway.riser") == 1
    assert "and at job.toml:4:1, job.toml:5:1" in text
    assert "1 advice found" in summary_text(FIVE, read=True)


def test_programs_get_each() -> None:
    assert [finding_row(finding)["subject"] for finding in FIVE] == ["C1", "C2", "C3", "R7", "R9"]
    assert "alike" not in finding_row(FIVE[0])
