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
KEY = 'specc packet ["CF-07","A","Cedar Fold orchard: dug well to header tank"]'


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
    assert page.run("Object.keys(localStorage)") == [KEY]
    other = file.with_name("other.html")
    other.write_text(
        file.read_text(encoding="utf-8").replace('data-revision="A"', 'data-revision="B"'), encoding="utf-8"
    )
    page.open(other)
    assert said_by(page, f"{bucket} .measured input", "value") == ""
    assert said_by(page, ".row-tick", "checked") is False


def test_two_jobs_without_a_number_share_nothing(page: Page, file: Path) -> None:
    """Pages from files share one store in a browser."""
    text = file.read_text(encoding="utf-8").replace('data-job="CF-07"', 'data-job="unnumbered"')
    for name in ("one", "two"):
        file.with_name(f"{name}.html").write_text(
            text.replace('data-title="', f'data-title="{name} '), encoding="utf-8"
        )
    page.open(file.with_name("one.html"))
    bucket = reading(page, "bucket")
    write(page, f"{bucket} .measured input", "131")
    page.open(file.with_name("two.html"))
    assert said_by(page, f"{bucket} .measured input", "value") == ""


@pytest.mark.parametrize("there", ["null", "[1", "7", '{"nothing/like/it": "x"}'])
def test_what_stands_in_the_store_cannot_stop_the_page(page: Page, file: Path, there: str) -> None:
    page.run(f"localStorage.setItem({json.dumps(KEY)}, {json.dumps(there)})")
    page.events.clear()
    page.open(file)
    bucket = reading(page, "bucket")
    write(page, f"{bucket} .measured input", "131")
    page.open(file)
    assert said_by(page, f"{bucket} .measured input", "value") == "131"
    assert page.complaints() == []


def test_without_a_store_the_page_works_and_says_that_it_keeps_nothing(page: Page, file: Path) -> None:
    """A browser may refuse the store, as in a private window."""
    refuse = "Object.defineProperty(window, 'localStorage', {get() { throw new Error('refused') }})"
    script = page.call("Page.addScriptToEvaluateOnNewDocument", source=refuse)["identifier"]
    try:
        page.events.clear()
        page.open(file)
        assert "keeps nothing" in said_by(page, "#kept")
        write(page, f"{reading(page, 'bucket')} .measured input", "180")
        assert "too high" in said_by(page, f"{reading(page, 'bucket')} .judged")
        assert "not kept" in said_by(page, "#kept")
        assert page.complaints() == []
    finally:
        page.call("Page.removeScriptToEvaluateOnNewDocument", identifier=script)


def read_back(page: Page, file: Path) -> str:
    """What the page says to a file that is given to it."""
    page.run("document.querySelector('#kept').textContent = ''")
    found = page.call("Runtime.evaluate", expression="document.querySelector('#read-file')")["result"]
    page.call("DOM.setFileInputFiles", files=[str(file)], objectId=found["objectId"])
    limit = time.monotonic() + 30
    while not (said := str(said_by(page, "#kept"))):
        assert time.monotonic() < limit
        time.sleep(0.05)
    return said


def test_a_saved_file_is_read_back_into_its_own_packet_only(page: Page, file: Path, tmp_path: Path) -> None:
    bucket = reading(page, "bucket")
    write(page, f"{bucket} .measured input", "180")
    tap(page, f"{bucket} .done input")
    tap(page, "#table-2 .row-tick")
    name = "CF-07-A-readings.json"
    saved(page, tmp_path, "#save-json", name)
    page.run("localStorage.clear()")
    page.open(file)
    assert said_by(page, f"{bucket} .measured input", "value") == ""
    assert read_back(page, tmp_path / name) == "3 read"
    assert said_by(page, f"{bucket} .measured input", "value") == "180"
    assert "too high" in said_by(page, f"{bucket} .judged")
    assert said_by(page, "#table-2 .row-tick", "checked") is True
    page.open(file)
    assert said_by(page, f"{bucket} .done input", "checked") is True  # and it stays

    data = json.loads((tmp_path / name).read_text(encoding="utf-8"))
    for other, says in (
        ({**data, "revision": "B"}, "that file is of CF-07 B"),
        ({**data, "kept": [1]}, "nothing read"),
        ([], "nothing read"),
        ({**data, "kept": {"no such/measured": "1", "instrument-1": {"x": 1}}}, "0 read, 2 unknown here"),
    ):
        (tmp_path / "other.json").write_text(json.dumps(other), encoding="utf-8")
        assert says in read_back(page, tmp_path / "other.json")
    (tmp_path / "other.json").write_text("<html>", encoding="utf-8")
    assert "nothing read" in read_back(page, tmp_path / "other.json")
    assert said_by(page, f"{bucket} .measured input", "value") == "180"


@pytest.mark.parametrize(
    ("wanted", "first"),
    [
        ("R1.1", "R1.1"),
        ("cb1.PV+", "CB1.pv+"),
        ("confined space", "label-confined-space"),
        ("not for drinking", "not for drinking"),
        ("cautions", "Cautions"),
        ("bucket test", "Bucket test"),
    ],
)
def test_search_finds_tags_and_words(page: Page, wanted: str, first: str) -> None:
    write(page, "#search", wanted)
    tap(page, "#search-form button")
    assert said_by(page, "#found").startswith("1 of ")
    shown = page.run(
        """[...document.querySelectorAll(".lit")].filter((e) => {
          const box = e.getBoundingClientRect();
          return box.bottom > 0 && box.top < innerHeight;
        }).map((e) => (e.cells ? e.cells[0] : e).textContent.trim())"""
    )
    assert any(first in text for text in shown), shown


@pytest.mark.parametrize(
    "wanted", ["<script>alert(1)</script>", ".*", "R1(", "[[", "\\", '"', "' or 1", "constructor"]
)
def test_search_for_anything_else_finds_nothing_and_breaks_nothing(page: Page, wanted: str) -> None:
    page.events.clear()
    write(page, "#search", wanted)
    tap(page, "#search-form button")
    assert said_by(page, "#found") == "nothing"
    assert page.run("document.querySelectorAll('.lit').length") == 0
    assert page.complaints() == []


def press(page: Page, key: str) -> None:
    """A key of the keyboard, down and up."""
    codes = {"Tab": 9, "Enter": 13, " ": 32}
    text = {"Enter": "\r", " ": " "}.get(key, "")
    shared = {"key": key, "windowsVirtualKeyCode": codes[key], **({"text": text} if text else {})}
    page.call("Input.dispatchKeyEvent", type="keyDown", **shared)
    page.call("Input.dispatchKeyEvent", type="keyUp", key=key, windowsVirtualKeyCode=codes[key])


def test_the_keyboard_alone_leads_to_a_row_to_its_wire_and_back(page: Page) -> None:
    page.run("document.querySelector('#search').focus()")
    page.type("R3.1")
    press(page, "Enter")
    assert said_by(page, "#found").startswith("1 of ")
    press(page, "Tab")
    where = "document.activeElement.closest('tr').cells[0].textContent.trim()"
    assert page.run(where) == "R3.1"
    press(page, " ")
    assert page.run("document.activeElement.checked") is True
    press(page, "Enter")
    assert ask(page, "inView", ".drawing svg .lit")
    assert page.run("document.activeElement.id") == "back"
    press(page, "Enter")
    assert page.run(where) == "R3.1"


def test_what_a_row_leads_to_can_be_read_on_a_phone(page: Page) -> None:
    """Letters of the tag on the drawing are at least 10 px high; common practice, no source."""
    ask(page, "name", "R3.1", "the-row")
    tap(page, "#the-row td:nth-child(2)")
    height = page.run(
        """(() => {
          const text = document.querySelector("#drawing-1 svg text.lit");
          return parseFloat(getComputedStyle(text).fontSize) * text.ownerSVGElement.getScreenCTM().a;
        })()"""
    )
    assert height >= 9.9


def test_the_middle_of_a_drawing_stays_when_it_grows(page: Page) -> None:
    grow = "document.querySelector('#drawing-1 .zoom button:nth-child(2)').click()"
    for _ in range(3):
        page.run(grow)
    place = """(() => {
      const plate = document.querySelector("#drawing-1 .plate");
      const placed = document.querySelector("#drawing-1 .placed");
      return (plate.scrollLeft + plate.clientWidth / 2) / placed.offsetWidth;
    })()"""
    page.run("document.querySelector('#drawing-1 .plate').scrollLeft = 400")
    before = page.run(place)
    page.run(grow)
    assert page.run(place) == pytest.approx(before, abs=0.01)


def test_a_reading_is_a_card_on_a_phone_with_its_blanks_in_reach(page: Page) -> None:
    out = page.run(
        """[...document.querySelectorAll("tr.reading")].flatMap((row) =>
          [...row.querySelectorAll("input, td.expected, td.accept:not(.away)")].filter((e) => {
            const box = e.getBoundingClientRect();
            return box.width < 20 || box.left < 0 || box.right > innerWidth;
          }).map((e) => row.dataset.key + " " + e.className))"""
    )
    assert out == []
    # A slip beside a blank leads nowhere; the name of the place does.
    bucket = reading(page, "bucket")
    tap(page, f"{bucket} .accept")
    assert page.run("document.querySelectorAll('.lit').length") == 0
    tap(page, f"{bucket} .at")
    assert page.run("document.querySelectorAll('.lit').length") > 0


def test_the_tag_of_a_row_stays_when_the_table_is_pushed_aside(page: Page) -> None:
    left = page.run(
        """(() => {
          const scroll = document.querySelector("#table-2 .scroll");
          scroll.scrollLeft = 300;
          const cell = scroll.querySelector("tbody tr:not(.group) td");
          return [scroll.scrollLeft, cell.getBoundingClientRect().left - scroll.getBoundingClientRect().left];
        })()"""
    )
    assert left[0] == 300
    assert left[1] == pytest.approx(0, abs=1)


def test_only_what_can_be_done_has_a_box_and_its_print_is_ticked(page: Page) -> None:
    titles = page.run(
        """[...document.querySelectorAll("section.schedule")]
          .filter((s) => s.querySelector(".row-tick")).map((s) => s.querySelector("h2").textContent)"""
    )
    assert {"Parts list", "Termination schedule", "Control truth table"} <= set(titles)
    assert not {"Worst cases", "Water through the year"} & set(titles)
    assert page.run("document.querySelectorAll('.subtotals .row-tick, .totals .row-tick').length") == 0
    boxes = (
        "[...document.querySelectorAll('#table-3 .paper-only')].filter((e) => e.textContent === '☑').length"
    )
    assert page.run(boxes) == 0
    tap(page, "#table-3 .row-tick")
    assert page.run(boxes) == 1


@pytest.mark.parametrize("window", [PHONE, DESK], ids=["phone", "desk"])
def test_nothing_is_cut_and_everything_has_a_name(page: Page, file: Path, window: tuple[int, int]) -> None:
    page.size(*window, phone=window == PHONE)
    page.open(file)
    cut = page.run(
        """[...document.querySelectorAll("h1, h2, h3, p, li, button, td, th, figcaption, .placard div")]
          .filter((e) => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 1
            && getComputedStyle(e).overflowX !== "visible" && getComputedStyle(e).overflowX !== "auto")
          .map((e) => e.tagName + " " + e.textContent.slice(0, 60))"""
    )
    assert cut == []
    # WCAG 2.2, 4.1.2 and 1.1.1: every control and every drawing has a name; 3.1.1: the language is said.
    nameless = page.run(
        """[...document.querySelectorAll("input, select, button")]
          .filter((e) => !(e.getAttribute("aria-label") || e.textContent.trim())).length"""
    )
    assert nameless == 0
    assert page.run("[...document.querySelectorAll('svg[role=img]')].every((s) => s.querySelector('title'))")
    assert page.run("document.documentElement.lang") == "en"
    assert page.run("document.querySelectorAll('h1').length") == 1
    assert page.run("document.querySelectorAll('main').length") == 1
    # WCAG 2.2, 2.5.8: a target is at least 24 px wide and high, but for links within a text.
    small = page.run(
        """[...document.querySelectorAll("input, select, button, .contents a")].filter((e) => {
          const box = e.getBoundingClientRect();
          return box.width && (box.width < 24 || box.height < 24);
        }).map((e) => e.outerHTML.slice(0, 80))"""
    )
    if window == PHONE:
        assert small == []


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
    assert (line["job"], line["revision"]) == ("CF-07", "A")


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
    assert (row["irradiance_w_m2"], row["cell_temperature_degf"]) == ("", "")
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
