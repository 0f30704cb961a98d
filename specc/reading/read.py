"""Text in, description out: every table checked, every mistake reported at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from specc.amendments import Amendment
from specc.diagnostics import Finding, Span, reading_error
from specc.reading import validate
from specc.reading.catalog import Catalog, read_catalog_text
from specc.reading.logo import Logo, LogoFault, name_fault, read_logo
from specc.reading.parts import Model, Part
from specc.reading.quantities import AUTO
from specc.reading.spec import AUTO_PARTS, PARTS_OF_TABLE, TABLES, Job, Site
from specc.reading.suggest import did_you_mean
from specc.reading.toml_positions import TomlDocument, read_toml
from specc.rulebooks import known_rulebooks
from specc.units import shortened

Path = tuple[str | int, ...]
ReadFile = Callable[[str], bytes]
MOST_MISTAKES = 200  # after so many nobody reads on
_ONE_OR_MANY = ("source", "tank")  # tables that may be written as one


@dataclass(frozen=True)
class Entry:
    """One table of the spec, validated, with its place and its catalogue part."""

    table: str
    model: Any
    path: Path
    part: Part | None = None


@dataclass(frozen=True)
class Description:
    """What the user wrote, in SI, with positions; parts resolved."""

    file: str
    job: Job
    site: Site
    entries: Mapping[str, tuple[Entry, ...]]
    document: TomlDocument
    catalog: Catalog = field(default_factory=Catalog)
    amendments: tuple[Amendment, ...] = ()
    logo: Logo | None = None  # of the firm

    def span(self, path: Path) -> Span:
        """Where the value at that path stands (its nearest parent when it was left out)."""
        return self.document.positions.span(path)

    def all(self, table: str) -> tuple[Entry, ...]:
        """The entries of a table, in the order of the file."""
        return self.entries.get(table, ())

    def autos(self) -> tuple[Path, ...]:
        """Places where the spec leaves the choice to the compiler."""
        found: list[Path] = []
        for table in AUTO_PARTS:
            found += [e.path + ("part",) for e in self.all(table) if e.model.part == AUTO]
        for key in ("series", "parallel"):
            found += [e.path + (key,) for e in self.all("panels") if getattr(e.model, key) == AUTO]
        for entry in self.all("runs"):
            found += [entry.path + ("size",)] if entry.model.size == AUTO else []
            for index, conductor in enumerate(entry.model.conductors):
                found += [(*entry.path, "conductors", index, "size")] if conductor.size == AUTO else []
        return tuple(found)


@dataclass(frozen=True)
class Reading:
    """A description, or None when the spec cannot be read; and everything that is wrong with it."""

    description: Description | None
    findings: tuple[Finding, ...]


def read_spec(data: bytes, file: str, read_file: ReadFile) -> Reading:
    """Reads a job spec.

    ``read_file`` gives the bytes of a catalogue that the spec names (relative to the spec) and may
    raise ``OSError``. Nothing else of the outside is touched.
    """
    document = read_toml(data, file)
    findings: list[Finding] = list(document.findings)
    entries: dict[str, tuple[Entry, ...]] = {}
    if document.data or document.valid:
        for table, content in document.data.items():
            if len(findings) > MOST_MISTAKES:
                break
            if table not in TABLES:
                findings.append(validate.unknown_table(document, table, TABLES, _brackets))
                continue
            entries[table] = tuple(_read_table(table, content, document, findings))
        for table in ("job", "site"):
            if table not in document.data and document.valid:
                findings.append(
                    reading_error(
                        "spec.missing-key",
                        f"The table [{table}] is missing.",
                        Span(file, 1, 1, 1, 1),
                        fix=f"Add a [{table}] table.",
                    )
                )
    job = entries["job"][0].model if entries.get("job") else None
    for key in ("rulebook", "also_under"):
        _known_book(job, key, document, findings)
    amendments = _amendments(job, document, read_file, findings)
    catalog = _catalog(document, read_file, findings)
    entries = {table: _resolve(table, group, catalog, document, findings) for table, group in entries.items()}
    _refuse_twice(entries, document, findings)
    logo = _logo(entries, document, read_file, findings)
    findings = _quiet_near_syntax_errors(findings, document)
    site = entries["site"][0].model if entries.get("site") else None
    if len(findings) > MOST_MISTAKES:
        findings = [*findings[:MOST_MISTAKES], _more(document)]
    if findings or job is None or site is None:
        return Reading(None, tuple(findings))
    return Reading(Description(file, job, site, entries, document, catalog, amendments, logo), ())


def _known_book(job: Job | None, key: str, document: TomlDocument, findings: list[Finding]) -> None:
    """Refuses a rulebook that is not there."""
    book = getattr(job, key, None)
    known = known_rulebooks()
    if book is None or book in known:
        return
    findings.append(
        reading_error(
            "spec.unknown-value",
            f'There is no rulebook "{shortened(book)}"; there are: {", ".join(known)}.',
            document.positions.span(("job", key)),
            fix=validate.value_guess(key, book, known) or f"Write one of: {', '.join(known)}.",
            required=" or ".join(known),
            actual=shortened(book),
        )
    )


def _more(document: TomlDocument) -> Finding:
    return reading_error(
        "spec.more-mistakes",
        f"There are more mistakes than the {MOST_MISTAKES} listed; the rest of the file was not read.",
        document.positions.span(()),
        fix="Mend these first, then check again.",
    )


def _brackets(table: str) -> str:
    """How a table is written."""
    return f"[[{table}]]" if TABLES[table][1] and table not in _ONE_OR_MANY else f"[{table}]"


def _read_table(table: str, content: Any, document: TomlDocument, findings: list[Finding]) -> list[Entry]:
    kind, many = TABLES[table]
    either = table in _ONE_OR_MANY
    if isinstance(content, dict) and (not many or either):
        items: list[tuple[Any, Path]] = [(content, (table,))]
    elif isinstance(content, list) and many:
        items = [(item, (table, index)) for index, item in enumerate(content)]
    else:
        wanted = _brackets(table)
        findings.append(
            reading_error(
                "spec.wrong-type",
                f'"{table}" is not written as it is here; this table is written {wanted}.',
                document.positions.key_span((table,)),
                fix=f"Write {wanted}.",
            )
        )
        return []
    entries = []
    for item, path in items:
        if len(findings) > MOST_MISTAKES:
            break
        read, wrong = validate.model(kind, item, path, document)
        findings += wrong
        if read is not None:
            entries.append(Entry(table, read, path))
    return entries


def _files_beside(
    names: Iterable[str],
    key: str,
    word: str,
    document: TomlDocument,
    read_file: ReadFile,
    findings: list[Finding],
) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each file that a list of [job] names."""
    for index, name in enumerate(names):
        try:
            data = read_file(name)
        except OSError as error:
            reason = error.strerror or "it cannot be opened"
            findings.append(
                reading_error(
                    "spec.unreadable-catalog",
                    f'The {word} "{shortened(name)}" cannot be read: {reason.lower()}.',
                    document.positions.span(("job", key, index)),
                    fix="Put the file beside the spec, or take it off the list.",
                )
            )
            continue
        yield name, data


def _amendments(
    job: Job | None, document: TomlDocument, read_file: ReadFile, findings: list[Finding]
) -> tuple[Amendment, ...]:
    """What the authority amends; a value that two files amend is taken from the last."""
    if job is None or not job.amendments or job.rulebook not in known_rulebooks():
        return ()
    from specc.reading.amendments import read_amendments

    found: dict[tuple[str, tuple[str, ...]], Amendment] = {}
    for name, data in _files_beside(
        job.amendments, "amendments", "amendments file", document, read_file, findings
    ):
        made, wrong = read_amendments(data, name, job.rulebook)
        findings += wrong
        found |= {(amendment.book, amendment.keys): amendment for amendment in made}
    return tuple(found.values())


def _logo(
    entries: Mapping[str, tuple[Entry, ...]],
    document: TomlDocument,
    read_file: ReadFile,
    findings: list[Finding],
) -> Logo | None:
    """The picture that [firm] names, if it is one that is safe to print."""
    name = entries["firm"][0].model.logo if entries.get("firm") else None
    if name is None:
        return None
    fault = name_fault(name)
    if not fault:
        try:
            return read_logo(read_file(name), name)
        except OSError as error:
            fault = f"it cannot be read: {(error.strerror or 'it cannot be opened').lower()}"
        except LogoFault as error:
            fault = str(error)
    findings.append(
        reading_error(
            "spec.unusable-logo",
            f'The logo "{shortened(name)}" cannot be used: {fault}.',
            document.positions.span(("firm", "logo")),
            fix="Put a plain SVG (shapes and text only) or a PNG beside the spec, or leave the logo out.",
            actual=name,
        )
    )
    return None


def _catalog(document: TomlDocument, read_file: ReadFile, findings: list[Finding]) -> Catalog:
    """The parts, the user's own too where something else in [job] is wrong."""
    own: dict[str, Part] = {}
    broken: frozenset[str] = frozenset()
    job = document.data.get("job")
    listed = job.get("catalogs") if isinstance(job, dict) else None
    names = [name for name in listed if isinstance(name, str)] if isinstance(listed, list) else []
    for name, data in _files_beside(names, "catalogs", "catalogue", document, read_file, findings):
        parts, unreadable, wrong = read_catalog_text(data, name)
        own |= parts
        broken |= unreadable
        findings += wrong
    return Catalog(own, broken)


def _resolve(
    table: str, group: tuple[Entry, ...], catalog: Catalog, document: TomlDocument, findings: list[Finding]
) -> tuple[Entry, ...]:
    kinds = PARTS_OF_TABLE.get(table)
    if not kinds:
        return group
    key = "wire" if table == "runs" else "part"
    resolved = []
    for entry in group:
        part_id = getattr(entry.model, key)
        if part_id == AUTO and table in AUTO_PARTS:
            part_id = None  # chosen later, when the whole is known
        part = _part(part_id, kinds, catalog, document, entry.path + (key,), findings) if part_id else None
        if part is not None and AUTO_PARTS.get(table):
            _refuse_other_kind(entry, part, document, findings)
        resolved.append(Entry(entry.table, entry.model, entry.path, part))
        if table == "runs":
            for index, conductor in enumerate(entry.model.conductors):
                if conductor.wire:
                    place = entry.path + ("conductors", index, "wire")
                    _part(conductor.wire, kinds, catalog, document, place, findings)
        if table == "fuses" and entry.model.holder:
            _part(entry.model.holder, ("fuse_holder",), catalog, document, entry.path + ("holder",), findings)
    return tuple(resolved)


def _part(
    part_id: str,
    kinds: tuple[str, ...],
    catalog: Catalog,
    document: TomlDocument,
    path: Path,
    findings: list[Finding],
) -> Part | None:
    if part_id in catalog.broken:
        return None  # said already, where the part stands
    part = catalog.find(part_id)
    if part is None or getattr(part, "kind", "") not in kinds:
        from specc.reading import unknown_part

        span = document.positions.span(path)
        findings.append(
            unknown_part.unknown_part(part_id, kinds, catalog, span)
            if part is None
            else unknown_part.of_another_kind(part, kinds, catalog, span)
        )
        return None
    return part


def _refuse_other_kind(entry: Entry, part: Part, document: TomlDocument, findings: list[Finding]) -> None:
    """The key that narrows an "auto" part must not contradict a part that is named."""
    key, datum = AUTO_PARTS[entry.table] or ("", "")
    wanted, has = getattr(entry.model, key), getattr(part, datum)
    if wanted is not None and wanted != has:
        findings.append(
            reading_error(
                "spec.unknown-part",
                f'"{part.id}" is of the {key} "{has}"; here {key} = "{wanted}" is asked for.',
                document.positions.span(entry.path + ("part",)),
                document.positions.span(entry.path + (key,)),
                fix=f'Write part = "auto", a part of that {key}, or {key} = "{has}".',
                required=wanted,
                actual=has,
            )
        )


def _refuse_twice(
    entries: Mapping[str, tuple[Entry, ...]], document: TomlDocument, findings: list[Finding]
) -> None:
    """One tag, one thing: case and blanks do not tell two tags apart."""
    first: dict[str, Entry] = {}
    for group in entries.values():
        for entry in group:
            tag = getattr(entry.model, "tag", None)
            if tag is None:
                continue
            other = first.setdefault(tag.casefold(), entry)
            if other is not entry:
                findings.append(
                    reading_error(
                        "spec.duplicate-tag",
                        f'The tag "{tag}" stands twice: also in [{other.table}], line '
                        f"{document.positions.span(other.path + ('tag',)).line}.",
                        document.positions.span(entry.path + ("tag",)),
                        document.positions.span(other.path + ("tag",)),
                        fix=f'Use "{_free_tag(tag, entries)}".',
                        actual=tag,
                    )
                )


def _free_tag(tag: str, entries: Mapping[str, tuple[Entry, ...]]) -> str:
    taken = {getattr(e.model, "tag", "").casefold() for group in entries.values() for e in group}
    stem = tag.rstrip("0123456789") or tag
    return next(f"{stem}{n}" for n in range(1, 10_000) if f"{stem}{n}".casefold() not in taken)


def _quiet_near_syntax_errors(findings: list[Finding], document: TomlDocument) -> list[Finding]:
    """Where the text itself is broken, say that alone: what follows from it would only confuse."""
    if document.valid:
        return findings
    syntax = set(document.findings)
    followers = {"spec.missing-key", "spec.unknown-key"}
    return [
        finding
        for finding in findings
        if finding in syntax
        or not (
            finding.rule in followers or any(place.line in document.broken_lines for place in finding.places)
        )
    ]


def unknown_reference(word: str, known: list[str], what: str) -> str:
    """One sentence on a reference that leads nowhere."""
    guess = did_you_mean(word, known)
    return f'There is no {what} "{shortened(word)}"' + (f": {guess}" if guess else ".")


__all__ = ["Description", "Entry", "Model", "Reading", "read_spec", "unknown_reference"]
