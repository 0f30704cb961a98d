"""Field types of specs and catalogues: text with a unit in, SI float out, within physical sense."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Annotated, Any, Literal

from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from specc import units


class Read:
    """An annotation that reads a field with a function of its own.

    As pydantic's ``PlainValidator``, less the serialization that nothing here asks for: building a
    schema costs start-up time.
    """

    __slots__ = ("example", "function")

    def __init__(self, function: Callable[[Any], Any], example: str = "") -> None:
        self.function = function
        self.example = example  # a text that it takes

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.function)


def quantity(dimension: str, low: float | None = None, high: float | None = None) -> Read:
    """A validator for a text such as ``"180 ft"``: SI float within ``low``..``high`` (SI, inclusive)."""

    kind = units.DIMENSIONS[dimension]
    title = kind.title

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise PydanticCustomError(
                "wrong-type",
                f"expected {title} in quotes with its unit, for instance {_or(kind.examples[:2])}.",
            )
        if isinstance(value, int | float):
            number = units.shortened(str(value))
            in_units = _or(f"{number} {unit}" for unit in dict.fromkeys((kind.us, kind.si)))
            raise PydanticCustomError(
                "missing-unit",
                f"{number} has no unit: {title} is written in quotes with its unit, {in_units}.",
            )
        try:
            si = units.parse_quantity(value, dimension)
        except units.QuantityError as error:
            raise PydanticCustomError(error.kind, error.message) from None
        below, above = low is not None and si < low, high is not None and si > high
        if below or above or not math.isfinite(si):
            limits = " to ".join(
                units.format_quantity(limit, dimension, "si") for limit in (low, high) if limit is not None
            )
            word = "below" if below else "above"
            raise PydanticCustomError(
                "out-of-range",
                f'"{units.shortened(value)}" is {word} what makes physical sense here: {title} of {limits}.',
            )
        return si

    return Read(read, kind.examples[-1])


class Ranged(float):
    """The cautious end of a value that may lie anywhere from ``low`` to ``high``.

    A plain float to all who need one figure; whoever works out a spread asks for the ends.
    """

    low: float
    high: float

    def __new__(cls, low: float, high: float, cautious: float) -> Ranged:
        made = super().__new__(cls, cautious)
        made.low, made.high = low, high
        return made


def ranged(dimension: str, low: float, high: float, cautious: Literal["low", "high"]) -> Read:
    """As ``quantity``, but a range such as ``"3 to 4 gal/min"`` is taken too, at its cautious end."""
    single = quantity(dimension, low, high)
    plain = single.function

    def read(value: Any) -> float:
        if not isinstance(value, str) or not units.is_range(value):
            return float(plain(value))
        try:
            ends = units.split_range(value, dimension)
        except units.QuantityError as error:
            raise PydanticCustomError(error.kind, error.message) from None
        first, last = (plain(end) for end in ends)
        if first > last:
            raise PydanticCustomError("out-of-range", f'"{value}" runs from more to less: smaller end first.')
        return Ranged(first, last, first if cautious == "low" else last)

    return Read(read, single.example)


def _or(texts: Iterable[str]) -> str:
    return " or ".join(f'"{text}"' for text in texts)


AUTO = "auto"  # in place of a value: the compiler chooses it


def text_validator(read: Callable[[str], str], what: str, example: str, *, auto: bool = False) -> Read:
    """A validator for a text with a form of its own (wire size, trade size), or where it may be, "auto"."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise PydanticCustomError("wrong-type", f"expected {what}.")
        if auto and value.strip() == AUTO:
            return AUTO
        try:
            return read(value)
        except units.QuantityError as error:
            raise PydanticCustomError(error.kind, error.message) from None

    return Read(check, example)


# Bounds are wide: they refuse what cannot be, and leave what is odd to the rule `spec.implausible`.
Length = Annotated[float, quantity("length", 0.0, 100_000.0)]
SignedShortLength = Annotated[float, quantity("short_length", -10.0, 10.0)]  # negative: the other way
ShortLength = Annotated[float, quantity("short_length", 0.0, 10.0)]
Elevation = Annotated[float, quantity("elevation", -1_000.0, 9_000.0)]
Head = Annotated[float, quantity("head", 0.0, 2_000.0)]
Area = Annotated[float, quantity("area", 0.0, 1.0e6)]
Volume = Annotated[float, quantity("volume", 0.0, 1.0e6)]
BoxVolume = Annotated[float, quantity("box_volume", 0.0, 100.0)]
Flow = Annotated[float, quantity("flow", 0.0, 1.0)]
InflowFlow = Annotated[float, ranged("flow", 0.0, 1.0, "low")]
DemandFlow = Annotated[float, ranged("daily_flow", 0.0, 1.0, "high")]
Pressure = Annotated[float, quantity("pressure", 0.0, 1.0e8)]
AirTemperature = Annotated[float, quantity("temperature", 183.15, 333.15)]
WaterTemperature = Annotated[float, quantity("temperature", 273.15, 313.15)]
DeviceTemperature = Annotated[float, quantity("temperature", 183.15, 523.15)]
Voltage = Annotated[float, quantity("voltage", 0.0, 2_000.0)]
Current = Annotated[float, quantity("current", 0.0, 1.0e6)]
Modulus = Annotated[float, quantity("pressure", 0.0, 1.0e12)]
Resistance = Annotated[float, quantity("resistance", 0.0, 1.0e9)]
Power = Annotated[float, quantity("power", 0.0, 1.0e7)]
Charge = Annotated[float, quantity("charge", 0.0, 1.0e9)]
RelativeCoefficient = Annotated[float, quantity("voltage_coefficient", -0.05, 0.05)]
Angle = Annotated[float, quantity("angle", -math.tau, math.tau)]
Mass = Annotated[float, quantity("mass", 0.0, 1.0e6)]
Time = Annotated[float, quantity("time", 0.0, 1.0e9)]
Speed = Annotated[float, quantity("speed", 0.0, 1.0e5)]
Torque = Annotated[float, quantity("torque", 0.0, 1.0e4)]
WireSize = Annotated[str, text_validator(units.parse_size, 'a wire size such as "8 AWG" or "6 mm2"', "6 mm2")]
WireSizeOrAuto = Annotated[
    str,
    text_validator(units.parse_size, 'a wire size such as "8 AWG" or "6 mm2", or "auto"', AUTO, auto=True),
]
TradeSize = Annotated[
    str, text_validator(units.parse_trade_size, 'a size such as "1-1/4 in" or "32 mm"', "32 mm")
]
