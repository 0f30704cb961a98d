"""A drawing as DXF, read back: all lines and texts on layers with plain names, the same bytes every time."""

from __future__ import annotations

import io
import itertools
import math
import subprocess
import sys

import ezdxf
import pytest

from specc.documents.drafting.symbols import read_symbols
from specc.documents.one_line import one_line
from specc.documents.paging import lay_out_sheets
from specc.documents.shapes import Drawing, PlacedSymbol, Rect
from specc.documents.wiring import wiring
from specc.documents.wiring_layout import lay_out_wiring
from specc.rendering.dxf import LAYERS, drawing_dxf, hopping, path_lines, symbol_letters, symbol_lines
from specc.rendering.numbers import typeset
from tests.documents.sample_wirings import long_named
from tests.jobs import EXAMPLES, solved


def _drawings(name: str) -> dict[str, Drawing]:
    system = solved(name)
    sheets = {"one-line": lay_out_sheets(one_line(system)), "wiring": lay_out_wiring(wiring(system))}
    return {f"{kind} {n}": sheet for kind, made in sheets.items() for n, sheet in enumerate(made, 1)}


def _read(drawing: Drawing) -> ezdxf.document.Drawing:  # type: ignore[name-defined]
    return ezdxf.read(io.StringIO(drawing_dxf(drawing).decode()))  # type: ignore[attr-defined]


def _texts(document) -> list[str]:  # type: ignore[no-untyped-def]
    return [entity.dxf.text for entity in document.modelspace().query("TEXT")]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_text_wire_and_tag_of_a_drawing_is_read_back(name: str) -> None:
    for drawing in _drawings(name).values():
        document = _read(drawing)
        space = document.modelspace()
        texts = _texts(document)

        assert sorted(typeset(t.content) for t in drawing.texts) == sorted(
            t
            for t in texts
            if t not in {letters for s in drawing.symbols for letters, _, _ in symbol_letters(s)}
        )
        wires = [e for e in space.query("LWPOLYLINE") if e.dxf.layer.endswith(("wires", "pipes"))]
        samples = [symbol for symbol in drawing.symbols if symbol.symbol.endswith(" line")]
        assert len(wires) == sum(len(wire.pieces) for wire in drawing.wires) + len(samples)
        audit = document.audit()
        assert not audit.errors
        assert not [fix.message for fix in audit.fixes]  # such as a kind of dash that is not defined


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sheet_is_the_paper_in_millimetres_and_every_line_has_its_weight(name: str) -> None:
    for drawing in _drawings(name).values():
        document = _read(drawing)
        size = (drawing.width, drawing.height)

        assert document.header["$INSUNITS"] == 4  # millimetres (DXF reference, header variables)
        assert document.header["$LWDISPLAY"] == 1
        assert tuple(document.header["$LIMMAX"]) == pytest.approx(size)
        assert tuple(document.header["$EXTMAX"])[:2] == pytest.approx(size)
        layout = document.layout()
        assert (layout.dxf.paper_width, layout.dxf.paper_height) == pytest.approx(size)
        (view,) = (v for v in layout.query("VIEWPORT") if v.dxf.id > 1)
        assert view.dxf.height / view.dxf.view_height == pytest.approx(1.0)  # 1 : 1
        for entity in document.modelspace():
            layer = document.layers.get(entity.dxf.layer)
            assert entity.dxf.lineweight == -1  # as its layer
            assert layer.dxf.lineweight == LAYERS[layer.dxf.name]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_tag_of_the_job_is_on_one_of_the_sheets(name: str) -> None:
    system = solved(name)
    texts = " ".join(text for drawing in _drawings(name).values() for text in _texts(_read(drawing)))
    electrical = {t.device.tag for t in system.connected.terminals.values()}
    wanted = electrical | set(system.connected.pipes) | {c.tag for c in system.conductors}

    assert {tag for tag in wanted if tag not in texts} == set()


def test_everything_is_on_a_layer_of_ours_inside_the_frame_and_upright() -> None:
    drawing = _drawings("cedar-fold-orchard")["one-line 1"]
    document = _read(drawing)
    height = drawing.height
    frame = Rect(
        drawing.frame.left, height - drawing.frame.bottom, drawing.frame.right, height - drawing.frame.top
    ).grown(1e-3)

    for entity in document.modelspace():
        assert entity.dxf.layer in LAYERS
        if entity.dxftype() == "LWPOLYLINE":
            assert all(frame.contains(Rect(x, y, x, y)) for x, y, *_ in entity.get_points())
    tops = {t.content: height - t.y for t in drawing.texts if t.role == "tag"}
    for entity in document.modelspace().query("TEXT"):
        if entity.dxf.text in tops:
            assert entity.get_placement()[1].y == pytest.approx(tops[entity.dxf.text], abs=1e-3)


def test_names_that_are_hostile_stay_texts() -> None:
    (drawing,) = lay_out_wiring(long_named())
    texts = _texts(_read(drawing))

    assert any("{{7*7}} =cmd" in text for text in texts)
    assert any("green & yellow <b>" in text for text in texts)


@pytest.mark.parametrize("name", sorted(read_symbols()))
def test_every_symbol_is_drawn_with_lines_inside_its_box(name: str) -> None:
    symbol = read_symbols()[name]
    box = Rect(10.0, 20.0, 10.0 + 2 * symbol.width, 20.0 + 2 * symbol.height)
    placed = PlacedSymbol("X", name, "", 10.0, 20.0, 2.0, box, symbol.body)
    lines = list(symbol_lines(placed))

    assert lines
    assert all(box.grown(0.05).contains(Rect(x, y, x, y)) for line in lines for x, y in line)
    # Where a wire ends, the symbol begins; these three lead into open water or to the middle of a row.
    for port in (p for p in symbol.ports if p.name not in ("earth", "inflow", "sense")):
        x, y = 10.0 + 2 * port.x, 20.0 + 2 * port.y
        assert min(_distance((x, y), line) for line in lines) < 0.6, port.name


def _distance(point: tuple[float, float], line: tuple[tuple[float, float], ...]) -> float:
    return min(_to_segment(point, start, end) for start, end in itertools.pairwise(line))


def _to_segment(point: tuple[float, float], start: tuple[float, float], end: tuple[float, float]) -> float:
    length = math.dist(start, end)
    if not length:
        return math.dist(point, start)
    share = sum((p - s) * (e - s) for p, s, e in zip(point, start, end, strict=True)) / length**2
    share = min(1.0, max(0.0, share))
    return math.dist(point, [s + share * (e - s) for s, e in zip(start, end, strict=True)])


def test_paths_are_followed_as_the_standard_says() -> None:
    """SVG 1.1, 8.3: lower case is relative, Z closes; F.6: a half circle about the middle of its ends."""
    assert list(path_lines("M1 2H5v3l-1 0Z")) == [((1, 2), (5, 2), (5, 5), (4, 5), (1, 2))]
    assert [len(line) for line in path_lines("M0 0L1 1M2 2L3 3")] == [2, 2]
    (half,) = path_lines("M-1 0A1 1 0 0 1 1 0")
    assert all(math.hypot(x, y) == pytest.approx(1.0) for x, y in half)
    assert min(y for _, y in half) == pytest.approx(-1.0)  # swept clockwise: over the top, y being down
    (other,) = path_lines("M-1 0A1 1 0 0 0 1 0")
    assert max(y for _, y in other) == pytest.approx(1.0)
    (curve,) = path_lines("M0 0Q1 2 2 0")
    assert max(y for _, y in curve) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="may not hold"):
        list(path_lines("M0 0 B1 2"))


def test_a_hop_rises_over_the_wire_that_it_crosses() -> None:
    points = hopping(((0.0, 5.0), (10.0, 5.0)), ((4.0, 5.0),), 1.0)

    assert points[0] == (0.0, 5.0)
    assert points[-1] == (10.0, 5.0)
    assert min(y for _, y in points) == pytest.approx(4.0)
    assert [x for x, _ in points] == sorted(x for x, _ in points)


def test_the_same_drawing_gives_the_same_bytes_in_another_process_too() -> None:
    code = (
        "import hashlib; from tests.rendering.test_dxf import _drawings, drawing_dxf; "
        "print(hashlib.sha256(drawing_dxf(_drawings('hazel-hollow-spring')['wiring 1'])).hexdigest())"
    )
    runs = {
        subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout for _ in range(2)
    }

    assert len(runs) == 1


def test_a_sample_in_the_legend_is_on_the_layer_of_what_it_explains() -> None:
    document = _read(_drawings("cedar-fold-orchard")["one-line 1"])
    on = {
        layer: [e for e in document.modelspace().query("LWPOLYLINE") if e.dxf.layer == layer]
        for layer in ("control wires", "grounding wires", "water pipes")
    }
    drawing = _drawings("cedar-fold-orchard")["one-line 1"]
    kinds = {"control wires": "control", "grounding wires": "ground", "water pipes": "water"}

    for layer, lines in on.items():
        assert len(lines) == 1 + sum(len(w.pieces) for w in drawing.wires if w.kind == kinds[layer])
