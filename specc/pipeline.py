"""The whole route on one screen: read, size, connect, solve, check, schedule, draw, publish.

Texts go in, values come out: no disk, no clock, no network, but for the ``read_file`` that a caller
hands in. The heavy stages (drawing, HTML, PDF) are imported only when they are asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from specc.calculation import Calculation, merged
from specc.choices import Choice
from specc.diagnostics import Finding, Severity, Verdict, in_order
from specc.reading.read import ReadFile, read_spec
from specc.rulebooks import load_rulebook
from specc.system.connect import connect
from specc.system.system import System, solve

if TYPE_CHECKING:
    from specc.documents.charts import Chart
    from specc.documents.commissioning.model import Commissioning
    from specc.documents.drafting.look import Paper
    from specc.documents.packet import DrawingSheet, Packet
    from specc.documents.shapes import Drawing
    from specc.documents.tables import Table
    from specc.reading.read import Description
    from specc.system.other_book import AlsoUnder
    from specc.templates import Templates

Tell = Callable[[str], None]
XML_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'


@dataclass(frozen=True)
class Compiled:
    """What a spec comes to. ``system`` is None where the spec could not be read."""

    file: str
    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...] = ()
    system: System | None = None
    choices: tuple[Choice, ...] = ()  # what stands for each "auto"
    also: AlsoUnder | None = None  # the job looked at by a second rulebook

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
    """Reads, sizes, connects, solves and checks a job spec. ``strict`` raises what would be our own bug."""
    reading = read_spec(data, file, read_file)
    if reading.description is None:
        return Compiled(file, in_order(reading.findings))
    from specc.sizing.size import size

    sized = size(reading.description, strict=strict)
    if sized.description is None:
        return Compiled(file, in_order(sized.findings))
    connected, wrong = connect(sized.description)
    if connected is None:
        return Compiled(file, in_order(wrong))
    system = solve(connected)
    from specc.rules.engine import check

    checked = check(system, strict=strict)
    findings = in_order((*sized.findings, *checked.findings))
    also = _under_second_book(sized.description, strict=strict)
    return Compiled(file, findings, checked.calculations, system, sized.choices, also)


def _under_second_book(description: Description, *, strict: bool) -> AlsoUnder | None:
    """The findings of the rulebook that the job names beside its own; None where it names none."""
    second = description.job.also_under
    if second is None or second == description.job.rulebook:
        return None
    from specc.rules.engine import check
    from specc.system.other_book import AlsoUnder, in_sizes_of

    book = load_rulebook(second)
    translated = in_sizes_of(description, book)
    connected, wrong = connect(translated.description)
    found = in_order(wrong) if connected is None else check(solve(connected, second), strict=strict).findings
    return AlsoUnder(second, book.title, found, translated.sizes)


def schedules(system: System, sheet: Commissioning) -> tuple[Table, Table, Table]:
    """The schedules of a job: conductors, parts, then what to bring for the tests of the ``sheet``."""
    from specc.documents.conductor_schedule import conductor_schedule
    from specc.documents.parts_list import parts_list
    from specc.documents.tools_list import tools_list

    return (conductor_schedule(system), parts_list(system, sheet), tools_list(system, sheet))


def further_schedules(system: System) -> tuple[Table, ...]:
    """The schedules behind these: terminations to labels, then the controls and the worst cases."""
    from specc.documents.label_schedule import label_schedule
    from specc.documents.overcurrent_schedule import overcurrent_schedule
    from specc.documents.pipe_schedule import pipe_schedule
    from specc.documents.raceway_schedule import raceway_schedule
    from specc.documents.termination_schedule import termination_schedule
    from specc.documents.truth_table import truth_table
    from specc.documents.worst_cases import worst_cases

    controls = truth_table(system)
    return (
        termination_schedule(system),
        raceway_schedule(system),
        overcurrent_schedule(system),
        pipe_schedule(system),
        label_schedule(system),
        *((controls,) if controls is not None else ()),
        worst_cases(system),
    )


def one_line_drawings(system: System, *, draft: bool) -> tuple[DrawingSheet, ...]:
    """The one-line diagram, on as many sheets as it takes."""
    from specc.documents.one_line import one_line
    from specc.documents.paging import lay_out_sheets

    return _sheets(lay_out_sheets(one_line(system, draft=draft), _papers(system)), "One-line diagram")


def wiring_drawings(system: System, *, draft: bool) -> tuple[DrawingSheet, ...]:
    """The wiring diagram, terminal to terminal, on as many sheets as it takes."""
    from specc.documents.wiring import wiring
    from specc.documents.wiring_layout import lay_out_wiring

    return _sheets(lay_out_wiring(wiring(system, draft=draft), _papers(system)), "Wiring diagram")


def _papers(system: System) -> tuple[Paper, ...]:
    """The papers of a drawing, the one to be preferred first: Letter and tabloid, or A4 and A3."""
    from specc.documents.drafting.look import papers_of

    return papers_of("us" if system.book.paper == "letter" else "iso")[:2]


def _sheets(drawings: tuple[Drawing, ...], title: str) -> tuple[DrawingSheet, ...]:
    if len(drawings) == 1:
        return (_sheet(drawings[0], title),)
    return tuple(_sheet(sheet, f"{title} {number}") for number, sheet in enumerate(drawings, 1))


def _sheet(shapes: Drawing, title: str) -> DrawingSheet:
    from specc.documents.packet import DrawingSheet
    from specc.rendering.svg import render_drawing

    svg = render_drawing(shapes)
    return DrawingSheet(title, svg, shapes.width, shapes.height, shapes.frame.left, shapes)


def packet(
    compiled: Compiled,
    *,
    draft: bool,
    further: tuple[Table, ...] = (),
    pictures: tuple[DrawingSheet, ...] = (),
) -> Packet:
    """The packet of a job that could be read, with ``pictures`` and ``further`` tables behind its own.

    Raises ``ValueError`` for a stopped job that is no draft.
    """
    from specc.documents.cautions import cautions_for
    from specc.documents.choices_table import choices_table
    from specc.documents.commissioning import commissioning
    from specc.documents.one_line import firm_lines
    from specc.documents.packet import JobHeader, Packet
    from specc.documents.placards import placards
    from specc.system.worst import numbers as worst_numbers

    system = compiled.system
    assert system is not None
    job = system.job
    sheet = commissioning(system)
    conductors, parts, tools = schedules(system, sheet)
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
            system.book.short,
            firm_lines(system),
            system.description.logo,
        ),
        drawings=(*one_line_drawings(system, draft=draft), *wiring_drawings(system, draft=draft), *pictures),
        conductor_schedule=conductors,
        parts_list=parts,
        findings=compiled.findings,
        calculations=merged((*system.calculations(), *worst_numbers(system), *compiled.calculations)),
        commissioning=sheet,
        placards=placards(system),
        choices=choices_table(compiled.choices),
        cautions=cautions_for(system),
        paper="letter" if system.book.paper == "letter" else "a4",
        draft=draft,
        further_tables=(*further_schedules(system), tools, *further),
        amendments=tuple(a.told for a in (*system.book.amendments, *system.handbook.amendments)),
        also=compiled.also,
        accepted_by={(e.model.rule, e.model.on): e.model.by for e in system.description.all("accepted")},
    )


@dataclass(frozen=True)
class Water:
    """The year of a job as a table and charts, and the answers of the rules on it.

    ``why_not`` where there is none, and ``to_do`` where a datum would mend that.
    """

    table: Table | None
    findings: tuple[Finding, ...]
    calculations: tuple[Calculation, ...] = ()
    why_not: str = ""
    to_do: str = ""
    charts: tuple[Chart, ...] = ()
    parts: tuple[Table, ...] = ()  # pumps, tanks and batteries of the year apart, where there are several


def water(system: System, weather: bytes | None = None, *, drawn: bool = False) -> Water:
    """The water of a year, with its charts where ``drawn``.

    ``weather``: the bytes of the file that ``[site] weather`` names.
    """
    from specc.documents.water_year import parts_of_year, water_year
    from specc.operation import made
    from specc.operation.advice import advise
    from specc.operation.described import plant_of
    from specc.operation.plant import NotWorkedOut
    from specc.operation.weather import WeatherError
    from specc.operation.year import settle, year_of
    from specc.rulebooks import NotInTable
    from specc.rules.engine import check
    from specc.rules.yield_ import not_judged, with_year
    from specc.system.missing import MissingDatum

    try:
        works = plant_of(system)
        sun = made.sun_of(system, works, weather, made.steps_for(works))
        ready = settle(works, sun)
        year = year_of(works, ready, sun)
        advice = advise(system, works, made.sun_of(system, works, weather, steps_an_hour=1))
    except MissingDatum as lack:
        said = f"{lack.what} is missing"
        where = system.description.span(lack.path)
        return Water(None, not_judged(system, said), why_not=said, to_do=f"Write {lack.key} at {where}.")
    except (NotInTable, NotWorkedOut, WeatherError) as reason:
        return Water(None, not_judged(system, str(reason)), why_not=str(reason))
    checked = check(system, with_year(year))
    charts: tuple[Chart, ...] = ()
    if drawn:
        from specc.documents.water_year_charts import year_charts

        charts = year_charts(system, year, ready)
    table = water_year(system, year, advice)
    return Water(
        table, checked.findings, checked.calculations, charts=charts, parts=parts_of_year(system, year)
    )


def _drawing_files(sheets: tuple[DrawingSheet, ...]) -> dict[str, bytes]:
    """Each drawing as SVG and DXF: "one-line.svg", "one-line-2.svg", "wiring.svg" ..."""
    from specc.rendering.dxf import drawing_dxf
    from specc.rendering.numbers import typeset

    files: dict[str, bytes] = {}
    for sheet in sheets:
        if sheet.shapes is None:
            continue
        name, number = sheet.shapes.name, 1
        while f"{name}.svg" in files:
            number += 1
            name = f"{sheet.shapes.name}-{number}"
        files[f"{name}.svg"] = (XML_HEAD + typeset(sheet.svg)).encode()
        files[f"{name}.dxf"] = drawing_dxf(sheet.shapes)
    return files


@dataclass(frozen=True)
class Files:
    """What a build writes, by file name.

    ``no_pdf`` says why there is no PDF, and how to get one; ``no_water`` why there is no year of water.
    ``findings``: what the packet says beyond the check, of the year of water.
    """

    contents: Mapping[str, bytes]
    no_pdf: str = ""
    no_water: str = ""
    findings: tuple[Finding, ...] = ()


def build(
    compiled: Compiled,
    *,
    draft: bool,
    tell: Tell = lambda step: None,
    weather: bytes | None = None,
    templates: Templates | None = None,
) -> Files:
    """Every file of a packet. ``tell`` is called with the name of each slow step before it starts.

    ``weather``: the bytes of the file that ``[site] weather`` names. ``templates``: a firm's own, laid over
    the package's. Raises TemplateProblem for one of these that cannot be used.
    """
    from specc.templates import BUILT_IN, TemplateProblem, laid_over

    with laid_over(templates or BUILT_IN):
        try:
            if templates is not None:
                _check_templates(templates)
            return _build(compiled, draft, tell, weather)
        except TemplateProblem:
            raise
        except Exception as error:
            if templates is None:
                raise
            told = " ".join(f"{type(error).__name__}: {error}".split())
            says = f"no packet comes of these templates ({told}); see whether one comes without them."
            raise TemplateProblem(templates.folder, None, says) from error


def _check_templates(templates: Templates) -> None:
    """Reads every template of a firm once, before anything slow is done. Raises TemplateProblem."""
    from specc.documents.cautions import caution_texts
    from specc.documents.commissioning.sheet import sheet_texts
    from specc.documents.drafting.look import read_look
    from specc.documents.drafting.symbols import read_symbols
    from specc.documents.figures import read_chart_look
    from specc.rendering.html import check_style_sheets
    from specc.rendering.templating import check_syntax

    check_syntax(templates)
    check_style_sheets()
    for read in (read_look, read_chart_look, read_symbols, caution_texts, sheet_texts):
        read()


def _build(compiled: Compiled, draft: bool, tell: Tell, weather: bytes | None) -> Files:
    from specc.rendering.files_json import calculations_json, findings_json, system_json
    from specc.rendering.html import packet_html
    from specc.rendering.pdf import PdfUnavailable, packet_pdf
    from specc.rendering.tables_csv import table_csv
    from specc.rendering.tables_json import table_json
    from specc.rendering.tables_xlsx import workbook_xlsx
    from specc.rendering.water_sheets import water_sheets

    system = compiled.system
    assert system is not None
    tell("working out the year of water")
    year = water(system, weather, drawn=True)
    compiled = replace(
        compiled,
        findings=in_order((*compiled.findings, *year.findings)),
        calculations=(*compiled.calculations, *year.calculations),
    )
    tell("drawing the diagrams")
    pictures = water_sheets(system, year.charts, draft=draft)
    made = packet(
        compiled,
        draft=draft,
        further=(year.table, *year.parts) if year.table else (),
        pictures=pictures.sheets,
    )
    files: dict[str, bytes] = {}
    for table in made.exported:
        files[f"{table.name}.csv"] = table_csv(table, made.header.units)
        files[f"{table.name}.json"] = table_json(table)
    header = made.header
    files["schedules.xlsx"] = workbook_xlsx(made.exported, header, paper=made.paper, draft=draft)
    tell("writing the drawings")
    files |= {**_drawing_files(made.drawings), **pictures.files}
    files |= {f"{curve.name}.csv": table_csv(curve, header.units) for curve in pictures.curves}
    files["findings.json"] = findings_json(
        compiled.file, system.job, compiled.findings, compiled.choices, compiled.also
    )
    files["calculations.json"] = calculations_json(made.calculations)
    files["system.json"] = system_json(system)
    files["packet.html"] = packet_html(made, on_screen=True).encode()
    tell("setting the packet")
    try:
        files["packet.pdf"] = packet_pdf(made)
    except PdfUnavailable as lack:
        return Files(files, str(lack), year.why_not, year.findings)
    return Files(files, no_water=year.why_not, findings=year.findings)
