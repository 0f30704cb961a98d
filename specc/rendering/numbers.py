"""SI values as text for people, in the unit system of the job."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from specc import units
from specc.documents.packet import UnitSystem
from specc.documents.tables import Cell, Column

NOT_APPLICABLE = "\N{EN DASH}"
_AFTER_A_NUMBER = re.compile(r"(?<=[0-9][ \N{NO-BREAK SPACE}])(?:mm2\b|([mkM]?)ohm\b|deg([CF])\b)")
KNOWN_DIGITS = 4  # of what is worked out from tables and label data
NOT_KNOWN = "not known"  # a value that should be there and is not; never an empty cell


def typeset(text: str) -> str:
    """Units behind numbers as they are typeset: "6 mm2" is 6 mm², "0.6 ohm" 0.6 Ω, "90 degC" 90 °C.

    >>> typeset("4 mm2 of 99.7 mohm at 90 degC")
    '4 mm² of 99.7 mΩ at 90 °C'
    """
    return _AFTER_A_NUMBER.sub(_as_typeset, text)


def _as_typeset(unit: re.Match[str]) -> str:
    prefix, scale = unit.groups()
    if scale is not None:
        return f"°{scale}"
    return "mm²" if prefix is None else f"{prefix}Ω"


def for_files(text: str) -> str:
    """A text of a cell as other programs look for it: with plain blanks.

    >>> for_files("10\xa0AWG")
    '10 AWG'
    """
    return text.replace("\N{NO-BREAK SPACE}", " ")


def decimals_of(shown: float, most: int) -> int:
    """Decimals of a number in a column that lines up at ``most``: of a large one fewer, since no more than
    four digits of it are known.

    >>> [decimals_of(shown, 2) for shown in (0.52, 77.66, 205.28, 3012.19)]
    [2, 2, 1, 0]
    """
    whole = math.floor(math.log10(abs(shown))) + 1 if shown else 1
    return min(most, max(0, KNOWN_DIGITS - whole))


@dataclass(frozen=True)
class NumberStyle:
    """How the numbers of one job print."""

    system: UnitSystem

    def quantity(self, value: float, dimension: str, digits: int = 3) -> str:
        """An SI value with its unit ("12.3 ft"), a bare number where it has none."""
        if not math.isfinite(value):
            return NOT_KNOWN
        return units.format_quantity(value, dimension or "number", self.system, digits)

    def label(self, dimension: str) -> str:
        """The unit in which a dimension prints."""
        return units.unit_label(dimension, self.system)

    def plain(self, value: float, dimension: str) -> str:
        """The number alone, in the unit of ``label``, for a program to read."""
        return f"{units.to_display(value, dimension, self.system):.6g}"

    def unit(self, column: Column) -> str:
        """The unit that belongs in the heading of a column, "" where it has none."""
        return units.unit_label(column.dimension, self.system) if column.dimension else ""

    def cell(self, value: Cell, column: Column) -> str:
        """A cell as text; its unit is in the heading."""
        if value is None:
            return NOT_APPLICABLE
        if isinstance(value, str):
            return value
        if not math.isfinite(value):
            return NOT_KNOWN
        if not column.dimension:
            return f"{value:.10g}"
        if column.decimals is not None:
            shown = units.to_display(value, column.dimension, self.system)
            return f"{shown:.{decimals_of(shown, column.decimals)}f}"
        text = units.format_quantity(value, column.dimension, self.system, column.digits)
        return text.removesuffix(self.unit(column)).rstrip()
