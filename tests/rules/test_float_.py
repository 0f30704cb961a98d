"""Float switches: their action, contact, place and band."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules._edits import PV_DIRECT
from specc.rules.float_ import CONTACT_RATING, DIFFERENTIAL, IN_POWER_PATH, WRONG_WAY
from tests.reference import check_edited
from tests.rules.answers import found, missing, subjects

IN_MOTOR_LINE: dict[str, Any] = {
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R4.conductors": [{"from": "CB1.remote1", "to": "CB1.remote2", "color": "blue"}],
    "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
    "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
}

IN_MOTOR_LINE_PV_DIRECT: dict[str, Any] = {
    **PV_DIRECT,
    "switches.LS2": None,
    "switches.TS1": None,
    "runs.R3.conductors[0]": {"from": "DS1.2", "to": "LS1.1", "color": "red"},
    "runs.R3.conductors[3]": {"from": "LS1.2", "to": "P1.+", "color": "red"},
}


def test_wrong_way_in_the_motor_line_is_found() -> None:
    assert subjects(found(WRONG_WAY, {**IN_MOTOR_LINE, "switches.LS1.closes_on": "rise"})) == {"LS1"}


def test_every_switch_is_judged_by_itself() -> None:
    edit = {"switches.LS1.closes_on": "rise", "switches.TS1.closes_on": "rise"}

    # The pump runs only while both events have happened: each is the wrong way round, LS2 is not.
    assert subjects(found(WRONG_WAY, edit)) == {"LS1", "TS1"}


def test_change_over_float_on_its_other_contact_acts_the_other_way() -> None:
    edit = {
        "switches.LS1.part": "float-switch-dc-10a-changeover",
        "switches.LS1.closes_on": "rise",
        "runs.R4.conductors[1].from": "LS1.3",
    }

    assert found(WRONG_WAY, edit) == []
    assert subjects(found(WRONG_WAY, {**edit, "switches.LS1.closes_on": "fall"})) == {"LS1"}


# Worked reference job (own arithmetic): 28 V clamp, 8.0 A motor.
@pytest.mark.parametrize(
    ("key", "value", "fires"),
    [
        ("dc_voltage", "27.9 V", True),
        ("dc_voltage", "28 V", False),
        ("dc_current", "7.9 A", True),
        ("dc_current", "8 A", False),
    ],
)
def test_contact_in_the_motor_line_at_its_limits(key: str, value: str, fires: bool) -> None:
    assert bool(found(CONTACT_RATING, {**IN_MOTOR_LINE, f"part:float-r.contact.{key}": value})) is fires


@pytest.mark.parametrize(("least", "fires"), [("10 mA", False), ("10.1 mA", True)])
def test_contact_in_the_dry_loop_at_its_least_current(least: str, fires: bool) -> None:
    assert bool(found(CONTACT_RATING, {"part:float-r.contact.least_current": least})) is fires


def test_blind_contact_is_a_danger_where_closed_stops_the_pump() -> None:
    edit = {"part:float-r.contact.least_current": "1 A", "part:booster-r.remote.runs_when": "open"}

    assert {f.severity for f in found(CONTACT_RATING, edit)} == {Severity.DANGER}


def test_contact_that_is_open_in_the_clear_is_rated_as_closed() -> None:
    edit = {**IN_MOTOR_LINE, "switches.LS1.closes_on": "rise", "part:float-r.contact.dc_current": "1 A"}

    assert subjects(found(CONTACT_RATING, edit)) == {"LS1"}


def test_array_line_without_a_controller_counts_the_array() -> None:
    # 1.25 · 12 A = 15 A; worked reference job (own arithmetic).
    edit = {**IN_MOTOR_LINE_PV_DIRECT, "part:float-r.contact.dc_voltage": "60 V"}

    (finding,) = found(CONTACT_RATING, edit)

    assert "15 A" in finding.required
    assert "motor" in finding.required


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"part:float-r.contact.least_current": None}, "contact.least_current"),
        ({"part:booster-r.remote.test_current": None}, "remote.test_current"),
        ({**IN_MOTOR_LINE, "part:float-r.contact": {}}, "contact"),
    ],
)
def test_missing_rating_is_no_pass(edit: dict[str, Any], key: str) -> None:
    assert key in missing(CONTACT_RATING, edit)


def test_spare_contact_of_a_change_over_float_is_not_looked_at() -> None:
    findings = check_edited(
        {"switches.LS1.part": "float-switch-dc-10a-changeover"}, (CONTACT_RATING,)
    ).findings

    assert [f.verdict for f in findings if f.subject == "LS1"] == [Verdict.SATISFIED]


def test_inrush_is_printed_with_its_figures() -> None:
    # 28 V / 0.6 ohm = 46.7 A; worked reference job (own arithmetic).
    (finding,) = found(IN_POWER_PATH, IN_MOTOR_LINE)
    inrush = [c for c in check_edited(IN_MOTOR_LINE, (IN_POWER_PATH,)).calculations if c.symbol == "Iin"]

    assert "46.67 A" in finding.message
    assert [c.value for c in inrush] == [pytest.approx(46.667, abs=1e-3)]


def test_power_path_is_an_advice_where_there_are_no_remote_terminals() -> None:
    (finding,) = found(IN_POWER_PATH, IN_MOTOR_LINE_PV_DIRECT)

    assert finding.severity is Severity.ADVICE


def test_an_array_caps_the_inrush_that_it_feeds_alone() -> None:
    # 49.28 V / 0.6 ohm would be 82 A; two strings of 6 A give 1.25 x 12 A (NFPA 70 690.8(A), from memory)
    made = check_edited(IN_MOTOR_LINE_PV_DIRECT, (IN_POWER_PATH,)).calculations

    assert [c.value for c in made if c.symbol == "Iin"] == [pytest.approx(15.0)]


# A · Δz / Q with 2.0 m² and 10 L/min: 25 mm is 50 L, 5.0 min; worked reference job (own arithmetic).
@pytest.mark.parametrize(("band", "fires"), [("24.9 mm", True), ("25.1 mm", False)])
def test_five_minutes_of_band(band: str, fires: bool) -> None:
    assert bool(found(DIFFERENTIAL, {"tank.TK1.float_band": band})) is fires


@pytest.mark.parametrize(("gap", "fires"), [("49 mm", True), ("50 mm", False), ("-1 mm", True)])
def test_stop_below_the_overflow(gap: str, fires: bool) -> None:
    assert bool(found(DIFFERENTIAL, {"tank.TK1.stop_below_overflow": gap})) is fires


@pytest.mark.parametrize("key", ["float_band", "plan_area", "stop_below_overflow"])
def test_missing_figure_of_the_tank_is_no_pass(key: str) -> None:
    edit = {f"tank.TK1.{key}": None}

    assert missing(DIFFERENTIAL, edit) == [key]
    assert len(found(DIFFERENTIAL, edit, Verdict.SATISFIED)) == 1  # the other question is still answered


def test_well_float_has_no_band_here() -> None:
    assert subjects(found(DIFFERENTIAL, {}, Verdict.SATISFIED)) == {"LS1"}
