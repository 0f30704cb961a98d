"""Worked numbers told once for all that share them."""

from __future__ import annotations

from specc.calculation import Calculation, Input, merged


def number(subject: str, origin: str, value: float = 0.83) -> Calculation:
    inputs = (Input("d", 1.05, "length", origin),)
    return Calculation("velocity", subject, "v", value, "velocity", "4 · Q / (π · d²)", inputs, "continuity")


def test_numbers_alike_but_for_what_they_are_read_of_become_one() -> None:
    (made,) = merged([number("S1", "S1, catalogue part pe-1"), number("S12", "S12, catalogue part pe-1")])
    assert made.subject == "S1, S12"
    assert made.inputs[0].origin == "each, catalogue part pe-1"


def test_one_alone_keeps_its_words() -> None:
    (made,) = merged([number("S1", "S1, catalogue part pe-1"), number("S1", "S1, catalogue part pe-1")])
    assert made == number("S1", "S1, catalogue part pe-1")


def test_other_values_or_parts_stay_apart() -> None:
    apart = [number("S1", "S1, part a"), number("S2", "S2, part b"), number("S3", "S3, part a", 0.9)]
    assert merged(apart) == tuple(apart)


def test_a_tag_inside_another_is_left_alone() -> None:
    made = merged([number("S1", "S1.in of S11, S1-2"), number("S2", "S2.in of S11, S1-2")])
    assert [m.subject for m in made] == ["S1", "S2"]
