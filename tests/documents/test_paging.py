"""Diagrams over several sheets: nothing overlaps, nothing is lost, and every cut wire can be followed."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import pytest

from specc.documents.diagram import Diagram, DiagramBox, DiagramDevice, DiagramLink
from specc.documents.drafting.look import papers_of, read_look
from specc.documents.layout import Fit, Foldings, draw, try_on
from specc.documents.one_line import one_line
from specc.documents.paging import SYMBOL, _page, fit_sheets, lay_out_sheets
from specc.documents.shapes import Drawing
from specc.pipeline import one_line_drawings
from specc.rendering.svg import render_drawing
from tests.documents.geometry import faults
from tests.documents.sample_diagrams import TITLE, random_diagram, random_system, random_water
from tests.jobs import EXAMPLES, many, solved
from tests.seeder.rates import compiled
from tests.seeder.systems import build

SYSTEMS = [(size, seed) for size in (5, 8, 12, 20, 30, 45, 60) for seed in range(4)]
SYSTEMS += [(90, 0), (90, 3), (120, 1), (120, 5), (150, 2), (150, 7)]
MESHES = [(size, seed) for size in (5, 9, 16, 30) for seed in range(3)]
WATERS = [(size, seed) for size in (5, 9, 16, 30) for seed in range(3)] + [(70, 1), (150, 1)]
CAPITALS = 0.729  # height of a capital in text sizes, from the font's own tables


def paging_faults(diagram: Diagram, fits: Sequence[Fit], index: Sequence[Drawing]) -> list[str]:
    """Every fault on a sheet, and everything that is lost or cannot be followed between them."""
    drawings = [draw(fit) for fit in fits]
    found = [
        fault
        for fit, drawing in zip(fits, drawings, strict=True)
        for fault in faults(fit.diagram.saying_once(), drawing)
    ]
    sheet_of = {s.tag: n for n, drawing in enumerate(drawings, 1) for s in drawing.symbols if s.tag}
    count = Counter(s.tag for d in drawings for s in d.symbols if s.tag and s.symbol != SYMBOL)
    wrong = [f"{d.tag} is drawn {count[d.tag]} times" for d in diagram.devices if count[d.tag] != 1]
    if wrong:
        return found + wrong
    for number, link in enumerate(diagram.links):
        found += _link_faults(number, link, drawings, sheet_of)
    for number, drawing in enumerate(drawings, 1):
        wanted = {link.tag for link in diagram.links if number in _sheets(link, sheet_of)} - {""}
        if wanted != {text.tag for text in drawing.texts if text.role == "label"}:
            found.append(f"sheet {number} does not name the runs on it")
    total = len(fits) + len(index)
    for number, drawing in enumerate((*drawings, *index), 1):
        if not any(text.content == f"{number} of {total}" for text in drawing.texts):
            found.append(f"sheet {number} does not say so")
    return found + _index_faults(diagram, sheet_of, drawings, index)


def _sheets(link: DiagramLink, sheet_of: dict[str, int]) -> set[int]:
    return {sheet_of[link.from_tag], sheet_of[link.to_tag]}


def _link_faults(
    number: int, link: DiagramLink, drawings: Sequence[Drawing], sheet_of: dict[str, int]
) -> list[str]:
    """A cut link ends on both sheets at one letter, which says where it goes on."""
    if len(_sheets(link, sheet_of)) == 1:
        return []
    found, letters = [], set()
    for here, there, far, word in (
        (link.from_tag, link.to_tag, link.to_tag, "to"),
        (link.to_tag, link.from_tag, link.from_tag, "from"),
    ):
        drawing = drawings[sheet_of[here] - 1]
        own = {text.role: text.content for text in drawing.texts if text.tag == f"mark {number}"}
        said = [text.content for text in drawing.texts if text.tag == f"mark {number}"]
        letters.add(own.get("mark"))
        if f"{word} sheet {sheet_of[there]}" not in said or far not in said:
            found.append(f"mark of link {number} on sheet {sheet_of[here]} says {said}")
    if len(letters) != 1 or None in letters:
        found.append(f"link {number} has the letters {letters}")
    return found


def _index_faults(
    diagram: Diagram, sheet_of: dict[str, int], drawings: Sequence[Drawing], index: Sequence[Drawing]
) -> list[str]:
    if len(drawings) == 1:
        return []
    wanted: dict[str, set[int]] = {
        tag: {sheet_of[device.tag]} for device in diagram.devices for tag in (device.tag, *device.twins)
    }
    for box in diagram.boxes:
        wanted.setdefault(box.tag, set()).update(sheet_of[tag] for tag in box.holds)
    for link in diagram.links:
        for tag in filter(None, link.tags.split(", ")):
            wanted.setdefault(tag, set()).update(_sheets(link, sheet_of))
    return [] if _indexed(drawings, index) == wanted else ["the index does not say where everything stands"]


def _indexed(drawings: Sequence[Drawing], index: Sequence[Drawing]) -> dict[str, set[int]]:
    """What the index says, be it a note or sheets of its own."""
    found: dict[str, set[int]] = {}
    for drawing in index:
        rows: dict[tuple[str, float], list[str]] = {}
        for text in drawing.texts:
            if text.role == "index":
                rows.setdefault((text.tag, text.y), []).append(text.content)
        for (tag, _), fields in rows.items():
            assert fields[0] == tag
            found[tag] = {int(number) for number in fields[2].split(", ")}
    if not index:
        notes = " ".join(t.content for d in drawings for t in d.texts if t.role == "note")
        for number, tags in re.findall(r"sheet (\d+): ([^;.]*)", notes[notes.index("Tags by ") :]):
            for tag in tags.split(", "):
                found.setdefault(tag, set()).add(int(number))
    return found


@pytest.mark.parametrize(("size", "seed"), SYSTEMS)
def test_a_random_system_is_drawn_without_fault(size: int, seed: int) -> None:
    diagram = random_system(seed, size)

    assert paging_faults(diagram, *fit_sheets(diagram)) == []


@pytest.mark.parametrize(("size", "seed"), MESHES)
def test_a_random_mesh_is_drawn_without_fault(size: int, seed: int) -> None:
    diagram = random_diagram(seed, size)

    assert paging_faults(diagram, *fit_sheets(diagram)) == []


@pytest.mark.parametrize(("size", "seed"), WATERS)
def test_random_water_is_drawn_without_fault(size: int, seed: int) -> None:
    diagram = random_water(seed, size)

    assert paging_faults(diagram, *fit_sheets(diagram, papers_of("iso")[:2])) == []


@pytest.mark.parametrize("series", ["us", "iso"])
@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_is_drawn_without_fault(name: str, series: str) -> None:
    diagram = one_line(solved(name))

    assert paging_faults(diagram, *fit_sheets(diagram, papers_of(series)[:2])) == []


def test_the_checker_sees_a_lost_device_a_wrong_letter_and_a_wrong_index() -> None:
    diagram = random_system(1, 30)
    fits, index = fit_sheets(diagram)
    assert len(fits) > 1
    marked = next(n for n, fit in enumerate(fits) if any(device.mark for device in fit.diagram.devices))

    def seen(page: Diagram, sheets: Sequence[Drawing] = index) -> str:
        changed = [replace(f, diagram=page) if n == marked else f for n, f in enumerate(fits)]
        return " / ".join(paging_faults(diagram, changed, sheets))

    page = fits[marked].diagram
    mark = next(device for device in page.devices if device.mark)
    assert "has the letters" in seen(_with(page, replace(mark, mark="QQ")))
    assert "says" in seen(_with(page, replace(mark, captions=("to sheet 77", mark.captions[1]))))
    assert "says" in seen(_with(page, replace(mark, captions=(mark.captions[0], "nowhere"))))
    unnumbered = [
        replace(
            fit, sheet=replace(fit.sheet, texts=tuple(t for t in fit.sheet.texts if " of " not in t.content))
        )
        for fit in fits
    ]
    assert "does not say so" in " / ".join(paging_faults(diagram, unnumbered, index))
    assert "is drawn 0 times" in " / ".join(paging_faults(_longer(diagram), fits, index))
    spoiled = [
        replace(d, texts=tuple(replace(t, content="99") if t.content == "1" else t for t in d.texts))
        for d in index
    ]
    if index:
        assert "the index does not say" in seen(page, spoiled)


def _with(page: Diagram, device: DiagramDevice) -> Diagram:
    return replace(page, devices=tuple(device if d.tag == device.tag else d for d in page.devices))


def _longer(diagram: Diagram) -> Diagram:
    return replace(diagram, devices=(*diagram.devices, DiagramDevice("EXTRA", "fuse")))


# -- what is cut, and where --------------------------------------------------------------------------------


def test_what_fits_the_first_paper_is_not_cut_and_what_fits_the_second_neither() -> None:
    small, large = random_system(0, 5), one_line(solved("cedar-fold-orchard"))

    assert [d.paper for d in lay_out_sheets(small)] == ["Letter"]
    assert [d.paper for d in lay_out_sheets(large)] == ["Tabloid"]


def test_an_enclosure_that_a_sheet_holds_is_not_parted() -> None:
    for seed in range(4):
        diagram = random_system(seed, 60)
        fits, _ = fit_sheets(diagram)
        sheet_of = {d.tag: n for n, fit in enumerate(fits) for d in fit.diagram.devices if not d.mark}
        for box in diagram.boxes:
            alone = Diagram(TITLE, tuple(d for d in diagram.devices if d.tag in box.holds))
            if len(lay_out_sheets(alone, papers_of("us")[:1])) == 1:
                assert len({sheet_of[tag] for tag in box.holds}) == 1, box


def two_wells() -> Diagram:
    """A battery that feeds the pumps of two wells, by the rules of IEC: 45 devices."""
    system = compiled(build(0)).system
    assert system is not None
    assert system.book.paper == "a4"
    assert len(system.of_kind("pump")) == 2
    assert len(system.of_kind("battery")) == 1
    return one_line(system)


def test_a_battery_with_two_wells_takes_few_sheets_that_are_well_filled() -> None:
    """No standard says how full a sheet should be; the numbers hold what was looked at and found good."""
    diagram = two_wells()
    assert len(diagram.devices) >= 40
    fits, index = fit_sheets(diagram, papers_of("iso")[:2])
    cut = sum(bool(device.mark) for fit in fits for device in fit.diagram.devices) / 2

    assert paging_faults(diagram, fits, index) == []
    assert len(fits) + len(index) <= 6
    assert cut <= 15
    assert {fit.sheet.paper.name for fit in fits} <= {"A4", "A3"}
    assert min(sum(not device.mark for device in fit.diagram.devices) for fit in fits) >= 4
    sheet_of = {d.tag: n for n, fit in enumerate(fits) for d in fit.diagram.devices}
    # Each well with its pump, its pipes and its tank on a sheet of its own.
    for source, pump, tank in (("WELL", "P1", "TK"), ("WELL2", "P2", "TK2")):
        assert len({sheet_of[tag] for tag in (source, pump, tank)}) == 1


@pytest.mark.parametrize(("size", "seed"), [(30, 0), (45, 2), (60, 3), (90, 0)])
def test_no_two_sheets_that_follow_each_other_would_fit_one(size: int, seed: int) -> None:
    diagram, papers = random_system(seed, size), papers_of("us")[:2]
    fits, _ = fit_sheets(diagram, papers)
    parts = [frozenset(d.tag for d in fit.diagram.devices if not d.mark) for fit in fits]

    assert len(parts) > 1
    assert sum(map(len, parts)) == size
    for one, other in itertools.pairwise(parts):
        both = one | other
        sheets = {tag: 1 if tag in both else 2 for tag in (d.tag for d in diagram.devices)}
        page = _page(diagram, both, sheets)
        _, fit_together = try_on(page, Foldings(page), papers[-1])
        assert not fit_together, f"{len(one)} and {len(other)} devices"


def test_installations_that_nothing_joins_stand_on_sheets_of_their_own_uncut() -> None:
    drawings = lay_out_sheets(one_line(many(3)))
    marks = [symbol for drawing in drawings for symbol in drawing.symbols if symbol.symbol == SYMBOL]

    assert marks == []
    for drawing in drawings[:3]:
        numbers = {s.tag.rpartition("-")[2] for s in drawing.symbols if s.tag}
        assert len(numbers) == 1


def test_a_hub_that_no_sheet_holds_stands_on_a_larger_one_with_all_its_wires() -> None:
    arms = tuple(DiagramDevice(f"F{n}", "fuse", place=f"place {n}") for n in range(70))
    links = tuple(DiagramLink(f"R{n}", "BAR", f"F{n}", "power") for n in range(70))
    diagram = Diagram(TITLE, (DiagramDevice("BAR", "bus-bar"), *arms), links)
    fits, index = fit_sheets(diagram)

    assert paging_faults(diagram, fits, index) == []
    assert any(fit.sheet.paper.name not in ("Letter", "Tabloid") for fit in fits)


def test_a_run_is_described_in_full_once_on_each_sheet_that_shows_it() -> None:
    devices = tuple(DiagramDevice(tag, "fuse", place=tag) for tag in ("A", "B", "C"))
    once = (("R1 THWN-2 Cu", "THWN-2 Cu"), ("R1 6 ft", "6 ft"))
    links = (
        DiagramLink("R1", "A", "B", "power", ("10 AWG",), once=once),
        DiagramLink("R1", "B", "C", "power", ("8 AWG",), once=once),
    )
    said = [link.captions for link in Diagram(TITLE, devices, links).saying_once().links]

    assert said == [("10 AWG", "THWN-2 Cu", "6 ft"), ("8 AWG",)]


# -- legible, alike, quick ---------------------------------------------------------------------------------


def test_capitals_are_never_lower_than_the_standard_allows() -> None:
    """1.8 mm is the smallest nominal letter height of ISO 3098-1 (from memory, unverified); sheets that may
    be copied down to Letter or A4 keep 1.4 mm on the copy (own rule)."""
    for diagram in (one_line(solved(name)) for name in EXAMPLES):
        for drawing in lay_out_sheets(diagram):
            least = min(text.size for text in drawing.texts) * CAPITALS
            assert least >= 1.8 - 1e-3
            copied = min(1.0, 279.4 / drawing.width)
            assert least * copied >= 1.39
    for drawing in lay_out_sheets(random_system(2, 90)):
        assert min(text.size for text in drawing.texts) * CAPITALS >= 1.8 - 1e-3
    assert read_look().least_text * CAPITALS >= 1.8


def test_the_sheets_are_alike_every_time() -> None:
    diagram = random_system(3, 45)

    assert [render_drawing(d) for d in lay_out_sheets(diagram)] == [
        render_drawing(d) for d in lay_out_sheets(diagram)
    ]


# -- as files ----------------------------------------------------------------------------------------------


def test_every_sheet_is_a_file_of_its_own_in_both_forms() -> None:
    from specc.pipeline import _drawing_files

    sheets = one_line_drawings(solved("saltbush-paddock"), draft=False)
    files = _drawing_files(sheets)

    assert [sheet.title for sheet in sheets] == ["One-line diagram 1", "One-line diagram 2"]
    assert sorted(files) == ["one-line-2.dxf", "one-line-2.svg", "one-line.dxf", "one-line.svg"]
    assert b"to sheet 2" in files["one-line.svg"]
    assert b"from sheet 1" in files["one-line-2.svg"]


def test_the_words_for_those_who_do_not_see_a_sheet_name_its_marks() -> None:
    drawing = lay_out_sheets(random_system(1, 30))[0]

    assert re.search(r"sheet 1 of \d+", drawing.title)
    assert re.search(r"Goes on at marks [A-Z]+ (to|from) sheet \d", drawing.description)


def test_a_box_over_two_sheets_is_drawn_on_both() -> None:
    devices = tuple(
        DiagramDevice(f"F{n}", "fuse", ("10 A 1000 V DC gPV in a holder of its own",) * 4, "house")
        for n in range(40)
    )
    links = tuple(DiagramLink(f"R{n}", f"F{n}", f"F{n + 1}", "power") for n in range(39))
    diagram = Diagram(TITLE, devices, links, (DiagramBox("B1", "type 4X", tuple(d.tag for d in devices)),))
    fits, index = fit_sheets(diagram)

    assert paging_faults(diagram, fits, index) == []
    assert len(fits) > 1
    assert all(any(o.tag == "B1" for o in draw(fit).outlines) for fit in fits)
