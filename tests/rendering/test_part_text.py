"""One part whole on a terminal: nothing of its table is left out, no line is too wide."""

from __future__ import annotations

from typing import Any

import pytest

from specc.reading.catalog import Catalog, built_in_table
from specc.rendering.part_text import part_text


def shown(part_id: str, width: int = 80) -> str:
    table = built_in_table(part_id)
    assert table is not None
    return part_text(*table, _named, width)


def _named(part_id: str) -> tuple[str, float | None] | None:
    part = Catalog().find(part_id)
    return None if part is None else (part.name, part.price)


def leaves(value: Any) -> list[str]:
    """Every text that stands in a table, quantities above all."""
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in leaves(inner)]
    if isinstance(value, list):
        return [leaf for inner in value for leaf in leaves(inner)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize("part_id", Catalog().ids()[::4])
def test_every_text_of_the_table_is_shown_within_80_columns(part_id: str) -> None:
    table = built_in_table(part_id)
    assert table is not None
    text = shown(part_id)
    flat = " ".join(text.split())

    assert max(map(len, text.splitlines())) <= 80
    assert [leaf for leaf in leaves(table[1]) if " ".join(leaf.split()) not in flat] == []


def test_terminals_with_mark_wire_temperature_and_torque() -> None:
    text = shown("current-booster-24v-10a")

    assert "  pv+       +       power    14 AWG to 8 AWG     1     75 degC  1.8 N m  10 mm" in text
    assert "  joined for good  pv- and motor-" in text
    assert "strands: solid, stranded, fine (remote1, remote2)" in text


def test_what_it_needs_beside_it_with_its_price() -> None:
    flat = " ".join(shown("fuse-10x38-dc-8a").split())

    assert (
        "needs beside it fuse-holder-10x38 (Fuse holder for 10x38, 1 pole, rail mounted, 1000 V DC, 7.50)"
        in flat
    )


def test_price_and_pack() -> None:
    assert shown("pe-sidr-1.25").splitlines()[0].startswith("pe-sidr-1.25  (pipe)  ")
    assert "  sold as      coil of 100 ft" in shown("pe-sidr-1.25")


def test_a_narrow_terminal_keeps_every_value() -> None:
    text = shown("current-booster-24v-10a", 50)

    assert max(map(len, text.splitlines())) <= 50
    assert "torque: 1.8 N m (pv+, pv-, motor+, motor-)" in " ".join(text.split())
