"""Is an SVG only a picture? Read with a parser that tells line and column; nothing is ever fetched or run."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.parsers import expat

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
XML = "http://www.w3.org/XML/1998/namespace"
# What draws, and what a picture says of itself. Nothing that fetches, runs, moves or repeats.
_SHAPES = (
    "svg g path rect circle ellipse line polyline polygon text tspan title desc metadata defs clipPath mask "
    "linearGradient radialGradient stop"
)
SHAPES = frozenset(_SHAPES.split())
PICTURE = SHAPES | {"style"}  # of a picture that stands for itself, where its style reaches nothing else
DEEPEST = 64
MOST_ELEMENTS = 20_000
OUTSIDE = re.compile(r"@import|url\((?!\s*[\"']?#)|javascript:|\\", re.IGNORECASE)


@dataclass(frozen=True)
class SvgFault:
    """What is wrong with a picture, and where; lines and columns count from 1."""

    line: int
    column: int
    says: str


class _Stop(Exception):
    pass


class _Reader:
    def __init__(self, allowed: frozenset[str]) -> None:
        self.allowed = allowed
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.text
        self.parser.StartDoctypeDeclHandler = lambda *_: self.stop(
            "a picture may not declare a document type"
        )
        self.parser.ProcessingInstructionHandler = lambda *_: self.stop(
            "a picture may not hold instructions to a program"
        )
        self.open: list[str] = []
        self.count = 0
        self.fault: SvgFault | None = None

    def stop(self, says: str) -> None:
        self.fault = SvgFault(self.parser.CurrentLineNumber, self.parser.CurrentColumnNumber + 1, says)
        raise _Stop

    def start(self, full: str, attributes: dict[str, str]) -> None:
        space, _, name = full.rpartition(" ")
        if not self.open and (space, name) != (SVG, "svg"):
            self.stop(f'a picture begins with <svg xmlns="{SVG}">, not with <{name}>')
        self.count += 1
        if self.count > MOST_ELEMENTS or len(self.open) >= DEEPEST:
            self.stop(
                f"this has more than {MOST_ELEMENTS} elements, or goes deeper than {DEEPEST}: simplify it"
            )
        # What a drawing program notes of itself is not drawn.
        if "metadata" not in self.open:
            if space != SVG or name not in self.allowed:
                self.stop(f"a picture may not hold <{name}>; save it as plain SVG, with shapes and text only")
            for key, value in attributes.items():
                self.attribute(key, value)
        self.open.append(name)

    def attribute(self, full: str, value: str) -> None:
        space, _, name = full.rpartition(" ")
        if space not in ("", XLINK, XML):
            return  # what a drawing program notes of itself
        if name.lower().startswith("on"):
            self.stop(f"a picture may not handle events ({name})")
        if name == "href" and not value.startswith("#"):
            self.stop(f"a picture may not refer to {value[:60]!r}")
        if OUTSIDE.search(value):
            self.stop(f"a picture may not refer to anything outside it ({name})")

    def text(self, data: str) -> None:
        if self.open and self.open[-1] == "style" and OUTSIDE.search(data):
            self.stop("the style of a picture may not refer to anything outside it")

    def end(self, _full: str) -> None:
        self.open.pop()


def svg_fault(data: bytes, allowed: frozenset[str] = SHAPES) -> SvgFault | None:
    """The first thing in an SVG that is not a plain picture; None where it is one."""
    reader = _Reader(allowed)
    try:
        reader.parser.Parse(data, True)
    except _Stop:
        return reader.fault
    except expat.ExpatError as error:
        says = f"this is not well-formed: {expat.errors.messages[error.code]}"
        return SvgFault(error.lineno, error.offset + 1, says)
    except (ValueError, UnicodeError, LookupError) as error:
        return SvgFault(1, 1, f"this cannot be read: {error}")
    return None
