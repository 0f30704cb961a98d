"""Charts: plain series in, shapes in millimetres out.

A chart knows nothing of pumps or years: its axes are in the units that it prints, and its series are numbers.
Lines, steps, points, bars and bands, on one or two upright axes; told apart by dash, sign and hatching, with
a legend, and with labels at points that matter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from specc.documents.drafting.lettering import Line, lines_of, place_line, stack
from specc.documents.figures import (
    Area,
    Crowd,
    Figure,
    Marker,
    Scale,
    Ticks,
    Trace,
    Wish,
    clipped,
    hatched,
    legend,
    read_chart_look,
    round_ticks,
)
from specc.documents.shapes import Point, Rect, Text
from specc.documents.tables import Column, Table

Kind = Literal["line", "step", "points", "bars", "band"]
PLOTTED = 720  # points of a line at most: more cannot be seen


@dataclass(frozen=True)
class Series:
    """One set of values. A band lies between ``y`` and ``upper``; ``right`` reads it on the right axis.

    ``style`` counts from 0 within its kind and chooses dash, sign or hatching; a value that is not finite is
    a gap.
    """

    label: str
    kind: Kind
    x: tuple[float, ...]
    y: tuple[float, ...]
    upper: tuple[float, ...] = ()
    style: int = 0
    right: bool = False
    listed: bool = True  # in the legend; else told by a label at its line

    def __post_init__(self) -> None:
        if len(self.x) != len(self.y) or (self.kind == "band") != bool(self.upper):
            raise ValueError(f"series {self.label}: x, y and upper do not go together")
        if self.upper and len(self.upper) != len(self.x):
            raise ValueError(f"series {self.label}: a band needs as many upper values")


@dataclass(frozen=True)
class Axis:
    """An axis: its title with the unit, its least range, and what stands along it where that is no number.

    ``names`` stand under x = 0, 1, 2 ... each in the middle of its place; ``marks`` are ticks of their own.
    """

    title: str
    low: float | None = None
    high: float | None = None
    names: tuple[str, ...] = ()
    marks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class Note:
    """A label at a point, which is marked by a dot unless ``dot`` says no."""

    text: str
    x: float
    y: float
    right: bool = False
    dot: bool = True


@dataclass(frozen=True)
class Chart:
    """What a chart says. ``name`` is the stem of its file."""

    name: str
    title: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    right: Axis | None = None
    notes: tuple[Note, ...] = ()
    remarks: tuple[str, ...] = ()  # printed below it

    def __post_init__(self) -> None:
        on_the_right = [*(s.right for s in self.series), *(n.right for n in self.notes)]
        if any(on_the_right) and self.right is None:
            raise ValueError(f"chart {self.name}: a series needs a right axis")


def chart_table(chart: Chart) -> Table:
    """The curves of a chart as rows, one a point: series, x, y and the upper edge of a band, as printed."""
    columns = (
        Column("series", "Series"),
        Column("x", chart.x.title),
        Column("y", chart.y.title + (f" or {chart.right.title}" if chart.right else "")),
        Column("upper", "Upper edge"),
    )
    rows = tuple(
        {
            "series": each.label,
            "x": chart.x.names[int(x)] if chart.x.names else x,
            "y": y if math.isfinite(y) else None,
            "upper": each.upper[number] if each.upper else None,
        }
        for each in chart.series
        for number, (x, y) in enumerate(zip(each.x, each.y, strict=True))
    )
    return Table(f"{chart.name.removesuffix('-curve')}-curve", chart.title, columns, rows)


def draw_chart(chart: Chart, width: float, height: float) -> Figure:
    """The chart on a piece of paper of this size, mm. Raises ``ValueError`` where it has no finite value."""
    return _Drawing(chart, width, height).figure()


@dataclass
class _Drawing:
    """The chart as it is drawn; thrown away when its figure is made."""

    chart: Chart
    width: float
    height: float
    areas: list[Area] = field(default_factory=list)
    traces: list[Trace] = field(default_factory=list)
    markers: list[Marker] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    drawn: list[tuple[Point, ...]] = field(default_factory=list)  # lines that labels keep off

    def figure(self) -> Figure:
        look = read_chart_look()
        top = self._heading()
        bottom = self._remarks()
        self._frame(top, bottom)
        for each in self.chart.series:
            self._series(each)
        self.traces.append(Trace(_corners(self.plot), look.line["axis"], role="frame"))
        self._notes()
        said = ", ".join(each.label for each in self.chart.series)
        return Figure(
            self.chart.name,
            self.chart.title,
            f"{self.chart.title}. Across: {self.chart.x.title}. Up: {self.chart.y.title}. Shown: {said}.",
            self.width,
            self.height,
            tuple(self.areas),
            tuple(self.traces),
            tuple(self.markers),
            tuple(self.texts),
        )

    # -- around the plot -------------------------------------------------------------------------

    def _heading(self) -> float:
        """Title and legend; the height that they take."""
        look = read_chart_look()
        title = lines_of(self.chart.title, look.text["title"], self.width, bold=True, role="title")
        self.texts += stack(title, 0.0, 0.0)
        y = sum(line.size * 1.25 for line in title) + 0.8
        listed = [each for each in self.chart.series if each.listed]
        if len(self.chart.series) < 2:
            return y
        places, texts, y = legend([each.label for each in listed], y, self.width)
        self.texts += texts
        for each, place in zip(listed, places, strict=True):
            self._sample(each, place)
        return y

    def _sample(self, each: Series, box: Rect) -> None:
        look = read_chart_look()
        middle = (box.top + box.bottom) / 2.0
        if each.kind == "bars":
            self._filled(box, each)
        elif each.kind == "band":
            self._band(((box.left, box.bottom), (box.right, box.bottom)), (box.top, box.top), each.style)
        elif each.kind == "points":
            x = (box.left + box.right) / 2.0
            self.markers.append(
                Marker(look.marker_of(each.style), x, middle, look.marker["size"], each.style % 2 == 0)
            )
        else:
            self.traces.append(
                Trace(
                    ((box.left, middle), (box.right, middle)),
                    look.line["series"],
                    look.dash_of(each.style),
                    "sample",
                )
            )

    def _remarks(self) -> float:
        """Remarks below the chart; the height that they take."""
        look = read_chart_look()
        size = look.text["note"]
        lines = [
            line for remark in self.chart.remarks for line in lines_of(remark, size, self.width, role="note")
        ]
        taken = len(lines) * size * 1.2
        self.texts += stack(tuple(lines), 0.0, self.height - taken)
        return taken + (1.0 if lines else 0.0)

    def _frame(self, top: float, bottom: float) -> None:
        """Plot area, scales, grid, numbers and axis titles."""
        look, chart = read_chart_look(), self.chart
        size, number = look.text["axis"], look.text["number"]
        left_ticks = _range(chart.y, [s for s in chart.series if not s.right])
        right_ticks = _range(chart.right, [s for s in chart.series if s.right]) if chart.right else None
        self.x_ticks = _across(chart)
        widest = max(Line(text, number).width for text in left_ticks.labels)
        left = max(widest, 4.0) + look.tick + look.gap
        right = 3.0
        if right_ticks is not None:
            right = max(Line(text, number).width for text in right_ticks.labels) + look.tick + look.gap
        self.plot = Rect(
            left,
            top + size * 1.9 + 0.6,
            self.width - right,
            self.height - bottom - number * 1.55 - size * 1.5 - look.tick,
        )
        if self.plot.width < 20.0 or self.plot.height < 15.0:
            raise ValueError(f"chart {chart.name}: no room on {self.width:g} x {self.height:g} mm")
        plot = self.plot
        self.x_scale = Scale(self.x_ticks.low, self.x_ticks.high, plot.left, plot.right)
        self.y_scale = Scale(left_ticks.low, left_ticks.high, plot.bottom, plot.top)
        self.right_scale = (
            Scale(right_ticks.low, right_ticks.high, plot.bottom, plot.top) if right_ticks else self.y_scale
        )
        self._upright(left_ticks, self.y_scale, grid=True)
        if right_ticks is not None:
            self._upright(right_ticks, self.right_scale, grid=False)
        self._level()
        title = Line(chart.y.title, size, role="axis")
        self.texts.append(place_line(title, 0.0, plot.top - size))
        if chart.right is not None:
            other = Line(chart.right.title, size, role="axis")
            self.texts.append(place_line(other, self.width, plot.top - size, "end"))
        across = Line(chart.x.title, size, role="axis")
        self.texts.append(place_line(across, plot.right, self.height - bottom - size * 0.4, "end"))

    def _upright(self, ticks: Ticks, scale: Scale, *, grid: bool) -> None:
        look = read_chart_look()
        size = look.text["number"]
        for value, label in zip(ticks.values, ticks.labels, strict=True):
            y = scale(value)
            if grid:
                self.traces.append(
                    Trace(((self.plot.left, y), (self.plot.right, y)), look.line["grid"], role="grid")
                )
                edge, out, anchor = self.plot.left, -1.0, "end"
            else:
                edge, out, anchor = self.plot.right, 1.0, "start"
            self.traces.append(
                Trace(((edge, y), (edge + out * look.tick, y)), look.line["axis"], role="tick")
            )
            place = edge + out * (look.tick + look.gap * 0.6)
            side: Literal["start", "end"] = "end" if anchor == "end" else "start"
            self.texts.append(place_line(Line(label, size, role="number"), place, y + size * 0.36, side))

    def _level(self) -> None:
        look = read_chart_look()
        size, bottom = look.text["number"], self.plot.bottom
        end = -math.inf
        for value, label in zip(self.x_ticks.values, self.x_ticks.labels, strict=True):
            x = self.x_scale(value)
            if not self.chart.x.names:
                self.traces.append(Trace(((x, self.plot.top), (x, bottom)), look.line["grid"], role="grid"))
                self.traces.append(
                    Trace(((x, bottom), (x, bottom + look.tick)), look.line["axis"], role="tick")
                )
            text = place_line(Line(label, size, role="number"), x, bottom + look.tick + size * 1.2, "middle")
            if text.box.left > end + look.room:
                self.texts.append(text)
                end = text.box.right

    # -- series ----------------------------------------------------------------------------------

    def _series(self, each: Series) -> None:
        scale = self.right_scale if each.right else self.y_scale
        points = tuple((self.x_scale(x), scale(y)) for x, y in _thinned(each))
        match each.kind:
            case "bars":
                self._bars(each, scale)
            case "band":
                tops = tuple(scale(y) for y in each.upper)
                whole = tuple((self.x_scale(x), scale(y)) for x, y in zip(each.x, each.y, strict=True))
                self._band(whole, tops, each.style)
            case "points":
                look = read_chart_look()
                for x, y in points:
                    if math.isfinite(x) and math.isfinite(y):
                        kind = look.marker_of(each.style)
                        self.markers.append(
                            Marker(kind, x, y, look.marker["size"], each.style % 2 == 0, each.label)
                        )
            case "step":
                self._line(each, tuple(_stepped(points)))
            case "line":
                self._line(each, points)

    def _line(self, each: Series, points: tuple[Point, ...]) -> None:
        look = read_chart_look()
        for part in clipped(points, self.plot.grown(1e-6)):  # rounding must not part a line at its edge
            self.traces.append(
                Trace(part, look.line["series"], look.dash_of(each.style), "series", each.label)
            )
            self.drawn.append(part)

    def _bars(self, each: Series, scale: Scale) -> None:
        look = read_chart_look()
        beside = [s for s in self.chart.series if s.kind == "bars"]
        place = abs(self.x_scale(1.0) - self.x_scale(0.0)) if self.chart.x.names else _narrowest(each, self)
        wide = place * look.bar_share / len(beside)
        offset = (beside.index(each) - len(beside) / 2.0) * wide
        floor = scale(max(0.0, scale.low))
        for x, y in zip(each.x, each.y, strict=True):
            if not math.isfinite(y):
                continue
            left = self.x_scale(x) + offset
            edges = sorted((floor, scale(y)))
            self._filled(Rect(left, edges[0], left + wide, edges[1]), each)
            self.drawn.append(((left, scale(y)), (left + wide, scale(y))))

    def _filled(self, rect: Rect, each: Series) -> None:
        areas, lines = hatched(rect, read_chart_look().fill_of(each.style))
        self.areas += areas
        self.traces += lines

    def _band(self, lower: tuple[Point, ...], tops: tuple[float, ...], style: int) -> None:
        """Upright hatching from the lower to the upper edge, and both edges as thin lines."""
        look = read_chart_look()
        upper = tuple((x, top) for (x, _), top in zip(lower, tops, strict=True))
        if not all(math.isfinite(v) for point in (*lower, *upper) for v in point):
            raise ValueError(f"chart {self.chart.name}: a band may have no gaps")
        self.areas.append(Area((*lower, *reversed(upper)), look.fill["pale"], 0.0, "band"))
        for edge in (lower, upper):
            self.traces.append(Trace(edge, look.line["thin"], role="band"))
            self.drawn.append(edge)
        if style == 0:
            return
        for x, bottom, top in _uprights(lower, upper, look.hatch):
            self.traces.append(Trace(((x, bottom), (x, top)), look.line["hatch"], role="hatch"))

    # -- labels ----------------------------------------------------------------------------------

    def _notes(self) -> None:
        look = read_chart_look()
        crowd = Crowd(self.plot.grown(-0.5), self.texts, self.drawn)
        for note in self.chart.notes:
            scale = self.right_scale if note.right else self.y_scale
            x, y = self.x_scale(note.x), scale(note.y)
            if note.dot:
                self.markers.append(Marker("circle", x, y, look.marker["size"], True, note.text))
            text, leader = crowd.place(Wish(note.text, x, y))
            self.texts.append(text)
            if leader is not None:
                self.traces.append(leader)


def _corners(rect: Rect) -> tuple[Point, ...]:
    return (
        (rect.left, rect.top),
        (rect.left, rect.bottom),
        (rect.right, rect.bottom),
        (rect.right, rect.top),
        (rect.left, rect.top),
    )


def _range(axis: Axis, series: Sequence[Series]) -> Ticks:
    values = [v for each in series for v in (*each.y, *each.upper) if math.isfinite(v)]
    if any(each.kind == "bars" for each in series):
        values.append(0.0)
    return _ticks(axis, values)


def _ticks(axis: Axis, values: list[float]) -> Ticks:
    limits = [limit for limit in (axis.low, axis.high) if limit is not None]
    if not values and len(limits) < 2:
        raise ValueError(f"nothing to show on the axis {axis.title!r}")
    low, high = min([*values, *limits]), max([*values, *limits])
    if high == low == axis.low:  # nothing but its lowest value: the axis still begins there
        high = low + 1.0
    return round_ticks(low, high)


def _across(chart: Chart) -> Ticks:
    if chart.x.names:
        numbers = tuple(float(n) for n in range(len(chart.x.names)))
        return Ticks(-0.5, len(numbers) - 0.5, numbers, chart.x.names)
    values = [x for each in chart.series for x in each.x if math.isfinite(x)]
    ticks = _ticks(chart.x, values)
    # A day or a year fills its frame from end to end, round or not.
    low, high = chart.x.low, chart.x.high
    if low is None or high is None or min(values) < low or max(values) > high:
        return ticks
    marks = chart.x.marks or tuple(zip(ticks.values, ticks.labels, strict=True))
    kept = [(value, text) for value, text in marks if low <= value <= high]
    return Ticks(low, high, tuple(v for v, _ in kept), tuple(text for _, text in kept))


def _thinned(each: Series) -> Iterable[Point]:
    """The points; of very many the lowest and highest of each bundle, so that no peak is lost."""
    points = list(zip(each.x, each.y, strict=True))
    if len(points) <= PLOTTED or each.kind in ("bars", "points"):
        return points
    bundle = math.ceil(2 * len(points) / PLOTTED)
    kept: list[Point] = []
    for start in range(0, len(points), bundle):
        part = points[start : start + bundle]
        ends = {min(part, key=lambda p: p[1]), max(part, key=lambda p: p[1])}
        kept += sorted(ends)
    return kept


def _stepped(points: tuple[Point, ...]) -> Iterator[Point]:
    """A value holds until the next one."""
    yield from points[:1]
    for before, after in pairwise(points):
        yield after[0], before[1]
        yield after


def _narrowest(each: Series, drawing: _Drawing) -> float:
    gaps = [abs(b - a) for a, b in pairwise(sorted(each.x))]
    if not gaps:
        return drawing.plot.width / 4.0
    return abs(drawing.x_scale(min(gaps)) - drawing.x_scale(0.0))


def _uprights(
    lower: Sequence[Point], upper: Sequence[Point], step: float
) -> Iterator[tuple[float, float, float]]:
    """Places across a band, with its two edges there."""
    x = lower[0][0] + step
    for n, (start, end) in enumerate(pairwise(lower)):
        while x <= end[0]:
            share = (x - start[0]) / (end[0] - start[0]) if end[0] > start[0] else 0.0
            bottom = start[1] + share * (end[1] - start[1])
            top = upper[n][1] + share * (upper[n + 1][1] - upper[n][1])
            yield x, bottom, top
            x += step
