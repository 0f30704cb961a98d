"""What to say of a part that is not in the catalogue, or not of the kind that is wanted where it stands."""

from __future__ import annotations

import re

from specc.diagnostics import Finding, Span, reading_error
from specc.reading.catalog import Catalog
from specc.reading.guesses import word_of_parts
from specc.reading.parts import Fitting, Part
from specc.reading.quantities import AUTO
from specc.reading.spec import AUTO_PARTS, PARTS_OF_TABLE
from specc.reading.suggest import nearest
from specc.units import shortened

_MOST = 3  # suggestions
_WATER = frozenset({"valve", "filter", "gauge", "pipe", "tank"})  # kinds among which a fitting is looked for
_WORD = re.compile(r"[a-z]+|\d+(?:\.\d+)?[a-z]*")
_SHORTEST_START = 3  # letters of which a word may be the beginning of another
# Kinds of part that have no table of their own: where they are named.
_ELSEWHERE = {
    "fuse_holder": 'name it in a [[fuses]]: holder = "{id}"',
    "wire": 'name it in a [[runs]]: wire = "{id}"',
    "sundry": "it is bought as it is needed, and is not written in the spec",
}


def unknown_part(part_id: str, kinds: tuple[str, ...], catalog: Catalog, span: Span) -> Finding:
    """The finding for an id that no catalogue has."""
    said = f'There is no {_either(kinds)} "{shortened(part_id)}" in any catalogue.'
    search = f"`specc parts --kind {kinds[0]}` lists what there is"
    if part_id == AUTO:
        said = f'"{AUTO}" cannot stand for a part of the kind {_either(kinds)}; in these tables it can: '
        said += f"{', '.join(AUTO_PARTS)}."
        fix = f"write the id of a part; {search}"
    elif fittings := _fittings(part_id, kinds, catalog):
        are = "are fittings" if fittings[1:] else "is a fitting"
        said += f" {_listed(fittings, 'and')} {are}, without a tag."
        fix = _as_fitting(fittings)
    elif near := nearest(part_id, catalog.ids(*kinds), _MOST) or _of_like_words(part_id, kinds, catalog):
        fix = f"write {_listed(near, 'or')}; {search}"
    else:
        said += " Nothing there is like it."
        fix = f"write one that is listed, or add the part to a catalogue of your own; {search}"
    return reading_error("spec.unknown-part", said, span, fix=_sentence(fix), actual=shortened(part_id))


def of_another_kind(part: Part, kinds: tuple[str, ...], catalog: Catalog, span: Span) -> Finding:
    """The finding for a part that exists and does not belong where it stands."""
    ways = [home] if (home := _home_of(part)) else []
    if near := nearest(part.id, catalog.ids(*kinds), _MOST):
        ways.append(f"write {_listed(near, 'or')}")
    ways = ways or [f"write a part of the kind {_either(kinds)}; `specc parts --kind {kinds[0]}` lists them"]
    return reading_error(
        "spec.unknown-part",
        f'"{part.id}" is of the kind {_kind(part)}; here stands a part of the kind {_either(kinds)}.',
        span,
        fix=_sentence("; or ".join(ways)),
        actual=part.id,
    )


def _home_of(part: Part) -> str:
    """Where a part of another kind belongs; "" where nowhere."""
    if isinstance(part, Fitting):
        return _as_fitting([part.fitting])
    kind = getattr(part, "kind", "")
    if kind in _ELSEWHERE:
        return _ELSEWHERE[kind].format(id=part.id)
    table = next((table for table, kinds in PARTS_OF_TABLE.items() if kind in kinds), None)
    return f"write it in a table [[{table}]]" if table else ""


def _as_fitting(names: list[str]) -> str:
    lists = " or ".join(f'fittings = ["{name}"]' for name in names)
    return f"write it among the fittings of a [[pipes]]: {lists}"


def _fittings(part_id: str, kinds: tuple[str, ...], catalog: Catalog) -> list[str]:
    """The fittings that the words of an id begin with: "tee run" and "tee branch" for "tee-1".

    None where a part that is wanted begins so too: a gate valve may be either, and a part it is here.
    """
    given = _words(part_id)
    if not given or not _WATER.intersection(kinds):
        return []
    parts = [_words(each) for each in catalog.ids(*kinds)]
    names = sorted({part.fitting for part in catalog.parts("fitting") if isinstance(part, Fitting)})
    for shared in (*(len(_words(name)) for name in sorted(names, key=len, reverse=True)), 1):
        begun = [n for n in names if len(_words(n)) >= shared and _words(n)[:shared] == given[:shared]]
        if begun:
            return [] if any(words[:shared] == given[:shared] for words in parts) else begun[:_MOST]
    return []


def _of_like_words(part_id: str, kinds: tuple[str, ...], catalog: Catalog) -> list[str]:
    """The parts of these kinds that share most words, or beginnings of words, with what was written."""
    wanted = {word_of_parts(word) for word in _words(part_id) if len(word) > 1 or word.isdigit()}
    ranked = []
    for part in catalog.parts(*kinds):
        there = _words(f"{part.id} {part.name}")
        shared = sum(any(_alike(each, word) for each in there) for word in wanted)
        if shared:
            ranked.append((-shared, part.id))
    best = min(ranked, default=(0, ""))[0]
    return [part_id for shared, part_id in sorted(ranked) if shared == best][:_MOST]


def _alike(word: str, other: str) -> bool:
    shorter, longer = sorted((word, other), key=len)
    return shorter == longer or (
        len(shorter) >= _SHORTEST_START and shorter.isalpha() and longer.startswith(shorter)
    )


def _words(text: str) -> list[str]:
    return _WORD.findall(text.casefold())


def _kind(part: Part) -> str:
    return str(getattr(part, "kind", "part")).replace("_", " ")


def _either(kinds: tuple[str, ...]) -> str:
    return " or ".join(kind.replace("_", " ") for kind in kinds)


def _listed(words: list[str], last: str) -> str:
    quoted = [f'"{word}"' for word in words]
    return f"{', '.join(quoted[:-1])} {last} {quoted[-1]}" if quoted[1:] else quoted[0]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
