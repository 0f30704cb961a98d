"""Guards for the range of validity: NaN and infinity never get through.

Each asks first for the common case, one sound float, since the guards stand in inner loops.
"""

from __future__ import annotations

import math

# Endings of names that say the unit, as people write it; the longest that fits counts.
_UNITS = {
    "a": "A", "c": "°C", "k": "K", "m": "m", "m2": "m²", "m3": "m³", "m3_s": "m³/s", "kg_m3": "kg/m³",
    "m_s": "m/s", "ohm": "Ω", "pa": "Pa", "pa_s": "Pa·s", "per_k": "1/K", "rev_s": "1/s", "s": "s",
    "v": "V", "w": "W", "w_m2": "W/m²",
}  # fmt: skip


class OutsideRange(ValueError):
    """A value for which a formula does not hold. ``told`` says so to people."""

    def __init__(self, name: str, wanted: str, value: object) -> None:
        super().__init__(f"{name} must be finite and {wanted}, not {value!r}")
        words = name.split("_")
        cut = next((n for n in range(1, len(words)) if "_".join(words[n:]) in _UNITS), len(words))
        unit = f" {_UNITS['_'.join(words[cut:])]}" if cut < len(words) else ""
        number = f"{value:.4g}" if isinstance(value, int | float) else str(value)
        self.told = f"{' '.join(words[:cut])} must be {wanted}{unit}, not {number}{unit}"


def _all(inside: object) -> bool:
    """Truth of one comparison, or of a whole array of them."""
    return bool(inside.all()) if hasattr(inside, "all") else bool(inside)


def require_between(low: float, high: float, /, **values: float) -> None:
    """Raise OutsideRange unless every named value is finite and ``low <= value <= high``."""
    for name, value in values.items():
        if value.__class__ is float and low <= value <= high and abs(value) < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value >= low) & (value <= high)):
            raise OutsideRange(name, f"from {low:g} to {high:g}", value)


def require_not_negative(**values: float) -> None:
    """Raise OutsideRange unless every named value is finite and zero or more."""
    for name, value in values.items():
        if value.__class__ is float and 0.0 <= value < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value >= 0.0)):
            raise OutsideRange(name, "not negative", value)


def require_positive(**values: float) -> None:
    """Raise OutsideRange unless every named value is finite and above zero."""
    for name, value in values.items():
        if value.__class__ is float and 0.0 < value < math.inf:
            continue
        if not _all((abs(value) < math.inf) & (value > 0.0)):
            raise OutsideRange(name, "above zero", value)


def require_count(**values: int) -> None:
    """Raise OutsideRange unless every named value is a whole number of 1 or more."""
    for name, value in values.items():
        if not (value >= 1 and value < math.inf and value == int(value)):
            raise OutsideRange(name, "a whole number from 1", value)
