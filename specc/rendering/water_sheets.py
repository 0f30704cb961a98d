"""The pictures of the water side: diagram, profile and charts, as sheets of the packet and as files."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from specc.documents.charts import Chart, chart_table, draw_chart
from specc.documents.drafting.look import papers_of
from specc.documents.figures import Figure
from specc.documents.one_line import title_block_of
from specc.documents.packet import DrawingSheet
from specc.documents.paging import lay_out_sheets
from specc.documents.plates import Maker, plate
from specc.documents.tables import Table
from specc.documents.water_charts import head_flow
from specc.documents.water_diagram import water_diagram
from specc.documents.water_profile import water_profile
from specc.rendering.charts import render_figure, render_plate
from specc.rendering.svg import render_drawing
from specc.system.missing import MissingDatum
from specc.system.model import Device
from specc.system.system import System

T = TypeVar("T")
XML_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
CHART_MM = (180.0, 110.0)  # of a chart that is a file of its own
PROFILE_MM = (400.0, 210.0)
MOST_ON_SHEET = 6


@dataclass(frozen=True)
class WaterSheets:
    """Sheets for the packet, SVG files by name, and the curves of every chart as tables."""

    sheets: tuple[DrawingSheet, ...]
    files: Mapping[str, bytes]
    curves: tuple[Table, ...]


def water_sheets(system: System, year: Sequence[Chart] = (), *, draft: bool) -> WaterSheets:
    """Every picture of the water side that the data allow; ``year`` are the charts of the year, if any.

    A pump that lacks a datum has no profile and no curve: the findings say which datum.
    """
    profiles = list(_for_each_pump(system, partial(_profile, system)))
    pumps = list(_for_each_pump(system, partial(head_flow, system)))
    panels = [chart for chart in year if chart.name.startswith("panel-curve")]
    months = [chart for chart in year if not chart.name.startswith("panel-curve")]
    charts = (*pumps, *panels, *months)
    sheets = [
        *_diagram(system, draft),
        *(_plate(system, "Hydraulic profile", [maker], 1, draft) for _, maker in profiles),
        *_plates(
            system, "Pump, panels and water of the year" if months else "Pump and panels", charts, draft
        ),
    ]
    figures = [figure for figure, _ in profiles]
    figures += [draw_chart(chart, *CHART_MM) for chart in charts]
    files = {f"{figure.name}.svg": (XML_HEAD + render_figure(figure)).encode() for figure in figures}
    return WaterSheets(tuple(sheets), files, tuple(chart_table(chart) for chart in charts))


def _for_each_pump(system: System, make: Callable[[Device], T]) -> Iterator[T]:
    for pump in system.water.pumps:
        try:
            yield make(pump)
        except (MissingDatum, LookupError):
            continue


def _profile(system: System, pump: Device) -> tuple[Figure, Maker]:
    """The profile of a pump, once drawn to see that it can be, and how to draw it to any size."""
    maker = partial(water_profile, system, pump)
    return maker(*PROFILE_MM), maker


def _diagram(system: System, draft: bool) -> Iterator[DrawingSheet]:
    """The water diagram, on as many sheets as it takes."""
    drawings = lay_out_sheets(water_diagram(system, draft=draft), papers_of(_series(system))[:2])
    for number, drawing in enumerate(drawings, 1):
        drawing = replace(drawing, name="water")
        title = "Water diagram" if len(drawings) == 1 else f"Water diagram {number}"
        svg = render_drawing(drawing)
        yield DrawingSheet(title, svg, drawing.width, drawing.height, drawing.frame.left, drawing)


def _plates(system: System, title: str, charts: Sequence[Chart], draft: bool) -> Iterator[DrawingSheet]:
    """The charts in sixes on sheets; one or two need the small paper only."""
    count = -(-len(charts) // MOST_ON_SHEET)
    for number in range(count):
        some = charts[MOST_ON_SHEET * number : MOST_ON_SHEET * (number + 1)]
        makers: list[Maker] = [partial(draw_chart, chart) for chart in some]
        sheet = f"{number + 1} of {count}"
        yield _plate(system, title, makers, 0 if len(some) < 3 else 1, draft, sheet)


def _plate(
    system: System, title: str, makers: Sequence[Maker], paper: int, draft: bool, sheet: str = "1 of 1"
) -> DrawingSheet:
    block = replace(title_block_of(system, title, draft), sheet=sheet, scale_note="see the axes")
    made = plate(title, makers, block, papers_of(_series(system))[paper])
    return DrawingSheet(title, render_plate(made), made.width, made.height, made.frame.left)


def _series(system: System) -> str:
    return "us" if system.book.paper == "letter" else "iso"
