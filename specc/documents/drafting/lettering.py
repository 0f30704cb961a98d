"""Measuring and breaking lines of text, from the advance widths of the shipped font."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from specc.documents.drafting.look import read_look
from specc.documents.shapes import Anchor, Rect, Text
from specc.resources import templates_dir

SLACK = 1.01  # kerning differs a little from the bare advance widths


@dataclass(frozen=True)
class Metrics:
    """Advance widths in text sizes, by face and character; ascent and descent in text sizes."""

    ascent: float
    descent: float
    faces: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Line:
    """A line of a text block, before it is placed."""

    content: str
    size: float
    bold: bool = False
    role: str = "caption"

    @property
    def width(self) -> float:
        """Measured width, mm."""
        return text_width(self.content, self.size, self.bold)


@cache
def read_metrics() -> Metrics:
    """The widths in templates/fonts/widths.json (runs of characters, in font units)."""
    data = json.loads((templates_dir() / "fonts" / "widths.json").read_text(encoding="utf-8"))
    em = data["units_per_em"]
    faces = {
        face: {
            chr(int(first, 16) + step): width / em
            for first, widths in runs.items()
            for step, width in enumerate(widths)
        }
        for face, runs in data["faces"].items()
    }
    return Metrics(data["ascent"] / em, data["descent"] / em, faces)


@lru_cache(maxsize=16384)
def text_width(content: str, size: float, bold: bool = False) -> float:
    """Width of a line, mm. A character that the font lacks counts as a full square."""
    widths = read_metrics().faces["bold" if bold else "regular"]
    return sum(widths.get(character, 1.0) for character in content) * size * SLACK


@lru_cache(maxsize=4096)
def wrap(content: str, size: float, width: float, bold: bool = False) -> tuple[str, ...]:
    """The text broken at spaces into lines no wider than ``width`` mm; a longer word is cut.

    A number stays with the unit behind it where both fit a line.
    """
    lines: list[str] = []
    current = ""
    for word in _fitting_words(content, size, width, bold):
        longer = f"{current} {word}" if current else word
        if text_width(longer, size, bold) <= width:
            current = longer
        else:
            lines.append(current)
            current = word
    return (*lines, current) if current else tuple(lines)


def _fitting_words(content: str, size: float, width: float, bold: bool) -> list[str]:
    words: list[str] = []
    for word in _with_units(content.split(), size, width, bold):
        piece = ""
        for character in word:
            if piece and text_width(piece + character, size, bold) > width:
                words.append(piece)
                piece = ""
            piece += character
        words.append(piece)
    return words


def _with_units(words: list[str], size: float, width: float, bold: bool) -> list[str]:
    """The words, with a number and the unit behind it as one."""
    glued: list[str] = []
    for word in words:
        if glued and _NUMBER.fullmatch(glued[-1]) and _UNIT.fullmatch(word):
            both = f"{glued[-1]} {word}"
            if text_width(both, size, bold) <= width:
                glued[-1] = both
                continue
        glued.append(word)
    return glued


_NUMBER = re.compile(r"[-\N{MINUS SIGN}]?\d[\d.,/-]*")
_UNIT = re.compile(r"[^\W\d_][\w/\N{DEGREE SIGN}%]{0,5}[,;.)]?")


def lines_of(
    content: str, size: float, width: float, bold: bool = False, role: str = "caption"
) -> tuple[Line, ...]:
    """The wrapped lines of a text, ready to be stacked."""
    return tuple(Line(line, size, bold, role) for line in wrap(content, size, width, bold))


def block_height(lines: tuple[Line, ...]) -> float:
    """Height of lines stacked at the usual pitch, mm."""
    return sum(line.size for line in lines) * read_look().line_pitch


def block_width(lines: tuple[Line, ...]) -> float:
    """Width of the widest line, mm."""
    return max((line.width for line in lines), default=0.0)


def place_line(line: Line, x: float, y: float, anchor: Anchor = "start", tag: str = "") -> Text:
    """The line with its anchor point on the baseline at x, y, and its measured box."""
    metrics = read_metrics()
    left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * line.width
    box = Rect(left, y - metrics.ascent * line.size, left + line.width, y + metrics.descent * line.size)
    return Text(line.content, x, y, line.size, anchor, line.bold, box, tag, line.role)


def stack(
    lines: tuple[Line, ...], x: float, top: float, anchor: Anchor = "start", tag: str = ""
) -> tuple[Text, ...]:
    """The lines placed one below the other, the first just below ``top``."""
    pitch = read_look().line_pitch
    texts = []
    for line in lines:
        texts.append(place_line(line, x, top + 0.945 * line.size, anchor, tag))
        top += line.size * pitch
    return tuple(texts)
