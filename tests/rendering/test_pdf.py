from __future__ import annotations

import io
import logging
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import weasyprint
from pypdf import PdfReader
from weasyprint.formatting_structure.boxes import TextBox

from specc.diagnostics import Severity, Verdict
from specc.rendering import pdf
from specc.rendering.html import FONTS, packet_html
from specc.rendering.pdf import (
    ForeignAddressError,
    PdfIncompleteError,
    PdfUnavailable,
    asset_address,
    asset_bytes,
    html_to_pdf,
    packet_pdf,
)
from tests.rendering.sample_packet import (
    CONDUCTOR_COLUMNS,
    HOSTILE,
    calculations,
    conductor_schedule,
    finding,
    header,
    parts_list,
    sample_packet,
)

LETTER_POINTS = (612, 792)  # 8.5 x 11 in at 72 points to the inch
A4_POINTS = (595, 842)  # 210 x 297 mm, ISO 216, rounded to points


def read(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data))


def size(page: Any) -> tuple[int, int]:
    return round(page.mediabox.width), round(page.mediabox.height)


@pytest.fixture(scope="module")
def packet() -> PdfReader:
    return read(packet_pdf(sample_packet()))


@pytest.fixture(scope="module")
def draft() -> PdfReader:
    changed = header(units="si", revision="B", title="Long title " * 12)
    return read(
        packet_pdf(
            sample_packet(
                draft=True, paper="a4", header=changed, parts_list=parts_list((*HOSTILE, "W" * 300))
            )
        )
    )


def test_every_sheet_has_a_bookmark_in_order(packet: PdfReader) -> None:
    titles = [entry.title for entry in packet.outline if not isinstance(entry, list)]
    assert titles == [sheet.title for sheet in sample_packet().sheets]
    pages = [packet.get_destination_page_number(e) for e in packet.outline if not isinstance(e, list)]
    assert pages == sorted(pages)


def test_the_calculation_sheet_has_a_bookmark_for_each_subject(packet: PdfReader) -> None:
    _, rows, *_, stages, subjects = (entry for entry in packet.outline if isinstance(entry, list))
    assert [entry.title for entry in rows][:3] == ["R1.1", "R1.2", "R1.3"]
    assert [entry.title for entry in stages] == ["Cold", "Live"]
    assert [entry.title for entry in subjects] == ["R1", "S1", "F1", "S2", "S3", "S4", "S5"]


def test_every_page_says_which_sheet_of_how_many_and_which_job(packet: PdfReader) -> None:
    count = len(packet.pages)
    for number, page in enumerate(packet.pages, 1):
        text = page.extract_text()
        assert f"Sheet {number} of {count}" in text
        assert "CF-07 Cedar Fold orchard" in text
        assert "2026-05-02" in text
        assert "US rulebook, 2023 edition" in text


def test_the_cover_is_one_page_with_the_verdict_and_the_cautions(packet: PdfReader) -> None:
    text = " ".join(packet.pages[0].extract_text().split())
    assert "No danger or error found, but 1 check could not be made." in text
    assert "licensed person" in text
    assert "Never part a plug, fuse or lead under load." in text
    assert "Inspected by" in text


def test_paper_is_letter_with_the_drawing_and_wide_schedules_landscape(packet: PdfReader) -> None:
    assert size(packet.pages[0]) == LETTER_POINTS
    assert size(packet.pages[1]) == LETTER_POINTS[::-1]
    assert size(packet.pages[2]) == LETTER_POINTS[::-1]
    assert size(packet.pages[-1]) == LETTER_POINTS


def test_the_commissioning_sheet_is_landscape_and_holds_no_controls(packet: PdfReader) -> None:
    pages = [p for p in packet.pages if "If not" in p.extract_text()]
    assert [size(page) for page in pages] == [LETTER_POINTS[::-1]]
    text = " ".join(pages[0].extract_text().split())
    assert "41.36 V at Tc 45 °C" in text
    assert "not worked out; missing: P1: armature resistance" in text
    every = " ".join(page.extract_text() for page in packet.pages)
    assert "Tested by" in every
    assert "Save JSON" not in every
    assert "/AcroForm" not in packet.trailer["/Root"]


def test_labels_to_cut_out_follow_the_cautions(packet: PdfReader) -> None:
    text = " ".join(packet.pages[-1].extract_text().split())
    assert "Labels to cut out" in text
    assert "PV DISCONNECT DS1" in text
    assert "do not hang it" in text


def test_the_drawing_keeps_its_text_and_one_page(packet: PdfReader) -> None:
    assert "PV1" in packet.pages[1].extract_text()
    assert "Conductor schedule" in packet.pages[2].extract_text()


def test_a_long_schedule_repeats_its_headings(packet: PdfReader) -> None:
    pages = [page.extract_text() for page in packet.pages]
    schedule = [text for text in pages if "R1.1" in text or "R8.2" in text or "R16.1" in text]
    assert len(schedule) >= 2
    assert all("Ampacity" in text for text in schedule)
    tags = [f"R{1 + i // 3}.{1 + i % 3}" for i in range(len(conductor_schedule().rows))]
    together = "\n".join(schedule)
    assert [tag for tag in tags if tag not in together] == []


def test_fonts_are_ours_and_embedded(packet: PdfReader) -> None:
    seen = set()
    for page in packet.pages:
        for reference in page["/Resources"]["/Font"].values():
            font = reference.get_object()
            descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
            seen.add(str(font["/BaseFont"]).split("+")[1])
    assert {"specc-Sans", "specc-Mono"} <= {"-".join(name.split("-")[:2]) for name in seen}
    assert {name for name in seen if not name.startswith(("specc-Sans", "specc-Mono"))} == set()


def test_the_file_is_tagged_and_says_what_it_is(packet: PdfReader) -> None:
    catalog = packet.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"] == "en"
    assert packet.metadata is not None
    assert packet.metadata.title == "CF-07 Cedar Fold orchard: dug well to header tank"
    assert packet.metadata.author == "J. Installer"
    assert packet.metadata.creation_date is not None
    assert packet.metadata.creation_date.date() == header().date


def test_a_draft_says_so_on_every_page_of_any_paper(draft: PdfReader) -> None:
    assert size(draft.pages[0]) == A4_POINTS
    for page in draft.pages:
        assert "DRAFT: not to be built from" in page.extract_text()


def test_hostile_names_are_printed_as_they_are(draft: PdfReader) -> None:
    text = "".join(page.extract_text() for page in draft.pages)
    assert [name for name in HOSTILE if name not in text] == []


def test_control_characters_do_not_break_the_file() -> None:
    awkward = "bell\x07 null\x00 escape\x1b \N{GRINNING FACE}"
    made = read(packet_pdf(sample_packet(header=header(title=awkward), drawings=(), calculations=())))
    assert made.metadata is not None
    assert made.metadata.title == "CF-07 bell\ufffd null\ufffd escape\ufffd \N{GRINNING FACE}"
    ElementTree.fromstring(made.root_object["/Metadata"].get_object().get_data())  # type: ignore[union-attr]


def test_no_text_runs_off_the_paper_or_its_margins() -> None:
    long = "Longword" * 40
    packet = sample_packet(
        header=header(
            title=long, number=long, prepared_for=long, prepared_by=long, rulebook=long, revision=long
        ),
        parts_list=parts_list((long, *HOSTILE)),
        conductor_schedule=replace(
            conductor_schedule(3), rows=tuple({c.key: long for c in CONDUCTOR_COLUMNS} for _ in range(2))
        ),
        findings=(
            finding(
                Verdict.VIOLATED, Severity.ADVICE, long, subject=long, required=long, actual=long, fix=long
            ),
        ),
        calculations=tuple(
            replace(c, what=long, symbol=long, formula=long, source=long) for c in calculations(1)[:1]
        ),
    )
    fetcher = pdf._own_assets_only()
    pages = (
        weasyprint.HTML(string=packet_html(packet, font_url=asset_address), url_fetcher=fetcher)
        .render()
        .pages
    )
    for page in pages:
        # The typesetter's own boxes: nothing in the file tells where a text ends.
        box = page._page_box
        inner = box.content_box_x(), box.content_box_x() + box.width
        for child in box.children:
            left, right = inner if child.element_tag == "html" else (0, page.width)
            texts = [text for text in child.descendants() if isinstance(text, TextBox)]
            assert [
                text.text
                for text in texts
                if text.position_x < left - 0.5 or text.position_x + text.width > right + 0.5
            ] == []


def test_the_typesetter_has_nothing_to_complain_about(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        packet_pdf(sample_packet(conductor_schedule=conductor_schedule(2), calculations=calculations(1)))
    assert [record.getMessage() for record in caplog.records] == []


@pytest.mark.slow
def test_two_processes_give_the_same_bytes() -> None:
    code = (
        "import sys; from specc.rendering.pdf import packet_pdf;"
        "from tests.rendering.sample_packet import sample_packet;"
        "sys.stdout.buffer.write(packet_pdf(sample_packet(calculations=())))"
    )
    root = Path(__file__).parents[2]
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", code],
            cwd=root,
            env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(root), "TZ": zone},
            stdout=subprocess.PIPE,
        )
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    ]
    outputs = [run.communicate(timeout=60)[0] for run in runs]
    assert outputs[0].startswith(b"%PDF-")
    assert outputs[0] == outputs[1]


@pytest.mark.parametrize(
    "address",
    [
        "http://example.org/x.ttf",
        "https://example.org/x.ttf",
        "file:///etc/passwd",
        "data:font/ttf;base64,AAAA",
        "specc-asset:../packet/packet.css",
        "specc-asset:/etc/passwd",
        "specc-asset:",
        "",
    ],
)
def test_nothing_but_our_own_fonts_is_opened(address: str) -> None:
    with pytest.raises(ForeignAddressError):
        asset_bytes(address)


def test_our_own_fonts_are_opened() -> None:
    # A TrueType file starts with version 1.0: OpenType specification, table directory.
    assert all(asset_bytes(asset_address(f.file))[:4] == b"\0\1\0\0" for f in FONTS)


@pytest.mark.parametrize(
    "html",
    [
        '<img src="file:///etc/passwd">',
        '<img src="http://example.org/x.png">',
        '<link rel="stylesheet" href="http://example.org/x.css">',
        "<style>@import 'file:///etc/passwd';</style>",
        "<div style=\"background: url('data:image/png;base64,AAAA')\">x</div>",
        '<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/hosts" width="9"/></svg>',
        '<link rel="attachment" href="file:///etc/passwd">',
    ],
)
def test_a_page_that_asks_for_anything_else_gives_no_pdf(html: str) -> None:
    with pytest.raises(ForeignAddressError, match="may not refer"):
        html_to_pdf(f"<!DOCTYPE html><title>x</title><body>{html}")


def test_a_drawing_that_cannot_be_drawn_gives_no_pdf() -> None:
    html = '<!DOCTYPE html><html lang="en"><title>x</title><svg><path d="M 0 0 L 9 9"/></svg>'
    assert html_to_pdf(html).startswith(b"%PDF-")
    with pytest.raises(PdfIncompleteError, match="SVG"):
        html_to_pdf(html.replace("<path", '<rect width="9" height="9" transform="rotate()"/><path'))


def test_without_the_typesetter_the_user_is_told_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(PdfUnavailable, match="pip install weasyprint"):
        packet_pdf(sample_packet())


def test_importing_the_module_does_not_load_the_typesetter() -> None:
    code = "import sys, specc.rendering.pdf; sys.exit('weasyprint' in sys.modules)"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
