"""Edges of the rules on the spec itself, and the gaps that the engine reports."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules import booster, motor
from specc.rules.spec_ import MISSING_DATA, PLACE_NAME, UNUSED_PART, WIRE_SIZE
from tests.reference import check_edited
from tests.rules.by_subject import fired, held, not_checked

BLOCK: dict[str, Any] = {"terminal_blocks.TB1": {"part": "block-r"}}


# -- what nothing uses


def test_the_reference_job_uses_everything() -> None:
    assert not fired(UNUSED_PART, {})
    assert {"PV1", "F1", "R1", "C1", "FL1", "TK1", "WELL", "BOX1", "GR1"} <= set(held(UNUSED_PART, {}))


def test_a_device_on_no_net_is_told_as_a_whole() -> None:
    assert "wired to nothing" in fired(UNUSED_PART, BLOCK)["TB1"].message


def test_open_ways_are_named_and_may_be_spare() -> None:
    half = {"terminal_blocks.TB1": {"part": "block-r"}, "runs.R2.conductors[2].to": "TB1.1"}
    finding = fired(UNUSED_PART, half)["TB1"]

    assert finding.actual == "TB1.2, TB1.3, TB1.4"
    assert 'spare = ["2", "3", "4"]' in finding.fix
    assert "DS1.1" in fired(UNUSED_PART, half)["DS1"].message
    spare = {**half, "terminal_blocks.TB1": {"part": "block-r", "spare": ["2", "3", "4"]}}
    assert "TB1" not in fired(UNUSED_PART, spare)


def test_a_spare_that_is_wired_is_no_spare() -> None:
    assert "a conductor ends on it" in fired(UNUSED_PART, {"pumps.P1.spare": ["+"]})["P1"].message


def test_jumpers_use_a_terminal() -> None:
    linked = {
        "terminal_blocks.TB1": {"part": "block-r", "links": [["2", "3"]], "spare": ["4"]},
        "runs.R2.conductors[2].to": "TB1.1",
    }

    assert "TB1" not in fired(UNUSED_PART, linked)


def test_grounding_terminals_are_left_to_the_rules_on_grounding() -> None:
    assert "PV1" not in fired(UNUSED_PART, {"runs.R1.conductors[2]": None})
    assert "GR1" in fired(UNUSED_PART, {"runs.R6": None})


@pytest.mark.parametrize(
    ("edit", "subject"),
    [
        ({"runs.R6.conductors": []}, "R6"),
        ({"raceways.C9": {"part": "conduit-r", "length": "5 m"}}, "C9"),
        ({"enclosures.BOX9": {"part": "box-r"}}, "BOX9"),
        ({"pipes.D3": None}, "TK1"),
        ({"pipes.S1": None}, "WELL"),
        ({"valves.V9": {"part": "ball-valve-r"}}, "V9"),
    ],
)
def test_each_kind_of_thing_can_be_unused(edit: dict[str, Any], subject: str) -> None:
    assert subject in fired(UNUSED_PART, edit)


def test_a_valve_at_the_end_of_a_line_needs_one_pipe() -> None:
    # the relief valve hangs on the line by its inlet alone; a ball valve there would be open at its end
    ended = {
        "pipes.D2.from": "P1.out",
        "pipes.D1.to": "RV1.in",
    }

    assert "RV1" not in fired(UNUSED_PART, ended)
    assert "RV1" in fired(UNUSED_PART, {**ended, "valves.RV1.part": "ball-valve-r"})


# -- what is missing or assumed


def test_a_booster_without_an_input_maximum_is_an_error_that_names_the_rule() -> None:
    checked = check_edited({"part:booster-r.max_input_voltage": None}, (*booster.RULES, MISSING_DATA))
    (gap,) = [f for f in checked.findings if f.rule == "spec.missing-data" and f.subject == "CB1"]

    assert gap.severity is Severity.ERROR
    assert gap.verdict is Verdict.VIOLATED
    assert "booster.input-voltage" in gap.message
    assert gap.required == "max_input_voltage"
    assert gap.fix
    assert gap.stops_the_job


def test_one_gap_is_told_once_for_all_the_rules_that_it_blocks() -> None:
    checked = check_edited({"part:pump-r.rated_current": None}, (*booster.RULES, *motor.RULES))
    gaps = [f for f in checked.findings if f.rule == "spec.missing-data"]

    assert len(gaps) == 1
    assert "booster.output-current" in gaps[0].message


@pytest.mark.parametrize(("book", "factor"), [("us-2023", "1.16"), ("iec", "1.2")])
def test_an_assumed_factor_is_a_warning_that_names_it(book: str, factor: str) -> None:
    # Table 690.7(A) at -15 degC; 60364-7-712 Annex B: both from memory, unverified
    finding = fired(MISSING_DATA, {"job.rulebook": book, "part:panel-r.voc_coefficient": None})["PV1"]

    assert finding.severity is Severity.WARNING
    assert f"factor {factor} " in finding.message
    assert "assumed" in finding.message


def test_a_place_colder_than_the_table_is_not_assumed() -> None:
    edit = {"part:panel-r.voc_coefficient": None, "site.coldest_air": "-55 degC"}

    assert not fired(MISSING_DATA, edit)
    assert "PV1" in not_checked(MISSING_DATA, edit)


def test_a_battery_without_a_charge_voltage_lacks_it() -> None:
    # Its voltage when full is lower than what charges it: it may not stand for it.
    bank = {"batteries.BT1": {"part": "battery-r"}, "part:battery-r.highest_charge_voltage": None}

    assert fired(MISSING_DATA, bank)["BT1"].severity is Severity.ERROR
    assert "BT1" not in held(MISSING_DATA, bank)


# -- names of places


NO_PLACES: dict[str, Any] = {f"locations.{name}": None for name in ("array", "pump house", "well", "tank")}


@pytest.mark.parametrize(
    ("name", "fires"),
    [
        ("pump hose", True),
        ("Pump House", True),
        ("pump-house", True),
        ("pump house 2", False),
        ("shed", False),
    ],
)
def test_two_spellings_of_one_place_where_none_are_listed(name: str, fires: bool) -> None:
    edit = {**NO_PLACES, "enclosures.BOX1.location": name}
    found = [f for f in check_edited(edit, (PLACE_NAME,)).findings if f.verdict is Verdict.VIOLATED]

    assert any("spelt in two ways" in f.message for f in found) is fires


def test_short_names_may_differ_in_a_letter() -> None:
    edit = {**NO_PLACES, "tank.TK1.location": "bank", "switches.LS1.location": "tank"}
    found = [f for f in check_edited(edit, (PLACE_NAME,)).findings if f.verdict is Verdict.VIOLATED]

    assert not found


def test_listed_places_leave_nothing_to_guess() -> None:
    assert not [f for f in check_edited({}, (PLACE_NAME,)).findings if f.rule == PLACE_NAME.id]


# -- sizes of wire


@pytest.mark.parametrize(
    ("edit", "subject", "severity", "fix"),
    [
        ({"runs.R2.size": "35 mm2"}, "R2", Severity.ERROR, '6 AWG of "thwn2-r"'),
        ({"runs.R2.size": "3 AWG"}, "R2", Severity.WARNING, '6 AWG of "thwn2-r", or 3 AWG of thwn2-cu'),
        (
            {"runs.R2.wire": "battery-cable-cu", "runs.R2.size": "3 AWG"},
            "R2",
            Severity.WARNING,
            '4 AWG or 2 AWG of "battery-cable-cu"',
        ),
        (
            {"job.rulebook": "iec", "runs.R2.wire": "battery-cable-cu", "runs.R2.size": "8 AWG"},
            "R2",
            Severity.ERROR,
            "6 mm2 of cu-pv-90, cu-pvc-70, or 10 mm2 of cu-pv-90, cu-pvc-70",
        ),
        ({"runs.R2.conductors[1].size": "250 kcmil"}, "R2.2", Severity.ERROR, '6 AWG of "thwn2-r"'),
        ({"runs.R2.conductors[1].wire": "control-r"}, "R2.2", Severity.WARNING, '14 AWG of "control-r"'),
    ],
)
def test_a_size_that_nobody_sells_is_told_with_those_that_are(
    edit: dict[str, Any], subject: str, severity: Severity, fix: str
) -> None:
    finding = fired(WIRE_SIZE, edit)[subject]

    assert finding.severity is severity
    assert fix in finding.fix, finding.fix


def test_the_sizes_of_a_job_are_not_held_against_its_second_rulebook() -> None:
    checked = check_edited({"job.also_under": "iec"}, (WIRE_SIZE,))

    assert {f.verdict for f in checked.findings} == {Verdict.SATISFIED}
