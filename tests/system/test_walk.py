"""Nets, sources, branches and bonds, walked from the sources."""

from __future__ import annotations

import pytest

from specc.system.walk import walk
from tests.reference import read_edited


def test_polarity_comes_from_the_sources_not_from_colours() -> None:
    plain = read_edited({})
    painted = read_edited({"runs.R1.conductors[0].color": "black", "runs.R1.conductors[1].color": "red"})

    assert plain.walked.voltage("CB1.pv+", "CB1.pv-") == pytest.approx(36.0)
    assert painted.walked.voltage("CB1.pv+", "CB1.pv-") == pytest.approx(36.0)


def test_a_crossed_pair_shows_as_a_negative_voltage() -> None:
    system = read_edited({"runs.R1.conductors[0].from": "PV1.-", "runs.R1.conductors[1].from": "PV1.+"})

    assert system.walked.voltage("CB1.pv+", "CB1.pv-") == pytest.approx(-36.0)
    # The booster's output is a source of its own: the motor stays the right way round.
    assert system.walked.voltage("P1.+", "P1.-") == pytest.approx(24.0)


def test_a_pair_crossed_twice_is_right_again() -> None:
    system = read_edited(
        {
            "terminal_blocks.TB1": {"part": "block-r", "location": "pump house"},
            "runs.R1.conductors[0].from": "PV1.-",
            "runs.R1.conductors[0].to": "TB1.1",
            "runs.R1.conductors[1].from": "PV1.+",
            "runs.R1.conductors[1].to": "TB1.3",
            "runs.R7": {
                "wire": "thwn2-r",
                "size": "10 AWG",
                "length": "0.3 m",
                "laid": "in enclosure",
                "conductors": [
                    {"from": "TB1.4", "to": "Q1.1", "color": "red"},
                    {"from": "TB1.2", "to": "CB1.pv-", "color": "white"},
                ],
            },
        }
    )

    assert system.walked.voltage("CB1.pv+", "CB1.pv-") == pytest.approx(36.0)


def test_arrays_in_series_are_one_source() -> None:
    system = read_edited(
        {
            "panels.PV1.series": 1,
            "panels.PV2": {"part": "panel-r", "series": 1, "parallel": 2, "location": "array"},
            "runs.R1.conductors[1].from": "PV2.-",
            "runs.R1.conductors[3]": {"from": "PV1.-", "to": "PV2.+", "color": "black"},
        }
    )
    arrays = [s for s in system.walked.sources if s.kind == "array"]

    assert [s.tag for s in arrays] == ["PV2+PV1"]
    # Two modules of 22.0 V at -15 degC: 49.28 V, as for two in one array.
    assert system.electrical.highest_voltage(arrays[0]).value == pytest.approx(49.28, abs=0.005)
    link = next(c for c in system.conductors if c.tag == "R1.4")
    assert system.electrical.short_circuit_a(arrays[0]) == pytest.approx(12.0)
    assert system.walked.branch(link) is not None


def test_arrays_side_by_side_add_their_currents_only_behind_the_joint() -> None:
    system = read_edited(
        {
            "terminal_blocks.TB1": {"part": "block-r", "location": "pump house"},
            "panels.PV2": {"part": "panel-r", "series": 2, "parallel": 1, "location": "array"},
            "runs.R1.conductors[0].to": "TB1.1",
            "runs.R7": {
                "wire": "thwn2-r",
                "size": "10 AWG",
                "length": "5 m",
                "laid": "out of reach",
                "conductors": [
                    {"from": "PV2.+", "to": "TB1.1", "color": "red"},
                    {"from": "PV2.-", "to": "PV1.-", "color": "white"},
                    {"from": "TB1.2", "to": "Q1.1", "color": "red"},
                ],
            },
        }
    )
    electrical = system.electrical
    by_tag = {c.tag: c for c in system.conductors}

    def maximum(tag: str) -> float:
        found = electrical.continuous_current(by_tag[tag])
        assert found is not None
        return found.value

    # 1.25 x Isc of 2 strings, of 1 string, and of all 3 (NEC 2023 690.8(A)(1)).
    assert maximum("R1.1") == pytest.approx(15.0)
    assert maximum("R7.1") == pytest.approx(7.5)
    assert maximum("R7.3") == pytest.approx(22.5)


def test_the_bond_does_not_make_one_net_of_negative_and_ground() -> None:
    system = read_edited({})

    assert system.walked.is_ground("PV1.frame")
    assert not system.walked.is_ground("CB1.pv-")
    assert [getattr(b, "tag", "") for b in system.walked.bonds] == ["GB1"]


def test_a_bond_made_with_a_plain_wire_is_found() -> None:
    system = read_edited({"runs.R5.conductors[3]": {"from": "P1.-", "to": "BOX1.ground", "color": "green"}})

    assert {getattr(b, "tag", "") for b in system.walked.bonds} == {"GB1", "R5.4"}


def test_opening_a_breaker_takes_the_source_off_what_follows() -> None:
    system = read_edited({})
    opened = walk(system.connected, lambda pole: pole.clear_closed and pole.device.tag != "Q1")

    assert opened.voltage("CB1.pv+", "CB1.pv-") is None
    assert opened.voltage("Q1.1", "CB1.pv-") == pytest.approx(36.0)


def test_sensor_contacts_are_closed_in_the_clear_and_open_when_they_guard() -> None:
    system = read_edited({})
    wrong = read_edited({"switches.LS1.closes_on": "rise"})

    assert {p.device.tag: p.clear_closed for p in system.connected.poles if p.sensor} == {
        "LS1": True,
        "LS2": True,
        "TS1": True,
    }
    assert {p.device.tag: p.clear_closed for p in wrong.connected.poles if p.sensor}["LS1"] is False


def test_a_doubled_conductor_takes_no_credit_for_its_twin() -> None:
    system = read_edited(
        {"runs.R1.conductors[3]": {"from": "PV1.+", "to": "Q1.1", "color": "red"}},
    )
    first = next(c for c in system.conductors if c.tag == "R1.1")
    branch = system.walked.branch(first)

    assert branch is not None
    assert not branch.sole
    found = system.electrical.continuous_current(first)
    assert found is not None
    assert found.value == pytest.approx(15.0)
