"""Flows of many cases at once, against the solver that a check uses, and against the fitted pump."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from specc.operation.flows import motor_v_to_back_v, pipe_head, pump_head, settle_net
from specc.operation.installation import Piece
from specc.operation.motor import PumpFit, fit_pump
from specc.physics.pumps import CurvePoint
from specc.system.hydraulic_network import Link, NoBalance, balance
from tests.operation.plants import PUMP

FLOWS = tuple(float(x) for x in np.linspace(0.0, 8e-4, 30))
LEVELS = {"W1": 0.0, "W2": -3.0, "T1": 20.0, "T2": 17.0}
# Invented rows by the affinity laws.
TURNED = fit_pump(
    tuple(
        CurvePoint(24.0 * r, head * r**2, flow * r, (2.0 + 1e4 * flow) * r**2)
        for r in (0.75, 1.0, 1.25)
        for head, flow in ((30.0, 0.0), (28.0, 1e-4), (22.0, 2e-4), (12.0, 3e-4))
    ),
    displacement=False,
    armature_ohm=0.5,
)  # fmt: skip


def _piece(start: str, end: str, ease: float, one_way: bool = False) -> Piece:
    return Piece(start, end, FLOWS, tuple(ease * q * q for q in FLOWS), one_way)


PIECES = (
    _piece("W1", "P1.in", 1e6),
    _piece("W2", "P2.in", 1e6),
    _piece("P1.out", "J", 3e7, True),
    _piece("P2.out", "J", 3e7, True),
    _piece("J", "K", 1e8),
    _piece("K", "T1", 3e7, True),
    _piece("K", "T2", 3e7, True),
)
ENDS = [(p.start, p.end) for p in PIECES] + [("P1.in", "P1.out"), ("P2.in", "P2.out")]
ONE_WAY = [*(p.one_way for p in PIECES), True, True]


def _one(head: Callable[[Any], Any]) -> Callable[[float], float]:
    return lambda flow: float(head(np.array([flow]))[0])


@pytest.mark.parametrize("fits", [(PUMP, PUMP), (TURNED, TURNED), (PUMP, TURNED)])
def test_two_pumps_into_two_tanks_settle_as_the_other_solver_has_it(fits: tuple[PumpFit, PumpFit]) -> None:
    """``hydraulic_network.balance`` in plain Python, case by case, which has tests of its own."""
    axis = np.linspace(1.0, 40.0, 9)
    first, second = (grid.ravel() for grid in np.meshgrid(axis, axis))
    pipes = [pipe_head(piece) for piece in PIECES]
    pumps = [pump_head(fit, 0.96, volts) for fit, volts in zip(fits, (first, second), strict=True)]
    many = settle_net(ENDS, [*pipes, *pumps], ONE_WAY, LEVELS, len(first))

    assert many.flow_m3_s.max() > 1e-4
    for case in range(len(first)):
        alone = [
            pump_head(fit, 0.96, v[case : case + 1]) for fit, v in zip(fits, (first, second), strict=True)
        ]
        links = [
            Link(str(n), a, b, _one(head), check)
            for n, ((a, b), head, check) in enumerate(zip(ENDS, [*pipes, *alone], ONE_WAY, strict=True))
        ]
        made = balance(links, LEVELS)
        assert many.flow_m3_s[case] == pytest.approx([made.flow_m3_s[str(n)] for n in range(9)], abs=1e-8)


def test_water_is_lost_nowhere_in_the_net() -> None:
    axis = np.linspace(5.0, 35.0, 7)
    first, second = (grid.ravel() for grid in np.meshgrid(axis, axis))
    heads = [*map(pipe_head, PIECES), pump_head(PUMP, 0.96, first), pump_head(TURNED, 0.5, second)]
    flow = settle_net(ENDS, heads, ONE_WAY, LEVELS, len(first)).flow_m3_s

    assert flow[:, 2] + flow[:, 3] == pytest.approx(flow[:, 4], abs=1e-8)
    assert flow[:, 5] + flow[:, 6] == pytest.approx(flow[:, 4], abs=1e-8)
    assert flow[:, 7] == pytest.approx(flow[:, 2], abs=1e-8)


@pytest.mark.parametrize("fit", [PUMP, TURNED], ids=["displacement", "centrifugal"])
def test_head_and_back_voltage_are_those_of_the_fitted_pump(fit: PumpFit) -> None:
    """The motor's own equations, put together the other way round: V = E + I R, and the pump's I and Q."""
    volts = np.array([18.0, 24.0, 28.0])
    flow = np.array([5e-5, 8e-5, 1e-4])
    ohm = fit.armature_ohm + 0.2
    head = -pump_head(fit, ohm, volts)(flow)
    back = motor_v_to_back_v(fit, ohm, volts, flow, head)

    assert back == pytest.approx(fit.back_v(flow, head), rel=1e-6)
    assert back + ohm * fit.current_a(back, flow, head) == pytest.approx(volts, rel=1e-6)


def test_pipes_that_hang_on_no_level_are_refused() -> None:
    with pytest.raises(NoBalance):
        settle_net([("A", "B")], [pipe_head(PIECES[0])], [False], {}, 1)
