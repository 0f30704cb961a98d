"""Units at the edge: text to SI float, and SI float to text for people.

Nothing else imports pint, and pint itself is imported only for a unit that ``unit_sizes`` lacks, since
it is slow to load. The number is read here, never by pint, so no expression is
ever evaluated, and the arithmetic is in exact fractions, rounded once.

Gallons are US liquid gallons throughout.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from specc.unit_sizes import SCALES, ZEROS

if TYPE_CHECKING:
    import pint


@dataclass(frozen=True)
class Dimension:
    """One kind of physical value.

    ``si_unit`` is the unit of the floats inside, ``key_suffix`` its form in names and JSON keys
    (``length_m``); ``us`` and ``si`` are the units in which values are printed; ``units`` are the
    accepted ones, most usual first (none for a bare number); ``title`` and ``examples`` are for messages.
    """

    name: str
    title: str
    si_unit: str
    key_suffix: str
    us: str
    si: str
    units: tuple[str, ...]
    examples: tuple[str, ...]


class QuantityError(ValueError):
    """A quantity that cannot be read.

    ``kind`` is missing-unit, wrong-dimension, unknown-unit, not-a-number or
    not-finite; ``message`` is one sentence for the user.
    """

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message


# name, title, SI unit, key suffix, printed unit us, printed unit si, accepted units, examples
_ROWS = (
    ("length", "a length", "m", "m", "ft", "m", "ft m in mm cm km mile", "180 ft|55 m"),
    ("elevation", "an elevation", "m", "m", "ft", "m", "ft m in mm cm", "-9 ft|-2.7 m"),
    ("head", "a head", "m", "m", "ft", "m", "ft|m|ft of head|m of head", "60 ft|18 m"),
    ("short_length", "a length", "m", "m", "in", "mm", "in mm cm ft m", "24 in|600 mm"),
    ("area", "an area", "m2", "m2", "in2", "mm2", "mm2 cm2 m2 in2 ft2", "10 mm2|0.02 in2"),
    ("volume", "a volume", "m3", "m3", "gal", "L", "gal L m3 mL ft3", "1500 gal|5000 L"),
    (
        "flow",
        "a flow",
        "m3/s",
        "m3_s",
        "gal/min",
        "L/min",
        "gal/min gal/h gal/day L/min L/s L/h L/day m3/h m3/day m3/s",
        "3.5 gal/min|13 L/min",
    ),
    ("pressure", "a pressure", "Pa", "pa", "psi", "kPa", "psi kPa bar inHg MPa mbar Pa", "30 psi|200 kPa"),
    ("torque", "a torque", "N m", "n_m", "lbf in", "N m", "lbf in|lbf ft|N m", "20 lbf in|2.3 N m"),
    ("temperature", "a temperature", "K", "k", "degF", "degC", "degF degC K", "49 degF|9 degC"),
    (
        "temperature_difference",
        "a temperature difference",
        "K",
        "k",
        "degF",
        "K",
        "K degC degF",
        "10 K|18 degF",
    ),
    ("voltage", "a voltage", "V", "v", "V", "V", "V mV kV", "24 V"),
    ("current", "a current", "A", "a", "A", "A", "A mA kA", "8 A"),
    ("resistance", "a resistance", "ohm", "ohm", "ohm", "ohm", "ohm mohm kohm", "0.6 ohm"),
    (
        "resistance_per_length",
        "a resistance per length",
        "ohm/m",
        "ohm_per_m",
        "ohm/kft",
        "ohm/km",
        "ohm/km ohm/kft ohm/m",
        "1.24 ohm/kft",
    ),
    ("power", "a power", "W", "w", "W", "W", "W kW hp", "160 W|0.5 hp"),
    ("energy", "an energy", "J", "j", "Wh", "Wh", "Wh kWh J kJ MJ", "1.2 kWh|800 Wh"),
    ("charge", "a charge", "C", "c", "Ah", "Ah", "Ah mAh", "100 Ah"),
    ("angle", "an angle", "rad", "rad", "deg", "deg", "deg rad", "44 deg"),
    ("irradiance", "an irradiance", "W/m2", "w_m2", "W/m2", "W/m2", "W/m2 kW/m2", "1000 W/m2"),
    (
        "irradiation",
        "an irradiation",
        "J/m2",
        "j_m2",
        "kWh/m2",
        "kWh/m2",
        "kWh/m2 Wh/m2 MJ/m2",
        "5.6 kWh/m2",
    ),
    ("velocity", "a velocity", "m/s", "m_s", "ft/s", "m/s", "ft/s m/s km/h", "5 ft/s|1.5 m/s"),
    ("mass", "a mass", "kg", "kg", "lb", "kg", "lb kg g", "12 lb|5.5 kg"),
    ("time", "a time", "s", "s", "h", "h", "s min h day", "5 h"),
    ("short_time", "a time", "s", "s", "min", "min", "min s h day", "5 min"),
    ("speed", "a speed of rotation", "rad/s", "rad_s", "rpm", "rpm", "rpm rad/s", "1750 rpm"),
    (
        "voltage_coefficient",
        "a temperature coefficient",
        "1/K",
        "per_k",
        "%/K",
        "%/K",
        "%/K %/degC %/degF 1/K",
        "-0.30 %/K",
    ),
    ("fraction", "a fraction", "", "fraction", "%", "%", "%", "3 %"),
    ("money", "a sum of money", "", "money", "", "", "", "12.50"),
    # The same kinds of value where people use another unit: a day's water, a tank's plan, a stamped rating.
    (
        "daily_flow",
        "a flow",
        "m3/s",
        "m3_s",
        "gal/day",
        "L/day",
        "gal/day L/day m3/day gal/min L/min m3/h gal/h L/h L/s m3/s",
        "380 gal/day|1500 L/day",
    ),
    ("plan_area", "an area", "m2", "m2", "ft2", "m2", "ft2 m2 in2 cm2 mm2", "39 ft2|3.6 m2"),
    ("box_volume", "a volume", "m3", "m3", "in3", "L", "in3 L mL ft3 m3", "720 in3|11.8 L"),
    ("modulus", "a modulus", "Pa", "pa", "ksi", "MPa", "ksi MPa psi kPa bar Pa", "130 ksi|900 MPa"),
    ("vacuum", "a vacuum", "Pa", "pa", "inHg", "kPa", "inHg kPa mbar psi bar Pa", "12 inHg|40 kPa"),
    ("duration", "a time", "s", "s", "s", "s", "s min h", "120 s"),
    ("rating_temperature", "a temperature", "K", "k", "degC", "degC", "degC degF K", "75 degC|167 degF"),
    ("density", "a density", "kg/m3", "kg_m3", "kg/m3", "kg/m3", "kg/m3", "998 kg/m3"),
    ("count", "a count", "", "count", "", "", "", "2"),
    ("number", "a number", "", "number", "", "", "", "1.25"),
)


def _dimension(
    name: str, title: str, si_unit: str, key_suffix: str, us: str, si: str, units: str, examples: str
) -> Dimension:
    accepted = tuple(units.split("|") if "|" in units else units.split())
    return Dimension(name, title, si_unit, key_suffix, us, si, accepted, tuple(examples.split("|")))


DIMENSIONS: Mapping[str, Dimension] = MappingProxyType({row[0]: _dimension(*row) for row in _ROWS})

# symbol: (expression for the registry, other accepted spellings). Spellings are compared exactly,
# because mA and MA differ by case alone; a wrong case earns a suggestion.
_UNITS: Mapping[str, tuple[str, tuple[str, ...]]] = MappingProxyType(
    {
        "m": ("metre", ("metre", "metres", "meter", "meters")),
        "mm": ("millimetre", ("millimetre", "millimetres", "millimeter", "millimeters")),
        "cm": ("centimetre", ("centimetre", "centimetres", "centimeter", "centimeters")),
        "km": ("kilometre", ("kilometre", "kilometres", "kilometer", "kilometers")),
        "ft": ("foot", ("foot", "feet", "'")),
        "in": ("inch", ("inch", "inches", '"')),
        "mile": ("mile", ("miles", "mi")),
        "ft of head": ("foot", ("feet of head", "ft of water", "feet of water", "ft head")),
        "m of head": ("metre", ("metres of head", "m of water", "metres of water", "m head")),
        "m2": ("metre**2", ("sq m",)),
        "cm2": ("square_centimetre", ("sq cm",)),
        "mm2": ("square_millimetre", ("sq mm",)),
        "in2": ("inch**2", ("sq in",)),
        "ft2": ("foot**2", ("sq ft",)),
        "m3": ("metre**3", ()),
        "ft3": ("foot**3", ("cu ft",)),
        "in3": ("inch**3", ("cu in",)),
        "L": ("litre", ("l", "litre", "litres", "liter", "liters")),
        "mL": ("cubic_centimetre", ("ml",)),
        "gal": ("gallon", ("gallon", "gallons")),
        "gal/min": ("gallon/minute", ("gpm", "gallons/min", "gallons/minute")),
        "gal/h": ("gallon/hour", ("gph", "gal/hr", "gallons/h", "gallons/hour")),
        "gal/day": ("gallon/day", ("gpd", "gal/d", "gallons/day")),
        "L/s": ("litre/second", ("lps", "l/s")),
        "L/min": ("litre/minute", ("lpm", "l/min", "litres/min", "litres/minute")),
        "L/h": ("litre/hour", ("l/h", "litres/h", "litres/hour")),
        "L/day": ("litre/day", ("l/day", "L/d", "litres/day")),
        "m3/s": ("metre**3/second", ()),
        "m3/h": ("metre**3/hour", ()),
        "m3/day": ("metre**3/day", ("m3/d",)),
        "Pa": ("pascal", ("pascal", "pascals")),
        "kPa": ("kilopascal", ()),
        "MPa": ("megapascal", ()),
        "bar": ("bar", ("bars",)),
        "mbar": ("millibar", ()),
        "psi": ("psi", ("lbf/in2", "lb/in2")),
        "ksi": ("kilopsi", ()),
        "inHg": ("inch_of_mercury", ("in Hg",)),
        "N m": ("newton*metre", ("Nm", "N*m", "N·m", "newton metres")),
        "lbf in": ("pound_force*inch", ("lbf*in", "lbf·in", "in lbf", "in lb", "in-lb", "lb in", "lb-in")),
        "lbf ft": ("pound_force*foot", ("lbf*ft", "lbf·ft", "ft lbf", "ft lb", "ft-lb", "lb ft", "lb-ft")),
        "degF": ("degree_fahrenheit", ("°F",)),
        "degC": ("degree_celsius", ("°C",)),
        "K": ("kelvin", ("kelvin", "kelvins")),
        "V": ("volt", ("volt", "volts", "Vdc", "VDC", "V DC")),
        "mV": ("millivolt", ()),
        "kV": ("kilovolt", ()),
        "A": ("ampere", ("amp", "amps", "ampere", "amperes", "Adc", "ADC", "A DC")),
        "mA": ("milliampere", ()),
        "kA": ("kiloampere", ()),
        "ohm": ("ohm", ("ohms", "Ω")),
        "mohm": ("milliohm", ("mΩ", "milliohm", "milliohms")),
        "kohm": ("kiloohm", ("kΩ",)),
        "ohm/m": ("ohm/metre", ("Ω/m",)),
        "ohm/km": ("ohm/kilometre", ("Ω/km", "ohms/km")),
        "ohm/kft": ("ohm/kilofoot", ("Ω/kft", "ohm/kFT", "ohms/kft", "ohm/1000 ft")),
        "W": ("watt", ("watt", "watts", "Wp")),
        "kW": ("kilowatt", ("kilowatt", "kilowatts")),
        "hp": ("horsepower", ("HP", "horsepower")),
        "J": ("joule", ()),
        "kJ": ("kilojoule", ()),
        "MJ": ("megajoule", ()),
        "Wh": ("watt*hour", ("W h",)),
        "kWh": ("kilowatt*hour", ("kW h",)),
        "Ah": ("ampere*hour", ("A h",)),
        "mAh": ("milliampere*hour", ()),
        "deg": ("degree", ("°", "degree", "degrees")),
        "rad": ("radian", ()),
        "W/m2": ("watt/metre**2", ()),
        "kW/m2": ("kilowatt/metre**2", ()),
        "Wh/m2": ("watt*hour/metre**2", ()),
        "kWh/m2": ("kilowatt*hour/metre**2", ()),
        "MJ/m2": ("megajoule/metre**2", ()),
        "ft/s": ("foot/second", ("fps",)),
        "m/s": ("metre/second", ()),
        "km/h": ("kilometre/hour", ()),
        "lb": ("pound", ("lbs", "pound", "pounds")),
        "kg": ("kilogram", ()),
        "kg/m3": ("kilogram/metre**3", ()),
        "g": ("gram", ()),
        "s": ("second", ("sec", "second", "seconds")),
        "min": ("minute", ("minute", "minutes")),
        "h": ("hour", ("hr", "hour", "hours")),
        "day": ("day", ("d", "days")),
        "rpm": ("revolution/minute", ("rev/min",)),
        "rad/s": ("radian/second", ()),
        "%": ("percent", ("percent",)),
        "%/K": ("percent/kelvin", ()),
        "%/degC": ("percent/kelvin", ("%/°C",)),
        "%/degF": ("percent/delta_degree_fahrenheit", ("%/°F",)),
        "1/K": ("1/kelvin", ()),
    }
)
_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {spelling: symbol for symbol, (_, others) in _UNITS.items() for spelling in (symbol, *others)}
)
# An offset unit means something else where a difference or a slope is meant.
_DELTA = MappingProxyType({"degF": "delta_degree_fahrenheit", "degC": "delta_degree_celsius"})
# SI units that nobody writes into a spec.
_SI_ONLY = MappingProxyType({"": "", "C": "coulomb", "J/m2": "joule/metre**2"})
_LONE_LETTERS = MappingProxyType({"f": "degF", "c": "degC"})

# printed unit: (its size in SI, its zero in its own unit); value = si / size - zero
_PRINTED: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "": (1.0, 0.0),
        "ft": (0.3048, 0.0),
        "m": (1.0, 0.0),
        "in": (0.0254, 0.0),
        "mm": (0.001, 0.0),
        "in2": (0.00064516, 0.0),
        "ft2": (0.09290304, 0.0),
        "m2": (1.0, 0.0),
        "mm2": (1e-6, 0.0),
        "in3": (1.6387064e-05, 0.0),
        "gal": (0.003785411784, 0.0),
        "L": (0.001, 0.0),
        "gal/min": (0.003785411784 / 60, 0.0),
        "gal/day": (0.003785411784 / 86400, 0.0),
        "L/day": (0.001 / 86400, 0.0),
        "L/min": (0.001 / 60, 0.0),
        "psi": (6894.757293168361, 0.0),
        "ksi": (6894757.293168361, 0.0),
        "MPa": (1e6, 0.0),
        "inHg": (3386.389, 0.0),
        "kPa": (1000.0, 0.0),
        "lbf in": (6894.757293168361 * 0.0254**3, 0.0),
        "N m": (1.0, 0.0),
        "degF": (5 / 9, 459.67),
        "degC": (1.0, 273.15),
        "K": (1.0, 0.0),
        "V": (1.0, 0.0),
        "A": (1.0, 0.0),
        "ohm": (1.0, 0.0),
        "ohm/kft": (1 / 304.8, 0.0),
        "ohm/km": (0.001, 0.0),
        "W": (1.0, 0.0),
        "Wh": (3600.0, 0.0),
        "Ah": (3600.0, 0.0),
        "deg": (math.pi / 180, 0.0),
        "W/m2": (1.0, 0.0),
        "kWh/m2": (3.6e6, 0.0),
        "ft/s": (0.3048, 0.0),
        "m/s": (1.0, 0.0),
        "lb": (0.45359237, 0.0),
        "kg": (1.0, 0.0),
        "kg/m3": (1.0, 0.0),
        "s": (1.0, 0.0),
        "h": (3600.0, 0.0),
        "min": (60.0, 0.0),
        "rpm": (math.pi / 30, 0.0),
        "%/K": (0.01, 0.0),
        "%": (0.01, 0.0),
    }
)
_LABELS = MappingProxyType(
    {
        "degF": "°F",
        "degC": "°C",
        "in2": "in²",
        "in3": "in³",
        "mm2": "mm²",
        "ft2": "ft²",
        "m2": "m²",
        "kg/m3": "kg/m³",
        "W/m2": "W/m²",
        "kWh/m2": "kWh/m²",
    }
)
# Temperatures on a scale, not differences: their zero is shifted, and none lies below absolute zero.
_ON_A_SCALE = ("temperature", "rating_temperature")

_LONGEST_TEXT = 80  # no honest quantity is longer, and long digits cost time
_MOST_DECIMALS = 9
_MOST_TEMPERATURE_DECIMALS = 2
_MOST_NAMES = 6  # of units in one message
_NUMBER = r"[0-9]+(?:\.(?!\.)[0-9]*)?(?:[eE][+-]?[0-9]+)?|\.[0-9]+(?:[eE][+-]?[0-9]+)?"
_FRACTION = r"(?:(?P<whole>[0-9]+)(?:-|\s+))?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)"
_QUANTITY = re.compile(rf"(?P<sign>[+-]?)(?:{_FRACTION}|(?P<plain>{_NUMBER}))(?P<unit>.*)", re.DOTALL)
_COMMA = r"[+-]?[0-9]+(?:,[0-9]+)+"
_RANGE = rf"[+-]?(?>{_NUMBER})[^0-9,/]*?(?:\bto\b|\band\b|\.\.+|[-–—~])\s*[+-]?(?>{_NUMBER})(?!/)"
_TWO_ENDS = (
    rf"(?P<low>[+-]?(?>{_NUMBER}))(?P<unit_low>[^0-9,–—-]*?)(?:\bto\b|[–—-])\s*"
    rf"(?P<high>[+-]?(?>{_NUMBER}))(?P<unit_high>[^0-9/].*)"
)
# A unit that starts oddly, or holds a digit other than a square or a cube.
_MORE_THAN_ONE = r"^[^\w%°'\"$]|_|(?<![a-zA-Z^*])[0-9]|(?<=[\^*])[^23*]|[14-9]"
_NOT_FINITE = r"[+-]?(?:nan|inf|infinity)\b"

_SIZE = re.compile(
    r"(?:awg#?|#)(?P<gauge>[0-9]+(?:/0)?)(?:awg)?"
    r"|(?P<size>[0-9]+(?:\.[0-9]+|/0)?)(?P<unit>awg|mm2|sqmm|kcmil|mcm)"
)
_OLD_AUGHTS = MappingProxyType({"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"})
# AWG and kcmil: the sizes of a building-wire table (ASTM B258 gauge steps); mm2: IEC 60228, table 1.
_WIRE_SIZES = MappingProxyType(
    {
        family: tuple(sizes.split())
        for family, sizes in (
            ("AWG", "24 22 20 18 16 14 12 10 8 6 4 3 2 1 1/0 2/0 3/0 4/0"),
            ("kcmil", "250 300 350 400 500 600 700 750 800 900 1000"),
            ("mm2", "0.5 0.75 1 1.5 2.5 4 6 10 16 25 35 50 70 95 120 150 185 240 300 400 500"),
        )
    }
)
# Nominal pipe sizes of ASME B36.10M, and 5/8 as hoses are sold (common practice, no source).
_INCHES = "1/8 1/4 3/8 1/2 5/8 3/4 1 1-1/4 1-1/2 2 2-1/2 3 3-1/2 4 5 6 8 10 12"
_TRADE_INCHES = MappingProxyType(
    {sum((Fraction(part) for part in size.split("-")), Fraction(0)): size for size in _INCHES.split()}
)
# Outside diameters of ISO 161-1, in mm, above the largest that could be meant as inches.
_METRIC_DIAMETERS = (16, 20, 25, 32, 40, 50, 63, 75, 90, 110, 125, 140, 160)
_LARGEST_METRIC_MM = 2000


def parse_quantity(text: str, dimension: str) -> float:
    """Read ``"3.5 gal/min"`` as an SI float of the named dimension.

    Accepts decimals, exponents and fractions (``"1-1/4 in"``). Raises ``QuantityError`` for all
    that a user can get wrong and ``KeyError`` for an unknown dimension name.
    """
    wanted = DIMENSIONS[dimension]
    number, unit_text = _split(text, wanted)
    symbol = _symbol(text, unit_text, wanted)
    if dimension == "count" and number.denominator != 1:
        raise QuantityError("not-a-number", f"{_quoted(text)} is not a whole number.")
    scale, shift = _conversion(symbol, dimension)
    try:
        value = float(number * scale + shift)
    except OverflowError:
        raise QuantityError("not-finite", f"{_quoted(text)} is too large a number.") from None
    if dimension in _ON_A_SCALE and value < 0:
        raise QuantityError("not-finite", f"{_quoted(text)} lies below absolute zero.")
    return value


def is_range(text: str) -> bool:
    """Does a text look like "3 to 4 gal/min": two numbers with "to" or a dash between them?"""
    return len(text) <= _LONGEST_TEXT and re.fullmatch(_TWO_ENDS, text.strip(), re.DOTALL) is not None


def split_range(text: str, dimension: str) -> tuple[str, str]:
    """The two ends of a range as texts of their own; the unit of the second serves a first without one.

    Raises ``QuantityError`` for a text that is no range.
    """
    match = re.fullmatch(_TWO_ENDS, text.strip(), re.DOTALL)
    if match is None or len(text) > _LONGEST_TEXT:
        wanted = _takes(DIMENSIONS[dimension])
        raise QuantityError("not-a-number", f"{_quoted(text)} is not a range: {wanted}.")
    own, shared = match["unit_low"].strip(), match["unit_high"].strip()
    return f"{match['low']} {own or shared}", f"{match['high']} {shared}"


def parse_range(text: str, dimension: str) -> tuple[float, float]:
    """Read ``"3 to 4 gal/min"`` as its two ends in SI, smaller first; one value is a range of no width.

    Raises ``QuantityError`` as ``parse_quantity`` does, and for a range that runs from more to less.
    """
    if not is_range(text):
        value = parse_quantity(text, dimension)
        return value, value
    low, high = (parse_quantity(end, dimension) for end in split_range(text, dimension))
    if low > high:
        raise QuantityError("not-a-number", f"{_quoted(text)} runs from more to less: smaller end first.")
    return low, high


def to_display(value: float, dimension: str, system: str) -> float:
    """An SI value in the unit that ``unit_label`` names. ``system`` is "us" or "si"."""
    size, zero = _PRINTED[_printed_unit(dimension, system)]
    return value / size - (zero if dimension in _ON_A_SCALE else 0.0)


def unit_label(dimension: str, system: str) -> str:
    """The printed unit, "" for a bare number: "gal/min", "°F", "mm²"."""
    unit = _printed_unit(dimension, system)
    return _LABELS.get(unit, unit)


def format_quantity(value: float, dimension: str, system: str, digits: int = 3) -> str:
    """An SI value as people read it: "180 ft", "3.5 gal/min", "-12 ft".

    ``digits`` significant digits, never an exponent, whole numbers never cut short, no trailing
    zeros. Money has two decimals. Raises ``ValueError`` for what is not finite: nothing that is
    unknown may look like a number.
    """
    if not math.isfinite(value):
        raise ValueError(f"cannot print {value} as {dimension}")
    shown = to_display(value, dimension, system)
    if dimension == "money":
        text = _without_minus_zero(f"{shown:.2f}")
    else:
        # Near the zero of a shifted scale a significant digit says nothing.
        most = _MOST_TEMPERATURE_DECIMALS if dimension in _ON_A_SCALE else _MOST_DECIMALS
        text = _digits(shown, digits, most)
    return f"{text} {unit_label(dimension, system)}".rstrip()


def parse_size(text: str) -> str:
    """The catalogue key of a wire size: "8 AWG", "1/0 AWG", "250 kcmil" or "6 mm2".

    Accepts "#8", "8AWG", "AWG 8", "000 AWG", "6 mm²". Raises ``QuantityError``.
    """
    wanted = 'a wire size is written like "8 AWG", "1/0 AWG" or "6 mm2"'
    squeezed = re.sub(r"[\s^]", "", unicodedata.normalize("NFKC", text[: _LONGEST_TEXT + 1])).lower()
    if re.fullmatch(r"[0-9][0-9/.]*", squeezed):
        raise QuantityError("missing-unit", f"{_quoted(text)} has no unit; {wanted}.")
    match = _SIZE.fullmatch(squeezed)
    if not match or len(text) > _LONGEST_TEXT:
        raise QuantityError("unknown-unit", f"{_quoted(text)} is not a wire size; {wanted}.")
    family = {"mm2": "mm2", "sqmm": "mm2", "kcmil": "kcmil", "mcm": "kcmil"}.get(match["unit"] or "", "AWG")
    size = _OLD_AUGHTS.get(match["size"] or match["gauge"], match["size"] or match["gauge"])
    size = re.sub(r"(\.[0-9]*?)0+$", r"\1", size).rstrip(".")
    if size in _WIRE_SIZES[family]:
        return f"{size} {family}"
    import difflib

    near = difflib.get_close_matches(size, _WIRE_SIZES[family], n=1, cutoff=0.0)
    if "/" not in size:
        number = float(size)
        plain = [known for known in _WIRE_SIZES[family] if "/" not in known]
        near = sorted(plain, key=lambda known: (abs(float(known) - number), float(known)))[:2]
    nearest = " or ".join(f'"{known} {family}"' for known in near)
    raise QuantityError("unknown-unit", f"{_quoted(text)} is not a wire size; did you mean {nearest}?")


def parse_trade_size(text: str) -> str:
    """The catalogue key of a pipe or conduit size: "1-1/4" (inch trade size) or "32 mm".

    Accepts "1.25 in", "1 1/4 in", "1-1/4", "32mm". Raises ``QuantityError``.
    """
    wanted = 'a trade size is written like "1-1/4 in" or "32 mm"'
    match = _QUANTITY.fullmatch(text.strip()) if len(text) <= _LONGEST_TEXT else None
    unit = _SPELLINGS.get(match["unit"].strip(), "?" if match["unit"].strip() else "") if match else "?"
    if not match or match["sign"] or unit not in ("", "in", "mm"):
        raise QuantityError("unknown-unit", f"{_quoted(text)} is not a trade size; {wanted}.")
    size = _number(text, match)
    if unit == "mm":
        if not 0 < size <= _LARGEST_METRIC_MM or size * 10 % 1:
            raise QuantityError("unknown-unit", f"{_quoted(text)} is not a trade size; {wanted}.")
        return f"{float(size):g} mm"
    if size in _TRADE_INCHES:
        return _TRADE_INCHES[size]
    if not unit and size in _METRIC_DIAMETERS:
        raise QuantityError("missing-unit", f'{_quoted(text)} has no unit; did you mean "{size} mm"?')
    nearest = _TRADE_INCHES[min(_TRADE_INCHES, key=lambda known: abs(known - size))]
    raise QuantityError("unknown-unit", f'{_quoted(text)} is not a trade size; did you mean "{nearest} in"?')


def _split(text: str, wanted: Dimension) -> tuple[Fraction, str]:
    """The number, exact, and the unit as written; refuses all that is not one plain number."""
    bare = text.strip().replace("\u2212", "-")  # the minus sign of typeset text
    match = _QUANTITY.fullmatch(bare) if len(bare) <= _LONGEST_TEXT else None
    unit = match["unit"].strip() if match else ""
    if not match or (unit and unit not in _SPELLINGS):
        _refuse_odd_forms(text, bare, wanted)
    if not match:
        message = f"{_quoted(text)} does not start with a number: {_takes(wanted)}."
        raise QuantityError("not-a-number", message)
    return _number(text, match), unit


def _refuse_odd_forms(text: str, bare: str, wanted: Dimension) -> None:
    """Says what is wrong with a text that is not one number and one unit; returns if nothing is.

    The patterns stay uncompiled until somebody errs, to keep start-up short.
    """
    fault, kind = "", "not-a-number"
    if len(bare) > _LONGEST_TEXT:
        fault = "is too long to be one value"
    elif re.match(_NOT_FINITE, bare, re.IGNORECASE):
        fault, kind = "is not a finite number", "not-finite"
    elif comma := re.match(_COMMA, bare):
        raise QuantityError("not-a-number", _comma_message(text, comma[0]))
    elif re.match(_RANGE, bare):
        fault = "looks like a range, and one value is needed"
    elif (match := _QUANTITY.fullmatch(bare)) and re.search(_MORE_THAN_ONE, match["unit"].strip()):
        fault = "is more than one number and one unit"
    if fault:
        raise QuantityError(kind, f"{_quoted(text)} {fault}: {_takes(wanted)}.")


def _number(text: str, match: re.Match[str]) -> Fraction:
    """The exact number of a matched quantity."""
    sign = -1 if match["sign"] == "-" else 1
    if match["plain"]:
        rough = float(match["plain"])
        if math.isinf(rough):
            raise QuantityError("not-finite", f"{_quoted(text)} is too large a number.")
        # A vanishing exponent would cost much time as an exact fraction, and changes nothing.
        return sign * Fraction(match["plain"]) if rough else Fraction(0)
    top, bottom = int(match["top"]), int(match["bottom"])
    if bottom == 0 or (match["whole"] and top >= bottom):
        message = f'{_quoted(text)} is not a number; a fraction is written like "3/4" or "1-1/4".'
        raise QuantityError("not-a-number", message)
    return sign * (int(match["whole"] or 0) + Fraction(top, bottom))


def _comma_message(text: str, number: str) -> str:
    grouped = re.fullmatch(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+", number)
    without = number.replace(",", "")
    as_point = number.replace(",", ".") if number.count(",") == 1 else ""
    write = f"write {without} without it" if grouped or not as_point else f"write {as_point}"
    if grouped and as_point:
        write += f", or {as_point} if it marks decimals"
    return f"{_quoted(text)} has a comma in its number: {write}."


def _symbol(text: str, written: str, wanted: Dimension) -> str:
    """The accepted symbol of the unit as written, "" where the dimension is a bare number."""
    if not wanted.units:
        if written:
            raise QuantityError("wrong-dimension", f"{_quoted(text)}: {_takes(wanted)}.")
        return ""
    if not written:
        raise QuantityError("missing-unit", f"{_quoted(text)} has no unit: {_takes(wanted)}.")
    symbol = _SPELLINGS.get(written) or _SPELLINGS.get(_tidy(written))
    if symbol in wanted.units:
        return symbol
    if symbol is None:
        hint = _nearest_unit(written, wanted)
        message = f'{_quoted(text)}: "{written}" is not a known unit{hint}; {_takes(wanted)}.'
        raise QuantityError("unknown-unit", message)
    owner = next(d for d in DIMENSIONS.values() if symbol in d.units or symbol == d.si_unit)
    message = f"{_quoted(text)}: {symbol} is a unit of {owner.title.split(' ', 1)[1]}; {_takes(wanted)}."
    raise QuantityError("wrong-dimension", message)


def _tidy(written: str) -> str:
    """Typeset forms as typed ones: "mm²" and "mm^2" are mm2, "gal / min" and "gal per min" gal/min."""
    plain = unicodedata.normalize("NFKC", written).replace("^", "").replace("**", "")
    return re.sub(r"\s+", " ", re.sub(r"\s*(?:/|\bper\b)\s*", "/", plain)).strip()


def _nearest_unit(written: str, wanted: Dimension) -> str:
    """' (did you mean "gal/min"?)', or nothing if no unit is near."""
    import difflib

    lone = _LONE_LETTERS.get(_squeezed(written))
    if lone in wanted.units:
        return f' (did you mean "{lone}"?)'
    for units in (wanted.units, tuple(_UNITS)):
        known = {_squeezed(s): symbol for s, symbol in _SPELLINGS.items() if symbol in units}
        near = difflib.get_close_matches(_squeezed(written), known, n=1, cutoff=0.7)
        if near:
            return f' (did you mean "{known[near[0]]}"?)'
    return ""


def _squeezed(written: str) -> str:
    return re.sub(r"[\s.°_-]", "", _tidy(written)).casefold()


def _takes(wanted: Dimension) -> str:
    """'a current takes A, mA or kA, for instance "8 A"'."""
    if not wanted.units:
        return f'{wanted.title} takes a number without a unit, for instance "{wanted.examples[0]}"'
    if len(wanted.units) > _MOST_NAMES:
        names = f"{', '.join(wanted.units[:_MOST_NAMES])} and the like"
    else:
        *first, last = wanted.units
        names = f"{', '.join(first)} or {last}" if first else last
    return f'{wanted.title} takes {names}, for instance "{wanted.examples[0]}"'


def _quoted(text: str) -> str:
    return f'"{shortened(text)}"'


def shortened(text: str) -> str:
    """The text as written, shortened, on one line, without control characters."""
    longest = _LONGEST_TEXT // 2
    shown = "".join(letter if letter.isprintable() else "?" for letter in text[: longest + 1])
    return shown if len(text) <= longest else f"{shown[:-1]}..."


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    import pint

    return pint.UnitRegistry(Path(__file__).with_name("units.txt"), non_int_type=Fraction)


@cache
def _conversion(symbol: str, dimension: str) -> tuple[Fraction, Fraction]:
    """(scale, shift) such that SI value = number * scale + shift, exactly."""
    wanted = DIMENSIONS[dimension]
    if not wanted.units:
        return Fraction(1), Fraction(0)
    if symbol in SCALES:
        zero = ZEROS.get(symbol, "0") if dimension in _ON_A_SCALE else "0"
        return Fraction(SCALES[symbol]), Fraction(zero)
    return _conversion_by_registry(symbol, wanted)


def _conversion_by_registry(symbol: str, wanted: Dimension) -> tuple[Fraction, Fraction]:
    """As ``_conversion``, from the definitions of ``units.txt``."""
    registry = _registry()
    expression = _UNITS[symbol][0]
    if wanted.name == "temperature_difference":
        expression = _DELTA.get(symbol, expression)
    si_unit = wanted.si_unit
    target = _SI_ONLY[si_unit] if si_unit in _SI_ONLY else _UNITS[si_unit][0]
    at_zero, at_one = (_to_target(registry, Fraction(n), expression, target) for n in (0, 1))
    return at_one - at_zero, at_zero


def _to_target(
    registry: pint.UnitRegistry[Fraction], number: Fraction, expression: str, target: str
) -> Fraction:
    unit = registry.parse_units(expression)
    converted = registry.Quantity(number, unit).to(registry.parse_units(target))
    return Fraction(converted.magnitude)


def _printed_unit(dimension: str, system: str) -> str:
    wanted = DIMENSIONS[dimension]
    if system not in ("us", "si"):
        raise ValueError(f'units are "us" or "si", not {system!r}')
    return wanted.us if system == "us" else wanted.si


def _digits(value: float, digits: int, most_decimals: int) -> str:
    """``digits`` significant digits, without exponent or trailing zeros, integers whole."""
    decimals = 0
    if value:
        decimals = min(max(digits - 1 - math.floor(math.log10(abs(value))), 0), most_decimals)
    text = f"{value:.{decimals}f}"
    return _without_minus_zero(text.rstrip("0").rstrip(".") if "." in text else text)


def _without_minus_zero(text: str) -> str:
    return text.lstrip("-") if not text.strip("-0.") else text
