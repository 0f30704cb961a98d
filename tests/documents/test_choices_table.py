"""The table of choices on the calculation sheet."""

from __future__ import annotations

from specc.choices import Choice
from specc.diagnostics import Span
from specc.documents.choices_table import choices_table

CHOICE = Choice(
    ("fuses", 0, "part"),
    Span("job.toml", 31, 8, 31, 14),
    "F1",
    "fuse",
    "fuse-10x38-dc-8a",
    "The smallest fuse that passes every rule.",
    "fuse-10x38-dc-6a",
    ("fuse.motor-branch", "fuse.too-small"),
)


def test_a_row_a_choice() -> None:
    table = choices_table([CHOICE])

    assert table is not None
    (row,) = table.rows
    assert (row["tag"], row["key"], row["chosen"]) == ("F1", "part", "fuse-10x38-dc-8a")
    assert row["would_fail"] == "fuse.motor-branch, fuse.too-small"
    assert {column.key for column in table.columns} == set(row)


def test_no_table_where_nothing_was_left_open() -> None:
    assert choices_table([]) is None
