"""Pumps and joined nets in every state of the switches."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest

from specc.rules._switches import must_stop, on_wiring_of
from specc.system.states import Logic, TooManySwitches, circuits, fed_from, positions, wiring_of
from tests.reference import read_edited

TRANSFER_SWITCH: dict[str, Any] = {
    "part:isolator-r-2p.poles": [{"between": ["1", "2"]}, {"between": ["1", "3"]}],
    "disconnects.DS2": {"part": "isolator-r-2p", "location": "pump house"},
}

TWO_JOBS: dict[str, Any] = {
    "panels.PV2": {"part": "panel-r", "series": 2, "location": "array"},
    "controllers.CB2": {"part": "booster-r", "location": "pump house"},
    "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
    "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "fall", "guards": "tank full"},
    "runs.R2.conductors[3]": {"from": "PV2.+", "to": "CB2.pv+", "color": "red"},
    "runs.R2.conductors[4]": {"from": "PV2.-", "to": "CB2.pv-", "color": "white"},
    "runs.R2.conductors[5]": {"from": "CB2.motor+", "to": "P2.+", "color": "red"},
    "runs.R2.conductors[6]": {"from": "CB2.motor-", "to": "P2.-", "color": "white"},
    "runs.R2.conductors[7]": {"from": "CB2.remote1", "to": "LS9.1", "color": "blue"},
    "runs.R2.conductors[8]": {"from": "LS9.2", "to": "CB2.remote2", "color": "blue"},
}


def test_pump_runs_in_the_clear_alone() -> None:
    system = read_edited({})
    pump = system.devices["P1"]
    tags = ("LS1", "LS2", "TS1")

    running = {
        happened
        for count in range(4)
        for happened in map(frozenset, combinations(tags, count))
        if system.situations(system.devices["P1"]).runs(pump, happened)
    }

    assert running == {frozenset()}


def test_pump_stands_with_every_hand_pole_open() -> None:
    connected = read_edited({}).connected

    assert Logic(connected, lambda pole: False).running(frozenset()) == frozenset()


def test_controller_that_is_not_fed_runs_no_pump() -> None:
    system = read_edited({"runs.R1.conductors[1]": None})

    assert not system.situations(system.devices["P1"]).runs(system.devices["P1"], frozenset())


def test_a_load_on_one_pole_shares_no_circuit() -> None:
    system = read_edited({"runs.R3.conductors[1]": None})
    motor = next(port for port in system.connected.ports if port.name == "motor" and port.device.tag == "P1")

    shared = circuits(system.walked)
    assert shared[motor] == frozenset()
    assert fed_from(motor, shared) == ()


def test_twelve_switches_are_looked_at_in_all_situations_and_thirteen_are_not() -> None:
    system = read_edited({})
    switch = system.devices["LS1"]
    tagged = [type(switch)(f"S{n}", "switches", "switch", None, None, (), None) for n in range(13)]

    assert len(list(system.situations(system.devices["P1"]).of(tagged[:12]))) == 2**12
    with pytest.raises(TooManySwitches, match="13 switches"):
        list(system.situations(system.devices["P1"]).of(tagged))


def test_without_change_over_devices_there_is_one_state_to_look_at() -> None:
    assert len(list(positions(read_edited({}).connected))) == 1


def test_change_over_float_and_transfer_switch_take_turns() -> None:
    connected = read_edited(
        {**TRANSFER_SWITCH, "switches.LS1.part": "float-switch-dc-10a-changeover"}
    ).connected

    states = list(positions(connected))

    assert len(states) == 4
    for tag in ("LS1", "DS2"):
        poles = [pole for pole in connected.poles if pole.device.tag == tag]
        assert {tuple(state(pole) for pole in poles) for state in states} == {(True, False), (False, True)}


def test_first_throw_of_a_transfer_switch_is_the_closed_one() -> None:
    connected = read_edited(TRANSFER_SWITCH).connected

    assert [pole.clear_closed for pole in connected.poles if pole.device.tag == "DS2"] == [True, False]


def test_two_jobs_in_one_spec_do_not_share_their_switches() -> None:
    system = read_edited(TWO_JOBS)
    wiring = wiring_of(system.connected)

    assert wiring["P1"] != wiring["P2"]
    assert must_stop(system, system.devices["LS9"]) == (system.devices["P2"],)
    assert {s.tag for s in on_wiring_of(system, system.devices["P1"])} == {"LS1", "LS2", "TS1"}


def test_one_bond_for_two_jobs_does_not_make_one_wiring_of_them() -> None:
    bond = {"from": "GB1.system", "to": "CB2.pv-", "color": "white"}
    system = read_edited({**TWO_JOBS, "runs.R2.conductors[9]": bond})

    assert must_stop(system, system.devices["LS9"]) == (system.devices["P2"],)
