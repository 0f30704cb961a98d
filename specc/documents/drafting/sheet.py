"""The sheet around a drawing: frame, title block, notes and legend, and the choice of the paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from specc.documents.diagram import Diagram, TitleBlock
from specc.documents.drafting.legend import Entry, entries_of, place_legend
from specc.documents.drafting.lettering import (
    Line,
    block_height,
    block_width,
    lines_of,
    place_line,
    stack,
    text_width,
    wrap,
)
from specc.documents.drafting.look import Look, Paper, read_look
from specc.documents.shapes import Image, PlacedSymbol, Rect, Rule, Text

LOGO_SHARE = 0.35  # of the width of the title block
STAMP_TEXT = "checked by, date"
DRAFT_TEXT = "DRAFT: do not build from this sheet"
NOTES_SHARE = 0.38  # of the width beside the title block, where there is a legend too
STEPS = 50  # of the scale of a diagram, to one


@dataclass(frozen=True)
class Around:
    """What stands around a drawing."""

    title_block: TitleBlock
    notes: tuple[str, ...] = ()
    legend: tuple[Entry, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A paper with its lower strip drawn, and the room that is left for the diagram."""

    paper: Paper
    frame: Rect
    room: Rect
    scale: float
    symbols: tuple[PlacedSymbol, ...] = ()
    texts: tuple[Text, ...] = ()
    rules: tuple[Rule, ...] = ()
    images: tuple[Image, ...] = ()


def around(diagram: Diagram) -> Around:
    """Title block, notes and legend of a diagram."""
    return Around(diagram.title_block, diagram.notes, entries_of(diagram))


def title_of(block: TitleBlock) -> str:
    """The title of a drawing for those who do not see it."""
    drawing = ", ".join(part for part in (block.drawing, f"sheet {block.sheet}") if part)
    return ": ".join(part for part in (f"{block.number} {block.title}".strip(), drawing) if part)


def choose_sheet(what: Around, width: float, height: float, papers: Sequence[Paper]) -> Sheet:
    """The first paper on which a drawing (mm at full scale) is legible; else one cut to its size."""
    for paper in papers:
        sheet = empty_sheet(what, paper)
        scale = fitting_scale(sheet.room, width, height)
        if scale >= paper.least_scale:
            return replace(sheet, scale=scale)
    return cut_to_size(what, width, height, papers)


def fitting_scale(room: Rect, width: float, height: float) -> float:
    """The largest scale, in small steps, at which a drawing fits; 0 when the room is no room."""
    if room.width <= 0 or room.height <= 0:
        return 0.0
    fits = min(room.width / max(width, 1.0), room.height / max(height, 1.0), read_look().most_scale)
    return math.floor(fits * STEPS + 1e-9) / STEPS


def cut_to_size(what: Around, width: float, height: float, papers: Sequence[Paper]) -> Sheet:
    """A sheet cut to the drawing, at full scale; never smaller than the last of the papers is wide."""
    look = read_look()
    edges = 2 * (look.margin + look.clearance)
    widest = max([width + edges, *(each.width for each in papers[-1:])])
    paper = Paper("cut to size", math.ceil(widest), height + edges)
    strip = empty_sheet(what, paper)
    used = strip.frame.height - strip.room.height - 2 * look.clearance
    paper = replace(paper, height=math.ceil(height + edges + used + 1))
    return replace(empty_sheet(what, paper), scale=1.0)


def empty_sheet(what: Around, paper: Paper) -> Sheet:
    """The paper with all that stands around a drawing."""
    look, enlarged = read_look(), paper.enlarged
    frame = Rect(0, 0, paper.width, paper.height).grown(-look.margin)
    firm_height = look.title_block_firm * enlarged if what.title_block.firm else 0.0
    block_top = frame.bottom - sum(row.height for row in look.title_block_rows) * enlarged - firm_height
    block = Rect(frame.right - look.title_block_width * enlarged, block_top, frame.right, frame.bottom)
    free = Rect(frame.left + look.gutter, 0, block.left - look.gutter, frame.bottom - look.gutter)
    free = replace(free, top=block.top + look.gutter / 2)  # what is lower begins there
    strip = min((_above(what, free, paper), _beside(what, free, paper)), key=lambda strip: -strip.top)
    room = Rect(frame.left, frame.top, frame.right, min(block.top, strip.top - look.gutter / 2))
    stamp = Line(STAMP_TEXT, look.text["field"] * enlarged, role="field")
    stamped = block.top - room.bottom > 2 * stamp.size
    if not stamped:  # the first row of the block reaches up to the common line
        block = replace(block, top=room.bottom)
    fields = replace(block, top=block.top + firm_height)
    texts, rules = _title_block(what.title_block, fields, paper, look)
    images: tuple[Image, ...] = ()
    if firm_height:
        row = replace(block, bottom=fields.top)
        words, lines, images = _firm_row(what.title_block, row, paper, look)
        texts, rules = (*texts, *words), (*rules, *lines)
    rules += (Rule((frame.left, room.bottom), (frame.right, room.bottom), look.line["thin"]),)
    if stamped:  # the block closes itself below the common line
        rules += (Rule((block.left, room.bottom), (block.left, block.top), look.line["medium"]),)
        texts += stack((stamp,), block.left + 1.2, room.bottom + 0.6)
    texts += strip.texts
    room = room.grown(-look.clearance)
    if what.title_block.draft:
        size = look.text["draft"] * enlarged
        text = place_line(
            Line(DRAFT_TEXT, size, True, "draft"),
            (frame.left + frame.right) / 2,
            frame.top + size * 1.4,
            "middle",
        )
        texts += (text,)
        room = Rect(room.left, text.box.bottom + look.clearance, room.right, room.bottom)
    return Sheet(paper, frame, room, 1.0, strip.symbols, texts, rules, images)


@dataclass(frozen=True)
class _Strip:
    """Notes and legend beside the title block, and how high they reach."""

    top: float
    symbols: tuple[PlacedSymbol, ...]
    texts: tuple[Text, ...]


def _beside(what: Around, free: Rect, paper: Paper) -> _Strip:
    """The notes left of the legend."""
    look = read_look()
    notes = _notes(what.notes, NOTES_SHARE * free.width if what.legend else free.width, paper, look)
    taken = block_width(notes) + 2 * look.gutter if notes else 0.0
    symbols, words, top = place_legend(what.legend, replace(free, left=free.left + taken), paper)
    top = min(free.bottom - block_height(notes), top, free.top)
    return _Strip(top, symbols, (*words, *stack(notes, free.left, top, tag="notes")))


def _above(what: Around, free: Rect, paper: Paper) -> _Strip:
    """The notes above the legend."""
    look = read_look()
    symbols, words, top = place_legend(what.legend, free, paper)
    top = min(top, free.bottom)
    notes = _notes(what.notes, free.width, paper, look)
    top = min(top - block_height(notes) - (look.gutter / 2 if notes and what.legend else 0.0), free.top)
    return _Strip(top, symbols, (*words, *stack(notes, free.left, top, tag="notes")))


def _firm_row(
    block: TitleBlock, row: Rect, paper: Paper, look: Look
) -> tuple[tuple[Text, ...], tuple[Rule, ...], tuple[Image, ...]]:
    """Logo, name and address of the firm over the fields of the title block."""
    pad, left = 1.2, row.left + 1.2
    images: tuple[Image, ...] = ()
    if block.logo is not None:
        width, height = block.logo.fitted(LOGO_SHARE * row.width, row.height - 2 * pad)
        top = row.top + (row.height - height) / 2
        box = Rect(left, top, left + width, top + height)
        images = (Image(block.logo.address, f"logo of {block.firm[0]}", box),)
        left += width + 2 * pad
    least = look.least_text * paper.enlarged
    lines: tuple[Line, ...] = ()
    for text, size, heavy in (
        (block.firm[0], look.text["value"] * paper.enlarged, True),
        (", ".join(block.firm[1:]), look.text["field"] * paper.enlarged, False),
    ):
        room = row.height - 2 * pad - block_height(lines)
        lines += _fitted(text, size, least, row.right - left - pad, room, heavy) if text else ()
    texts = stack(lines, left, row.top + (row.height - block_height(lines)) / 2)
    rules = (
        Rule((row.left, row.top), (row.right, row.top), look.line["medium"]),
        Rule((row.left, row.top), (row.left, row.bottom), look.line["medium"]),
    )
    return texts, rules, images


def _title_block(
    block: TitleBlock, area: Rect, paper: Paper, look: Look
) -> tuple[tuple[Text, ...], tuple[Rule, ...]]:
    texts: list[Text] = []
    rules = [
        Rule((area.left, area.top), (area.right, area.top), look.line["medium"]),
        Rule((area.left, area.top), (area.left, area.bottom), look.line["medium"]),
    ]
    top, enlarged = area.top, paper.enlarged
    over = area.height - sum(row.height for row in look.title_block_rows) * enlarged
    for number, row in enumerate(look.title_block_rows):
        height = row.height * enlarged + (0.0 if number else over)
        if number:
            rules.append(Rule((area.left, top), (area.right, top), look.line["thin"]))
        left = area.left
        for position, cell in enumerate(row.cells):
            width = cell.share * area.width
            if position:
                rules.append(Rule((left, top), (left, top + height), look.line["thin"]))
            name = Line(cell.name, look.text["field"] * enlarged, role="field")
            texts += stack((name,), left + 1.2, top + 0.6)
            value = paper.name if cell.field == "paper" else str(getattr(block, cell.field))
            heavy = cell.field in ("title", "drawing", "sheet")
            size = look.text["title" if cell.field == "title" else "value"] * enlarged
            room = height - block_height((name,)) - 0.8
            lines = _fitted(value, size, look.least_text * enlarged, width - 2.4, room, heavy)
            texts += stack(lines, left + 1.2, top + 0.6 + block_height((name,)))
            left += width
        top += height
    return tuple(texts), tuple(rules)


def _fitted(
    value: str, size: float, least: float, width: float, height: float, bold: bool
) -> tuple[Line, ...]:
    """The text in a field: in smaller letters when it is long, cut when even the least are too big."""
    while True:
        lines = lines_of(value, size, width, bold, role="value")
        if block_height(lines) <= height:
            return lines
        if size <= least:
            break
        size = max(least, size - 0.2)
    count = max(1, int(height / (size * read_look().line_pitch)))
    last = lines[count - 1].content
    while last and text_width(last + "…", size, bold) > width:
        last = last[:-1]
    return (*lines[: count - 1], Line(last + "…", size, bold, "value"))


def _notes(notes: tuple[str, ...], width: float, paper: Paper, look: Look) -> tuple[Line, ...]:
    size = look.text["note"] * paper.enlarged
    lines = []
    for number, note in enumerate(notes, 1):
        lead = f"{number}. "
        lines += [
            Line(lead + text if row == 0 else text, size, role="note")
            for row, text in enumerate(wrap(note, size, max(width - text_width(lead, size), 20.0)))
        ]
    return tuple(lines)
