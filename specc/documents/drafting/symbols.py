"""The symbol files: size, connection points and drawing of each.

A symbol file is an SVG with its size in millimetres as viewBox, a title (the words of the legend) and a
metadata element with JSON: ``axis`` is the height of its main line from the top, ``ports`` its connection
points (name, x, y, side that the wire leaves to, kinds of link it takes, role "in", "out" or "either").

The shapes follow IEC 60617, IEEE 315, ISO 14617 and ISO 1219-1 as named in each file: from memory, not
compared with the pages of the standards.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal
from xml.etree import ElementTree

from specc.plain_svg import SHAPES, svg_fault
from specc.templates import BUILT_IN, MOST_TIMES, TemplateProblem, names_in, per_templates, templates

Side = Literal["left", "right", "top", "bottom"]
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Port:
    """A connection point, mm from the upper left corner of the symbol."""

    name: str
    x: float
    y: float
    side: Side
    kinds: tuple[str, ...]
    role: Literal["in", "out", "either"]


@dataclass(frozen=True)
class Symbol:
    """A graphic symbol; ``body`` is the SVG text to draw it."""

    name: str
    words: str
    width: float
    height: float
    axis: float
    ports: tuple[Port, ...]
    body: str


@per_templates
def read_symbols() -> Mapping[str, Symbol]:
    """All symbols in templates/symbols, by name. Raises TemplateProblem for one that will not do."""
    return MappingProxyType({name: _read_symbol(name) for name in names_in("symbols", ".svg")})


def _read_symbol(name: str) -> Symbol:
    file = f"symbols/{name}.svg"
    if file not in templates().own:
        return parse_symbol(name, BUILT_IN.text(file))
    text, place = templates().text(file), templates().place(file)
    if (fault := svg_fault(text.encode("utf-8"), SHAPES)) is not None:
        raise TemplateProblem(place, fault.line, f"{fault.says}.")
    try:
        symbol = parse_symbol(name, text)
    except json.JSONDecodeError as error:
        raise TemplateProblem(place, None, f"its metadata is not JSON: {error}.") from None
    except KeyError as error:
        raise TemplateProblem(
            place, None, f"it lacks {error.args[0]!r}; see the package's own file."
        ) from None
    except (ValueError, TypeError) as error:
        raise TemplateProblem(place, None, f"{error}.") from None
    ours = parse_symbol(name, BUILT_IN.text(file))
    if {(port.name, port.side) for port in symbol.ports} != {(port.name, port.side) for port in ours.ports}:
        wanted = ", ".join(f"{port.name} to the {port.side}" for port in ours.ports)
        raise TemplateProblem(place, None, f"its ports must be those of the package's symbol: {wanted}.")
    if not 0 < symbol.width <= MOST_TIMES * ours.width or not 0 < symbol.height <= MOST_TIMES * ours.height:
        raise TemplateProblem(
            place, None, f"its viewBox is no size in mm like {ours.width:g} by {ours.height:g}."
        )
    return symbol


def parse_symbol(name: str, svg: str) -> Symbol:
    """One symbol file. Raises KeyError, ValueError or ParseError when it is not as described above."""
    root = ElementTree.fromstring(svg)
    left, top, width, height = (float(part) for part in root.attrib["viewBox"].split())
    if (left, top) != (0, 0):
        raise ValueError(f"symbol {name}: the viewBox must begin at 0 0")
    meta = json.loads(root.findtext(f"{SVG}metadata", ""))
    ports = tuple(Port(**{**port, "kinds": tuple(port["kinds"])}) for port in meta["ports"])
    body = svg.partition("</metadata>")[2].rpartition("</svg>")[0].strip()
    return Symbol(name, root.findtext(f"{SVG}title", ""), width, height, float(meta["axis"]), ports, body)
