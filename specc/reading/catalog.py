"""The catalogue: built-in parts read one by one when asked for, a user's files read and checked whole.

A built-in file is split at its ``[[kind]]`` lines and a part is parsed only when a job names it: a
check must not pay for two hundred parts that it does not use. A test holds the split equal to a
full parse.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from specc.diagnostics import Finding, reading_error
from specc.reading import validate
from specc.reading.parts import PART_KINDS, Fitting, Part
from specc.reading.toml_positions import TomlDocument, read_toml
from specc.reading.trusted import trusted
from specc.resources import catalogs_dir

_HEADER = re.compile(r"^\[\[([a-z_]+)\]\][ \t]*(?:#.*)?$", re.MULTILINE)
_ID = re.compile(r'^id\s*=\s*"([^"]+)"', re.MULTILINE)


@dataclass(frozen=True)
class Entry:
    """A part not yet parsed: its text and where it stands."""

    id: str
    kind: str
    text: str
    file: str
    line: int


def split_parts(text: str, file: str) -> Iterator[Entry]:
    """The parts of a built-in catalogue file, in order, unparsed."""
    headers = list(_HEADER.finditer(text))
    ends = [header.start() for header in headers[1:]] + [len(text)]
    for header, end in zip(headers, ends, strict=True):
        body = text[header.start() : end]
        found = _ID.search(body)
        if found is None:
            raise ValueError(f"{file}: a part without an id")
        yield Entry(found[1], header[1], body, file, text.count("\n", 0, header.start()) + 1)


def parse_entry(entry: Entry) -> Part:
    """The part. Built-in parts are sound: the tests check each of them whole."""
    data = tomllib.loads(entry.text)[entry.kind][0]
    return trusted(PART_KINDS[entry.kind], data)


@cache
def _built_in() -> Mapping[str, Entry]:
    entries: dict[str, Entry] = {}
    for path in sorted(Path(catalogs_dir()).glob("*.toml")):
        for entry in split_parts(path.read_text(encoding="utf-8"), path.name):
            if entry.id in entries:
                raise ValueError(f"{entry.file}:{entry.line}: part id {entry.id} stands twice")
            entries[entry.id] = entry
    return entries


def built_in_table(part_id: str) -> tuple[str, dict[str, Any]] | None:
    """Kind and table, as written, of a built-in part; None where there is none of that id."""
    entry = _built_in().get(part_id)
    return None if entry is None else (entry.kind, tomllib.loads(entry.text)[entry.kind][0])


@cache
def _built_in_part(part_id: str) -> Part:
    return parse_entry(_built_in()[part_id])


@dataclass(frozen=True)
class Catalog:
    """Parts by id: the user's first, then the built-in ones."""

    own: Mapping[str, Part] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()  # ids of the user's parts that cannot be read

    def find(self, part_id: str) -> Part | None:
        """The part of that id, or None."""
        if part_id in self.own:
            return self.own[part_id]
        return _built_in_part(part_id) if part_id in _built_in() else None

    def ids(self, *kinds: str) -> tuple[str, ...]:
        """All ids of these kinds (of every kind when none is named), sorted."""
        wanted = {i for i, entry in _built_in().items() if not kinds or entry.kind in kinds}
        own = {i for i, part in self.own.items() if not kinds or getattr(part, "kind", "") in kinds}
        others = {i for i in self.own if i not in own}
        return tuple(sorted((wanted - others) | own))

    def fitting(self, name: str, size: str, family: str) -> Part | None:
        """The fitting of that name and size; one made for the family of pipe before any other."""
        wanted = f'fitting = "{name}"'  # of the built-in ones only those are parsed whose text says so
        same = [
            part
            for part_id in self.ids("fitting")
            if part_id in self.own or wanted in _built_in()[part_id].text
            if isinstance(part := self.find(part_id), Fitting) and (part.fitting, part.size) == (name, size)
        ]
        return min(same, key=lambda part: (family not in part.suits, part.id), default=None)

    def parts(self, *kinds: str) -> tuple[Part, ...]:
        """All parts of these kinds, sorted by id."""
        found = (self.find(part_id) for part_id in self.ids(*kinds))
        return tuple(part for part in found if part is not None)


def read_catalog(document: TomlDocument) -> tuple[dict[str, Part], frozenset[str], tuple[Finding, ...]]:
    """The parts of a user's catalogue file by id, the ids that cannot be read, and what is wrong."""
    parts: dict[str, Part] = {}
    broken: set[str] = set()
    findings = list(document.findings)
    for table, content in document.data.items():
        if table not in PART_KINDS:
            findings.append(validate.unknown_table(document, table, PART_KINDS))
            continue
        if not isinstance(content, list):
            findings.append(
                reading_error(
                    "spec.wrong-type",
                    f"[{table}] stands for one table where a list of parts is wanted.",
                    document.positions.key_span((table,)),
                    fix=f"Write [[{table}]].",
                )
            )
            continue
        for index, data in enumerate(content):
            part, wrong = validate.model(PART_KINDS[table], data, (table, index), document)
            findings += wrong
            if part is None:
                if isinstance(data, dict):
                    broken.add(str(data.get("id", "")))
                continue
            loose = tuple(_loose_ends(part, (table, index), document))
            if loose:
                findings += loose
                broken.add(part.id)
                continue
            if part.id in parts:
                findings.append(
                    reading_error(
                        "spec.duplicate-tag",
                        f'The part id "{part.id}" stands twice in this catalogue.',
                        document.positions.span((table, index, "id")),
                        fix="Give one of the two another id.",
                    )
                )
            parts[part.id] = part
    return parts, frozenset(broken), tuple(findings)


_POSTS = ("panel", "battery", "pump")  # wired by two terminals named + and -


def _loose_ends(part: Part, path: tuple[str | int, ...], document: TomlDocument) -> Iterator[Finding]:
    """Names of terminals that a part uses and does not have, and contacts that nothing moves."""
    names = [terminal.name for terminal in part.terminals]
    for index, name in enumerate(names):
        if name in names[:index]:
            yield reading_error(
                "spec.duplicate-tag",
                f'The terminal "{name}" of "{part.id}" stands twice.',
                document.positions.span((*path, "terminals", index, "name")),
                fix="Give one of the two another name.",
            )
    for place, name in _named_terminals(part):
        if name not in names:
            listed = f" It has: {', '.join(names)}." if names else " It lists no terminals."
            yield reading_error(
                "spec.unknown-terminal",
                f'"{part.id}" has no terminal "{name}".{listed}',
                document.positions.span((*path, *place)),
                fix="Name one of its terminals, or add it to them.",
                actual=name,
            )
    for index, pole in enumerate(getattr(part, "poles", ())):
        if pole.closes != "by hand" and getattr(part, "kind", "") != "switch":
            yield reading_error(
                "spec.unknown-value",
                f'A pole of "{part.id}" closes "{pole.closes}", as only the contact of a sensing switch '
                "does.",
                document.positions.span((*path, "poles", index, "closes")),
                fix="Leave `closes` out.",
                actual=pole.closes,
            )
    yield from _contradictions(part, path, document)


_OPPOSITE = {"+": "-", "-": "+"}


def _contradictions(part: Part, path: tuple[str | int, ...], document: TomlDocument) -> Iterator[Finding]:
    """Marks that say the opposite of a terminal's name or port, and live terminals joined to a case.

    Polarity is judged by these marks, and bonds are looked for in the wiring: either would pass in silence.
    """
    marked = {terminal.name: terminal.marked for terminal in part.terminals}
    role = {terminal.name: terminal.role for terminal in part.terminals}
    says = {name: name[-1] for name in marked if name[-1] in _OPPOSITE}
    for port in getattr(part, "ports", ()):
        for name, pole in ((port.plus, "+"), (port.minus, "-")):
            says[name] = pole if says.get(name, pole) == pole else "both"
    for index, terminal in enumerate(part.terminals):
        wanted = says.get(terminal.name)
        if wanted == "both":
            yield reading_error(
                "spec.unknown-value",
                f'The terminal "{terminal.name}" of "{part.id}" is named for one pole and stands in its '
                "ports for the other.",
                document.positions.span((*path, "terminals", index, "name")),
                fix="Exchange `plus` and `minus` of the port, or name the terminal for its pole.",
                actual=terminal.name,
            )
        elif wanted is not None and terminal.marked == _OPPOSITE[wanted]:
            yield reading_error(
                "spec.unknown-value",
                f'The terminal "{terminal.name}" of "{part.id}" is the {_POLE[wanted]} one by its name or '
                f'port, and marked "{terminal.marked}".',
                document.positions.span((*path, "terminals", index, "marked")),
                fix=f'Write marked = "{wanted}", or correct name and port.',
                actual=terminal.marked,
            )
    for index, group in enumerate(part.joined):
        roles = {role.get(name) for name in group}
        if "ground" in roles and roles - {"ground", None}:
            yield reading_error(
                "spec.unknown-value",
                f'"{part.id}" joins a live terminal to a grounding one inside: {" and ".join(group)}.',
                document.positions.span((*path, "joined", index)),
                fix="Leave it out of `joined`. Of a controller write bond_inside = true, or "
                "functional_earth; another kind of part whose live terminal is joined to its case does not "
                "serve here.",
            )


_POLE = {"+": "positive", "-": "negative"}


def _named_terminals(part: Part) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Every mention of a terminal within a part, with its place in the part."""
    if getattr(part, "kind", "") in _POSTS:
        yield ("terminals",), "+"
        yield ("terminals",), "-"
    for index, port in enumerate(getattr(part, "ports", ())):
        yield ("ports", index, "plus"), port.plus
        yield ("ports", index, "minus"), port.minus
    for index, pole in enumerate(getattr(part, "poles", ())):
        for number, name in enumerate(pole.between):
            yield ("poles", index, "between", number), name
    for index, group in enumerate(part.joined):
        for number, name in enumerate(group):
            yield ("joined", index, number), name
    remote = getattr(part, "remote", None)
    for number, name in enumerate(remote.terminals if remote is not None else ()):
        yield ("remote", "terminals", number), name


def read_catalog_text(data: bytes, file: str) -> tuple[dict[str, Part], frozenset[str], tuple[Finding, ...]]:
    """As ``read_catalog``, from the bytes of a file."""
    return read_catalog(read_toml(data, file))
