"""Reading TOML: every place found, every fault told, nothing raised."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specc.diagnostics import Severity, Span, Verdict
from specc.reading.toml_positions import Path, TomlDocument, read_toml
from tests.patience import ends_in_sensible_time
from tests.reading.broken_texts import BROKEN_TEXTS, BrokenText

SPEC = """\
# An invented job.
[job]
title = "Cedar Fold: dug well"
date = 2026-05-02
units = "us"

[site]
latitude = 44.05
sun = [2.9, 3.7,
       4.6]  # by month

[[runs]]
tag = "R1"
size = "8 AWG"
conductors = [
  { from = "DS1.2", to = "CB1.pv+", color = "red" },
  { from = "DS1.4", to = "CB1.pv-", color = "black" },  # return
]

[[runs]]
tag = "R2"
"""

# Forms that the TOML 1.0.0 specification (toml.io) allows, several of them from its examples.
AWKWARD = {
    "dotted keys": "a.b.c = 1\na . d = 2\na.b.e = 3\n",
    "quoted dotted keys": 'site."google.com" = true\n"a.b".c = 1\n\'x y\'."z" = 2\n',
    "escaped key": '"a\\tb\\u00e9" = 1\n',
    "unicode key": '"höhe é 😀" = "ü"\n[\'größe\']\nx = 1\n',
    "empty key": '"" = 1\n[a."".b]\nc = 1\n',
    "digits as key": "1234 = 1\n3.14159 = 2\n-_- = 3\n",
    "inline tables": 'a = { b = 1, c.d = { e = [ { f = 1 }, {} ] }, "g h" = 2 }\n',
    "nested arrays": "a = [[1, 2], [[3], []], [\n  { b = [4] },  # c\n  # d\n  { b = [5] },\n] ]\n",
    "arrays of tables": "[[a]]\nx = 1\n[[a]]\n[[a]]\nx = 3\n",
    "nested arrays of tables": (
        '[[fruits]]\nname = "apple"\n[fruits.physical]\ncolor = "red"\n[[fruits.varieties]]\nname = "a"\n'
        '[[fruits.varieties]]\nname = "b"\n[[fruits]]\nname = "banana"\n[[fruits.varieties]]\nname = "c"\n'
        "[[fruits.varieties.seeds]]\nn = 1\n"
    ),
    "implicit tables": "[x.y.z.w]\na = 1\n[x]\nb = 2\n[x.y]\n",
    "headings with blanks": "[ j . \"k\" . 'l' ]\na = 1\n[[ m . n ]]\n",
    "dotted keys in tables": '[fruit]\napple.color = "red"\napple.taste.sweet = true\n[fruit.pear]\nx=1\n',
    "texts of many lines": 'a = """\nb = 1\n[c]\n"""\nd = \'\'\'x\n"""\n\'\'\'\ne = """a\\"""b"""\n',
    "line joined to the next": 'f = """\\\n  g"""\nh = 1\n',
    "quotes at the end": 'a = """"x""""\nb = """x"""""\nc = 1\n',
    "texts like syntax": 'a = "b = 1 # no"\nc = \'[d]\'\n"# e" = "\\\\"\nf = "\\"" # g = 1\n',
    "dates": (
        "a = 1979-05-27T07:32:00Z\nb = 1979-05-27 07:32:00.999999-07:00\nc = 1979-05-27\nd = 07:32:00\n"
        "e = [1979-05-27T00:32:00, 1979-05-28]\n"
    ),
    "numbers": "a = +1_000\nb = 0xDEAD_beef\nc = 0o755\nd = 0b11\ne = -1e-3\nf = [inf, -inf, nan]\n",
    "carriage returns": 'a = 1\r\nb = [\r\n1,\r\n]\r\n[c]\r\nd = """x\r\ny"""\r\n',
    "byte order mark": "\ufeffa = 1\n",
    "tabs": "\ta\t=\t1\t# c\n\t[b]\n\tc = [\t1\t]\n",
    "no line end": "a = 1\n[b]\nc = 2",
    "wide signs": 'a = ["é", "😀", { b = "ü" }, 1]\nb = "😀" # é\n',
    "a whole spec": SPEC,
}


def paths_of(data: Any, path: Path = ()) -> set[Path]:
    """Every key path and list index of plain data."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    found = {path} if path else set()
    for key, value in items:
        found |= paths_of(value, (*path, key))
    return found


def cut(document: TomlDocument, span: Span) -> str:
    """The stretch of the text that a span names."""
    lines = document.text.split("\n")[span.line - 1 : span.end_line]
    lines[-1] = lines[-1][: span.end_column - 1]
    lines[0] = lines[0][span.column - 1 :]
    return "\n".join(lines)


def leaves(data: Any, path: Path = ()) -> list[tuple[Path, Any]]:
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else None
    if items is None:
        return [(path, data)]
    return [leaf for key, value in items for leaf in leaves(value, (*path, key))]


def assert_faults_have_places(document: TomlDocument) -> None:
    lines = document.text.split("\n")
    for finding in document.findings:
        assert finding.verdict is Verdict.VIOLATED
        assert finding.severity is Severity.ERROR
        assert finding.message.endswith((".", "..."))
        assert "\n" not in finding.message + finding.fix
        assert finding.fix
        for place in finding.places:
            assert 1 <= place.line <= place.end_line <= len(lines)
            assert 1 <= place.column <= len(lines[place.line - 1]) + 1
            assert (place.line, place.column) <= (place.end_line, place.end_column)
        assert finding.places


@pytest.mark.parametrize("text", AWKWARD.values(), ids=AWKWARD.keys())
def test_paths_are_those_of_the_standard_parser(text: str) -> None:
    document = read_toml(text.encode(), "job.toml")

    expected = tomllib.loads(text.removeprefix("\ufeff"))
    assert document.valid
    assert repr(document.data) == repr(expected)  # repr, since nan differs from itself
    known = set(document.positions.values) | set(document.positions.keys)
    assert known == paths_of(expected)


@pytest.mark.parametrize("text", AWKWARD.values(), ids=AWKWARD.keys())
def test_the_text_at_each_place_reads_back_as_the_value(text: str) -> None:
    document = read_toml(text.encode(), "job.toml")

    for path, value in leaves(document.data):
        if isinstance(value, dict | list) or path not in document.positions.values:
            continue
        written = cut(document, document.positions.values[path])
        assert repr(tomllib.loads(f"v = {written}")["v"]) == repr(value), path


@pytest.mark.parametrize("text", AWKWARD.values(), ids=AWKWARD.keys())
def test_the_text_at_each_key_reads_back_as_the_key(text: str) -> None:
    document = read_toml(text.encode(), "job.toml")

    for path, span in document.positions.keys.items():
        names = [step for step in path if isinstance(step, str)]
        assert list(tomllib.loads(f"{cut(document, span)} = 0")) == names[-1:], path


def test_a_table_stands_at_its_heading() -> None:
    document = read_toml(SPEC.encode(), "job.toml")

    assert document.positions.span(("job",)) == Span("job.toml", 2, 1, 2, 6)
    assert document.positions.span(("runs", 1)) == Span("job.toml", 20, 1, 20, 9)
    assert document.positions.key_span(("runs", 1)) == Span("job.toml", 20, 3, 20, 7)
    assert document.positions.span(("runs",)) == Span("job.toml", 12, 1, 12, 9)


def test_an_unknown_path_falls_back_to_its_nearest_parent() -> None:
    positions = read_toml(SPEC.encode(), "job.toml").positions

    assert positions.span(("runs", 0, "length")) == positions.span(("runs", 0))
    assert positions.key_span(("runs", 0, "conductors", 1, "wire", "x")) == positions.span(
        ("runs", 0, "conductors", 1)
    )
    assert positions.span(("pumps", 0)) == Span("job.toml", 1, 1, 1, 1)


def test_columns_count_characters_and_not_bytes() -> None:
    document = read_toml('a = ["é😀", 1]\n'.encode(), "job.toml")

    assert document.positions.span(("a", 1)) == Span("job.toml", 1, 12, 1, 13)


@pytest.mark.parametrize("broken", BROKEN_TEXTS, ids=lambda broken: broken.name)
def test_a_broken_text_is_refused_with_its_rule_and_place(broken: BrokenText) -> None:
    document = read_toml(broken.data, "job.toml")

    assert not document.valid
    assert [finding.rule for finding in document.findings] == [broken.rule]
    assert document.findings[0].places[0].line == broken.line
    assert broken.line in document.broken_lines
    assert_faults_have_places(document)


@pytest.mark.parametrize(
    ("text", "fix"),
    [
        ("size = 8 AWG\n", 'Write "8 AWG".'),
        ("length = 190 ft # one way\n", 'Write "190 ft".'),
        ("a = [8 AWG, 1]\n", 'Write "8 AWG".'),
        ("a = .5\n", "Write 0.5."),
        ("a = 5.\n", "Write 5.0."),
        ('title: "x"\n', "Write `title` = and the value."),
        ("[[runs]\n", "Close it with ]]."),
        ("[job\n", "Close it with ]."),
        ("water level = 1\n", "Join the words of the key with _."),
        ("a = True\n", "Write true or false, in small letters."),
        ("sun = [2.9 3.7]\n", "Write a comma before `3.7`."),
        ('a = "x" // y\n', "Write # in place of `//`."),
        ("a = “x”\n", 'Write " in its place, at both ends.'),
    ],
)
def test_the_finding_says_what_to_write_instead(text: str, fix: str) -> None:
    (finding,) = read_toml(text.encode(), "job.toml").findings

    assert finding.fix == fix


def test_all_faults_are_told_at_once_and_the_rest_is_kept() -> None:
    text = SPEC.replace('"us"', "us").replace("44.05", "44,05").replace('"R2"', '"R2')
    text = text.replace('from = "DS1.4"', "from = DS1.4")

    document = read_toml(text.encode(), "job.toml")

    assert [finding.places[0].line for finding in document.findings] == [5, 8, 17, 21]
    assert document.data["job"] == {
        "title": "Cedar Fold: dug well",
        "date": tomllib.loads("d=2026-05-02")["d"],
    }
    assert document.data["site"] == {"sun": [2.9, 3.7, 4.6]}
    assert len(document.data["runs"]) == 2
    assert document.data["runs"][0]["conductors"] == [{"from": "DS1.2", "to": "CB1.pv+", "color": "red"}]
    assert document.broken_lines >= {5, 8, 17, 21}
    assert not document.broken_lines & {2, 3, 4, 7, 9, 10, 12, 13, 14, 20}
    assert document.positions.span(("site", "sun", 2)) == Span("job.toml", 10, 8, 10, 11)


def test_keys_under_a_broken_heading_do_not_join_the_table_before() -> None:
    document = read_toml(b'[job]\ntitle = "a"\n[site\ntitle = "b"\n[tank]\ntag = "T"\n', "job.toml")

    assert document.data == {"job": {"title": "a"}, "tank": {"tag": "T"}}
    assert len(document.findings) == 1
    assert document.broken_lines == {3, 4}


def test_keys_under_a_second_heading_do_not_join_the_table_before() -> None:
    document = read_toml(b"[a]\nx = 1\n[b]\ny = 1\n[a]\ny = 2\n[c]\n", "job.toml")

    assert document.data == {"a": {"x": 1}, "b": {"y": 1}, "c": {}}
    (finding,) = document.findings
    assert [place.line for place in finding.places] == [5, 1]
    assert document.broken_lines == {5, 6}


def test_a_key_that_stands_twice_names_both_places() -> None:
    document = read_toml(b'[a]\nx = 1\n[b]\nx = 2\ny = 3\n"z" = 4\nx = 5\n', "job.toml")

    (finding,) = document.findings
    assert [place.line for place in finding.places] == [7, 4]
    assert document.data == {"a": {"x": 1}, "b": {"x": 2, "y": 3, "z": 4}}


def test_line_ends_and_mark_of_other_systems_are_accepted() -> None:
    document = read_toml(b"\xef\xbb\xbf[a]\r\nb = 1\r\n", "job.toml")

    assert document.valid
    assert document.positions.span(("a",)) == Span("job.toml", 1, 1, 1, 4)
    assert document.positions.span(("a", "b")) == Span("job.toml", 2, 5, 2, 6)


def test_a_spec_cut_anywhere_is_read_or_refused_with_a_place() -> None:
    data = SPEC.replace("Cedar", "Zédar").encode()

    for length in range(len(data)):
        document = read_toml(data[:length], "job.toml")
        assert_faults_have_places(document)
        assert document.valid == (parses(data[:length]) and bool(document.data))


def parses(data: bytes) -> bool:
    """The standard parser's word, which is final."""
    try:
        tomllib.loads(data.decode().removeprefix("\ufeff"))
    except (ValueError, RecursionError):
        return False
    return True


def assert_never_wrong_in_silence(data: bytes) -> None:
    document = read_toml(data, "job.toml")

    assert_faults_have_places(document)
    assert document.valid == (parses(data) and bool(document.data))
    assert paths_of(document.data) >= set(document.positions.values)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    assert_never_wrong_in_silence(data)


MARKS = ('"', "'", '"""', "'''", "[", "]", "{", "}", ",", "=", ".", "#", "\n", "\r", "\\", " ", "\0", "\x01")
PIECES = (
    "[[a]]\n",
    "[a]\n",
    "a",
    "b = 1\n",
    "8 AWG",
    "2026-05-02",
    "é",
    "“",
    "//",
    "1.5",
    "true",
    "{ a = 1 }",
)
SNIPPETS = st.sampled_from((*MARKS, *PIECES))


@settings(max_examples=300)
@given(st.lists(SNIPPETS, max_size=40).map("".join))
def test_any_heap_of_syntax_is_read_or_refused(text: str) -> None:
    assert_never_wrong_in_silence(text.encode())


@given(st.lists(st.tuples(st.integers(0, len(SPEC)), st.integers(0, 6), SNIPPETS), min_size=1, max_size=5))
def test_any_mutation_of_a_spec_is_read_or_refused(edits: list[tuple[int, int, str]]) -> None:
    text = SPEC
    for at, length, new in edits:
        text = text[:at] + new + text[at + length :]

    assert_never_wrong_in_silence(text.encode())


@pytest.mark.parametrize(
    "unit",
    [
        b"[",
        b"x\n",
        b"a=1\n",
        b'"',
        b'a="""\n',
        b"a={\n",
        b"=",
        b"a.",
        b"a=[\n",
        b"1,",
        b"\xff",
        b"k='\n",
        b"[a]\n",
    ],
)
def test_a_megabyte_of_garbage_is_refused_at_once(unit: bytes) -> None:
    data = unit * (1_000_000 // len(unit))

    with ends_in_sensible_time():
        document = read_toml(data, "job.toml")

    assert not document.valid


@pytest.mark.parametrize(
    "unit",
    [b"x\n", b"x ", b"a" * 50 + b" ", b"a.b ", b"=\n", b"a=1\n", b"a=1-", b"[a]\n", b"a=[{\n}]\n", b"{a=[]}"]
    + [b'a="""\n', b'"""\\', b"'''\"\"\"", b"a=['\n]\n", b'"a" ', b'"\\"'],
)
@pytest.mark.parametrize("start", [b"", b"k ", b"k = ", b"k = [", b'k = """'])
def test_long_garbage_that_is_looked_at_thoroughly_ends_too(start: bytes, unit: bytes) -> None:
    with ends_in_sensible_time():
        document = read_toml(start + unit * (100_000 // len(unit)), "job.toml")

    assert document.findings
