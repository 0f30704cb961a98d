"""The plan of a drawing without coordinates: what stands in which column and how each link runs through them.

Columns are numbered from the left: devices stand in the odd ones, wire labels in the even ones between.
Channel k is the space left of column k, where wires run up and down; channel k + 1 is right of it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from specc.documents.diagram import Band, Diagram, DiagramDevice, DiagramError, DiagramLink
from specc.documents.drafting.folding import Stand
from specc.documents.drafting.lettering import Line, lines_of
from specc.documents.drafting.look import read_look
from specc.documents.drafting.symbols import Port, Symbol, read_symbols

PinSide = Literal["left", "right"]
THROUGH = "through"  # the port of an item that is nothing but a wire passing


@dataclass(frozen=True)
class Item:
    """What stands in a column: a device, or a wire that passes (with or without its label).

    ``lane`` keeps the energy path at the top, controls and earth below it, water at the bottom, and the rows
    of a folded path apart.
    """

    number: int
    column: int
    lane: int
    device: DiagramDevice | None = None
    link: DiagramLink | None = None
    label: tuple[Line, ...] = ()
    direction: int = 1  # of the link through the column: 1 to the right, -1 to the left


@dataclass(frozen=True)
class Pin:
    """Where a wire leaves or enters an item: at a port, to the channel on one side of its column."""

    item: int
    port: str
    side: PinSide


@dataclass(frozen=True)
class Step:
    """A stretch of a link inside one channel."""

    channel: int
    start: Pin
    end: Pin


@dataclass(frozen=True)
class Route:
    """The way of one link. ``label`` is the number of the item with its label, if it has one."""

    link: DiagramLink
    steps: tuple[Step, ...]
    label: int | None


@dataclass(frozen=True)
class Lanes:
    """Numbers of the lanes from the top: rows of energy, controls and earth, rows of water (the last above).

    Between two rows there is a lane for the wires that lead from one to the other.
    """

    stands: Mapping[str, Stand]
    dry_rows: int
    wet_rows: int
    powered: frozenset[str]
    bands: Mapping[str, Band]

    def of_device(self, device: DiagramDevice) -> int:
        """The lane of a device."""
        if device.band == "water":
            return self._wet(self.stands[device.tag].row)
        if device.band == "energy" and device.tag in self.powered:
            return 2 * self.stands[device.tag].row
        return self._middle

    def of_link(self, link: DiagramLink) -> int:
        """The lane of a link between the columns."""
        if link.kind not in ("power", "water"):
            wet = [self.stands[tag].row for tag in _ends(link) if self.bands[tag] == "water"]
            return self._wet(min(wet)) if len(wet) == 2 else self._middle
        ends = [tag for tag in _ends(link) if (self.bands[tag] == "water") is (link.kind == "water")]
        if not ends or any(self.bands[tag] == "ground" for tag in ends):
            return self._wet(0) if link.kind == "water" else 0
        rows = [self.stands[tag].row for tag in ends]
        if link.kind == "power":
            return 2 * rows[0] if min(rows) == max(rows) else 2 * max(rows) - 1
        return self._wet(rows[0]) if min(rows) == max(rows) else self._wet(max(rows)) + 1

    @property
    def _middle(self) -> int:
        return 2 * self.dry_rows - 1

    def _wet(self, row: int) -> int:
        return self._middle + 1 + 2 * (self.wet_rows - 1 - row)


@dataclass(frozen=True)
class Plan:
    """All items (number = position) and routes; the ports in use by device item; the count of columns."""

    items: tuple[Item, ...]
    routes: tuple[Route, ...]
    ports: dict[int, tuple[Port, ...]]
    columns: int


def symbol_of(device: DiagramDevice) -> Symbol:
    """The symbol of a device. Raises DiagramError when there is no such symbol."""
    try:
        return read_symbols()[device.symbol]
    except KeyError:
        raise DiagramError(f"{device.tag}: there is no symbol named {device.symbol}") from None


def make_plan(diagram: Diagram, stands: Mapping[str, Stand]) -> Plan:
    """Choose the ports, then lead every link from column to column."""
    ranks = {tag: stand.rank for tag, stand in stands.items()}
    lanes = _lanes(diagram, stands)
    items = [
        Item(number, 2 * ranks[device.tag] + 1, lanes.of_device(device), device)
        for number, device in enumerate(diagram.devices)
    ]
    numbers = {device.tag: number for number, device in enumerate(diagram.devices)}
    ends = _choose_ports(diagram, ranks)
    pins = [_pins(items, numbers, link, *ports) for link, ports in zip(diagram.links, ends, strict=True)]
    shared = Counter(
        pin
        for link, pair in zip(diagram.links, pins, strict=True)
        if link.kind == "ground"
        for pin in _bare(pair)
    )
    bundles: dict[tuple[int, str, int], int] = {}
    routes = []
    for link, pair in zip(diagram.links, pins, strict=True):
        if link.kind == "ground" and shared[_bare(pair)[0]] > shared[_bare(pair)[1]]:
            pair = (pair[1], pair[0])
        routes.append(_route(items, bundles, link, lanes.of_link(link), *pair))
    used: dict[int, list[Port]] = defaultdict(list)
    for link, ports in zip(diagram.links, ends, strict=True):
        for tag, port in zip(_ends(link), ports, strict=True):
            if port not in used[numbers[tag]]:
                used[numbers[tag]].append(port)
    columns = max((item.column for item in items), default=0) + 2
    return Plan(tuple(items), tuple(routes), {item: tuple(ports) for item, ports in used.items()}, columns)


def label_lines(link: DiagramLink) -> tuple[Line, ...]:
    """The label of a link: its tag in bold, its captions below."""
    look = read_look()
    lines = lines_of(link.tag, look.text["label_tag"], look.label_width, bold=True, role="label")
    for caption in link.captions:
        lines += lines_of(caption, look.text["label"], look.label_width, role="label")
    return lines


def counts_conductors(link: DiagramLink) -> bool:
    """True for a link that gets a stroke and the number of its conductors."""
    return (link.conductors > 1 or bool(link.poles)) and link.kind in ("power", "control", "signal")


def count_words(link: DiagramLink) -> str:
    """The number of conductors and their poles, as they stand beside the stroke: "2 (+ −)"."""
    return f"{link.conductors} ({link.poles})" if link.poles else str(link.conductors)


def _ends(link: DiagramLink) -> tuple[str, str]:
    return link.from_tag, link.to_tag


def _bare(pair: tuple[Pin, Pin]) -> tuple[tuple[int, str], tuple[int, str]]:
    return (pair[0].item, pair[0].port), (pair[1].item, pair[1].port)


def _lanes(diagram: Diagram, stands: Mapping[str, Stand]) -> Lanes:
    powered = frozenset(
        tag for link in diagram.links if link.kind not in ("control", "signal") for tag in _ends(link)
    )
    bands = {device.tag: device.band for device in diagram.devices}
    dry = [stands[tag].row for tag, band in bands.items() if band == "energy" and tag in powered]
    wet = [stands[tag].row for tag, band in bands.items() if band == "water"]
    return Lanes(stands, 1 + max(dry, default=0), 1 + max(wet, default=0), powered, bands)


def _choose_ports(diagram: Diagram, ranks: dict[str, int]) -> list[tuple[Port, Port]]:
    """A port at both ends of every link. Only links of one kind ever share a port."""
    devices = {device.tag: device for device in diagram.devices}
    taken: dict[str, dict[Port, list[str]]] = {tag: {} for tag in devices}

    def choose(link: DiagramLink, tag: str, role: str, other: str) -> Port:
        mine = taken[tag]
        turn = ranks[other] - ranks[tag]
        # Contacts and earths have no direction: they take the side that faces the other.
        loose = link.kind in ("control", "signal", "ground")

        def cost(port: Port) -> tuple[int, int, int]:
            wrong_role = 0 if loose or port.role in (role, "either") else 1
            turned_away = int(
                loose and ((port.side == "left" and turn > 0) or (port.side == "right" and turn < 0))
            )
            return wrong_role, len(mine.get(port, ())), turned_away

        symbol = symbol_of(devices[tag])
        ports = [*symbol.ports, *(port for port in mine if port not in symbol.ports)]
        fitting = [
            port for port in ports if link.kind in port.kinds and set(mine.get(port, ())) <= {link.kind}
        ]
        port = min(fitting, key=cost) if fitting else _spare_port(symbol, link.kind, tuple(mine))
        mine.setdefault(port, []).append(link.kind)
        return port

    return [
        (choose(link, link.from_tag, "out", link.to_tag), choose(link, link.to_tag, "in", link.from_tag))
        for link in diagram.links
    ]


def _spare_port(symbol: Symbol, kind: str, used: tuple[Port, ...]) -> Port:
    """A connection at the lower edge, for a kind of link that the symbol has no point for."""
    grid = read_look().grid
    middle = round(symbol.width / 2 / grid) * grid
    offsets = [step * 2 * grid for step in (0, -1, 1, -2, 2, -3, 3)]
    busy = {port.x for port in (*symbol.ports, *used) if port.side == "bottom"}
    places = [middle + offset for offset in offsets if 0 <= middle + offset <= symbol.width]
    x = next((place for place in places if place not in busy), symbol.width + grid * (1 + len(busy)))
    return Port(f"spare-{kind}", x, symbol.height, "bottom", (kind,), "either")


def _pins(
    items: list[Item], numbers: dict[str, int], link: DiagramLink, first: Port, second: Port
) -> tuple[Pin, Pin]:
    start, end = (items[numbers[tag]] for tag in _ends(link))

    def position(item: Item, port: Port) -> float:
        return item.column + {"left": -0.5, "right": 0.5}.get(port.side, 0.0)

    def side(item: Item, port: Port, other: float) -> PinSide:
        if port.side == "left" or port.side == "right":
            return port.side
        return "left" if other < item.column else "right"

    return (
        Pin(start.number, first.name, side(start, first, position(end, second))),
        Pin(end.number, second.name, side(end, second, position(start, first))),
    )


def _route(
    items: list[Item],
    bundles: dict[tuple[int, str, int], int],
    link: DiagramLink,
    lane: int,
    start: Pin,
    end: Pin,
) -> Route:
    """Lead a link through the columns between its pins. Earth wires to one pin run together."""
    here = items[start.item].column + (start.side == "right")
    goal = items[end.item].column + (end.side == "right")
    lines = label_lines(link)
    wanted = bool(lines) or counts_conductors(link)
    if here == goal and wanted:
        columns = [here, here] if here % 2 == 0 else [here - 1, here - 1]
        turns = [1, -1] if here % 2 == 0 else [-1, 1]
    elif here <= goal:
        columns, turns = list(range(here, goal)), [1] * (goal - here)
    else:
        columns, turns = list(range(here - 1, goal - 1, -1)), [-1] * (here - goal)
    labelled = _label_position(columns, link.kind) if wanted else None
    if labelled is None and link.kind == "water" and columns:
        labelled = _label_position(columns, link.kind)  # room for the flow arrow
    steps, pin, label = [], start, None
    for position, (column, turn) in enumerate(zip(columns, turns, strict=True)):
        key = (end.item, end.port, column)
        if position != labelled and link.kind == "ground" and key in bundles:
            number = bundles[key]
        else:
            number = len(items)
            items.append(Item(number, column, lane))
            if position == labelled:
                items[number] = replace(items[number], link=link, label=lines, direction=turn)
                label = number
            elif link.kind == "ground":
                bundles[key] = number
        steps.append(Step(here, pin, Pin(number, THROUGH, "left" if turn > 0 else "right")))
        pin = Pin(number, THROUGH, "right" if turn > 0 else "left")
        here += turn
    steps.append(Step(here, pin, end))
    return Route(link, tuple(steps), label)


def _label_position(columns: list[int], kind: str) -> int:
    between = [position for position, column in enumerate(columns) if column % 2 == 0]
    between = between or list(range(len(columns)))
    return between[0] if kind == "ground" else between[(len(between) - 1) // 2]
