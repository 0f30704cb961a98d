"""The hydraulic profile: elevations along the pipe from source to tank, with the energy line over them.

Suction and delivery stand side by side with a scale of length each, since a suction of a few metres
would vanish beside a delivery of hundreds; the scale of elevation is one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from specc import units
from specc.documents.drafting.lettering import Line, lines_of, place_line, stack
from specc.documents.drafting.symbols import read_symbols
from specc.documents.figures import (
    Area,
    Crowd,
    Figure,
    Marker,
    Scale,
    Trace,
    Wish,
    legend,
    read_chart_look,
    round_ticks,
)
from specc.documents.one_line import size_words
from specc.documents.shapes import PlacedSymbol, Point, Rect, Text
from specc.system.model import Device, Pipe
from specc.system.system import System
from specc.system.water import Water, Way

LOW_FLOW_SHARE = 0.3  # of the full flow, for the second energy line
_SUCTION_SHARE = (0.28, 0.5)  # least and most of the width that the suction takes
_END = 17.0  # mm at either end for source and tank
_MIDDLE = 18.0  # mm between suction and delivery for the pump
_SYMBOL_SCALE = 0.6
_BURIED_OF_RISER = 0.75  # of a buried pipe that ends over a tank, drawn under the ground
_REMARKS = (
    "Straight between the elevations that the spec gives; where a high or low point lies within its pipe is "
    "assumed. Suction and delivery have a scale of length each.",
    "Where the pipe lies above the energy line the water in it is under vacuum.",
)


@dataclass(frozen=True)
class Course:
    """A way as it lies: stands (metres along it, elevation) and where each piece begins and ends along it."""

    way: Way
    stands: tuple[tuple[float, float], ...]
    at: Mapping[str, tuple[float, float]]  # tag of a piece -> metres along the way

    @property
    def length_m(self) -> float:
        return self.stands[-1][0]

    def elevation_m(self, along_m: float) -> float:
        """Elevation of the pipe at a place along it."""
        for (before, low), (after, high) in pairwise(self.stands):
            if along_m <= after and after > before:
                return low + (high - low) * (along_m - before) / (after - before)
        return self.stands[-1][1]


def course(water: Water, way: Way) -> Course:
    """Where a way lies. Raises ``MissingDatum`` for an end without elevation."""
    source = way.start.table == "source"
    intake = water.elevation_m(way.start.tag) if source else None
    begin = float(way.start.spec.elevation) if not source else intake
    if begin is None:
        begin = water.pumping_level_m(way.start)
    end = float(way.end.spec.elevation) if way.end.table == "pumps" else water.inlet_m(way.end)
    stands, at, along = [(0.0, begin)], dict[str, tuple[float, float]](), 0.0
    last = [step for step in way.steps if isinstance(step, Pipe)][-1]
    for number, step in enumerate(way.steps):
        if isinstance(step, Device):
            at[step.tag] = (along, along)
            elevation = water.elevation_m(f"{step.tag}.in")
            if elevation is not None and along > stands[-1][0]:
                stands.append((along, elevation))
            continue
        length = float(step.spec.length)
        follower = way.steps[number + 1] if number + 1 < len(way.steps) else None
        finish = end if step is last else None
        if isinstance(follower, Device):
            finish = water.elevation_m(f"{follower.tag}.in")
        stands += _within(step, along, stands, finish)
        at[step.tag] = (along, along + length)
        along += length
    stands = [stand for stand in stands if stand[0] < along]
    return Course(way, (*stands, (along, end)), at)


def _within(
    pipe: Pipe, along: float, stands: Sequence[tuple[float, float]], end_m: float | None
) -> Iterator[tuple[float, float]]:
    """The stated low and high point of a pipe: at an end without elevation, else inside."""
    low, high, length = pipe.spec.low_point, pipe.spec.high_point, float(pipe.spec.length)
    place, elevation = stands[-1]
    ends = [elevation, *([end_m] if end_m is not None else [])]
    if low is not None and place < along:
        yield along, float(low)
        ends[0] = float(low)
    elif low is not None and low < min(ends):
        yield along + length / 3.0, float(low)
    if high is not None and end_m is None:
        yield along + length, float(high)
    elif high is not None and high > max(ends):
        yield along + length * 2.0 / 3.0, float(high)


def energy_line(
    water: Water, lie: Course, flow_m3_s: float, start_m: float
) -> tuple[tuple[float, float], ...]:
    """Head of the water along a way (metres along it, metres), filter clean, beginning with ``start_m``."""
    head, points = start_m, [(0.0, start_m)]
    for step, at, along in water.each_loss_m(lie.way, flow_m3_s, dirty=False):
        begin, end = lie.at[step.tag]
        head -= at
        points.append((begin, head))
        head -= along
        points.append((end, head))
    return tuple(points)


def water_profile(system: System, pump: Device, width: float, height: float) -> Figure:
    """The profile of a pump's water on a piece of paper of this size, mm.

    Raises ``MissingDatum`` or ``LookupError`` for what is not known.
    """
    return _Profile(system, pump, width, height).figure()


@dataclass
class _Profile:
    """The profile as it is drawn; thrown away when its figure is made."""

    system: System
    pump: Device
    width: float
    height: float
    areas: list[Area] = field(default_factory=list)
    traces: list[Trace] = field(default_factory=list)
    markers: list[Marker] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    symbols: list[PlacedSymbol] = field(default_factory=list)
    wishes: list[Wish] = field(default_factory=list)
    plot: Rect = field(init=False)
    upright: Scale = field(init=False)  # of elevations as printed
    x_suction: Scale = field(init=False)
    x_delivery: Scale = field(init=False)

    def __post_init__(self) -> None:
        water = self.system.water
        self.flow = water.operating(self.pump, False).flow_m3_s
        self.suction = course(water, water.suction(self.pump))
        self.delivery = course(water, water.delivery(self.pump))
        self.source, self.tank = self.suction.way.start, self.delivery.way.end
        self.lines = [self._energy(share * self.flow) for share in (1.0, LOW_FLOW_SHARE)]

    def y(self, elevation_m: float) -> float:
        """Where an elevation lies on the paper."""
        return self.upright(units.to_display(elevation_m, "elevation", self.system.job.units))

    def figure(self) -> Figure:
        water = self.system.water
        self._scales(self._heading(), self._remarks())
        self._grid()
        self._ground()
        self._source()
        self._tank()
        self._pipes()
        self._energy_lines()
        self._pump()
        self._labels()
        return Figure(
            "profile" if len(water.pumps) == 1 else f"profile-{self.pump.tag}",
            self._title(),
            f"{self._title()}: elevations along the pipe, pipe, pump, water levels and energy line.",
            self.width,
            self.height,
            tuple(self.areas),
            tuple(self.traces),
            tuple(self.markers),
            tuple(self.texts),
            tuple(self.symbols),
        )

    def _title(self) -> str:
        return f"Hydraulic profile, {self.source.tag} by {self.pump.tag} to {self.tank.tag}"

    def _energy(self, flow: float) -> tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]:
        """The energy line of suction and of delivery at a flow."""
        water = self.system.water
        before = energy_line(water, self.suction, flow, water.pumping_level_m(self.source))
        lost = water.loss_m(self.delivery.way, flow, dirty=False)
        after = energy_line(water, self.delivery, flow, water.top_m(self.delivery.way) + lost)
        return before, after

    # -- around it -------------------------------------------------------------------------------

    def _styles(self) -> list[tuple[str, float, str]]:
        """Label, weight and dash of each kind of line, in the order of the legend."""
        look, show = read_chart_look(), self.system.show
        full, low = (show(share * self.flow, "flow", 3) for share in (1.0, LOW_FLOW_SHARE))
        styles = [
            ("pipe", 2.0 * look.line["series"], ""),
            (f"energy line at {full}", look.line["thin"], look.dash_of(1)),
            (f"energy line at {low}", look.line["thin"], look.dash_of(2)),
        ]
        if any(pipe.spec.buried is not None for pipe in (*self.suction.way.pipes, *self.delivery.way.pipes)):
            styles.append(("ground", look.line["axis"], ""))
            if self.system.site.frost_depth:
                styles.append(("frost depth", look.line["thin"], look.dash_of(3)))
        return styles

    def _heading(self) -> float:
        look = read_chart_look()
        title = lines_of(self._title(), look.text["title"], self.width, bold=True, role="title")
        self.texts += stack(title, 0.0, 0.0)
        y = sum(line.size * 1.25 for line in title) + 0.8
        styles = self._styles()
        places, texts, y = legend([label for label, _, _ in styles], y, self.width)
        self.texts += texts
        for (_, weight, dash), place in zip(styles, places, strict=True):
            middle = (place.top + place.bottom) / 2.0
            self.traces.append(Trace(((place.left, middle), (place.right, middle)), weight, dash, "sample"))
        return y

    def _remarks(self) -> float:
        look = read_chart_look()
        lines = [
            line
            for remark in _REMARKS
            for line in lines_of(remark, look.text["note"], self.width, role="note")
        ]
        taken = len(lines) * look.text["note"] * 1.2
        self.texts += stack(tuple(lines), 0.0, self.height - taken)
        return taken + 1.0

    def _scales(self, top: float, bottom: float) -> None:
        look, us = read_chart_look(), self.system.job.units
        source, tank = self.source.spec, self.tank.spec
        heads = [z for line in self.lines for part in line for _, z in part]
        levels = [source.rim, source.water_level, source.bottom, tank.inlet, tank.overflow]
        stands = [z for lie in (self.suction, self.delivery) for _, z in lie.stands]
        every = [*heads, *stands, *(z for z in levels if z is not None)]
        low, high = min(every), max(every)
        pad = 0.06 * (high - low)
        least, most = (units.to_display(z, "elevation", us) for z in (low - pad, high + pad))
        ticks = round_ticks(least, most, 9)
        size = look.text["number"]
        left = max(Line(text, size).width for text in ticks.labels) + look.tick + look.gap
        self.plot = Rect(
            left,
            top + look.text["axis"] * 1.9 + 0.6,
            self.width - 1.0,
            self.height - bottom - size * 1.55 - look.text["axis"] * 1.5 - look.tick,
        )
        self.upright = Scale(least, most, self.plot.bottom, self.plot.top)
        free = self.plot.width - 2.0 * _END - _MIDDLE
        whole = self.suction.length_m + self.delivery.length_m
        share = min(max(self.suction.length_m / whole, _SUCTION_SHARE[0]), _SUCTION_SHARE[1])
        first = self.plot.left + _END
        self.x_suction = Scale(0.0, self.suction.length_m, first, first + share * free)
        second = self.x_suction.end + _MIDDLE
        self.x_delivery = Scale(0.0, self.delivery.length_m, second, second + (1.0 - share) * free)

    def _grid(self) -> None:
        look, us = read_chart_look(), self.system.job.units
        plot, size = self.plot, look.text["number"]
        ticks = round_ticks(self.upright.low, self.upright.high, 9)
        for value, label in zip(ticks.values, ticks.labels, strict=True):
            if not self.upright.low <= value <= self.upright.high:
                continue
            y = self.upright(value)
            self.traces.append(Trace(((plot.left, y), (plot.right, y)), look.line["grid"], role="grid"))
            text = Line(label, size, role="number")
            self.texts.append(place_line(text, plot.left - look.gap, y + size * 0.36, "end"))
        title = Line(f"elevation, {units.unit_label('elevation', us)}", look.text["axis"], role="axis")
        self.texts.append(place_line(title, 0.0, plot.top - look.text["axis"]))
        for lie, scale, word in (
            (self.suction, self.x_suction, "suction"),
            (self.delivery, self.x_delivery, "delivery"),
        ):
            self._lengths(lie, scale, word)
        self.traces.append(
            Trace(
                (
                    (plot.left, plot.top),
                    (plot.left, plot.bottom),
                    (plot.right, plot.bottom),
                    (plot.right, plot.top),
                    (plot.left, plot.top),
                ),
                look.line["axis"],
                role="frame",
            )
        )

    def _lengths(self, lie: Course, scale: Scale, word: str) -> None:
        """The axis of length of one half, in its own scale."""
        look, us = read_chart_look(), self.system.job.units
        size, bottom = look.text["number"], self.plot.bottom
        whole = units.to_display(lie.length_m, "length", us)
        paper = Scale(0.0, whole, scale.start, scale.end)
        ticks = round_ticks(0.0, whole, most=max(2, int((scale.end - scale.start) / 14.0)))
        for value, label in zip(ticks.values, ticks.labels, strict=True):
            if value > whole * (1.0 + 1e-9):
                continue
            x = paper(value)
            self.traces.append(Trace(((x, bottom), (x, bottom + look.tick)), look.line["axis"], role="tick"))
            self.texts.append(
                place_line(Line(label, size, role="number"), x, bottom + look.tick + size * 1.2, "middle")
            )
        middle = (scale.start + scale.end) / 2.0
        title = Line(
            f"{word}, {units.unit_label('length', us)} along the pipe", look.text["axis"], role="axis"
        )
        below = bottom + look.tick + size * 1.55 + look.text["axis"]
        self.texts.append(place_line(title, middle, below, "middle"))

    # -- what is in it ---------------------------------------------------------------------------

    def _ground(self) -> None:
        """The ground over buried pipes, and how deep frost reaches below it."""
        look = read_chart_look()
        frost = self.system.site.frost_depth
        rim = self.source.spec.rim
        for lie, scale in ((self.suction, self.x_suction), (self.delivery, self.x_delivery)):
            for run in _buried(lie, rim if lie is self.suction else None):
                points = tuple((scale(s), self.y(z)) for s, z in run)
                self.traces.append(Trace(points, look.line["axis"], role="ground", words="ground"))
                self.traces += [Trace(t, look.line["hatch"], role="ground") for t in _earth(points)]
                if frost:
                    deep = tuple((scale(s), self.y(z - frost)) for s, z in run)
                    trace = Trace(deep, look.line["thin"], look.dash_of(3), "frost", "frost depth")
                    self.traces.append(trace)

    def _source(self) -> None:
        """The source at the left end: walls from rim to bottom, and its water levels."""
        look, spec, show = read_chart_look(), self.source.spec, self.system.show
        left, right = self.plot.left + 2.0, self.x_suction.start - 1.0
        standing = self.system.water.standing_level_m(self.source)
        pumping = self.system.water.pumping_level_m(self.source)
        top = max(standing, spec.rim if spec.rim is not None else standing)
        floor = spec.bottom if spec.bottom is not None else self.suction.stands[0][1]
        water = _box(left, self.y(pumping), right, self.y(floor))
        self.areas.append(Area(water, look.fill["pale"], role="water", words=f"water of {self.source.tag}"))
        walls = ((left, self.y(top)), (left, self.y(floor)), (right, self.y(floor)))
        self.traces.append(Trace(walls, look.line["axis"], role="source", words=self.source.tag))
        self._level(left, right, standing, f"standing {show(standing, 'elevation', 3)}", right)
        # In the water itself, where its own line is the only one near.
        self._level(left, right, pumping, f"low {show(pumping, 'elevation', 3)}", (left + right) / 2.0)
        self.wishes.append(
            Wish(self.source.tag, left, self.y(top), bold=True, tag=self.source.tag, leader=False)
        )

    def _tank(self) -> None:
        look, spec, show = read_chart_look(), self.tank.spec, self.system.show
        left, right = self.x_delivery.end + 3.0, self.plot.right - 2.0
        inlet = self.system.water.inlet_m(self.tank)
        full = spec.overflow if spec.overflow is not None else inlet
        floor = min(self.y(full) + 14.0, self.plot.bottom - 1.0)
        water = _box(left, self.y(full), right, floor)
        self.areas.append(Area(water, look.fill["pale"], role="water", words=f"water of {self.tank.tag}"))
        rim = self.y(inlet) - 1.5
        walls = ((left, rim), (left, floor), (right, floor), (right, rim))
        self.traces.append(Trace(walls, look.line["axis"], role="tank", words=self.tank.tag))
        if spec.overflow is not None:
            self._level(left, right, spec.overflow, f"overflow {show(spec.overflow, 'elevation', 4)}", left)
        spout = ((self.x_delivery.end, self.y(inlet)), (left + 2.5, self.y(inlet)))
        self.traces.append(Trace(spout, 2.0 * look.line["series"], role="pipe"))
        self.wishes += [
            Wish(self.tank.tag, (left + right) / 2.0, floor, bold=True, tag=self.tank.tag, leader=False),
            Wish(f"inlet {show(inlet, 'elevation', 4)}", self.x_delivery.end, self.y(inlet)),
        ]

    def _level(self, left: float, right: float, level: float, words: str, label_x: float) -> None:
        look, y = read_chart_look(), self.y(level)
        self.traces.append(Trace(((left, y), (right, y)), look.line["thin"], role="level", words=words))
        self.markers.append(Marker("level", left + 3.0, y, 1.0, False, words))
        self.wishes.append(Wish(words, label_x, y))

    def _pipes(self) -> None:
        look, show = read_chart_look(), self.system.show
        for lie, scale in ((self.suction, self.x_suction), (self.delivery, self.x_delivery)):
            points = tuple((scale(s), self.y(z)) for s, z in lie.stands)
            self.traces.append(Trace(points, 2.0 * look.line["series"], role="pipe", words="pipe"))
            for step in lie.way.steps:
                begin, end = lie.at[step.tag]
                if isinstance(step, Pipe):
                    place = (scale((begin + end) / 2.0), self.y(lie.elevation_m((begin + end) / 2.0)))
                    if scale(end) - scale(begin) > 12.0:
                        size = size_words(step.part.size)
                        words = f"{step.tag}: {size}, {show(step.spec.length, 'length', 3)}"
                        self.wishes.append(Wish(words, *place, tag=step.tag))
                    for point in (step.spec.high_point, step.spec.low_point):
                        self._extreme(lie, scale, step, point)
                else:
                    place = (scale(begin), self.y(lie.elevation_m(begin)))
                    self.markers.append(Marker("square", *place, 0.9, False, step.tag))
                    known = self.system.water.elevation_m(f"{step.tag}.in")
                    where = f" {show(known, 'elevation', 3)}" if known is not None else ""
                    self.wishes.append(Wish(f"{step.tag}{where}", *place, tag=step.tag))

    def _extreme(self, lie: Course, scale: Scale, pipe: Pipe, elevation: float | None) -> None:
        """A mark where a high or low point lies inside a pipe."""
        begin, end = lie.at[pipe.tag]
        for s, z in lie.stands:
            if elevation is not None and begin < s < end and abs(z - elevation) < 1e-9:
                word = "high point" if elevation == pipe.spec.high_point else "low point"
                self.markers.append(Marker("circle", scale(s), self.y(z), 0.8, True, word))
                said = f"{word} {self.system.show(elevation, 'elevation', 3)}"
                self.wishes.append(Wish(said, scale(s), self.y(z)))

    def _energy_lines(self) -> None:
        for (before, after), (label, weight, dash) in zip(self.lines, self._styles()[1:3], strict=True):
            left = tuple((self.x_suction(s), self.y(z)) for s, z in before)
            right = tuple((self.x_delivery(s), self.y(z)) for s, z in after)
            self.traces.append(Trace(left, weight, dash, "energy", label))
            self.traces.append(Trace(right, weight, dash, "energy", label))
            beside = self.x_delivery.start - 2.0  # clear of the pump's symbol
            jump = (left[-1], (beside, left[-1][1]), (beside, right[0][1]), right[0])
            self.traces.append(Trace(jump, weight, dash, "energy", label))

    def _pump(self) -> None:
        """The pump between the two halves, with the vacuum before and the pressure after it."""
        look, show, water = read_chart_look(), self.system.show, self.system.water
        symbol = read_symbols()["dc-motor-pump"]
        middle = (self.x_suction.end + self.x_delivery.start) / 2.0
        y = self.y(float(self.pump.spec.elevation))
        w, h = symbol.width * _SYMBOL_SCALE, symbol.height * _SYMBOL_SCALE
        left, top = middle - w / 2.0, y - symbol.axis * _SYMBOL_SCALE
        box = Rect(left, top, left + w, top + h)
        self.symbols.append(
            PlacedSymbol(self.pump.tag, symbol.name, symbol.words, left, top, _SYMBOL_SCALE, box, symbol.body)
        )
        for start, end in ((self.x_suction.end, box.left), (box.right, self.x_delivery.start)):
            self.traces.append(Trace(((start, y), (end, y)), 2.0 * look.line["series"], role="pipe"))
        elevation = show(float(self.pump.spec.elevation), "elevation", 3)
        self.wishes.append(
            Wish(f"{self.pump.tag} {elevation}", box.right, box.top, bold=True, tag=self.pump.tag)
        )
        vacuum = water.vacuum(self.pump, False).value
        if vacuum > 0.0:
            said = f"vacuum {show(vacuum, 'vacuum', 3)}"
            self.wishes.append(Wish(said, self.x_suction.end, y))
        pressure = show(water.discharge(self.pump, False).value, "pressure", 3)
        head = self.y(self.lines[0][1][0][1])
        self.wishes.append(Wish(f"{pressure} at the pump", self.x_delivery.start, head))

    def _labels(self) -> None:
        drawn = [t.points for t in self.traces if t.role not in ("grid", "sample", "tick", "frame", "ground")]
        drawn += [t.points for t in self.traces if t.words == "ground"]
        crowd = Crowd(self.plot.grown(-0.6), self.texts, drawn)
        crowd.boxes += [symbol.box for symbol in self.symbols]
        crowd.boxes += [
            Rect(m.x, m.y, m.x, m.y).grown(1.2) for m in self.markers if m.kind in ("square", "circle")
        ]
        for wish in self.wishes:
            text, leader = crowd.place(wish)
            self.texts.append(text)
            if leader is not None:
                self.traces.append(leader)


def _buried(lie: Course, rim_m: float | None) -> Iterator[tuple[tuple[float, float], ...]]:
    """The ground over each stretch of buried pipe (metres along it, elevation), from the source's rim on."""
    run: list[tuple[float, float]] = []
    for pipe in lie.way.pipes:
        begin, end = lie.at[pipe.tag]
        cover = pipe.spec.buried
        if cover is None:
            if len(run) > 1:
                yield tuple(run)
            run = []
            continue
        if (
            pipe is lie.way.pipes[-1] and lie.way.end.table == "tank"
        ):  # it rises out of the ground to its tank
            end = begin + _BURIED_OF_RISER * (end - begin)
        inside = [s for s, _ in lie.stands if begin < s < end]
        places = [begin, *inside, end]
        if begin == 0.0 and lie.way.start.table == "source":  # down there it hangs in the source
            places = [end]
            run = [(0.0, rim_m)] if rim_m is not None else []
        run += [(s, lie.elevation_m(s) + cover) for s in places if not run or s > run[-1][0]]
    if len(run) > 1:
        yield tuple(run)


def _earth(points: Sequence[Point]) -> Iterator[tuple[Point, Point]]:
    """Short strokes below a ground line."""
    step, long = 4.0, 1.3
    for (x1, y1), (x2, y2) in pairwise(points):
        count = int((x2 - x1) / step)
        for n in range(count):
            share = (n + 0.5) / count
            x, y = x1 + share * (x2 - x1), y1 + share * (y2 - y1)
            yield (x, y), (x - long, y + long)


def _box(left: float, top: float, right: float, bottom: float) -> tuple[Point, ...]:
    return ((left, top), (left, bottom), (right, bottom), (right, top))
