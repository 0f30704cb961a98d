"""Flows in nets of pipes, against hand solutions, ``fluids`` friction, and the single path."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest

from specc.physics import hydraulics, water
from specc.physics.pumps import CurvePoint, pump_point
from specc.system.hydraulic_network import Balance, Link, NoBalance, balance, pump_loss
from specc.system.water import Water
from tests.reference import read_edited

LITRE_A_MINUTE_M3_S = 1e-3 / 60.0
DENSITY, VISCOSITY = water.density_kg_m3(288.15), water.dynamic_viscosity_pa_s(288.15)


def square(name: str, start: str, end: str, k: float, *, one_way: bool = False) -> Link:
    """A link that loses k · Q²."""
    return Link(name, start, end, lambda flow: k * flow * flow, one_way)


def pipe(name: str, start: str, end: str, length_m: float, bore_m: float) -> Link:
    """A plastic pipe by Darcy-Weisbach, turbulent in these tests."""

    def lost(flow: float) -> float:
        return hydraulics.friction_head_m(flow, bore_m, length_m, 1.5e-6, DENSITY, VISCOSITY)

    return Link(name, start, end, lost)


def lost_at_nodes(links: tuple[Link, ...], made: Balance, levels: Mapping[str, float]) -> float:
    """The largest difference of what runs into and out of a node without a level [m³/s]."""
    nodes = {node for link in links for node in (link.start, link.end)} - set(levels)
    sums = (
        math.fsum(
            made.flow_m3_s[x.name] * ((x.end == node) - (x.start == node))
            for x in links
            if node in (x.start, x.end)
        )
        for node in nodes
    )
    return max(map(abs, sums), default=0.0)


# -- by hand -------------------------------------------------------------------------------------


def test_one_pipe_between_two_tanks() -> None:
    # Own arithmetic: 9 m = 1e6 Q², Q = 3 L/s.
    made = balance((square("A", "high", "low", 1e6),), {"high": 10.0, "low": 1.0})

    assert made.flow_m3_s["A"] == pytest.approx(3e-3, rel=1e-6)


def test_two_pipes_side_by_side_share_by_the_root_of_their_resistance() -> None:
    # Own arithmetic: h = k1 Q1² = k2 Q2², k2 = 4 k1 carries half; 9 m after 1 m in the pipe before them.
    links = (
        square("IN", "high", "x", 1e6 / 9.0),
        square("A", "x", "low", 2e6),
        square("B", "x", "low", 8e6),
    )
    made = balance(links, {"high": 10.0, "low": 0.0})

    total = made.flow_m3_s["IN"]
    assert made.flow_m3_s["A"] == pytest.approx(2.0 * made.flow_m3_s["B"], rel=1e-6)
    assert 1e6 / 9.0 * total**2 + 2e6 * (2.0 * total / 3.0) ** 2 == pytest.approx(10.0, abs=2e-6)


def test_three_reservoirs() -> None:
    # The three-reservoir problem of hydraulics textbooks; own arithmetic: junction at 20 m, k Q² with
    # A: 30 m over 20 m, 10 = 1e7 · 1e-6; B: 24 over 20 m, 4 = 4e6 · 1e-6; C takes both: 20 = 5e6 · 4e-6.
    links = (square("A", "a", "j", 1e7), square("B", "b", "j", 4e6), square("C", "j", "c", 5e6))
    made = balance(links, {"a": 30.0, "b": 24.0, "c": 0.0})

    assert made.head_m["j"] == pytest.approx(20.0, abs=1e-5)
    assert [made.flow_m3_s[x] for x in "ABC"] == pytest.approx([1e-3, 1e-3, 2e-3], rel=1e-6)


def test_the_middle_reservoir_fills_where_the_junction_stands_higher() -> None:
    # Own arithmetic, as above with B at 16 m: 4 = 4e6 Q² runs into it; C: 0 = 20 - 5e6 · ... is set to fit.
    links = (square("A", "a", "j", 2.5e6), square("B", "b", "j", 4e6), square("C", "j", "c", 2e7))
    made = balance(links, {"a": 30.0, "b": 16.0, "c": 0.0})

    assert made.flow_m3_s["B"] == pytest.approx(-1e-3, rel=1e-6)
    assert made.flow_m3_s["A"] == pytest.approx(2e-3, rel=1e-6)


def test_a_bridge_between_like_branches_carries_nothing() -> None:
    # Symmetry: a loop whose two sides are alike.
    links = (
        square("A", "high", "x", 1e6),
        square("B", "high", "y", 1e6),
        square("AB", "x", "y", 3e6),
        square("C", "x", "low", 2e6),
        square("D", "y", "low", 2e6),
    )
    made = balance(links, {"high": 6.0, "low": 0.0})

    assert abs(made.flow_m3_s["AB"]) < 1e-6
    assert made.flow_m3_s["A"] == pytest.approx(math.sqrt(2e-6), rel=1e-6)


def test_a_loop_of_unlike_pipes_agrees_with_fluids() -> None:
    # Library fluids: Colebrook solved exactly. Round a loop the losses cancel, at a node flows cancel.
    friction = pytest.importorskip("fluids.friction")
    sizes = {
        "A": (60.0, 0.032),
        "B": (90.0, 0.025),
        "AB": (30.0, 0.020),
        "C": (40.0, 0.025),
        "D": (70.0, 0.032),
    }
    ends = {
        "A": ("high", "x"),
        "B": ("high", "y"),
        "AB": ("x", "y"),
        "C": ("x", "low"),
        "D": ("y", "low"),
    }
    links = tuple(pipe(name, *ends[name], *sizes[name]) for name in sizes)
    levels = {"high": 8.0, "low": 0.0}
    made = balance(links, levels)

    def theirs(name: str) -> float:
        length, bore = sizes[name]
        speed = made.flow_m3_s[name] / (math.pi * bore**2 / 4.0)
        reynolds = DENSITY * abs(speed) * bore / VISCOSITY
        assert reynolds > 5000.0  # beyond the range where two laws are mixed
        factor = friction.friction_factor(Re=reynolds, eD=1.5e-6 / bore, Method="Colebrook")
        return float(math.copysign(factor * length / bore * speed**2 / (2.0 * 9.80665), speed))

    assert theirs("A") + theirs("AB") - theirs("B") == pytest.approx(0.0, abs=0.002)
    assert theirs("C") - theirs("AB") - theirs("D") == pytest.approx(0.0, abs=0.002)
    assert theirs("A") + theirs("C") == pytest.approx(8.0, abs=0.002)
    assert lost_at_nodes(links, made, levels) < 1e-12


# -- valves and pumps ----------------------------------------------------------------------------


def test_a_check_valve_shuts_against_the_higher_tank() -> None:
    links = (
        square("A", "a", "j", 1e6, one_way=True),
        square("B", "b", "j", 1e6),
        square("C", "j", "c", 1e6),
    )
    made = balance(links, {"a": 5.0, "b": 30.0, "c": 0.0})

    assert made.flow_m3_s["A"] == 0.0
    assert made.head_m["j"] == pytest.approx(15.0, abs=1e-4)  # own arithmetic: half of 30 m


def test_a_check_valve_the_right_way_loses_what_it_loses() -> None:
    made = balance((square("A", "a", "b", 1e6, one_way=True),), {"a": 4.0, "b": 0.0})

    assert made.flow_m3_s["A"] == pytest.approx(2e-3, rel=1e-6)


# A straight line: 40 m shut, 4e-4 m³/s free.
LINE = (CurvePoint(24.0, 0.0, 4e-4, 5.0), CurvePoint(24.0, 40.0, 0.0, 1.0))


@pytest.mark.parametrize(("level", "flow"), [(10.0, 3e-4), (30.0, 1e-4), (39.9, 1e-6), (45.0, 0.0)])
def test_a_pump_follows_its_curve(level: float, flow: float) -> None:
    # Own arithmetic: H = 40 - 1e5 Q against a level and no friction.
    links = (
        Link("P", "well", "x", pump_loss(LINE, 24.0, displacement=True), one_way=True),
        square("D", "x", "tank", 0.0),
    )
    made = balance(links, {"well": 0.0, "tank": level})

    assert made.flow_m3_s["P"] == pytest.approx(flow, rel=1e-4, abs=1e-9)


def test_the_curve_of_a_pump_is_that_of_its_data_sheet() -> None:
    rows = (
        CurvePoint(24.0, 5.0, 3e-4, 4.0),
        CurvePoint(24.0, 12.0, 2e-4, 5.0),
        CurvePoint(24.0, 18.0, 5e-5, 6.0),
    )
    for volts in (18.0, 24.0, 28.0):
        lost = pump_loss(rows, volts, displacement=False)
        for head in (7.0, 9.0, 11.0):
            flow = pump_point(rows, volts, head, displacement=False).flow_m3_s
            assert flow > 0.0
            assert -lost(flow) == pytest.approx(head, rel=1e-4), (volts, head)


def test_two_like_pumps_give_twice_the_flow_where_nothing_is_lost() -> None:
    curve = pump_loss(LINE, 24.0, displacement=True)
    links = (
        Link("P1", "well", "x", curve, one_way=True),
        Link("P2", "well", "x", curve, one_way=True),
        square("D", "x", "tank", 1.0),
    )
    made = balance(links, {"well": 0.0, "tank": 20.0})

    assert made.flow_m3_s["D"] == pytest.approx(4e-4, rel=1e-4)


def test_a_weak_pump_beside_a_strong_one_is_held_shut() -> None:
    weak = (CurvePoint(24.0, 0.0, 4e-4, 5.0), CurvePoint(24.0, 10.0, 0.0, 1.0))
    links = (
        Link("P1", "well", "x", pump_loss(LINE, 24.0, displacement=True), one_way=True),
        Link("P2", "well", "x", pump_loss(weak, 24.0, displacement=True), one_way=True),
        square("D", "x", "tank", 1e6),
    )
    made = balance(links, {"well": 0.0, "tank": 20.0})

    assert made.flow_m3_s["P2"] == 0.0
    assert made.flow_m3_s["P1"] == pytest.approx(made.flow_m3_s["D"], rel=1e-6)


def test_pipes_that_hang_on_no_level_are_refused() -> None:
    with pytest.raises(NoBalance, match="no water level"):
        balance((square("A", "x", "y", 1e6),), {"elsewhere": 1.0})


# -- whole jobs ----------------------------------------------------------------------------------

CENTRIFUGAL: Mapping[str, Any] = {
    "part:pump-r.type": "centrifugal",
    "part:pump-r.max_pressure": None,
    "part:pump-r.table": [
        {"voltage": "24 V", "head": "10 m", "flow": "24 L/min", "current": "5 A"},
        {"voltage": "24 V", "head": "25 m", "flow": "15 L/min", "current": "6 A"},
        {"voltage": "24 V", "head": "40 m", "flow": "2 L/min", "current": "6 A"},
    ],
}
SECOND_PUMP: Mapping[str, Any] = {
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "freeze_safe": True, "location": "well"},
    "pipes.S9": {"part": "pipe-r", "from": "WELL", "to": "P2.in", "length": "6 m", "high_point": "0 m"},
    "pipes.D9": {"part": "pipe-r", "from": "P2.out", "to": "CV1.in", "length": "1 m"},
}
SECOND_TANK: Mapping[str, Any] = {
    "tank.TK2": {"inlet": "19 m"},
    "pipes.D4": {"part": "pipe-r", "from": "CV1.out", "to": "TK2.inlet", "length": "60 m"},
}


def solved(*edits: Mapping[str, Any]) -> tuple[Water, Mapping[str, Any]]:
    system = read_edited({key: value for edit in edits for key, value in edit.items()})
    return system.water, system.devices


def test_a_single_path_solved_as_a_net_gives_the_single_path() -> None:
    made, devices = solved(CENTRIFUGAL)
    alone = made.operating(devices["P1"], True)

    assert made.together(True).flow_m3_s["P1"] == pytest.approx(alone.flow_m3_s, rel=1e-4)
    assert made.spread(True).flow_m3_s["D3"] == pytest.approx(alone.flow_m3_s, rel=1e-4)


def test_a_second_pump_on_the_line_takes_from_the_first() -> None:
    alone, devices = solved(CENTRIFUGAL)
    both, pumps = solved(CENTRIFUGAL, SECOND_PUMP)
    single = alone.operating(devices["P1"], False).flow_m3_s
    first, second = (both.operating(pumps[tag], False).flow_m3_s for tag in ("P1", "P2"))

    assert first < single
    assert first + second > single
    assert both.together(False).flow_m3_s["D3"] == pytest.approx(first + second, rel=1e-4)
    # Each pump makes the head that its own way asks for, the other's water counted.
    for tag, flow in (("P1", first), ("P2", second)):
        point = pump_point(
            both.table(pumps[tag]), 24.0, both.total_head_m(pumps[tag], flow, dirty=False), displacement=False
        )
        assert point.flow_m3_s == pytest.approx(flow, rel=1e-3)


def test_of_two_open_tanks_the_lower_and_nearer_takes_more() -> None:
    made, devices = solved(CENTRIFUGAL, SECOND_TANK)
    high, low = (made.into_tank_m3_s(devices[tag]) for tag in ("TK1", "TK2"))

    assert low > high >= 0.0
    assert low + high == pytest.approx(made.spread(False).flow_m3_s["P1"], rel=1e-4)


def test_a_tank_far_above_the_other_gets_nothing_while_both_are_open() -> None:
    made, devices = solved(CENTRIFUGAL, {**SECOND_TANK, "tank.TK2.inlet": "2 m"})

    assert made.into_tank_m3_s(devices["TK1"]) == pytest.approx(0.0, abs=1e-12)
    assert made.into_tank_m3_s(devices["TK2"]) > 0.0


def test_a_pipe_written_from_either_end_gives_the_same() -> None:
    forward, devices = solved(CENTRIFUGAL, SECOND_TANK)
    turned = {"pipes.D3.from": "TK1.inlet", "pipes.D3.to": "CV1.out"}
    backward, others = solved(CENTRIFUGAL, SECOND_TANK, turned)

    for tag in ("TK1", "TK2"):
        there = forward.into_tank_m3_s(devices[tag])
        assert backward.into_tank_m3_s(others[tag]) == pytest.approx(there, rel=1e-9)


def test_another_pipe_may_be_tried_without_a_new_spec() -> None:
    tried, devices = solved()
    wide, others = solved({"part:pipe-r.bore": "30 mm"})
    flow = 10.0 * LITRE_A_MINUTE_M3_S
    way = tried.delivery(devices["P1"])
    wider = wide.connected.pipes["D3"].part

    swapped = tried.with_parts(way, {pipe.tag: wider for pipe in way.pipes})
    expected = wide.loss_m(wide.delivery(others["P1"]), flow, dirty=False)
    assert tried.loss_m(swapped, flow, dirty=False) == pytest.approx(expected, rel=1e-9)
    assert tried.loss_m(swapped, flow, dirty=False) < tried.loss_m(way, flow, dirty=False)
