"""A packet as one HTML document, through the templates."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from xml.etree import ElementTree

from markupsafe import Markup

from specc.documents.packet import DrawingSheet, Packet
from specc.documents.shapes import Drawing
from specc.rendering.fences import Trespass, check_css, check_page
from specc.rendering.numbers import NumberStyle, typeset
from specc.rendering.svg import clean
from specc.rendering.table_view import view
from specc.rendering.templating import Filters, blamed, render
from specc.resources import templates_dir
from specc.templates import BUILT_IN, TemplateProblem, templates

LONGEST_RUNNING_TITLE = 70  # characters; the cover has the whole title
CLEAR_EDGE_MM = 11.0  # what the header and footer of a drawing page need
SVG_NAMESPACE = "http://www.w3.org/2000/svg"
XLINK = "{http://www.w3.org/1999/xlink}"


@dataclass(frozen=True)
class Font:
    """A typeface file and how stylesheets name it."""

    file: str
    family: str
    weight: str = "normal"
    style: str = "normal"


FONTS = (
    Font("DejaVuSansCondensed.ttf", "specc Sans"),
    Font("DejaVuSansCondensed-Bold.ttf", "specc Sans", weight="bold"),
    Font("DejaVuSansCondensed-Oblique.ttf", "specc Sans", style="italic"),
    Font("DejaVuSansMono.ttf", "specc Mono"),
)


def packet_html(
    packet: Packet,
    font_url: Callable[[str], str] | None = None,
    *,
    on_screen: bool = False,
    logo_url: str | None = None,
) -> str:
    """The packet as a self-contained page; ``font_url`` and ``logo_url`` give addresses for what is embedded.

    ``on_screen`` adds what a phone at the wellhead needs: search, lit tags, readings that are kept and
    saved. Its script is ours, and the page's own policy forbids every other and the network.

    Raises:
        ValueError: a drawing that is not plain SVG.
        TemplateProblem: a template of a firm that is broken, or makes a page that is more than paper.
    """
    style = NumberStyle(packet.header.units)
    fonts = [(font, (font_url or embedded_font)(font.file)) for font in FONTS]
    logo = packet.header.logo
    embedded = logo.address if logo is not None else ""
    address = logo_url if logo is not None and logo_url is not None else embedded
    html = render(
        "packet",
        "packet.html.j2",
        _FILTERS,
        packet=packet,
        style=style,
        tables=[view(table, style) for table in packet.tables],
        choices=None if packet.choices is None else view(packet.choices, style),
        drawings=[_placed(drawing, embedded, address, told=not on_screen) for drawing in packet.drawings],
        fonts=fonts,
        logo_url=address,
        logo_share=0.0 if logo is None else logo.width / logo.height,
        stylesheet=Markup(_style("packet.css") + (_style("screen.css") if on_screen else "")),
        draft_style=Markup(DRAFT_STYLE if packet.draft else ""),
        on_screen=on_screen,
        script=Markup(_script()) if on_screen else "",
        policy=_policy() if on_screen else "",
    )
    html = typeset(clean(html))
    if any(name.startswith("packet/") for name in templates().own):
        addresses = frozenset(url for _, url in fonts) | ({address} if address else set())
        _hold_to_the_fences(html, addresses, on_screen=on_screen, draft=packet.draft)
    return html


def _hold_to_the_fences(html: str, addresses: frozenset[str], *, on_screen: bool, draft: bool) -> None:
    """Raises TemplateProblem for a page, made with a firm's templates, that a packet may not be."""
    script, policy = (_script(), _policy()) if on_screen else ("", "")
    try:
        check_page(html, script=script, policy=policy, addresses=addresses)
        if draft and not (DRAFT_STYLE in html and html.count('class="draft-mark"') == 1):
            raise Trespass("a draft says so on every page: keep {{ draft_style }} and its draft-mark.")
    except Trespass as trespass:
        raise TemplateProblem(*blamed(trespass.snippet, ("packet",)), trespass.says) from None


def check_style_sheets() -> None:
    """Raises TemplateProblem for a style sheet of a firm that is broken, or refers to anything."""
    for name in sorted(templates().own):
        if name.endswith(".css"):
            try:
                check_css(templates().text(name))
            except Trespass as trespass:
                raise TemplateProblem(templates().place(name), trespass.line, trespass.says) from None


@cache
def embedded_font(file: str) -> str:
    """A font file of ours as a data address."""
    data = (templates_dir() / "fonts" / file).read_bytes()
    return "data:font/ttf;base64," + base64.b64encode(data).decode("ascii")


def css_string(text: str) -> Markup:
    """Any text as a CSS string, every character but ASCII letters, digits and blanks escaped."""
    # The blank ends the escape; without it a blank of the text would be swallowed.
    safe = (c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):06x} " for c in clean(text))
    return Markup('"' + "".join(safe) + '"')


def shortened(text: str, longest: int = LONGEST_RUNNING_TITLE) -> str:
    """The text on one line, cut with an ellipsis where it is longer."""
    line = " ".join(text.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def figures(value: float) -> str:
    """A number with six significant digits, for a program to read."""
    return f"{value:.6g}"


def held(text: str) -> str:
    """The text with every number held to its unit, so that no line ends between them.

    >>> held("at most 0.05 ohm, or a second rod")
    'at most 0.05\\xa0ohm, or a second rod'
    """
    return re.sub(r"(?<=\d) (?=[^\W\d]\w{0,4}(?:[/·]\w+)?\b|%|°)", "\N{NO-BREAK SPACE}", text)


def unless_repeated(origin: str, source: str) -> str:
    """Where an input comes from; the source that stands below anyway is not said twice.

    >>> unless_repeated("10 mm2, table 3", "table 3")
    '10 mm2, source below'
    """
    return origin.replace(source, "source below") if source else origin


def plain_svg(svg: str, picture: str = "", *, told: bool = False) -> Markup:
    """SVG that may stand in a page: no scripts, no event handlers, nothing from outside the drawing.

    ``picture`` is the one address that an image in it may have, "" for none; ``told`` puts the description
    behind the title, as a PDF has only that for a text alternative.

    Raises:
        ValueError: text that is not well-formed, or that holds any of these.
    """
    if "<!DOCTYPE" in svg or "<!ENTITY" in svg:
        raise ValueError("a drawing may not declare entities")
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError as error:
        raise ValueError(f"a drawing is not well-formed: {error}") from error
    if root.tag != f"{{{SVG_NAMESPACE}}}svg":
        raise ValueError(f"a drawing starts with <{root.tag}>, not <svg> in its namespace")
    for element in root.iter():
        _refuse_active(element, picture)
        element.tag = _local(element.tag)
        element.attrib = {key.replace(XLINK, ""): value for key, value in element.attrib.items()}
    title, description = root.find("title"), root.find("desc")
    if told and title is not None and description is not None:
        title.text = f"{title.text or ''}. {description.text or ''}"
    root.set("xmlns", SVG_NAMESPACE)
    # Written anew, since a page reads marked sections and comments otherwise than XML does.
    return Markup(ElementTree.tostring(root, encoding="unicode"))


ACTIVE_ELEMENTS = {"script", "foreignObject", "image", "iframe", "animate", "set", "handler", "a"}
OUTSIDE = re.compile(r"@import|url\((?!\s*[\"']?#)|javascript:", re.IGNORECASE)


def _refuse_active(element: ElementTree.Element, picture: str) -> None:
    name = _local(element.tag)
    of_picture = bool(picture) and name == "image" and element.get("href") == picture
    if not element.tag.startswith(f"{{{SVG_NAMESPACE}}}"):
        raise ValueError(f"a drawing may not hold <{element.tag}>")
    if name in ACTIVE_ELEMENTS and not of_picture:
        raise ValueError(f"a drawing may not hold <{name}>")
    if name == "style" and OUTSIDE.search(element.text or ""):
        raise ValueError("the style of a drawing may not refer to anything outside it")
    for key, value in element.attrib.items():
        attribute = _local(key)
        if attribute.lower().startswith("on"):
            raise ValueError(f"a drawing may not handle events ({attribute})")
        if attribute == "href" and not value.startswith("#") and not of_picture:
            raise ValueError(f"a drawing may not refer to {value!r}")
        if not attribute.startswith(("aria-", "data-")) and OUTSIDE.search(value):
            raise ValueError(f"a drawing may not refer to anything outside it ({attribute})")


def _local(name: str) -> str:
    """The name without its namespace."""
    return name.rpartition("}")[2]


@dataclass(frozen=True)
class DrawnTag:
    """Where a tag is drawn, mm from the corner of the page's margins: its bookmark leads there."""

    tag: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class PlacedDrawing:
    """A drawing on its page, in mm: the page margin leaves room for header and footer."""

    title: str
    svg: Markup
    width_mm: float
    height_mm: float
    margin_mm: float
    drawn_width_mm: float
    drawn_height_mm: float
    shift_x_mm: float
    shift_y_mm: float
    marks: tuple[DrawnTag, ...] = ()


def _placed(
    drawing: DrawingSheet, picture: str = "", address: str = "", *, told: bool = False
) -> PlacedDrawing:
    """Lay the drawing so that its frame, not its blank border, keeps clear of header and footer.

    ``picture`` is the address of the logo in the drawing, ``address`` that which the page has for it.
    """
    clear = CLEAR_EDGE_MM
    framed_width = drawing.width_mm - 2 * drawing.border_mm
    framed_height = drawing.height_mm - 2 * drawing.border_mm
    scale = min(
        1.0, (drawing.width_mm - 2 * clear) / framed_width, (drawing.height_mm - 2 * clear) / framed_height
    )
    width, height = scale * drawing.width_mm, scale * drawing.height_mm
    return PlacedDrawing(
        title=drawing.title,
        svg=_readdressed(plain_svg(drawing.svg, picture, told=told), picture, address),
        width_mm=drawing.width_mm,
        height_mm=drawing.height_mm,
        margin_mm=clear,
        drawn_width_mm=round(width, 3),
        drawn_height_mm=round(height, 3),
        shift_x_mm=round((drawing.width_mm - width) / 2, 3),
        shift_y_mm=round((drawing.height_mm - height) / 2, 3),
        marks=_drawn_tags(drawing, scale),
    )


def _drawn_tags(drawing: DrawingSheet, scale: float) -> tuple[DrawnTag, ...]:
    """Every device, wire and enclosure of the drawing, once, in the order in which they are drawn."""
    shapes = drawing.shapes
    if shapes is None:
        return ()
    places: dict[str, tuple[float, float]] = {}
    for symbol in shapes.symbols:
        places.setdefault(symbol.tag, (symbol.box.left, symbol.box.top))
    for wire in shapes.wires:
        if wire.pieces:
            places.setdefault(wire.tag, wire.pieces[0][0])
    for stroke in shapes.strokes:
        if stroke.kind == "block":
            places.setdefault(stroke.tag, stroke.points[0])
    for outline in shapes.outlines:
        if outline.kind == "box":
            places.setdefault(outline.tag, (outline.rect.left, outline.rect.top))
    for text in shapes.texts:
        places.setdefault(text.tag, (text.box.left, text.box.top))
    shift_x, shift_y = (side * (1.0 - scale) / 2 for side in (drawing.width_mm, drawing.height_mm))
    kept_x, kept_y = (side - 2 * CLEAR_EDGE_MM - 1.0 for side in (drawing.width_mm, drawing.height_mm))
    placed = _names_of_places(shapes)
    return tuple(
        DrawnTag(
            tag,
            round(min(max(x * scale + shift_x - CLEAR_EDGE_MM, 0.0), kept_x), 1),
            round(min(max(y * scale + shift_y - CLEAR_EDGE_MM, 0.0), kept_y), 1),
        )
        for tag, (x, y) in places.items()
        if tag and tag not in placed
    )


def _names_of_places(shapes: Drawing) -> frozenset[str]:
    """What is no tag but the name of a place, of a part of the sheet, or of the end of a cut wire."""
    places = {outline.tag for outline in shapes.outlines if outline.kind == "place"}
    marks = {symbol.tag for symbol in shapes.symbols if symbol.symbol == "match-mark"}
    return frozenset(places | marks | {"notes"})


def _readdressed(svg: Markup, picture: str, address: str) -> Markup:
    return Markup(str(svg).replace(picture, address)) if picture and picture != address else svg


_FILTERS: Filters = MappingProxyType(
    {
        "css_string": css_string,
        "shortened": shortened,
        "unless_repeated": unless_repeated,
        "figures": figures,
        "held": held,
    }
)
# Behind every other style, so that no template takes the mark off a draft.
DRAFT_STYLE = """
@page { @bottom-center { content: "DRAFT: not to be built from" !important; } }
.draft-mark { display: block !important; visibility: visible !important; opacity: 1 !important; }
"""


@cache
def _script() -> str:
    """The page's own script, between its tags to the letter: its hash stands in the policy."""
    script = BUILT_IN.text("packet/packet.js")
    if "</script" in script or typeset(clean(script)) != script:
        raise ValueError("the script of the packet cannot stand in a page as it is")
    return script


def _policy() -> str:
    """What the page may do: its own script and styles, embedded fonts, files made in the page. No network."""
    digest = base64.b64encode(hashlib.sha256(_script().encode("utf-8")).digest()).decode("ascii")
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; font-src data:; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def _style(file: str) -> str:
    text = templates().text(f"packet/{file}")
    # Inside its element a style sheet ends at the first of these, whatever it means in CSS.
    return text.replace("</", "<\\/")
