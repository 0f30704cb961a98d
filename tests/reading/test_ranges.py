"""Ranges: "3 to 4 gal/min" at its cautious end, with both ends kept."""

from __future__ import annotations

import pytest
from pydantic import BaseModel, ValidationError

from specc import units
from specc.reading.quantities import DemandFlow, InflowFlow, Ranged

GAL_MIN = 6.30901964e-5  # m3/s, NIST SP 811


class _Flows(BaseModel):
    inflow: InflowFlow
    demand: DemandFlow


@pytest.mark.parametrize(
    "text", ["3 to 4 gal/min", "3-4 gal/min", "3–4 gal/min", "3 gal/min to 4 gal/min", " 3 to 4gal/min "]
)
def test_a_range_has_two_ends(text: str) -> None:
    assert units.parse_range(text, "flow") == (pytest.approx(3 * GAL_MIN), pytest.approx(4 * GAL_MIN))


@pytest.mark.parametrize("text", ["3.5 gal/min", "1-1/4 gal/min", "5e-4 m3/s", "1/2 gal/min"])
def test_one_value_is_a_range_of_no_width(text: str) -> None:
    value = units.parse_quantity(text, "flow")

    assert units.parse_range(text, "flow") == (value, value)
    assert not units.is_range(text)


@pytest.mark.parametrize(
    "text", ["4 to 3 gal/min", "3 to 4", "3 to 4 to 5 gal/min", "3 to gal/min", "3 to 4 psi"]
)
def test_an_odd_range_is_refused(text: str) -> None:
    with pytest.raises(units.QuantityError):
        units.parse_range(text, "flow")


def test_the_cautious_end_is_the_value_and_both_ends_are_kept() -> None:
    read = _Flows(inflow="3 to 4 gal/min", demand="200 to 300 gal/day")  # type: ignore[arg-type]

    assert read.inflow == pytest.approx(3 * GAL_MIN)  # the least that flows in
    assert read.demand == pytest.approx(300 * GAL_MIN / 1440)  # the most that is wanted
    assert isinstance(read.inflow, Ranged)
    assert (read.inflow.low, read.inflow.high) == (pytest.approx(3 * GAL_MIN), pytest.approx(4 * GAL_MIN))


@pytest.mark.parametrize("text", ["4 to 3 gal/min", "3 to 4", "0 to 9 m3/s"])
def test_a_spec_refuses_what_is_no_range_of_flows(text: str) -> None:
    with pytest.raises(ValidationError):
        _Flows(inflow=text, demand="1 gal/min")  # type: ignore[arg-type]
