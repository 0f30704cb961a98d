"""Dashed lines around what an enclosure holds and around what hangs in one place.

An outline never cuts or takes in what does not belong to it. Where members stand too far apart for that,
each cluster of them gets an outline of its own with the same title.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from specc.documents.diagram import Diagram
from specc.documents.drafting.cells import Cell, Titles
from specc.documents.drafting.lettering import Line, block_height, lines_of, stack
from specc.documents.drafting.look import read_look
from specc.documents.drafting.plan import Plan
from specc.documents.drafting.routing import Routing
from specc.documents.shapes import Outline, Rect, Text

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


Rooms = dict[str, dict[str, Group]]  # by device tag and kind of outline, whose title stands above the device


@dataclass(frozen=True)
class Scene:
    """What is already placed: device cells by tag, label cells, and the straight stretches of wires.

    ``lowered`` is the height of the place title above a device, by tag.
    """

    devices: dict[str, Rect]
    lowered: dict[str, float]
    labels: tuple[Rect, ...]
    stretches: tuple[Rect, ...]


def groups_of(diagram: Diagram) -> tuple[Group, ...]:
    """Enclosures first, as places go around them."""
    boxes = [
        Group(box.tag, "box", f"{box.tag} {box.title}".strip(), box.holds) for box in diagram.boxes if box.holds
    ]
    places = dict.fromkeys(device.place for device in diagram.devices if device.place)
    return (
        *boxes,
        *(
            Group(place, "place", place, tuple(each.tag for each in diagram.devices if each.place == place))
            for place in places
        ),
    )


def make_scene(
    plan: Plan, cells: tuple[Cell, ...], heights: tuple[float, ...], routing: Routing, rooms: Rooms
) -> Scene:
    """The placed cells and wires as rectangles."""
    devices, labels = {}, []
    for item, cell, y in zip(plan.items, cells, heights, strict=True):
        x = routing.axes[item.column]
        rect = Rect(x - cell.left, y - cell.up, x + cell.right, y + cell.down)
        if item.device is not None:
            devices[item.device.tag] = rect
        elif item.link is not None:
            labels.append(rect)
    stretches = tuple(
        Rect(min(start[0], end[0]), min(start[1], end[1]), max(start[0], end[0]), max(start[1], end[1]))
        for wire in routing.wires
        for piece in wire.pieces
        for start, end in zip(piece, piece[1:], strict=False)
    )
    lowered = {tag: block_height(kinds["place"].lines) for tag, kinds in rooms.items() if "place" in kinds}
    return Scene(devices, lowered, tuple(labels), stretches)


def outline_groups(groups: Iterable[Group], scene: Scene) -> tuple[Outline, ...]:
    """One outline for each cluster of each group."""
    outlines: list[Outline] = []
    for group in groups:
        for members, rect in _clusters(group, scene, tuple(outlines)):
            outlines.append(Outline(group.tag, group.kind, group.title, members, rect))
    return tuple(outlines)


def rooms_needed(groups: tuple[Group, ...], outlines: tuple[Outline, ...], scene: Scene) -> Rooms:
    """Which titles stand above which device: the topmost of an outline is its host.

    What shares an enclosure with the host of a place leaves the same room, so that the line of the
    enclosure runs below the title of the place.
    """
    by_tag = {(group.kind, group.tag): group for group in groups}
    box_of = {tag: group for group in groups if group.kind == "box" for tag in group.holds}
    rooms: Rooms = {}
    for outline in outlines:
        host = _host(outline, scene)
        mates = box_of[host].holds if outline.kind == "place" and host in box_of else (host,)
        for tag in mates:
            rooms.setdefault(tag, {})[outline.kind] = by_tag[outline.kind, outline.tag]
    return rooms


def title_lines(rooms: Rooms) -> Titles:
    """The title lines that each device must leave room for above itself."""
    return {
        tag: tuple(line for kind in ("place", "box") if kind in kinds for line in kinds[kind].lines)
        for tag, kinds in rooms.items()
    }


def title_texts(groups: tuple[Group, ...], outlines: tuple[Outline, ...], scene: Scene) -> tuple[Text, ...]:
    """The titles, in the upper left corner of the room that their hosts left."""
    gap = read_look().outline_gap
    by_tag = {(group.kind, group.tag): group for group in groups}
    texts: list[Text] = []
    for outline in outlines:
        host = _host(outline, scene)
        cell = scene.devices[host]
        inset = 0.3 if outline.kind == "place" else 0.3 + gap / 2 + 0.1
        top = cell.top + inset + (scene.lowered.get(host, 0.0) if outline.kind == "box" else 0.0)
        lines = by_tag[outline.kind, outline.tag].lines
        texts += stack(lines, cell.left + inset + 0.5, top, tag=outline.tag)
    return tuple(texts)


def _host(outline: Outline, scene: Scene) -> str:
    return min(outline.holds, key=lambda tag: (scene.devices[tag].top, scene.devices[tag].left))


def _clusters(group: Group, scene: Scene, existing: tuple[Outline, ...]) -> list[tuple[tuple[str, ...], Rect]]:
    """Members joined as long as one clean outline can hold them."""
    members = sorted(group.holds, key=lambda tag: (scene.devices[tag].left, scene.devices[tag].top))
    clusters: list[tuple[tuple[str, ...], Rect]] = []
    for member in members:
        for index, (held, _) in enumerate(clusters):
            earlier = tuple(rect for number, (_, rect) in enumerate(clusters) if number != index)
            rect = _clean_rect(group, (*held, member), scene, existing, earlier)
            if rect is not None:
                clusters[index] = ((*held, member), rect)
                break
        else:
            earlier = tuple(rect for _, rect in clusters)
            alone = _clean_rect(group, (member,), scene, existing, earlier)
            # a cell alone always leaves room for its own outline
            clusters.append(((member,), alone if alone is not None else _member_rect(member, group, scene)))
    return clusters


def _member_rect(tag: str, group: Group, scene: Scene) -> Rect:
    """The cell of a member. An enclosure stays a little inside, below the title of a place."""
    cell = scene.devices[tag]
    if group.kind == "place":
        return cell
    inner = cell.grown(-read_look().outline_gap / 2 - 0.1)
    return Rect(inner.left, inner.top + scene.lowered.get(tag, 0.0), inner.right, inner.bottom)


def _clean_rect(
    group: Group, members: tuple[str, ...], scene: Scene, existing: tuple[Outline, ...], siblings: tuple[Rect, ...]
) -> Rect | None:
    """The smallest outline around the members that cuts nothing, or None."""
    rect = _member_rect(members[0], group, scene)
    for tag in members[1:]:
        rect = rect.union(_member_rect(tag, group, scene))
    foreign = [cell for tag, cell in scene.devices.items() if tag not in members]
    for _ in range(TRIES):
        if any(rect.overlaps(cell) for cell in (*foreign, *siblings)):
            return None
        grown = _around_labels(rect, scene.labels)
        for outline in existing:
            inside = set(outline.holds) <= set(members)
            if inside and group.kind == "place":
                grown = grown.union(outline.rect.grown(read_look().outline_gap / 2))
            elif rect.overlaps(outline.rect):
                return None
        grown = _off_wires(grown, scene.stretches)
        if grown == rect:
            return rect
        rect = grown
    return None


def _around_labels(rect: Rect, labels: tuple[Rect, ...]) -> Rect:
    for label in labels:
        if rect.overlaps(label) and not rect.contains(label):
            rect = rect.union(label)
    return rect


def _off_wires(rect: Rect, stretches: tuple[Rect, ...]) -> Rect:
    """Move any edge that runs along a wire a little outward."""
    near, step = 0.5, 0.55
    left, top, right, bottom = rect.left, rect.top, rect.right, rect.bottom
    for wire in stretches:
        if wire.top == wire.bottom and wire.left < right and left < wire.right:
            top -= step * (abs(wire.top - top) < near)
            bottom += step * (abs(wire.top - bottom) < near)
        if wire.left == wire.right and wire.top < bottom and top < wire.bottom:
            left -= step * (abs(wire.left - left) < near)
            right += step * (abs(wire.left - right) < near)
    return Rect(left, top, right, bottom)
