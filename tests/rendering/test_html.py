from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser

import pytest

from specc.diagnostics import Severity, Verdict
from specc.documents.packet import DrawingSheet
from specc.rendering.html import FONTS, css_string, packet_html, plain_svg, shortened
from specc.resources import templates_dir
from tests.rendering.sample_packet import (
    HOSTILE,
    calculations,
    commissioning_sheet,
    drawing,
    finding,
    header,
    parts_list,
    placards,
    sample_packet,
    svg,
)

SVG_START = '<svg xmlns="http://www.w3.org/2000/svg">'


class Page(HTMLParser):
    """The elements, attributes and text of a page, as a reader of HTML sees them."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    @property
    def names(self) -> set[str]:
        return {name for name, _ in self.elements}


def address(file: str) -> str:
    return "test:" + file


@pytest.fixture(scope="module")
def hostile_page() -> Page:
    """Every field that a user can fill holds every hostile text."""
    evil = " ".join(HOSTILE)
    bad = finding(
        Verdict.VIOLATED,
        Severity.WARNING,
        evil,
        subject=evil,
        required=evil,
        actual=evil,
        clause=evil,
        fix=evil,
        accepted=evil,
    )
    calculation = calculations()[0]
    worked = type(calculation)(**{**vars(calculation), "what": evil, "subject": evil, "formula": evil})
    packet = sample_packet(
        header=header(
            title=evil, number=evil, prepared_for=evil, prepared_by=evil, rulebook=evil, revision=evil
        ),
        drawings=(drawing(evil),),
        parts_list=parts_list(HOSTILE),
        findings=(bad,),
        accepted_by={(bad.rule, evil): evil},
        calculations=(worked,),
    )
    return Page(packet_html(packet, font_url=address))


def test_hostile_names_make_no_elements_and_no_handlers(hostile_page: Page) -> None:
    plain = Page(packet_html(sample_packet(), font_url=address))
    assert hostile_page.names == plain.names
    assert "script" not in hostile_page.names
    handlers = [
        name for _, attributes in hostile_page.elements for name in attributes if name.startswith("on")
    ]
    assert handlers == []
    assert sum(name == "style" for name, _ in hostile_page.elements) == 1


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_printed_as_they_are(hostile_page: Page, name: str) -> None:
    assert hostile_page.text.count(name) >= 10
    assert "49" not in hostile_page.text.split("{{7*7}}")[0][-20:]


def test_hostile_readings_and_labels_change_nothing_on_a_screen() -> None:
    evil = " ".join(HOSTILE)
    packet = sample_packet(
        commissioning=commissioning_sheet(evil),
        placards=placards(evil),
        header=header(number=evil, title=evil),
    )
    bad = Page(packet_html(packet, font_url=address, on_screen=True))
    plain = Page(packet_html(sample_packet(), font_url=address, on_screen=True))
    assert bad.names == plain.names
    assert [name for name, _ in bad.elements].count("script") == 1
    assert bad.text.count(evil) >= 8
    assert [n for _, attributes in bad.elements for n in attributes if n.startswith("on")] == []


def test_only_the_page_for_a_screen_has_controls_and_it_forbids_the_network() -> None:
    paper = packet_html(sample_packet(), font_url=address)
    screen = packet_html(sample_packet(), font_url=address, on_screen=True)
    for control in ("<input", "<button", "<script", "<nav", "Content-Security-Policy", "data-keep"):
        assert control not in paper
        assert control in screen
    script = screen.split("<script>")[1].split("</script>")[0]
    # Content Security Policy Level 3, 2.3.1: sha256 of the element's text, in base 64.
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"default-src 'none'; script-src &#39;sha256-{digest}&#39;" in screen.replace(
        "default-src &#39;none&#39;", "default-src 'none'"
    )
    assert "http:" not in script.replace("http://www.w3.org/2000/svg", "")


def test_a_tag_that_leads_its_message_is_not_said_twice() -> None:
    told = finding(Verdict.VIOLATED, Severity.ADVICE, "R1 lies in the sun.", subject="R1")
    html = packet_html(sample_packet(findings=(told,)), font_url=address)
    assert "R1 lies in the sun." in html
    assert '<b class="tag">R1</b> R1 lies' not in html
    other = finding(Verdict.VIOLATED, Severity.ADVICE, "Run R1 lies in the sun.", subject="R1")
    assert '<b class="tag">R1</b> Run R1' in packet_html(sample_packet(findings=(other,)), font_url=address)


def test_the_footer_takes_the_short_title_of_the_rulebook() -> None:
    html = packet_html(sample_packet(header=header(rulebook_short="NEC 2023")), font_url=address)
    assert "@bottom-left { content: " + css_string("NEC 2023") in html
    assert "US rulebook, 2023 edition" in html  # the cover says it in full


def test_the_stylesheet_cannot_be_left_by_a_title() -> None:
    html = packet_html(sample_packet(header=header(title='x"; } </style><b> \\')), font_url=address)
    style = html.split("<style>")[1].split("</style>")[0]
    assert style.count("{") == style.count("}")
    assert "tbody td" in style  # the end of the shipped stylesheet is still inside


def test_a_css_string_escapes_all_but_letters_digits_and_blanks() -> None:
    # CSS Syntax Module Level 3, 4.3.7: six hexadecimal digits, then one blank that belongs to the escape.
    assert css_string('a 1"') == '"a 1\\000022 "'
    assert css_string("</\n") == '"\\00003c \\00002f \\00000a "'


def test_a_running_title_is_cut_visibly() -> None:
    assert shortened("short  title") == "short title"
    assert shortened("x" * 90, 10) == "xxxxxxxxx\N{HORIZONTAL ELLIPSIS}"


def test_the_page_is_self_contained() -> None:
    html = packet_html(sample_packet())
    assert re.findall(r"""(?:src|href)\s*=\s*["'](?!#)""", html) == []
    addresses = re.findall(r'url\("([^"]{0,60})', html)
    assert [a for a in addresses if not a.startswith("data:font/ttf;base64,")] == []
    font = (templates_dir() / "fonts" / FONTS[0].file).read_bytes()
    assert base64.b64encode(font).decode() in html


def test_units_stand_in_the_heading_and_numbers_in_the_cells() -> None:
    html = packet_html(sample_packet(), font_url=address)
    assert 'Length<span class="unit">ft</span>' in html
    assert '<td class="right">190</td>' in html
    assert 'Length<span class="unit">m</span>' in packet_html(
        sample_packet(header=header(units="si")), font_url=address
    )


def test_every_worked_number_shows_formula_inputs_origins_and_source() -> None:
    text = Page(packet_html(sample_packet(), font_url=address)).text
    for words in ("ΔV = 2 · L · R′ · I", "32.8 ft", "[[runs]] R1 length", "Chapter 9, Table 8", "0.905 V"):
        assert words in text
    assert "origin not given" in text
    assert "Source: not given" in text
    assert "nan" not in text.lower().split()


def test_findings_tell_number_clause_remedy_and_who_accepted() -> None:
    text = Page(packet_html(sample_packet(), font_url=address)).text
    for words in (
        "at most 3 %",
        "4.33 %",
        "210.19",
        "use 8 AWG",
        "could not be compared",
        "the loss is 4 W at noon",
    ):
        assert words in text
    assert re.search(r"Accepted by\s*J. Installer", text)


def test_severity_is_a_word_and_a_shape() -> None:
    packet = sample_packet(
        findings=tuple(finding(Verdict.VIOLATED, severity, "Bad.") for severity in Severity), draft=True
    )
    html = packet_html(packet, font_url=address)
    marks = dict(re.findall(r'aria-hidden="true">(.)</span> (danger|error|warning|advice)</span>', html))
    assert set(marks.values()) == {"danger", "error", "warning", "advice"}
    assert len(marks) == 4


def test_only_a_draft_is_marked_as_one() -> None:
    assert "DRAFT" in packet_html(sample_packet(draft=True), font_url=address)
    assert "DRAFT" not in packet_html(sample_packet(), font_url=address)


def test_a_drawing_larger_than_its_clear_edge_is_scaled_onto_its_page() -> None:
    html = packet_html(sample_packet(), font_url=address)
    assert "size: 279.4mm 215.9mm" in html
    width, height = map(float, re.findall(r"width: ([\d.]+)mm; height: ([\d.]+)mm; left", html)[0])
    # The frame, 10 mm inside the paper, must keep the 11 mm that header and footer take.
    assert height == pytest.approx(215.9 * (215.9 - 22) / (215.9 - 20), abs=0.01)
    assert width / height == pytest.approx(279.4 / 215.9, abs=1e-4)


@pytest.mark.parametrize(
    "body",
    [
        "<script>alert(1)</script>",
        '<rect onclick="alert(1)"/>',
        "<foreignObject/>",
        '<image href="http://example.org/x.png"/>',
        '<use href="http://example.org/x.svg#a"/>',
        '<use xmlns:l="http://www.w3.org/1999/xlink" l:href="file:///etc/passwd"/>',
        '<rect style="fill: url(http://example.org/x)"/>',
        "<rect fill=\"url( 'http://example.org/x')\"/>",
        "<style>@import 'x.css';</style>",
        '<b xmlns="http://www.w3.org/1999/xhtml">x</b>',
        "<rect>",
        '<a href="#x"/>',
    ],
)
def test_a_drawing_with_anything_active_or_from_outside_is_refused(body: str) -> None:
    with pytest.raises(ValueError, match="drawing"):
        plain_svg(SVG_START + body + "</svg>")


@pytest.mark.parametrize(
    "text", ['<!DOCTYPE svg [<!ENTITY a "a">]><svg/>', "<svg/>", "<html/>", "", "no markup"]
)
def test_what_is_not_svg_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="drawing"):
        plain_svg(text)


def test_a_plain_drawing_keeps_its_shapes_text_and_inner_references() -> None:
    body = '<defs><path id="a" d="M0 0"/></defs><use href="#a"/><rect fill="url(#a)"/><text>a &lt; b</text>'
    assert plain_svg(SVG_START + body + "</svg>").count("#a") == 2
    assert "a &lt; b" in plain_svg(SVG_START + body + "</svg>")


def test_marked_sections_in_a_drawing_become_plain_text() -> None:
    seen = plain_svg(SVG_START + "<title><![CDATA[<script>alert(1)</script>]]></title><!-- <b> --></svg>")
    assert "<script>" not in seen
    assert "<!--" not in seen


def test_a_packet_with_a_bad_drawing_is_not_rendered() -> None:
    bad = DrawingSheet("One-line diagram", svg().replace("<rect", "<script/><rect", 1), 279.4, 215.9)
    with pytest.raises(ValueError, match="script"):
        packet_html(sample_packet(drawings=(bad,)))


def test_the_same_packet_gives_the_same_page() -> None:
    assert packet_html(sample_packet()) == packet_html(sample_packet())
