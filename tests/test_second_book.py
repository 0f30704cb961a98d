"""A job under two rulebooks, and a third rulebook that no rule knows of."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from specc import rulebooks
from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import Compiled, compile_spec
from specc.pipeline import packet as make_packet
from specc.rendering.files_json import findings_json
from specc.rendering.html import packet_html
from specc.resources import catalogs_dir
from specc.rules._variants import METRIC
from specc.system.other_book import in_sizes_of
from tests.reference import edited, read_edited

THIRD = "xx-2031"


def job(edit: dict[str, object]) -> Compiled:
    spec, parts = edited(edit)
    return compile_spec(spec, "job.toml", lambda name: parts, strict=True)


def told(findings: tuple[Finding, ...]) -> set[tuple[str, Verdict, Severity, str, str]]:
    return {(f.rule, f.verdict, f.severity, f.subject, f.message) for f in findings}


def test_without_a_second_book_there_is_no_second_section() -> None:
    made = job({})

    assert made.also is None
    assert b"also_under" not in findings_json("job.toml", None, made.findings)


def test_findings_carry_their_book_and_the_second_does_not_decide_the_status() -> None:
    made = job({"job.also_under": "iec"})
    assert made.also is not None

    assert made.exit_status == 0
    assert {f.book for f in made.findings if f.rule == "fuse.motor-branch"} == {"us-2023"}
    assert {f.book for f in made.also.findings if f.rule == "fuse.motor-branch"} == {"iec"}
    assert any(f.stops_the_job for f in made.also.findings)  # green is no colour of its grounding conductors


def test_the_second_book_finds_what_it_finds_as_the_jobs_own() -> None:
    own = job({**METRIC})
    second = job({**METRIC, "job.rulebook": "us-2023", "job.also_under": "iec"}).also
    assert second is not None

    of_sizes = {f for f in told(own.findings) if f[0] == "spec.wire-size"}  # of the job's own book alone
    assert told(second.findings) == told(own.findings) - of_sizes


def test_foreign_sizes_count_as_the_largest_with_no_more_metal() -> None:
    # 10 AWG is 5.26 mm2, 12 AWG 3.31, 18 AWG 0.82, 6 AWG 13.3: handbook conversion.
    description = read_edited({}).description

    sizes = dict(in_sizes_of(description, rulebooks.load_rulebook("iec")).sizes)

    assert sizes == {"10 AWG": "4 mm2", "12 AWG": "2.5 mm2", "18 AWG": "0.75 mm2", "6 AWG": "10 mm2"}


def test_the_description_itself_keeps_its_sizes() -> None:
    description = read_edited({}).description

    in_sizes_of(description, rulebooks.load_rulebook("iec"))

    assert description.all("runs")[0].model.size == "10 AWG"


def test_the_packet_prints_the_second_book_on_a_sheet_of_its_own() -> None:
    made = job({"job.also_under": "iec"})
    packet = make_packet(made, draft=False)

    html = packet_html(packet)

    assert any(sheet.anchor == "findings-also" for sheet in packet.sheets)
    assert 'id="findings-also"' in html
    assert "10 AWG as 4 mm²" in html


def test_json_keeps_the_two_apart() -> None:
    made = job({"job.also_under": "iec"})
    assert made.system is not None

    document = json.loads(findings_json("job.toml", made.system.job, made.findings, (), made.also))

    assert document["also_under"]["rulebook"] == "iec"
    assert {f.get("rulebook", "us-2023") for f in document["findings"]} == {"us-2023"}
    assert "iec" in {f.get("rulebook") for f in document["also_under"]["findings"]}


def test_an_unknown_second_book_is_refused_where_it_stands() -> None:
    made = job({"job.also_under": "us-1776"})

    assert [f.rule for f in made.findings] == ["spec.unknown-value"]
    assert made.findings[0].actual == "us-1776"


# -- a third book ------------------------------------------------------------------------------------


@pytest.fixture
def third_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A copy of the metric book under another id, in a catalogue folder of its own."""
    folder = tmp_path / "catalogs"
    shutil.copytree(catalogs_dir(), folder)
    copy = folder / "rulebooks" / f"{THIRD}.toml"
    text = (folder / "rulebooks" / "iec.toml").read_text(encoding="utf-8")
    text = text.replace('id = "iec"', f'id = "{THIRD}"\nfollows = "iec"', 1)
    copy.write_text(text + '\n[clauses]\n"raceway.cover" = "Section 12.3"\n', encoding="utf-8")
    monkeypatch.setattr(rulebooks, "catalogs_dir", lambda: folder)
    rulebooks.load_rulebook.cache_clear()
    yield copy
    rulebooks.load_rulebook.cache_clear()


@pytest.mark.usefixtures("third_book")
def test_a_third_book_judges_with_no_change_in_any_rule() -> None:
    own, third = job({**METRIC}), job({**METRIC, "job.rulebook": THIRD})

    assert third.system is not None and third.system.book.id == THIRD
    assert told(third.findings) == told(own.findings)
    assert {f.book for f in third.findings if f.book} == {THIRD}


@pytest.mark.usefixtures("third_book")
def test_a_third_book_has_clauses_of_its_own_and_else_those_of_the_book_it_follows() -> None:
    own, third = job({**METRIC}), job({**METRIC, "job.rulebook": THIRD})
    by_rule = {f.rule: f.clause for f in own.findings}

    assert {f.clause for f in third.findings if f.rule == "raceway.cover"} == {"Section 12.3"}
    assert all(f.clause == by_rule[f.rule] for f in third.findings if f.rule != "raceway.cover")
    assert all(f.clause for f in third.findings if f.book)


@pytest.mark.usefixtures("third_book")
def test_a_changed_table_of_a_third_book_changes_the_verdict(third_book: Path) -> None:
    text = third_book.read_text(encoding="utf-8")
    head, tail = text.split("[factors.motor_device]\n", 1)
    third_book.write_text(head + "[factors.motor_device]\n" + tail.replace("value = 1.5", "value = 3.0", 1))
    rulebooks._texts.cache_clear()
    rulebooks.read_table.cache_clear()
    edit = {**METRIC, "part:fuse-r.rating": "20 A"}

    own, third = job(edit), job({**edit, "job.rulebook": THIRD})

    def fires(made: Compiled) -> bool:
        return any(f.rule == "fuse.motor-branch" and f.verdict is Verdict.VIOLATED for f in made.findings)

    assert fires(own)
    assert not fires(third)
