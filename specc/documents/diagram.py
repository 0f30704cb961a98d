"""What a one-line diagram has to say: devices, links, enclosures and notes, before anything is placed."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal

Band = Literal["energy", "water", "ground"]
Kind = Literal["power", "control", "ground", "water", "signal"]


class DiagramError(ValueError):
    """A diagram that contradicts itself: a fault of the program that made it, not of its user."""


@dataclass(frozen=True)
class TitleBlock:
    """The fields of the title block, as they are printed."""

    title: str
    number: str = ""
    prepared_for: str = ""
    prepared_by: str = ""
    date: str = ""
    revision: str = ""
    rulebook: str = ""
    scale_note: str = "not to scale"
    draft: bool = False


@dataclass(frozen=True)
class DiagramDevice:
    """A device: ``symbol`` names a file in templates/symbols, ``place`` is where it hangs ("" for nowhere).

    A pump belongs to the water band; its power link comes down into it.
    """

    tag: str
    symbol: str
    captions: tuple[str, ...] = ()
    place: str = ""
    band: Band = "energy"


@dataclass(frozen=True)
class DiagramLink:
    """A wire run or pipe between two devices, in the direction of energy, water or signal.

    ``conductors`` is the number of conductors that the one line stands for (0 or 1: no count is drawn).
    """

    tag: str
    from_tag: str
    to_tag: str
    kind: Kind
    captions: tuple[str, ...] = ()
    conductors: int = 2


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


def _refuse(what: str, culprits: list[str]) -> None:
    if culprits:
        raise DiagramError(f"{what}: {', '.join(sorted(set(culprits)))}")
