from __future__ import annotations

import csv
import io
import math

import pytest

from specc.documents.tables import Cell, Column, Table
from specc.rendering.tables_csv import table_csv
from tests.rendering.sample_packet import HOSTILE, conductor_schedule

COLUMNS = (Column("name", "Name"), Column("rise", "Rise", "elevation"), Column("price", "Price", "money"))


def rows_of(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


def one(name: str, rise: Cell = 1.0, price: Cell = 2.0) -> Table:
    return Table("t", "T", COLUMNS, ({"name": name, "rise": rise, "price": price},))


def test_headings_carry_the_unit_of_the_job() -> None:
    assert rows_of(table_csv(one("a"), "us"))[0] == ["Name", "Rise, ft", "Price"]
    assert rows_of(table_csv(one("a"), "si"))[0] == ["Name", "Rise, m", "Price"]


def test_lines_end_as_rfc_4180_says_and_every_record_has_every_field() -> None:
    data = table_csv(conductor_schedule(), "us")
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n") == 47
    assert {len(row) for row in rows_of(data)} == {12}


@pytest.mark.parametrize("name", [*HOSTILE, 'comma, "quote"', "two\r\nlines", "ümlaut Ω"])
def test_any_text_comes_back_as_it_was_but_for_the_guard(name: str) -> None:
    text = rows_of(table_csv(one(name), "si"))[1][0]
    assert text.removeprefix("'") == name


# The dangerous first characters are those that spreadsheets take for a formula: common practice, no source.
@pytest.mark.parametrize(
    "name", ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1", "\n=1", "  =1", "\N{FULLWIDTH EQUALS SIGN}1"]
)
def test_a_text_cannot_run_as_a_formula(name: str) -> None:
    assert rows_of(table_csv(one(name), "si"))[1][0] == "'" + name


def test_a_heading_cannot_run_as_a_formula() -> None:
    table = Table("t", "T", (Column("x", "=1+1"),), ())
    assert rows_of(table_csv(table, "si")) == [["'=1+1"]]


def test_negative_numbers_stay_numbers() -> None:
    row = rows_of(table_csv(one("a", rise=-1.5, price=-3.0), "si"))[1]
    assert [float(row[1]), float(row[2])] == [-1.5, -3.0]


def test_nothing_and_not_known_are_told_apart() -> None:
    assert rows_of(table_csv(one("a", rise=None), "si"))[1][1] == ""
    assert rows_of(table_csv(one("a", rise=math.nan), "si"))[1][1] == "not known"
