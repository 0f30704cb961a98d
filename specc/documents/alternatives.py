"""Parts that would do as well: alike in all that the job rests on, and rated no lower.

The sizes that a terminal takes are left to the checks, which say by name what does not enter.
"""

from __future__ import annotations

from typing import Any

# Ratings of which more does no harm, and marks that may be there without being needed.
_NO_LOWER = frozenset(
    {
        "ac_current",
        "ac_voltage",
        "breaking_capacity",
        "current",
        "dc_current",
        "dc_voltage",
        "double_insulated",
        "drinking_water",
        "hottest_ambient",
        "load_break",
        "lockable",
        "pressure",
        "pv_listed",
        "voltage",
    }
)
# What says nothing of whether a part fits.
_NO_MATTER = frozenset(
    {
        "buy_with",
        "id",
        "loss",
        "name",
        "needs",
        "note",
        "pack_count",
        "pack_length",
        "price",
        "rail_width",
        "sold_as",
        "weight",
        "wire",
    }
)
# Kinds that are chosen by their ratings alone.
_KINDS = frozenset(
    {"breaker", "enclosure", "fuse", "fuse_holder", "gauge", "isolator", "switch", "terminal_block", "valve"}
)


def alternatives(catalog: Any, part: Any) -> tuple[Any, ...]:
    """The next cheaper and the next dearer part that would do as well; none where a price is missing."""
    if part.kind not in _KINDS or part.price is None:
        return ()
    fitting = [
        other
        for other in catalog.parts(part.kind)
        if other.id != part.id and other.price is not None and would_do(part, other)
    ]
    cheaper = [other for other in fitting if _unit_price(other) < _unit_price(part)]
    dearer = [other for other in fitting if _unit_price(other) >= _unit_price(part)]
    chosen = [max(cheaper, key=_rank)] if cheaper else []
    return (*chosen, *([min(dearer, key=_rank)] if dearer else []))


def would_do(part: Any, other: Any) -> bool:
    """Is the other part alike in all that matters, with no rating lower and none missing?"""
    if type(part) is not type(other):
        return False
    return all(
        _no_lower(getattr(part, name), getattr(other, name))
        if name in _NO_LOWER
        else _alike(part, other, name)
        for name in type(part).model_fields
        if name not in _NO_MATTER
    )


def _alike(part: Any, other: Any, name: str) -> bool:
    own, others = getattr(part, name), getattr(other, name)
    if name == "terminals":
        return [_connection(t) for t in own] == [_connection(t) for t in others]
    return bool(own == others)


def _connection(terminal: Any) -> tuple[str, str, str]:
    return terminal.name, terminal.marked, terminal.role


def _no_lower(own: Any, other: Any) -> bool:
    return own is None or (other is not None and other >= own)


def _unit_price(part: Any) -> float:
    return float(part.price) / int(part.pack_count)


def _rank(part: Any) -> tuple[float, str]:
    return _unit_price(part), part.id
