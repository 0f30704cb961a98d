"""What must hold on every finished sheet, checked on the shapes alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations, pairwise

from specc.documents.diagram import Diagram
from specc.documents.shapes import Drawing, Outline, PlacedSymbol, Point, Rect, Wire

CLOSE = 1e-6
Stretch = tuple[Point, Point]


def faults(diagram: Diagram, drawing: Drawing) -> list[str]:
    """Every overlap, wire through something, loose end or thing off the page."""
    return [
        *_off_page(drawing),
        *_overlaps(drawing),
        *_wires_through_things(diagram, drawing),
        *_wire_on_wire(drawing),
        *_unmarked_crossings(drawing),
        *_false_joints(diagram, drawing),
        *_broken_links(diagram, drawing),
        *_wrong_outlines(diagram, drawing),
    ]


def stretches(wire: Wire) -> Iterator[Stretch]:
    """The straight parts of a wire."""
    for piece in wire.pieces:
        yield from pairwise(piece)


def _device_symbols(drawing: Drawing) -> list[PlacedSymbol]:
    return [symbol for symbol in drawing.symbols if symbol.tag]


def _rect(stretch: Stretch) -> Rect:
    (x1, y1), (x2, y2) = stretch
    return Rect(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))


def _meet(one: Rect, other: Rect, by: float = 0.02) -> bool:
    """Share a point, by more than a hair; a stretch is a rectangle without area."""
    return (
        one.left < other.right - by
        and other.left < one.right - by
        and one.top < other.bottom - by
        and other.top < one.bottom - by
    )


def _touches(stretch: Stretch, rect: Rect) -> bool:
    line = _rect(stretch)
    inner = rect.grown(-0.02)
    return (
        line.left < inner.right
        and inner.left < line.right
        and line.top < inner.bottom
        and inner.top < line.bottom
        if line.left != line.right and line.top != line.bottom
        else inner.left <= line.right
        and line.left <= inner.right
        and inner.top <= line.bottom
        and line.top <= inner.bottom
    )


def _off_page(drawing: Drawing) -> Iterator[str]:
    frame = drawing.frame.grown(CLOSE)
    for text in drawing.texts:
        if not frame.contains(text.box):
            yield f"text off the page: {text.content}"
    for symbol in drawing.symbols:
        if not frame.contains(symbol.box):
            yield f"symbol off the page: {symbol.tag or symbol.symbol}"
    for outline in drawing.outlines:
        if not frame.contains(outline.rect):
            yield f"outline off the page: {outline.tag}"
    for wire in drawing.wires:
        if not all(frame.contains(_rect(stretch)) for stretch in stretches(wire)):
            yield f"wire off the page: {wire.tag}"


def _overlaps(drawing: Drawing) -> Iterator[str]:
    solid = [(f"text {text.content!r}", text.box) for text in drawing.texts]
    solid += [(f"symbol {symbol.tag or symbol.symbol}", symbol.box) for symbol in drawing.symbols]
    letters = {id(text.box) for text in drawing.texts if text.role == "mark"}  # they stand in their circles
    for (one, first), (other, second) in combinations(solid, 2):
        if _meet(first, second) and id(first) not in letters:
            yield f"{one} on {other}"
    for text in drawing.texts:
        if text.role == "mark":
            rings = [symbol for symbol in drawing.symbols if symbol.tag == text.tag]
            if not all(ring.box.contains(text.box) for ring in rings):
                yield f"mark {text.content} is not in its circle"
            if any(_meet(text.box, box) for _, box in solid if box not in (text.box, rings[0].box)):
                yield f"mark {text.content} on something"
    for name, box in solid:
        for rule in drawing.rules:
            if _touches((rule.start, rule.end), box):
                yield f"line of the sheet through {name}"
        for outline in drawing.outlines:
            if any(_touches(edge, box) for edge in _edges(outline)):
                yield f"outline {outline.tag} through {name}"


def _edges(outline: Outline) -> list[Stretch]:
    rect = outline.rect
    corners = [
        (rect.left, rect.top),
        (rect.right, rect.top),
        (rect.right, rect.bottom),
        (rect.left, rect.bottom),
    ]
    return list(zip(corners, corners[1:] + corners[:1], strict=True))


def _wires_through_things(diagram: Diagram, drawing: Drawing) -> Iterator[str]:
    for link, wire in zip(diagram.links, drawing.wires, strict=True):
        for stretch in stretches(wire):
            for text in drawing.texts:
                if _touches(stretch, text.box):
                    yield f"wire {wire.tag} through text {text.content!r}"
            for symbol in _device_symbols(drawing):
                if _touches(stretch, symbol.box) and not (
                    symbol.tag in (link.from_tag, link.to_tag)
                    and any(symbol.box.grown(CLOSE).contains(Rect(*point, *point)) for point in stretch)
                ):
                    yield f"wire {wire.tag} through symbol {symbol.tag}"


def _wire_on_wire(drawing: Drawing) -> Iterator[str]:
    """No two stretches, of whatever wires, run along one another, nor an outline along a wire."""
    lines: dict[tuple[int, float], list[tuple[float, float, str]]] = defaultdict(list)
    for wire in drawing.wires:
        for start, end in stretches(wire):
            fixed = 0 if abs(start[0] - end[0]) < CLOSE else 1
            if fixed == 1 and abs(start[1] - end[1]) > CLOSE:
                yield f"wire {wire.tag} slants"
            low, high = sorted((start[1 - fixed], end[1 - fixed]))
            lines[fixed, round(start[fixed], 4)].append((low, high, wire.tag))
    for parts in lines.values():
        for (low, high, one), (left, right, other) in combinations(parts, 2):
            if min(high, right) - max(low, left) > CLOSE:
                yield f"wires {one} and {other} on top of each other"
    for outline in drawing.outlines:
        for edge in _edges(outline):
            fixed = 0 if edge[0][0] == edge[1][0] else 1
            low, high = sorted((edge[0][1 - fixed], edge[1][1 - fixed]))
            for (axis, place), parts in lines.items():
                if axis == fixed and abs(place - edge[0][fixed]) < 0.25:
                    for left, right, tag in parts:
                        if min(high, right) - max(low, left) > 0.5:
                            yield f"outline {outline.tag} along wire {tag}"


def _unmarked_crossings(drawing: Drawing) -> Iterator[str]:
    dots = [(mark.x, mark.y) for mark in drawing.marks if mark.kind == "dot"]
    for wire in drawing.wires:
        for start, end in stretches(wire):
            if abs(start[1] - end[1]) > CLOSE:
                continue
            left, right = sorted((start[0], end[0]))
            for other in drawing.wires:
                for top, bottom in stretches(other):
                    low, high = sorted((top[1], bottom[1]))
                    inside = left + CLOSE < top[0] < right - CLOSE and low + CLOSE < start[1] < high - CLOSE
                    point = (top[0], start[1])
                    if inside and not any(_same(point, known) for known in (*dots, *wire.jumps)):
                        yield f"wires {wire.tag} and {other.tag} cross without a sign"


def _same(one: Point, other: Point) -> bool:
    return abs(one[0] - other[0]) < 1e-4 and abs(one[1] - other[1]) < 1e-4


def _on(point: Point, stretch: Stretch) -> bool:
    return _rect(stretch).grown(1e-4).contains(Rect(*point, *point))


def _false_joints(diagram: Diagram, drawing: Drawing) -> Iterator[str]:
    """Where a corner or end of one wire lies on another, they must share a device, and show it by a dot."""
    dots = [(mark.x, mark.y) for mark in drawing.marks if mark.kind == "dot"]
    linked = list(zip(diagram.links, drawing.wires, strict=True))
    for (link, wire), (other_link, other) in combinations(linked, 2):
        for one, two in ((wire, other), (other, wire)):
            for point in (point for piece in one.pieces for point in piece):
                if not any(_on(point, stretch) for stretch in stretches(two)):
                    continue
                shared = {link.from_tag, link.to_tag} & {other_link.from_tag, other_link.to_tag}
                at_port = any(
                    symbol.tag in shared and symbol.box.grown(1e-4).contains(Rect(*point, *point))
                    for symbol in _device_symbols(drawing)
                )
                if at_port:
                    continue
                if link.kind != other_link.kind:
                    yield f"wires {wire.tag} and {other.tag} of two kinds touch"
                elif not any(_same(point, dot) for dot in dots):
                    yield f"wires {wire.tag} and {other.tag} touch without a dot"


def _broken_links(diagram: Diagram, drawing: Drawing) -> Iterator[str]:
    """From one device of a link to the other there is an unbroken line of wires of its kind."""
    boxes = {symbol.tag: symbol.box.grown(1e-4) for symbol in _device_symbols(drawing)}
    for kind in {link.kind for link in diagram.links}:
        parts = [part for wire in drawing.wires if wire.kind == kind for part in stretches(wire)]
        owner = list(range(len(parts)))

        def root(number: int, owner: list[int] = owner) -> int:
            while owner[number] != number:
                number = owner[number]
            return number

        for one, other in combinations(range(len(parts)), 2):
            ends = (*((point, other) for point in parts[one]), *((point, one) for point in parts[other]))
            if any(_on(point, parts[number]) for point, number in ends):
                owner[root(one)] = root(other)
        reach: dict[str, set[int]] = defaultdict(set)
        for number, part in enumerate(parts):
            for tag, box in boxes.items():
                if any(box.contains(Rect(*point, *point)) for point in part):
                    reach[tag].add(root(number))
        for link in diagram.links:
            if link.kind == kind and not reach[link.from_tag] & reach[link.to_tag]:
                yield f"link {link.tag} is broken"


def _wrong_outlines(diagram: Diagram, drawing: Drawing) -> Iterator[str]:
    symbols = {symbol.tag: symbol.box for symbol in _device_symbols(drawing)}
    wanted = {("box", box.tag): set(box.holds) for box in diagram.boxes if box.holds}
    for device in diagram.devices:
        if device.place:
            wanted.setdefault(("place", device.place), set()).add(device.tag)
    drawn: dict[tuple[str, str], set[str]] = defaultdict(set)
    for outline in drawing.outlines:
        drawn[outline.kind, outline.tag] |= set(outline.holds)
        for tag, box in symbols.items():
            if tag in outline.holds and not outline.rect.contains(box):
                yield f"{tag} is not inside {outline.tag}"
            if tag not in outline.holds and _meet(outline.rect, box):
                yield f"{tag} is inside {outline.tag}"
        if not any(
            text.tag == outline.tag and text.role == outline.kind and outline.rect.contains(text.box)
            for text in drawing.texts
        ):
            yield f"outline {outline.tag} has no title inside"
    if dict(drawn) != wanted:
        yield "outlines do not hold what they should"
