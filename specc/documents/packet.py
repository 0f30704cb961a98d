"""The packet: everything that the printed set of sheets says, with no formatting.

A packet is put together from finished stages (tables, drawings, findings, worked numbers)
and holds only values. How it looks is the business of ``specc.rendering``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Any, Literal

from specc.calculation import Calculation
from specc.diagnostics import Finding, Severity, Verdict, folded, in_order
from specc.documents.commissioning import commissioning_table
from specc.documents.commissioning.model import Commissioning
from specc.documents.placards import Placard
from specc.documents.shapes import Drawing
from specc.documents.tables import Table
from specc.reading.logo import Logo
from specc.system.other_book import AlsoUnder

Paper = Literal["letter", "a4"]
UnitSystem = Literal["us", "si"]

# What a caution may depend on. One that is not ruled out is printed.
CIRCUMSTANCES = (
    "always",
    "battery",
    "building array",
    "controller",
    "drawn well",
    "functional earth",
    "open water",
    "potable",
    "well",
)


@dataclass(frozen=True)
class JobHeader:
    """Who the packet is for and what it was worked out by; ``units`` is how numbers print."""

    title: str
    number: str
    prepared_for: str
    prepared_by: str
    date: date
    rulebook: str  # the title of the rulebook, ready to print
    units: UnitSystem
    revision: str = ""
    rulebook_short: str = ""  # for the footer; else the title, cut
    firm: tuple[str, ...] = ()  # its name, then lines of address
    logo: Logo | None = None


@dataclass(frozen=True)
class DrawingSheet:
    """One drawing as SVG text, the size of its paper in mm, and its blank border outside the frame in mm.

    ``shapes`` is the drawing itself, for other forms than SVG.
    """

    title: str
    svg: str
    width_mm: float
    height_mm: float
    border_mm: float = 0.0
    shapes: Drawing | None = None


@dataclass(frozen=True)
class Caution:
    """A hazard, one short line for the first page, the full text, and when it applies.

    ``figures`` names what is worked out for the job and printed behind the text, "" for nothing;
    ``on_cover`` is False where the first page can do without.
    """

    hazard: str
    short: str
    text: str
    when: str = "always"
    figures: str = ""
    on_cover: bool = True


@dataclass(frozen=True)
class CautionTexts:
    """The standing texts of a packet: who governs, what was never looked at, and the cautions."""

    general: tuple[str, ...]
    not_looked_at: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def without(self, ruled_out: Collection[str]) -> CautionTexts:
        """The texts less the cautions whose circumstance is known not to hold.

        What nobody ruled out stays, so a fact that the spec does not give never drops a caution.

        Raises:
            ValueError: a circumstance that no caution can have, or "always".
        """
        if unknown := sorted(set(ruled_out) - set(CIRCUMSTANCES[1:])):
            raise ValueError(f"no caution depends on {', '.join(unknown)}")
        kept = tuple(caution for caution in self.cautions if caution.when not in ruled_out)
        return CautionTexts(self.general, self.not_looked_at, kept)


def read_caution_texts(text: str) -> CautionTexts:
    """The caution texts from TOML. Raises ValueError for text that is not TOML, else as below."""
    return caution_texts_of(tomllib.loads(text))


def caution_texts_of(data: Mapping[str, Any]) -> CautionTexts:
    """The caution texts from the tables of the file.

    Raises:
        ValueError: an empty text, or an unknown circumstance.
        KeyError, TypeError: a missing or surplus key.
    """
    general = data["general"]
    if not all(isinstance(general[key], list) for key in ("paragraphs", "not_looked_at")):
        raise ValueError("the paragraphs and what is not looked at are lists of texts")
    texts = CautionTexts(
        general=tuple(general["paragraphs"]),
        not_looked_at=tuple(data["general"]["not_looked_at"]),
        cautions=tuple(Caution(**entry) for entry in data["cautions"]),
    )
    for caution in texts.cautions:
        if caution.when not in CIRCUMSTANCES:
            raise ValueError(f"caution {caution.hazard!r} depends on the unknown {caution.when!r}")
        if not (caution.hazard.strip() and caution.short.strip() and caution.text.strip()):
            raise ValueError(f"caution {caution.hazard!r} has an empty text")
    if not (texts.general and texts.not_looked_at and texts.cautions):
        raise ValueError("the caution texts leave out a whole part")
    return texts


@dataclass(frozen=True)
class VerdictSummary:
    """How many answers of each kind the rules gave; ``violated`` counts what nobody accepted, by severity."""

    violated: tuple[tuple[Severity, int], ...]
    accepted: int
    satisfied: int
    not_checked: int

    @property
    def answers(self) -> int:
        """All answers together, those that could not be given included."""
        return sum(count for _, count in self.violated) + self.accepted + self.satisfied + self.not_checked

    @property
    def stopped(self) -> bool:
        """True with an unaccepted danger or error."""
        return any(
            count for severity, count in self.violated if severity in (Severity.DANGER, Severity.ERROR)
        )

    @property
    def headline(self) -> str:
        """The result in one sentence. No answer at all, or a check not made, never reads as a pass."""
        if self.answers == 0:
            return "Nothing was checked: this packet says nothing about safety."
        counts = dict(self.violated)
        if self.stopped:
            found = _counted(
                (counts.get(Severity.DANGER, 0), "danger"), (counts.get(Severity.ERROR, 0), "error")
            )
            return f"Do not build from this packet: {found} to put right first."
        if self.not_checked:
            return f"No danger or error found, but {_plural(self.not_checked, 'check')} could not be made."
        return "No danger or error found in what was checked."

    @property
    def detail(self) -> str:
        """The counts in one sentence."""
        made = self.answers - self.not_checked
        noted = _counted(*((count, severity.value) for severity, count in self.violated))
        return (
            f"{_plural(made, 'check')} made, {self.satisfied} satisfied; {noted or 'nothing'} found; "
            f"{_plural(self.accepted, 'deviation')} accepted; {self.not_checked} not checked."
        )


def summarise(findings: Iterable[Finding]) -> VerdictSummary:
    """Count the answers of the rules."""
    distinct = folded(in_order(findings))
    violated = [f for f in distinct if f.verdict is Verdict.VIOLATED]
    return VerdictSummary(
        violated=tuple(
            (severity, sum(1 for f in violated if f.severity is severity and not f.accepted))
            for severity in Severity
        ),
        accepted=sum(1 for f in violated if f.accepted),
        satisfied=sum(1 for f in distinct if f.verdict is Verdict.SATISFIED),
        not_checked=sum(1 for f in distinct if f.verdict is Verdict.NOT_CHECKED),
    )


@dataclass(frozen=True)
class SheetTitle:
    """A sheet of the packet: the anchor it is linked by and its title."""

    anchor: str
    title: str


@dataclass(frozen=True)
class Packet:
    """Everything a packet prints, in sheet order.

    ``findings`` holds every answer of the rules, satisfied ones too, for the counts.
    ``accepted_by`` says who accepted a deviation, by (rule id, subject).

    Raises:
        ValueError: an unknown paper or unit system; a job with a danger or error that is
            not marked as a draft; a danger that claims to be accepted.
    """

    header: JobHeader
    drawings: tuple[DrawingSheet, ...]
    conductor_schedule: Table
    parts_list: Table
    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...]
    cautions: CautionTexts
    paper: Paper = "letter"
    draft: bool = False
    further_tables: tuple[Table, ...] = ()
    commissioning: Commissioning | None = None
    placards: tuple[Placard, ...] = ()
    choices: Table | None = None  # what stands for "auto", on the calculation sheet
    amendments: tuple[str, ...] = ()  # what an authority has otherwise than the tables, one line each
    also: AlsoUnder | None = None  # the findings of a second rulebook
    accepted_by: Mapping[tuple[str, str], str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        if self.paper not in ("letter", "a4"):
            raise ValueError(f"unknown paper {self.paper!r}")
        if self.header.units not in ("us", "si"):
            raise ValueError(f"unknown unit system {self.header.units!r}")
        if any(f.accepted and f.severity is Severity.DANGER for f in self.findings):
            raise ValueError("a danger cannot be accepted")
        if not self.draft and any(f.stops_the_job for f in self.findings):
            raise ValueError("a job with a danger or an error is published only as a draft")

    @property
    def verdict(self) -> VerdictSummary:
        return summarise(self.findings)

    @property
    def water_words(self) -> str:
        """Is the demand for water met through the year, in one sentence; empty where that is not known."""
        table = next((table for table in self.tables if table.name == "water-year"), None)
        rows = table.rows if table is not None else ()
        short = [
            (int(str(row["days_short"])), row["month"]) for row in rows if row.get("days_short") is not None
        ]
        if not short:
            return ""
        days, (most, month) = sum(n for n, _ in short), max(short, key=lambda found: found[0])
        if not days:
            return "Water: in an average year of sun the demand is met on every day."
        return (
            f"Water: in an average year of sun the demand is not met in full on {_plural(days, 'day')}, "
            f"most in {month} ({most}). See {table.title if table else ''}."
        )

    @property
    def tables(self) -> tuple[Table, ...]:
        """The schedules in the order of their sheets."""
        return (self.parts_list, self.conductor_schedule, *self.further_tables)

    @property
    def exported(self) -> tuple[Table, ...]:
        """Every table that is also written as a file of its own."""
        sheet = () if self.commissioning is None else (commissioning_table(self.commissioning),)
        return (*self.tables, *sheet)

    @property
    def sheets(self) -> tuple[SheetTitle, ...]:
        """The sheets in print order."""
        return (
            SheetTitle("cover", "Cover"),
            *(SheetTitle(f"drawing-{i}", sheet.title) for i, sheet in enumerate(self.drawings, 1)),
            *(SheetTitle(f"table-{i}", table.title) for i, table in enumerate(self.tables, 1)),
            *((SheetTitle("commissioning", "Commissioning sheet"),) if self.commissioning else ()),
            SheetTitle("findings", "Findings"),
            *((SheetTitle("findings-also", f"Findings also under {self.also.title}"),) if self.also else ()),
            SheetTitle("calculations", "Calculation sheet"),
            SheetTitle("cautions", "Cautions"),
            *((SheetTitle("placards", "Labels to cut out"),) if self.placards else ()),
        )

    def open_findings(self) -> tuple[Finding, ...]:
        """Violated rules that nobody accepted, worst first."""
        return folded(self._pick(Verdict.VIOLATED, accepted=False))

    def accepted_findings(self) -> tuple[Finding, ...]:
        """Deviations that the designer accepted."""
        return self._pick(Verdict.VIOLATED, accepted=True)

    def unchecked_findings(self) -> tuple[Finding, ...]:
        """Checks that could not be made."""
        return self._pick(Verdict.NOT_CHECKED, accepted=False)

    def also_verdict(self) -> VerdictSummary:
        """The counts of the second rulebook; of nothing where there is none."""
        return summarise(self.also.findings if self.also else ())

    def also_findings(self) -> tuple[Finding, ...]:
        """What the second rulebook finds violated, accepted or not checked, in print order."""
        found = self.also.findings if self.also else ()
        return folded(in_order(f for f in found if f.verdict is not Verdict.SATISFIED))

    def acceptor(self, finding: Finding) -> str:
        """Who accepted a deviation, or "not named"."""
        return self.accepted_by.get((finding.rule, finding.subject), "").strip() or "not named"

    def calculations_by_subject(self) -> tuple[tuple[str, tuple[Calculation, ...]], ...]:
        """The worked numbers grouped by what they are about, in order of first mention."""
        subjects = dict.fromkeys(calculation.subject for calculation in self.calculations)
        return tuple(
            (subject, tuple(c for c in self.calculations if c.subject == subject)) for subject in subjects
        )

    def worked(self, finding: Finding) -> tuple[int, ...]:
        """Which groups of the calculation sheet, counted from 1, work out numbers of what it is about."""
        wanted = set(finding.subject.split(", ")) - {""}
        return tuple(
            number
            for number, (about, _) in enumerate(self.calculations_by_subject(), 1)
            if wanted & set(about.split(", "))
        )

    def _pick(self, verdict: Verdict, *, accepted: bool) -> tuple[Finding, ...]:
        chosen = (f for f in self.findings if f.verdict is verdict and bool(f.accepted) is accepted)
        return in_order(chosen)


def _plural(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _counted(*counts: tuple[int, str]) -> str:
    """ "1 danger, 2 errors", without the zeros; "advice" has no plural."""
    return ", ".join(
        f"{count} advice" if noun == "advice" else _plural(count, noun) for count, noun in counts if count
    )
