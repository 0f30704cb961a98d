"""A drawing as DXF, in millimetres, for other drawing programs. The only importer of ezdxf."""

from __future__ import annotations

import io
import itertools
import math
import re
from collections.abc import Iterable, Iterator
from typing import Any
from xml.etree import ElementTree

from specc.documents.drafting.look import read_look
from specc.documents.shapes import Drawing, Mark, Outline, PlacedSymbol, Point, Rect, Wire
from specc.rendering.numbers import typeset
from specc.rendering.svg import clean

Lines = Iterator[tuple[Point, ...]]

LAYERS = {  # name -> line weight in hundredths of a millimetre
    "frame": 50,
    "title block": 25,
    "places": 25,
    "enclosures": 35,
    "power wires": 50,
    "control wires": 25,
    "grounding wires": 25,
    "signal wires": 25,
    "water pipes": 50,
    "symbols": 35,
    "devices": 35,
    "marks": 25,
    "texts": 25,
}
_WIRE_LAYERS = {
    "power": "power wires",
    "control": "control wires",
    "ground": "grounding wires",
    "signal": "signal wires",
    "water": "water pipes",
}
# Samples in the legend lie with what they explain.
_SAMPLE_LAYERS = {f"{kind} line": layer for kind, layer in _WIRE_LAYERS.items()}
_SAMPLE_LAYERS |= {"place outline": "places", "box outline": "enclosures"}
_DASHES = {"control wires": "DASHED", "signal wires": "DOT", "places": "DASHDOT", "enclosures": "DASHED"}
_ANCHORS = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}
CURVE_STEPS = 16  # straight pieces of a full turn
CAP_HEIGHT = 0.73  # of a capital letter, in text sizes; DXF measures text by it


def drawing_dxf(drawing: Drawing) -> bytes:
    """The sheet as DXF (R2010, ASCII); the same drawing always gives the same bytes.

    Raises:
        ValueError: a symbol that holds a shape of a kind not drawn here.
    """
    import ezdxf  # only when a drawing is exported
    from ezdxf import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no clock, no random identifiers in the file
    try:
        document = ezdxf.new("R2010", setup=["linetypes"], units=4)
        document.header["$INSUNITS"] = 4  # millimetres
        document.header["$LTSCALE"] = 0.25
        document.header["$LWDISPLAY"] = 1  # lines are shown as thick as they are printed
        for name, weight in LAYERS.items():
            layer = document.layers.add(name, lineweight=weight)
            layer.dxf.linetype = _DASHES.get(name, "Continuous")
        document.styles.add("specc", font="DejaVuSansCondensed.ttf")
        document.styles.add("specc bold", font="DejaVuSansCondensed-Bold.ttf")
        _Pen(document.modelspace(), drawing).draw()
        _set_paper(document, drawing)
        # Left alone, the library lists its classes in the order of a set.
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        return str(_text_of(document)).encode("utf-8")
    finally:
        options.write_fixed_meta_data_for_testing = before


def _set_paper(document: Any, drawing: Drawing) -> None:
    """The sheet is the limits of the model and, at 1 : 1, the paper of the layout; it opens in full view."""
    width, height = drawing.width, drawing.height
    space, layout = document.modelspace(), document.layout()
    layout.page_setup(size=(width, height), margins=(0, 0, 0, 0), units="mm", scale=(1, 1))
    for each in (space, layout):
        each.reset_limits((0, 0), (width, height))
        each.reset_extents((0, 0, 0), (width, height, 0))
    document.header["$LIMMIN"], document.header["$LIMMAX"] = (0, 0), (width, height)
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (0, 0, 0), (width, height, 0)
    middle = (width / 2, height / 2)
    document.set_modelspace_vport(height=height, center=middle)
    layout.add_viewport(center=middle, size=(width, height), view_center_point=middle, view_height=height)


def _text_of(document: Any) -> str:
    out = io.StringIO()
    document.write(out)
    return out.getvalue()


class _Pen:
    """Draws the shapes of a sheet; heights run upward in DXF, downward on the sheet."""

    def __init__(self, space: Any, drawing: Drawing) -> None:
        self.space = space
        self.drawing = drawing

    def draw(self) -> None:
        drawing = self.drawing
        self._line(_corners(drawing.frame), "frame")
        for rule in drawing.rules:
            self._line((rule.start, rule.end), "title block")
        for outline in drawing.outlines:
            self._outline(outline)
        for wire in drawing.wires:
            self._wire(wire)
        for mark in drawing.marks:
            self._mark(mark)
        for stroke in drawing.strokes:
            self._line(stroke.points, "devices")
        for symbol in drawing.symbols:
            layer = _SAMPLE_LAYERS.get(symbol.symbol, "symbols")
            for points in symbol_lines(symbol):
                self._line(points, layer)
            for letters, place, size in symbol_letters(symbol):
                self._write(letters, place, size, "middle", bold=True, layer="symbols")
        for text in drawing.texts:
            self._write(text.content, (text.x, text.y), text.size, text.anchor, text.bold, "texts")

    def _up(self, point: Point) -> Point:
        return round(point[0], 4), round(self.drawing.height - point[1], 4)

    def _line(self, points: Iterable[Point], layer: str) -> None:
        self.space.add_lwpolyline([self._up(point) for point in points], dxfattribs={"layer": layer})

    def _outline(self, outline: Outline) -> None:
        self._line(_corners(outline.rect), "places" if outline.kind == "place" else "enclosures")

    def _wire(self, wire: Wire) -> None:
        radius = read_look().jump * self.drawing.scale
        for piece in wire.pieces:
            self._line(hopping(piece, wire.jumps, radius), _WIRE_LAYERS[wire.kind])

    def _mark(self, mark: Mark) -> None:
        look, scale = read_look(), self.drawing.scale
        if mark.kind == "dot":
            self.space.add_circle(self._up((mark.x, mark.y)), look.dot * scale, dxfattribs={"layer": "marks"})
            return
        size = (look.arrow / 2 if mark.kind == "arrow" else look.tick) * scale
        shape: tuple[Point, ...] = ((1.1, 0.0), (-0.9, -0.8), (-0.9, 0.8), (1.1, 0.0))
        if mark.kind == "tick":
            shape = ((-0.5, 1.0), (0.5, -1.0))
        turn = math.radians(mark.turn)
        self._line(
            (
                (
                    mark.x + size * (x * math.cos(turn) - y * math.sin(turn)),
                    mark.y + size * (x * math.sin(turn) + y * math.cos(turn)),
                )
                for x, y in shape
            ),
            "marks",
        )

    def _write(self, content: str, place: Point, size: float, anchor: str, bold: bool, layer: str) -> None:
        from ezdxf.enums import TextEntityAlignment

        entity = self.space.add_text(
            one_line_of(content),
            height=round(size * CAP_HEIGHT, 4),
            dxfattribs={"layer": layer, "style": "specc bold" if bold else "specc"},
        )
        entity.set_placement(self._up(place), align=TextEntityAlignment[_ANCHORS[anchor]])


def one_line_of(text: str) -> str:
    """The text as a DXF string: no control characters, and no signs that a reader would take for codes."""
    plain = "".join(c if c.isprintable() else " " for c in typeset(clean(text)))
    return plain.replace("%%", "% %").replace("^", "^ ")


def hopping(piece: tuple[Point, ...], jumps: tuple[Point, ...], radius: float) -> tuple[Point, ...]:
    """The corners of a wire, with a half circle of ``radius`` mm upward at every jump."""
    points = [piece[0]]
    for start, end in itertools.pairwise(piece):
        if abs(start[1] - end[1]) < 1e-6:
            low, high = sorted((start[0], end[0]))
            forth = 1 if end[0] > start[0] else -1
            over = [x for x, y in jumps if abs(y - start[1]) < 1e-6 and low < x < high]
            for x in sorted(over, reverse=forth < 0):
                for step in range(CURVE_STEPS // 2 + 1):
                    angle = math.pi * step / (CURVE_STEPS // 2)
                    points.append((x - forth * radius * math.cos(angle), start[1] - radius * math.sin(angle)))
        points.append(end)
    return tuple(points)


def _corners(rect: Rect) -> tuple[Point, ...]:
    return (
        (rect.left, rect.top),
        (rect.right, rect.top),
        (rect.right, rect.bottom),
        (rect.left, rect.bottom),
        (rect.left, rect.top),
    )


# -- symbols -----------------------------------------------------------------------------------------------


def symbol_lines(symbol: PlacedSymbol) -> Lines:
    """The drawing of a symbol file as lines at its place on the sheet, curves as short straight pieces.

    Raises:
        ValueError: a shape of a kind that no symbol of ours has.
    """
    root = ElementTree.fromstring(f"<g>{symbol.body}</g>")
    for element in root.iter():
        for points in _element_lines(element):
            yield tuple((symbol.x + x * symbol.scale, symbol.y + y * symbol.scale) for x, y in points)


def _element_lines(element: ElementTree.Element) -> Lines:
    match element.tag.rpartition("}")[2]:
        case "g" | "title" | "desc":
            if "transform" in element.attrib:
                raise ValueError("a symbol may not turn or move its parts")
        case "rect":
            x, y, width, height = (float(element.get(key, "0")) for key in ("x", "y", "width", "height"))
            yield _corners(Rect(x, y, x + width, y + height))
        case "circle":
            x, y, radius = (float(element.get(key, "0")) for key in ("cx", "cy", "r"))
            yield _ellipse(x, y, radius, radius)
        case "ellipse":
            yield _ellipse(*(float(element.get(key, "0")) for key in ("cx", "cy", "rx", "ry")))
        case "line":
            x1, y1, x2, y2 = (float(element.get(key, "0")) for key in ("x1", "y1", "x2", "y2"))
            yield (x1, y1), (x2, y2)
        case "polyline" | "polygon" as kind:
            numbers = [float(n) for n in _NUMBER.findall(element.get("points", ""))]
            points = tuple(zip(numbers[::2], numbers[1::2], strict=True))
            yield (*points, points[0]) if kind == "polygon" else points
        case "path":
            yield from path_lines(element.get("d", ""))
        case "text":
            return  # see symbol_letters
        case other:
            raise ValueError(f"a symbol may not hold <{other}>")


def symbol_letters(symbol: PlacedSymbol) -> Iterator[tuple[str, Point, float]]:
    """The letters inside a symbol ("M" of a motor): text, middle of its baseline on the sheet, size in mm."""
    root = ElementTree.fromstring(f"<g>{symbol.body}</g>")
    for element in root.iter("text"):
        x, y, size = (float(element.get(key, "0")) for key in ("x", "y", "font-size"))
        place = (symbol.x + x * symbol.scale, symbol.y + y * symbol.scale)
        yield element.text or "", place, size * symbol.scale


def _ellipse(x: float, y: float, across: float, down: float) -> tuple[Point, ...]:
    turns = (2 * math.pi * step / CURVE_STEPS for step in range(CURVE_STEPS + 1))
    return tuple((x + across * math.cos(turn), y + down * math.sin(turn)) for turn in turns)


_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_STEP = re.compile(r"([MmLlHhVvCcQqAaZz])((?:[^A-Za-z]|[eE][-+]?\d)*)")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "Q": 4, "A": 7}


def path_lines(path: str) -> Lines:
    """The strokes of an SVG path (moves, lines, curves, arcs) as corner points.

    Raises:
        ValueError: a command that is not drawn here.
    """
    if rest := _STEP.sub("", path).strip():
        raise ValueError(f"a path may not hold {rest!r}")
    points: list[Point] = []
    at = (0.0, 0.0)
    for letter, body in _STEP.findall(path):
        command, relative = letter.upper(), letter.islower()
        if command == "Z":
            points.append(points[0])
            at = points[0]
            continue
        numbers = [float(n) for n in _NUMBER.findall(body)]
        for start in range(0, len(numbers), _TAKES[command]):
            chunk = numbers[start : start + _TAKES[command]]
            if command == "M" and start == 0:
                if len(points) > 1:
                    yield tuple(points)
                at = _absolute(chunk, at, relative)[0]
                points = [at]
                continue
            points += _piece(command, chunk, at, relative)
            at = points[-1]
    if len(points) > 1:
        yield tuple(points)


def _absolute(numbers: list[float], at: Point, relative: bool) -> list[Point]:
    base = at if relative else (0.0, 0.0)
    return [(base[0] + x, base[1] + y) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]


def _piece(command: str, numbers: list[float], at: Point, relative: bool) -> list[Point]:
    """The points of one step after where it begins."""
    match command:
        case "H":
            return [(numbers[0] + (at[0] if relative else 0.0), at[1])]
        case "V":
            return [(at[0], numbers[0] + (at[1] if relative else 0.0))]
        case "A":
            end = _absolute(numbers[5:], at, relative)[0]
            return _arc(at, end, numbers[0], bool(numbers[3]), bool(numbers[4]))
        case "C" | "Q":
            return _curve([at, *_absolute(numbers, at, relative)])
        case _:
            return _absolute(numbers, at, relative)


def _curve(controls: list[Point]) -> list[Point]:
    """A Bezier curve by de Casteljau's steps."""
    found = []
    for step in range(1, CURVE_STEPS + 1):
        share, points = step / CURVE_STEPS, controls
        while len(points) > 1:
            points = [
                (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
                for a, b in itertools.pairwise(points)
            ]
        found.append(points[0])
    return found


def _arc(start: Point, end: Point, radius: float, large: bool, sweep: bool) -> list[Point]:
    """A circular arc from its ends, as SVG 1.1 appendix F.6 works out its centre."""
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    half = math.dist(start, end) / 2
    if half == 0.0 or radius == 0.0:
        return [end]
    radius = max(radius, half)
    off = math.sqrt(radius**2 - half**2) * (1 if large != sweep else -1)
    along = ((end[0] - start[0]) / (2 * half), (end[1] - start[1]) / (2 * half))
    centre = (middle[0] - off * along[1], middle[1] + off * along[0])
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    turn = math.atan2(end[1] - centre[1], end[0] - centre[0]) - first
    if sweep and turn < 0:
        turn += 2 * math.pi
    elif not sweep and turn > 0:
        turn -= 2 * math.pi
    steps = max(2, math.ceil(abs(turn) / (2 * math.pi) * CURVE_STEPS))
    angles = (first + turn * step / steps for step in range(1, steps))
    points = [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles]
    return [*points, end]
