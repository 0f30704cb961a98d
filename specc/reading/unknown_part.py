"""What to say of a part that is not in the catalogue: what is near by, of the kind that is wanted."""

from __future__ import annotations

import re

from specc.diagnostics import Finding, Span, reading_error
from specc.reading.catalog import Catalog
from specc.reading.parts import Fitting, Part
from specc.reading.spec import PARTS_OF_TABLE
from specc.reading.suggest import nearest

_MOST = 3  # suggestions
_WATER = frozenset({"valve", "filter", "gauge", "pipe", "tank"})  # kinds among which a fitting is looked for
_WORD = re.compile(r"[a-z]+|\d+(?:\.\d+)?[a-z]*")
# Kinds of part that have no table of their own: where they are named.
_ELSEWHERE = {
    "fuse_holder": 'name it in a [[fuses]]: holder = "{id}"',
    "wire": 'name it in a [[runs]]: wire = "{id}"',
    "sundry": "it is bought as it is needed, and is not written in the spec",
}


def home_of(part: Part) -> str:
    """Where a part of another kind belongs; "" where nowhere."""
    if isinstance(part, Fitting):
        return _as_fitting(part.fitting)
    kind = getattr(part, "kind", "")
    if kind in _ELSEWHERE:
        return _ELSEWHERE[kind].format(id=part.id)
    table = next((table for table, kinds in PARTS_OF_TABLE.items() if kind in kinds), None)
    return f"write it in a table [[{table}]]" if table else ""


def unknown_part(part_id: str, kinds: tuple[str, ...], catalog: Catalog, span: Span) -> Finding:
    """The finding for an id that no catalogue has."""
    words = " or ".join(kind.replace("_", " ") for kind in kinds)
    said = f'There is no {words} "{part_id}" in any catalogue.'
    if fitting := _fitting(part_id, catalog) if _WATER.intersection(kinds) else "":
        return reading_error(
            "spec.unknown-part",
            f'{said} A "{fitting}" is a fitting: it has no tag, and counts with the pipe on which it sits.',
            span,
            fix=f"{_as_fitting(fitting)}.".capitalize(),
            actual=part_id,
        )
    near = nearest(part_id, catalog.ids(*kinds), _MOST) or _of_like_words(part_id, kinds, catalog)
    search = f"`specc parts --kind {kinds[0]}` lists what there is"
    return reading_error(
        "spec.unknown-part",
        f"{said} Nearest: {', '.join(near)}." if near else f"{said} Nothing there is like it; {search}.",
        span,
        fix=f"Write one of: {', '.join(near)}; {search}."
        if near
        else "Write one that is listed, or add the part to a catalogue of your own.",
        actual=part_id,
    )


def _as_fitting(name: str) -> str:
    return f'write it among the fittings of a pipe: fittings = ["{name}"] in [[pipes]]'


def _fitting(part_id: str, catalog: Catalog) -> str:
    """The fitting that the words of an id name: "tee run" for "tee-1"; "" where they name none."""
    given = _words(part_id)
    names = sorted({part.fitting for part in catalog.parts("fitting") if isinstance(part, Fitting)})
    whole = [name for name in names if given[: len(_words(name))] == _words(name)]
    begun = [name for name in names if given[:1] == _words(name)[:1]]
    return max(whole, key=len) if whole else begun[0] if begun else ""


def _of_like_words(part_id: str, kinds: tuple[str, ...], catalog: Catalog) -> list[str]:
    """The parts of these kinds that share most words, or beginnings of words, with what was written."""
    wanted = set(_words(part_id))
    ranked = []
    for part in catalog.parts(*kinds):
        there = _words(f"{part.id} {part.name}")
        shared = sum(any(each.startswith(word) or word.startswith(each) for each in there) for word in wanted)
        if shared:
            ranked.append((-shared, part.id))
    best = min(ranked, default=(0, ""))[0]
    return [part_id for shared, part_id in sorted(ranked) if shared == best][:_MOST]


def _words(text: str) -> list[str]:
    return _WORD.findall(text.casefold())
