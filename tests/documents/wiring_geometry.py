"""What must hold on every sheet of a wiring diagram, checked on the shapes alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations, pairwise

from specc.documents.shapes import Drawing, Rect, Stroke
from specc.documents.wiring import Wiring
from tests.documents.geometry import (
    CLOSE,
    _edges,
    _meet,
    _off_page,
    _on,
    _overlaps,
    _touches,
    _unmarked_crossings,
    _wire_on_wire,
    stretches,
)


def wiring_faults(wiring: Wiring, drawings: tuple[Drawing, ...]) -> list[str]:
    """Every overlap, wire through something, loose end, missing tag or thing off the page."""
    found = [fault for drawing in drawings for fault in _sheet_faults(wiring, drawing)]
    return [*found, *_not_shared_out(wiring, drawings), *_lost_conductors(wiring, drawings)]


def blocks_of(drawing: Drawing) -> dict[str, Rect]:
    """The block of each device on the sheet."""
    return {s.tag: rect_of(s) for s in drawing.strokes if s.kind == "block"}


def rect_of(stroke: Stroke) -> Rect:
    """The rectangle round a stroke."""
    xs, ys = [x for x, _ in stroke.points], [y for _, y in stroke.points]
    return Rect(min(xs), min(ys), max(xs), max(ys))


def _sheet_faults(wiring: Wiring, drawing: Drawing) -> Iterator[str]:
    yield from _off_page(drawing)
    for stroke in drawing.strokes:
        if not drawing.frame.grown(CLOSE).contains(rect_of(stroke)):
            yield f"stroke off the page: {stroke.tag}"
    yield from _overlaps(drawing)
    yield from _wire_on_wire(drawing)
    yield from _unmarked_crossings(drawing)
    yield from _cut_texts(drawing)
    yield from _wires_through_blocks(drawing)
    yield from _false_joints(drawing)
    yield from _wrong_ends(wiring, drawing)
    yield from _wrong_outlines(wiring, drawing)


def _cut_texts(drawing: Drawing) -> Iterator[str]:
    for text in drawing.texts:
        for wire in drawing.wires:
            if any(_touches(stretch, text.box) for stretch in stretches(wire)):
                yield f"wire {wire.tag} through text {text.content!r}"
        for stroke in drawing.strokes:
            if any(_touches(line, text.box) for line in pairwise(stroke.points) if _level(line)):
                yield f"line of {stroke.tag} through text {text.content!r}"


def _level(line: tuple[tuple[float, float], tuple[float, float]]) -> bool:
    return abs(line[0][0] - line[1][0]) < CLOSE or abs(line[0][1] - line[1][1]) < CLOSE


def _wires_through_blocks(drawing: Drawing) -> Iterator[str]:
    blocks = blocks_of(drawing)
    for (one, first), (other, second) in combinations(blocks.items(), 2):
        if _meet(first, second):
            yield f"block {one} on {other}"
    for wire in drawing.wires:
        for stretch in stretches(wire):
            for tag, rect in blocks.items():
                if _touches(stretch, rect):
                    yield f"wire {wire.tag} through block {tag}"
    for outline in drawing.outlines:
        for tag, rect in blocks.items():
            if any(_touches(edge, rect) for edge in _edges(outline)):
                yield f"outline {outline.tag} through block {tag}"


def _false_joints(drawing: Drawing) -> Iterator[str]:
    """No corner or end of a wire lies on another: they are joined at terminals only."""
    for one, other in combinations(drawing.wires, 2):
        for wire, base in ((one, other), (other, one)):
            for point in (point for piece in wire.pieces for point in piece):
                if any(_on(point, stretch) for stretch in stretches(base)):
                    yield f"wires {wire.tag} and {base.tag} touch"


def _wrong_ends(wiring: Wiring, drawing: Drawing) -> Iterator[str]:
    """Each end of each wire is at the side of its terminal's cell, with its words above and below."""
    cells: dict[tuple[str, str], Rect] = {}
    for stroke in drawing.strokes:
        if stroke.kind != "cell":
            continue
        rect = rect_of(stroke)
        name = next(
            (
                t.content
                for t in drawing.texts
                if t.tag == stroke.tag and t.role == "post" and rect.contains(t.box)
            ),
            None,
        )
        if name is None:
            yield f"a terminal of {stroke.tag} has no name"
        else:
            cells[stroke.tag, name] = rect
    words = {(d.tag, p.name): p.words for d in wiring.devices for p in d.posts}
    here = set(blocks_of(drawing))
    labels = defaultdict(list)
    for text in drawing.texts:
        if text.role in ("wire", "away"):
            labels[text.tag, text.role].append(text)
    for conductor in wiring.conductors:
        drawn = [end for end in (conductor.start, conductor.end) if end[0] in here]
        wires = [wire for wire in drawing.wires if wire.tag == conductor.tag]
        if not drawn:
            if wires:
                yield f"{conductor.tag} is drawn where it does not belong"
            continue
        if len(wires) != 1:
            yield f"{conductor.tag} is drawn {len(wires)} times"
            continue
        piece = wires[0].pieces[0]
        tips = [piece[0], piece[-1]] if len(drawn) == 2 else [piece[0]]
        for end, tip in zip(drawn, tips, strict=True):
            cell = cells.get((end[0], words[end]))
            if cell is None or not (
                min(abs(tip[0] - cell.left), abs(tip[0] - cell.right)) < 1e-4
                and cell.top < tip[1] < cell.bottom
            ):
                yield f"{conductor.tag} does not end on {'.'.join(end)}"
        told = [t.content for t in labels[conductor.tag, "wire"]]
        if told != [conductor.words] * len(drawn):
            yield f"{conductor.tag} is not named at each end"
        away = [conductor.end if end == conductor.start else conductor.start for end in drawn]
        goes = [t.content for t in labels[conductor.tag, "away"]]
        if len(goes) != len(drawn) or any(
            not any(text.endswith(".".join(end)) for text in goes) for end in away
        ):
            yield f"{conductor.tag} does not say where it goes"
        if len(drawn) == 1 and not all("to sheet " in text for text in goes):
            yield f"{conductor.tag} does not say on which sheet it goes on"


def _wrong_outlines(wiring: Wiring, drawing: Drawing) -> Iterator[str]:
    blocks = blocks_of(drawing)
    drawn: dict[tuple[str, str], set[str]] = defaultdict(set)
    for outline in drawing.outlines:
        drawn[outline.kind, outline.tag] |= set(outline.holds)
        for tag, rect in blocks.items():
            inside = outline.rect.grown(CLOSE).contains(rect)
            if inside is not (tag in outline.holds):
                yield f"{tag} is on the wrong side of {outline.tag}"
        if not any(
            t.tag == outline.tag and t.role == outline.kind and outline.rect.contains(t.box)
            for t in drawing.texts
        ):
            yield f"outline {outline.tag} has no title inside"
    wanted: dict[tuple[str, str], set[str]] = defaultdict(set)
    for device in wiring.devices:
        if device.tag in blocks:
            for kind, name in (("box", device.box), ("place", device.place)):
                if name:
                    wanted[kind, name].add(device.tag)
    if drawn != wanted:
        yield "outlines do not hold what they should"


def _not_shared_out(wiring: Wiring, drawings: tuple[Drawing, ...]) -> Iterator[str]:
    tags = [tag for drawing in drawings for tag in blocks_of(drawing)]
    if sorted(tags) != sorted(device.tag for device in wiring.devices):
        yield "not every device is drawn once"


def _lost_conductors(wiring: Wiring, drawings: tuple[Drawing, ...]) -> Iterator[str]:
    """Where a wire goes on to another sheet, the number it gives is that of the sheet with its other end."""
    sheet_of = {tag: number for number, drawing in enumerate(drawings, 1) for tag in blocks_of(drawing)}
    for conductor in wiring.conductors:
        sheets = sheet_of[conductor.start[0]], sheet_of[conductor.end[0]]
        for here, there in (sheets, sheets[::-1]):
            texts = [
                t.content for t in drawings[here - 1].texts if t.role == "away" and t.tag == conductor.tag
            ]
            if here != there and not any(t.startswith(f"to sheet {there}") for t in texts):
                yield f"{conductor.tag} on sheet {here} does not name sheet {there}"
