"""``python -m tests.bench``: all of it, or the parts that are named (``cold``, ``size``, ...)."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from specc import pipeline
from specc.documents.commissioning import commissioning
from specc.documents.one_line import one_line
from specc.documents.paging import lay_out_sheets
from specc.documents.water_diagram import water_diagram
from specc.documents.wiring import wiring
from specc.documents.wiring_layout import lay_out_wiring
from specc.pipeline import Compiled, compile_spec
from specc.reading.read import Reading, read_spec
from specc.rendering.dxf import drawing_dxf
from specc.rendering.svg import render_drawing
from specc.rules.engine import check
from specc.system.connect import Connected, connect
from specc.system.system import solve
from specc.system.truth import truth_rows
from tests.bench.clock import ROOT, least_s, process_s, reference_loop
from tests.bench.copies import copies
from tests.reference import read_edited
from tests.system.test_every_state import floats

if TYPE_CHECKING:
    from specc.calculation import Calculation
    from specc.documents.packet import Packet

JOB = ROOT / "examples" / "cedar-fold-orchard.toml"
BARE = """
import networkx, pint, pydantic, typer
from pydantic import BaseModel
pint.UnitRegistry("specc/units.txt")
"""
COUNTS = (1, 4, 11, 37, 74)  # copies of the job, about 30, 100, 300, 1000 and 2000 devices

APART = {"ground.egc-missing"}  # the copies are bonded each for itself, and one job wants one grounding net

COLD_RATIO, WARM_MS, EXPONENT, LARGE_S, PAPER_RATIO = 1.3, 25.0, 1.2, 2.0, 1.25  # what is aimed at
LARGE = 1000  # devices of the job that is to be checked in LARGE_S
TWO_POSITION, STATES_S = (1, 6, 12), 1.0
DRAWN, DRAWN_S = (1, 3, 6), 1.0  # copies in places of their own, the last of 150 devices: drawn in so long


def _compile(data: bytes, path: Path = JOB) -> Compiled:
    return compile_spec(data, path.name, lambda name: (path.parent / name).read_bytes(), strict=True)


def cold(repeats: int = 20) -> None:
    """A whole process, against one that does no more than load the libraries."""
    commands = (["-m", "specc", "check", str(JOB.relative_to(ROOT))], ["-c", BARE])
    for command in commands:  # the first run writes byte code
        process_s(command)
    runs = [[process_s(command) for command in commands] for _ in range(repeats)]
    ours, bare = (min(column) for column in zip(*runs, strict=True))
    print(f"cold   check {ours * 1e3:.0f} ms, bare imports {bare * 1e3:.0f} ms")
    print(f"       ratio {ours / bare:.2f} (aim: {COLD_RATIO})")


def warm(repeats: int = 40) -> None:
    """In one process, the file read anew each time."""
    _compile(JOB.read_bytes())
    ours, loop = least_s(lambda: _compile(JOB.read_bytes()), reference_loop, repeats=repeats)
    print(f"warm   check {ours * 1e3:.1f} ms (aim: {WARM_MS:g}), {ours / loop:.2f} of the reference loop")


def phases(repeats: int = 10) -> None:
    """Each stage by itself, from what the stage before gave."""
    data = JOB.read_bytes()
    compiled = _compile(data)
    system = compiled.system
    assert system is not None
    reading = _read(data)
    connected = _connect(reading)
    packet = pipeline.packet(compiled, draft=False)
    from specc.rendering.html import packet_html
    from specc.rendering.pdf import packet_pdf

    stages: dict[str, Callable[[], object]] = {
        "read": lambda: _read(data),
        "connect": lambda: _connect(reading),
        "solve": lambda: solve(connected),
        # On a system of its own: figures are worked out once, when a rule first asks for them.
        "check": lambda: check(solve(connected), strict=True),
        "schedules": lambda: pipeline.schedules(system, commissioning(system)),
        "one-line": lambda: pipeline.one_line_drawings(system, draft=False),
        "wiring": lambda: pipeline.wiring_drawings(system, draft=False),
        "HTML": lambda: packet_html(packet),
    }
    for name, work in stages.items():
        work()
        print(f"phase  {name:<10}{least_s(work, repeats=repeats)[0] * 1e3:8.1f} ms")
    print(f"phase  {'PDF':<10}{least_s(lambda: packet_pdf(packet), repeats=2)[0] * 1e3:8.1f} ms")


def paper(repeats: int = 2) -> None:
    """The PDF of a packet against the typesetter alone on the finished page; then a packet of sixty pages."""
    import weasyprint

    from specc.rendering import pdf
    from specc.rendering.html import packet_html

    compiled = _compile(JOB.read_bytes())
    assert compiled.system is not None
    packet = _whole_packet(compiled)
    html = packet_html(packet, font_url=pdf.asset_address, logo_url=pdf.LOGO)

    def bare(page: str = html) -> bytes:
        document = weasyprint.HTML(string=page, url_fetcher=pdf._own_assets_only())
        made: bytes = document.write_pdf(pdf_variant="pdf/ua-1")
        return made

    # From the checked job to the bytes of the PDF, drawings and schedules and all.
    ours, alone = least_s(lambda: pdf.packet_pdf(_whole_packet(compiled)), bare, repeats=repeats)
    print(f"paper  packet {ours:.2f} s, typesetter alone {alone:.2f} s on the finished page")
    print(f"       ratio {ours / alone:.2f} (aim: {PAPER_RATIO}); of it the year of water is left out")
    grown = replace(packet, calculations=_more(packet.calculations, 10))
    sheets: list[int] = []

    def long() -> None:
        sheets.append(_pages(pdf.packet_pdf(grown)))

    (taken,) = least_s(long, repeats=1)
    print(f"paper  {sheets[0]} pages in {taken:.2f} s, {taken / sheets[0] * 1e3:.0f} ms a page")


def _whole_packet(compiled: Compiled) -> Packet:
    """The packet with every drawing of the job, but for the charts of the year."""
    from specc.rendering.water_sheets import water_sheets

    assert compiled.system is not None
    pictures = water_sheets(compiled.system, draft=False)
    return pipeline.packet(compiled, draft=False, pictures=pictures.sheets)


def _more(calculations: tuple[Calculation, ...], times: int) -> tuple[Calculation, ...]:
    """As many more subjects, each with all its numbers."""
    return tuple(
        replace(c, subject=", ".join(f"{tag}-{number}" for tag in c.subject.split(", ")))
        for number in range(1, times + 1)
        for c in calculations
    )


def _pages(data: bytes) -> int:
    import io

    import pypdf

    return len(pypdf.PdfReader(io.BytesIO(data)).pages)


def _read(data: bytes) -> Reading:
    return read_spec(data, JOB.name, lambda name: (JOB.parent / name).read_bytes())


def _connect(reading: Reading) -> Connected:
    assert reading.description is not None
    connected, _ = connect(reading.description)
    assert connected is not None
    return connected


def size(repeats: int = 3) -> None:
    """The same installation many times over: how check time grows with the number of devices."""
    points = []
    for count in COUNTS:
        data = copies(JOB, count)
        compiled = _compile(data)
        assert compiled.system is not None
        broken = {finding.rule for finding in compiled.findings if finding.stops_the_job}
        assert broken <= APART, f"{count} copies of a clean job are not clean: {broken}"
        devices = len(compiled.system.devices)
        (taken,) = least_s(lambda data=data: _compile(data), repeats=repeats)  # type: ignore[misc]
        points.append((devices, taken))
        print(f"size   {devices:5d} devices {taken * 1e3:8.1f} ms, {taken / devices * 1e6:.0f} us a device")
    print(f"       growth exponent {_slope(points):.2f} (aim: {EXPONENT}); ", end="")
    devices, taken = min(points, key=lambda point: abs(point[0] - LARGE))
    print(f"{devices} devices in {taken:.2f} s (aim: {LARGE_S:g} s)")


def states(repeats: int = 3) -> None:
    """A job with ever more two-position floats in one loop: every state of them is walked."""
    for count in TWO_POSITION:
        connected = read_edited(floats(count)).connected

        def work(connected: Connected = connected) -> None:
            system = solve(connected)
            check(system, strict=True)
            truth_rows(system)

        (taken,) = least_s(work, repeats=repeats)
        print(f"states {count:3d} two-position devices checked in {taken:.2f} s")
    print(f"       (aim: {STATES_S:g} s for {TWO_POSITION[-1]} of them)")


def drawing(repeats: int = 3) -> None:
    """The drawings of ever larger jobs, stage by stage; each drawing is to take a second at most."""
    for count in DRAWN:
        compiled = _compile(copies(JOB, count, in_places_of_their_own=True))
        system = compiled.system
        assert system is not None
        print(f"drawn  {len(system.devices)} devices")
        for name, say, lay in (
            ("one-line", one_line, lay_out_sheets),
            ("wiring", wiring, lay_out_wiring),
            ("water", water_diagram, lay_out_sheets),
        ):
            diagram = say(system)
            sheets = lay(diagram)
            works = (
                # On a system of its own: figures are worked out once, when a drawing first asks for them.
                lambda say=say, system=system: say(solve(system.connected)),
                lambda lay=lay, diagram=diagram: lay(diagram),
                lambda sheets=sheets: [render_drawing(sheet) for sheet in sheets],
                lambda sheets=sheets: [drawing_dxf(sheet) for sheet in sheets],
            )
            said, laid, svg, dxf = least_s(*works, repeats=repeats)
            print(
                f"       {name:<9} said {said * 1e3:6.0f} ms, laid out {laid * 1e3:6.0f} ms "
                f"on {len(sheets)}, SVG {svg * 1e3:5.0f} ms, DXF {dxf * 1e3:5.0f} ms; "
                f"said and laid out {said + laid:.2f} s"
            )
    print(f"       (aim: {DRAWN_S:g} s for each drawing of {len(system.devices)} devices)")


def _slope(points: list[tuple[int, float]]) -> float:
    """Slope of the least-squares line through the logarithms."""
    xs, ys = zip(*((math.log(x), math.log(y)) for x, y in points), strict=True)
    x0, y0 = sum(xs) / len(xs), sum(ys) / len(ys)
    return sum((x - x0) * (y - y0) for x, y in zip(xs, ys, strict=True)) / sum((x - x0) ** 2 for x in xs)


if __name__ == "__main__":
    parts = {work.__name__: work for work in (cold, warm, phases, size, states, paper, drawing)}
    unknown = [name for name in sys.argv[1:] if name not in parts]
    if unknown:
        sys.exit(f"no such part: {', '.join(unknown)}; there are: {', '.join(parts)}")
    for name in sys.argv[1:] or parts:
        parts[name]()
