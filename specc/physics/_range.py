"""Guards for the range of validity: NaN and infinity never get through.

Each asks first for the common case, one sound float, since the guards stand in inner loops.
"""

from __future__ import annotations

import math


def _all(inside: object) -> bool:
    """Truth of one comparison, or of a whole array of them."""
    return bool(inside.all()) if hasattr(inside, "all") else bool(inside)


def require_between(low: float, high: float, /, **values: float) -> None:
    """Raise ValueError unless every named value is finite and ``low <= value <= high``."""
    for name, value in values.items():
        if value.__class__ is float and low <= value <= high and abs(value) < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value >= low) & (value <= high)):
            raise ValueError(f"{name} must be finite and from {low:g} to {high:g}, not {value!r}")


def require_not_negative(**values: float) -> None:
    """Raise ValueError unless every named value is finite and zero or more."""
    for name, value in values.items():
        if value.__class__ is float and 0.0 <= value < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value >= 0.0)):
            raise ValueError(f"{name} must be finite and not negative, not {value!r}")


def require_positive(**values: float) -> None:
    """Raise ValueError unless every named value is finite and above zero."""
    for name, value in values.items():
        if value.__class__ is float and 0.0 < value < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value > 0.0)):
            raise ValueError(f"{name} must be finite and above zero, not {value!r}")


def require_count(**values: int) -> None:
    """Raise ValueError unless every named value is a whole number of 1 or more."""
    for name, value in values.items():
        if not (value >= 1 and value < math.inf and value == int(value)):
            raise ValueError(f"{name} must be a whole number from 1, not {value!r}")
