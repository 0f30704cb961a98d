"""Pump and motor: a synthetic one is recovered, the catalogue's are met, the curve keeps in order."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specc.operation.motor import PumpFit, fit_pump, on_pipe
from specc.operation.sun import Values
from specc.physics.pumps import CurvePoint
from specc.reading.catalog import Catalog

RA, GAIN, SLIP, FRICTION_A, PER_HEAD = 0.9, 7.0e-6, 1.5e-8, 0.8, 0.1


def _displacement(ohm: float = RA) -> tuple[CurvePoint, ...]:
    """Rows of a motor with known constants: V = E + I Ra, Q = E (a - c H), I = i0 + i1 H."""
    rows = []
    for volts in (12.0, 18.0, 24.0, 28.0):
        for head in (5.0, 15.0, 25.0, 40.0):
            current = FRICTION_A + PER_HEAD * head
            rows.append(CurvePoint(volts, head, (volts - ohm * current) * (GAIN - SLIP * head), current))
    return tuple(rows)


def _centrifugal(ohm: float = 0.5) -> tuple[CurvePoint, ...]:
    """Rows of a pump that follows the affinity laws in its back voltage exactly."""
    rows = []
    for back in (10.0, 14.0, 18.0, 22.0):
        for share in (0.2, 0.5, 0.8):
            flow = share * 6e-5 * back
            current = 0.4 + 0.004 * back**2 + 300.0 * back * flow
            head = 0.03 * back**2 - 5.0e6 * flow**2
            rows.append((back + ohm * current, head, flow, current))
    # Rows of one voltage need not share it for the fit.
    return tuple(CurvePoint(*row) for row in rows)


@pytest.mark.parametrize("ohm", [0.3, 0.9, 1.6])
def test_a_displacement_motor_gets_its_constants_back(ohm: float) -> None:
    fit = fit_pump(_displacement(ohm), displacement=True)

    assert fit.armature_ohm == pytest.approx(ohm, rel=1e-3)
    assert fit.hydraulic[0] == pytest.approx(GAIN, rel=1e-3)
    assert fit.hydraulic[1] == pytest.approx(SLIP, rel=1e-2)
    assert fit.electric[:2] == (pytest.approx(FRICTION_A, rel=1e-6), pytest.approx(PER_HEAD, rel=1e-6))
    assert not fit.armature_stated
    assert fit.flow_error < 1e-6


@pytest.mark.parametrize("ohm", [0.2, 0.5, 0.9])
def test_a_centrifugal_motor_gets_its_constants_back(ohm: float) -> None:
    fit = fit_pump(_centrifugal(ohm), displacement=False)

    assert fit.armature_ohm == pytest.approx(ohm, rel=1e-3)
    assert fit.hydraulic[0] == pytest.approx(0.03, rel=1e-3)
    assert fit.hydraulic[2] == pytest.approx(-5.0e6, rel=1e-2)
    assert fit.current_error < 1e-5


def test_the_makers_armature_is_kept_where_it_fits() -> None:
    fit = fit_pump(_displacement(), displacement=True, armature_ohm=RA)

    assert fit.armature_stated
    assert fit.armature_ohm == RA


def _pumps() -> list[object]:
    return [pytest.param(part, id=part.id) for part in Catalog().parts("pump")]


@pytest.mark.parametrize("part", _pumps())
def test_every_pump_of_the_catalogue_is_met_within_three_per_cent(part: object) -> None:
    table = tuple(CurvePoint(r.voltage, r.head, r.flow, r.current) for r in part.table)  # type: ignore[attr-defined]
    fit = fit_pump(
        table,
        displacement=part.type == "positive displacement",  # type: ignore[attr-defined]
        armature_ohm=part.armature_resistance,  # type: ignore[attr-defined]
    )

    assert fit.flow_error < 0.03
    assert fit.current_error < 0.03


def _loss(flow: Values) -> Values:
    return np.asarray(2.0e7 * flow**2)


@pytest.mark.parametrize(
    ("fit", "static"),
    [
        (fit_pump(_displacement(), displacement=True), 20.0),
        (fit_pump(_centrifugal(), displacement=False), 5.0),
    ],
    ids=["displacement", "centrifugal"],
)
def test_a_curve_satisfies_the_motor_equation_at_every_node(fit: PumpFit, static: float) -> None:
    curve = on_pipe(fit, static, _loss)

    assert (np.diff(curve.voltage_v) > 0.0).all()
    assert (np.diff(curve.flow_m3_s) >= 0.0).all()
    assert np.isfinite(curve.current_a).all()
    assert curve.voltage_v == pytest.approx(curve.back_v + fit.armature_ohm * curve.current_a, rel=1e-6)
    assert curve.head_m == pytest.approx(static + _loss(curve.flow_m3_s))
    # No more water than the shaft's power lifts.
    assert (curve.back_v * curve.current_a >= 9789.0 * curve.flow_m3_s * curve.head_m - 1e-9).all()


def test_a_head_beyond_the_pump_is_refused() -> None:
    with pytest.raises(ValueError, match="beyond"):
        on_pipe(fit_pump(_displacement(), displacement=True), 1000.0, _loss)


SYNTHETIC = fit_pump(_displacement(), displacement=True)


@settings(max_examples=40)
@given(low=st.floats(1.0, 30.0), more=st.floats(0.5, 10.0), volts=st.floats(6.0, 28.0))
def test_a_higher_head_never_gives_more_water(low: float, more: float, volts: float) -> None:
    fit = SYNTHETIC
    flows = []
    for head in (low, low + more):
        curve = on_pipe(fit, head, _loss)
        flows.append(float(np.interp(volts, curve.voltage_v, curve.flow_m3_s)))

    assert flows[1] <= flows[0] + 1e-12
