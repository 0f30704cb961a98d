"""The whole compiler gives every figure that the reference job was worked out to by hand.

Source of all figures: worked reference job (own arithmetic), to the digits printed there.
"""

from __future__ import annotations

from functools import cache

import pytest

from specc.physics import hydraulics, water
from specc.physics.constants import ZERO_CELSIUS_K
from specc.system.model import Device
from specc.system.system import System
from tests.reference import read_edited


@cache
def job() -> System:
    return read_edited({})


def pump() -> Device:
    return job().devices["P1"]


def lost_in_run(tag: str) -> float:
    """Volts lost in both conductors of a run at the design point."""
    system, point = job(), job().design_point()
    pair = [c for c in system.conductors if c.run.tag == tag and system.electrical.carries_current(c)]
    assert len(pair) == 2
    return sum(abs(point.current_a[c.tag]) * system.electrical.resistance_ohm(c) for c in pair)


def test_cold_array() -> None:
    (array,) = [s for s in job().walked.sources if s.kind == "array"]

    assert job().electrical.highest_voltage(array).value == pytest.approx(49.28, abs=0.005)


def test_cold_array_without_a_coefficient() -> None:
    system = read_edited({"part:panel-r.voc_coefficient": None})
    (array,) = [s for s in system.walked.sources if s.kind == "array"]

    # NEC Table 690.7(A), factor 1.16 at -15 °C
    assert system.electrical.highest_voltage(array).value == pytest.approx(51.04, abs=0.005)


def test_array_current() -> None:
    (array,) = [s for s in job().walked.sources if s.kind == "array"]
    maximum = job().electrical.maximum_current((array,))

    assert job().electrical.short_circuit_a(array) == pytest.approx(12.0)
    assert maximum.value == pytest.approx(15.0)
    assert job().book.factor("pv_conductor").value * maximum.value == pytest.approx(18.75)


def test_hot_array() -> None:
    hot = job().electrical.hot_voltage(job().devices["PV1"])
    inputs = {i.symbol: i.value for i in hot.inputs}

    assert inputs["Tcell"] - ZERO_CELSIUS_K == pytest.approx(69.25, abs=0.005)
    assert hot.value == pytest.approx(29.63, abs=0.005)


def test_drop_of_the_array_run() -> None:
    assert lost_in_run("R1") == pytest.approx(0.905, abs=5e-4)
    assert lost_in_run("R1") / 36.0 == pytest.approx(0.0251, abs=5e-5)


def test_drop_of_the_motor_run() -> None:
    assert lost_in_run("R3") == pytest.approx(0.651, abs=5e-4)
    assert lost_in_run("R3") / 24.0 == pytest.approx(0.0271, abs=5e-5)


def test_flow_in_the_pipe() -> None:
    side, pipe = job().water, job().connected.pipes["D3"]
    velocity = side.velocity_m_s(pipe, side.flow(pump()).value)
    kelvin = side.water_k(job().devices["WELL"])
    reynolds = hydraulics.reynolds_number(
        velocity, pipe.part.bore, water.density_kg_m3(kelvin), water.dynamic_viscosity_pa_s(kelvin)
    )

    assert side.flow(pump()).value * 60_000.0 == pytest.approx(10.0, abs=1e-6)
    assert velocity == pytest.approx(0.340, abs=6e-4)  # 0.3395
    assert reynolds == pytest.approx(8050.0, abs=10.0)


def test_friction() -> None:
    side, flow, source = job().water, job().water.flow(pump()).value, job().devices["WELL"]

    def friction_m(*tags: str) -> float:
        return sum(side.friction_m(job().connected.pipes[tag], flow, source) for tag in tags)

    assert friction_m("S1", "S2", "S3") == pytest.approx(0.05, abs=0.005)
    assert friction_m("D1", "D2", "D3") == pytest.approx(0.93, abs=0.005)


@pytest.mark.parametrize(
    ("dirty", "vacuum_kpa", "available_m", "head_m"),
    [(False, 40.6, 5.27, 27.4), (True, 52.4, 4.07, 28.6)],
)
def test_suction_and_head(dirty: bool, vacuum_kpa: float, available_m: float, head_m: float) -> None:
    side = job().water

    assert side.vacuum(pump(), dirty).value / 1e3 == pytest.approx(vacuum_kpa, abs=0.05)
    assert side.npsh_available(pump(), dirty).value == pytest.approx(available_m, abs=0.006)
    assert side.total_head(pump(), dirty).value == pytest.approx(head_m, abs=0.05)


def test_discharge_pressure() -> None:
    assert job().water.discharge(pump(), True).value / 1e3 == pytest.approx(227.0, abs=0.5)


def test_power_with_a_dirty_filter() -> None:
    side = job().water

    assert side.hydraulic_power(pump(), True).value == pytest.approx(46.6, abs=0.05)
    assert side.motor_power(pump(), True).value == pytest.approx(133.0, abs=0.5)
    assert side.motor_power(pump(), True).value / 24.0 == pytest.approx(5.55, abs=0.005)
    # The rows of the data sheet of the reference pump say the same.
    assert side.operating(pump(), True).current_a == pytest.approx(5.55, abs=0.005)


def test_the_figures_reach_the_calculation_sheet() -> None:
    symbols = {c.symbol for c in job().calculations()}

    assert {"Vmax", "Imax", "H", "pvac", "NPSHa", "p", "Ph", "Pm"} <= symbols
