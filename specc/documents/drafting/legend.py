"""The legend of a sheet: every symbol, line and sign that stands on it, with its words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from specc.documents.diagram import Diagram
from specc.documents.drafting.lettering import Line, place_line, text_width
from specc.documents.drafting.look import Paper, read_look
from specc.documents.drafting.symbols import Symbol, read_symbols
from specc.documents.shapes import PlacedSymbol, Rect, Text

PAD = 0.9  # mm between two entries
ASIDE = 1.5  # mm from an entry to its words
WIRES = ("power", "control", "ground", "signal", "water")


@dataclass(frozen=True)
class Entry:
    """A sample with its words: ``body`` is SVG in mm, drawn at ``scale``."""

    name: str
    words: str
    width: float
    height: float
    body: str
    scale: float = 1.0
    is_line: bool = False

    def on(self, paper: Paper) -> tuple[float, float]:
        """Width and height on a paper, mm."""
        scale = self.scale * paper.enlarged
        return self.width * scale, self.height * scale

    def placed(self, x: float, middle: float, paper: Paper) -> PlacedSymbol:
        """The sample with its left edge at x, around a middle line."""
        width, height = self.on(paper)
        box = Rect(x, middle - height / 2, x + width, middle + height / 2)
        scale = self.scale * paper.enlarged
        return PlacedSymbol("", self.name, self.words, x, box.top, scale, box, self.body)


def entries_of(diagram: Diagram) -> tuple[Entry, ...]:
    """What a diagram has to explain: its symbols by their words, then its lines and signs."""
    used = sorted({device.symbol for device in diagram.devices} & set(read_symbols()))
    symbols = sorted((symbol_entry(read_symbols()[name]) for name in used), key=lambda entry: entry.words)
    kinds = {link.kind for link in diagram.links}
    places = {device.place for device in diagram.devices if device.place}
    outlines = [name for name, there in (("box", diagram.boxes), ("place", places)) if there]
    signs = ["tick"] if any(link.conductors > 1 or link.poles for link in diagram.links) else []
    signs += ["arrow"] if "water" in kinds else []
    signs += ["dot", "jump"] if len(diagram.links) > 1 else []
    return (*symbols, *wire_entries(kinds), *(outline_entry(name) for name in outlines), *sign_entries(signs))


def symbol_entry(symbol: Symbol) -> Entry:
    """A symbol at the size of the legend."""
    scale = read_look().legend_scale
    return Entry(symbol.name, symbol.words, symbol.width, symbol.height, symbol.body, scale)


def wire_entries(kinds: Iterable[str]) -> tuple[Entry, ...]:
    """A sample of each kind of wire."""
    look, kinds = read_look(), set(kinds)
    return tuple(
        _sample(f"{kind} line", look.legend["wire"][kind], 2.0, _line(look.wire[kind]))
        for kind in WIRES
        if kind in kinds
    )


def outline_entry(kind: str) -> Entry:
    """A sample of the dashed line round an enclosure ("box") or a place ("place")."""
    look = read_look()
    style = look.outline[kind]
    shape = (
        f'<rect x="0.2" y="0.2" width="{look.legend_line - 0.4:g}" height="3.6" '
        f'stroke-width="{style["weight"]:g}" stroke-dasharray="{style["dash"]}"/>'
    )
    return _sample(f"{kind} outline", look.legend["outline"][kind], 4.0, shape)


def sign_entries(kinds: Iterable[str]) -> tuple[Entry, ...]:
    """Samples of signs on wires: "tick", "arrow", "onward", "dot", "jump"."""
    look = read_look()
    end, half, weight = look.legend_line, look.legend_line / 2, look.wire["power"]["weight"]
    thin, jump, tick, arrow = look.line["thin"], look.jump, look.tick, look.arrow / 2
    level = f'<path stroke-width="{weight:g}" d="M0 2H{end:g}"/>'
    upright = f'<path stroke-width="{weight:g}" d="M{half:g} 0.2V3.8"/>'
    head = f"{end:g} 2L{end - 2 * arrow:g} {2 - 0.8 * arrow:g}L{end - 2 * arrow:g} {2 + 0.8 * arrow:g}Z"
    shapes = {
        "onward": f'<path stroke-width="{weight:g}" d="M0 2H{end - arrow:g}"/>'
        f'<path fill="#000" stroke="none" d="M{head}"/>',
        "tick": level + f'<path stroke-width="{thin:g}" d="M{half - tick / 2:g} {2 + tick:g}L'
        f'{half + tick / 2:g} {2 - tick:g}"/>',
        "arrow": level + f'<path fill="#000" stroke="none" d="M{half + 1.1 * arrow:g} 2L'
        f'{half - 0.9 * arrow:g} {2 - 0.8 * arrow:g}L{half - 0.9 * arrow:g} {2 + 0.8 * arrow:g}Z"/>',
        "dot": level + upright + f'<circle cx="{half:g}" cy="2" r="{look.dot:g}" fill="#000" stroke="none"/>',
        "jump": upright + f'<path stroke-width="{weight:g}" d="M0 2H{half - jump:g}A{jump:g} {jump:g} 0 0 1 '
        f'{half + jump:g} 2H{end:g}"/>',
    }
    return tuple(_sample(f"{kind} sign", look.legend["mark"][kind], 4.0, shapes[kind]) for kind in kinds)


def _sample(name: str, words: str, height: float, body: str) -> Entry:
    return Entry(name, words, read_look().legend_line, height, f"<g>{body}</g>", is_line=True)


def _line(style: dict[str, object]) -> str:
    dash = f' stroke-dasharray="{style["dash"]}" stroke-linecap="butt"' if style["dash"] else ""
    return f'<path stroke-width="{style["weight"]:g}"{dash} d="M0 1H{read_look().legend_line:g}"/>'


def place_legend(
    entries: Sequence[Entry], area: Rect, paper: Paper
) -> tuple[tuple[PlacedSymbol, ...], tuple[Text, ...], float]:
    """The entries with their words at the foot of an area, in as few rows as its width allows; their top.

    The top is inf where there are none, -inf where they do not fit.
    """
    if not entries:
        return (), (), math.inf
    look = read_look()
    size = look.text["legend"] * paper.enlarged
    # Symbols first; the tall ones share the first rows, so that the rest can stand close.
    entries = sorted(entries, key=lambda entry: (entry.is_line, -max(entry.on(paper)[1] + PAD, size * 1.3)))
    sizes = [entry.on(paper) for entry in entries]
    lengths = [text_width(entry.words, size) for entry in entries]
    most = int((area.width + look.gutter) / (min(lengths) + ASIDE + look.gutter))
    for count in range(min(len(entries), most), 0, -1):
        reaches = [max(width for width, _ in sizes[start::count]) + ASIDE for start in range(count)]
        words = [max(lengths[start::count]) for start in range(count)]
        if sum(reaches) + sum(words) + (count - 1) * look.gutter <= area.width:
            break
    else:
        return (), (), -math.inf
    rows = [entries[start : start + count] for start in range(0, len(entries), count)]
    heights = [max(size * 1.3, max(entry.on(paper)[1] for entry in row) + PAD) for row in rows]
    top = y = area.bottom - sum(heights)
    symbols, texts = [], []
    for row, height in zip(rows, heights, strict=True):
        x, middle = area.left, y + height / 2
        for entry, reach, width in zip(row, reaches, words, strict=False):
            symbols.append(entry.placed(x + (reach - ASIDE - entry.on(paper)[0]) / 2, middle, paper))
            line = Line(entry.words, size, role="legend")
            texts.append(place_line(line, x + reach, middle + size * 0.34))
            x += reach + width + look.gutter
        y += height
    return tuple(symbols), tuple(texts), top
