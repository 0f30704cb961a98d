from __future__ import annotations

import dataclasses

import pytest

from specc.documents.drafting.lettering import text_width
from specc.documents.tables import Column, Table
from specc.rendering.numbers import NumberStyle
from specc.rendering.table_view import view
from tests.rendering.sample_packet import conductor_schedule, parts_list

STYLE = NumberStyle("us")


def table(*texts: str) -> Table:
    """One row, one column for each text."""
    columns = tuple(Column(f"c{i}", "T") for i in range(len(texts)))
    row = {f"c{i}": text for i, text in enumerate(texts)}
    return Table("t", "T", columns, (row,))


def test_a_grouping_column_becomes_headings() -> None:
    seen = view(parts_list(), STYLE)
    assert [(group.heading, len(group.rows)) for group in seen.groups] == [
        ("Array", 2),
        ("Control", 3),
        ("Water", 2),
    ]
    assert [column.title for column in seen.columns] == ["Tag", "Part", "Quantity", "Price each", "Price"]
    assert seen.totals == ("", "Total", "", "", "1049.35")


def test_long_narrow_schedules_stand_in_two_columns() -> None:
    rows = tuple({"tag": f"R{number}", "size": "10 AWG"} for number in range(40))
    narrow = Table("t", "T", (Column("tag", "Tag"), Column("size", "Size")), rows)
    assert view(narrow, STYLE).paired
    assert view(narrow, STYLE).tagged
    assert not view(dataclasses.replace(narrow, rows=rows[:10]), STYLE).paired
    assert not view(conductor_schedule(), STYLE).paired


def test_a_column_is_as_wide_as_its_longest_word_in_the_shipped_letters() -> None:
    seen = view(table("word " * 90, *["incorporated"] * 11), STYLE)
    # 247 mm between the margins of a letter sheet on its side; letters of 8.2 points, padding of 2.8 mm.
    needed = text_width("incorporated", 8.2 * 25.4 / 72) + 2.8
    assert all(column.share_percent * 2.47 >= needed for column in seen.columns[1:])


@pytest.mark.parametrize(
    "texts", [("a",), ("a", "b" * 300), ("x " * 200, "y" * 90, "8 AWG"), ("z" * 9,) * 30]
)
def test_columns_share_the_whole_width_and_no_more(texts: tuple[str, ...]) -> None:
    shares = [column.share_percent for column in view(table(*texts), STYLE).columns]
    assert min(shares) > 0
    assert sum(shares) == pytest.approx(100, abs=0.2)


def test_a_long_text_wraps_before_a_short_one_does() -> None:
    seen = view(table("8 AWG", "THWN-2 copper", *["word " * 40] * 6), STYLE)
    short, middle, long = (column.share_percent for column in seen.columns[:3])
    # Room for the characters, of the 148 that a landscape line takes.
    assert short >= 100 * len("8 AWG") / 148
    assert middle >= 100 * len("THWN-2 copper") / 148
    assert long > middle


def test_an_empty_schedule_is_still_a_schedule() -> None:
    seen = view(dataclasses.replace(conductor_schedule(), rows=()), STYLE)
    assert seen.groups == ()
    assert len(seen.columns) == 12


def test_columns_for_files_only_are_left_off_the_paper() -> None:
    table = Table(
        "t", "T", (Column("a", "A"), Column("b", "B", on_paper=False)), ({"a": "shown", "b": "hidden"},)
    )

    assert [column.title for column in view(table, STYLE).columns] == ["A"]
    assert view(table, STYLE).groups[0].rows == (("shown",),)


def test_every_group_ends_with_its_subtotal() -> None:
    table = Table(
        "t",
        "T",
        (Column("g", "Group"), Column("a", "A"), Column("sum", "Sum", "money", "right")),
        ({"g": "1", "a": "x", "sum": 2.0}, {"g": "2", "a": "y", "sum": 3.5}),
        group_by="g",
        subtotals={"1": {"a": "Subtotal", "sum": 2.0}},
    )

    assert [group.subtotals for group in view(table, STYLE).groups] == [("Subtotal", "2.00"), ()]


def test_a_short_schedule_may_share_a_page_and_a_long_one_not() -> None:
    rows = tuple({"a": str(number)} for number in range(40))

    assert view(Table("t", "T", (Column("a", "A"),), rows[:5]), STYLE).short
    assert not view(Table("t", "T", (Column("a", "A"),), rows), STYLE).short
