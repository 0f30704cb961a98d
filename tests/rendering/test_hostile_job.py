"""A job whose every free text tries to run: no cell of a CSV or of the workbook does."""

from __future__ import annotations

import csv
import io
import re
import tomllib
import zipfile
from functools import cache
from typing import Any

import openpyxl
import pytest
import tomli_w

from specc import pipeline
from specc.documents.packet import Packet
from specc.pipeline import compile_spec
from specc.rendering.tables_csv import table_csv
from specc.rendering.tables_json import table_json
from specc.rendering.tables_xlsx import workbook_xlsx
from tests.reference import edited

EVIL = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", '=HYPERLINK("http://example.invalid")', "＝1+1")
# What a spreadsheet takes for a formula: common practice, no source.
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def _renamed(value: Any, old: str, new: str) -> Any:
    """The same data with one text for another, wherever it stands as a value."""
    if isinstance(value, dict):
        return {key: _renamed(item, old, new) for key, item in value.items()}
    if isinstance(value, list):
        return [_renamed(item, old, new) for item in value]
    return new if value == old else value


@cache
def packet(evil: str) -> Packet:
    changes = {
        "job.title": evil,
        "job.number": evil,
        "job.prepared_by": evil,
        "job.prepared_for": evil,
        "job.currency": "USD",
        "part:panel-r.name": evil,
        "part:booster-r.name": evil,
        "part:pump-r.name": evil,
        "panels.PV1.note": evil,
    }
    job, parts = edited(changes)
    job = tomli_w.dumps(_renamed(tomllib.loads(job.decode()), "array", evil.strip())).encode()
    made = compile_spec(job, "job.toml", lambda _: parts)
    assert made.system is not None, [f.message for f in made.findings]
    return pipeline.packet(made, draft=True)


def is_number(text: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?(e[-+]\d+)?", text) is not None


@pytest.mark.parametrize("evil", EVIL)
def test_no_cell_of_any_csv_runs(evil: str) -> None:
    seen = 0
    for table in packet(evil).exported:
        for row in csv.reader(io.StringIO(table_csv(table, "us").decode("utf-8"), newline="")):
            for cell in row:
                seen += evil in cell
                assert is_number(cell) or not cell.lstrip(" ").startswith(STARTS), (table.name, cell)
    assert seen >= 3  # the names did get that far


@pytest.mark.parametrize("evil", EVIL)
def test_no_cell_of_the_workbook_runs(evil: str) -> None:
    made = packet(evil)
    data = workbook_xlsx(made.exported, made.header)
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
        assert len(sheets) == len(made.exported)
        # ECMA-376 part 1, 18.3.1.40: a formula is an element <f>.
        assert all(b"<f>" not in parts.read(name) and b"<f " not in parts.read(name) for name in sheets)
        assert not [name for name in parts.namelist() if "external" in name.lower()]
        # 18.3.1.47: a link is an element <hyperlink>.
        assert all(b"<hyperlink" not in parts.read(name) for name in sheets)
    book = openpyxl.load_workbook(io.BytesIO(data))
    kinds = {cell.data_type for sheet in book for line in sheet.iter_rows() for cell in line}
    assert kinds <= {"s", "n"}


def test_the_workbook_is_ready_to_print() -> None:
    made = packet("plain")
    book = openpyxl.load_workbook(io.BytesIO(workbook_xlsx(made.exported, made.header)))
    for table in made.exported:
        sheet = book[table.title[:31]]
        assert sheet.freeze_panes == "B3"
        assert sheet.print_title_rows == "$1:$2"
        assert sheet.print_area
        assert sheet.auto_filter.ref
        for number, column in enumerate(table.columns, 1):
            numbers = [
                sheet.cell(row, number)
                for row in range(3, 3 + len(table.rows))
                if sheet.cell(row, number).data_type == "n" and sheet.cell(row, number).value is not None
            ]
            if column.dimension == "money":
                assert {cell.number_format for cell in numbers} <= {"#,##0.00"}
            elif column.dimension == "count":
                assert {cell.number_format for cell in numbers} <= {"0"}
            elif column.dimension:
                assert all(re.fullmatch(r"0(\.0+)?", cell.number_format) for cell in numbers), column.title


def test_json_keeps_the_text_as_it_was() -> None:
    made = packet("=1+1")
    assert b'"=1+1"' in table_json(made.parts_list)
