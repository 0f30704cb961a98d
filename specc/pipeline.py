"""The whole route on one screen: read, connect, solve, check, schedule, draw, publish.

Texts go in, values come out: no disk, no clock, no network, but for the ``read_file`` that a caller
hands in. The heavy stages (drawing, HTML, PDF) are imported only when they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from specc.calculation import Calculation, merged
from specc.diagnostics import Finding, Severity, Verdict, in_order
from specc.reading.read import ReadFile, read_spec
from specc.system.connect import connect
from specc.system.system import System, solve

if TYPE_CHECKING:
    from specc.documents.packet import DrawingSheet, Packet
    from specc.documents.tables import Table

Tell = Callable[[str], None]
XML_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'


@dataclass(frozen=True)
class Compiled:
    """What a spec comes to. ``system`` is None where the spec could not be read."""

    file: str
    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...] = ()
    system: System | None = None

    @property
    def exit_status(self) -> int:
        """0 clean, 1 a danger or an error, 2 could not be read."""
        if self.system is None:
            return 2
        return 1 if any(f.stops_the_job for f in self.findings) else 0

    def count(self, severity: Severity) -> int:
        """Unaccepted violations of a severity."""
        return sum(
            1
            for f in self.findings
            if f.verdict is Verdict.VIOLATED and f.severity is severity and not f.accepted
        )


def compile_spec(data: bytes, file: str, read_file: ReadFile, *, strict: bool = False) -> Compiled:
    """Reads, connects, solves and checks a job spec. ``strict`` raises what would be our own bug."""
    reading = read_spec(data, file, read_file)
    if reading.description is None:
        return Compiled(file, in_order(reading.findings))
    connected, wrong = connect(reading.description)
    if connected is None:
        return Compiled(file, in_order(wrong))
    system = solve(connected)
    from specc.rules.engine import check

    checked = check(system, strict=strict)
    return Compiled(file, checked.findings, checked.calculations, system)


def schedules(system: System) -> tuple[Table, ...]:
    """The schedules of a job: conductors, then parts."""
    from specc.documents.conductor_schedule import conductor_schedule
    from specc.documents.parts_list import parts_list

    return (conductor_schedule(system), parts_list(system))


def drawing(system: System, *, draft: bool) -> DrawingSheet:
    """The one-line diagram on its sheet."""
    from specc.documents.drafting.look import papers_of
    from specc.documents.layout import lay_out
    from specc.documents.one_line import one_line
    from specc.documents.packet import DrawingSheet
    from specc.rendering.svg import render_drawing

    sheet = lay_out(
        one_line(system, draft=draft), papers_of("us" if system.book.paper == "letter" else "iso")
    )
    return DrawingSheet(
        "One-line diagram", render_drawing(sheet), sheet.width, sheet.height, sheet.frame.left
    )


def packet(compiled: Compiled, *, draft: bool) -> Packet:
    """The packet of a job that could be read. Raises ``ValueError`` for a stopped job that is no draft."""
    from specc.documents.cautions import cautions_for
    from specc.documents.packet import JobHeader, Packet

    system = compiled.system
    assert system is not None
    job = system.job
    conductors, parts = schedules(system)
    return Packet(
        header=JobHeader(
            job.title,
            job.number,
            job.prepared_for,
            job.prepared_by,
            job.date,
            system.book.title,
            job.units,
            job.revision,
        ),
        drawings=(drawing(system, draft=draft),),
        conductor_schedule=conductors,
        parts_list=parts,
        findings=compiled.findings,
        calculations=merged((*system.calculations(), *compiled.calculations)),
        cautions=cautions_for(system),
        paper="letter" if system.book.paper == "letter" else "a4",
        draft=draft,
        accepted_by={(e.model.rule, e.model.on): e.model.by for e in system.description.all("accepted")},
    )


@dataclass(frozen=True)
class Files:
    """What a build writes, by file name; ``no_pdf`` says why there is no PDF, and how to get one."""

    contents: Mapping[str, bytes]
    no_pdf: str = ""


def build(compiled: Compiled, *, draft: bool, tell: Tell = lambda step: None) -> Files:
    """Every file of a packet. ``tell`` is called with the name of each slow step before it starts."""
    from specc.rendering.files_json import calculations_json, findings_json, system_json
    from specc.rendering.html import packet_html
    from specc.rendering.pdf import PdfUnavailable, packet_pdf
    from specc.rendering.tables_csv import table_csv
    from specc.rendering.tables_json import table_json

    system = compiled.system
    assert system is not None
    tell("drawing the one-line diagram")
    made = packet(compiled, draft=draft)
    files: dict[str, bytes] = {}
    for table in made.tables:
        files[f"{table.name}.csv"] = table_csv(table, made.header.units)
        files[f"{table.name}.json"] = table_json(table)
    files["one-line.svg"] = (XML_HEAD + made.drawings[0].svg).encode()
    files["findings.json"] = findings_json(compiled.file, system.job, compiled.findings)
    files["calculations.json"] = calculations_json(made.calculations)
    files["system.json"] = system_json(system)
    files["packet.html"] = packet_html(made).encode()
    tell("setting the packet")
    try:
        files["packet.pdf"] = packet_pdf(made)
    except PdfUnavailable as lack:
        return Files(files, str(lack))
    return Files(files)
