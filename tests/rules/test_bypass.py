"""Fuses, breakers and isolators that something runs round, or that nothing hangs on."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._variants import BATTERY
from specc.rules.ampacity import CORRECTED, PV_CIRCUIT
from specc.rules.bypass import CUTS_NOTHING, DISCONNECT_BYPASSED, FUSE_BYPASSED, GUARDS_NOTHING
from specc.rules.fuse import TOO_BIG
from tests.rules.answers import found, subjects
from tests.rules.verdicts import verdicts

PANELS = {"part": "panel-r", "mounted": "ground", "location": "array"}


def wire(*pairs: tuple[str, str], **more: Any) -> dict[str, Any]:
    """A run R9 in the box from terminal to terminal."""
    run = {"wire": "thwn2-r", "size": "10 AWG", "length": "0.3 m", "laid": "in enclosure"}
    return {
        "runs.R9": {**run, "conductors": [{"from": a, "to": b, "color": "red"} for a, b in pairs], **more}
    }


def test_the_finding_names_the_way_and_what_to_take_away() -> None:
    (finding,) = found(FUSE_BYPASSED, wire(("F1.1", "F1.2")))

    assert finding.severity is Severity.ERROR
    assert finding.actual == "R9.1"
    assert finding.fix == "Take R9.1 away."


def test_a_way_round_two_devices_is_said_of_both() -> None:
    both = wire(("CB1.motor+", "DS1.2"))

    assert subjects(found(FUSE_BYPASSED, both)) == {"F1"}
    assert subjects(found(DISCONNECT_BYPASSED, both)) == {"DS1"}


def test_a_way_that_is_joined_inside_a_controller() -> None:
    """The switch in the array's negative; the array's negative also lies on the motor's."""
    edit = {
        "disconnects.DS9": {"part": "isolator-r"},
        "runs.R1.conductors[1].to": "DS9.1",
        **wire(("DS9.2", "CB1.pv-"), ("DS9.1", "CB1.motor-")),
    }

    assert subjects(found(DISCONNECT_BYPASSED, edit)) == {"DS9"}
    assert not found(DISCONNECT_BYPASSED, {**edit, **wire(("DS9.2", "CB1.pv-"))})


def test_one_pole_bypassed_of_two_is_enough() -> None:
    edit = {
        "disconnects.DS1.part": "isolator-r-2p",
        "runs.R3.conductors[1].from": "DS1.4",
        **wire(("CB1.motor-", "DS1.3"), ("DS1.3", "DS1.4")),
    }

    (finding,) = found(DISCONNECT_BYPASSED, edit)

    assert "DS1.3 to DS1.4" in finding.message


def test_two_poles_of_one_device_side_by_side_are_no_way_round() -> None:
    edit = {"disconnects.DS1.part": "isolator-r-2p", **wire(("DS1.1", "DS1.3"), ("DS1.2", "DS1.4"))}

    assert not found(DISCONNECT_BYPASSED, edit)


@pytest.mark.parametrize(("closes_on", "when"), [("rise", " with "), ("fall", "")])
def test_a_contact_across_it_counts_in_any_state_and_the_state_is_told(closes_on: str, when: str) -> None:
    edit = {
        "switches.LS9": {
            "part": "float-r",
            "location": "tank",
            "closes_on": closes_on,
            "guards": "tank full",
        },
        **wire(("DS1.1", "LS9.1"), ("LS9.2", "DS1.2")),
    }

    (finding,) = found(DISCONNECT_BYPASSED, edit)

    assert (" with LS9 closed" in finding.message) is bool(when)
    assert finding.severity is Severity.DANGER


def test_a_way_round_a_battery_fuse_is_a_danger_and_two_side_by_side_an_error() -> None:
    wired = {**BATTERY, **wire(("F1.1", "F1.2"))}
    twin = {**BATTERY, "fuses.F2": {"part": "fuse-r"}, **wire(("F1.1", "F2.1"), ("F2.2", "F1.2"))}

    assert {f.severity for f in found(FUSE_BYPASSED, wired)} == {Severity.DANGER}
    assert {f.severity for f in found(FUSE_BYPASSED, twin)} == {Severity.ERROR}
    assert subjects(found(FUSE_BYPASSED, twin)) == {"F1", "F2"}


def test_a_change_over_switch_bypasses_nothing() -> None:
    """One of two feeds at a time: the poles share a terminal, and only with both closed is a way there."""
    edit = {
        "part:isolator-r-2p.poles": [{"between": ["1", "2"]}, {"between": ["3", "2"]}],
        "part:isolator-r-2p.terminals": [{"name": "1"}, {"name": "2"}, {"name": "3"}],
        "part:isolator-r-2p.wire.conductors": 2,
        "disconnects.DS1.part": "isolator-r-2p",
        **wire(("F1.1", "DS1.3")),
    }

    assert not found(FUSE_BYPASSED, edit) or "DS1.3" in found(FUSE_BYPASSED, edit)[0].message
    assert not found(CUTS_NOTHING, edit)


# -- nothing behind ------------------------------------------------------------------------------------


def test_a_fuse_between_two_halves_of_a_string_guards_the_string() -> None:
    edit = {
        "panels.PV1.series": 1,
        "panels.PV2": {
            "part": "panel-r",
            "series": 1,
            "parallel": 2,
            "mounted": "ground",
            "location": "array",
        },
        "runs.R1.conductors[1].from": "PV2.-",
        "fuses.F9": {"part": "fuse-r"},
        **wire(("PV1.-", "F9.1"), ("F9.2", "PV2.+")),
    }

    assert verdicts(GUARDS_NOTHING, edit)["F9"] is Verdict.SATISFIED


def test_a_link_between_two_halves_of_a_string_is_sized() -> None:
    """Isc 2 x 6 A: 1.25 x 12 A = 15 A in 18 AWG, which NFPA 70 240.4(D)(1) caps at 7 A."""
    edit = {
        "panels.PV1.series": 1,
        "panels.PV2": {
            "part": "panel-r",
            "series": 1,
            "parallel": 2,
            "mounted": "ground",
            "location": "array",
        },
        "runs.R1.conductors[1].from": "PV2.-",
        **wire(("PV1.-", "PV2.+"), size="18 AWG"),
    }

    assert "R9.1" in subjects(found(PV_CIRCUIT, edit)) & subjects(found(CORRECTED, edit))
    assert "R9.1" not in subjects(found(PV_CIRCUIT, {**edit, **wire(("PV1.-", "PV2.+"))}))


def test_a_link_between_two_batteries_is_sized() -> None:
    edit = {
        **BATTERY,
        "batteries.BT1.series": 1,
        "batteries.BT2": {"part": "battery-r", "series": 1, "location": "pump house"},
        "runs.R8.conductors[1].from": "BT2.-",
        **wire(("BT1.-", "BT2.+"), size="16 AWG"),
    }

    assert "R9.1" in subjects(found(TOO_BIG, edit))


def test_a_load_on_no_closed_path_leaves_the_question_open() -> None:
    open_path = {"runs.R3.conductors[1]": None}

    assert verdicts(GUARDS_NOTHING, open_path)["F1"] is Verdict.NOT_CHECKED
    assert verdicts(CUTS_NOTHING, open_path)["DS1"] is Verdict.NOT_CHECKED


def test_a_fuse_before_a_surge_device_has_something_to_guard() -> None:
    edit = {
        "job.earthing": "floating",
        "part:bond-r.type": "surge device",
        "fuses.F9": {"part": "fuse-r"},
        "runs.R5.conductors[1].from": "F9.2",
        **wire(("GB1.system", "F9.1")),
    }

    assert verdicts(GUARDS_NOTHING, edit)["F9"] is Verdict.SATISFIED


def test_a_fuse_between_two_things_that_do_not_feed_one_another_guards_nothing() -> None:
    """Two arrays, each with a pump, and a fuse from negative to negative."""
    edit = {
        "panels.PV2": {
            "part": "panel-r",
            "series": 1,
            "parallel": 1,
            "mounted": "ground",
            "location": "array",
        },
        "pumps.P2": {"part": "pump-r", "elevation": "0 m", "location": "well"},
        "fuses.F9": {"part": "fuse-r"},
        **wire(("PV2.+", "P2.+"), ("PV2.-", "P2.-"), ("P2.-", "F9.1"), ("F9.2", "P1.-")),
    }

    (finding,) = found(GUARDS_NOTHING, edit)

    assert finding.subject == "F9"
    assert finding.severity is Severity.WARNING
