"""A worked number: value, formula, inputs and source, as the calculation sheet prints it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Input:
    """One input of a worked number: SI value, its dimension, and where it was read."""

    symbol: str
    value: float
    dimension: str  # a key of units.DIMENSIONS, or "number"
    origin: str  # "PV1, catalogue", "[site] coldest_air", "Table 310.16"


@dataclass(frozen=True)
class Calculation:
    """One number that can be traced: ``what`` of ``subject`` = ``formula``, from ``inputs``.

    ``value`` is SI; ``dimension`` is a key of ``units.DIMENSIONS`` or "number".
    ``source`` names the clause, handbook or formula that the number rests on.
    """

    what: str
    subject: str
    symbol: str
    value: float
    dimension: str
    formula: str
    inputs: tuple[Input, ...]
    source: str


def merged(calculations: Iterable[Calculation]) -> tuple[Calculation, ...]:
    """The numbers without repeats; those alike in all but their subject become one with all subjects.

    A run of like conductors is worked out once on paper, not once a conductor.
    """
    together: dict[Calculation, tuple[Calculation, dict[str, None]]] = {}
    for calculation in calculations:
        _, subjects = together.setdefault(_of_each(calculation), (calculation, {}))
        subjects.update(dict.fromkeys(calculation.subject.split(", ")))
    return tuple(
        first if len(subjects) == 1 else replace(alike, subject=", ".join(subjects))
        for alike, (first, subjects) in together.items()
    )


def _of_each(calculation: Calculation) -> Calculation:
    """The number without its subject: where an input was read of that subject, it is read of each."""
    tag = re.compile(rf"(?<![\w.]){re.escape(calculation.subject)}(?![\w.])") if calculation.subject else None
    return replace(
        calculation,
        subject="",
        inputs=tuple(
            replace(each, origin=tag.sub("each", each.origin) if tag else each.origin)
            for each in calculation.inputs
        ),
    )
