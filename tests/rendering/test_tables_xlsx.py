"""The workbook: numbers as numbers in the units of the job, texts as texts, the same bytes every time."""

from __future__ import annotations

import html
import io
import re
import zipfile
from datetime import date
from typing import Any

import openpyxl
import pytest

from specc.documents.conductor_schedule import conductor_schedule
from specc.documents.packet import JobHeader
from specc.documents.parts_list import parts_list
from specc.documents.tables import Cell, Column, Table
from specc.pipeline import further_schedules
from specc.rendering.tables_xlsx import workbook_xlsx
from tests.jobs import EXAMPLES, solved

DAY = date(2026, 5, 2)
HOSTILE = ("=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "http://example.invalid", "12", "{=1+1}")


def _header(**changes: Any) -> JobHeader:
    fields: dict[str, Any] = {
        "title": "A job",
        "number": "AJ-1",
        "prepared_for": "A farm",
        "prepared_by": "An installer",
    }
    return JobHeader(**{**fields, "date": DAY, "rulebook": "A book", "units": "si", **changes})


def _opened(tables: tuple[Table, ...], system: Any = "si", **more: Any) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(workbook_xlsx(tables, _header(units=system), **more)))


def _table(rows: tuple[dict[str, Cell], ...], **more: Any) -> Table:
    columns = (
        Column("tag", "Tag"),
        Column("length", "Length", "length", "right"),
        Column("share", "Share", "fraction", "right", decimals=1),
        Column("price", "Price", "money", "right"),
        Column("count", "Count", "count", "right"),
    )
    return Table("some-schedule", "Some schedule", columns, rows, **more)


def test_no_text_can_run_as_a_formula_or_turn_into_something_else() -> None:
    book = _opened((_table(tuple({"tag": text} for text in HOSTILE)),))
    cells = [book["Some schedule"].cell(row, 1) for row in range(3, 3 + len(HOSTILE))]

    assert [cell.value for cell in cells] == list(HOSTILE)
    assert {cell.data_type for cell in cells} == {"s"}
    assert all(cell.hyperlink is None for cell in cells)


@pytest.mark.parametrize(
    ("system", "length", "heading"), [("si", 30.48, "Length, m"), ("us", 100.0, "Length, ft")]
)
def test_numbers_are_numbers_in_the_units_of_the_job(system: str, length: float, heading: str) -> None:
    """100 ft are 30.48 m (NIST SP 811)."""
    row: dict[str, Cell] = {"tag": "R1", "length": 30.48, "share": 0.0251, "price": 12.5, "count": 3}
    sheet = _opened((_table((row,)),), system)["Some schedule"]

    assert sheet["B2"].value == heading
    assert sheet["B3"].value == pytest.approx(length)
    assert sheet["C3"].value == pytest.approx(2.51)
    assert sheet["C3"].number_format == "0.0"
    assert sheet["D3"].number_format == "#,##0.00"
    assert (sheet["E3"].value, sheet["E3"].number_format) == (3, "0")


def test_what_is_not_known_is_said_and_what_does_not_apply_is_empty() -> None:
    sheet = _opened((_table(({"tag": "R1", "length": float("nan"), "share": None},)),))["Some schedule"]

    assert sheet["B3"].value == "not known"
    assert sheet["C3"].value is None


def test_the_heading_is_frozen_repeated_and_the_page_set() -> None:
    sheet = _opened((_table(({"tag": "R1"},), totals={"tag": "Total"}, notes=("A note.",)),))["Some schedule"]

    assert sheet.freeze_panes == "B3"
    assert sheet.print_title_rows == "$1:$2"
    assert sheet.print_area == "'Some schedule'!$A$1:$E$6"
    assert sheet.page_setup.orientation == "landscape"
    assert sheet["A4"].value == "Total"
    assert sheet["A6"].value == "A note."
    assert all(sheet.column_dimensions[letter].width > 5 for letter in "ABCDE")


def test_the_page_is_the_packets_and_names_the_job() -> None:
    """Codes of paper and page heads: ECMA-376 part 1, 18.3.1.63 and 18.3.1.46."""
    table = _table(({"tag": "R1"},))
    header = _header(title="Dug & bored " + 30 * "long ", revision="B")
    data = workbook_xlsx((table,), header, paper="a4", draft=True)
    sheet = openpyxl.load_workbook(io.BytesIO(data))["Some schedule"]

    assert sheet.page_setup.paperSize == 9
    assert sheet["A1"].value == "Some schedule (DRAFT)"
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        text = parts.read("xl/worksheets/sheet1.xml").decode()
    head = html.unescape(re.search("<oddHeader>(.*)</oddHeader>", text)[1])  # type: ignore[index]
    assert head.startswith("&LAJ-1 Dug && bored long")
    assert head.endswith("&RDRAFT, 2026-05-02, revision B")
    assert len(head) < 255
    sheet = _opened((table,))["Some schedule"]
    assert (sheet.page_setup.paperSize, sheet["A1"].value) == (1, "Some schedule")


def test_subtotals_stand_behind_the_rows_and_are_their_sums() -> None:
    rows = ({"tag": "1 Pump", "price": 2.5}, {"tag": "1 Pump", "price": 3.0}, {"tag": "2 Wire", "price": 1.0})
    sums = {"1 Pump": {"price": 5.5}, "2 Wire": {"price": 1.0}}
    sheet = _opened((_table(rows, group_by="tag", subtotals=sums, totals={"price": 6.5}),))["Some schedule"]

    assert [sheet.cell(row, 1).value for row in (6, 7)] == ["Subtotal 1 Pump", "Subtotal 2 Wire"]
    assert [sheet.cell(row, 4).value for row in (6, 7, 8)] == [5.5, 1.0, 6.5]
    assert sheet.auto_filter.ref == "A2:E5"


def test_a_long_note_has_the_whole_width_and_room() -> None:
    note = "A long note. " * 30
    sheet = _opened((_table(({"tag": "R1"},), notes=(note,)),))["Some schedule"]

    assert sheet["A5"].value == note
    assert str(sheet.merged_cells) == "A5:E5"
    assert sheet["A5"].alignment.wrap_text
    width = sum(sheet.column_dimensions[letter].width for letter in "ABCDE")
    assert sheet.row_dimensions[5].height / 15 * width >= len(note)


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_row_of_every_schedule_is_in_the_workbook(name: str) -> None:
    system = solved(name)
    tables = (conductor_schedule(system), parts_list(system), *further_schedules(system))
    book = _opened(tables, system.job.units)

    assert book.sheetnames == [table.title for table in tables]
    for table in tables:
        sheet = book[table.title]
        for number, row in enumerate(table.rows, 3):
            for column, head in enumerate(table.columns, 1):
                value = row.get(head.key)
                if isinstance(value, str):
                    assert sheet.cell(number, column).value == (value.replace("\xa0", " ") or None)
                elif value is None:
                    assert sheet.cell(number, column).value is None
                else:
                    assert sheet.cell(number, column).data_type == "n"


def test_the_same_schedules_give_the_same_bytes() -> None:
    table = _table(({"tag": "R1", "length": 1.0},))

    assert workbook_xlsx((table,), _header()) == workbook_xlsx((table,), _header())
    assert _opened((table,)).properties.created.date() == DAY
