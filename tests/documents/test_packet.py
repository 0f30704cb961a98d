from __future__ import annotations

from dataclasses import replace

import pytest

from specc.diagnostics import Finding, Severity, Verdict
from specc.documents.packet import CIRCUMSTANCES, read_caution_texts, summarise
from specc.documents.tables import Column, Table
from tests.rendering.sample_packet import (
    calculations,
    caution_texts,
    finding,
    findings,
    header,
    sample_packet,
)

TEXTS = """
[general]
paragraphs = ["Local code governs."]
not_looked_at = ["the roof"]
[[cautions]]
hazard = "Modules"
short = "Live in light."
text = "Live whenever there is light."
"""


def test_counts_are_by_verdict_severity_and_acceptance() -> None:
    summary = summarise(findings())
    assert dict(summary.violated) == {
        Severity.DANGER: 0,
        Severity.ERROR: 0,
        Severity.WARNING: 1,
        Severity.ADVICE: 1,
    }
    assert (summary.accepted, summary.satisfied, summary.not_checked, summary.answers) == (1, 8, 1, 12)
    assert summary.detail == (
        "11 checks made, 8 satisfied; 1 warning, 1 advice found; 1 deviation accepted; 1 not checked."
    )


def test_no_answers_at_all_do_not_read_as_a_pass() -> None:
    assert summarise(()).headline == "Nothing was checked: this packet says nothing about safety."


def test_checks_all_left_out_do_not_read_as_a_pass() -> None:
    unmade = finding(Verdict.NOT_CHECKED, Severity.ADVICE, "No datum.")
    assert "could not be made" in summarise((unmade,)).headline


def test_only_satisfied_checks_pass() -> None:
    held = finding(Verdict.SATISFIED, Severity.DANGER, "Holds.")
    assert summarise((held,)).headline == "No danger or error found in what was checked."


@pytest.mark.parametrize(
    ("short", "words"),
    [
        ((0, 0), "Water: in an average year of sun the demand is met on every day."),
        (
            (1, 4),
            "Water: in an average year of sun the demand is not met in full on 5 days, most in December (4). "
            "See Water through the year.",
        ),
        ((None, None), ""),  # no demand is stated
    ],
)
def test_the_first_page_tells_an_owner_on_how_many_days_water_is_short(
    short: tuple[int | None, int | None], words: str
) -> None:
    columns = (Column("month", "Month"), Column("days_short", "Days short"))
    rows = tuple(
        {"month": month, "days_short": days} for month, days in zip(("June", "December"), short, strict=True)
    )
    year = Table("water-year", "Water through the year", columns, rows, ())
    packet = sample_packet()

    assert replace(packet, further_tables=(*packet.further_tables, year)).water_words == words


@pytest.mark.parametrize("severity", [Severity.DANGER, Severity.ERROR])
def test_a_job_that_stops_is_only_ever_a_draft(severity: Severity) -> None:
    bad = finding(Verdict.VIOLATED, severity, "Reversed.")
    with pytest.raises(ValueError, match="only as a draft"):
        sample_packet(findings=(bad,))
    packet = sample_packet(findings=(bad,), draft=True)
    assert packet.verdict.headline == f"Do not build from this packet: 1 {severity.value} to put right first."


def test_an_accepted_danger_is_refused() -> None:
    bad = finding(Verdict.VIOLATED, Severity.DANGER, "Reversed.", accepted="I like it so.")
    with pytest.raises(ValueError, match="danger cannot be accepted"):
        sample_packet(findings=(bad,), draft=True)


def test_unknown_paper_and_units_are_refused() -> None:
    with pytest.raises(ValueError, match="paper"):
        sample_packet(paper="napkin")
    with pytest.raises(ValueError, match="unit system"):
        sample_packet(header=header(units="cubits"))


def test_every_finding_but_satisfied_ones_stands_in_exactly_one_list() -> None:
    packet = sample_packet()
    listed = (*packet.open_findings(), *packet.unchecked_findings(), *packet.accepted_findings())
    unsatisfied = [f for f in packet.findings if f.verdict is not Verdict.SATISFIED]
    assert sorted(listed, key=Finding.sort_key) == sorted(unsatisfied, key=Finding.sort_key)


def test_who_accepted_a_deviation_is_named_or_said_to_be_unknown() -> None:
    (deviation,) = sample_packet().accepted_findings()
    assert sample_packet().acceptor(deviation) == "J. Installer"
    assert sample_packet(accepted_by={}).acceptor(deviation) == "not named"


def test_a_finding_leads_to_the_groups_that_work_out_numbers_of_its_subject() -> None:
    packet = sample_packet(calculations=calculations(subjects=3))
    told = finding(Verdict.VIOLATED, Severity.ADVICE, "Slow.", subject="S1")
    assert packet.worked(told) == (2,)
    assert packet.worked(replace(told, subject="S1, F1")) == (2, 3)
    assert packet.worked(replace(told, subject="nothing")) == ()
    assert packet.worked(replace(told, subject="")) == ()


def test_calculations_are_grouped_in_order_of_first_mention() -> None:
    packet = sample_packet(calculations=calculations(subjects=3))
    groups = packet.calculations_by_subject()
    assert [(subject, len(group)) for subject, group in groups] == [
        ("R1", 2),
        ("S1", 1),
        ("F1", 1),
        ("S2", 1),
    ]


def test_sheets_are_in_print_order() -> None:
    assert [sheet.title for sheet in sample_packet().sheets] == [
        "Cover",
        "One-line diagram",
        "Parts list",
        "Conductor schedule",
        "Commissioning sheet",
        "Findings",
        "Calculation sheet",
        "Cautions",
        "Labels to cut out",
    ]


def test_a_caution_is_printed_unless_its_circumstance_is_ruled_out() -> None:
    texts = caution_texts()
    assert texts.without(()) == texts
    hazards = {caution.hazard for caution in texts.without({"battery"}).cautions}
    assert "Battery" not in hazards
    assert {"Disinfection", "Array on a building", "Well, pit, cistern or tank", "Modules"} <= hazards


@pytest.mark.parametrize("word", ["always", "batery"])
def test_a_circumstance_that_does_not_exist_cannot_be_ruled_out(word: str) -> None:
    with pytest.raises(ValueError, match=word):
        caution_texts().without({word})


def test_every_circumstance_has_a_caution() -> None:
    assert {caution.when for caution in caution_texts().cautions} == set(CIRCUMSTANCES)


@pytest.mark.parametrize(
    ("hazard", "words"),
    # Limits for air: 29 CFR 1910.146(b), oxygen and flammable gas. Chlorine: public health guidance for
    # private wells (50 to 100 mg/L for 6 h or more). The rest: common practice, no source.
    [
        ("Well, pit, cistern or tank", ("19.5 to 23.5 %", "below 10 %", "Never enter alone", "three depths")),
        ("Disinfection", ("50 to 100 mg/L", "at least 6 hours", "Never mix", "bacteria test")),
        ("DC arc", ("load-break", "clamp meter", "dry gloves")),
        ("Stored energy", ("5 minutes", "prove it dead")),
        ("Battery", ("hydrogen", "15 minutes")),
        ("Modules", ("does not prove", "proved on a known source")),
        ("Pressure", ("water only",)),
        ("Automatic start", ("Lock the disconnect open",)),
    ],
)
def test_cautions_hold_what_keeps_people_alive(hazard: str, words: tuple[str, ...]) -> None:
    (caution,) = (c for c in caution_texts().cautions if c.hazard == hazard)
    assert [word for word in words if word not in caution.text] == []


def test_the_first_page_defers_to_law_makers_and_licensed_trades() -> None:
    general = " ".join(caution_texts().general)
    for words in ("local code", "authority having jurisdiction", "makers' instructions", "licensed"):
        assert words in general


@pytest.mark.parametrize(
    ("broken", "reason"),
    [
        (TEXTS + 'when = "sunday"', "sunday"),
        (TEXTS.replace('"Live in light."', '" "'), "empty text"),
        (TEXTS.replace('["the roof"]', "[]"), "whole part"),
        (TEXTS.replace("[general]", "[general"), "line 2"),
    ],
)
def test_broken_caution_texts_are_refused(broken: str, reason: str) -> None:
    assert read_caution_texts(TEXTS).cautions[0].when == "always"
    with pytest.raises(ValueError, match=reason):
        read_caution_texts(broken)


def test_a_caution_with_a_missing_or_surplus_key_is_refused() -> None:
    with pytest.raises(TypeError):
        read_caution_texts(TEXTS.replace("short", "brief"))
