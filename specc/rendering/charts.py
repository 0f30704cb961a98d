"""Charts, and sheets of them, as SVG text, through the templates in templates/charts."""

from __future__ import annotations

from specc.documents.drafting.look import read_look
from specc.documents.figures import Figure
from specc.documents.plates import Plate
from specc.rendering.svg import drawing_environment

BORDER_MM = 4.0  # of white around a chart that is a file of its own


def render_figure(figure: Figure) -> str:
    """A figure as an SVG element of its own, in millimetres; the same figure always gives the same text."""
    template = drawing_environment("charts").get_template("figure.svg.j2")
    return template.render(it=figure, border=BORDER_MM)


def render_plate(plate: Plate) -> str:
    """A sheet of figures as an SVG element, with its frame and title block."""
    template = drawing_environment("charts").get_template("plate.svg.j2")
    return template.render(plate=plate, line=read_look().line)
