"""What charts and profiles are made of: shapes in millimetres, scales, ticks, and labels that find room."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import Any, Literal

from specc.documents.drafting.lettering import Line, place_line
from specc.documents.shapes import Anchor, PlacedSymbol, Point, Rect, Text
from specc.templates import per_templates, read_toml_template

MarkerKind = Literal["circle", "square", "triangle", "diamond", "cross", "level"]


@dataclass(frozen=True)
class Trace:
    """A line through points; ``dash`` as SVG writes it, "" for a whole line."""

    points: tuple[Point, ...]
    weight: float
    dash: str = ""
    role: str = "line"
    words: str = ""


@dataclass(frozen=True)
class Area:
    """A closed shape; ``fill`` is a colour or "none", ``weight`` that of its edge (0 for none)."""

    points: tuple[Point, ...]
    fill: str = "none"
    weight: float = 0.0
    role: str = "area"
    words: str = ""


@dataclass(frozen=True)
class Marker:
    """A sign at a point; ``filled`` black, else white. "level" is the triangle of a water level."""

    kind: MarkerKind
    x: float
    y: float
    size: float
    filled: bool = True
    words: str = ""


@dataclass(frozen=True)
class Figure:
    """A picture by its shapes, in the order in which they are drawn: areas, traces, markers, texts."""

    name: str
    title: str
    description: str
    width: float
    height: float
    areas: tuple[Area, ...] = ()
    traces: tuple[Trace, ...] = ()
    markers: tuple[Marker, ...] = ()
    texts: tuple[Text, ...] = ()
    symbols: tuple[PlacedSymbol, ...] = ()


@dataclass(frozen=True)
class ChartLook:
    """The sizes in templates/charts/look.toml, mm; the file explains each."""

    tick: float
    gap: float
    room: float
    legend_sample: float
    legend_gap: float
    hatch: float
    bar_share: float
    text: MappingProxyType[str, float]
    line: MappingProxyType[str, float]
    dash: MappingProxyType[str, Any]
    marker: MappingProxyType[str, Any]
    fill: MappingProxyType[str, Any]

    def dash_of(self, number: int) -> str:
        """The dash of the line of this number, counted from 0."""
        return str(_turn(self.dash["order"], number))

    def marker_of(self, number: int) -> MarkerKind:
        """The sign of the set of points of this number."""
        kind: MarkerKind = _turn(self.marker["order"], number)
        return kind

    def fill_of(self, number: int) -> str:
        """The filling of the bars of this number."""
        return str(_turn(self.fill["order"], number))


def _turn(order: Sequence[Any], number: int) -> Any:
    return order[number % len(order)]


@per_templates
def read_chart_look() -> ChartLook:
    """The look in the templates folder."""
    return read_toml_template("charts/look.toml", _chart_look, sizes=True)


def _chart_look(data: dict[str, Any]) -> ChartLook:
    sizes: dict[str, Any] = {
        name: MappingProxyType(value) if isinstance(value, dict) else value for name, value in data.items()
    }
    return ChartLook(**sizes)


# -- scales ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Scale:
    """Values from ``low`` to ``high`` on a stretch of paper from ``start`` to ``end`` mm."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


@dataclass(frozen=True)
class Ticks:
    """Round values along an axis and how they are written."""

    low: float
    high: float
    values: tuple[float, ...]
    labels: tuple[str, ...]


def round_ticks(low: float, high: float, most: int = 8) -> Ticks:
    """Ticks at 1, 2 or 5 times a power of ten, about ``most`` steps, that enclose ``low`` and ``high``.

    A range of nothing is widened. Raises ``ValueError`` for what is not finite.
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        raise ValueError(f"no axis from {low} to {high}")
    if high - low <= 1e-12 * max(1.0, abs(low), abs(high)):
        low, high = low - max(0.5, abs(low) * 0.1), high + max(0.5, abs(high) * 0.1)
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    values = tuple(number * step for number in range(first, last + 1))
    labels = tuple(_written(value, decimals) for value in values)
    return Ticks(first * step, last * step, values, labels)


def _written(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "\N{MINUS SIGN}")


# -- clipping ----------------------------------------------------------------------------------------


def clipped(points: Sequence[Point], frame: Rect) -> Iterator[tuple[Point, ...]]:
    """The stretches of a line that lie inside a frame; a gap in it (a value that is not finite) parts it."""
    run: list[Point] = []
    for start, end in pairwise(points):
        inside = _inside(start, end, frame)
        if inside is None:
            if len(run) > 1:
                yield tuple(run)
            run = []
            continue
        if run and run[-1] == inside[0]:
            run.append(inside[1])
        else:
            if len(run) > 1:
                yield tuple(run)
            run = list(inside)
    if len(run) > 1:
        yield tuple(run)


def _inside(start: Point, end: Point, frame: Rect) -> tuple[Point, Point] | None:
    """The part of a straight line inside a frame, after Liang and Barsky, 1984."""
    if not all(map(math.isfinite, (*start, *end))):
        return None
    dx, dy = end[0] - start[0], end[1] - start[1]
    low, high = 0.0, 1.0
    for step, room in (
        (-dx, start[0] - frame.left),
        (dx, frame.right - start[0]),
        (-dy, start[1] - frame.top),
        (dy, frame.bottom - start[1]),
    ):
        if step == 0.0:
            if room < 0.0:
                return None
        elif step < 0.0:
            low = max(low, room / step)
        else:
            high = min(high, room / step)
    if low > high:
        return None
    first = start if low == 0.0 else (start[0] + low * dx, start[1] + low * dy)
    last = end if high == 1.0 else (start[0] + high * dx, start[1] + high * dy)
    return first, last


# -- hatching ----------------------------------------------------------------------------------------


def hatched(rect: Rect, fill: str, role: str = "hatch") -> tuple[tuple[Area, ...], tuple[Trace, ...]]:
    """A bar filled in one of the ways of the look: grey, white, or hatched one way or another."""
    look = read_chart_look()
    corners = (
        (rect.left, rect.bottom),
        (rect.left, rect.top),
        (rect.right, rect.top),
        (rect.right, rect.bottom),
    )
    colour = look.fill["grey"] if fill == "grey" else "#fff"
    turns = {"diagonal": (1.0,), "crossed": (1.0, -1.0)}.get(fill, ())
    lines = [
        Trace(part, look.line["hatch"], role=role)
        for turn in turns
        for line in _diagonals(rect, look.hatch, turn)
        for part in clipped(line, rect)
    ]
    if fill == "upright":
        count = int(rect.width / look.hatch * 1.6) + 1
        places = (rect.left + rect.width * (n + 1) / (count + 1) for n in range(count))
        lines += [Trace(((x, rect.top), (x, rect.bottom)), look.line["hatch"], role=role) for x in places]
    return (Area(corners, colour, look.line["thin"], "bar"),), tuple(lines)


def _diagonals(rect: Rect, step: float, turn: float) -> Iterator[tuple[Point, Point]]:
    reach = rect.width + rect.height
    for number in range(1, int(reach / step) + 1):
        along = number * step
        if turn > 0:
            yield (rect.left, rect.top + along), (rect.left + along, rect.top)
        else:
            yield (rect.right, rect.top + along), (rect.right - along, rect.top)


# -- legend ------------------------------------------------------------------------------------------


def legend(labels: Sequence[str], top: float, width: float) -> tuple[list[Rect], list[Text], float]:
    """Where the samples of a legend go, its words, and how far down it reaches; in rows from ``top``, mm."""
    look = read_chart_look()
    x, y, size = 0.0, top, look.text["legend"]
    places, texts = [], []
    for label in labels:
        line = Line(label, size, role="legend")
        needed = look.legend_sample + 1.5 + line.width
        if x > 0.0 and x + needed > width:
            x, y = 0.0, y + size * 1.7
        places.append(Rect(x, y, x + look.legend_sample, y + size * 1.3))
        texts.append(place_line(line, x + look.legend_sample + 1.5, y + size * 0.98))
        x += needed + look.legend_gap
    return places, texts, y + size * 1.7


# -- labels that find room ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Wish:
    """A label that wants to stand near a point."""

    content: str
    x: float
    y: float
    bold: bool = False
    tag: str = ""
    leader: bool = True  # a thin line to the point where the label stands away from it


class Crowd:
    """Places labels one after another where they meet no other text and no line; thrown away after use."""

    def __init__(self, room: Rect, texts: Iterable[Text], lines: Iterable[Sequence[Point]]) -> None:
        self.room = room
        self.boxes = [text.box for text in texts]
        self.pieces = [piece for line in lines for piece in pairwise(line)]

    def place(self, wish: Wish) -> tuple[Text, Trace | None]:
        """The label at the best place found, and the thin line to its point where it needs one."""
        look = read_chart_look()
        line = Line(wish.content, look.text["label"], wish.bold, "label")
        best: tuple[float, Text, float] | None = None
        for away in (look.gap, 3.0, 5.0, 8.0, 12.0, 17.0, 23.0, 30.0):
            for turn in (-45, -135, 45, 135, -90, 0, 180, 90, -20, -160, 20, 160, -70, -110, 70, 110):
                text = _beside(line, wish, away, math.radians(turn))
                cost = self._cost(text.box) * 100.0 + away
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, text, away)
            if best is not None and best[0] < 100.0:
                break
        assert best is not None
        _, text, away = best
        self.boxes.append(text.box)
        if not wish.leader or away <= look.gap:
            return text, None
        leader = Trace(
            ((wish.x, wish.y), _nearest(text.box, wish)),
            look.line["hatch"],
            role="leader",
            words=wish.content,
        )
        self.pieces.append((leader.points[0], leader.points[1]))
        return text, leader

    def _cost(self, box: Rect) -> float:
        """What a place spoils: off the room counts most, then texts, then lines."""
        grown = box.grown(read_chart_look().room)
        outside = 0.0 if self.room.contains(box) else 50.0
        met = sum(20.0 for other in self.boxes if grown.overlaps(other))
        near = box.grown(0.3)
        crossed = sum(1.0 for start, end in self.pieces if _meets(start, end, near))
        return outside + met + min(crossed, 15.0)


def _meets(start: Point, end: Point, box: Rect) -> bool:
    """Does a straight line pass through a box?"""
    apart = (
        max(start[0], end[0]) < box.left
        or min(start[0], end[0]) > box.right
        or max(start[1], end[1]) < box.top
        or min(start[1], end[1]) > box.bottom
    )
    return not apart and _inside(start, end, box) is not None


def _beside(line: Line, wish: Wish, away: float, turn: float) -> Text:
    """The line of text ``away`` mm from its point in a direction (0 to the right, 90° down)."""
    across, down = math.cos(turn), math.sin(turn)
    anchor: Anchor = "start" if across > 0.3 else "end" if across < -0.3 else "middle"
    text = place_line(line, wish.x + away * across, wish.y + away * down, anchor, wish.tag)
    height = text.box.height
    shift = (wish.y + away * down) - (text.box.top + height * (0.5 - 0.5 * down))
    return moved(text, 0.0, shift)


def _nearest(box: Rect, wish: Wish) -> Point:
    return (min(max(wish.x, box.left), box.right), min(max(wish.y, box.top), box.bottom))


def moved(text: Text, across: float, down: float) -> Text:
    """The text somewhere else."""
    box = text.box
    there = Rect(box.left + across, box.top + down, box.right + across, box.bottom + down)
    return replace(text, x=text.x + across, y=text.y + down, box=there)
