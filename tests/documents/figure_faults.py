"""What must hold on every figure, checked on the shapes alone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

from specc.documents.figures import Figure
from specc.documents.shapes import Rect

HAIR = 0.02


def figure_faults(figure: Figure) -> list[str]:
    """Every text on another text or on a symbol, and everything off the paper or without a place."""
    return [*_texts_on_texts(figure), *_off_the_paper(figure), *_nowhere(figure)]


def _texts_on_texts(figure: Figure) -> Iterator[str]:
    for one, other in combinations(figure.texts, 2):
        if one.box.grown(-HAIR).overlaps(other.box):
            yield f"text {one.content!r} on {other.content!r}"
    for text in figure.texts:
        for symbol in figure.symbols:
            if text.box.grown(-HAIR).overlaps(symbol.box):
                yield f"text {text.content!r} on symbol {symbol.symbol}"


def _off_the_paper(figure: Figure) -> Iterator[str]:
    paper = Rect(0.0, 0.0, figure.width, figure.height).grown(HAIR)
    for text in figure.texts:
        if not paper.contains(text.box):
            yield f"text off the paper: {text.content}"
    for trace in figure.traces:
        for x, y in trace.points:
            if not paper.contains(Rect(x, y, x, y)):
                yield f"{trace.role} off the paper: {trace.words}"


def _nowhere(figure: Figure) -> Iterator[str]:
    for trace in figure.traces:
        if not all(math.isfinite(v) for point in trace.points for v in point):
            yield f"{trace.role} has no place: {trace.words}"
