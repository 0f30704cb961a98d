"""The SVG of a sheet: well-formed, safe, alike every time, and black on white."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from specc.documents.diagram import Diagram, DiagramDevice, DiagramLink
from specc.documents.layout import lay_out
from specc.documents.shapes import Wire
from specc.rendering.svg import css_name, number, render_drawing, symbol_body, wire_path
from tests.documents.sample_diagrams import TITLE, random_diagram, realistic

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "</text><script>alert(1)</script> \"'&{{7*7}} ]]> <svg onload=x>"


def parsed(diagram: Diagram) -> ElementTree.Element:
    """The root of the rendered sheet."""
    return ElementTree.fromstring(render_drawing(lay_out(diagram)))


def test_the_sheet_has_its_size_in_millimetres_and_text_alternatives() -> None:
    drawing = lay_out(realistic())
    root = parsed(realistic())

    assert root.get("width") == f"{drawing.width:.2f}mm"
    assert root.get("viewBox") == f"0 0 {drawing.width:.2f} {drawing.height:.2f}"
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == "RM-03 Ridge meadow: dug well to stock cistern: sheet 1 of 1"
    description = root.findtext(f"{SVG}desc", "")
    assert "R5 from F1 to P1: 10 AWG Cu, 28 ft" in description
    assert "TK1 (tank, vented)" in description


def test_every_device_link_and_outline_carries_its_tag_and_words() -> None:
    diagram = realistic()
    root = parsed(diagram)
    by_class = {
        kind: [each for each in root.iter() if kind in each.get("class", "").split() and each.get("data-tag")]
        for kind in ("symbol", "wire", "outline")
    }

    assert [each.get("data-tag") for each in by_class["symbol"]] == [device.tag for device in diagram.devices]
    assert [each.get("data-tag") for each in by_class["wire"]] == [link.tag for link in diagram.links]
    assert {"BOX1", "well", "array"} <= {each.get("data-tag") for each in by_class["outline"]}
    assert all(each.findtext(f"{SVG}title") for found in by_class.values() for each in found)
    assert "of-cb1" in root.find(f".//{SVG}g[@data-tag='CB1']").get("class", "").split()  # type: ignore[union-attr]


def test_every_text_of_the_drawing_is_written_once() -> None:
    drawing = lay_out(realistic())
    root = ElementTree.fromstring(render_drawing(drawing))
    texts = root.find(f"{SVG}g[@class='texts']")

    assert texts is not None
    assert [each.text for each in texts] == [text.content for text in drawing.texts]


def test_hostile_names_stay_text() -> None:
    devices = (DiagramDevice(HOSTILE, "fuse", (HOSTILE,), HOSTILE), DiagramDevice("F2", "fuse"))
    links = (DiagramLink(HOSTILE, HOSTILE, "F2", "power", (HOSTILE,)),)
    diagram = Diagram(replace(TITLE, title=HOSTILE), devices, links, notes=(HOSTILE,))
    svg = render_drawing(lay_out(diagram))
    root = ElementTree.fromstring(svg)

    assert {each.tag.removeprefix(SVG) for each in root.iter()} <= {
        *("svg", "title", "desc", "g", "rect", "circle", "ellipse", "path", "text")
    }
    assert not [key for each in root.iter() for key in each.attrib if key.startswith("on")]
    assert root.find(f".//{SVG}path[@class='wire power of-{css_name(HOSTILE)}']").get("data-tag") == HOSTILE  # type: ignore[union-attr]
    assert "49" not in root.findtext(f"{SVG}title", "")


def test_characters_that_xml_cannot_hold_are_replaced() -> None:
    diagram = Diagram(TITLE, (DiagramDevice("F\x001", "fuse", ("bell \x07", "half \ud800 pair")),))
    texts = [each.text for each in parsed(diagram).iter(f"{SVG}text")]

    assert "F\N{REPLACEMENT CHARACTER}1" in texts
    assert "bell \N{REPLACEMENT CHARACTER}" in texts
    assert "half \N{REPLACEMENT CHARACTER} pair" in texts


def test_the_same_diagram_gives_the_same_bytes_in_another_process() -> None:
    code = (
        "from tests.documents.sample_diagrams import random_diagram\n"
        "from specc.documents.layout import lay_out\n"
        "from specc.rendering.svg import render_drawing\n"
        "import sys; sys.stdout.buffer.write(render_drawing(lay_out(random_diagram(5, 25))).encode())"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, check=True, env={"PYTHONHASHSEED": seed}
        ).stdout
        for seed in ("1", "2")
    }

    assert outputs == {render_drawing(lay_out(random_diagram(5, 25))).encode()}


def test_the_sheet_is_black_on_white_in_its_own_typeface() -> None:
    root = parsed(realistic())
    colours = {each.get(key) for each in root.iter() for key in ("fill", "stroke")} - {None}

    assert colours == {"none", "#000", "#fff"}
    assert root.get("font-family", "").startswith("specc Sans, ")


def test_line_weights_keep_whatever_the_scale() -> None:
    drawing = lay_out(realistic())
    fuse = next(symbol for symbol in drawing.symbols if symbol.tag == "F1")
    half = symbol_body(replace(fuse, scale=0.5))

    assert 'stroke-width="0.70"' in half
    assert 'stroke-width="0.35"' in symbol_body(replace(fuse, scale=1.0))


def test_control_lines_are_dashed_and_power_lines_are_not() -> None:
    root = parsed(realistic())
    dashes = {
        each.get("data-tag"): each.get("stroke-dasharray")
        for each in root.iter(f"{SVG}path")
        if "wire" in each.get("class", "")
    }

    assert dashes["K1"]
    assert dashes["R1"] is None
    assert dashes["E1"] is None


@pytest.mark.parametrize(
    ("points", "path"),
    [
        (((0.0, 5.0), (10.0, 5.0)), "M0.00 5.00L3.00 5.00A1.00 1.00 0 0 1 5.00 5.00L10.00 5.00"),
        (((10.0, 5.0), (0.0, 5.0)), "M10.00 5.00L5.00 5.00A1.00 1.00 0 0 0 3.00 5.00L0.00 5.00"),
        (((0.0, 0.0), (0.0, 9.0)), "M0.00 0.00L0.00 9.00"),
    ],
)
def test_a_hop_is_a_half_circle_upward_in_either_direction(
    points: tuple[tuple[float, float], ...], path: str
) -> None:
    """Worked by hand; the sweep flag as SVG 2, section 9.3.8, defines it (y grows downward)."""
    assert wire_path(Wire("R1", "power", "", (points,), ((4.0, 5.0),)), 1.0) == path


def test_numbers_have_two_decimals_and_no_negative_zero() -> None:
    assert [number(value) for value in (1.0, 2.005, -0.001, -1.5)] == ["1.00", "2.00", "0.00", "-1.50"]


def test_a_file_of_its_own_begins_with_the_xml_declaration() -> None:
    drawing = lay_out(realistic())

    assert render_drawing(drawing, standalone=True).startswith(
        '<?xml version="1.0" encoding="UTF-8"?>\n<svg '
    )
    assert render_drawing(drawing).startswith("<svg ")
