"""What a commissioning sheet is made of: steps, the readings of each, and how some follow sun and heat."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Reading:
    """One thing to read or see, and what it should be.

    ``expected`` and ``accept`` are ready to print. ``value``, ``lowest`` and ``highest`` are the same in SI,
    of the kind ``dimension`` (a key of ``units.DIMENSIONS``), None where there is no number. A reading that
    follows the moment has ``standard``, its SI value at 1000 W/m² and cells at 25 °C, which changes with the
    cell temperature by ``cell_coefficient_per_k`` and, where ``with_light``, in proportion to the light.
    ``missing`` names the datum without which nothing can be expected.
    """

    place: str
    at: str
    expected: str
    accept: str = ""
    value: float | None = None
    lowest: float | None = None
    highest: float | None = None
    dimension: str = ""
    tags: tuple[str, ...] = ()
    standard: float | None = None
    cell_coefficient_per_k: float = 0.0
    with_light: bool = False
    missing: str = ""


@dataclass(frozen=True)
class Dependence:
    """A small table of how a reading follows the light or the cell temperature of the moment."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    formula: str


@dataclass(frozen=True)
class Step:
    """One test of the sheet with its readings; ``number`` counts the tests that apply to the job.

    ``live`` where the array is uncovered, so that light and cell temperature belong to the reading.
    """

    number: int
    id: str
    stage: str
    title: str
    how: str
    if_not: str
    readings: tuple[Reading, ...]
    dependences: tuple[Dependence, ...] = ()
    live: bool = True


@dataclass(frozen=True)
class Commissioning:
    """The sheet. ``left_out`` names the tests that do not apply to this job."""

    steps: tuple[Step, ...]
    notes: tuple[str, ...]
    next_check: str
    left_out: tuple[str, ...]

    def stages(self) -> tuple[tuple[str, tuple[Step, ...]], ...]:
        """The steps under the titles of their stages, in order."""
        titles = dict.fromkeys(step.stage for step in self.steps)
        return tuple((title, tuple(s for s in self.steps if s.stage == title)) for title in titles)
