"""What a wiring diagram has to say: devices with their terminals, every conductor from end to end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from specc.documents.device_symbols import symbol_name, symbol_words
from specc.documents.diagram import DiagramError, TitleBlock
from specc.documents.one_line import box_title, captions_of, title_block_of
from specc.documents.strands import GROUNDING
from specc.system.model import Conductor, Device
from specc.system.roles import role_of
from specc.system.system import System

# Kinds whose captions say what they are; of others it is said before them.
_SAY_WHAT_THEY_ARE = ("controller", "valve", "filter", "gauge", "grounding", "enclosure")
# Shorter than in the legend of the one-line, where it is still true.
_SHORTER = {"isolator": "isolator", "dc-motor-pump": "pump", "bus-bar": "bar or block"}

InnerKind = Literal["contact", "fuse", "breaker", "join"]
End = tuple[str, str]  # device tag, terminal name


@dataclass(frozen=True)
class Post:
    """A terminal as it is drawn: its name, and the mark that the maker prints beside it."""

    name: str
    mark: str = ""

    @property
    def words(self) -> str:
        """Name and mark, the mark only where the name does not say it: "1 +", "pv+"."""
        return self.name if not self.mark or self.mark in self.name else f"{self.name} {self.mark}"


@dataclass(frozen=True)
class Inner:
    """What joins two terminals inside: a contact, a fuse, a breaker, or a plain join."""

    start: str
    end: str
    kind: InnerKind


@dataclass(frozen=True)
class WiredDevice:
    """A device as a block of terminals in their order; ``box`` is the enclosure, ``place`` where it hangs."""

    tag: str
    posts: tuple[Post, ...]
    inners: tuple[Inner, ...] = ()
    captions: tuple[str, ...] = ()
    place: str = ""
    box: str = ""


@dataclass(frozen=True)
class WiredConductor:
    """A conductor from terminal to terminal, with the words that stand at both of its ends."""

    tag: str
    start: End
    end: End
    color: str
    size: str
    kind: Literal["power", "control", "ground"] = "power"

    @property
    def words(self) -> str:
        """Tag, colour and size as they are printed at each end."""
        return f"{self.tag} {self.color} {self.size}"


@dataclass(frozen=True)
class Wiring:
    """A whole wiring diagram; ``boxes`` are the titles of the enclosures by tag.

    Raises DiagramError for a tag used twice or a conductor that ends on no terminal.
    """

    title_block: TitleBlock
    devices: tuple[WiredDevice, ...]
    conductors: tuple[WiredConductor, ...] = ()
    boxes: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for what, tags in (
            ("devices", [d.tag for d in self.devices]),
            ("conductors", [c.tag for c in self.conductors]),
        ):
            if twice := sorted(tag for tag, count in Counter(tags).items() if count > 1):
                raise DiagramError(f"tags of {what} used twice: {', '.join(twice)}")
        known = {(d.tag, p.name) for d in self.devices for p in d.posts}
        if loose := sorted(c.tag for c in self.conductors if not {c.start, c.end} <= known):
            raise DiagramError(f"conductors that end on no terminal: {', '.join(loose)}")


def wiring(system: System, *, draft: bool = False) -> Wiring:
    """The wiring diagram of a job: every device that has terminals, every conductor."""
    devices = tuple(_device(system, device) for device in system.devices.values() if _posts(system, device))
    return Wiring(
        title_block=title_block_of(system, "Wiring diagram", draft),
        devices=devices,
        conductors=tuple(_conductor(system, conductor) for conductor in system.conductors),
        boxes={box.tag: box_title(box) for box in system.of_kind("enclosure")},
        notes=(
            "At each end of a conductor: its tag, colour and size, and where its other end goes.",
            "Wires join only at terminals; a hop is a crossing. Contacts are drawn open.",
            "A dashed line says what a box or place holds, not where wires enter it.",
            "Torque and stripping: see the termination schedule.",
        ),
    )


def _posts(system: System, device: Device) -> tuple[Post, ...]:
    terminals = (t for t in system.connected.terminals.values() if t.device is device)
    return tuple(Post(t.name, t.marked) for t in terminals)


def _device(system: System, device: Device) -> WiredDevice:
    box = device.tag if device.kind == "enclosure" else device.box or ""
    name = _SHORTER.get(symbol_name(device), symbol_words(device))
    if device.kind in _SAY_WHAT_THEY_ARE:
        name = ""
    return WiredDevice(
        device.tag,
        _posts(system, device),
        tuple(_inners(system, device)),
        ((name,) if name else ()) + captions_of(system, device),
        device.location or "",
        box,
    )


def _inners(system: System, device: Device) -> list[Inner]:
    """Poles, inner joins and jumpers, by the names of their terminals."""
    kinds: dict[str, InnerKind] = {"fuse": "fuse", "breaker": "breaker"}
    inners = [
        Inner(system.terminal(p.a).name, system.terminal(p.b).name, kinds.get(device.kind, "contact"))
        for p in system.poles_of(device)
    ]
    inners += [Inner(a, b, "contact") for a, b in _cut_when_low(device)]
    pairs = [pair for group in device.part.joined for pair in pairwise(group)]
    pairs += getattr(device.spec, "links", ())
    return [*inners, *(Inner(a, b, "join") for a, b in pairs)]


def _cut_when_low(device: Device) -> Iterator[tuple[str, str]]:
    """The terminals between which a low-voltage disconnect opens: a pair for each leg of each load."""
    if device.kind != "controller" or device.part.type != "low-voltage disconnect":
        return
    taken = [port for port in device.part.ports if port.does == "takes"]
    for load in (port for port in device.part.ports if port.does == "gives"):
        for feed in taken[:1]:
            if device.part.switched_leg in ("positive", "both"):
                yield feed.plus, load.plus
            if device.part.switched_leg in ("negative", "both"):
                yield feed.minus, load.minus


def _conductor(system: System, conductor: Conductor) -> WiredConductor:
    role = role_of(system.connected, system.walked, conductor)
    kind: Literal["power", "control", "ground"] = "power"
    if role.kind in GROUNDING:
        kind = "ground"
    elif role.kind in ("control", "idle"):
        kind = "control"
    start, end = (system.terminal(name) for name in (conductor.start, conductor.end))
    return WiredConductor(
        conductor.tag,
        (start.device.tag, start.name),
        (end.device.tag, end.name),
        conductor.color,
        conductor.size,
        kind,
    )
