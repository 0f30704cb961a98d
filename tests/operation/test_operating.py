"""Settled states against a root finder, and what more sun, head and wire do to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from specc.operation.operating import Points
from specc.operation.panel import array_curve, cell_k
from specc.operation.plant import Plant
from specc.operation.sun import Values
from specc.operation.weather import SunYear
from specc.operation.year import lit, settled, water_year
from tests.operation.plants import BOOSTED, BOOSTER, PLANT, changed, steady


def _lights(values: list[float]) -> SunYear:
    """A "year" of a few hours, for states alone."""
    light = np.array(values)
    return SunYear("some light", 3600.0, light, np.full(len(light), 293.15), np.ones(len(light)))


def _states(plant: Plant, values: list[float], static_m: float = 20.0) -> Points:
    return settled(plant, lit(plant, _lights(values)), static_m)


def _module_current(light: float, volts: float) -> float:
    cells = cell_k(np.array([293.15]), np.array([light]), np.array([1.0]), 318.15)
    return float(array_curve(PLANT.module, 2, 1, np.array([light]), cells).current_a(volts)[0])


@pytest.mark.parametrize("light", [550.0, 600.0, 800.0, 1000.0])
def test_pv_direct_settles_where_a_root_finder_has_it(light: float) -> None:
    """scipy.optimize.brentq on the two curves, wire between them."""
    made = _states(PLANT, [light])
    pump = PLANT.curve(20.0)

    def surplus(volts: float) -> float:
        amperes = float(np.interp(volts, pump.voltage_v, pump.current_a))
        return _module_current(light, volts + amperes * 0.3) - amperes

    assert made.can_run[0] > 0.0
    volts = brentq(surplus, pump.voltage_v[0], pump.voltage_v[-1])

    assert made.motor_v[0] == pytest.approx(volts, rel=2e-4)
    assert made.flow_m3_s[0] == pytest.approx(
        float(np.interp(volts, pump.voltage_v, pump.flow_m3_s)), rel=5e-4
    )
    assert _module_current(light, made.panel_v[0]) == pytest.approx(made.panel_a[0], rel=1e-3)


def test_a_booster_holds_the_panels_and_passes_the_power_on() -> None:
    made = _states(BOOSTED, [250.0, 400.0])

    held = made.panel_v - made.panel_a * BOOSTED.panel_wire_ohm
    assert held == pytest.approx([28.0, 28.0], rel=1e-3)
    assert made.booster_out_w == pytest.approx(BOOSTER.efficiency * made.panel_a * 28.0, rel=1e-3)
    assert (made.motor_a > made.panel_a).all()  # fewer volts, more amperes


def test_a_booster_in_bright_sun_stops_at_its_clamp() -> None:
    made = _states(BOOSTED, [1000.0])
    output = made.motor_v + made.motor_a * BOOSTED.motor_wire_ohm

    assert output[0] == pytest.approx(28.0, rel=1e-3)
    assert made.panel_v[0] > 28.5  # it takes less than it could: the panels' voltage rises


def test_a_booster_turns_the_pump_in_light_that_stalls_it_pv_direct() -> None:
    """Common practice, no source: the reason why boosters are sold."""
    light = [300.0]
    assert _states(PLANT, light).can_run[0] < 0.0
    assert _states(BOOSTED, light).can_start[0] >= 0.0


def test_starting_wants_more_light_than_running() -> None:
    lights = list(np.linspace(50.0, 1000.0, 100))
    for plant in (PLANT, BOOSTED):
        made = _states(plant, lights)
        starts, runs = made.can_start >= 0.0, made.can_run >= 0.0
        assert np.count_nonzero(runs) > np.count_nonzero(starts) > 0
        assert (runs | ~starts).all()


def test_stalled_the_motor_takes_current_and_lifts_nothing() -> None:
    made = _states(PLANT, [200.0])

    assert made.can_run[0] < 0.0
    assert made.flow_m3_s[0] == 0.0
    assert made.stall_a[0] == pytest.approx(1.2, abs=0.05)  # the short-circuit current of that light


def test_a_booster_too_small_to_start_never_starts() -> None:
    weak = replace(BOOSTER, limit_a=2.9, start_limit_a=3.0)
    made = _states(changed(PLANT, booster=weak), [1000.0])

    assert made.can_start[0] < 0.0


def test_a_share_of_open_circuit_can_be_held_instead_of_a_voltage() -> None:
    sharing = replace(BOOSTER, hold_v=None, hold_share=0.8)
    made = _states(changed(BOOSTED, booster=sharing), [300.0])
    cells = cell_k(np.array([293.15]), np.array([300.0]), np.array([1.0]), 318.15)
    open_v = array_curve(PLANT.module, 2, 1, np.array([300.0]), cells).open_v()

    assert made.panel_v - made.panel_a * BOOSTED.panel_wire_ohm == pytest.approx(0.8 * open_v, rel=1e-3)


def test_a_booster_gives_no_more_volts_than_it_holds() -> None:
    """It only steps down (common practice, no source): held at 16 V, a motor never sees its 24 V."""
    full = [1000.0]
    held = _states(changed(BOOSTED, booster=replace(BOOSTER, hold_v=16.0)), full)
    clamped = _states(changed(BOOSTED, booster=replace(BOOSTER, hold_v=16.0, clamp_v=16.0)), full)

    assert 0.0 < held.flow_m3_s[0] < 0.8 * _states(BOOSTED, full).flow_m3_s[0]
    assert held.flow_m3_s[0] == clamped.flow_m3_s[0]


def _all_finite(made: Points) -> bool:
    return all(bool(np.isfinite(getattr(made, name)).all()) for name in Points.__dataclass_fields__)


def _water(made: Points) -> Values:
    return np.where(made.can_run >= 0.0, made.flow_m3_s, 0.0)


PLANTS = st.sampled_from([PLANT, BOOSTED])


@settings(max_examples=40)
@given(plant=PLANTS, light=st.floats(1.0, 1300.0), more=st.floats(0.0, 300.0))
def test_more_sun_never_brings_less_water(plant: Plant, light: float, more: float) -> None:
    """At a steady cell temperature: a warmer cell gives fewer volts, which near Voc costs water PV-direct."""
    curve = lit(plant, _lights([light, light + more]))
    cool = replace(curve, curve=array_curve(plant.module, 2, 1, curve.light_w_m2, np.full(2, 313.15)))
    made = settled(plant, cool, 20.0)

    assert _all_finite(made)
    dim, bright = _water(made)
    assert bright >= dim - 1e-9


@settings(max_examples=40)
@given(plant=PLANTS, light=st.floats(1.0, 1300.0), head=st.floats(1.0, 35.0), more=st.floats(0.1, 5.0))
def test_a_higher_head_never_brings_more_water(plant: Plant, light: float, head: float, more: float) -> None:
    low, high = (_water(_states(plant, [light], static))[0] for static in (head, head + more))

    assert high <= low + 1e-9


@settings(max_examples=40)
@given(
    plant=PLANTS, light=st.floats(1.0, 1300.0), panel=st.floats(0.0, 2.0), motor=st.floats(0.0, 2.0),
    share=st.floats(0.0, 0.99),
)  # fmt: skip
def test_thicker_wire_never_brings_less_water(
    plant: Plant, light: float, panel: float, motor: float, share: float
) -> None:
    thin = changed(plant, panel_wire_ohm=panel, motor_wire_ohm=motor)
    thick = changed(plant, panel_wire_ohm=panel * share, motor_wire_ohm=motor * share)
    made = [_states(which, [light]) for which in (thin, thick)]

    assert all(_all_finite(m) for m in made)
    assert _water(made[1])[0] >= _water(made[0])[0] - 1e-8


@settings(max_examples=10)
@given(plant=PLANTS, light=st.floats(0.0, 1300.0))
def test_nothing_in_a_year_is_unknown(plant: Plant, light: float) -> None:
    year = water_year(plant, steady(light))

    assert np.isfinite(year.daily_m3).all()
    assert year.energy is not None
    assert all(np.isfinite(part).all() for part in year.energy.parts_j.values())
