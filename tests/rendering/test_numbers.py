from __future__ import annotations

import math

import pytest

from specc.documents.tables import Column
from specc.rendering.numbers import NOT_APPLICABLE, NOT_KNOWN, NumberStyle

US = NumberStyle("us")
SI = NumberStyle("si")


# 1 ft = 0.3048 m and 1 gal = 3.785411784 L, both exact: NIST SP 811, appendix B.8.
@pytest.mark.parametrize(
    ("style", "value", "dimension", "text"),
    [
        (US, 180 * 0.3048, "length", "180 ft"),
        (SI, 180 * 0.3048, "length", "54.9 m"),
        (US, 3.5 * 3.785411784e-3 / 60, "flow", "3.5 gal/min"),
        (SI, 0.0251, "fraction", "2.51 %"),
        (US, 2.0, "number", "2"),
        (US, 2.0, "", "2"),
    ],
)
def test_a_quantity_carries_its_unit(style: NumberStyle, value: float, dimension: str, text: str) -> None:
    assert style.quantity(value, dimension) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_said_to_be_unknown(value: float) -> None:
    assert US.quantity(value, "voltage") == NOT_KNOWN
    assert US.cell(value, Column("u", "Voltage", "voltage")) == NOT_KNOWN


@pytest.mark.parametrize(
    ("column", "value", "unit", "text"),
    [
        (Column("l", "Length", "length"), 3.048, "ft", "10"),
        (Column("t", "Water", "temperature"), 282.594444, "°F", "49"),
        (Column("d", "Drop", "fraction"), 0.0433, "%", "4.33"),
        (Column("p", "Price", "money"), 12.5, "", "12.50"),
        (Column("n", "Quantity", "count"), 12, "", "12"),
        (Column("x", "Free"), 7, "", "7"),
        (Column("x", "Free"), "a < b", "", "a < b"),
        (Column("l", "Length", "length"), None, "ft", NOT_APPLICABLE),
    ],
)
def test_a_cell_is_a_bare_number_and_its_heading_has_the_unit(
    column: Column, value: float | str | None, unit: str, text: str
) -> None:
    assert US.unit(column) == unit
    assert US.cell(value, column) == text


def test_a_column_that_lines_up_prints_no_digit_that_nobody_knows() -> None:
    # 1.05 * 48 V / 16.73 mohm is known to three or four digits, as its resistances are.
    column = Column("i", "Current", "current", decimals=2)
    assert [SI.cell(amps, column) for amps in (3012.19, 205.28, 57.6, 0.0)] == [
        "3012",
        "205.3",
        "57.60",
        "0.00",
    ]
