"""Packs to buy: the cheapest that serve, worked by hand, and never dearer than any plain way."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specc.documents.buying import Bought, Pack, cheapest, packs_of
from tests.jobs import solved

SPOOL, SMALL = Pack("spool", 80.0, 150.0), Pack("spool", 25.0, 30.0)
CUT = Pack("cut", 0.80, 1.0)


def counts(bought: tuple[Bought, ...] | None) -> list[tuple[str, float, int]]:
    assert bought is not None
    return [(b.pack.sold_as, b.pack.size, b.number) for b in bought]


def test_a_short_piece_is_cut_and_a_long_one_is_a_spool() -> None:
    # 20 m · 0.80 = 16 for 80; 101 m cut are 80.80.
    assert counts(cheapest([20.0], (SPOOL, CUT), joinable=False)) == [("cut", 1.0, 20)]
    assert counts(cheapest([101.0], (SPOOL, CUT), joinable=False)) == [("spool", 150.0, 1)]
    assert counts(cheapest([99.9], (SPOOL, CUT), joinable=False)) == [("cut", 1.0, 100)]  # both 80


def test_a_spool_and_the_rest_cut() -> None:
    # 150 m from the spool (80), 10 m cut (8): less than two spools or 160 m cut (128).
    assert counts(cheapest([100.0, 50.0, 10.0], (SPOOL, CUT), joinable=False)) == [
        ("spool", 150.0, 1),
        ("cut", 1.0, 10),
    ]


def test_a_piece_longer_than_every_spool_is_cut_or_not_to_be_had() -> None:
    assert counts(cheapest([160.0], (SPOOL, CUT), joinable=False)) == [("cut", 1.0, 160)]
    assert cheapest([160.0], (SPOOL,), joinable=False) is None
    assert counts(cheapest([160.0], (SPOOL,), joinable=True)) == [("spool", 150.0, 2)]


def test_what_is_left_of_a_spool_does_not_make_a_piece() -> None:
    # Twice 100 m are 200 m, and yet two spools of 150 m: 50 + 50 m are no piece of 100 m.
    assert counts(cheapest([100.0, 100.0, 100.0], (SPOOL,), joinable=False)) == [("spool", 150.0, 3)]


def test_small_and_large_packs_together() -> None:
    # 80 + 25 = 105 for 180 m; two large ones are 160, six small ones 150.
    assert counts(cheapest([30.0] * 6, (SMALL, SPOOL), joinable=False)) == [
        ("spool", 150.0, 1),
        ("spool", 30.0, 1),
    ]


def test_things_that_are_counted() -> None:
    one, box = Pack("each", 1.0), Pack("pack", 6.0, None, 10)

    assert counts(cheapest([7.0], (one, box), joinable=True)) == [("pack", 10.0, 1)]
    assert counts(cheapest([13.0], (one, box), joinable=True)) == [("pack", 10.0, 1), ("each", 1.0, 3)]


def test_without_a_price_the_catalogues_own_pack_is_counted() -> None:
    assert counts(cheapest([20.0], (Pack("spool", None, 30.0), CUT), joinable=False)) == [("spool", 30.0, 1)]


def test_what_serves_many_joints_is_bought_by_the_joint() -> None:
    cement = solved("cedar-fold-orchard").description.catalog.find("pvc-cement")
    assert cement is not None

    assert counts(cheapest([38.0], packs_of(cement), joinable=True)) == [("each", 40.0, 1)]
    assert counts(cheapest([41.0], packs_of(cement), joinable=True)) == [("each", 40.0, 2)]


def test_nothing_wanted_is_nothing_bought() -> None:
    assert cheapest([], (SPOOL,), joinable=False) == ()


@given(st.lists(st.floats(0.1, 140.0), min_size=1, max_size=8))
def test_never_dearer_than_all_cut_or_a_spool_for_each(pieces: list[float]) -> None:
    bought = cheapest(pieces, (SMALL, SPOOL, CUT), joinable=False)
    assert bought is not None
    cost = sum(b.cost for b in bought)

    assert cost <= math.ceil(math.fsum(pieces)) * 0.80 + 1e-6
    assert cost <= 80.0 * len(pieces)
    assert sum(b.serves for b in bought) == pytest.approx(math.fsum(pieces))
