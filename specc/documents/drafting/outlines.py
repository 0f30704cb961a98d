"""Dashed lines around what an enclosure holds and around what hangs in one place.

An outline never cuts or takes in what does not belong to it. Where members stand too far apart for that,
each cluster of them gets an outline of its own with the same title.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from specc.documents.diagram import Diagram, DiagramDevice
from specc.documents.drafting.cells import Cell, Room
from specc.documents.drafting.lettering import Line, block_height, block_width, lines_of, stack
from specc.documents.drafting.look import read_look
from specc.documents.drafting.plan import Plan, symbol_of
from specc.documents.drafting.routing import Routing
from specc.documents.shapes import Outline, Point, Rect, Text

TRIES = 24


@dataclass(frozen=True)
class Group:
    """An enclosure or place to be outlined."""

    tag: str
    kind: Literal["box", "place"]
    title: str
    holds: tuple[str, ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        """The title, wrapped."""
        look = read_look()
        return lines_of(self.title, look.text["outline"], look.caption_width, role=self.kind)


Rooms = dict[str, dict[str, Room]]  # by device tag and kind of outline, the room for a title above the device


@dataclass(frozen=True)
class Scene:
    """What is already placed: device cells by tag, label cells, and the straight stretches of wires.

    ``contents`` are the cells without the room around symbol and captions; ``lowered`` is the height of the
    place title above a device, by tag.
    """

    devices: dict[str, Rect]
    contents: tuple[Rect, ...]
    lowered: dict[str, float]
    labels: tuple[Rect, ...]
    stretches: tuple[Rect, ...]


def groups_of(diagram: Diagram) -> tuple[Group, ...]:
    """Enclosures first, as places go around them. One with devices in several places is drawn in each."""
    place_of = {device.tag: device.place for device in diagram.devices}
    groups = []
    for box in diagram.boxes:
        for place in dict.fromkeys(place_of[tag] for tag in box.holds):
            held = tuple(tag for tag in box.holds if place_of[tag] == place)
            groups.append(Group(box.tag, "box", f"{box.tag} {box.title}".strip(), held))
    for place in dict.fromkeys(place for place in place_of.values() if place):
        groups.append(Group(place, "place", place, tuple(tag for tag in place_of if place_of[tag] == place)))
    return tuple(groups)


def make_scene(
    plan: Plan, cells: tuple[Cell, ...], heights: tuple[float, ...], routing: Routing, rooms: Rooms
) -> Scene:
    """The placed cells and wires as rectangles."""
    devices, contents, labels = {}, [], []
    for item, cell, y in zip(plan.items, cells, heights, strict=True):
        x = routing.axes[item.column]
        rect = Rect(x - cell.left, y - cell.up, x + cell.right, y + cell.down)
        if item.device is not None:
            devices[item.device.tag] = rect
            contents.append(_content(item.device, cell, x, y))
        elif item.link is not None:
            labels.append(rect)
    stretches = tuple(
        Rect(min(start[0], end[0]), min(start[1], end[1]), max(start[0], end[0]), max(start[1], end[1]))
        for wire in routing.wires
        for piece in wire.pieces
        for start, end in itertools.pairwise(piece)
    )
    lowered = {tag: kinds["place"].height for tag, kinds in rooms.items() if "place" in kinds}
    return Scene(devices, tuple(contents), lowered, tuple(labels), stretches)


def _content(device: DiagramDevice, cell: Cell, x: float, y: float) -> Rect:
    symbol = symbol_of(device)
    half = max(symbol.width, block_width(cell.caption)) / 2
    top = min(-symbol.axis, *cell.levels.values(), 0.0)
    return Rect(x - half, y + top, x + half, y + cell.caption_top + block_height(cell.caption))


def outline_groups(groups: Iterable[Group], scene: Scene) -> tuple[Outline, ...]:
    """One outline for each cluster of each group."""
    outlines: list[Outline] = []
    for group in groups:
        for members, rect in _clusters(group, scene, tuple(outlines)):
            outlines.append(Outline(group.tag, group.kind, group.title, members, rect))
    return tuple(outlines)


def rooms_needed(groups: tuple[Group, ...], outlines: tuple[Outline, ...], scene: Scene) -> Rooms:
    """Room for each title above the topmost device of its outline, its host."""
    by_tag = {(group.kind, group.tag): group for group in groups}
    return _with_mates(
        groups,
        [(_host(outline, scene), by_tag[outline.kind, outline.tag]) for outline in outlines],
    )


def rooms_everywhere(groups: tuple[Group, ...]) -> Rooms:
    """Room for every title above every device that it could stand above."""
    return _with_mates(groups, [(tag, group) for group in groups for tag in group.holds])


def wider_rooms(one: Rooms, other: Rooms) -> Rooms:
    """For every device and kind the larger room of the two."""
    merged: Rooms = {tag: dict(kinds) for tag, kinds in one.items()}
    for tag, kinds in other.items():
        for kind, room in kinds.items():
            known = merged.setdefault(tag, {}).get(kind, Room())
            merged[tag][kind] = Room(max(known.width, room.width), max(known.height, room.height))
    return merged


def title_rooms(rooms: Rooms) -> dict[str, Room]:
    """By device tag the room for all titles, one below the other."""
    return {
        tag: Room(max(room.width for room in kinds.values()), sum(room.height for room in kinds.values()))
        for tag, kinds in rooms.items()
    }


def _with_mates(groups: tuple[Group, ...], hosts: list[tuple[str, Group]]) -> Rooms:
    """The rooms of hosts. What shares an enclosure with the host of a place leaves the same room, so that
    the line of the enclosure runs below the title of the place."""
    box_of = {tag: group for group in groups if group.kind == "box" for tag in group.holds}
    rooms: Rooms = {}
    for host, group in hosts:
        mates = box_of[host].holds if group.kind == "place" and host in box_of else (host,)
        room = Room(block_width(group.lines), block_height(group.lines))
        rooms = wider_rooms(rooms, {tag: {group.kind: room} for tag in mates})
    return rooms


def title_texts(groups: tuple[Group, ...], outlines: tuple[Outline, ...], scene: Scene) -> tuple[Text, ...]:
    """The titles inside their outlines: in the upper left corner, or at the first free spot after it."""
    by_tag = {(group.kind, group.tag): group for group in groups}
    texts: list[Text] = []
    for outline in outlines:
        lines = by_tag[outline.kind, outline.tag].lines
        tries = (
            stack(lines, left, top, tag=outline.tag) for left, top in _title_spots(outline, lines, scene)
        )
        done = tuple(texts)
        free = (tried for tried in tries if all(_is_free(text.box, scene, outlines, done) for text in tried))
        texts += next(free, stack(lines, *_host_spot(outline, scene), tag=outline.tag))
    return tuple(texts)


def _title_spots(outline: Outline, lines: tuple[Line, ...], scene: Scene) -> Iterator[Point]:
    """The upper left corner, above the host, along the upper and the lower edge, then anywhere inside."""
    rect, step = outline.rect, read_look().track
    left, top, bottom = rect.left + 0.8, rect.top + 0.3, rect.bottom - block_height(lines) - 0.3
    yield left, top
    yield _host_spot(outline, scene)
    between = (top + row * step / 2 for row in range(1, int(2 * max(0.0, bottom - top) / step) + 1))
    for height in (top, bottom, *between):
        for number in range(int(max(0.0, rect.width - block_width(lines) - 1.6) / step) + 1):
            yield left + number * step, height


def _host_spot(outline: Outline, scene: Scene) -> Point:
    """The corner of the room that the host of a title left for it."""
    host = _host(outline, scene)
    cell = scene.devices[host]
    inset = 0.3 if outline.kind == "place" else 0.4 + read_look().outline_gap / 2
    lowered = scene.lowered.get(host, 0.0) if outline.kind == "box" else 0.0
    return cell.left + inset + 0.5, cell.top + inset + lowered


def _is_free(box: Rect, scene: Scene, outlines: tuple[Outline, ...], texts: tuple[Text, ...]) -> bool:
    """True where a title would touch nothing else."""
    room = box.grown(0.3)
    taken = (*scene.contents, *scene.labels, *scene.stretches, *(text.box for text in texts))
    cut = any(room.overlaps(outline.rect) and not outline.rect.contains(box) for outline in outlines)
    return not cut and not any(_meets(room, other) for other in taken)


def _meets(rect: Rect, other: Rect) -> bool:
    """True when they share a point; a wire is a rectangle without area."""
    return (
        rect.left <= other.right
        and other.left <= rect.right
        and rect.top <= other.bottom
        and other.top <= rect.bottom
    )


def _host(outline: Outline, scene: Scene) -> str:
    return min(outline.holds, key=lambda tag: (scene.devices[tag].top, scene.devices[tag].left))


def _clusters(
    group: Group, scene: Scene, existing: tuple[Outline, ...]
) -> list[tuple[tuple[str, ...], Rect]]:
    """Members joined as long as one clean outline can hold them."""
    clusters: list[tuple[tuple[str, ...], Rect]] = []
    for unit in _units(group, scene, existing):
        for index, (held, _) in enumerate(clusters):
            earlier = tuple(rect for number, (_, rect) in enumerate(clusters) if number != index)
            rect = _clean_rect(group, (*held, *unit), scene, existing, earlier)
            if rect is not None:
                clusters[index] = ((*held, *unit), rect)
                break
        else:
            earlier = tuple(rect for _, rect in clusters)
            alone = _clean_rect(group, unit, scene, existing, earlier)
            # a cell alone always leaves room for its own outline
            clusters += (
                [(unit, alone)] if alone else [((tag,), _member_rect(tag, group, scene)) for tag in unit]
            )
    return clusters


def _units(group: Group, scene: Scene, existing: tuple[Outline, ...]) -> list[tuple[str, ...]]:
    """What a cluster takes in as a whole: an enclosure that hangs in the place, or a single device."""
    whole = [
        outline.holds
        for outline in existing
        if group.kind == "place" and set(outline.holds) <= set(group.holds)
    ]
    boxed = {tag for unit in whole for tag in unit}
    units = [*whole, *((tag,) for tag in group.holds if tag not in boxed)]
    return sorted(
        units, key=lambda unit: min((scene.devices[tag].left, scene.devices[tag].top) for tag in unit)
    )


def _member_rect(tag: str, group: Group, scene: Scene) -> Rect:
    """The cell of a member. An enclosure stays a little inside, below the title of a place."""
    cell = scene.devices[tag]
    if group.kind == "place":
        return cell
    inner = cell.grown(-read_look().outline_gap / 2 - 0.1)
    return Rect(inner.left, inner.top + scene.lowered.get(tag, 0.0), inner.right, inner.bottom)


def _clean_rect(
    group: Group,
    members: tuple[str, ...],
    scene: Scene,
    existing: tuple[Outline, ...],
    siblings: tuple[Rect, ...],
) -> Rect | None:
    """The smallest outline around the members that cuts nothing, or None."""
    rect = _member_rect(members[0], group, scene)
    for tag in members[1:]:
        rect = rect.union(_member_rect(tag, group, scene))
    held = set(members)
    foreign = [cell for tag, cell in scene.devices.items() if tag not in held]
    for _ in range(TRIES):
        if any(rect.overlaps(cell) for cell in (*foreign, *siblings)):
            return None
        grown = _around_labels(rect, scene.labels)
        for outline in existing:
            inside = held.issuperset(outline.holds)
            if inside and group.kind == "place":
                grown = grown.union(_around_box(outline.rect, group))
            elif rect.overlaps(outline.rect):
                return None
        grown = _off_wires(grown, scene.stretches)
        if grown == rect:
            return rect
        rect = grown
    return None


def _around_box(box: Rect, place: Group) -> Rect:
    """What a place needs around an enclosure: a gap, and its own title above."""
    gap = read_look().outline_gap / 2
    return Rect(
        box.left - gap, box.top - max(gap, block_height(place.lines) + 0.8), box.right + gap, box.bottom + gap
    )


def _around_labels(rect: Rect, labels: tuple[Rect, ...]) -> Rect:
    for label in labels:
        if rect.overlaps(label) and not rect.contains(label):
            rect = rect.union(label)
    return rect


def _off_wires(rect: Rect, stretches: tuple[Rect, ...]) -> Rect:
    """Move any edge that runs along a wire a little outward."""
    near, step = 1.0, 0.6
    left, top, right, bottom = rect.left, rect.top, rect.right, rect.bottom
    for wire in stretches:
        if wire.top == wire.bottom and wire.left < right and left < wire.right:
            top -= step * (abs(wire.top - top) < near)
            bottom += step * (abs(wire.top - bottom) < near)
        if wire.left == wire.right and wire.top < bottom and top < wire.bottom:
            left -= step * (abs(wire.left - left) < near)
            right += step * (abs(wire.left - right) < near)
    return Rect(left, top, right, bottom)
