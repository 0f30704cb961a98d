"""Suggestions for misspelt words."""

from __future__ import annotations

import pytest

from specc.reading.suggest import did_you_mean, nearest

TABLE_NAMES = """
    job site source tank panels disconnects fuses controllers switches pumps enclosures raceways runs
    pipes filters valves terminal_blocks
"""
TABLES = tuple(TABLE_NAMES.split())


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("fuse", "fuses"),
        ("fusse", "fuses"),
        ("fuess", "fuses"),  # two letters swapped
        ("Pannels", "panels"),
        ("terminal-blocks", "terminal_blocks"),
        ("Terminal Block", "terminal_blocks"),
        ("controler", "controllers"),
        ("racewys", "raceways"),
        ("disconnect", "disconnects"),
        ("disc", "disconnects"),  # begun, not finished
        ("sorce", "source"),
    ],
)
def test_a_slip_finds_the_word_that_was_meant(word: str, expected: str) -> None:
    assert nearest(word, TABLES) == [expected]
    assert did_you_mean(word, TABLES) == f'did you mean "{expected}"?'


@pytest.mark.parametrize("word", ["zebra", "", "x", "--", "wheelbarrow", "q" * 10_000])
def test_a_word_that_is_near_nothing_gets_no_suggestion(word: str) -> None:
    assert nearest(word, TABLES, 3) == []
    assert did_you_mean(word, TABLES) == ""


def test_several_come_nearest_first_and_in_a_fixed_order() -> None:
    known = ["fuse-8a", "fuse-6a", "fuse-10a", "fuse-8b", "pump"]

    assert nearest("fuse-8", known, 3) == ["fuse-8a", "fuse-8b", "fuse-6a"]
    assert nearest("fuse-8", reversed(known), 3) == nearest("fuse-8", known, 3)


def test_the_nearest_of_five_hundred_words_that_are_much_alike_is_found() -> None:
    known = [f"pipe-polyethylene-{size}mm-pn{rating}" for size in range(50) for rating in range(10)]

    assert nearest("pipe-polyethilene-32mm-pn8", known)[0] == "pipe-polyethylene-32mm-pn8"
