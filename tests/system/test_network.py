"""The DC network at the design point, against hand figures and an independent solution."""

from __future__ import annotations

import numpy as np
import pytest

from specc.system.network import _solve
from tests.reference import read_edited


def test_drops_of_the_reference_job_are_the_hand_figures() -> None:
    # 2 x L x R' x I with NEC 2023 Chapter 9 Table 8, 10 AWG 4.07 ohm/km: worked reference job.
    point = read_edited({}).design_point()
    array = point.voltage_v["PV1.+"] - point.voltage_v["PV1.-"]
    breaker = point.voltage_v["Q1.1"] - point.voltage_v["CB1.pv-"]
    motor_run = (point.voltage_v["DS1.2"] - point.voltage_v["P1.+"]) + (
        point.voltage_v["P1.-"] - point.voltage_v["CB1.motor-"]
    )

    assert array == pytest.approx(36.0, abs=1e-6)
    assert array - breaker == pytest.approx(0.905, abs=0.0005)
    assert motor_run == pytest.approx(0.651, abs=0.0005)


def test_currents_of_a_star_agree_with_kirchhoff_solved_apart() -> None:
    """Two unlike arrays on one booster, each with a run of its own; solved again by loop equations."""
    system = read_edited(
        {
            "panels.PV2": {"part": "panel-r", "series": 2, "parallel": 1, "location": "array"},
            "part:breaker-r.wire.conductors": 2,
            "runs.R7": {
                "wire": "thwn2-r",
                "size": "14 AWG",
                "length": "40 m",
                "laid": "out of reach",
                "conductors": [
                    {"from": "PV2.+", "to": "Q1.1", "color": "red"},
                    {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
                ],
            },
        }
    )
    point = system.design_point()
    # Array n: I = 2 Imp - V Imp/Vmp; its run 2 L R'; together they carry the sink of 3 x Imp.
    imp, vmp = np.array([11.12, 5.56]), 36.0
    leg = np.array([2 * 10 * 4.07e-3, 2 * 40 * 10.3e-3])
    sink = imp.sum()
    # Unknowns I1, I2, Vjoint: V_n = Vjoint + leg_n I_n, I_n = 2 Imp - V_n Imp/Vmp, sum I = sink.
    matrix = np.array(
        [
            [1 + leg[0] * imp[0] / vmp, 0, imp[0] / vmp],
            [0, 1 + leg[1] * imp[1] / vmp, imp[1] / vmp],
            [1, 1, 0],
        ]
    )
    i1, i2, _ = np.linalg.solve(matrix, np.array([2 * imp[0], 2 * imp[1], sink]))

    assert point.current_a["R1.1"] == pytest.approx(i1, rel=1e-6)
    assert point.current_a["R7.1"] == pytest.approx(i2, rel=1e-6)
    assert point.current_a["R2.1"] == pytest.approx(sink, rel=1e-6)


def test_terminals_on_no_source_have_no_voltage() -> None:
    system = read_edited({"runs.R1.conductors[0]": None})

    # The breaker is left without its array: nothing can be said of the way behind it.
    assert system.walked.voltage("CB1.pv+", "CB1.pv-") is None


def test_a_meshed_island_is_solved_as_the_reference_library_solves_it() -> None:
    """Random connected meshes with conductances over eight decades, against LAPACK through numpy."""
    chance = np.random.default_rng(7)
    for size in (2, 3, 8, 40):
        matrix = np.zeros((size, size))
        links = [(n, int(chance.integers(0, n))) for n in range(1, size)]
        links += [tuple(map(int, chance.choice(size, 2, replace=False))) for _ in range(size)]
        for a, b in links:
            siemens = 10.0 ** chance.uniform(-4, 4)
            matrix[[a, b], [a, b]] += siemens
            matrix[[a, b], [b, a]] -= siemens
        injected = chance.normal(size=size)
        rows = [{m: float(v) for m, v in enumerate(row) if v} for row in matrix]

        volts = _solve(rows, injected.tolist(), list(range(size)))

        expected = np.linalg.solve(matrix[1:, 1:], injected[1:])
        assert volts[0] == 0.0
        assert [volts[n] for n in range(1, size)] == pytest.approx(expected.tolist(), rel=1e-7)


def test_nodes_that_nothing_holds_have_no_voltage() -> None:
    """Two pairs that no conductor joins: the second floats, and no figure may be given for it."""
    rows = [{0: 2.0, 1: -2.0}, {1: 2.0, 0: -2.0}, {2: 3.0, 3: -3.0}, {3: 3.0, 2: -3.0}]

    assert _solve(rows, [0.0, 1.0, 1.0, -1.0], [0, 1, 2, 3]) == {}
    assert _solve(rows, [0.0, 1.0, 1.0, -1.0], [0, 1]) == {0: 0.0, 1: 0.5}
