"""A firm's own templates: laid over file by file, in a sandbox, every mistake a sentence with its line."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from specc.documents.cautions import caution_texts
from specc.documents.commissioning.sheet import sheet_texts
from specc.documents.drafting.look import read_look
from specc.documents.drafting.symbols import read_symbols
from specc.documents.figures import read_chart_look
from specc.documents.layout import lay_out
from specc.own_templates import MOST_BYTES, read_own_templates
from specc.rendering import bounds
from specc.rendering.html import check_style_sheets, packet_html
from specc.rendering.svg import render_drawing
from specc.rendering.templating import check_syntax
from specc.resources import templates_dir
from specc.templates import FIXED, TemplateProblem, Templates, known_names, laid_over
from tests.documents.sample_diagrams import realistic
from tests.rendering.sample_packet import sample_packet


def of(files: Mapping[str, str]) -> Templates:
    return Templates(MappingProxyType({name: text.encode() for name, text in files.items()}), "firm")


def shipped(name: str) -> str:
    return (templates_dir() / name).read_text(encoding="utf-8")


def address(file: str) -> str:
    return "test:" + file


def page(files: Mapping[str, str], **more: Any) -> str:
    with laid_over(of(files)):
        return packet_html(sample_packet(**more), font_url=address)


def problem(work: Callable[[], object]) -> TemplateProblem:
    with pytest.raises(TemplateProblem) as caught:
        work()
    assert len(str(caught.value).splitlines()) == 1
    assert str(caught.value).endswith((".", "?"))
    assert "Traceback" not in str(caught.value)
    return caught.value


# -- laying over ---------------------------------------------------------------------------------------


def test_one_file_is_replaced_and_the_rest_stays() -> None:
    css = shipped("packet/packet.css") + "\n.cover h1 { letter-spacing: 0.123em; }\n"
    html = page({"packet/packet.css": css})
    assert "0.123em" in html
    assert html.replace("\n.cover h1 { letter-spacing: 0.123em; }\n", "") == packet_html(
        sample_packet(), font_url=address
    )


def test_the_house_look_counts_again_afterwards() -> None:
    text = shipped("packet/cautions.html.j2").replace("<h2>Cautions</h2>", "<h2>Take care</h2>")
    assert "Take care" in page({"packet/cautions.html.j2": text})
    assert "Take care" not in packet_html(sample_packet(), font_url=address)


def test_a_size_of_the_drawing_can_be_changed() -> None:
    text = shipped("drawing/look.toml").replace("jump = 0.9 ", "jump = 1.7 ")
    with laid_over(of({"drawing/look.toml": text})):
        assert read_look().jump == 1.7
    assert read_look().jump == 0.9


def test_a_symbol_can_be_drawn_otherwise_and_reaches_the_sheet() -> None:
    text = shipped("symbols/fuse.svg").replace('height="3"', 'height="2.97"')
    with laid_over(of({"symbols/fuse.svg": text})):
        assert 'height="2.97"' in render_drawing(lay_out(realistic()))
    assert 'height="2.97"' not in render_drawing(lay_out(realistic()))


def test_every_shipped_template_may_be_laid_over_as_it_is() -> None:
    files = {name: shipped(name) for name in known_names() - FIXED}
    with laid_over(of(files)):
        check_syntax(of(files))
        check_style_sheets()
        for read in (read_look, read_chart_look, read_symbols, caution_texts, sheet_texts):
            read()
        html = packet_html(sample_packet(), font_url=address)
        screen = packet_html(sample_packet(), font_url=address, on_screen=True)
    assert html == packet_html(sample_packet(), font_url=address)
    assert screen == packet_html(sample_packet(), font_url=address, on_screen=True)


def test_windows_line_ends_do_no_harm() -> None:
    assert page({"packet/cautions.html.j2": shipped("packet/cautions.html.j2").replace("\n", "\r\n")}) == (
        packet_html(sample_packet(), font_url=address)
    )


# -- the sandbox ---------------------------------------------------------------------------------------

DOUBLED = "{{% set n = namespace(x={}) %}}{{% for i in range(60) %}}{{% set n.x = {} %}}{{% endfor %}}"
# Ways out of a template that are known from the literature on template injection: common practice, no source.
HOSTILE = {
    "class": "{{ ''.__class__.__mro__[1].__subclasses__() }}",
    "globals of a macro": "{{ parts.schedule.__globals__ }}",
    "globals of a function": "{{ range.__globals__ }}",
    "init": "{{ packet.__init__.__globals__ }}",
    "attr filter": "{{ ''|attr('__class__') }}",
    "format string": "{{ '{0.__class__.__init__.__globals__}'.format(packet) }}",
    "lipsum": "{{ lipsum.__globals__ }}",
    "cycler": "{{ cycler.__init__.__globals__.os.popen('id').read() }}",
    "self": "{{ self.__init__.__globals__ }}",
    "include of a file": "{% include '../../etc/passwd' %}",
    "include by full path": "{% include '/etc/passwd' %}",
    "include of a neighbour": "{% include '../drawing/look.toml' %}",
    "include of another kind": "{% include 'packet.js' ignore missing %}{% include 'nothing.j2' %}",
    "import of a file": "{% import '../../../etc/passwd' as p %}",
    "extends a file": "{% extends '/etc/passwd' %}",
    "safe": "{{ packet.header.title|safe }}",
    "huge text": "{{ 'a' * 999999999 }}",
    "huge list": "{{ ([0] * 99999)|length * 1 }}{{ [0, 1] * 999999999 }}",
    "huge power": "{{ 9 ** 9 ** 9 }}",
    "huge padding": "{{ '%999999999d' % 1 }}",
    "huge range": "{% for i in range(99999999) %}x{% endfor %}",
    "doubling": DOUBLED.format("'a'", "n.x ~ n.x"),
    "doubling by adding": DOUBLED.format("'a'", "n.x + n.x"),
    "list of itself": DOUBLED.format("[1]", "[n.x, n.x]") + "{{ n.x }}",
    "square of a square": DOUBLED.format("9", "n.x * n.x"),
    "padding": "{{ 'a'.ljust(99999999999) }}",
    "padding by format": "{{ '{:>99999999999}'.format(1) }}",
    "change of what is given": "{{ packet.findings.append(1) }}{{ tables.clear() }}",
    "no such value": "{{ secret }}",
    "no such field": "{{ packet.secret }}",
    "division by nothing": "{{ 1 / 0 }}",
    "wrong kind": "{{ packet.header.title + 1 }}",
    "itself without end": "{% include 'cautions.html.j2' %}",
    "broken block": "{% for x in %}",
    "never closed": "{% if packet %}",
    "unknown filter": "{{ 1|nonsense }}",
    "unknown tag": "{% nonsense %}",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_what_a_template_may_not_do_ends_in_one_sentence_with_its_line(text: str) -> None:
    found = problem(lambda: page({"packet/cautions.html.j2": f"<p>One line.</p>\n\n{text}"}))
    assert found.place == "firm/packet/cautions.html.j2"
    assert found.line == 3


MARKUP = {
    "script": "<script>alert(1)</script>",
    "script from outside": "<script src=http://example.invalid/x.js></script>",
    "handler": '<p onclick="alert(1)">x</p>',
    "picture from outside": '<img src="http://example.invalid/x.png">',
    "picture of a file": '<img src="file:///etc/passwd">',
    "picture without scheme": '<img src="//example.invalid/x.png">',
    "picture in a style": '<p style="background: url(file:///etc/passwd)">x</p>',
    "picture in an escaped style": '<p style="background: u\\72l(file:///etc/passwd)">x</p>',
    "set of pictures": '<img srcset="http://example.invalid/x.png 2x">',
    "frame": '<iframe src="/etc/passwd"></iframe>',
    "object": '<object data="file:///etc/passwd"></object>',
    "embedded": "<embed src=x>",
    "style sheet from outside": '<link rel="stylesheet" href="http://example.invalid/x.css">',
    "base": '<base href="http://example.invalid/">',
    "refresh": '<meta http-equiv="refresh" content="0; url=http://example.invalid">',
    "link out": '<a href="http://example.invalid">x</a>',
    "link to a program": '<a href="java&#115;cript:alert(1)">x</a>',
    "form": '<form action="http://example.invalid"></form>',
    "style of its own": "<style>@import 'http://example.invalid/x.css';</style>",
    "style with an address": "<style>p { background: url(http://example.invalid/x) }</style>",
    "picture in a drawing": '<svg><image href="file:///etc/passwd"></image></svg>',
    "page in a drawing": "<svg><foreignobject><p>x</p></foreignobject></svg>",
    "comment": "<!-- <script> -->",
    "not closed": "<div><p>x</p>",
    "closed too often": "</section><p>x</p>",
}


@pytest.mark.parametrize("text", MARKUP.values(), ids=MARKUP.keys())
@pytest.mark.parametrize("on_screen", [False, True], ids=["paper", "screen"])
def test_a_page_may_ask_for_nothing_and_run_nothing(text: str, on_screen: bool) -> None:
    files = {"packet/cautions.html.j2": f'<section class="sheet" id="cautions">\n{text}\n</section>'}

    def work() -> str:
        with laid_over(of(files)):
            return packet_html(sample_packet(), font_url=address, on_screen=on_screen)

    found = problem(work)
    assert found.place == "firm/packet/cautions.html.j2"
    assert found.line in (1, 2, 3)


@pytest.mark.parametrize(
    "css",
    [
        "p { background: url(file:///etc/passwd) }",
        "p { background: url('http://example.invalid/x.png') }",
        "p { background: u\\72 l(http://example.invalid/x.png) }",
        'p { background: image-set("x.png" 1x) }',
        "@import 'http://example.invalid/x.css';",
        '@font-face { font-family: x; src: url("data:font/ttf;base64,AA") }',
        "p { content: 'not closed\n}",
        "p { color: red",
        "}",
    ],
)
def test_a_style_sheet_refers_to_nothing_and_is_whole(css: str) -> None:
    with laid_over(of({"packet/packet.css": f"p {{ color: black }}\n{css}"})):
        if css == "p { color: red":  # CSS closes by itself what the file leaves open
            check_style_sheets()
            return
        found = problem(check_style_sheets)
    assert found.place == "firm/packet/packet.css"
    assert found.line == 2


def test_a_page_keeps_its_policy_and_its_program() -> None:
    whole = shipped("packet/packet.html.j2")
    for gone in ("<script>{{ script }}</script>", 'content="{{ policy }}"'):
        files = {"packet/packet.html.j2": whole.replace(gone, 'content=""' if "content" in gone else "")}

        def work(files: Mapping[str, str] = files) -> str:
            with laid_over(of(files)):
                return packet_html(sample_packet(), font_url=address, on_screen=True)

        problem(work)


@pytest.mark.parametrize(
    "gone", ["{{ draft_style }}", '<div class="draft-mark" aria-hidden="true">DRAFT</div>']
)
def test_a_draft_stays_marked_whatever_the_template(gone: str) -> None:
    files = {"packet/packet.html.j2": shipped("packet/packet.html.j2").replace(gone, "")}
    assert "draft" in problem(lambda: page(files, draft=True)).says
    page(files)  # no draft: nothing to mark


def test_a_style_sheet_cannot_leave_its_element() -> None:
    html = page({"packet/packet.css": "/* </style><b>x</b> */ p { color: black }"})
    assert html.count("</style>") == 1


# -- looks and texts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "old", "new", "line", "says"),
    [
        ("drawing/look.toml", "jump = 0.9", "jmup = 0.9", 9, 'did you mean "jump"?'),
        ("drawing/look.toml", "jump = 0.9", 'jump = "wide"', 9, '"jump" is a number'),
        ("drawing/look.toml", "jump = 0.9", "jump = -1", 9, "between"),
        ("drawing/look.toml", "jump = 0.9", "jump = inf", 9, "between"),
        ("drawing/look.toml", "jump = 0.9", "jump = ", 9, "jump"),
        ("drawing/look.toml", "jump = 0.9", "", None, '"jump" is missing'),
        ("charts/look.toml", 'pale = "#e6e6e6"', "pale = 3", None, "pale"),
        ("packet/cautions.toml", 'hazard = "Modules"', 'hazrd = "Modules"', None, "hazrd"),
        ("packet/cautions.toml", 'when = "battery"', 'when = "sometimes"', None, "sometimes"),
        ("packet/cautions.toml", 'figures = "wait times"', 'figures = "age"', None, "unknown figures"),
        ("packet/commissioning.toml", 'id = "bonding"', 'id = "bondage"', None, "bonding"),
        ("packet/commissioning.toml", "at_most = 1.5", 'at_most = "1.5"', None, "number"),
    ],
)
def test_a_look_that_cannot_be_used_says_where_and_what(
    name: str, old: str, new: str, line: int | None, says: str
) -> None:
    text = shipped(name)
    assert old in text
    readers = (read_look, read_chart_look, caution_texts, sheet_texts)
    with laid_over(of({name: text.replace(old, new, 1)})):
        found = problem(lambda: [read() for read in readers])
    assert found.place == f"firm/{name}"
    assert says in found.says
    if line is not None:
        assert (
            found.line == text.splitlines().index(next(x for x in text.splitlines() if x.startswith(old))) + 1
        )


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("<path", "<script/><path", 10),
        ('<path d="M0 5H12.5"/>', '<image href="file:///etc/passwd"/>', 10),
        ('<path d="M0 5H12.5"/>', '<path d="M0 5H12.5" onload="x()"/>', 10),
        ('<path d="M0 5H12.5"/>', '<path d="M0 5H12.5" fill="url(http://example.invalid)"/>', 10),
        ('"name": "in"', '"name": "elsewhere"', None),
        ("</g>", "", None),
        ('"axis": 5,', "", None),
        ('viewBox="0 0 12.5 7.5"', 'viewBox="0 0 9999 7.5"', None),
        ("<svg ", '<!DOCTYPE svg [<!ENTITY x "y">]><svg ', 1),
    ],
)
def test_a_symbol_is_a_plain_picture_with_the_ports_of_the_house(
    old: str, new: str, line: int | None
) -> None:
    text = shipped("symbols/fuse.svg")
    assert old in text
    with laid_over(of({"symbols/fuse.svg": text.replace(old, new, 1)})):
        found = problem(read_symbols)
    assert found.place == "firm/symbols/fuse.svg"
    if line is not None:
        assert found.line == line


def test_a_drawing_template_may_draw_only() -> None:
    text = shipped("drawing/sheet.svg.j2").replace('<g class="sheet">', '<script/><g class="sheet">')
    with laid_over(of({"drawing/sheet.svg.j2": text})):
        found = problem(lambda: render_drawing(lay_out(realistic())))
    assert found.place == "firm/drawing/sheet.svg.j2"
    assert "script" in found.says


def test_bytes_that_are_no_text_are_told_with_their_line() -> None:
    templates = Templates(MappingProxyType({"packet/packet.css": b"p { }\n\xff"}), "firm")
    with laid_over(templates):
        assert problem(check_style_sheets).line == 2


# -- the folder ----------------------------------------------------------------------------------------


def folder(tmp_path: Path, **files: str) -> Path:
    for name, text in files.items():
        path = tmp_path / name.replace("__", "/")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return tmp_path


def test_files_of_known_names_are_read_and_hidden_ones_passed_over(tmp_path: Path) -> None:
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "config").write_text("x", encoding="utf-8")
    (tmp_path / "packet").mkdir()
    (tmp_path / "packet" / "packet.css").write_text("p { }", encoding="utf-8")
    found = read_own_templates(tmp_path)
    assert dict(found.own) == {"packet/packet.css": b"p { }"}
    assert found.place("packet/packet.css") == f"{tmp_path}/packet/packet.css"


@pytest.mark.parametrize(
    ("name", "guess"),
    [
        ("packet/packt.css", 'did you mean "packet/packet.css"?'),
        ("packet.css", 'did you mean "packet/packet.css"?'),
        ("symbols/fuse.svg.bak", "symbols/"),
        ("packet/zzzzzzzzzzzzzz", "packet/cover.html.j2"),
        ("fonts/DejaVuSansMono.ttf", "there is no template"),
        ("starters/battery-pump.toml", "there is no template"),
    ],
)
def test_a_name_that_is_no_template_is_named_with_the_nearest(tmp_path: Path, name: str, guess: str) -> None:
    path = tmp_path / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("x", encoding="utf-8")
    assert guess in problem(lambda: read_own_templates(tmp_path)).says


def test_the_program_of_the_page_is_not_to_be_replaced(tmp_path: Path) -> None:
    (tmp_path / "packet").mkdir()
    (tmp_path / "packet" / "packet.js").write_text("fetch('http://example.invalid')", encoding="utf-8")
    assert "cannot be replaced" in problem(lambda: read_own_templates(tmp_path)).says


@pytest.mark.parametrize("target", ["/etc/passwd", "/etc", "nowhere"])
def test_links_are_refused(tmp_path: Path, target: str) -> None:
    (tmp_path / "packet").mkdir()
    os.symlink(target, tmp_path / "packet" / "packet.css")
    found = problem(lambda: read_own_templates(tmp_path))
    assert "link" in found.says
    assert found.place.endswith("packet/packet.css")


def test_a_linked_folder_is_refused(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "packet.css").write_text("p { }", encoding="utf-8")
    (tmp_path / "own").mkdir()
    os.symlink(outside, tmp_path / "own" / "packet")
    assert "link" in problem(lambda: read_own_templates(tmp_path / "own")).says


def test_a_pipe_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "packet").mkdir()
    os.mkfifo(tmp_path / "packet" / "packet.css")
    assert "plain file" in problem(lambda: read_own_templates(tmp_path)).says


def test_too_much_nothing_and_no_folder(tmp_path: Path) -> None:
    assert "no folder" in problem(lambda: read_own_templates(tmp_path / "nowhere")).says
    assert "no template" in problem(lambda: read_own_templates(tmp_path)).says
    (tmp_path / "packet").mkdir()
    (tmp_path / "packet" / "packet.css").write_bytes(b" " * (MOST_BYTES + 1))
    assert "larger" in problem(lambda: read_own_templates(tmp_path)).says


@pytest.mark.parametrize(
    "text",
    [
        "{% for a in range(99999) %}{% for b in range(99999) %}{% if a %}{% endif %}{% endfor %}{% endfor %}",
        "{% macro f(n) %}{% if n %}{{ f(n - 1) }}{{ f(n - 1) }}{% endif %}{% endmacro %}{{ f(60) }}",
    ],
    ids=["loops", "calls"],
)
def test_what_makes_nothing_for_ever_is_ended_too(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "SECONDS", 1.0)
    found = problem(lambda: page({"packet/cautions.html.j2": f"<p>One line.</p>\n\n{text}"}))
    assert found.place == "firm/packet/cautions.html.j2"
    assert found.line == 3
    assert "longer than 1 s" in found.says


def _for_ever() -> None:
    while True:
        pass


def test_the_limits_go_with_the_work() -> None:
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_AS), signal.getsignal(signal.SIGVTALRM)
    with pytest.raises(bounds.OutOfBounds), bounds.bounded(seconds=0.2):
        _for_ever()
    with pytest.raises(MemoryError), bounds.bounded(more_bytes=1 << 28):
        bytearray(1 << 30)
    assert (resource.getrlimit(resource.RLIMIT_AS), signal.getsignal(signal.SIGVTALRM)) == before
    assert signal.getitimer(signal.ITIMER_VIRTUAL) == (0.0, 0.0)


def test_a_template_may_count_and_join_within_measure() -> None:
    sums = '{{ "-" * 3 }}{{ 2 * 3 }}{{ 7 % 4 }}{{ 2 ** 3 }}'
    text = f'<section class="sheet" id="cautions"><p>{sums}</p></section>'
    assert "---638" in page({"packet/cautions.html.j2": text})


def test_a_firm_may_name_its_telephone_and_mail() -> None:
    text = (
        '<section class="sheet" id="cautions"><a href="tel:0005550100">call</a>'
        '<a href="mailto:office@example.invalid">write</a></section>'
    )
    assert "tel:0005550100" in page({"packet/cautions.html.j2": text})


def test_titles_of_a_job_stay_texts_in_a_firms_template() -> None:
    packet = sample_packet()
    evil = replace(packet, header=replace(packet.header, title="<script>alert(1)</script>"))
    text = '<section class="sheet" id="cautions"><p>{{ packet.header.title }}</p></section>'
    with laid_over(of({"packet/cautions.html.j2": text})):
        assert "<script>" not in packet_html(evil, font_url=address)
