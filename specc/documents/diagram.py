"""What a one-line diagram has to say: devices, links, enclosures and notes, before anything is placed."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Literal

from specc.reading.logo import Logo

Band = Literal["energy", "water", "ground"]
Kind = Literal["power", "control", "ground", "water", "signal"]


class DiagramError(ValueError):
    """A diagram that contradicts itself: a fault of the program that made it, not of its user."""


@dataclass(frozen=True)
class TitleBlock:
    """The fields of the title block, as they are printed."""

    title: str
    drawing: str = ""
    sheet: str = "1 of 1"
    number: str = ""
    prepared_for: str = ""
    prepared_by: str = ""
    date: str = ""
    revision: str = ""
    rulebook: str = ""
    scale_note: str = "not to scale"
    draft: bool = False
    firm: tuple[str, ...] = ()  # its name, then lines of address
    logo: Logo | None = None


@dataclass(frozen=True)
class DiagramDevice:
    """A device: ``symbol`` names a file in templates/symbols, ``place`` is where it hangs ("" for nowhere).

    A pump belongs to the water band; its power link comes down into it. ``twins`` are tags of like devices
    in the return, for which the one symbol stands too. What has a ``mark`` is no device
    but the end of a wire that goes on at the same mark of another sheet; the mark stands in its symbol.
    """

    tag: str
    symbol: str
    captions: tuple[str, ...] = ()
    place: str = ""
    band: Band = "energy"
    mark: str = ""
    twins: tuple[str, ...] = ()

    @property
    def tags(self) -> str:
        """Its tag, with those of its twins: "F1 and F2"."""
        return " and ".join((self.tag, *self.twins))


@dataclass(frozen=True)
class DiagramLink:
    """A wire run or pipe between two devices, in the direction of energy, water or signal.

    ``conductors`` is the number of conductors that the one line stands for, ``poles`` what they are
    ("+ -"); without poles, 0 or 1 are not counted. ``once`` are captions that a sheet need not say again,
    each with what it speaks of: the size of a run stands at its first line only. ``beside`` are the tags of
    runs that the line stands for as well; what they are is among its captions.
    """

    tag: str
    from_tag: str
    to_tag: str
    kind: Kind
    captions: tuple[str, ...] = ()
    conductors: int = 2
    poles: str = ""
    once: tuple[tuple[str, str], ...] = ()
    beside: tuple[str, ...] = ()

    @property
    def tags(self) -> str:
        """Its tag with those of the runs beside it: "R8, R9"."""
        return ", ".join((self.tag, *self.beside))

    @property
    def all_captions(self) -> tuple[str, ...]:
        """Everything that is said of it on a sheet that says it for the first time."""
        return (*self.captions, *(text for _, text in self.once))


@dataclass(frozen=True)
class DiagramBox:
    """An enclosure and the tags of the devices that it holds."""

    tag: str
    title: str
    holds: tuple[str, ...]


@dataclass(frozen=True)
class Diagram:
    """A whole one-line diagram.

    Raises DiagramError for a tag used twice, a link or box that names no device, or a device in two boxes.
    """

    title_block: TitleBlock
    devices: tuple[DiagramDevice, ...]
    links: tuple[DiagramLink, ...] = ()
    boxes: tuple[DiagramBox, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        tags = [device.tag for device in self.devices]
        _refuse("device tags used twice", [tag for tag, count in Counter(tags).items() if count > 1])
        ends = [end for link in self.links for end in (link.from_tag, link.to_tag)]
        _refuse("links to unknown devices", [end for end in ends if end not in set(tags)])
        held = [tag for box in self.boxes for tag in box.holds]
        _refuse("boxes that hold unknown devices", [tag for tag in held if tag not in set(tags)])
        _refuse("devices held by two boxes", [tag for tag, count in Counter(held).items() if count > 1])

    def saying_once(self) -> Diagram:
        """The diagram with what needs to be said only once at the first link that can say it."""
        said: set[str] = set()
        links = []
        for link in self.links:
            fresh = tuple(text for of, text in link.once if of not in said)
            said |= {of for of, _ in link.once}
            links.append(replace(link, captions=(*link.captions, *fresh), once=()))
        return replace(self, links=tuple(links))


def _refuse(what: str, culprits: list[str]) -> None:
    if culprits:
        raise DiagramError(f"{what}: {', '.join(sorted(set(culprits)))}")
