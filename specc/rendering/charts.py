"""Charts, and sheets of them, as SVG text, through the templates in templates/charts."""

from __future__ import annotations

from specc.documents.drafting.look import read_look
from specc.documents.figures import Figure
from specc.documents.plates import Plate
from specc.rendering.svg import SVG_FILTERS, checked_svg
from specc.rendering.templating import render

BORDER_MM = 4.0  # of white around a chart that is a file of its own


def render_figure(figure: Figure) -> str:
    """A figure as an SVG element of its own, in millimetres; the same figure always gives the same text."""
    return checked_svg(render("charts", "figure.svg.j2", SVG_FILTERS, it=figure, border=BORDER_MM), "charts")


def render_plate(plate: Plate) -> str:
    """A sheet of figures as an SVG element, with its frame and title block."""
    svg = render("charts", "plate.svg.j2", SVG_FILTERS, plate=plate, line=read_look().line)
    return checked_svg(svg, "charts")
