"""Edges of the drop rules. Figures: worked reference job (own arithmetic), NEC 2023 Chapter 9 Table 8."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules._variants import BATTERY
from specc.rules.drop import CONTROL_RUN, POWER_RUN
from tests.reference import check_edited
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, not_checked, numbers

FAR: dict[str, Any] = {"runs.R1.length": "20 m"}


@pytest.mark.parametrize(
    ("edit", "run", "volts"),
    [
        ({}, "R1", 0.905),
        ({}, "R3", 0.651),
        (FAR, "R1", 1.810),
        ({"runs.R3.size": "12 AWG"}, "R3", 1.040),
    ],
)
def test_drop_of_a_run(edit: dict[str, Any], run: str, volts: float) -> None:
    assert numbers(POWER_RUN, edit, "voltage drop")[run].value == pytest.approx(volts, abs=0.0005)


def test_message_gives_the_run_and_the_whole_way() -> None:
    message = fired(POWER_RUN, FAR)["R1"].message

    assert "1.81 V (5.03 %)" in message
    # with the jumper in the box: 1.810 V + 0.3 m · 4.07 ohm/km · 11.12 A = 1.824 V, 5.07 % of 36 V
    assert "5.07 % of 36 V" in message


def test_suggested_size_meets_the_target() -> None:
    assert "6 AWG for R1" in fired(POWER_RUN, FAR)["R1"].fix


def test_a_size_that_a_terminal_refuses_is_not_suggested_for_that_terminal() -> None:
    fix = fired(POWER_RUN, FAR)["R1"].fix

    assert "not into PV1.+ (up to 8 AWG), PV1.- (up to 8 AWG), CB1.pv- (up to 10 AWG)" in fix
    assert "Q1.1" not in fix  # which takes 6 AWG
    assert "terminal block beside PV1 and CB1" in fix and "pigtail" in fix


def test_a_size_that_every_terminal_takes_is_said_to_fit() -> None:
    wide = {f"part:{part}.wire.largest": "4 AWG" for part in ("panel-r", "booster-r", "breaker-r")}

    assert "its terminals take it" in fired(POWER_RUN, {**FAR, **wide})["R1"].fix
    assert "R1" in fired(POWER_RUN, {**FAR, "runs.R1.size": "8 AWG"})
    assert "R1" in held(POWER_RUN, {**FAR, "runs.R1.size": "6 AWG"})


def test_length_at_the_target() -> None:
    # (2 L + 0.3 m) · 4.07 ohm/km · 11.12 A = 1.08 V at L = 11.782 m
    assert not fired(POWER_RUN, {"runs.R1.length": "11.78 m"})
    assert "R1" in fired(POWER_RUN, {"runs.R1.length": "11.79 m"})


def test_conductors_side_by_side_share_the_current() -> None:
    doubled = {
        **FAR,
        "runs.R1.conductors[3]": {"from": "PV1.+", "to": "Q1.1", "color": "red"},
        "runs.R1.conductors[4]": {"from": "PV1.-", "to": "CB1.pv-", "color": "white"},
    }

    # half of 1.810 V
    assert numbers(POWER_RUN, doubled, "voltage drop")["R1"].value == pytest.approx(0.905, abs=0.0005)


def test_battery_to_motor_through_a_switch_gear_has_5_percent_in_all() -> None:
    # 14 m · 2 · 4.07 ohm/km · 8 A = 0.912 V, 3.8 % of 24 V
    assert not fired(POWER_RUN, {**BATTERY, "runs.R3.length": "14 m"})
    too_far = fired(POWER_RUN, {**BATTERY, "runs.R3.length": "20 m"})["R3"]
    assert "BT1 by CB1 to P1" in too_far.message


def test_label_current_is_needed() -> None:
    edit = {"part:pump-r.rated_current": None}

    assert missing(POWER_RUN, edit)
    assert not held(POWER_RUN, edit)


def test_deviation_can_be_accepted() -> None:
    reason = {"rule": "drop.power-run", "on": "R1", "reason": "the array is oversized", "by": "J. Designer"}
    findings = check_edited({**FAR, "accepted.0": reason}, (POWER_RUN,)).findings
    mine = next(f for f in findings if f.rule == "drop.power-run" and f.subject == "R1")

    assert "oversized" in mine.accepted
    assert not mine.stops_the_job


# -- control loops

COIL: dict[str, Any] = {
    "runs.R4.length": "80 m",
    "runs.R4.conductors": [
        {"from": "CB1.remote1", "to": "LS1.1", "color": "blue"},
        {"from": "LS1.2", "to": "CB1.remote2", "color": "brown"},
    ],
    "part:booster-r.remote.coil_voltage": "24 V",
}


@pytest.mark.parametrize(("amperes", "volts"), [("1.0 A", 19.8), ("0.5 A", 21.9)])
def test_volts_left_at_the_coil(amperes: str, volts: float) -> None:
    edit = {**COIL, "part:booster-r.remote.coil_current": amperes}

    assert numbers(CONTROL_RUN, edit, "volts left at the relay coil")["CB1"].value == pytest.approx(
        volts, abs=0.05
    )


def test_every_contact_of_the_loop_adds_its_resistance() -> None:
    # 4 · 15 m · 26.1 ohm/km = 1.566 ohm; three contacts of 0.05 ohm (common practice, no source)
    figure = numbers(CONTROL_RUN, {}, "resistance of the remote loop, hot")["CB1"]

    assert figure.value == pytest.approx(1.566 + 0.15)


def test_loop_at_the_limit_of_the_terminals() -> None:
    assert not fired(CONTROL_RUN, {"part:booster-r.remote.highest_resistance": "1.716 ohm"})
    assert "R4" in fired(CONTROL_RUN, {"part:booster-r.remote.highest_resistance": "1.715 ohm"})


@pytest.mark.parametrize(
    "edit",
    [
        {"part:booster-r.remote.highest_resistance": None},
        COIL,  # the coil's current is not given
    ],
)
def test_limit_of_the_terminals_must_be_known(edit: dict[str, Any]) -> None:
    assert missing(CONTROL_RUN, edit)
    assert not held(CONTROL_RUN, edit)


def test_loop_that_never_closes_is_not_checked() -> None:
    assert not_checked(CONTROL_RUN, {"runs.R4.conductors[3]": None})


def test_unwired_remote_terminals_are_not_looked_at() -> None:
    assert not held(CONTROL_RUN, {"runs.R4": None})
