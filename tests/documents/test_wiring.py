"""The wiring diagram: every conductor from terminal to terminal, nothing on top of anything else."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from specc.documents.diagram import DiagramError
from specc.documents.drafting.blocks import joints, make_block
from specc.documents.drafting.channels import Hop, tracks_of
from specc.documents.drafting.columns import share_out
from specc.documents.drafting.look import papers_of, read_look
from specc.documents.shapes import Drawing, Rect
from specc.documents.wiring import Inner, Post, WiredConductor, WiredDevice, Wiring, wiring
from specc.documents.wiring_layout import lay_out_wiring
from specc.rendering.svg import render_drawing
from specc.system.system import System
from tests.documents.sample_wirings import TITLE, long_named, random_wiring
from tests.documents.wiring_geometry import blocks_of, wiring_faults
from tests.jobs import EXAMPLES, many, solved
from tests.reference import read_edited

SEEDS = [(size, seed) for size in (1, 2, 5, 9, 16, 30) for seed in range(5)]
SEEDS += [(60, 1), (60, 2), (90, 3), (120, 4), (150, 5)]


@pytest.mark.parametrize(("size", "seed"), SEEDS)
def test_a_random_wiring_is_drawn_without_fault(size: int, seed: int) -> None:
    diagram = random_wiring(seed, size)

    assert wiring_faults(diagram, lay_out_wiring(diagram)) == []


@pytest.mark.parametrize("series", ["us", "iso"])
@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_drawn_without_fault_on_few_sheets(name: str, series: str) -> None:
    diagram = wiring(solved(name))
    drawings = lay_out_wiring(diagram, papers_of(series)[:2])

    assert wiring_faults(diagram, drawings) == []
    assert len(drawings) <= 3
    if series == "us" and name != "saltbush-paddock":
        assert len(drawings) == 1


def test_names_that_are_long_or_hostile_are_drawn_whole_and_harmless() -> None:
    diagram = long_named()
    drawings = lay_out_wiring(diagram)
    svg = render_drawing(drawings[0])

    assert wiring_faults(diagram, drawings) == []
    assert "<script" not in svg
    assert "<svg onload" not in svg
    assert "green &amp; yellow &lt;b&gt;" in svg


def test_the_checker_sees_what_it_is_there_for() -> None:
    diagram = random_wiring(3, 9)
    (good,) = lay_out_wiring(diagram)
    wire = next(w for w in good.wires if w.jumps)
    blocks = blocks_of(good)
    first, second = list(blocks)[:2]

    def seen(**changes: object) -> str:
        return " / ".join(wiring_faults(diagram, (replace(good, **changes),)))  # type: ignore[arg-type]

    assert "cross without a sign" in seen(wires=tuple(replace(w, jumps=()) for w in good.wires))
    assert f"{wire.tag} is drawn 0 times" in seen(wires=tuple(w for w in good.wires if w is not wire))
    assert "does not end on" in seen(wires=tuple(_moved(w, 6.0) if w is wire else w for w in good.wires))
    assert "on top of each other" in seen(wires=(*good.wires, replace(wire, tag="twin")))
    assert "through text" in seen(texts=(*good.texts, _on_wire(good)))
    assert "off the page" in seen(frame=good.frame.grown(-60))
    assert "is not named at each end" in seen(texts=tuple(t for t in good.texts if t.role != "wire"))
    assert "has no title inside" in seen(texts=tuple(t for t in good.texts if t.role not in ("box", "place")))
    assert f"block {first} on {second}" in seen(
        strokes=tuple(
            replace(s, points=_corners(blocks[first])) if s.kind == "block" and s.tag == second else s
            for s in good.strokes
        )
    )


def _moved(wire, down: float):  # type: ignore[no-untyped-def]
    return replace(wire, pieces=tuple(tuple((x, y + down) for x, y in piece) for piece in wire.pieces))


def _on_wire(drawing: Drawing):  # type: ignore[no-untyped-def]
    (x1, y1), _ = drawing.wires[0].pieces[0][:2]
    text = drawing.texts[0]
    return replace(text, content="astray", box=Rect(x1 - 1, y1 - 1, x1 + 1, y1 + 1))


def _corners(rect: Rect) -> tuple[tuple[float, float], ...]:
    return (rect.left, rect.top), (rect.right, rect.top), (rect.right, rect.bottom), (rect.left, rect.bottom)


def test_what_does_not_fit_goes_on_by_place_with_references() -> None:
    diagram = random_wiring(1, 60)
    drawings = lay_out_wiring(diagram, papers_of("us")[:2])
    device_of = {device.tag: device for device in diagram.devices}
    sheet_of = {tag: n for n, drawing in enumerate(drawings, 1) for tag in blocks_of(drawing)}
    leaving = [c for c in diagram.conductors if sheet_of[c.start[0]] != sheet_of[c.end[0]]]

    assert len(drawings) > 1
    assert {drawing.paper for drawing in drawings} <= {"Letter", "Tabloid"}
    assert leaving
    for conductor in leaving:
        here, there = sheet_of[conductor.start[0]], sheet_of[conductor.end[0]]
        other = device_of[conductor.end[0]]
        where = other.box or other.place
        wanted = f"to sheet {there}, {where}: " if where else f"to sheet {there}: "
        assert any(
            text.content == wanted + ".".join(conductor.end) and text.tag == conductor.tag
            for text in drawings[here - 1].texts
        )
    assert all(f"sheet {n} of {len(drawings)}" in d.title for n, d in enumerate(drawings, 1))


def test_no_text_is_smaller_than_legible() -> None:
    look = read_look()
    for size, seed in SEEDS[:32:4]:
        for drawing in lay_out_wiring(random_wiring(seed, size)):
            assert drawing.scale >= look.least_scale
            assert min(text.size for text in drawing.texts) >= look.least_text - 1e-9


def test_the_legend_explains_the_lines_and_signs_on_the_sheet_alone() -> None:
    (sheet,) = lay_out_wiring(wiring(solved("hazel-hollow-spring")))
    words = {text.content for text in sheet.texts if text.role == "legend"}

    assert words == {
        *("contact", "enclosure", "place", "crosses, not joined", "power run", "grounding conductor")
    }


def test_wires_that_hang_together_stand_on_one_sheet_before_others() -> None:
    drawings = lay_out_wiring(wiring(many(3)))
    first = {tag.rpartition("-")[2] for tag in blocks_of(drawings[0])}

    assert first == {"1"}


def test_a_wiring_is_drawn_alike_every_time() -> None:
    diagram = random_wiring(4, 16)

    assert [render_drawing(d) for d in lay_out_wiring(diagram)] == [
        render_drawing(d) for d in lay_out_wiring(diagram)
    ]


def test_no_device_gives_no_sheet() -> None:
    assert lay_out_wiring(Wiring(TITLE, ())) == ()


def test_every_conductor_of_the_job_is_in_the_diagram_with_its_ends() -> None:
    system = read_edited({})
    diagram = wiring(system)

    assert {(c.tag, ".".join(c.start), ".".join(c.end), c.color, c.size) for c in diagram.conductors} == {
        (c.tag, c.start, c.end, c.color, c.size) for c in system.conductors
    }
    assert {f"{d.tag}.{p.name}" for d in diagram.devices for p in d.posts} == set(system.connected.terminals)


def test_terminals_keep_the_order_of_the_part_and_show_their_poles() -> None:
    diagram = wiring(_saltbush())
    isolator = next(d for d in diagram.devices if d.tag == "DS3")

    assert [post.name for post in isolator.posts] == ["1", "2", "3", "4", "ground"]
    assert isolator.inners == (Inner("1", "2", "contact"), Inner("3", "4", "contact"))


def _saltbush() -> System:
    return solved("saltbush-paddock")


def test_the_mark_stands_beside_a_name_that_does_not_say_it() -> None:
    assert Post("1", "+").words == "1 +"
    assert Post("pv+", "+").words == "pv+"
    assert Post("L1", "line").words == "L1 line"


def test_a_diagram_that_contradicts_itself_is_refused() -> None:
    device = WiredDevice("A", (Post("1"),))
    with pytest.raises(DiagramError, match=re.escape("devices used twice: A")):
        Wiring(TITLE, (device, device))
    with pytest.raises(DiagramError, match=re.escape("end on no terminal: R1")):
        Wiring(TITLE, (device,), (WiredConductor("R1", ("A", "1"), ("A", "2"), "red", "10 AWG"),))


def test_the_two_terminals_of_a_pole_face_each_other_where_both_sides_are_open() -> None:
    device = WiredDevice("S", (Post("1"), Post("2"), Post("3")), (Inner("1", "2", "contact"),))
    block = make_block(device, ("left", "right"), {})
    at = {cell.post.name: (cell.side, cell.first) for cell in block.cells}

    assert at["1"] == ("left", 0)
    assert at["2"] == ("right", 0)
    assert at["3"][1] == 1


def test_plain_joins_that_hang_together_are_one_bar() -> None:
    pairs = [("1", "2"), ("3", "4"), ("2", "3")]
    bar = WiredDevice("B", tuple(Post(n) for n in "1234"), tuple(Inner(a, b, "join") for a, b in pairs))

    assert [len(joint) for joint in joints(bar)] == [3]


def test_two_upright_stretches_share_a_track_only_where_they_are_clear_of_each_other() -> None:
    hops = (
        Hop("high", ("left", 0.0), ("right", 10.0)),
        Hop("low", ("left", 20.0), ("right", 30.0)),
        Hop("long", ("left", 5.0), ("right", 25.0)),
    )
    tracks, count = tracks_of(hops)

    assert count == 2
    assert tracks["high"] == tracks["low"] != tracks["long"]


def test_columns_are_shared_out_as_evenly_as_order_allows() -> None:
    """Worked by hand: 4 + 4 | 8 is better than 4 | 4 + 8."""
    groups = [("a", "a"), ("b", "b"), ("c", "c")]

    assert share_out([4.0, 4.0, 8.0], groups, 2) == (0, 0, 1)
