"""The index of a diagram over several sheets: every tag, what it is, and the sheets on which it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from specc.documents.diagram import TitleBlock
from specc.documents.drafting.lettering import Line, place_line, text_width
from specc.documents.drafting.look import Paper, read_look
from specc.documents.drafting.sheet import Around, empty_sheet, title_of
from specc.documents.shapes import Drawing, Rect, Rule, Text

HEADINGS = ("tag", "what", "sheet")
APART = 3.0  # mm between the fields of an entry
BETWEEN = 6.0  # mm between two columns


@dataclass(frozen=True)
class Entry:
    """A tag of the diagram, what it is, and the numbers of its sheets."""

    tag: str
    words: str
    sheets: tuple[int, ...]

    @property
    def where(self) -> str:
        """The numbers of its sheets: "1, 2"."""
        return ", ".join(str(sheet) for sheet in self.sheets)


def index_note(entries: Sequence[Entry]) -> str:
    """The index as one sentence, sheet by sheet; what stands on several sheets is named at each."""
    numbers = sorted({sheet for entry in entries for sheet in entry.sheets})
    parts = [
        f"sheet {n}: {', '.join(entry.tag for entry in _sorted(entries) if n in entry.sheets)}"
        for n in numbers
    ]
    return f"Tags by {'; '.join(parts)}."


def _sorted(entries: Sequence[Entry]) -> list[Entry]:
    """By tag, numbers in their order: R2 before R10."""

    def key(entry: Entry) -> list[tuple[bool, int, str]]:
        return [(p.isdigit(), int(p) if p.isdigit() else 0, p) for p in re.split(r"(\d+)", entry.tag)]

    return sorted(entries, key=key)


def index_sheets(
    entries: Sequence[Entry], block: TitleBlock, paper: Paper, first: int, count: int
) -> tuple[Drawing, ...]:
    """Sheets with the index in columns, numbered from ``first`` of ``count``."""
    left = _sorted(entries)
    drawings: list[Drawing] = []
    while left:
        numbered = replace(block, sheet=f"{first + len(drawings)} of {count}")
        sheet = empty_sheet(Around(numbered), paper)
        texts, done = _columns(left, sheet.room, paper)
        listed = "; ".join(f"{each.tag} ({each.words}), sheet {each.where}" for each in left[:done])
        drawings.append(
            Drawing(
                title=title_of(numbered),
                description=f"Index of tags. {listed}.",
                paper=paper.name,
                width=paper.width,
                height=paper.height,
                frame=sheet.frame,
                scale=1.0,
                draft=block.draft,
                symbols=(),
                wires=(),
                marks=(),
                outlines=(),
                texts=(*texts, *sheet.texts),
                rules=(*sheet.rules, *_lines(texts, sheet.room)),
                images=sheet.images,
            )
        )
        left = left[done:]
    return tuple(drawings)


def _columns(entries: Sequence[Entry], room: Rect, paper: Paper) -> tuple[list[Text], int]:
    """The texts of as many entries as the room takes, and how many those are; at least one."""
    look = read_look()
    size = look.text["note"] * paper.enlarged
    pitch = size * look.line_pitch
    rows = max(int(room.height / pitch) - 1, 1)  # under the headings
    widths = [
        max(
            text_width(text, size, bold=place == 0)
            for text in (heading, *(_fields(e)[place] for e in entries))
        )
        for place, heading in enumerate(HEADINGS)
    ]
    step = sum(widths) + 2 * APART + BETWEEN
    texts: list[Text] = []
    done, left = 0, room.left
    while done < len(entries) and (done == 0 or left + step - BETWEEN <= room.right):
        column = [HEADINGS, *(_fields(entry) for entry in entries[done : done + rows])]
        for row, fields in enumerate(column):
            x = left
            for place, (field, width) in enumerate(zip(fields, widths, strict=True)):
                line = Line(field, size, bold=place == 0, role="heading" if row == 0 else "index")
                texts.append(
                    place_line(line, x, room.top + (row + 0.8) * pitch, tag=fields[0] if row else "")
                )
                x += width + APART
        done += len(column) - 1
        left += step
    return texts, done


def _fields(entry: Entry) -> tuple[str, str, str]:
    return entry.tag, entry.words, entry.where


def _lines(texts: Sequence[Text], room: Rect) -> Iterator[Rule]:
    """A line below the headings."""
    low = max((text.box.bottom for text in texts if text.role == "heading"), default=room.top)
    yield Rule((room.left, low + 0.1), (room.right, low + 0.1), read_look().line["thin"])
