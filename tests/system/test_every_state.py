"""Faults in some state of the switches: found, told with the nearest state, and found fast."""

from __future__ import annotations

from typing import Any

from specc.diagnostics import Verdict
from specc.rules.control import DRY_CONTACT, STOP_LOGIC
from specc.rules.polarity import SHORT
from specc.rules.states_ import BACK_FED, LEAVES_LIVE, REVERSED_IN_SOME_STATE
from specc.system.every_state import READY, change_overs_at, first_fault, states_at, witness
from specc.system.truth import truth_rows
from tests.patience import ends_in_sensible_time
from tests.reference import check_edited, read_edited

# Two-position floats: one contact closes as the other opens.
_CHANGE_OVER = "float-switch-dc-10a-changeover"


def floats(count: int) -> dict[str, Any]:
    """That many change-over floats in the remote loop of the reference job, in series."""
    edit: dict[str, Any] = {
        f"switches.X{n}": {
            "part": _CHANGE_OVER,
            "location": "tank",
            "closes_on": "fall",
            "guards": "tank full",
        }
        for n in range(1, count + 1)
    }
    edit |= {"switches.LS1": None, "switches.LS2": None, "switches.TS1": None}
    ends = ["CB1.remote1"]
    system = read_edited({f"switches.{tag[9:]}": value for tag, value in edit.items() if value is not None})
    common, closed = next(
        (pole.a.split(".")[1], pole.b.split(".")[1])
        for pole in system.connected.poles
        if pole.device.tag == "X1" and pole.clear_closed
    )
    for n in range(1, count + 1):
        ends += [f"X{n}.{common}", f"X{n}.{closed}"]
    ends.append("CB1.remote2")
    pairs = zip(ends[::2], ends[1::2], strict=True)
    edit["runs.R4.conductors"] = [{"from": a, "to": b, "color": "blue"} for a, b in pairs]
    return edit


def test_the_clear_state_is_told_as_ready() -> None:
    system = read_edited({})

    assert witness(system.connected, system.walked.closed) == READY


def test_a_fault_is_told_with_the_contacts_that_it_needs_and_no_others() -> None:
    edit = {
        "switches.LS8": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
        "switches.LS9": {"part": "float-r", "location": "tank", "closes_on": "rise", "guards": "tank full"},
        "runs.R2.conductors[3]": {"from": "Q1.2", "to": "LS9.1", "color": "red"},
        "runs.R2.conductors[4]": {"from": "LS9.2", "to": "CB1.pv-", "color": "white"},
    }
    system = read_edited(edit)

    walked = first_fault(system, ("PV1.+", "PV1.-"), lambda state: state.net("PV1.+") == state.net("PV1.-"))

    assert walked is not None
    assert witness(system.connected, walked.closed) == "LS9 closed"


def test_no_fault_is_none() -> None:
    assert first_fault(read_edited({}), ("PV1.+", "PV1.-"), lambda state: False) is None


def test_only_devices_that_can_touch_the_nets_are_tried() -> None:
    system = read_edited(floats(12))

    assert "X1" not in change_overs_at(system, ("PV1.+", "PV1.-"))
    assert len(list(states_at(system, ("PV1.+", "PV1.-")))) == 1
    assert change_overs_at(system, ("CB1.remote1",)) == {f"X{n}" for n in range(1, 13)}


def test_twelve_two_position_devices_are_decided_in_sensible_time() -> None:
    edit = floats(12)
    rules = (SHORT, BACK_FED, REVERSED_IN_SOME_STATE, LEAVES_LIVE, DRY_CONTACT, STOP_LOGIC)

    with ends_in_sensible_time():
        checked = check_edited(edit, rules)
        rows = truth_rows(read_edited(edit))

    mine = [f for f in checked.findings if f.rule in {rule.id for rule in rules}]
    assert {f.rule for f in mine} == {rule.id for rule in rules}
    assert all(f.verdict is Verdict.SATISFIED for f in mine), [f.message for f in mine]
    assert len(rows) == 1 + 12 + 1 + 1 + 2  # clear, each alone, all, a cut wire, two hand-worked devices


def test_power_on_the_loop_in_the_other_position_of_a_float_is_found() -> None:
    edit = floats(3)
    system = read_edited(edit)
    idle = next(
        end
        for pole in system.connected.poles
        if pole.device.tag == "X2" and not pole.clear_closed
        for end in (pole.b,)
    )
    edit["runs.R2.conductors[3]"] = {"from": "CB1.motor+", "to": idle, "color": "red"}

    findings = [f for f in check_edited(edit, (DRY_CONTACT,)).findings if f.verdict is Verdict.VIOLATED]

    assert len(findings) == 1
    assert "X2" in findings[0].message.split("State:")[1]
