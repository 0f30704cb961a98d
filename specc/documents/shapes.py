"""The shapes that a drawing is made of, in millimetres on a sheet: x to the right, y down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Rect:
    """An upright rectangle by its edges."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Left to right, mm."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Top to bottom, mm."""
        return self.bottom - self.top

    def grown(self, by: float) -> Rect:
        """The same rectangle with every edge moved outward by ``by`` mm."""
        return Rect(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def overlaps(self, other: Rect) -> bool:
        """True when the two share some area; touching edges do not count."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def contains(self, other: Rect) -> bool:
        """True when the other lies inside, edges included."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )

    def union(self, other: Rect) -> Rect:
        """The smallest rectangle around both."""
        return Rect(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )


@dataclass(frozen=True)
class Text:
    """One line of text: anchor point on the baseline, text size and measured box."""

    content: str
    x: float
    y: float
    size: float
    anchor: Anchor
    bold: bool
    box: Rect
    tag: str = ""  # the device, link or box that it speaks of
    role: str = "caption"


@dataclass(frozen=True)
class PlacedSymbol:
    """A symbol with its upper left corner at x, y. ``body`` is the SVG inside of the symbol file."""

    tag: str
    symbol: str
    words: str
    x: float
    y: float
    scale: float
    box: Rect
    body: str


@dataclass(frozen=True)
class Wire:
    """The drawn line of one link: pieces with right-angled corners.

    A stretch that several joined links share is drawn by one of them only. ``jumps`` are the points where
    this wire hops over another.
    """

    tag: str
    kind: str
    words: str
    pieces: tuple[tuple[Point, ...], ...]
    jumps: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Mark:
    """A small sign on a wire: a junction "dot", a flow "arrow" (pointing by ``turn`` degrees) or a "tick"."""

    kind: Literal["dot", "arrow", "tick"]
    x: float
    y: float
    tag: str = ""
    turn: int = 0


@dataclass(frozen=True)
class Outline:
    """A dashed line around what an enclosure ("box") or a place ("place") holds."""

    tag: str
    kind: Literal["box", "place"]
    title: str
    holds: tuple[str, ...]
    rect: Rect


@dataclass(frozen=True)
class Image:
    """A picture in a box of its own shape; ``address`` is a data address."""

    address: str
    words: str
    box: Rect


@dataclass(frozen=True)
class Rule:
    """A straight line of the frame, title block or legend."""

    start: Point
    end: Point
    weight: float


@dataclass(frozen=True)
class Stroke:
    """A line of a device's block: its edge ("block"), a terminal ("cell") or a join inside ("inner")."""

    kind: Literal["block", "cell", "inner"]
    points: tuple[Point, ...]
    weight: float
    tag: str = ""


@dataclass(frozen=True)
class Drawing:
    """One finished sheet. ``scale`` is that of the diagram on it; line weights are never scaled."""

    title: str
    description: str
    paper: str
    width: float
    height: float
    frame: Rect
    scale: float
    draft: bool
    symbols: tuple[PlacedSymbol, ...]
    wires: tuple[Wire, ...]
    marks: tuple[Mark, ...]
    outlines: tuple[Outline, ...]
    texts: tuple[Text, ...]
    rules: tuple[Rule, ...]
    strokes: tuple[Stroke, ...] = ()
    name: str = "one-line"
    images: tuple[Image, ...] = ()
