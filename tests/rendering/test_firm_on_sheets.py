"""The firm's name, address and logo on cover, page heads and drawings; the page stays one file."""

from __future__ import annotations

import base64
import io
from functools import partial
from typing import Any

import pytest
from pypdf import PdfReader

from specc.documents.charts import Axis, Chart, Series, draw_chart
from specc.documents.diagram import Diagram, TitleBlock
from specc.documents.drafting.look import papers_of, read_look
from specc.documents.layout import lay_out
from specc.documents.plates import plate
from specc.reading.logo import Logo, read_logo
from specc.rendering.charts import render_plate
from specc.rendering.html import packet_html
from specc.rendering.pdf import packet_pdf
from specc.rendering.svg import render_drawing
from tests.documents.sample_diagrams import realistic
from tests.reading.test_firm import SVG, png
from tests.rendering.sample_packet import drawing, header, sample_packet

CHART = Chart(
    "test", "A test", Axis("across, m"), Axis("up, m"), (Series("a", "line", (0.0, 1.0), (0.0, 2.0)),)
)
FIRM = ("Alder Bend Water & Solar", "12 Mill Lane", "Harrow Creek", "555 0100", "licence C-10")
LOGO = read_logo(SVG, "logo.svg")
PIXELS = read_logo(png(60, 30), "logo.png")


def packet(logo: Logo | None = LOGO, **more: Any) -> Any:
    return sample_packet(header=header(firm=FIRM, logo=logo), **more)


def titled(logo: Logo | None) -> Diagram:
    diagram = realistic()
    block = TitleBlock(**(vars(diagram.title_block) | {"firm": FIRM, "logo": logo}))
    return Diagram(block, diagram.devices, diagram.links, diagram.boxes, diagram.notes)


@pytest.mark.parametrize("logo", [LOGO, PIXELS], ids=["svg", "png"])
def test_cover_and_head_carry_firm_and_logo_inside_the_page(logo: Logo) -> None:
    html = packet_html(packet(logo), on_screen=True)
    assert html.count(logo.address) == 2  # cover and head
    assert "Alder Bend Water &amp; Solar" in html
    assert "licence C-10" in html
    assert "http:" not in html.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("logo", [LOGO, PIXELS, None], ids=["svg", "png", "without"])
def test_every_page_of_the_pdf_names_the_firm(logo: Logo | None) -> None:
    reader = PdfReader(io.BytesIO(packet_pdf(packet(logo))))
    assert all(FIRM[0] in page.extract_text() for page in reader.pages)
    cover = reader.pages[0].extract_text()
    assert all(line in cover for line in FIRM)
    assert "Inspected by" in cover  # still one page


@pytest.mark.parametrize("paper", ["us", "si"], ids=["letter", "A4"])
def test_the_signatures_stay_on_the_cover_of_a_packet_of_many_sheets(paper: str) -> None:
    # A title of two lines, a firm of five, and 25 sheets: as a job with a booster has them.
    head = header(firm=FIRM, logo=None, title="Fernlow Hollow: hand-dug well to hill cistern", units=paper)
    made = sample_packet(header=head, drawings=tuple(drawing(f"D{n}") for n in range(17)))
    assert len(made.sheets) == 25
    reader = PdfReader(io.BytesIO(packet_pdf(made)))
    cover = reader.pages[0].extract_text()

    assert "Before you start" in cover
    assert "Installed by" in cover
    assert "Inspected by" in cover


def test_a_packet_without_a_firm_has_no_word_of_one() -> None:
    html = packet_html(sample_packet())
    assert 'class="firm"' not in html
    assert 'class="logo"' not in html


@pytest.mark.parametrize("logo", [LOGO, PIXELS, None], ids=["svg", "png", "without"])
def test_the_title_block_has_a_row_for_the_firm(logo: Logo | None) -> None:
    drawing = lay_out(titled(logo), papers_of("us"))
    words = [text for text in drawing.texts if text.content.startswith("Alder Bend")]
    assert len(words) == 1
    block = realistic().title_block
    assert {block.title, block.number, block.prepared_by} <= {text.content for text in drawing.texts}
    svg = render_drawing(drawing)
    if logo is None:
        assert drawing.images == ()
        return
    (image,) = drawing.images
    assert logo.address in svg
    # Inside the frame, clear of every text, and of its own shape.
    frame = drawing.frame
    assert frame.left < image.box.left < image.box.right < frame.right
    assert frame.top < image.box.top < image.box.bottom < frame.bottom
    assert image.box.width / image.box.height == pytest.approx(logo.width / logo.height)
    assert [t.content for t in drawing.texts if t.box.overlaps(image.box)] == []
    paper = next(paper for paper in read_look().papers if paper.name == drawing.paper)
    assert image.box.height <= read_look().title_block_firm * paper.enlarged


def test_sheets_of_charts_have_it_too() -> None:
    made = plate("Charts", [partial(draw_chart, CHART)], titled(LOGO).title_block, papers_of("us")[0])
    assert LOGO.address in render_plate(made)


def test_a_drawing_with_the_logo_goes_into_page_and_pdf() -> None:
    from specc.documents.packet import DrawingSheet

    drawing = lay_out(titled(LOGO), papers_of("us"))
    sheet = DrawingSheet(
        "One-line diagram", render_drawing(drawing), drawing.width, drawing.height, 8.0, drawing
    )
    made = packet(drawings=(sheet,))
    assert packet_html(made).count(LOGO.address) == 3
    assert b"%PDF" in packet_pdf(made)[:10]


def test_another_picture_in_a_drawing_is_still_refused() -> None:
    from specc.documents.packet import DrawingSheet

    other = "data:image/png;base64," + base64.b64encode(png()).decode()
    svg = f'<svg xmlns="http://www.w3.org/2000/svg"><image href="{other}"/></svg>'
    with pytest.raises(ValueError, match="image"):
        packet_html(packet(drawings=(DrawingSheet("x", svg, 279.4, 215.9),)))
