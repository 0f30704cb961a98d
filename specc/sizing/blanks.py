"""What a spec leaves open, what may be put there, smallest first, and how it is put there."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from specc.diagnostics import Finding, reading_error
from specc.reading.parts import Part
from specc.reading.quantities import AUTO
from specc.reading.read import Description, Entry, Path
from specc.reading.spec import AUTO_PARTS, PARTS_OF_TABLE
from specc.reading.suggest import nearest
from specc.rulebooks import NotInTable, Rulebook, load_rulebook

MOST_PANELS = 24  # of one array, or in one string; beyond it is no small job

# Table -> the datum by which its parts are larger or smaller. Raceways go by their internal area.
_MEASURES = {
    "controllers": "output_current",
    "disconnects": "dc_current",
    "breakers": "rating",
    "fuses": "rating",
    "pipes": "bore",
}
_WHAT = {
    "controllers": "controller",
    "disconnects": "isolator",
    "breakers": "breaker",
    "fuses": "fuse",
    "raceways": "raceway",
    "pipes": "pipe",
}
_IN_LINE = ("filters", "valves", "gauges")  # pipes that meet on these are one line


@dataclass(frozen=True)
class Candidate:
    """One way to fill a blank: the keys that it gives, and how large it is among its like."""

    shown: str
    measure: float
    values: Mapping[str, Any]
    part: Part | None = None


@dataclass(frozen=True)
class Blank:
    """Something left open in one table, or in several that take one and the same choice."""

    tags: tuple[str, ...]
    what: str
    paths: tuple[Path, ...]  # of the tables
    keys: tuple[str, ...]  # that say "auto" in each
    candidates: tuple[Candidate, ...]

    @property
    def name(self) -> str:
        """How people call it: "S1, S2"."""
        return ", ".join(self.tags)


def blanks(description: Description) -> tuple[tuple[Blank, ...], tuple[Finding, ...]]:
    """Everything that is left open, in the order of the file, and what can have no candidate at all."""
    book = load_rulebook(description.job.rulebook)
    findings: list[Finding] = []
    found = [*_arrays(description), *_sizes(description, book)]
    for table in AUTO_PARTS:
        found += _parts(description, table, book, findings)
    for blank in found:
        if not blank.candidates:
            findings.append(_no_candidate(description, blank))
    found.sort(key=lambda blank: description.span(blank.paths[0]))
    return tuple(found), tuple(findings)


class Filler:
    """Puts choices in place of "auto"; an entry filled once is kept, as the next time most are the same."""

    def __init__(self, description: Description, blanks: Iterable[Blank]) -> None:
        self._description = description
        self._paths: dict[Path, list[Path]] = defaultdict(list)  # of an entry, what is open in it
        for path in (path for blank in blanks for path in blank.paths):
            self._paths[path[:2]].append(path)
        self._kept: dict[tuple[Path, tuple[int, ...]], Entry] = {}

    def fill(self, chosen: Iterable[tuple[Blank, Candidate]]) -> Description:
        """The description with these choices in place of "auto"."""
        at = {path: candidate for blank, candidate in chosen for path in blank.paths}
        changed = {path[0] for path in at}
        entries = {
            table: tuple(self._filled(entry, at) for entry in group) if table in changed else group
            for table, group in self._description.entries.items()
        }
        return replace(self._description, entries=entries)

    def _filled(self, entry: Entry, at: Mapping[Path, Candidate]) -> Entry:
        paths = self._paths.get(entry.path)
        if paths is None:
            return entry
        key = entry.path, tuple(id(at[path]) for path in paths)
        if key not in self._kept:
            self._kept[key] = _filled(entry, at)
        return self._kept[key]


def _filled(entry: Entry, at: Mapping[Path, Candidate]) -> Entry:
    model, part = entry.model, entry.part
    own = at.get(entry.path)
    if own is not None:
        model, part = model.model_copy(update=dict(own.values)), own.part or part
    if entry.table == "runs":
        places = [at.get((*entry.path, "conductors", index)) for index in range(len(model.conductors))]
        if any(places):
            conductors = tuple(
                c if place is None else c.model_copy(update=dict(place.values))
                for c, place in zip(model.conductors, places, strict=True)
            )
            model = model.model_copy(update={"conductors": conductors})
    return replace(entry, model=model, part=part)


# -- panels ----------------------------------------------------------------------------------------


def _arrays(description: Description) -> Iterator[Blank]:
    for entry in description.all("panels"):
        model = entry.model
        keys = tuple(key for key in ("series", "parallel") if getattr(model, key) == AUTO)
        if keys:
            yield Blank((model.tag,), "number of panels", (entry.path,), keys, _layouts(model))


def _layouts(model: Any) -> tuple[Candidate, ...]:
    """Numbers of panels, fewest first; of equal ones the longer strings, which spare copper."""
    each = range(1, MOST_PANELS + 1)
    series = each if model.series == AUTO else (model.series,)
    parallel = each if model.parallel == AUTO else (model.parallel,)
    both = model.series == model.parallel == AUTO
    found = [(s, p) for s in series for p in parallel if not both or s * p <= MOST_PANELS]
    found.sort(key=lambda pair: (pair[0] * pair[1], pair[1]))
    return tuple(
        Candidate(f"{s} in series, {p} in parallel", float(s * p), {"series": s, "parallel": p})
        for s, p in found
    )


# -- wire ------------------------------------------------------------------------------------------


def _sizes(description: Description, book: Rulebook) -> Iterator[Blank]:
    find = description.catalog.find
    for entry in description.all("runs"):
        model = entry.model
        if model.size == AUTO:
            following = [c.wire for c in model.conductors if c.size is None and c.wire]
            wires = [entry.part, *(find(wire) for wire in following)]
            yield Blank((model.tag,), "wire size", (entry.path,), ("size",), _sold(book, wires))
        for index, conductor in enumerate(model.conductors):
            if conductor.size == AUTO:
                wire = find(conductor.wire) if conductor.wire else entry.part
                tag = conductor.tag or f"{model.tag}.{index + 1}"
                path = (*entry.path, "conductors", index)
                yield Blank((tag,), "wire size", (path,), ("size",), _sold(book, [wire]))


def _sold(book: Rulebook, wires: Iterable[Any]) -> tuple[Candidate, ...]:
    """The sizes of the rulebook in which every one of these wires is sold."""
    sold = [{row.size for row in wire.sizes} for wire in wires]
    sizes = [size for size in book.sizes() if all(size in each for each in sold)]
    return tuple(Candidate(size, float(book.size_index(size)), {"size": size}) for size in sizes)


# -- parts -----------------------------------------------------------------------------------------


def _parts(description: Description, table: str, book: Rulebook, findings: list[Finding]) -> Iterator[Blank]:
    open_ones = [entry for entry in description.all(table) if entry.model.part == AUTO]
    if not open_ones:
        return
    known = description.catalog.parts(*PARTS_OF_TABLE[table])
    used = _used_terminals(description)
    sound = [e for e in open_ones if _family_known(description, e, known, findings)]
    for group in _lines(description, sound) if table == "pipes" else [[e] for e in sound]:
        entry = group[0]
        fitting = [p for p in known if _fits(description, entry, p, used[entry.model.tag])]
        candidates = [c for part in fitting if (c := _candidate(description, entry, part, book))]
        candidates.sort(key=lambda c: (c.measure, _price(description, entry, c.part), c.shown))
        tags = tuple(e.model.tag for e in group)
        paths = tuple(e.path for e in group)
        yield Blank(tags, _WHAT[table], paths, ("part",), tuple(candidates))


def _family_known(
    description: Description, entry: Entry, known: Iterable[Part], findings: list[Finding]
) -> bool:
    """Raceways and pipes must say of which family; a family that is named must exist."""
    key, datum = AUTO_PARTS[entry.table] or ("", "")
    if not key:
        return True
    families = sorted({getattr(part, datum) for part in known})
    wanted = getattr(entry.model, key)
    if wanted in families or (wanted is None and key != "family"):
        return True
    if wanted is None:
        findings.append(
            reading_error(
                "spec.missing-key",
                f'{entry.model.tag}: part = "auto" needs to know among which parts: there are '
                f"{', '.join(families)}.",
                description.span(entry.path + ("part",)),
                fix=f'Add {key} = "..." to the table.',
                required=key,
            )
        )
        return False
    near = nearest(wanted, families, 3) or families
    findings.append(
        reading_error(
            "spec.unknown-value",
            f'{entry.model.tag}: no part is of the {key} "{wanted}"; there are {", ".join(families)}.',
            description.span(entry.path + (key,)),
            fix=f"Write one of: {', '.join(near)}.",
            required=" or ".join(families),
            actual=wanted,
        )
    )
    return False


def _used_terminals(description: Description) -> Mapping[str, set[str]]:
    """Names of the terminals that conductors end on, or that are left spare, by tag."""
    used: dict[str, set[str]] = defaultdict(set)
    for run in description.all("runs"):
        for conductor in run.model.conductors:
            for end in (conductor.start, conductor.end):
                tag, _, terminal = end.partition(".")
                used[tag].add(terminal)
    for group in description.entries.values():
        for entry in group:
            if getattr(entry.model, "spare", ()):
                used[entry.model.tag] |= set(entry.model.spare)
    return used


def _fits(description: Description, entry: Entry, part: Any, used: set[str]) -> bool:
    """Is it of the kind asked for, and does it have every terminal that the spec names?"""
    key, datum = AUTO_PARTS[entry.table] or ("", "")
    if key and getattr(entry.model, key) not in (None, getattr(part, datum)):
        return False
    wired = part
    if entry.table == "fuses":
        wired = _holder(description, entry, part) or part
        if entry.model.holder and wired.form != part.form:
            return False
    return used <= {terminal.name for terminal in wired.terminals}


def _holder(description: Description, entry: Entry, part: Any) -> Any:
    holder = entry.model.holder or part.holder
    return description.catalog.find(holder) if holder else None


def _candidate(description: Description, entry: Entry, part: Any, book: Rulebook) -> Candidate | None:
    """The part as a candidate; None where it does not say how large it is."""
    if entry.table == "raceways":
        try:
            measure: float | None = book.raceway_area_m2(part.raceway, part.trade_size).value
        except NotInTable:
            return None
    else:
        measure = getattr(part, _MEASURES[entry.table])
    return None if measure is None else Candidate(part.id, float(measure), {"part": part.id}, part)


def _price(description: Description, entry: Entry, part: Any) -> float:
    """What it costs, with its holder; unknown counts as dearest."""
    holder = _holder(description, entry, part) if entry.table == "fuses" else None
    prices = [part.price, *([holder.price] if holder is not None else [])]
    return math.inf if None in prices else float(sum(prices))


def _lines(description: Description, open_ones: list[Entry]) -> list[list[Entry]]:
    """Pipes of one family that meet on a filter, valve or gauge: a line is of one size."""
    between = {e.model.tag for table in _IN_LINE for e in description.all(table)}

    def ends(entry: Entry) -> set[str]:
        return {end.partition(".")[0] for end in (entry.model.start, entry.model.end)} & between

    groups: list[list[Entry]] = []
    for entry in open_ones:
        touching = [
            g
            for g in groups
            if g[0].model.family == entry.model.family and any(ends(e) & ends(entry) for e in g)
        ]
        groups = [g for g in groups if g not in touching] + [[*(e for g in touching for e in g), entry]]
    return groups


def _no_candidate(description: Description, blank: Blank) -> Finding:
    if blank.what == "wire size":
        why = "its wire is sold in no size that the rulebook knows"
        fix = "Take a wire that is sold in sizes of this rulebook."
    else:
        why = (
            "no part of the catalogue is of the kind asked for, has the terminals that the wiring names and "
            "says how large it is"
        )
        fix = "Check what it is narrowed to and the terminals used, or add a part to a catalogue of your own."
    return reading_error(
        "auto.impossible",
        f"{blank.name}: there is no {blank.what} to choose from: {why}.",
        *(description.span(path + (key,)) for path in blank.paths for key in blank.keys),
        fix=fix,
    )
