"""Worst cases, against hand figures for the reference job."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules._variants import BATTERY, strings
from specc.rules.voltage import DEVICE_RATING
from specc.system.every_state import READY
from specc.system.system import System
from specc.system.worst import (
    continuous_current,
    every_place,
    hot_voltage,
    short_circuit,
    stall_current,
    start_current,
    string_fault,
    voltage_on,
)
from tests.reference import read_edited
from tests.rules.answers import found


def _pole(system: System, tag: str, index: int = 0) -> Any:
    return system.poles_of(system.devices[tag])[index]


def _conductor(system: System, tag: str) -> Any:
    return next(c for c in system.conductors if c.tag == tag)


def test_array_side_sees_the_coldest_morning_and_bright_sun() -> None:
    # Hand: 2 x 22 V x (1 + 0.003 x 40) = 49.28 V; 1.25 x 2 x 6 A = 15 A.
    system = read_edited({})
    pole = _pole(system, "Q1")

    volts, amperes = voltage_on(system, pole), continuous_current(system, pole)

    assert volts is not None and amperes is not None
    assert volts.value == pytest.approx(49.28)
    assert (volts.condition, volts.state) == ("coldest clear morning, array open", READY)
    assert amperes.value == pytest.approx(15.0)
    assert amperes.condition == "bright sun, 1.25 of the standard irradiance"


def test_output_side_sees_the_clamp_and_the_booster_in_low_sun() -> None:
    system = read_edited({})
    pole = _pole(system, "F1")

    volts, amperes = voltage_on(system, pole), continuous_current(system, pole)

    assert volts is not None and amperes is not None
    assert (volts.value, volts.condition) == (28.0, "controller unloaded, at its output clamp")
    assert amperes.value == 12.0
    assert amperes.condition.startswith("low sun")


def test_without_a_clamp_the_output_rises_to_what_stands_before_it() -> None:
    system = read_edited({"part:booster-r.max_output_voltage": None})

    volts = voltage_on(system, _pole(system, "F1"))

    assert volts is not None
    assert volts.value == pytest.approx(49.28)
    assert volts.condition == "coldest clear morning, array open; CB1 has no output clamp"


def test_start_and_stall_are_held_by_the_booster_and_not_by_a_battery() -> None:
    # Hand: start 11 A; stall 28 V / 0.6 ohm = 46.7 A, held to 12 A; on the battery 28.8 V / 0.6 ohm = 48 A.
    held = read_edited({})
    free = read_edited(BATTERY)

    starts, stalls = (work(held, _pole(held, "F1")) for work in (start_current, stall_current))
    unheld = stall_current(free, _pole(free, "F1"))

    assert starts is not None and stalls is not None and unheld is not None
    assert starts.value == 11.0
    assert (stalls.value, stalls.condition) == (12.0, "rotor blocked, held by CB1")
    assert unheld.value == pytest.approx(28.8 / 0.6)


def test_hottest_noon_and_faulty_string() -> None:
    # Hand: Tcell = 38 + 25 x 1000 / 800 = 69.25 degC; 36 V x (1 - 0.004 x 44.25) = 29.628 V; 1 x 1.25 x 6 A.
    system = read_edited({})
    (array,) = (s for s in system.walked.sources if s.kind == "array")

    assert hot_voltage(system, array).value == pytest.approx(29.628)
    assert string_fault(system, array).value == pytest.approx(7.5)


def test_three_other_strings_feed_a_faulty_one() -> None:
    # Hand: (4 - 1) x 1.25 x 6 A = 22.5 A.
    system = read_edited(strings(1, parallel=4))
    array = next(s for s in system.walked.sources if s.kind == "array")

    assert string_fault(system, array).value == pytest.approx(22.5)


def test_battery_fault_current_falls_with_the_cable() -> None:
    # IEC 61660-1: 1.05 x 24 V / (8 mohm + cable); a shorter cable gives more.
    near, far = read_edited(BATTERY), read_edited({**BATTERY, "runs.R8.length": "10 m"})

    at_post, behind, further = (
        short_circuit(s, _pole(s, tag)) for s, tag in ((near, "F0"), (near, "F1"), (far, "F1"))
    )

    assert at_post is not None and behind is not None and further is not None
    assert 1.05 * 24.0 / 8e-3 > at_post.value > behind.value > further.value > 0.0


def test_a_contact_open_in_the_clear_counts_with_it_closed() -> None:
    edit = {
        "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
        "part:float-r.contact.dc_voltage": "30 V",
        "runs.R2.conductors[3]": {"from": "Q1.2", "to": "LS9.1", "color": "red"},
        "runs.R2.conductors[4]": {"from": "LS9.2", "to": "DS1.1", "color": "red"},
    }
    system = read_edited(edit)

    volts = voltage_on(system, _pole(system, "DS1"))

    assert volts is not None
    assert volts.value == pytest.approx(49.28)
    assert volts.state == "LS9 closed"
    # The rule on ratings takes its figure from here: a 40 V switch is good until the float closes.
    fired = found(DEVICE_RATING, {**edit, "part:isolator-r.dc_voltage": "40 V"})
    assert "DS1" in {f.subject for f in fired}
    assert any("with LS9 closed" in f.message for f in fired)


def test_every_live_place_has_a_voltage_and_a_condition() -> None:
    system = read_edited(BATTERY)
    places = list(every_place(system))

    assert {"PV1", "R1.1", "R8.1", "Q1", "F0", "F1"} <= {place.tag for place in places}
    assert all(place.cases and not place.lacking for place in places)
    assert all(worst.condition and worst.state for place in places for worst in place.cases)


def test_what_lacks_a_datum_is_named_and_the_rest_is_there() -> None:
    system = read_edited({"part:pump-r.armature_resistance": None})
    place = next(p for p in every_place(system) if p.tag == "F1")

    assert any("armature resistance" in lack for lack in place.lacking)
    assert "motor start" in {worst.number.what for worst in place.cases}
