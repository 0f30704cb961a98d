"""packet.html in a real browser: taps, search, what is kept, what is saved, at the width of a phone."""

from __future__ import annotations

import base64
import csv
import io
import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from specc.pipeline import compile_spec, packet
from specc.rendering.html import packet_html
from specc.rendering.pdf import packet_pdf
from tests.browser.chromium import Page, chromium, find_chromium

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(find_chromium() is None, reason="needs chromium, and there is none on this machine"),
    pytest.mark.skipif(os.environ.get("CI") == "true", reason="needs a browser, which the CI image has not"),
]

EXAMPLE = Path(__file__).parents[2] / "examples" / "cedar-fold-orchard.toml"
PHONE, DESK = (360, 740), (1280, 900)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    compiled = compile_spec(
        EXAMPLE.read_bytes(), EXAMPLE.name, lambda name: (EXAMPLE.parent / name).read_bytes()
    )
    file = tmp_path_factory.mktemp("packet") / "packet.html"
    file.write_text(packet_html(packet(compiled, draft=False), on_screen=True), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def browser() -> Iterator[Page]:
    with chromium() as page:
        yield page


@pytest.fixture
def page(browser: Page, file: Path) -> Page:
    """The packet on a phone, with nothing kept."""
    browser.events.clear()
    browser.size(*PHONE, phone=True)
    browser.open(file)
    browser.run("localStorage.clear()")
    browser.open(file)
    return browser


def tap(page: Page, selector: str) -> None:
    """A real tap on the middle of an element, or on the start of a drawn line."""
    place = page.run(
        f"""(() => {{
          const e = document.querySelector({json.dumps(selector)});
          e.scrollIntoView({{block: "center", inline: "center"}});
          if (e.getTotalLength) {{
            const p = e.getPointAtLength(e.getTotalLength() / 2).matrixTransform(e.getScreenCTM());
            return [p.x, p.y];
          }}
          const r = e.getBoundingClientRect();
          return [r.left + r.width / 2, r.top + r.height / 2];
        }})()"""
    )
    page.click(*place)


def write(page: Page, selector: str, text: str) -> None:
    """Type into a field."""
    page.run(f"document.querySelector({json.dumps(selector)}).select()")
    tap(page, selector)
    page.run(f"document.querySelector({json.dumps(selector)}).select()")
    page.type(text)


# What the tests ask of the page, by short names.
HELPERS = """
window.test = {
  keyOf: (test) => [...document.querySelectorAll("tr.reading")]
    .find((row) => row.dataset.key.startsWith(test + "/")).dataset.key,
  lit: (selector) => [...document.querySelectorAll(selector + ".lit")]
    .map((element) => element.dataset.tag || element.cells[0].textContent.trim()),
  name: (tag, id) => [...document.querySelectorAll("table.schedule tr")]
    .find((row) => row.cells[0].textContent.trim() === tag).id = id,
  inView: (selector) => {
    const box = document.querySelector(selector).getBoundingClientRect();
    return box.bottom > 0 && box.top < innerHeight;
  },
  tablesFit: () => [...document.querySelectorAll("table")]
    .every((table) => table.closest(".scroll") || table.offsetWidth <= innerWidth),
  addScript: () => {
    const script = document.createElement("script");
    script.textContent = "window.bad = 1";
    document.body.append(script);
  },
};
"""


def ask(page: Page, name: str, *words: str) -> Any:
    """The answer of a helper in the page."""
    page.run(HELPERS)
    return page.run(f"test.{name}({', '.join(map(json.dumps, words))})")


def reading(page: Page, test: str) -> str:
    """Selector of the first reading of a test."""
    return f"tr.reading[data-key={json.dumps(ask(page, 'keyOf', test))}]"


def said_by(page: Page, selector: str, what: str = "textContent") -> Any:
    """The text, or another property, of an element."""
    return page.run(f"document.querySelector({json.dumps(selector)}).{what}")


@pytest.mark.parametrize("window", [PHONE, DESK], ids=["phone", "desk"])
def test_it_opens_offline_without_a_complaint_and_fits(
    page: Page, file: Path, window: tuple[int, int]
) -> None:
    page.size(*window, phone=window == PHONE)
    page.open(file)
    assert page.asked_for() == []
    assert page.complaints() == []
    assert page.run("document.documentElement.scrollWidth") <= window[0]
    # Tables scroll in their own box.
    assert ask(page, "tablesFit")


def test_the_policy_lets_nothing_out(page: Page) -> None:
    tried = page.run("fetch('http://127.0.0.1:9/').then(() => 'out', () => 'refused')")
    assert tried == "refused"
    assert any("Content Security Policy" in words for words in page.complaints())
    ask(page, "addScript")
    assert page.run("window.bad === undefined")


def test_a_tap_on_a_wire_lights_its_rows_and_brings_them_into_view(page: Page) -> None:
    tap(page, "#drawing-1 .wire[data-tag='R1']")
    rows = ask(page, "lit", "tr")
    assert {"R1.1", "R1.2"} <= set(rows)
    assert all(row.startswith("R1.") or row in ("R1", "C1") for row in rows if row.startswith("R"))
    assert ask(page, "inView", "tr.lit")


def test_a_tap_on_a_row_lights_its_wire_and_leads_back(page: Page) -> None:
    ask(page, "name", "R3.1", "the-row")
    tap(page, "#the-row td:nth-child(2)")
    assert "R3" in ask(page, "lit", ".drawing svg path")
    assert ask(page, "inView", ".drawing svg .lit")
    tap(page, "#back")
    assert ask(page, "inView", "#the-row")


def test_search_finds_a_tag_and_says_when_there_is_none(page: Page) -> None:
    write(page, "#search", "ls1")
    tap(page, "#search-form button")
    first = said_by(page, "#found")
    assert first.startswith("1 of ")
    assert "LS1" in ask(page, "lit", ".drawing svg [data-tag]")
    tap(page, "#search-form button")
    assert said_by(page, "#found").startswith("2 of ")
    write(page, "#search", "QQ9")
    tap(page, "#search-form button")
    assert said_by(page, "#found") == "nothing"


def test_ticks_and_readings_stay_in_the_browser_for_this_job_and_revision(page: Page, file: Path) -> None:
    bucket = reading(page, "bucket")
    write(page, f"{bucket} .measured input", "131")
    tap(page, f"{bucket} .done input")
    tap(page, ".row-tick")
    page.open(file)
    assert said_by(page, f"{bucket} .measured input", "value") == "131"
    assert said_by(page, f"{bucket} .done input", "checked") is True
    assert said_by(page, ".row-tick", "checked") is True
    assert page.run("Object.keys(localStorage)") == ['specc packet ["CF-07","A"]']
    other = file.with_name("other.html")
    other.write_text(
        file.read_text(encoding="utf-8").replace('data-revision="A"', 'data-revision="B"'), encoding="utf-8"
    )
    page.open(other)
    assert said_by(page, f"{bucket} .measured input", "value") == ""
    assert said_by(page, ".row-tick", "checked") is False


@pytest.mark.parametrize(
    ("test", "written", "said"),
    [
        ("bucket", {"measured": "131"}, "within"),
        ("bucket", {"measured": "180"}, "too high"),
        ("bucket", {"measured": "90"}, "too low"),
        ("no short", {"measured": "OL"}, "within"),
        ("no short", {"measured": "0.2"}, "too low"),
        ("insulation", {"measured": "0.8 Mohm"}, "within"),
        ("insulation", {"measured": "120k"}, "too low"),
        ("open circuit", {"measured": "62"}, "write Tc too"),
        # 66 V at 25 °C less 0.3 % a kelvin (handbook arithmetic): 113 °F is 45 °C, 62.04 V.
        ("open circuit", {"measured": "62", "cell": "113"}, "now 62.04 V. ✓ within"),
        ("open circuit", {"measured": "62", "cell": "32"}, "now 70.95 V. ▲ too low"),
        # 6 A at 1000 W/m².
        ("short circuit", {"measured": "3.1", "light": "500"}, "now 3.000 A. ✓ within"),
        ("short circuit", {"measured": "4.8", "light": "500"}, "now 3.000 A. ▲ too high"),
        ("bucket", {"measured": "no idea"}, ""),
    ],
)
def test_a_reading_is_held_against_what_it_should_be(
    page: Page, test: str, written: dict[str, str], said: str
) -> None:
    row = reading(page, test)
    for name, text in written.items():
        write(page, f"{row} .{name} input", text)
    shown = said_by(page, f"{row} .judged", "textContent")
    assert said in shown if said else shown == ""


def saved(page: Page, folder: Path, button: str, name: str) -> bytes:
    """The file that a button saves."""
    page.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))
    tap(page, button)
    limit = time.monotonic() + 30
    while not (folder / name).exists() or (folder / f"{name}.crdownload").exists():
        assert time.monotonic() < limit, list(folder.iterdir())
        time.sleep(0.05)
    return (folder / name).read_bytes()


def test_readings_are_saved_as_json_and_csv(page: Page, tmp_path: Path) -> None:
    bucket = reading(page, "bucket")
    write(page, f"{bucket} .measured input", "=131")
    data = json.loads(saved(page, tmp_path, "#save-json", "CF-07-A-readings.json"))
    assert (data["job"], data["revision"]) == ("CF-07", "A")
    (row,) = (r for r in data["readings"] if r["test"].startswith("Bucket"))
    assert (row["measured"], row["done"], row["unit"]) == ("=131", False, "s")
    rows = list(
        csv.DictReader(io.StringIO(saved(page, tmp_path, "#save-csv", "CF-07-A-readings.csv").decode()))
    )
    assert len(rows) == len(data["readings"])
    (line,) = (r for r in rows if r["test"].startswith("Bucket"))
    assert line["measured"] == "'=131"  # never a formula


def test_a_drawing_grows_and_shrinks(page: Page) -> None:
    width = "document.querySelector('#drawing-1 .placed').getBoundingClientRect().width"
    before = page.run(width)
    tap(page, "#drawing-1 .zoom button:nth-child(2)")
    assert page.run(width) == pytest.approx(1.5 * before, rel=0.02)
    assert page.run("document.documentElement.scrollWidth") <= PHONE[0]
    tap(page, "#drawing-1 .zoom button:nth-child(3)")
    assert page.run(width) == pytest.approx(before, rel=0.02)


def test_it_prints_without_its_controls(page: Page) -> None:
    page.call("Emulation.setEmulatedMedia", media="print")
    try:
        for selector in (".bar", ".zoom", ".row-tick", ".judged"):
            assert page.run(f"getComputedStyle(document.querySelector('{selector}')).display") == "none"
    finally:
        page.call("Emulation.setEmulatedMedia", media="")


def test_it_prints_as_the_pdf_does(page: Page) -> None:
    data = page.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"]
    printed = PdfReader(io.BytesIO(base64.b64decode(data)))
    compiled = compile_spec(
        EXAMPLE.read_bytes(), EXAMPLE.name, lambda name: (EXAMPLE.parent / name).read_bytes()
    )
    ours = PdfReader(io.BytesIO(packet_pdf(packet(compiled, draft=False))))

    def sizes(reader: PdfReader) -> list[tuple[int, int]]:
        return [(round(p.mediabox.width / 10), round(p.mediabox.height / 10)) for p in reader.pages]

    # A browser breaks lines a little otherwise; sheets, papers and order are the same.
    assert len(printed.pages) == pytest.approx(len(ours.pages), abs=3)
    assert list(dict.fromkeys(sizes(printed))) == list(dict.fromkeys(sizes(ours)))
    texts = [" ".join(p.extract_text().split()) for p in printed.pages]
    for title in ("Conductor schedule", "Parts list", "Commissioning sheet", "Calculation sheet", "Cautions"):
        assert any(title in text for text in texts[1:])
    assert not any("Save JSON" in text for text in texts)
    # Labels are cut out at full size: their large letters are 20 points high (packet.css).
    found: list[float] = []

    def visit(text: str, cm: Any, tm: Any, _font: Any, size: float) -> None:
        if text.strip():
            found.append(abs(size * tm[0] * cm[0]))

    page_of_labels = next(
        p for p, text in zip(printed.pages, texts, strict=True) if "Labels to cut out Print" in text
    )
    page_of_labels.extract_text(visitor_text=visit)
    assert found
    assert max(found) == pytest.approx(20.0, rel=0.02)


def test_a_finding_leads_to_its_worked_numbers(page: Page) -> None:
    target = page.run("document.querySelector('a.worked-at').getAttribute('href')")
    tap(page, "a.worked-at")
    assert ask(page, "inView", target)


def test_a_reading_without_light_is_saved_without_it(page: Page, tmp_path: Path) -> None:
    write(page, f"{reading(page, 'continuity')} .measured input", "0.02")
    data = json.loads(saved(page, tmp_path, "#save-json", "CF-07-A-readings.json"))
    row = next(r for r in data["readings"] if r["measured"] == "0.02")
    assert (row["irradiance_w_m2"], row["cell_temperature"]) == ("", "")
    assert row["accept"].startswith("at most 0.05 ")
    assert "\xa0" not in row["accept"]


@pytest.mark.parametrize("window", [(390, 844), DESK], ids=["phone", "desk"])
def test_two_columns_of_paper_are_one_on_a_screen(page: Page, file: Path, window: tuple[int, int]) -> None:
    page.size(*window, phone=window != DESK)
    page.open(file)
    for selector in (".halves", ".paired .scroll", ".worked", ".hazards"):
        assert (
            page.run(f"getComputedStyle(document.querySelector({json.dumps(selector)})).columnCount")
            == "auto"
        )
