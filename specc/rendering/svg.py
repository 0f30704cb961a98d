"""A drawing as SVG text, through the templates in templates/drawing."""

from __future__ import annotations

import itertools
import re
from types import MappingProxyType

from markupsafe import Markup

from specc.documents.drafting.look import read_look
from specc.documents.shapes import Drawing, PlacedSymbol, Point, Wire
from specc.plain_svg import SHAPES, svg_fault
from specc.rendering.templating import Filters, blamed, render
from specc.templates import TemplateProblem, templates

DECIMALS = 2
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def render_drawing(drawing: Drawing, standalone: bool = False) -> str:
    """The sheet as an SVG element, sized in millimetres; the same drawing always gives the same text.

    ``standalone`` puts the XML declaration first, for a file of its own.
    """
    svg = render(
        "drawing", "sheet.svg.j2", SVG_FILTERS, drawing=drawing, look=read_look(), standalone=standalone
    )
    return checked_svg(svg, "drawing")


def number(value: float) -> str:
    """A coordinate with fixed decimals, never "-0.00"."""
    text = f"{value:.{DECIMALS}f}"
    return text.lstrip("-") if float(text) == 0 else text


def clean(text: str) -> str:
    """The text without characters that XML cannot hold; each becomes a replacement mark."""
    return NOT_XML.sub("\N{REPLACEMENT CHARACTER}", text)


def css_name(text: str) -> str:
    """A tag as a class name: letters, digits and hyphens."""
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-").lower() or "untagged"


def wire_path(wire: Wire, radius: float) -> str:
    """The path of a wire, with a half circle of ``radius`` mm upward at every jump."""
    return " ".join(_piece_path(piece, wire.jumps, radius) for piece in wire.pieces)


def polyline(points: tuple[Point, ...]) -> str:
    """The path through some points."""
    return "M" + "L".join(_pair(point) for point in points)


def symbol_body(symbol: PlacedSymbol) -> Markup:
    """The inside of a symbol file (our own, hence trusted), its line weights kept whatever its scale."""

    def unscaled(match: re.Match[str]) -> str:
        return f'stroke-width="{number(float(match[1]) / symbol.scale)}"'

    return Markup(re.sub(r'stroke-width="([\d.]+)"', unscaled, symbol.body))


def _piece_path(piece: tuple[Point, ...], jumps: tuple[Point, ...], radius: float) -> str:
    parts = [f"M{_pair(piece[0])}"]
    for start, end in itertools.pairwise(piece):
        if abs(start[1] - end[1]) < 1e-6:
            turn = 1 if end[0] > start[0] else -1
            low, high = sorted((start[0], end[0]))
            over = [x for x, y in jumps if abs(y - start[1]) < 1e-6 and low < x < high]
            for x in sorted(over, reverse=turn < 0):
                before, after = (x - turn * radius, start[1]), (x + turn * radius, start[1])
                arc = f"A{number(radius)} {number(radius)} 0 0 {int(turn > 0)} {_pair(after)}"
                parts += [f"L{_pair(before)}", arc]
        parts.append(f"L{_pair(end)}")
    return "".join(parts)


def _pair(point: Point) -> str:
    return f"{number(point[0])} {number(point[1])}"


SVG_FILTERS: Filters = MappingProxyType(
    {
        "mm": number,
        "clean": clean,
        "css_name": css_name,
        "wire_path": wire_path,
        "polyline": polyline,
        "symbol_body": symbol_body,
    }
)


def checked_svg(svg: str, folder: str) -> str:
    """The SVG, if it is a plain picture; only a firm's own templates can make it anything else.

    Raises TemplateProblem.
    """
    folders = (folder, "symbols")
    if not any(name.partition("/")[0] in folders for name in templates().own):
        return svg
    fault = svg_fault(svg.encode("utf-8"), SHAPES | {"image"})
    if fault is not None:
        element = re.search(r"<\w+", fault.says)
        place, line = blamed(element[0] if element else fault.says, folders)
        raise TemplateProblem(place, line, f"{fault.says}.")
    return svg
