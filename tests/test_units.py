"""Units: what is accepted, what is refused and how, and what is printed."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specc import unit_sizes, units
from specc.units import (
    DIMENSIONS,
    QuantityError,
    format_quantity,
    parse_quantity,
    parse_size,
    parse_trade_size,
    to_display,
    unit_label,
)

ROOT = Path(__file__).parent.parent
PHYSICAL = sorted(name for name, dimension in DIMENSIONS.items() if dimension.units)

# Conversion factors of NIST SP 811 (2008), appendix B.8, from memory, unverified; those of the foot,
# inch, pound, gallon, minute and horsepower are exact by definition. Coefficient of temperature: 5/9.
HANDBOOK = (
    ("1 ft", "length", 0.3048),
    ("1 mile", "length", 1609.344),
    ("1 in", "short_length", 0.0254),
    ("1 in2", "area", 6.4516e-4),
    ("1 ft2", "area", 9.290304e-2),
    ("1 gal", "volume", 3.785412e-3),
    ("1 ft3", "volume", 2.831685e-2),
    ("1 gal/min", "flow", 6.309020e-5),
    ("1 gal/day", "flow", 4.381264e-8),
    ("1 L/min", "flow", 1e-3 / 60),
    ("1 psi", "pressure", 6.894757e3),
    ("1 bar", "pressure", 1e5),
    ("1 inHg", "pressure", 3.386389e3),
    ("32 degF", "temperature", 273.15),
    ("212 degF", "temperature", 373.15),
    ("49 degF", "temperature", 282.594),
    ("-40 degF", "temperature", 233.15),
    ("-40 degC", "temperature", 233.15),
    ("18 degF", "temperature_difference", 10.0),
    ("10 degC", "temperature_difference", 10.0),
    ("1 hp", "power", 7.456999e2),
    ("1 kWh", "energy", 3.6e6),
    ("1 Ah", "charge", 3600.0),
    ("180 deg", "angle", math.pi),
    ("60 rpm", "speed", 2 * math.pi),
    ("1 ft/s", "velocity", 0.3048),
    ("1 lb", "mass", 4.535924e-1),
    ("380 gal/day", "daily_flow", 380 * 4.381264e-8),
    ("1 ft2", "plan_area", 9.290304e-2),
    ("1 ksi", "modulus", 6.894757e6),
    ("1 inHg", "vacuum", 3.386389e3),
    ("167 degF", "rating_temperature", 348.15),
    ("998 kg/m3", "density", 998.0),
    ("1 lbf ft", "torque", 1.355818),
    ("1 lbf in", "torque", 1.129848e-1),
    ("1 ohm/kft", "resistance_per_length", 1 / 304.8),
    ("1 ohm/km", "resistance_per_length", 1e-3),
    ("-0.30 %/K", "voltage_coefficient", -0.003),
    ("-0.30 %/degC", "voltage_coefficient", -0.003),
    ("1 %/degF", "voltage_coefficient", 0.018),
    ("1 kWh/m2", "irradiation", 3.6e6),
    ("2.5 %", "fraction", 0.025),
)


@pytest.mark.parametrize(("text", "dimension", "si"), HANDBOOK)
def test_units_agree_with_the_handbook(text: str, dimension: str, si: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=2e-6)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("180 ft", "length", 54.864),
        ("-12ft", "elevation", -3.6576),
        ("\u221212 ft", "elevation", -3.6576),
        ("+1.5e2 m", "length", 150.0),
        ("1e-2 1/K", "voltage_coefficient", 0.01),
        (".5 m", "length", 0.5),
        ("1-1/4 in", "short_length", 0.03175),
        ("1 1/4 in", "short_length", 0.03175),
        ("3/4 in", "short_length", 0.01905),
        ('3/4"', "short_length", 0.01905),
        ("-1-1/2 in", "elevation", -0.0381),
        ("10 mm2", "area", 1e-05),
        ("10 mm\u00b2", "area", 1e-05),
        ("10 mm^2", "area", 1e-05),
        ("2.5 mm2", "area", 2.5e-06),
        ("49 \u00b0F", "temperature", (49 + 459.67) * 5 / 9),
        ("60 gpm", "flow", 0.003785411784),
        ("60 gal / min", "flow", 0.003785411784),
        ("60 gallons per minute", "flow", 0.003785411784),
        ("1.24 ohm/1000 ft", "resistance_per_length", 1.24 / 304.8),
        ("60 ft of head", "head", 18.288),
        ("1e-999999999 m", "length", 0.0),
        ("12.50", "money", 12.5),
        ("2", "count", 2.0),
        ("1.25", "number", 1.25),
    ],
)
def test_ways_of_writing_a_quantity(text: str, dimension: str, si: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=1e-15)


@pytest.mark.parametrize("number", ["10", "2.5", "6", "0.75", "185"])
def test_conversions_are_rounded_once_only(number: str) -> None:
    assert parse_quantity(f"{number} mm2", "area") == float(Fraction(number) / 10**6)


@pytest.mark.parametrize(
    ("text", "dimension", "kind", "says"),
    [
        ("180", "length", "missing-unit", "a length takes ft, m, in, mm, cm, km and the like"),
        ("0.5", "fraction", "missing-unit", "a fraction takes %"),
        ("10 ft", "current", "wrong-dimension", "ft is a unit of length; a current takes A, mA or kA"),
        ("10 psi", "head", "wrong-dimension", "psi is a unit of pressure; a head takes ft, m"),
        ("60 ft of head", "pressure", "wrong-dimension", "ft of head is a unit of head"),
        ("44 deg", "temperature", "wrong-dimension", "deg is a unit of angle"),
        ("5 A", "voltage", "wrong-dimension", "A is a unit of current; a voltage takes V, mV or kV"),
        ("12 USD", "money", "wrong-dimension", "takes a number without a unit"),
        ("49 F", "temperature", "unknown-unit", 'did you mean "degF"?'),
        ("49 C", "temperature", "unknown-unit", 'did you mean "degC"?'),
        ("49 deg F", "temperature", "unknown-unit", 'did you mean "degF"?'),
        ("3 gals/min", "flow", "unknown-unit", 'did you mean "gal/min"?'),
        ("3 Gpm", "flow", "unknown-unit", 'did you mean "gal/min"?'),
        ("24 v", "voltage", "unknown-unit", 'did you mean "V"?'),
        ("5 KW", "power", "unknown-unit", 'did you mean "kW"?'),
        ("4 ft.", "length", "unknown-unit", 'did you mean "ft"?'),
        ("5 zork", "length", "unknown-unit", '"zork" is not a known unit; a length takes'),
        ("8 AWG", "area", "unknown-unit", '"AWG" is not a known unit'),
        ("", "length", "not-a-number", "does not start with a number"),
        ("ft", "length", "not-a-number", "does not start with a number"),
        ("ten ft", "length", "not-a-number", "does not start with a number"),
        ("~5 ft", "length", "not-a-number", "does not start with a number"),
        ("1,240 ft", "length", "not-a-number", "write 1240"),
        ("3,5 L", "volume", "not-a-number", "write 3.5"),
        ("1_000 ft", "length", "not-a-number", "more than one number"),
        ("3 to 4 gal/min", "flow", "not-a-number", "one value is needed"),
        ("3-4 gal/min", "flow", "not-a-number", "one value is needed"),
        ("10 \u2013 12 ft", "length", "not-a-number", "one value is needed"),
        ("10 ft to 12 ft", "length", "not-a-number", "one value is needed"),
        ("10..12 ft", "length", "not-a-number", "one value is needed"),
        ("3*4 m", "length", "not-a-number", "more than one number"),
        ("5 \u00b1 1 ft", "length", "not-a-number", "more than one number"),
        ("5 ft 6 in", "length", "not-a-number", "more than one number"),
        ("1/0 m", "length", "not-a-number", 'a fraction is written like "3/4"'),
        ("1-5/4 in", "short_length", "not-a-number", 'a fraction is written like "3/4"'),
        ("1" * 5000 + " ft", "length", "not-a-number", "too long"),
        ("2.5", "count", "not-a-number", "not a whole number"),
        ("nan m", "length", "not-finite", "not a finite number"),
        ("-inf m", "length", "not-finite", "not a finite number"),
        ("Infinity m", "length", "not-finite", "not a finite number"),
        ("1e999 m", "length", "not-finite", "too large"),
        ("1e308 kA", "current", "not-finite", "too large"),
        ("-500 degF", "temperature", "not-finite", "below absolute zero"),
    ],
)
def test_what_is_refused_says_why(text: str, dimension: str, kind: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)

    assert caught.value.kind == kind
    assert says in caught.value.message
    assert caught.value.message.endswith(".")
    assert "\n" not in caught.value.message


def test_every_accepted_unit_and_spelling_converts() -> None:
    for name in PHYSICAL:
        dimension = DIMENSIONS[name]
        for spelling, symbol in units._SPELLINGS.items():
            if symbol in dimension.units:
                assert math.isfinite(parse_quantity(f"300 {spelling}", name)), (name, spelling)
        for example in dimension.examples:
            assert math.isfinite(parse_quantity(example, name)), (name, example)


def test_every_unit_belongs_to_some_dimension() -> None:
    accepted = {unit for dimension in DIMENSIONS.values() for unit in dimension.units}

    assert accepted == set(units._UNITS)
    spellings = [s for symbol, (_, others) in units._UNITS.items() for s in (symbol, *others)]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize("system", ["us", "si"])
@pytest.mark.parametrize("dimension", PHYSICAL)
def test_the_printed_units_are_worth_what_the_registry_says(dimension: str, system: str) -> None:
    unit = getattr(DIMENSIONS[dimension], system)

    for number in (0.0, 1.0, 250.0):
        si = parse_quantity(f"{number} {unit}", dimension)
        assert to_display(si, dimension, system) == pytest.approx(number, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "dimension", "system", "text"),
    [
        (54.864, "length", "us", "180 ft"),
        (380 * 4.381263638e-8, "daily_flow", "us", "380 gal/day"),
        (1.5 / 86400, "daily_flow", "si", "1500 L/day"),
        (3.6, "plan_area", "si", "3.6 m²"),
        (9e8, "modulus", "si", "900 MPa"),
        (40600.0, "vacuum", "us", "12 inHg"),
        (348.15, "rating_temperature", "us", "75 °C"),
        (120.0, "duration", "us", "120 s"),
        (998.6, "density", "us", "999 kg/m³"),
        (54.864, "length", "si", "54.9 m"),
        (377.952, "elevation", "us", "1240 ft"),
        (-3.6576, "elevation", "us", "-12 ft"),
        (3.5 * 6.30901964e-5, "flow", "us", "3.5 gal/min"),
        (49.28, "voltage", "us", "49.3 V"),
        (282.59444, "temperature", "us", "49 °F"),
        (273.15, "temperature", "si", "0 °C"),
        (273.14999999, "temperature", "si", "0 °C"),
        (6e-6, "area", "si", "6 mm²"),
        (10.0, "temperature_difference", "us", "18 °F"),
        (0.0251, "fraction", "si", "2.51 %"),
        (0.00123456, "resistance", "si", "0.00123 ohm"),
        (123456.7, "power", "si", "123457 W"),
        (9.996, "length", "si", "10 m"),
        (99.96, "length", "si", "100 m"),
        (100.0, "length", "si", "100 m"),
        (0.0, "current", "si", "0 A"),
        (-1e-15, "current", "si", "0 A"),
        (12.5, "money", "us", "12.50"),
        (1234.5, "money", "si", "1234.50"),
        (2.0, "count", "us", "2"),
        (1.5625, "number", "us", "1.56"),
        (-0.003, "voltage_coefficient", "si", "-0.3 %/K"),
    ],
)
def test_quantities_print_as_people_write_them(value: float, dimension: str, system: str, text: str) -> None:
    assert format_quantity(value, dimension, system) == text


def test_digits_can_be_chosen() -> None:
    assert format_quantity(49.2812, "voltage", "si", digits=4) == "49.28 V"
    assert format_quantity(49.2812, "voltage", "si", digits=1) == "49 V"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_never_printed(value: float) -> None:
    with pytest.raises(ValueError, match="cannot print"):
        format_quantity(value, "voltage", "si")


def test_an_unknown_system_is_our_own_mistake() -> None:
    with pytest.raises(ValueError, match='"us" or "si"'):
        unit_label("length", "metric")


@given(
    st.sampled_from(PHYSICAL),
    st.sampled_from(["us", "si"]),
    st.floats(0.01, 1e6).map(lambda value: round(value, 2)),
)
def test_what_is_printed_reads_back(dimension: str, system: str, number: float) -> None:
    value = parse_quantity(f"{number} {getattr(DIMENSIONS[dimension], system)}", dimension)

    text = format_quantity(value, dimension, system, digits=12)

    assert parse_quantity(text, dimension) == pytest.approx(value, rel=1e-6, abs=1e-12)


@given(st.text(max_size=30), st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_gives_a_finite_number_or_a_quantity_error(text: str, dimension: str) -> None:
    with suppress(QuantityError):
        assert math.isfinite(parse_quantity(text, dimension))


@given(st.from_regex(r"[-+]?[0-9./eE, -]{1,12} ?(ft|mm2|degF|gal/min|A)?", fullmatch=True))
def test_any_heap_of_digits_gives_a_finite_number_or_a_quantity_error(text: str) -> None:
    with suppress(QuantityError):
        assert math.isfinite(parse_quantity(text, "length"))
    with suppress(QuantityError):
        assert parse_size(text).endswith(("AWG", "mm2", "kcmil"))
    with suppress(QuantityError):
        assert not parse_trade_size(text).startswith("-")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("8 AWG", "8 AWG"),
        ("#8", "8 AWG"),
        ("# 8 AWG", "8 AWG"),
        ("8AWG", "8 AWG"),
        ("8 awg", "8 AWG"),
        ("AWG 8", "8 AWG"),
        ("1/0 AWG", "1/0 AWG"),
        ("000 AWG", "3/0 AWG"),
        ("6 mm2", "6 mm2"),
        ("6 mm\u00b2", "6 mm2"),
        ("6mm^2", "6 mm2"),
        ("2.50 mm2", "2.5 mm2"),
        ("10 mm2", "10 mm2"),
        ("250 kcmil", "250 kcmil"),
        ("250 MCM", "250 kcmil"),
    ],
)
def test_wire_sizes_become_keys(text: str, key: str) -> None:
    assert parse_size(text) == key


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("8", "missing-unit", 'a wire size is written like "8 AWG"'),
        ("7 AWG", "unknown-unit", 'did you mean "6 AWG" or "8 AWG"?'),
        ("5 mm2", "unknown-unit", 'did you mean "4 mm2" or "6 mm2"?'),
        ("9/0 AWG", "unknown-unit", "did you mean"),
        ("8 gauge", "unknown-unit", "a wire size is written like"),
        ("big", "unknown-unit", "a wire size is written like"),
        ("", "unknown-unit", "a wire size is written like"),
        ("8 AWG " * 100, "unknown-unit", "a wire size is written like"),
    ],
)
def test_what_is_no_wire_size_is_refused(text: str, kind: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_size(text)

    assert caught.value.kind == kind
    assert says in caught.value.message


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("1.25 in", "1-1/4"),
        ("1-1/4 in", "1-1/4"),
        ("1 1/4 in", "1-1/4"),
        ('1-1/4"', "1-1/4"),
        ("1-1/4", "1-1/4"),
        ("1.25", "1-1/4"),
        ("3/4 in", "3/4"),
        ("2", "2"),
        ("32 mm", "32 mm"),
        ("32.0mm", "32 mm"),
    ],
)
def test_trade_sizes_become_keys(text: str, key: str) -> None:
    assert parse_trade_size(text) == key


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("32", 'did you mean "32 mm"?'),
        ("1.3 in", 'did you mean "1-1/4 in"?'),
        ("7 in", 'did you mean "6 in"?'),
        ("3 ft", "a trade size is written like"),
        ("-1 in", "a trade size is written like"),
        ("0 mm", "a trade size is written like"),
        ("wide", "a trade size is written like"),
        ("1/0", "a fraction is written like"),
    ],
)
def test_what_is_no_trade_size_is_refused(text: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_trade_size(text)

    assert says in caught.value.message


@pytest.mark.parametrize("dimension", PHYSICAL)
def test_the_sizes_worked_out_beforehand_are_exactly_those_of_the_registry(dimension: str) -> None:
    wanted = DIMENSIONS[dimension]

    for unit in wanted.units:
        assert unit in unit_sizes.SCALES
        assert units._conversion(unit, dimension) == units._conversion_by_registry(unit, wanted), unit


def test_reading_and_printing_do_not_import_the_unit_library() -> None:
    script = (
        "import sys; from specc import units; units.format_quantity(1.0, 'flow', 'us');"
        "units.parse_quantity('49 degF', 'temperature');"
        "units.parse_size('8 AWG'); units.parse_trade_size('2 in'); sys.exit('pint' in sys.modules)"
    )

    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )

    assert done.returncode == 0
