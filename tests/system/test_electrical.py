"""Currents and voltages of what only switches a battery, and of what charges it."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules._variants import BATTERY
from specc.system import guarding
from specc.system.missing import MissingDatum
from specc.system.model import Conductor
from specc.system.system import System
from specc.system.walk import Source
from tests.reference import read_edited
from tests.rules.answers import found
from tests.rules.by_subject import numbers

CHARGER: dict[str, Any] = {**BATTERY, "part:charger-r.ports[1].does": "both"}


def conductor(system: System, tag: str) -> Conductor:
    return next(c for c in system.conductors if c.tag == tag)


def output(system: System, tag: str) -> Source:
    return next(s for s in system.walked.sources if s.tag == tag and s.kind == "converter")


def test_a_charge_controller_draws_nothing_from_the_battery_that_it_charges() -> None:
    system = read_edited({**CHARGER, "part:charger-r.output_current": "30 A"})
    port = next(p for p in system.connected.ports if p.device.tag == "CC1" and p.takes and p.gives)

    assert system.electrical.input_current_a(port.device, port) == 0.0


def test_its_load_terminals_draw_what_hangs_on_them() -> None:
    load_port = {"name": "load", "plus": "load+", "minus": "load-", "does": "gives"}
    system = read_edited(
        {
            **CHARGER,
            "part:charger-r.ports[2]": load_port,
            "part:charger-r.terminals[4]": {"name": "load+", "marked": "+"},
            "part:charger-r.terminals[5]": {"name": "load-", "marked": "-"},
            "runs.R2.conductors[1].from": "CC1.load+",
            "runs.R3.conductors[1].from": "CC1.load-",
        }
    )
    port = next(p for p in system.connected.ports if p.device.tag == "CC1" and p.takes and p.gives)

    assert system.electrical.input_current_a(port.device, port) == pytest.approx(8.0)  # the motor's label


def test_a_low_voltage_disconnect_gives_and_draws_what_its_motor_draws() -> None:
    system = read_edited(BATTERY)
    electrical = system.electrical
    port = next(p for p in system.connected.ports if p.device.tag == "CB1" and p.takes)

    assert electrical.given_current_a(output(system, "CB1")) == pytest.approx(8.0)  # the motor's label
    assert electrical.input_current_a(port.device, port) == pytest.approx(8.0)
    carried = electrical.continuous_current(conductor(system, "R3.1"))
    assert carried is not None
    assert carried.value == pytest.approx(8.0)


def test_the_conductor_behind_it_is_sized_for_its_motor_and_for_the_fuse_ahead() -> None:
    from specc.rules.ampacity import BOOSTER_OUTPUT
    from specc.rules.fuse import TOO_BIG

    small = {**BATTERY, "runs.R2.conductors[1].size": "14 AWG"}  # 15 A at 60 degC terminals
    wanted = numbers(BOOSTER_OUTPUT, small, "conductor for a controller's output")
    assert wanted["R2.2"].value == pytest.approx(10.0)  # 1.25 x 8 A, whatever the disconnect could switch
    assert not found(BOOSTER_OUTPUT, small)
    assert "R2.2" not in {f.subject for f in found(TOO_BIG, small)}  # F0 is 15 A, as much as 14 AWG may have

    assert {f.subject for f in found(TOO_BIG, {**small, "part:fuse-r.rating": "20 A"})} >= {"R2.2"}


def test_the_fuse_ahead_counts_only_up_to_the_next_fuse() -> None:
    system = read_edited(BATTERY)
    tags = {c.tag: guarding.feeder(system, c) for c in system.conductors}

    assert {tag for tag, pole in tags.items() if pole is not None} == {"R2.2"}
    assert tags["R2.2"] is not None
    assert tags["R2.2"].device.tag == "F0"


@pytest.mark.parametrize(
    ("limit", "volts"),
    [("32 V", 28.8), ("28 V", 28.0), (None, 28.8)],  # the bank is charged to 2 x 14.4 V
)
def test_behind_it_stands_the_battery_s_voltage_at_most_its_own_limit(
    limit: str | None, volts: float
) -> None:
    system = read_edited({**BATTERY, "part:low-voltage-r.max_output_voltage": limit})

    assert system.electrical.highest_voltage(output(system, "CB1")).value == pytest.approx(volts)


def test_disconnects_wired_in_a_ring_do_not_hang() -> None:
    ring = {
        **BATTERY,
        "runs.R9": {
            "wire": "thwn2-r",
            "size": "10 AWG",
            "length": "0.5 m",
            "laid": "in enclosure",
            "conductors": [{"from": "CB1.motor+", "to": "CB1.battery+", "color": "red"}],
        },
    }
    system = read_edited(ring)

    assert system.electrical.given_current_a(output(system, "CB1")) == pytest.approx(8.0)
    assert system.electrical.highest_voltage(output(system, "CB1")).value > 0.0


def test_a_battery_s_top_voltage_is_no_guess() -> None:
    system = read_edited({**BATTERY, "part:battery-r.highest_charge_voltage": None})
    battery = next(s for s in system.walked.sources if s.kind == "battery")

    with pytest.raises(MissingDatum, match="highest charge voltage"):
        system.electrical.highest_voltage(battery)
