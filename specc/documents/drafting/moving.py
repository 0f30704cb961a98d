"""From the corner where a diagram was laid out to its place on the sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace

from specc.documents.shapes import Mark, Outline, PlacedSymbol, Point, Rect, Stroke, Text, Wire


@dataclass(frozen=True)
class Move:
    """From the corner of the diagram to its place and scale on the sheet."""

    left: float
    top: float
    scale: float

    def point(self, point: Point) -> Point:
        """Where a point comes to lie."""
        return self.left + point[0] * self.scale, self.top + point[1] * self.scale

    def rect(self, rect: Rect) -> Rect:
        """Where a rectangle comes to lie."""
        return Rect(*self.point((rect.left, rect.top)), *self.point((rect.right, rect.bottom)))

    def symbol(self, symbol: PlacedSymbol) -> PlacedSymbol:
        """The symbol, moved and scaled."""
        x, y = self.point((symbol.x, symbol.y))
        return replace(symbol, x=x, y=y, scale=symbol.scale * self.scale, box=self.rect(symbol.box))

    def text(self, text: Text) -> Text:
        """The text, moved and scaled."""
        x, y = self.point((text.x, text.y))
        return replace(text, x=x, y=y, size=text.size * self.scale, box=self.rect(text.box))

    def wire(self, wire: Wire) -> Wire:
        """The wire, moved and scaled."""
        pieces = tuple(tuple(self.point(point) for point in piece) for piece in wire.pieces)
        return replace(wire, pieces=pieces, jumps=tuple(self.point(point) for point in wire.jumps))

    def mark(self, mark: Mark) -> Mark:
        """The mark, moved."""
        x, y = self.point((mark.x, mark.y))
        return replace(mark, x=x, y=y)

    def outline(self, outline: Outline) -> Outline:
        """The outline, moved and scaled."""
        return replace(outline, rect=self.rect(outline.rect))

    def stroke(self, stroke: Stroke) -> Stroke:
        """The stroke, moved and scaled; its weight stays."""
        return replace(stroke, points=tuple(self.point(point) for point in stroke.points))
