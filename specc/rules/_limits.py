"""Comparisons that rounding in the last digit does not upset, and that NaN never passes."""

from __future__ import annotations

from specc.rulebooks import ROUNDING


def reaches(value: float, least: float) -> bool:
    """Is the value at least this? Never so for NaN."""
    return value >= least - ROUNDING * max(1.0, abs(least))


def keeps_to(value: float, most: float) -> bool:
    """Is the value at most this? Never so for NaN."""
    return value <= most + ROUNDING * max(1.0, abs(most))
