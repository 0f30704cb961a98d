"""Wires with right angles: every stretch between two columns gets a vertical track of its own.

Channel routing in the manner of Hashimoto and Stevens (1971): nets whose ends face each other at one height
are ordered, a cycle of such orders is broken by a net with two tracks, and tracks are filled from the left.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections import defaultdict
from dataclasses import dataclass, field

from specc.documents.drafting.cells import Cell, pin_height, port_of
from specc.documents.drafting.look import read_look
from specc.documents.drafting.ordering import Order
from specc.documents.drafting.plan import Pin, Plan, Route, Step, symbol_of
from specc.documents.shapes import Point


@dataclass(frozen=True)
class RoutedWire:
    """The pieces that are drawn of one link (a shared stretch is drawn once) and the hops on them."""

    pieces: tuple[tuple[Point, ...], ...]
    jumps: tuple[Point, ...]


@dataclass(frozen=True)
class Routing:
    """The axis of every column and channel width, mm; wires in the order of the routes; junction dots."""

    axes: tuple[float, ...]
    width: float
    wires: tuple[RoutedWire, ...]
    dots: tuple[Point, ...]


@dataclass
class _Net:
    """What is joined inside one channel: heights of its pins on either side, and its tracks."""

    left: set[float] = field(default_factory=set)
    right: set[float] = field(default_factory=set)
    track: int = -1
    onward: _Net | None = None  # the second half of a net with two tracks
    turn: float = 0.0  # height at which the halves meet

    @property
    def span(self) -> tuple[float, float]:
        heights = self.left | self.right
        return min(heights), max(heights)


def route_wires(plan: Plan, order: Order, cells: tuple[Cell, ...], heights: tuple[float, ...]) -> Routing:
    """Tracks, column axes and the polylines of all links."""
    pin_y = {
        pin: heights[pin.item] + pin_height(plan, cells, pin)
        for route in plan.routes
        for step in route.steps
        for pin in (step.start, step.end)
    }
    channels: list[dict[Pin, _Net]] = [{} for _ in range(plan.columns + 1)]
    widths = []
    for channel, steps in enumerate(_steps_by_channel(plan)):
        channels[channel], nets = _channel_nets(steps, pin_y)
        tracks = _assign_tracks(nets)
        widths.append(_channel_width(tracks, bool(steps)))
    axes, lefts, width = _column_axes(plan, order, cells, widths)
    edge = read_look().channel_edge
    corridors = _Corridors(plan, pin_y, channels, axes, [left + edge for left in lefts], heights)
    joined = _joined(plan.routes)
    dots = corridors.dots()
    pieces = _without_repeats([corridors.polyline(route) for route in plan.routes], joined)
    return Routing(axes, width, _with_jumps(pieces, set(dots)), dots)


def _steps_by_channel(plan: Plan) -> list[list[Step]]:
    steps: list[list[Step]] = [[] for _ in range(plan.columns + 1)]
    for route in plan.routes:
        for step in route.steps:
            steps[step.channel].append(step)
    return steps


def _channel_nets(steps: list[Step], pin_y: dict[Pin, float]) -> tuple[dict[Pin, _Net], list[_Net]]:
    """The nets of a channel, joined where steps share a pin; straight ones need no track and are left out."""
    net_of: dict[Pin, _Net] = {}
    for step in steps:
        net = net_of.get(step.start) or _Net()
        other = net_of.get(step.end)
        if other is not None and other is not net:
            net.left |= other.left
            net.right |= other.right
            net_of = {pin: net if owner is other else owner for pin, owner in net_of.items()}
        for pin in (step.start, step.end):
            net_of[pin] = net
            # a pin on the right side of its column lies on the left side of the channel
            (net.left if pin.side == "right" else net.right).add(pin_y[pin])
    distinct = list({id(net): net for net in net_of.values()}.values())
    return net_of, [net for net in distinct if net.span[0] < net.span[1]]


def _assign_tracks(nets: list[_Net]) -> int:
    """Give every net its track, from 0 at the left; the number of tracks."""
    placed: list[tuple[float, float, int]] = []
    for net in _ordered(nets):
        low, high = net.span
        net.track = max(
            (track + 1 for top, bottom, track in placed if top <= high and low <= bottom), default=0
        )
        placed.append((low, high, net.track))
    return max((track + 1 for _, _, track in placed), default=0)


def _ordered(nets: list[_Net]) -> list[_Net]:
    """From left to right: facing ends in their order, else the net that crosses the rest least."""
    used = {height for net in nets for height in net.left | net.right}
    waiting, done = sorted(nets, key=lambda net: (net.span, sorted(net.left))), []
    costs = _costs(waiting)
    while waiting:
        free = [
            net for net in waiting if not any(other.left & net.right for other in waiting if other is not net)
        ]
        if not free:
            _split(waiting, used)
            costs = _costs(waiting)
            continue
        best = min(free, key=lambda net: sum(costs[id(net)].values()))
        waiting.remove(best)
        done.append(best)
        for net in waiting:
            costs[id(net)].pop(id(best), None)
    return done


def _costs(nets: list[_Net]) -> dict[int, dict[int, int]]:
    """By net and other net (their ids), how many more crossings it makes to stand left of the other."""
    spans = [net.span for net in nets]
    pins = [(sorted(net.left), sorted(net.right)) for net in nets]
    costs: dict[int, dict[int, int]] = {id(net): {} for net in nets}
    for one, net in enumerate(nets):
        for two in range(one):
            if spans[one][0] <= spans[two][1] and spans[two][0] <= spans[one][1]:
                # a net standing left sends its right ends across the other, which sends back its left ends
                forth = _between(pins[one][1], spans[two]) + _between(pins[two][0], spans[one])
                back = _between(pins[two][1], spans[one]) + _between(pins[one][0], spans[two])
                if forth != back:
                    costs[id(net)][id(nets[two])] = forth - back
                    costs[id(nets[two])][id(net)] = back - forth
    return costs


def _between(heights: list[float], span: tuple[float, float]) -> int:
    """How many of the sorted heights lie inside a span, its ends left out."""
    return max(0, bisect_left(heights, span[1]) - bisect_right(heights, span[0]))


def _split(waiting: list[_Net], used: set[float]) -> None:
    """Break a cycle: the first net with ends on both sides turns at a height of its own, on two tracks."""
    net = next(net for net in waiting if net.left and net.right and net.onward is None)
    step = read_look().grid / 2
    middle = round(sum(net.span) / 2 / step) * step
    tries = (middle + sign * count * step for count in range(1, 2 * len(used) + 999) for sign in (1, -1))
    turn = next(height for height in tries if height not in used and (height / step) % 2 == 1)
    used.add(turn)
    half = _Net(left={turn}, right=set(net.right))
    net.right = {turn}
    net.onward, net.turn = half, turn
    waiting.append(half)


def _channel_width(tracks: int, in_use: bool) -> float:
    look = read_look()
    track = look.track
    return (tracks - 1) * track + 2 * look.channel_edge if tracks else look.grid * in_use


def _column_axes(
    plan: Plan, order: Order, cells: tuple[Cell, ...], widths: list[float]
) -> tuple[tuple[float, ...], list[float], float]:
    """The axis of every column, the left edge of every channel, and the whole width, mm."""
    axes, lefts, x = [], [], 0.0
    gap = read_look().track
    for column, numbers in enumerate(order):
        lefts.append(x)
        solid = any(plan.items[number].device is not None for number in numbers)
        x += max(widths[column], gap if solid and column > 1 else 0.0)
        x += max((cells[number].left for number in numbers), default=0.0)
        axes.append(x)
        x += max((cells[number].right for number in numbers), default=0.0)
    lefts.append(x)
    return tuple(axes), lefts, x + widths[-1]


@dataclass(frozen=True)
class _Corridors:
    """What is needed to turn routes into points."""

    plan: Plan
    pin_y: dict[Pin, float]
    channels: list[dict[Pin, _Net]]
    axes: tuple[float, ...]
    first_tracks: list[float]
    heights: tuple[float, ...]

    def track_x(self, channel: int, net: _Net) -> float:
        return self.first_tracks[channel] + net.track * read_look().track

    def polyline(self, route: Route) -> tuple[Point, ...]:
        points = [*self._stub(route.steps[0].start)]
        for step in route.steps:
            points += self._turns(step)
        points += reversed(self._stub(route.steps[-1].end))
        return _straightened(points)

    def _stub(self, pin: Pin) -> list[Point]:
        """From the port of a device to the height where its wire goes sideways."""
        x, y = self.port_point(pin)
        return [(x, y), (x, self.pin_y[pin])]

    def port_point(self, pin: Pin) -> Point:
        item = self.plan.items[pin.item]
        if item.device is None:
            raise AssertionError("a wire begins and ends at a device")
        symbol, port = symbol_of(item.device), port_of(self.plan, pin)
        return (
            self.axes[item.column] - symbol.width / 2 + port.x,
            self.heights[pin.item] - symbol.axis + port.y,
        )

    def _turns(self, step: Step) -> list[Point]:
        start_y, end_y = self.pin_y[step.start], self.pin_y[step.end]
        net = self.channels[step.channel][step.start]
        if net.track < 0 or (start_y == end_y and step.start.side != step.end.side and net.onward is None):
            return []
        halves = _halves(net)
        here = 0 if step.start.side == "right" else len(halves) - 1
        goal = 0 if step.end.side == "right" else len(halves) - 1
        points = [(self.track_x(step.channel, halves[here]), start_y)]
        while here != goal:
            onward = here + (1 if goal > here else -1)
            turn = halves[min(here, onward)].turn
            points += [(self.track_x(step.channel, halves[number]), turn) for number in (here, onward)]
            here = onward
        return [*points, (self.track_x(step.channel, halves[goal]), end_y)]

    def dots(self) -> tuple[Point, ...]:
        """Where three or more stretches of one net meet."""
        found: set[Point] = set()
        for channel, net_of in enumerate(self.channels):
            for net in net_of.values():
                for half in _halves(net):
                    x = self.track_x(channel, half)
                    low, high = half.span
                    for y in half.left | half.right:
                        arms = (y in half.left) + (y in half.right) + (y > low) + (y < high)
                        if arms > 2 and half.track >= 0:
                            found.add((x, y))
        for pin in self.pin_y:
            other = Pin(pin.item, pin.port, "left")
            if pin.side == "right" and other in self.pin_y and self.plan.items[pin.item].device is not None:
                found.add((self.port_point(pin)[0], self.pin_y[pin]))
        return tuple(sorted(found))


def _halves(net: _Net) -> list[_Net]:
    """The parts of a net from left to right: one, unless it had to be split."""
    halves = [net]
    while halves[-1].onward is not None:
        halves.append(halves[-1].onward)
    return halves


def _straightened(points: list[Point]) -> tuple[Point, ...]:
    """Without repeated points and without points in the middle of a straight stretch."""
    kept: list[Point] = []
    for point in points:
        if kept and point == kept[-1]:
            continue
        if len(kept) > 1 and any(kept[-2][axis] == kept[-1][axis] == point[axis] for axis in (0, 1)):
            kept.pop()
        kept.append(point)
    return tuple(kept)


def _joined(routes: tuple[Route, ...]) -> tuple[int, ...]:
    """The number of the net of each route: routes that share a port are joined."""
    parent = list(range(len(routes)))

    def root(number: int) -> int:
        while parent[number] != number:
            number = parent[number]
        return number

    first: dict[tuple[int, str], int] = {}
    for number, route in enumerate(routes):
        for pin in (route.steps[0].start, route.steps[-1].end):
            seen = first.setdefault((pin.item, pin.port), number)
            parent[root(number)] = root(seen)
    return tuple(root(number) for number in range(len(routes)))


def _without_repeats(
    lines: list[tuple[Point, ...]], nets: tuple[int, ...]
) -> list[tuple[tuple[Point, ...], ...]]:
    """Draw what joined links share only once, by the first of them: dashes would fill up otherwise."""
    drawn: dict[tuple[int, int, float], list[tuple[float, float]]] = defaultdict(list)
    result = []
    for line, net in zip(lines, nets, strict=True):
        pieces: list[list[Point]] = []
        for start, end in itertools.pairwise(line):
            fixed = 0 if start[0] == end[0] else 1
            done = drawn[net, fixed, start[fixed]]
            for low, high in _uncovered(start[1 - fixed], end[1 - fixed], done):
                ends = [
                    (start[fixed], value) if fixed == 0 else (value, start[fixed]) for value in (low, high)
                ]
                if pieces and pieces[-1][-1] == ends[0]:
                    pieces[-1].append(ends[1])
                else:
                    pieces.append(ends)
            done.append((min(start[1 - fixed], end[1 - fixed]), max(start[1 - fixed], end[1 - fixed])))
        result.append(tuple(_straightened(piece) for piece in pieces))
    return result


def _uncovered(start: float, end: float, covered: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The parts of a stretch that no covered interval holds, in the direction of the stretch."""
    parts = [(min(start, end), max(start, end))]
    for low, high in covered:
        parts = [
            piece
            for left, right in parts
            for piece in ((left, min(right, low)), (max(left, high), right))
            if piece[0] < piece[1]
        ]
    return parts if start <= end else [(right, left) for left, right in reversed(parts)]


def _with_jumps(wires: list[tuple[tuple[Point, ...], ...]], dots: set[Point]) -> tuple[RoutedWire, ...]:
    """Let every horizontal stretch hop over the upright ones that it crosses."""
    uprights = sorted(
        (start[0], min(start[1], end[1]), max(start[1], end[1]))
        for pieces in wires
        for piece in pieces
        for start, end in itertools.pairwise(piece)
        if start[0] == end[0]
    )
    places = [upright[0] for upright in uprights]
    result = []
    for pieces in wires:
        jumps = set()
        for piece in pieces:
            for start, end in itertools.pairwise(piece):
                if start[1] == end[1]:
                    left, right = sorted((start[0], end[0]))
                    for x, low, high in uprights[bisect_right(places, left) : bisect_left(places, right)]:
                        if low < start[1] < high and (x, start[1]) not in dots:
                            jumps.add((x, start[1]))
        result.append(RoutedWire(pieces, tuple(sorted(jumps))))
    return tuple(result)
