"""The sheet around the diagram: frame, title block, notes and legend, and the choice of the paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from specc.documents.diagram import Diagram, TitleBlock
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
from specc.documents.drafting.symbols import Symbol, read_symbols
from specc.documents.shapes import PlacedSymbol, Rect, Rule, Text

STAMP_TEXT = "checked by, date"
DRAFT_TEXT = "DRAFT: do not build from this sheet"


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


def choose_sheet(diagram: Diagram, width: float, height: float, papers: Sequence[Paper]) -> Sheet:
    """The smallest paper on which the diagram (mm at full scale) fits, with the legend where there is room.

    When it fits on none, a sheet cut to the diagram.
    """
    look = read_look()
    for paper in papers:
        for legend in (True, False):
            sheet = _sheet(diagram, paper, legend)
            scale = fitting_scale(sheet.room, width, height)
            if scale >= look.least_scale:
                return replace(sheet, scale=scale)
    return _cut_to_size(diagram, width, height, papers)


def fitting_scale(room: Rect, width: float, height: float) -> float:
    """The largest scale, in steps of 0.05, at which the diagram fits; 0 when the room is no room."""
    look = read_look()
    if room.width <= 0 or room.height <= 0:
        return 0.0
    fits = min(room.width / max(width, 1.0), room.height / max(height, 1.0), look.most_scale)
    return math.floor(fits * 20 + 1e-9) / 20


def _cut_to_size(diagram: Diagram, width: float, height: float, papers: Sequence[Paper]) -> Sheet:
    look = read_look()
    around = 2 * (look.margin + look.clearance)
    paper = Paper(
        "cut to size", max([width + around, *(each.width for each in papers[-1:])]), height + around
    )
    strip = _sheet(diagram, paper, legend=True)
    used = strip.frame.height - strip.room.height - 2 * look.clearance
    paper = replace(paper, width=math.ceil(paper.width), height=math.ceil(height + around + used + 1))
    return replace(_sheet(diagram, paper, legend=True), scale=1.0)


def _sheet(diagram: Diagram, paper: Paper, legend: bool) -> Sheet:
    look = read_look()
    frame = Rect(0, 0, paper.width, paper.height).grown(-look.margin)
    block_top = frame.bottom - sum(row.height for row in look.title_block_rows)
    block = Rect(frame.right - look.title_block_width, block_top, frame.right, frame.bottom)
    texts, rules = _title_block(diagram.title_block, block, paper, look)
    free = Rect(frame.left + look.gutter, 0, block.left - look.gutter, frame.bottom - look.gutter)
    notes = _notes(diagram.notes, 0.38 * free.width if legend else free.width, look)
    notes_width = block_width(notes) + look.gutter if notes else 0.0
    symbols: tuple[PlacedSymbol, ...] = ()
    top = free.bottom - block_height(notes)
    if legend:
        area = Rect(free.left + notes_width + (look.gutter if notes else 0.0), 0, free.right, free.bottom)
        symbols, words, top_of_legend = _legend(diagram, area, look)
        texts += words
        top = min(top, top_of_legend)
    room = Rect(frame.left, frame.top, frame.right, min(block.top, top - look.gutter / 2))
    texts += stack(notes, free.left, room.bottom + look.gutter / 2, tag="notes")
    rules += (Rule((frame.left, room.bottom), (frame.right, room.bottom), look.line["thin"]),)
    if room.bottom < block.top:  # the block closes itself below the common line
        rules += (Rule((block.left, room.bottom), (block.left, block.top), look.line["medium"]),)
        stamp = Line(STAMP_TEXT, look.text["field"], role="field")
        if block.top - room.bottom > 4 * stamp.size:
            texts += stack((stamp,), block.left + 1.2, room.bottom + 0.6)
    room = room.grown(-look.clearance)
    if diagram.title_block.draft:
        text = place_line(
            Line(DRAFT_TEXT, look.text["draft"], True, "draft"),
            (frame.left + frame.right) / 2,
            frame.top + look.text["draft"] * 1.4,
            "middle",
        )
        texts += (text,)
        room = Rect(room.left, text.box.bottom + look.clearance, room.right, room.bottom)
    return Sheet(paper, frame, room, 1.0, symbols, texts, rules)


def _title_block(
    block: TitleBlock, area: Rect, paper: Paper, look: Look
) -> tuple[tuple[Text, ...], tuple[Rule, ...]]:
    texts: list[Text] = []
    rules = [
        Rule((area.left, area.top), (area.right, area.top), look.line["medium"]),
        Rule((area.left, area.top), (area.left, area.bottom), look.line["medium"]),
    ]
    top = area.top
    for number, row in enumerate(look.title_block_rows):
        if number:
            rules.append(Rule((area.left, top), (area.right, top), look.line["thin"]))
        left = area.left
        for position, cell in enumerate(row.cells):
            width = cell.share * area.width
            if position:
                rules.append(Rule((left, top), (left, top + row.height), look.line["thin"]))
            name = Line(cell.name, look.text["field"], role="field")
            texts += stack((name,), left + 1.2, top + 0.6)
            value = paper.name if cell.field == "paper" else str(getattr(block, cell.field))
            size = look.text["title" if number == 0 else "value"]
            room = row.height - block_height((name,)) - 0.8
            lines = _fitted(value, size, width - 2.4, room, bold=number == 0)
            texts += stack(lines, left + 1.2, top + 0.6 + block_height((name,)))
            left += width
        top += row.height
    return tuple(texts), tuple(rules)


def _fitted(value: str, size: float, width: float, height: float, bold: bool) -> tuple[Line, ...]:
    """The text in a field: in smaller letters when it is long, cut when even those are too big."""
    least = read_look().least_text
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


def _notes(notes: tuple[str, ...], width: float, look: Look) -> tuple[Line, ...]:
    size = look.text["note"]
    lines = []
    for number, note in enumerate(notes, 1):
        lead = f"{number}. "
        lines += [
            Line(lead + text if row == 0 else text, size, role="note")
            for row, text in enumerate(wrap(note, size, max(width - text_width(lead, size), 20.0)))
        ]
    heading = (Line("Notes", size, True, "note"),) if lines else ()
    return (*heading, *lines)


def _legend(
    diagram: Diagram, area: Rect, look: Look
) -> tuple[tuple[PlacedSymbol, ...], tuple[Text, ...], float]:
    """The symbols in use with their words, in as few rows as the width allows; the top of it all."""
    used = sorted({device.symbol for device in diagram.devices})
    entries = sorted((read_symbols()[name] for name in used), key=lambda symbol: symbol.words)
    size = look.text["legend"]
    heading = Line("Symbols", size, True, "legend")
    for rows in range(1, len(entries) + 1):
        columns = [entries[start : start + rows] for start in range(0, len(entries), rows)]
        reaches = [look.legend_scale * max(symbol.width for symbol in column) + 1.5 for column in columns]
        words = [max(text_width(symbol.words, size) for symbol in column) for column in columns]
        if sum(reaches) + sum(words) + (len(columns) - 1) * look.gutter <= area.width:
            break
    else:
        return (), (), -math.inf if entries else math.inf
    heights = [
        max(
            size * 1.3,
            *(look.legend_scale * column[row].height + 1.2 for column in columns if row < len(column)),
        )
        for row in range(rows)
    ]
    top = area.bottom - sum(heights) - block_height((heading,))
    texts = [*stack((heading,), area.left, top)]
    symbols = []
    x = area.left
    for column, reach, width in zip(columns, reaches, words, strict=True):
        y = top + block_height((heading,))
        for symbol, height in zip(column, heights, strict=False):
            middle = y + height / 2
            symbols.append(_small(symbol, x + (reach - 1.5 - look.legend_scale * symbol.width) / 2, middle))
            texts.append(place_line(Line(symbol.words, size, role="legend"), x + reach, middle + size * 0.34))
            y += height
        x += reach + width + look.gutter
    return tuple(symbols), tuple(texts), top


def _small(symbol: Symbol, x: float, middle: float) -> PlacedSymbol:
    scale = read_look().legend_scale
    y = middle - scale * symbol.height / 2
    box = Rect(x, y, x + scale * symbol.width, y + scale * symbol.height)
    return PlacedSymbol("", symbol.name, symbol.words, x, y, scale, box, symbol.body)
