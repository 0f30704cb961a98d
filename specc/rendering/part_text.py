"""One catalogue part whole, as text for a terminal: ratings, terminals, inner joins, what it needs, pack."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

_HEAD = ("id", "name", "price")
_BUYING = ("sold_as", "pack_length", "pack_count", "also_sold", "buy_with", "weight", "needs", "holder")
_INSIDE = ("terminals", "wire", "poles", "ports", "joined")
_LISTS = {"table": "Data sheet", "sizes": "Sizes"}  # rows of like things: a table of their own
_SMALL = {"dc": "DC", "ac": "AC", "npsh": "NPSH", "noct": "NOCT", "pv": "PV", "ip": "IP", "id": "id"}
_INDENT = "  "


def part_text(
    kind: str,
    data: Mapping[str, Any],
    named: Callable[[str], tuple[str, float | None] | None],
    width: int = 80,
) -> str:
    """The part as its catalogue table has it, every value with the unit that stands there.

    data: the table as written
    named: gives name and price of another part by its id, or None
    """
    price = f"  {data['price']:.2f}" if data.get("price") is not None else ""
    lines = [f"{data['id']}  ({kind.replace('_', ' ')}){price}", *_wrapped(str(data.get("name", "")), width)]
    known = {*_HEAD, *_BUYING, *_INSIDE, *_LISTS, "note"}
    lines += _section("Ratings", _values((k, v) for k, v in data.items() if k not in known), width)
    for key, title in _LISTS.items():
        if key in data:
            lines += ["", title, *_table(data[key], width)]
    if data.get("terminals"):
        lines += ["", "Terminals", *_table(list(_terminals(data)), width)]
    lines += _section("Inside", list(_inside(data)), width)
    lines += _section("To buy", list(_buying(data, named)), width)
    if data.get("note"):
        lines += ["", "Note", *_wrapped(str(data["note"]), width)]
    return "\n".join(lines)


# -- what stands under each heading ----------------------------------------------------------------


def _values(pairs: Iterable[tuple[str, Any]], before: str = "") -> list[tuple[str, str]]:
    """Keys as words, with their values; tables within by their own keys."""
    found: list[tuple[str, str]] = []
    for key, value in pairs:
        name = f"{before}{_words(key)}"
        if isinstance(value, Mapping):
            found += _values(value.items(), f"{name}, ")
        else:
            found.append((name, _shown(value)))
    return found


def _terminals(data: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """One row a terminal: name, mark, role, and what goes into it."""
    for terminal in data["terminals"]:
        takes = terminal.get("wire", data.get("wire", {}))
        smallest, largest = takes.get("smallest"), takes.get("largest")
        yield {
            "terminal": terminal["name"],
            "marked": terminal.get("marked", ""),
            "role": terminal.get("role", "power"),
            "wire": f"{smallest} to {largest}" if smallest and largest else "not stated",
            "each": takes.get("conductors", 1 if takes else ""),
            "rated": takes.get("temperature", ""),
            "torque": takes.get("torque", ""),
            "strip": takes.get("strip", "stud" if takes.get("stud") else ""),
            "strands": ", ".join(takes.get("strands", ())),
            "metals": ", ".join(takes.get("metals", ())),
        }


def _inside(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for joined in data.get("joined", ()):
        yield "joined for good", " and ".join(joined)
    for pole in data.get("poles", ()):
        yield "pole", f"{' to '.join(pole['between'])}, closes {pole.get('closes', 'by hand')}"
    for port in data.get("ports", ()):
        yield f"port {port['name']}", f"{port['does']} energy by {port['plus']} and {port['minus']}"


def _buying(
    data: Mapping[str, Any], named: Callable[[str], tuple[str, float | None] | None]
) -> Iterator[tuple[str, str]]:
    yield "sold as", _pack(data)
    for other in data.get("also_sold", ()):
        yield "or as", f"{_pack(other)}, {other['price']:.2f}"
    yield "bought with", str(data.get("buy_with", "electrical"))
    if "weight" in data:
        yield "weight", str(data["weight"])
    for part_id in dict.fromkeys((*data.get("needs", ()), *filter(None, [data.get("holder")]))):
        found = named(part_id)
        price = f", {found[1]:.2f}" if found and found[1] is not None else ""
        yield "needs beside it", f"{part_id} ({found[0]}{price})" if found else part_id


def _pack(data: Mapping[str, Any]) -> str:
    sold, count = data.get("sold_as", "each"), data.get("pack_count", 1)
    if data.get("pack_length"):
        return f"{sold} of {data['pack_length']}"
    return f"{sold} of {count}" if count > 1 else str(sold)


# -- words and lines -------------------------------------------------------------------------------


def _words(key: str) -> str:
    return " ".join(_SMALL.get(word, word) for word in key.split("_"))


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in value) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _wrapped(text: str, width: int, indent: str = _INDENT) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _section(title: str, pairs: Sequence[tuple[str, str]], width: int) -> list[str]:
    """Words in a column, values beside them; nothing where there are none."""
    if not pairs:
        return []
    column = min(max(len(name) for name, _ in pairs), 34)
    lines = ["", title]
    for name, value in pairs:
        head = f"{_INDENT}{name:<{column}}  "
        if len(name) > column:
            lines.append(f"{_INDENT}{name}")
            head = " " * (len(_INDENT) + column + 2)
        rest = " " * (len(_INDENT) + column + 2)
        lines += textwrap.wrap(
            value,
            width,
            initial_indent=head,
            subsequent_indent=rest,
            break_on_hyphens=False,
            drop_whitespace=True,
        ) or [head.rstrip()]
    return lines


def _table(rows: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    """Rows in columns; what is alike in all rows is said once below, so that the rest keeps its room."""
    keys = list(dict.fromkeys(k for row in rows for k in row))
    texts = {key: [_cell(key, row.get(key, "")) for row in rows] for key in keys}
    told = [key for key in keys if any(texts[key])]
    alike = [key for key in told[1:] if len(rows) > 1 and len(set(texts[key])) == 1]
    columns = [key for key in told if key not in alike]
    widths = {key: max(len(_words(key)), *map(len, texts[key])) for key in columns}
    while len(columns) > 2 and sum(widths[key] + 2 for key in columns) + len(_INDENT) > width:
        alike.append(columns.pop())  # too wide: said row by row below
    lines = [_INDENT + "  ".join(f"{_words(key):<{widths[key]}}" for key in columns).rstrip()]
    lines += [
        _INDENT + "  ".join(f"{texts[key][n]:<{widths[key]}}" for key in columns).rstrip()
        for n in range(len(rows))
    ]
    for key in alike:
        lines += _wrapped(f"{_words(key)}: {_by_value(texts[told[0]], texts[key])}", width)
    return lines


def _by_value(names: Sequence[str], values: Sequence[str]) -> str:
    """Values with the names that have them: "10 mm (pv+, pv-), 7 mm (remote1)"; one for all by itself."""
    having: dict[str, list[str]] = {}
    for name, value in zip(names, values, strict=True):
        having.setdefault(value, []).append(name)
    if len(having) == 1:
        return next(iter(having))
    return ", ".join(f"{value} ({', '.join(of)})" for value, of in having.items() if value)


def _cell(key: str, value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return " or ".join(f"{_pack(item)} {item['price']:.2f}" for item in value)
    return f"{value:.2f}" if key == "price" and value != "" else _shown(value)
