"""Which device guards what, and what a conductor may carry."""

from __future__ import annotations

import pytest

from specc.rulebooks import NotInTable
from specc.rules._variants import BATTERY
from specc.system import guarding
from specc.system.model import Conductor
from specc.system.system import System
from tests.reference import read_edited


def conductor(system: System, tag: str) -> Conductor:
    return next(c for c in system.conductors if c.tag == tag)


@pytest.mark.parametrize(
    ("tag", "device"),
    [
        ("R1.1", "Q1"),
        ("R1.2", "Q1"),
        ("R2.1", "Q1"),
        ("R3.1", "F1"),
        ("R3.2", "F1"),
        ("R4.1", None),
        ("R5.2", None),
    ],
)
def test_a_device_guards_both_polarities_of_its_circuit(tag: str, device: str | None) -> None:
    system = read_edited({})

    pole = guarding.guard(system, conductor(system, tag))

    assert (pole.device.tag if pole else None) == device


def test_behind_a_fuse_lie_the_feed_after_it_and_the_whole_return() -> None:
    system = read_edited({})
    fuse = next(p for p in system.connected.poles if p.device.tag == "F1")
    (source,) = [s for s in system.walked.sources if s.kind == "converter"]

    assert {c.tag for c in guarding.behind(system, fuse, (source,))} == {"R2.3", "R3.1", "R3.2"}


def test_a_battery_conductor_is_guarded_by_the_fuse_at_its_post() -> None:
    system = read_edited(BATTERY)

    pole = guarding.guard(system, conductor(system, "R8.1"))

    assert pole is not None
    assert pole.device.tag == "F0"


@pytest.mark.parametrize(
    # NFPA 70 (2023) 240.4(D) caps 16, 14 and 12 AWG copper; 10 AWG: 30 A in the 60 °C column of Table 310.16.
    ("size", "amperes"),
    [("16 AWG", 10.0), ("14 AWG", 15.0), ("12 AWG", 20.0), ("10 AWG", 30.0)],
)
def test_small_conductors_carry_no_more_than_their_cap(size: str, amperes: float) -> None:
    system = read_edited({"runs.R2.conductors[0].size": size})

    assert guarding.ampacity_a(system, conductor(system, "R2.1")) == pytest.approx(amperes)


def test_terminals_below_the_coolest_column_hold_what_is_worked_out_for_them() -> None:
    # IEC columns begin at 70 °C; those of the reference are for 60 °C. 6 mm2, method B1: 41 A (Table
    # B.52.2, from memory) · sqrt(30 / 40) = 35.51 A; corrected it would carry 54 · 0.91 · 0.80 = 39.3 A.
    system = read_edited({"job.rulebook": "iec", "runs.R2.conductors[0].size": "6 mm2"})

    assert guarding.ampacity_a(system, conductor(system, "R2.1")) == pytest.approx(35.507, abs=0.001)


def test_a_terminal_column_that_lacks_the_size_and_no_cap_is_no_answer() -> None:
    system = read_edited({"job.rulebook": "iec", "runs.R2.conductors[0].size": "1 mm2"})

    with pytest.raises(NotInTable):
        guarding.ampacity_a(system, conductor(system, "R2.1"))


def test_the_smallest_size_that_fits_is_found() -> None:
    system = read_edited({})
    wire = conductor(system, "R2.1")

    assert guarding.smallest_size(system, wire, lambda c: guarding.ampacity_a(system, c) >= 18.75) == "12 AWG"
    assert guarding.smallest_size(system, wire, lambda c: False) is None


def test_the_size_is_blamed_where_it_is_written() -> None:
    system = read_edited({})

    assert guarding.size_path(conductor(system, "R1.1")) == ("runs", 0, "size")
    assert guarding.size_path(conductor(system, "R1.3")) == ("runs", 0, "conductors", 2, "size")


@pytest.mark.parametrize("tag", ["R8.3", "R8.4"])  # the bar to the charge controller, out and back
def test_the_battery_fuse_guards_what_a_charge_controller_feeds_too(tag: str) -> None:
    # The controller limits its own output; the battery, through the fuse, does not.
    system = read_edited(BATTERY)

    pole = guarding.guard(system, conductor(system, tag))

    assert pole is not None
    assert pole.device.tag == "F0"
