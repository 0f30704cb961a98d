"""Labels to cut out: the texts of the label schedule, each as often as it is needed."""

from __future__ import annotations

from dataclasses import dataclass

from specc.documents.label_schedule import NOT_KNOWN, Label, labels_of
from specc.system.system import System

MOST_COPIES = 6  # of one label; a long raceway takes more, and the sheet is printed again
_SMALL_MAIN, _SMALL_REST = 44, 130  # characters that a small label holds
_SIGNAL_WORDS = ("WARNING", "CAUTION", "DANGER")


@dataclass(frozen=True)
class Placard:
    """One label as it is cut out. ``main`` stands in large letters, ``lines`` below it.

    It is number ``copy`` of ``copies`` alike.
    """

    hangs_at: str
    name: str
    main: str
    lines: tuple[str, ...]
    copy: int = 1
    copies: int = 1

    @property
    def wide(self) -> bool:
        """Too much text for a small label?"""
        return len(self.main) > _SMALL_MAIN or sum(map(len, self.lines)) > _SMALL_REST

    @property
    def complete(self) -> bool:
        """False where a value is not known: such a label is not hung."""
        return not any(NOT_KNOWN in text for text in (self.main, *self.lines))


def placards(system: System) -> tuple[Placard, ...]:
    """Every label of the job but the conductor tags, which are printed on sleeves; the wide ones last."""
    made = (
        placard for label in labels_of(system) if label.name != "conductor tag" for placard in _copies(label)
    )
    return tuple(sorted(made, key=lambda placard: placard.wide))


def _copies(label: Label) -> list[Placard]:
    main, lines = split_text(label.text)
    return [
        Placard(label.tag, label.name, main, lines, number, label.count)
        for number in range(1, min(label.count, MOST_COPIES) + 1)
    ]


def split_text(text: str) -> tuple[str, tuple[str, ...]]:
    """The main line and the rest: a sentence a line; a signal word leads the main line.

    >>> split_text("WARNING. BOTH SIDES LIVE. Open DS1 too.")
    ('WARNING: BOTH SIDES LIVE', ('Open DS1 too.',))
    """
    sentences = text.removesuffix(".").split(". ")
    if sentences[0] in _SIGNAL_WORDS and len(sentences) > 1:
        sentences = [f"{sentences[0]}: {sentences[1]}", *sentences[2:]]
    return sentences[0], tuple(f"{sentence}." for sentence in sentences[1:])
