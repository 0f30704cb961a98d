from __future__ import annotations

import json

import pytest

from specc import units
from specc.documents.tables import Column, Table
from specc.rendering.tables_json import json_key, table_json
from tests.rendering.sample_packet import HOSTILE, conductor_schedule, parts_list


def test_values_are_si_with_the_unit_in_the_key() -> None:
    document = json.loads(table_json(conductor_schedule()))
    row = document["rows"][1]
    assert row["length_m"] == 57.912
    assert row["current_a"] == 18.75
    assert row["drop_fraction"] == 0.0251
    assert list(row) == [column["key"] for column in document["columns"]]


def test_a_key_that_has_its_unit_already_gets_no_second_one() -> None:
    assert json_key(Column("length_m", "Length", "length")) == "length_m"
    assert json_key(Column("length", "Length", "length")) == "length_m"
    assert json_key(Column("price", "Price", "money")) == "price"


@pytest.mark.parametrize("dimension", sorted(units.DIMENSIONS))
def test_every_dimension_with_an_si_unit_shows_it_in_the_key(dimension: str) -> None:
    unit = units.DIMENSIONS[dimension].si_unit
    assert (json_key(Column("x", "X", dimension)) != "x") == bool(unit or dimension == "fraction")


def test_missing_and_unknown_are_null_and_nan_is_never_written() -> None:
    data = table_json(conductor_schedule())
    assert b"NaN" not in data
    rows = json.loads(data)["rows"]
    assert rows[2]["current_a"] is None
    assert rows[4]["drop_fraction"] is None


def test_hostile_names_come_back_unchanged() -> None:
    rows = json.loads(table_json(parts_list(HOSTILE)))["rows"]
    assert tuple(row["part"] for row in rows[-len(HOSTILE) :]) == HOSTILE


def test_totals_and_notes_are_kept() -> None:
    document = json.loads(table_json(parts_list()))
    assert document["totals"]["price"] == pytest.approx(1049.35)
    assert document["notes"] == ["Prices are catalogue estimates."]


def test_two_columns_with_one_key_are_refused() -> None:
    columns = (Column("length", "A", "length"), Column("length_m", "B", "length"))
    with pytest.raises(ValueError, match="share a key"):
        table_json(Table("t", "T", columns, ()))


def test_the_same_table_gives_the_same_bytes() -> None:
    assert table_json(parts_list()) == table_json(parts_list())
