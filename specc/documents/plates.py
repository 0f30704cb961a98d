"""Sheets of figures: a frame, a title block, and one figure or several in rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from specc.documents.diagram import TitleBlock
from specc.documents.drafting.look import Paper
from specc.documents.drafting.sheet import Around, choose_sheet
from specc.documents.figures import Figure
from specc.documents.shapes import Image, Rect, Rule, Text

GUTTER = 8.0  # mm between two figures
ROOMY = 0.98  # of the room on the sheet that the figures take

Maker = Callable[[float, float], Figure]  # width and height on paper, mm -> figure


@dataclass(frozen=True)
class PlacedFigure:
    """A figure with its upper left corner at x, y, drawn at a scale."""

    figure: Figure
    x: float
    y: float
    scale: float = 1.0

    @property
    def box(self) -> Rect:
        width, height = self.figure.width * self.scale, self.figure.height * self.scale
        return Rect(self.x, self.y, self.x + width, self.y + height)


@dataclass(frozen=True)
class Plate:
    """One finished sheet of figures, mm."""

    title: str
    description: str
    width: float
    height: float
    frame: Rect
    figures: tuple[PlacedFigure, ...]
    texts: tuple[Text, ...]
    rules: tuple[Rule, ...]
    images: tuple[Image, ...] = ()


def plate(
    title: str, makers: Sequence[Maker], block: TitleBlock, paper: Paper, notes: tuple[str, ...] = ()
) -> Plate:
    """The figures on one sheet of this paper, each made to the size of its place.

    Several stand side by side, two in a row, of more than four three. On the larger papers their letters
    are enlarged as those of a drawing are, so that they can be read on a copy of the smallest size.
    """
    sheet = choose_sheet(Around(block, notes), 1.0, 1.0, (paper,))
    room = sheet.room
    columns = 1 if len(makers) == 1 else 2 if len(makers) <= 4 else 3
    rows = -(-len(makers) // columns)
    width = (room.width - GUTTER * (columns - 1)) / columns
    height = (room.height * ROOMY - GUTTER * (rows - 1)) / rows
    placed, scale = [], paper.enlarged
    for number, make in enumerate(makers):
        row, column = divmod(number, columns)
        x, y = room.left + column * (width + GUTTER), room.top + row * (height + GUTTER)
        placed.append(PlacedFigure(make(width / scale, height / scale), x, y, scale))
    return Plate(
        " ".join(part for part in (block.number, title) if part),
        " ".join(each.figure.description for each in placed),
        paper.width,
        paper.height,
        sheet.frame,
        tuple(placed),
        sheet.texts,
        sheet.rules,
        sheet.images,
    )
