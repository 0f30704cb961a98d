"""The PDF of whole jobs, read back: tags on drawings, in schedules and bookmarks; sums; margins; marks."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import ArrayObject, ContentStream, DictionaryObject

from specc import pipeline
from specc.documents.packet import Packet
from specc.pipeline import compile_spec
from specc.rendering.pdf import packet_pdf
from specc.rendering.water_sheets import water_sheets
from specc.system.system import System
from tests.jobs import compiled
from tests.reference import edited

pytestmark = pytest.mark.slow

MM = 72 / 25.4
# Sizes of paper in mm: ANSI/ASME Y14.1 (letter, tabloid = size B), ISO 216 (A4, A3).
LETTER, TABLOID, A4, A3 = (215.9, 279.4), (279.4, 431.8), (210.0, 297.0), (297.0, 420.0)
LARGER = {"us": (558.8, 431.8), "iso": (594.0, 420.0)}
LEAST_EDGE_MM = 7.0  # what common office printers leave white: common practice, no source


@dataclass(frozen=True)
class Job:
    system: System
    packet: Packet
    pdf: PdfReader
    texts: tuple[str, ...]

    def sheet(self, title: str) -> str:
        """Text of all pages of a sheet."""
        marks = [mark for mark in self.pdf.outline if not isinstance(mark, list)]
        starts = [self.pdf.get_destination_page_number(mark) for mark in marks]
        titles = [str(mark.title) for mark in marks]
        at = titles.index(title)
        end = next((start for start in starts[at + 1 :] if start > starts[at]), len(self.texts))
        # A sheet that begins further down a page shares that page with the one before.
        last = starts[at + 1] if at + 1 < len(starts) and starts[at + 1] > starts[at] else end
        return "\n".join(self.texts[starts[at] : last + 1])


def _job(made: pipeline.Compiled, *, draft: bool = False) -> Job:
    system = made.system
    assert system is not None
    year = pipeline.water(system, drawn=True)
    pictures = water_sheets(system, year.charts, draft=draft)
    further = (year.table,) if year.table else ()
    packet = pipeline.packet(made, draft=draft, further=further, pictures=pictures.sheets)
    pdf = PdfReader(io.BytesIO(packet_pdf(packet)))
    return Job(system, packet, pdf, tuple(page.extract_text() for page in pdf.pages))


@cache
def example(name: str) -> Job:
    return _job(compiled(name))


@cache
def draft_in_metric() -> Job:
    """The reference job by the other rulebook, in metric, with a wire that is too thin."""
    job, parts = edited({"job.rulebook": "iec", "job.units": "si", "runs.R1.size": "14 AWG"})
    return _job(compile_spec(job, "job.toml", lambda _: parts), draft=True)


JOBS = {
    "us": lambda: example("cedar-fold-orchard"),
    "iec": lambda: example("saltbush-paddock"),
    "draft": draft_in_metric,
}


@pytest.fixture(params=JOBS)
def job(request: pytest.FixtureRequest) -> Job:
    return JOBS[request.param]()


def bookmarks(outline: list[Any], depth: int = 0) -> Iterator[tuple[int, str]]:
    for entry in outline:
        if isinstance(entry, list):
            yield from bookmarks(entry, depth + 1)
        else:
            yield depth, str(entry.title)


def tags_of(system: System) -> set[str]:
    """Every tag that the spec gives to something."""
    every = {
        getattr(entry.model, "tag", "") for group in system.description.entries.values() for entry in group
    }
    return every - {""}


def has(text: str, tag: str) -> bool:
    return re.search(rf"(?<![\w.-]){re.escape(tag)}(?![\w-])", text) is not None


def test_every_tag_stands_on_a_drawing_in_a_table_and_among_the_bookmarks(job: Job) -> None:
    drawn = "\n".join(
        job.texts[n - 1]
        for n in range(2, 2 + len(job.packet.drawings))  # the cover is the first page
    )
    tables = " ".join(
        str(cell) for table in job.packet.tables for row in table.rows for cell in row.values() if cell
    )
    titles = [title for depth, title in bookmarks(job.pdf.outline) if depth]
    runs = set(job.system.connected.runs)
    lacking = []
    for tag in sorted(tags_of(job.system)):
        lacking += [] if has(drawn, tag) else [f"{tag} is on no drawing"]
        lacking += [] if has(tables, tag) else [f"{tag} is in no table"]
        marked = any(has(title, tag) or (tag in runs and title.startswith(f"{tag}.")) for title in titles)
        lacking += [] if marked else [f"{tag} has no bookmark"]
    assert lacking == []


def test_every_tag_stands_on_the_one_line(job: Job) -> None:
    sheets = [n for n, each in enumerate(job.packet.drawings, 1) if each.title.startswith("One-line")]
    one_line = "\n".join(job.texts[n] for n in sheets)  # the cover is the first page
    assert [tag for tag in sorted(tags_of(job.system)) if not has(one_line, tag)] == []


def test_every_conductor_and_pipe_has_its_bookmark_and_every_row_its_schedule(job: Job) -> None:
    titles = {title for _, title in bookmarks(job.pdf.outline)}
    conductors = job.sheet("Conductor schedule")
    for conductor in job.system.conductors:
        assert conductor.tag in titles
        assert has(conductors, conductor.tag)
    pipes = job.sheet("Pipes and fittings")
    for tag in job.system.connected.pipes:
        assert tag in titles
        assert has(pipes, tag)


def test_bookmarks_lead_to_the_sheets_in_order(job: Job) -> None:
    assert [title for depth, title in bookmarks(job.pdf.outline) if not depth] == [
        sheet.title for sheet in job.packet.sheets
    ]
    pages = [
        job.pdf.get_destination_page_number(mark) for mark in job.pdf.outline if not isinstance(mark, list)
    ]
    assert pages == sorted(pages)
    for sheet, page in zip(job.packet.sheets, pages, strict=True):
        if sheet.anchor.startswith("drawing") or sheet.anchor == "cover":
            continue
        assert sheet.title in " ".join(job.texts[page].split())


def test_every_page_has_its_number_its_job_and_the_draft_mark_if_it_is_one(job: Job) -> None:
    count = len(job.texts)
    for number, text in enumerate(job.texts, 1):
        words = " ".join(text.split())
        assert f"Sheet {number} of {count}" in words
        assert job.system.job.number in words
        assert ("DRAFT: not to be built from" in words) is job.packet.draft
        assert ("DRAFT," in words) is job.packet.draft


def test_a_small_job_stays_a_thin_packet() -> None:
    # Instruments and tools take one page of them, the parts list four.
    assert len(example("cedar-fold-orchard").texts) <= 34


def test_paper_is_of_the_rulebooks_series(job: Job) -> None:
    small, large, more = (
        (LETTER, TABLOID, LARGER["us"]) if job.packet.paper == "letter" else (A4, A3, LARGER["iso"])
    )
    allowed = {small, small[::-1], large[::-1], more}
    sizes = {
        tuple(round(float(side) / MM, 1) for side in (page.mediabox.width, page.mediabox.height))
        for page in job.pdf.pages
    }
    for size in sizes:
        assert any(abs(size[0] - w) < 0.3 and abs(size[1] - h) < 0.3 for w, h in allowed), size
    assert {(round(w), round(h)) for w, h in sizes} >= {
        (round(small[0]), round(small[1])),
        (round(small[1]), round(small[0])),
        (round(large[1]), round(large[0])),
    }


Matrix = tuple[float, float, float, float, float, float]
UNIT: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def times(m: Matrix, n: Matrix) -> Matrix:
    """First ``m``, then ``n`` (ISO 32000-1, 8.3.4)."""
    a, b, c, d, e, f = m
    g, h, i, j, k, o = n
    return (a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j, e * g + f * i + k, e * h + f * j + o)


def placed(page: Any, pdf: PdfReader, outer: Matrix = UNIT) -> Iterator[tuple[float, float]]:
    """Where each text of a page, or of a form drawn on it, begins: mm from the lower left corner."""
    now, stack, text, line = outer, [], UNIT, UNIT
    for operands, operator in ContentStream(
        page.get_contents() if "/Contents" in page else page, pdf
    ).operations:
        values = [float(o) if isinstance(o, int | float) else o for o in operands]
        if operator == b"q":
            stack.append(now)
        elif operator == b"Q":
            now = stack.pop()
        elif operator == b"cm":
            now = times(tuple(values), now)
        elif operator == b"BT":
            text = line = UNIT
        elif operator == b"Tm":
            text = line = tuple(values)
        elif operator in (b"Td", b"TD"):
            text = line = times((1.0, 0.0, 0.0, 1.0, values[0], values[1]), line)
        elif operator in (b"Tj", b"TJ", b"'", b'"'):
            at = times(text, now)
            yield at[4] / MM, at[5] / MM
        elif operator == b"Do":
            form = page["/Resources"]["/XObject"][operands[0]].get_object()
            if form["/Subtype"] == "/Form":
                inner = tuple(float(n) for n in form.get("/Matrix", UNIT))
                yield from placed(form, pdf, times(inner, now))


def test_every_text_keeps_its_distance_from_the_edge(job: Job) -> None:
    for number, page in enumerate(job.pdf.pages, 1):
        width, height = float(page.mediabox.width) / MM, float(page.mediabox.height) / MM
        edges = (LEAST_EDGE_MM, width - LEAST_EDGE_MM, LEAST_EDGE_MM - 1.0, height - LEAST_EDGE_MM)
        outside = [
            (round(x, 1), round(y, 1))
            for x, y in placed(page, job.pdf)
            if not (edges[0] <= x <= edges[1] and edges[2] <= y <= edges[3])
        ]
        assert outside == [], f"page {number} of {width:.0f} x {height:.0f} mm"


def test_metadata_tell_job_author_and_date(job: Job) -> None:
    about = job.pdf.metadata
    assert about is not None
    assert about.title == f"{job.system.job.number} {job.system.job.title}"
    assert about.author == job.system.job.prepared_by
    assert ("Draft" in str(about.subject)) is job.packet.draft
    assert about.creation_date is not None
    assert about.creation_date.date() == job.system.job.date


def elements(node: Any) -> Iterator[DictionaryObject]:
    """The elements of the structure tree (ISO 32000-1, 14.7.2)."""
    node = node.get_object()
    if isinstance(node, ArrayObject):
        for child in node:
            yield from elements(child)
    elif isinstance(node, DictionaryObject):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node["/K"])


def test_it_is_tagged_and_every_drawing_has_its_words(job: Job) -> None:
    root: Any = job.pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    figures = [str(e["/Alt"]) for e in elements(root["/StructTreeRoot"]) if e["/S"] == "/Figure"]
    assert len(figures) == len(job.packet.drawings)
    for device in job.system.devices.values():
        if device.table != "raceways":
            assert any(has(words, device.tag) for words in figures)
    for conductor in job.system.conductors:
        assert any(has(words, conductor.tag) for words in figures)
    kinds = {str(e["/S"]) for e in elements(root["/StructTreeRoot"])}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/Link"} <= kinds


def numbers(text: str) -> list[float]:
    return [float(word) for word in re.findall(r"(?<![\w.-])-?\d+\.\d\d(?![\w.])", text)]


def test_the_sums_of_the_parts_list_add_up_on_paper(job: Job) -> None:
    text = " ".join(job.sheet("Parts list").split())
    subtotals = [float(found) for found in re.findall(r"Subtotal\s+([\d.]+)", text)]
    total = float(re.findall(r"Total of priced lines\s+([\d.]+)", text)[0])
    table = job.packet.parts_list
    groups = dict.fromkeys(row["group"] for row in table.rows)
    assert len(subtotals) == len(groups)
    assert sum(subtotals) == pytest.approx(total, abs=0.005 * len(subtotals))
    for group, printed in zip(groups, subtotals, strict=True):
        prices = [row for row in table.rows if row["group"] == group and row["total"] is not None]
        # Handbook arithmetic: packs times the price of one.
        assert printed == pytest.approx(sum(row["packs"] * row["price"] for row in prices), abs=0.005)
        for row in prices:
            assert f"{row['total']:.2f}" in text
    kilograms = sum(row["weight"] for row in table.rows if row["weight"])
    assert not kilograms or job.system.show(kilograms, "mass", 3) in text


def test_labels_and_ends_are_counted(job: Job) -> None:
    table = next(t for t in job.packet.tables if t.name == "label-schedule")
    total = sum(int(row["count"] or 0) for row in table.rows)
    assert table.totals["count"] == total
    tags = [row for row in table.rows if row["label"] == "conductor tag"]
    assert sum(int(row["count"] or 0) for row in tags) == 2 * len(job.system.conductors)
    wired = next(t for t in job.packet.tables if t.name == "termination-schedule")
    # Links within an array or a bank are no conductors of the spec.
    ends = [row for row in wired.rows if row["conductor"] != "free" and "link" not in row["conductor"]]
    assert len(ends) == 2 * len(job.system.conductors)


def test_findings_lead_to_their_worked_numbers() -> None:
    job = example("cedar-fold-orchard")
    page = next(p for p, text in zip(job.pdf.pages, job.texts, strict=True) if "Worked numbers" in text)
    targets = [
        str(note.get_object().get("/Dest", note.get_object().get("/A", {}).get("/D", "")))
        for note in page.get("/Annots", ())
    ]
    assert any(target.startswith("worked-") for target in targets), targets


def test_both_unit_systems_print_their_own_units() -> None:
    us, si = example("cedar-fold-orchard"), example("saltbush-paddock")
    assert " ft" in us.sheet("Conductor schedule")
    assert "AWG" in us.sheet("Conductor schedule")
    assert "mm²" in si.sheet("Conductor schedule")
    assert "kPa" in si.sheet("Calculation sheet")
    assert "psi" not in si.sheet("Calculation sheet")


def test_a_firm_is_on_every_page_and_moves_nothing_off_it() -> None:
    job = example("hazel-hollow-spring")
    header = replace(job.packet.header, firm=("Alder Bend Water", "12 Mill Lane"))
    pdf = PdfReader(io.BytesIO(packet_pdf(replace(job.packet, header=header))))
    assert len(pdf.pages) == len(job.pdf.pages)
    assert all("Alder Bend Water" in page.extract_text() for page in pdf.pages)
