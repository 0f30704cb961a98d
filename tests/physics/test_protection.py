from __future__ import annotations

import pytest

from specc.physics.protection import (
    battery_fault_current_a,
    fusing_current_a,
    largest_standard_rating_a,
    motor_limit_a,
    next_standard_rating_a,
    non_fusing_current_a,
    string_backfeed_a,
    string_fuse_window_a,
    surge_critical_length_m,
)

# NEC 2023, 240.6(A), the small ratings, with the additional fuse ratings 1, 3, 6 and 10 A.
RATINGS_A = (1, 3, 6, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60)


def test_string_fuse_currents() -> None:
    # IEC 60269-6, class gPV (from memory, unverified): 1.13 In holds, 1.45 In opens.
    assert fusing_current_a(15.0) == pytest.approx(21.75)
    assert fusing_current_a(7.0) == pytest.approx(10.15)
    assert non_fusing_current_a(10.0) == pytest.approx(11.3)


def test_battery_fault_current() -> None:
    # IEC 61660-1, E = 1.05 Un (from memory, unverified); own arithmetic with 2.645 mΩ of cable.
    assert battery_fault_current_a(24.0, 0.008, 0.002645) == pytest.approx(2367.0, abs=1.0)
    assert battery_fault_current_a(24.0, 0.008, 0.0) == pytest.approx(3150.0)


@pytest.mark.parametrize(
    ("current_a", "up_a", "down_a"),
    [(18.75, 20, 15), (20.0, 20, 20), (12.0, 15, 10), (0.0, 1, None), (61.0, None, 60)],
)
def test_standard_ratings_around_a_current(
    current_a: float, up_a: float | None, down_a: float | None
) -> None:
    assert next_standard_rating_a(current_a, RATINGS_A) == up_a
    assert largest_standard_rating_a(current_a, RATINGS_A) == down_a


def test_float_noise_does_not_move_a_limit_to_another_rating() -> None:
    noisy_a = 0.1 + 0.2  # 0.30000000000000004

    assert next_standard_rating_a(noisy_a * 100.0, RATINGS_A) == 30
    assert largest_standard_rating_a(30.0 * (1.0 - 1e-12), RATINGS_A) == 30


def test_an_empty_series_of_ratings_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        next_standard_rating_a(10.0, ())


def test_string_fuse_band_of_both_rulebooks() -> None:
    # NEC 2023 690.9(B): 1.56 Isc up to the module limit. IEC 62548: 1.5 Isc to 2.4 Isc and the module limit.
    us = string_fuse_window_a(6.0, 15.0, low_factor=1.56)
    iec = string_fuse_window_a(6.0, 15.0, low_factor=1.5, high_factor=2.4)

    assert us == pytest.approx((9.36, 15.0))
    assert iec == pytest.approx((9.0, 14.4))
    assert string_fuse_window_a(6.0, 10.0, low_factor=1.5, high_factor=2.4).highest_a == 10.0


def test_band_is_empty_where_the_module_allows_too_little() -> None:
    window = string_fuse_window_a(6.0, 8.0, low_factor=1.56)

    assert window.lowest_a > window.highest_a


def test_backfeed_into_one_string() -> None:
    # NEC 2023 690.9(A) with 1.25; IEC 62548 without. Own arithmetic, Isc 6 A.
    assert string_backfeed_a(4, 6.0, 1.25, 0.0) == pytest.approx(22.5)
    assert string_backfeed_a(4, 6.0, 1.0, 0.0) == pytest.approx(18.0)
    assert string_backfeed_a(3, 6.0, 1.25, 0.0) == pytest.approx(15.0)
    assert string_backfeed_a(1, 6.0, 1.25, 200.0) == 200.0


def test_motor_limits() -> None:
    # NEC 2023 430.22, 430.52, 430.32, 430.110 (from memory, unverified).
    assert motor_limit_a(12.0, 1.25) == pytest.approx(15.0)
    assert motor_limit_a(8.0, 1.50) == pytest.approx(12.0)
    assert motor_limit_a(18.0, 1.15) == pytest.approx(20.7)
    with pytest.raises(ValueError, match="factor"):
        motor_limit_a(8.0, 125.0)


def test_critical_length_for_surges() -> None:
    # IEC 60364-7-712, 712.443.5: 115/Ng on a dwelling, 200/Ng on the ground (from memory, unverified).
    assert surge_critical_length_m(8.0, 200.0) == pytest.approx(25.0)
    assert surge_critical_length_m(2.0, 115.0) == pytest.approx(57.5)
