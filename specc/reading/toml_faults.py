"""What is wrong with broken TOML, statement by statement, in plain sentences.

A TOML parser stops at its first error. Here the text is cut into statements (a key with its value,
or a table heading), each is tried alone, and the broken ones are blanked out, so that all faults
are told at once and the rest of the text can still be used.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One fault: a sentence, what to write instead, and offsets into the text (end exclusive)."""

    message: str
    fix: str
    start: int
    end: int


@dataclass(frozen=True)
class Mended:
    """The text with broken statements blanked out (same length, same lines), and their faults.

    ``broken`` holds the offsets (start, end) of the statements that had a fault.
    """

    text: str
    faults: tuple[Fault, ...]
    broken: tuple[tuple[int, int], ...]


_DEEPEST = 200  # brackets open at once; more are no value
_FAR = 200  # characters before a fault in which its key is sought

MOST_FAULTS = 50
"""More than so many are noise: the reading stops there."""


def mend(text: str) -> Mended:
    """Tries every statement of ``text`` alone. Lines end in "\\n"; never raises."""
    pieces: list[str] = []
    faults: list[Fault] = []
    broken: list[tuple[int, int]] = []
    done, line, orphans = 0, 1, False
    for start, end in statements(text):
        if len(faults) >= MOST_FAULTS:
            break
        piece = text[start:end]
        line += text.count("\n", done, start)
        heading = is_heading(piece)
        orphans = orphans and not heading
        if not _SIMPLE.fullmatch(piece) and complaint(piece):
            piece, found = _mend_piece(piece, line)
            faults += [replace(f, start=f.start + start, end=f.end + start) for f in found]
            broken.append((start, end))
            orphans = orphans or heading
        elif orphans:  # keys of a table whose heading is lost would land in the table before
            broken.append((start, end))
        if orphans:
            piece = blank(piece)
        pieces += text[done:start], piece
        line += piece.count("\n")
        done = end
    if len(faults) >= MOST_FAULTS:
        broken.append((done, len(text)))
        pieces.append(blank(text[done:]))
    else:
        pieces.append(text[done:])
    return Mended("".join(pieces), tuple(faults), tuple(broken))


def parse(text: str) -> dict[str, Any] | str:
    """The data, or what the TOML parser says against the text."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        return "nested too deep"
    except (ValueError, OverflowError) as error:  # the parser lets some of int() and date() through
        return str(error) or "Invalid value"


def complaint(text: str) -> str:
    """What the TOML parser says against the text; "" if nothing."""
    parsed = parse(text)
    return parsed if isinstance(parsed, str) else ""


def complaint_offset(text: str, message: str) -> int:
    """Where in ``text`` the parser's message points, as an offset; the end if it does not say."""
    match = re.search(r"\(at line (\d+), column (\d+)\)$", message)
    if not match:
        return len(text)
    offset = 0
    for _ in range(int(match[1]) - 1):
        offset = text.find("\n", offset) + 1
    return min(offset + int(match[2]) - 1, len(text))


def is_heading(statement: str) -> bool:
    """Whether a statement is the heading of a table, [name] or [[name]]."""
    return statement.lstrip().startswith("[")


def blank(text: str) -> str:
    """Blanks in place of all but the line ends."""
    return re.sub(r"[^\n]", " ", text)


# --- cutting into statements -------------------------------------------------------------------

_CONTROL = r"\x00-\x08\x0a-\x1f\x7f"
# Lines that are surely valid alone; most are of this kind, and trying each costs time.
_SIMPLE = re.compile(
    rf"""[ \t]*
    (?: (?: [A-Za-z0-9_-]+ [ \t]*=[ \t]*
            (?: "[^"\\{_CONTROL}]*" | [+-]?(?:0|[1-9][0-9]{{0,17}})(?:\.[0-9]{{1,17}})? | true | false )
          | \[[A-Za-z0-9_-]+\] | \[\[[A-Za-z0-9_-]+\]\]
        ) [ \t]*
    )?
    (?: \#[^{_CONTROL}]* )?""",
    re.VERBOSE,
)
_TOKEN = re.compile(r'"""|\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|["\']|#[^\n]*|[\[\]{}=,\n]')
_TEXT_END = {
    '"""': re.compile(r'(?:[^"\\]|\\.|"(?!""))*"{3,5}', re.DOTALL),
    "'''": re.compile(r"(?:[^']|'(?!''))*'{3,5}", re.DOTALL),
}
_KEY = r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')"
_ASSIGNMENT = rf"{_KEY}(?:[ \t]*\.[ \t]*{_KEY})*[ \t]*=(?!=)"
_HEADING = r"\[\[?[ \t]*(?!(?:true|false|inf|nan)\b)[A-Za-z_][A-Za-z0-9_ .-]*\]\]?[ \t]*(?:#[^\n]*)?(?:\n|$)"
_GAP = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*[ \t]*")
_NEXT_IS_NEW = re.compile(rf"{_HEADING}|{_ASSIGNMENT}")
_NEXT_IS_PAIR = re.compile(_ASSIGNMENT)


def statements(text: str) -> Iterator[tuple[int, int]]:
    """Offsets of each statement, without its line end; blank and comment lines count as statements."""
    start = 0
    while start <= len(text):
        line_end = text.find("\n", start)
        line_end = len(text) if line_end < 0 else line_end
        end = line_end
        if not _SIMPLE.fullmatch(text, start, line_end) and not is_heading(text[start:line_end]):
            end = _end_of_value(text, start)
        yield start, end
        start = end + 1


def _end_of_value(text: str, start: int) -> int:
    """Where the statement that starts here ends, guessing well where brackets stay open."""
    stack: list[str] = []
    at, code_start, code_end = start, start, -1
    while match := _TOKEN.search(text, at):
        token, at = match[0], match.end()
        if token in _TEXT_END:
            close = _TEXT_END[token].match(text, at)
            if not close:
                return line_end(text, at)
            at = close.end()
        elif token in ('"', "'"):  # never closed: nothing more of this line can be told
            at = line_end(text, at)
        elif token in ("[", "{"):
            stack.append(token)
            if len(stack) > _DEEPEST:
                return line_end(text, at)
        elif token in ("]", "}"):
            _close(stack, "[" if token == "]" else "{")
        elif token[0] == "#":
            code_end = match.start()
        elif token == "\n":
            code = text[code_start : match.start() if code_end < 0 else code_end].rstrip()
            gap = _GAP.match(text, at)
            ahead = gap.end() if gap else at
            if not _goes_on(stack, text, ahead, code[-1:]):
                return match.start()
            at, code_start, code_end = ahead, ahead, -1
    return len(text)


def line_end(text: str, at: int) -> int:
    """The offset of the end of the line at ``at``."""
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _close(stack: list[str], opener: str) -> None:
    """Takes the bracket off the stack, with all that was left open inside it."""
    if opener in stack:
        while stack.pop() != opener:
            pass


def _goes_on(stack: list[str], text: str, ahead: int, last: str) -> bool:
    """Whether a value with these open brackets, after the sign ``last``, continues at ``ahead``."""
    if stack and stack[-1] == "{":
        closes = text[ahead : ahead + 1] in ("}", ",")
        if closes or (last in (",", "{") and _NEXT_IS_PAIR.match(text, ahead)):
            return True
        while stack and stack[-1] == "{":
            stack.pop()
    return bool(stack) and ahead < len(text) and not _NEXT_IS_NEW.match(text, ahead)


# --- saying what is wrong ----------------------------------------------------------------------


def _mend_piece(piece: str, line: int) -> tuple[str, list[Fault]]:
    """The faults of a broken statement that starts at ``line``; of a long array only broken lines go."""
    found: list[Fault] = []
    mended, before = piece, "x = ["
    for match in re.finditer(r"(?<=\n)[ \t]*\{[^\n]*", piece):
        if len(found) >= MOST_FAULTS:
            break
        if match[0].rstrip().endswith("]"):  # the end of the array, not one element
            continue
        element = f"{before}{match[0]}\n]"
        if complaint(element):
            fault = _fault(element, line + piece.count("\n", 0, match.start()))
            shift = match.start() - len(before)
            start = max(fault.start, len(before)) + shift
            found.append(replace(fault, start=start, end=max(fault.end + shift, start + 1)))
            mended = mended[: match.start()] + blank(match[0]) + mended[match.end() :]
    if not found:
        return blank(piece), [_fault(piece, line)]
    return (blank(piece) if complaint(mended) else mended), found


@dataclass(frozen=True)
class _Form:
    """A way to err: what the parser says, what stands there, and what to tell the user.

    In the texts, {found} is what ``there`` matched, {key} the key, {value} the value as written,
    {quoted} the value in quotes, {line} the line of the opening bracket or quote; {raw_found} and
    {raw_value} stand without marks.
    """

    says: str
    there: str
    message: str
    fix: str = ""
    place: str = "found"  # or "value", "opening"


_CURLY = "[“”„‟‘’‚‛«»]"
_AFTER = "Expected newline or end"
_NO_EQUALS = "Expected '=' after"
_CURLY_MESSAGE = "The quotation mark {found} is a typeset one, and TOML knows straight ones alone."
_CURLY_FIX = 'Write " in its place, at both ends.'
_COMMENT = "A comment starts with #, not with {found}."
_COMMENT_FIX = "Write # in place of {found}."
_QUOTES = "The value {value} is text or has a unit, and stands without quotation marks."
_QUOTES_FIX = "Write {quoted}."
_NEWLINE = "The {{ of line {line} is not closed by }} on its line; an inline table stands on one line."
_NEWLINE_FIX = "Put all between {{ and }} on one line, and close it there."
_UNCLOSED = "The [ of line {line} is never closed by ]."
_UNCLOSED_FIX = "Write ] after the last value."
_COMMA = "A comma is missing before {found}."
_COMMA_FIX = "Write a comma before {found}."
_BACKSLASH = "A backslash inside double quotes starts a special sign, and this is none."
_BACKSLASH_FIX = "Write \\\\ for one backslash, or put the text in single quotes."
_QUOTE_OPEN = "The text that starts with {found} is not closed by a quotation mark."
_QUOTE_FIX = "Write the closing quotation mark after the text."
_BAD_KEY = "{found} cannot stand in a key: it has letters A to Z, digits, _ and - only."

# In order; the first that fits speaks. "there" is matched at the place that the parser names.
_FORMS = (
    _Form("", _CURLY, _CURLY_MESSAGE, _CURLY_FIX),
    _Form("", r"\r", "A lone carriage return stands here.", "Save the file with ordinary line ends."),
    _Form("Duplicate inline", "", "A key stands twice in one inline table.", "Keep one of the two."),
    _Form("Found invalid", "", "A control character stands in the comment.", "Delete it."),
    _Form("Unescaped", "", _BACKSLASH, _BACKSLASH_FIX),
    _Form("Invalid hex", "", _BACKSLASH, _BACKSLASH_FIX),
    _Form("Escaped character", "", _BACKSLASH, _BACKSLASH_FIX),
    _Form("Illegal character", r"[^\n]", "A control character stands in the text.", "Delete it."),
    _Form("Illegal character", "", _QUOTE_OPEN, _QUOTE_FIX, "opening"),
    _Form("Unterminated", "", _QUOTE_OPEN, _QUOTE_FIX, "opening"),
    _Form("""Expected "'""", "", _QUOTE_OPEN, _QUOTE_FIX, "opening"),
    _Form("Expected ']]'", "", "The heading starts with [[ and does not end with ]].", "Close it with ]]."),
    _Form("Expected ']'", r"\s*$", "The heading starts with [ and does not end with ].", "Close it with ]."),
    _Form(
        "Expected ']'",
        r"[^\]\n]+",
        "{found} does not fit into the heading: a table name has no blanks or other signs.",
        "Join the words with _ and close the heading with ].",
    ),
    _Form("Invalid statement", r"//|/\*|--|;", _COMMENT, _COMMENT_FIX),
    _Form("Invalid statement", r"=", "No key stands before the =.", "Write a key before it."),
    _Form("Invalid statement", r"[\]})]+", "{found} closes nothing that is open.", "Delete it."),
    _Form("Invalid statement", r"[^\s=]+", _BAD_KEY, "Write a key, =, and a value."),
    _Form(_NO_EQUALS, r":=?", "{found} stands where = is expected.", "Write {key} = and the value."),
    _Form(
        _NO_EQUALS,
        r"(?>(?:[\w-]+[ \t]*)+)(?==)",
        "The key has a blank in it before {found}.",
        "Join the words of the key with _.",
    ),
    _Form(
        _NO_EQUALS,
        r"[^\n#]*[^\s#]",
        "Between {key} and {found} the = is missing.",
        "Write {key} = and the value.",
    ),
    _Form(
        _NO_EQUALS,
        "",
        "{key} stands alone: = and a value are missing.",
        "Write {key} = and the value, or delete it.",
        "value",
    ),
    _Form("Invalid value", r"[=>]+", "{found} stands where the value is expected.", "Write one = only."),
    _Form("Invalid value", r",", "No value stands before this comma.", "Write a value, or delete the comma."),
    _Form("Invalid value", r"[\]})]", "{found} stands where a value is expected.", "Write a value."),
    _Form(
        "Invalid value",
        r"(?i:true|false|yes|no|on|off)(?=[\s,\]}#]|$)",
        "{found} is not known here: yes and no are written true and false.",
        "Write true or false, in small letters.",
    ),
    _Form(
        "Invalid value",
        r"(?i:none|null|nil)(?=[\s,\]}#]|$)",
        "{found} is not a value; what is not known is left out.",
        "Delete the key, or write its value.",
    ),
    _Form(
        "Invalid value", r"\.[0-9]+", "{found} has no digit before its point.", "Write 0{raw_found}.", "value"
    ),
    _Form("Invalid value", r"\[", "The value is not closed.", _UNCLOSED_FIX),
    _Form("Invalid value", r"[^\s#,\]}]", _QUOTES, _QUOTES_FIX, "value"),
    _Form(
        "Invalid value", r"[ \t]*(?:#|\n|$)(?=.*)", "The value of {key} is missing.", "Write it after the =."
    ),
    _Form(_AFTER, r"//|/\*|--", _COMMENT, _COMMENT_FIX),
    _Form(
        _AFTER,
        r"[,;][ \t]*(?=#|$)",
        "{found} stands after the value, where the line should end.",
        "Delete it.",
    ),
    _Form(_AFTER, _ASSIGNMENT, "A second key stands on the same line.", "Put {found} on a line of its own."),
    _Form(_AFTER, r"[\]})]+[ \t]*$", "{found} closes nothing that is open.", "Delete it."),
)
_AFTER_NUMBER = (
    _Form(_AFTER, r",[0-9]", "The number {value} has a comma in it.", "Write a point for decimals.", "value"),
    _Form(
        _AFTER,
        r"[0-9]*[-/.][0-9]",
        "{value} is neither a number nor a date.",
        "Write a date as year-month-day with two digits each for month and day, a text in quotes.",
        "value",
    ),
    _Form(_AFTER, r"[0-9]", "A number does not start with 0: {value}.", "Leave the zero out.", "value"),
    _Form(_AFTER, r"\.", "The number {value} has no digit after its point.", "Write {raw_value}0.", "value"),
    _Form("", r"[^\s\]},]", _QUOTES, _QUOTES_FIX, "value"),
)
_AFTER_TEXT = (
    _Form(
        _AFTER,
        r"[^\n]*\"",
        "A quotation mark inside the text ends it early: {value}.",
        'Put the text in single quotes, or write \\" for the mark inside.',
        "value",
    ),
    _Form(_AFTER, r"[^\n]+", "After the closing quotation mark stands {found}.", "Put it inside the quotes."),
)
_HEADING_FORMS = (
    _Form(
        _AFTER,
        r"[ \t]*\]+",
        "The heading ends with more brackets than it starts with.",
        "Write [[name]] or [name].",
    ),
    _Form(_AFTER, r"//|--|;", _COMMENT, _COMMENT_FIX),
    _Form(_AFTER, r"[^\n]+", "After the heading stands {found}.", "Put it on a line of its own."),
)
_IN_BRACKETS = (
    _Form(
        "Invalid value",
        _ASSIGNMENT,
        "The key {found} stands inside the [ of line {line}, where values are expected.",
        "Write the ] that is missing before it, or {{ }} round a key and its value.",
    ),
    _Form("Invalid initial", r"\}", "A comma stands before the closing brace.", "Delete the comma."),
    _Form("Invalid initial", r"[ \t]*(?:#[^\n]*)?(?:\n|$)", _NEWLINE, _NEWLINE_FIX, "opening"),
    _Form("Unclosed inline", r"[ \t]*(?:#[^\n]*)?(?:\n|$)", _NEWLINE, _NEWLINE_FIX, "opening"),
    _Form(
        "Unclosed inline", r"\]", "The {{ of line {line} is not closed by }}.", "Write }} first.", "opening"
    ),
    _Form("Unclosed inline", _ASSIGNMENT, _COMMA, _COMMA_FIX),
    _Form(
        "Unclosed inline",
        r"[^\n]*[\"']",
        "The quotation marks do not pair up before {found}.",
        "Write the quotation mark that is missing.",
    ),
    _Form("Unclosed array", r"\s*$", _UNCLOSED, _UNCLOSED_FIX, "opening"),
    _Form("Unclosed array", r"[})]", "The [ of line {line} is not closed by ].", "Write ] first.", "opening"),
    _Form("Unclosed array", r"[\[{]|\"[^\"\n]*\"?|'[^'\n]*'?|[0-9.+-]+", _COMMA, _COMMA_FIX),
    _Form("Invalid value", r"\s*$", _UNCLOSED, _UNCLOSED_FIX, "opening"),
)
_LAST_RESORT = (
    _Form(
        "Unclosed inline",
        r"[^\n]+",
        "{found} does not fit here: a comma or }} is expected.",
        "Write }} or a comma.",
    ),
    _Form(
        "Unclosed array",
        r"[^\n]+",
        "{found} does not fit here: a comma or ] is expected.",
        "Write ] or a comma.",
    ),
    _Form("Invalid initial", r"[\].]|$", "A name is missing here.", "Write the name."),
    _Form("Invalid initial", r"[^\n]", _BAD_KEY, "Write another key, or put it in quotation marks."),
    _Form("", r"[^\n]+|", "TOML does not allow {found} here.", "Delete it, or put text in quotation marks."),
)


@dataclass(frozen=True)
class _Context:
    """What is open at a place: brackets, an unclosed quote, and where the value there started."""

    value_start: int
    open_brackets: tuple[int, ...]
    open_quote: int | None


def _context(piece: str, offset: int) -> _Context:
    value_start, at = 0, 0
    brackets: list[int] = []
    while (match := _TOKEN.search(piece, at)) and match.start() <= offset:
        token, at = match[0], match.end()
        if token in _TEXT_END:
            close = _TEXT_END[token].match(piece, at)
            if not close:
                return _Context(value_start, tuple(brackets), match.start())
            at = close.end()
        elif token in ('"', "'"):
            return _Context(value_start, tuple(brackets), match.start())
        elif match.start() == offset:
            break
        elif token in ("[", "{"):
            brackets.append(match.start())
            value_start = at
        elif token in ("]", "}") and brackets:
            brackets.pop()
        elif (token == "=" and (brackets or not value_start)) or (token == "," and brackets):
            value_start = at
    return _Context(value_start, tuple(brackets), None)


def _value_at(piece: str, offset: int, around: _Context) -> tuple[int, int]:
    """Start and end of the value, as written, that stands at ``offset``."""
    start = min(around.value_start, offset)
    ends = r"[,\]}#\n]" if around.open_brackets else r"[#\n]"
    match = re.compile(ends).search(piece, offset)
    written = piece[start : match.start() if match else len(piece)]
    start += len(written) - len(written.lstrip())
    return start, start + len(written.strip())


def _forms(piece: str, around: _Context, value: str) -> tuple[_Form, ...]:
    """The forms to try, in order, for a fault with this surrounding."""
    first: tuple[_Form, ...] = _IN_BRACKETS if around.open_brackets else ()
    then: tuple[_Form, ...] = ()
    if is_heading(piece):
        first = _HEADING_FORMS
    elif re.match(r"[0-9+-]", value):
        then = _AFTER_NUMBER
    elif re.match(r"[\"']", value):
        then = _AFTER_TEXT
    return first + _FORMS + then + _LAST_RESORT


def _fault(piece: str, line: int) -> Fault:
    """The fault of a statement that the parser refuses, in offsets of the piece."""
    said = complaint(piece)
    offset = complaint_offset(piece, said)
    around = _context(piece, offset)
    start, end = _value_at(piece, offset, around)
    value = piece[start:end]
    form, match = next(
        (form, match)
        for form in _forms(piece, around, value)
        if said.startswith(form.says) and (match := re.compile(form.there, re.MULTILINE).match(piece, offset))
    )
    opening = around.open_quote
    if opening is None:
        opening = around.open_brackets[-1] if around.open_brackets else 0
    found = match[0]
    if form.place == "opening":
        start, end = opening, opening + 1
        found = piece[start:].split("\n", 1)[0]
    elif form.place == "found" or start == end:
        start, end = match.span()
    keys = re.findall(rf"{_KEY}(?=[ \t]*(?:=|$))|^[ \t]*{_KEY}", piece[max(0, offset - _FAR) : offset])
    words = {
        "found": _shown(found) or "the end of the line",
        "key": _shown(keys[-1]) if keys else "the key",
        "value": _shown(value),
        "quoted": '"' + _shortened(value.replace('"', "").replace("\\", "")) + '"',
        "raw_found": _shortened(found),
        "raw_value": _shortened(value),
        "line": line + piece.count("\n", 0, opening),
    }
    if start > 0 and piece[start : start + 1] in ("", "\n"):  # point at the last sign, not behind it
        start -= 1
    end = max(min(end, line_end(piece, start)), start + 1)
    return Fault(form.message.format(**words), form.fix.format(**words), start, end)


def _shown(written: str) -> str:
    return f"`{_shortened(written)}`" if written.strip() else ""


def _shortened(written: str) -> str:
    """One printable line of at most some 40 signs."""
    line = "".join(sign if sign.isprintable() else "?" for sign in written.strip()[:41])
    return line if len(line) <= 40 else line[:37] + "..."
