"""Frozen pieces of an installation. Each knows the place in the spec that it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Path = tuple[str | int, ...]


@dataclass(frozen=True, eq=False)
class Device:
    """A tagged thing of the spec with its catalogue part.

    ``spec`` is the table as written (SI floats), ``part`` the catalogue's word (None for a source or
    a tank without a part). Compared by identity: a tag is one device.
    """

    tag: str
    table: str
    kind: str  # the part's kind, or the table's name where there is no part
    spec: Any
    part: Any
    path: Path
    location: str | None
    box: str | None = None  # tag of the enclosure that holds it

    def __repr__(self) -> str:
        return f"Device({self.tag})"


@dataclass(frozen=True, eq=False)
class Terminal:
    """One terminal of a device. ``id`` is ``TAG.terminal``."""

    id: str
    name: str
    device: Device
    marked: str  # "+", "-", "line", "load" or ""
    role: str  # "power", "control", "ground"
    wire: Any  # parts.WireRange or None

    def __repr__(self) -> str:
        return f"Terminal({self.id})"


@dataclass(frozen=True)
class Pole:
    """A pair of terminals that a device joins when it is closed.

    ``clear_closed`` says whether it is closed with the system ready to run: everything switched on,
    every fuse whole, every sensor in the clear. Of poles worked by hand that share a terminal (a
    change-over switch) the first is closed.
    """

    device: Device
    index: int
    a: str
    b: str
    clear_closed: bool
    sensor: bool  # moved by what it senses, not by hand

    @property
    def key(self) -> tuple[str, int]:
        return (self.device.tag, self.index)


@dataclass(frozen=True, eq=False)
class Conductor:
    """One conductor of a run, end to end. ``size`` is a rulebook key, "8 AWG" or "6 mm2"."""

    tag: str
    run: Run
    start: str
    end: str
    size: str
    wire: Any  # parts.Wire
    color: str
    joint_note: str
    path: Path

    @property
    def length_m(self) -> float:
        return float(self.run.spec.length)

    def __repr__(self) -> str:
        return f"Conductor({self.tag})"


@dataclass(frozen=True, eq=False)
class Run:
    """Conductors laid together between two places."""

    tag: str
    spec: Any
    wire: Any
    raceway: Device | None
    path: Path
    conductors: list[Conductor] = field(default_factory=list)

    def __repr__(self) -> str:
        return f"Run({self.tag})"


@dataclass(frozen=True, eq=False)
class Port:
    """A pair of power terminals through which a device takes or gives energy."""

    device: Device
    name: str
    plus: str
    minus: str
    does: str  # "takes", "gives", "both"

    @property
    def gives(self) -> bool:
        return self.does in ("gives", "both")

    @property
    def takes(self) -> bool:
        return self.does in ("takes", "both")

    def __repr__(self) -> str:
        return f"Port({self.device.tag}.{self.name})"


@dataclass(frozen=True, eq=False)
class Pipe:
    """A pipe between two ports of the water side. ``start`` and ``end`` are node names."""

    tag: str
    spec: Any
    part: Any
    start: str
    end: str
    path: Path

    def __repr__(self) -> str:
        return f"Pipe({self.tag})"


@dataclass(frozen=True)
class Sightline:
    distance_m: float
    visible: bool


@dataclass(frozen=True)
class Places:
    """Where things stand and how far apart; a place that no table describes has no data."""

    locations: Mapping[str, Any]
    sightlines: Mapping[frozenset[str], Sightline]

    def between(self, a: str | None, b: str | None) -> Sightline | None:
        """Distance and sight from one place to another; None when the spec does not say."""
        if a is None or b is None:
            return None
        if a == b:
            return Sightline(0.0, True)
        return self.sightlines.get(frozenset((a, b)))
