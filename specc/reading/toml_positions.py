"""TOML text to plain data, with the place of every key and value, and every fault at once.

The standard parser decides what is valid and gives the data; the syntax tree gives the places.
Of a half-written text the sound statements are kept, so that later stages can go on.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import accumulate
from typing import Any

import tree_sitter
import tree_sitter_toml

from specc.diagnostics import Finding, Span, reading_error
from specc.reading import toml_faults

Path = tuple[str | int, ...]

MOST_BYTES = 1_000_000
DEEPEST = 64
_MOST_THOROUGH = 200_000  # characters; of a longer text that is broken only the first fault is told
_MOST_CLASHES = 20


@dataclass(frozen=True)
class PositionMap:
    """Where each key and value stands.

    The value of a table is its heading, or its key where it has none of its own.
    """

    file: str
    values: Mapping[Path, Span]
    keys: Mapping[Path, Span]

    def span(self, path: Path) -> Span:
        """The place of the value at ``path``, or of its nearest known parent, or the file's start."""
        return self._nearest(path, self.values, self.keys)

    def key_span(self, path: Path) -> Span:
        """The place of the key at ``path``, or the nearest there is."""
        return self._nearest(path, self.keys, self.values)

    def _nearest(self, path: Path, first: Mapping[Path, Span], second: Mapping[Path, Span]) -> Span:
        for length in range(len(path), 0, -1):
            span = first.get(path[:length]) or second.get(path[:length])
            if span:
                return span
        return Span(self.file, 1, 1, 1, 1)


@dataclass(frozen=True)
class TomlDocument:
    """A text that was read: ``data`` holds what is sound; ``broken_lines`` count from 1."""

    file: str
    text: str
    data: dict[str, Any]
    positions: PositionMap
    findings: tuple[Finding, ...] = ()
    broken_lines: frozenset[int] = frozenset()

    @property
    def valid(self) -> bool:
        """Whether the text is TOML and says anything."""
        return not self.findings


def read_toml(data: bytes, file: str) -> TomlDocument:
    """Reads UTF-8 TOML of any quality; never raises.

    Rule ids of the findings: spec.syntax, spec.encoding, spec.too-large, spec.too-deep, spec.empty.
    """
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1e6:.1f} MB"
        limit = f"{MOST_BYTES / 1e6:.0f} MB"
        message = f"The file has {size}, and more than {limit} is not read."
        return _refused(file, "", "spec.too-large", message, "Check that this is the right file.", 0)
    text = _decode(data)
    if isinstance(text, _Undecodable):
        return _refused(file, text.before, "spec.encoding", text.message, text.fix, len(text.before))
    deep = _too_deep(text)
    if deep is not None:
        message = f"Brackets or dotted keys are nested more than {DEEPEST} deep here."
        return _refused(file, text, "spec.too-deep", message, "Use fewer levels.", deep)
    return _read_text(text, file)


def _read_text(text: str, file: str) -> TomlDocument:
    parsed = toml_faults.parse(text)
    if isinstance(parsed, dict):
        if parsed:
            return TomlDocument(file, text, parsed, _positions(text, file))
        return _refused(file, text, "spec.empty", "The file is empty.", "Write at least one table.", 0)
    said = parsed
    if len(text) > _MOST_THOROUGH:
        message = _not_toml(said)
        fix = "Correct this place first; the rest of so long a file is not looked at."
        return _refused(file, text, "spec.syntax", message, fix, toml_faults.complaint_offset(text, said))
    mended = toml_faults.mend(text)
    findings = [_syntax(text, file, f.message, f.fix, f.start, f.end) for f in mended.faults]
    sound = _without_clashes(mended.text, file)
    findings += sound.findings
    if not findings:  # every statement is sound alone and all together too, yet the parser complains
        offset = toml_faults.complaint_offset(text, said)
        findings.append(_syntax(text, file, _not_toml(said), "Look at this line.", offset, offset))
    broken = sound.broken_lines | _lines_of(text, mended.broken)
    positions = _positions(sound.text, file)
    return TomlDocument(file, text, sound.data, positions, tuple(findings), broken)


@dataclass(frozen=True)
class _Sound:
    data: dict[str, Any]
    text: str
    findings: tuple[Finding, ...]
    broken_lines: frozenset[int]


def _without_clashes(text: str, file: str) -> _Sound:
    """What is left of a text of sound statements without those that clash with earlier ones."""
    findings: list[Finding] = []
    broken: set[int] = set()
    for _ in range(_MOST_CLASHES):
        said = toml_faults.parse(text)
        if isinstance(said, dict):
            return _Sound(said, text, tuple(findings), frozenset(broken))
        offset = toml_faults.complaint_offset(text, said)
        # The parser points behind the statement, or to the end where that is the last one.
        start = text.rfind("\n", 0, len(text[:offset].rstrip())) + 1
        start, end, gone = _statement_around(text, start)
        findings.append(_clash(text, file, start, end, said))
        broken |= _lines_of(text, ((start, gone),))
        text = text[:start] + toml_faults.blank(text[start:gone]) + text[gone:]
    # Too many to go on: nothing of such a text can be trusted.
    return _Sound({}, toml_faults.blank(text), tuple(findings), frozenset(range(1, text.count("\n") + 2)))


def _statement_around(text: str, offset: int) -> tuple[int, int, int]:
    """Start and end of the statement at ``offset``; and, of a heading, the end of its table."""
    found: tuple[int, int] | None = None
    for start, end in toml_faults.statements(text):
        if found and toml_faults.is_heading(text[start:end]):
            return *found, start - 1
        if start <= offset <= end:
            found = start, end
            if not toml_faults.is_heading(text[start:end]):
                return *found, end
    start, end = found or (offset, len(text))
    return start, end, len(text)


def _clash(text: str, file: str, start: int, end: int, said: str) -> Finding:
    """The finding on a key or heading that an earlier line has already used."""
    statement = text[start:end]
    if not said.startswith("Cannot "):
        return _syntax(text, file, _not_toml(said), "Look at this statement.", start, end)
    written = statement.strip().split("\n", 1)[0]
    heading = written.startswith("[")
    name = written.split("#", 1)[0].strip() if heading else written.split("=", 1)[0].strip()
    start += len(statement) - len(statement.lstrip())
    what = "heading" if heading else "key"
    earlier = _earlier(text[:start], name, heading)
    places = [_span(text, file, start, start + len(name))]
    if earlier is not None:
        places.append(_span(text, file, earlier, earlier + len(name)))
        message = f"The {what} `{name}` stands twice: also in line {places[1].line}."
        fix = f"Keep one of the two, or write [{name}] if each is a table of its own." if heading else ""
    else:
        message = f"The {what} `{name}` clashes with an earlier line that already gives it another meaning."
        fix = ""
    return reading_error("spec.syntax", message, *places, fix=fix or "Keep one of the two.", actual=name)


def _earlier(before: str, name: str, heading: bool) -> int | None:
    """Where the same heading, or the same key of the same table, stands in the text before."""
    if heading:
        found = [
            m.start(1)
            for m in re.finditer(rf"^[ \t]*({re.escape(name)})[ \t]*(?:#.*)?$", before, re.MULTILINE)
        ]
        return found[0] if found else None
    table = max((m.start() for m in re.finditer(r"^[ \t]*\[", before, re.MULTILINE)), default=0)
    match = re.compile(rf"^[ \t]*({re.escape(name)})[ \t]*=", re.MULTILINE).search(before, table)
    return match.start(1) if match else None


def _not_toml(said: str) -> str:
    """The parser's own words, for what we have no better words for."""
    words = re.sub(r" \(at [^)]*\)$", "", said).replace("\n", "\\n")
    return f"The file is not valid TOML here: {words}."


def _refused(file: str, text: str, rule: str, message: str, fix: str, offset: int) -> TomlDocument:
    """A document of which nothing can be used."""
    place = _span(text, file, offset, offset)
    lines = frozenset(range(1, text.count("\n") + 2))
    finding = reading_error(rule, message, place, fix=fix)
    return TomlDocument(file, text, {}, PositionMap(file, {}, {}), (finding,), lines)


def _syntax(text: str, file: str, message: str, fix: str, start: int, end: int) -> Finding:
    return reading_error("spec.syntax", message, _span(text, file, start, end), fix=fix)


def _span(text: str, file: str, start: int, end: int) -> Span:
    line, column = _place(text, start)
    end_line, end_column = _place(text, end)
    return Span(file, line, column, end_line, end_column)


def _place(text: str, offset: int) -> tuple[int, int]:
    return text.count("\n", 0, offset) + 1, offset - (text.rfind("\n", 0, offset) + 1) + 1


def _lines_of(text: str, stretches: tuple[tuple[int, int], ...]) -> set[int]:
    """The line numbers that the stretches (in order) touch."""
    lines: set[int] = set()
    line, at = 1, 0
    for start, end in stretches:
        line += text.count("\n", at, start)
        last = line + text.count("\n", start, end)
        lines |= set(range(line, last + 1))
        line, at = last, end
    return lines


# --- bytes to text -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Undecodable:
    before: str
    message: str
    fix: str


_SAVE_AS = "Save the file as UTF-8 text."
_WIDE_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)


def _decode(data: bytes) -> str | _Undecodable:
    """The text with plain line ends and without a byte order mark."""
    if data.startswith(_WIDE_MARKS):
        return _Undecodable("", "The file is saved as UTF-16 or UTF-32, and UTF-8 is expected.", _SAVE_AS)
    data = data.removeprefix(codecs.BOM_UTF8)
    fault, message = len(data), ""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        fault = error.start
        message = f"The byte 0x{data[fault]:02X} is not UTF-8; the file may be saved in an older encoding."
    zero = data.find(b"\0", 0, fault)
    if zero >= 0:
        fault = zero
        message = "A zero byte stands here: the file is not text, or is saved as UTF-16."
    text = data[:fault].decode("utf-8", errors="replace").replace("\r\n", "\n")
    return _Undecodable(text, message, _SAVE_AS) if message else text


# A text that is never closed is taken to its end, not tried again at each of its quotation marks.
_PLAIN_TOKENS = r'"(?:[^"\\\n]|\\.)*"?|\'[^\'\n]*\'?|\#[^\n]*|[\[\]{}.,=\n]'
_DEPTH_TOKEN = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*(?:"""|(?P<double>\Z))|\'\'\'(?:[^\']|\'(?!\'\'))*(?:\'\'\'|(?P<single>\Z))|'
    + _PLAIN_TOKENS,
    re.DOTALL,
)
_PLAIN_TOKEN = re.compile(_PLAIN_TOKENS)


def _too_deep(text: str) -> int | None:
    """The offset of the first bracket or dot beyond the deepest level, if there is one.

    The parser recurses into brackets and takes square time for dotted keys.
    """
    depth = dots = 0
    for match in _depth_tokens(text):
        token = match[0]
        if token in ("[", "{"):
            depth, dots = depth + 1, 0
        elif token in ("]", "}"):
            depth, dots = max(depth - 1, 0), 0
        elif token == ".":
            dots += 1
        elif token in (",", "=", "\n"):
            dots = 0
        if depth > DEEPEST or dots > DEEPEST:
            return match.start()
    return None


def _depth_tokens(text: str) -> Iterator[re.Match[str]]:
    for match in _DEPTH_TOKEN.finditer(text):
        if match.lastgroup:  # never closed: the lines behind it are read one by one, as here
            yield from _PLAIN_TOKEN.finditer(text, toml_faults.line_end(text, match.start()))
            return
        yield match


# --- places ------------------------------------------------------------------------------------


@cache
def _language() -> tree_sitter.Language:
    return tree_sitter.Language(tree_sitter_toml.language())


class _Walk:
    """Collects the places of keys and values on one pass over the tree of a sound text."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.lines = text.split("\n")
        self.ascii = text.isascii()
        self.columns: dict[int, list[int]] = {}
        self.values: dict[Path, Span] = {}
        self.keys: dict[Path, Span] = {}
        self.counts: dict[Path, int] = {}  # elements of each array of tables so far

    def span(self, node: tree_sitter.Node) -> Span:
        (row, byte), (end_row, end_byte) = node.start_point, node.end_point
        if self.ascii:
            return Span(self.file, row + 1, byte + 1, end_row + 1, end_byte + 1)
        return Span(self.file, row + 1, self.column(row, byte), end_row + 1, self.column(end_row, end_byte))

    def column(self, row: int, byte: int) -> int:
        """The column in characters, from 1, of a byte of a line."""
        if self.ascii or row >= len(self.lines) or self.lines[row].isascii():
            return byte + 1
        if row not in self.columns:
            bytes_of_line = self.lines[row].encode()
            starts = (1 if value & 0xC0 != 0x80 else 0 for value in bytes_of_line)
            self.columns[row] = [0, *accumulate(starts)]
        columns = self.columns[row]
        return columns[min(byte, len(columns) - 1)] + 1

    def document(self, root: tree_sitter.Node) -> None:
        for node in root.named_children:
            if node.has_error:
                continue  # the grammar knows less than the parser: the parent's place has to do
            if node.type == "pair":
                self.pair(node, ())
            elif node.type in ("table", "table_array_element"):
                self.table(node)

    def table(self, node: tree_sitter.Node) -> None:
        header, *pairs = [child for child in node.named_children if child.type != "comment"]
        path: Path = ()
        parts = list(_key_parts(header))
        many = node.type == "table_array_element"
        for index, (name, part) in enumerate(parts):
            path = (*path, name)
            self.keys.setdefault(path, self.span(part))
            if path in self.counts and not (many and index == len(parts) - 1):
                path = (*path, self.counts[path] - 1)
        heading = self.heading(node)
        if many:
            self.values.setdefault(path, heading)
            number = self.counts[path] = self.counts.get(path, 0) + 1
            path = (*path, number - 1)
            self.keys[path] = self.span(parts[-1][1])
        self.values.setdefault(path, heading)
        for pair in pairs:
            if pair.type == "pair":
                self.pair(pair, path)

    def heading(self, node: tree_sitter.Node) -> Span:
        """From the opening bracket to the closing one."""
        close = next(child for child in node.children if child.type in ("]", "]]"))
        start, end = self.span(node), self.span(close)
        return Span(self.file, start.line, start.column, end.end_line, end.end_column)

    def pair(self, node: tree_sitter.Node, path: Path) -> None:
        key, value = [child for child in node.named_children if child.type != "comment"][:2]
        for name, part in _key_parts(key):
            path = (*path, name)
            self.keys.setdefault(path, self.span(part))
        self.value(value, path)

    def value(self, node: tree_sitter.Node, path: Path) -> None:
        self.values[path] = self.span(node)
        if node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, item in enumerate(items):
                self.value(item, (*path, index))
        elif node.type == "inline_table":
            for pair in node.named_children:
                if pair.type == "pair":
                    self.pair(pair, path)


def _key_parts(node: tree_sitter.Node) -> Iterator[tuple[str, tree_sitter.Node]]:
    """The names of a key, in order; the tree nests dotted keys to the left."""
    if node.type == "dotted_key":
        for child in node.named_children:
            yield from _key_parts(child)
        return
    written = (node.text or b"").decode()
    if node.type == "quoted_key":
        written = str(next(iter(tomllib.loads(f"{written} = 0"))))
    yield written, node


def _positions(text: str, file: str) -> PositionMap:
    """The places in a text that the parser accepts."""
    root = tree_sitter.Parser(_language()).parse(text.encode()).root_node
    walk = _Walk(text, file)
    walk.document(root)
    return PositionMap(file, walk.values, walk.keys)
