"""Edges of the rules on fuses and breakers. Figures: worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Finding, Severity, Verdict
from specc.rules import fuse, outdoor
from specc.rules._rule import Rule
from specc.rules._variants import BATTERY, strings
from tests.reference import check_edited


def of_rule(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in check_edited(edit, (rule,)).findings if f.rule == rule.id]


def violated(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in of_rule(rule, edit) if f.verdict is Verdict.VIOLATED]


@pytest.mark.parametrize(("rating", "fires"), [("20 A", False), ("20.1 A", True)])
def test_a_device_at_the_cap_of_its_conductor_is_right_and_above_it_wrong(rating: str, fires: bool) -> None:
    # 12 AWG copper: 20 A, NFPA 70 (2023) 240.4(D).
    edit = {"part:breaker-r.rating": rating, "runs.R2.conductors[0].size": "12 AWG"}

    assert bool(violated(fuse.TOO_BIG, edit)) is fires


def test_the_fix_names_the_largest_device_and_the_smallest_conductor() -> None:
    edit = {"part:breaker-r.rating": "30 A", "runs.R2.conductors[0].size": "12 AWG"}

    (finding,) = violated(fuse.TOO_BIG, edit)

    assert "20 A" in finding.fix
    assert "10 AWG" in finding.fix
    assert finding.subject == "R2.1"


def test_heat_lowers_what_a_device_may_be() -> None:
    # 10 AWG: 40 A in the 90 °C column (NFPA 70 Table 310.16) · 0.71 at 60 °C (310.15(B)(1)) = 28.4 A;
    # the next standard rating, 30 A (240.6(A)), is permitted; 35 A is not.
    hot = {"runs.R1.hottest": "60 degC"}

    assert not violated(fuse.TOO_BIG, {**hot, "part:breaker-r.rating": "30 A"})
    assert violated(fuse.TOO_BIG, {**hot, "part:breaker-r.rating": "35 A"})


def test_a_motor_fuse_above_the_ampacity_within_150_percent_is_no_fault() -> None:
    # 14 AWG holds 15 A; a motor of 13 A may have 1.5 · 13 = 19.5, so 20 A (NFPA 70 240.4(G), 430.52).
    edit = {"part:pump-r.rated_current": "13 A", "part:fuse-r.rating": "20 A", "runs.R3.size": "14 AWG"}

    assert not violated(fuse.TOO_BIG, edit)
    assert not violated(fuse.MOTOR_BRANCH, edit)


@pytest.mark.parametrize("parallel", [1, 2])
def test_an_array_of_one_or_two_strings_without_any_device_is_no_fault(parallel: int) -> None:
    # NFPA 70 690.9(A) and IEC 62548-1: conductors that carry all the sources need no device.
    edit = {
        "panels.PV1.parallel": parallel,
        "breakers.Q1": None,
        "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "GB1"],
        "runs.R1.conductors[0].to": "CB1.pv+",
        "runs.R2.conductors[0]": None,
    }

    assert not [f for rule in fuse.RULES for f in violated(rule, edit) if f.severity is not Severity.ADVICE]


@pytest.mark.parametrize(("rating", "fires"), [("18.75 A", False), ("18.7 A", True)])
def test_an_array_device_holds_from_one_and_a_quarter_of_the_maximum_current(
    rating: str, fires: bool
) -> None:
    assert bool(violated(fuse.TOO_SMALL, {"part:breaker-r.rating": rating})) is fires


def test_a_tail_that_carries_the_fault_makes_advice_of_the_danger() -> None:
    # 1.45 · 15 = 21.75 A to open, 15 A to be had; 14 AWG carries those 15 A.
    findings = violated(
        fuse.CANNOT_CLEAR, {"part:breaker-r.rating": "15 A", "runs.R2.conductors[0].size": "14 AWG"}
    )

    assert {f.severity for f in findings} == {Severity.ADVICE}


def test_a_breaker_that_no_fault_opens_counts_as_an_isolator_and_a_fuse_never_does() -> None:
    # A fuse holder is no load-break device (NFPA 70 690.33(D), 240.40): it is opened dead.
    both = {
        "part:breaker-r.rating": "15 A",
        "part:fuse-r.rating": "10 A",
        "part:booster-r.output_current": "8 A",
    }
    found = {f.subject: f.fix for f in violated(fuse.CANNOT_CLEAR, both)}

    assert found["Q1"] == "Count it as an isolator, and say so on the drawing."
    assert "never as an isolator" in found["F1"]
    assert "load-break isolator" in found["F1"]


def test_a_breaker_that_does_not_break_load_is_no_isolator() -> None:
    (found,) = [
        f
        for f in violated(
            fuse.CANNOT_CLEAR, {"part:breaker-r.rating": "15 A", "part:breaker-r.load_break": False}
        )
        if f.subject == "Q1"
    ]

    assert "never as an isolator" in found.fix


def test_a_thin_return_behind_a_device_that_cannot_open_is_a_danger() -> None:
    findings = violated(
        fuse.CANNOT_CLEAR, {"part:breaker-r.rating": "15 A", "runs.R1.conductors[1].size": "16 AWG"}
    )

    assert Severity.DANGER in {f.severity for f in findings if f.subject == "Q1"}


def test_string_fuses_of_several_strings_can_clear() -> None:
    # Three other strings give 3 · 1.25 · 6 = 22.5 A; a 12 A fuse is sure to open from 17.4 A.
    edit = {**strings(4, fuse="fuse-r"), "part:fuse-r.rating": "12 A"}

    findings = of_rule(fuse.CANNOT_CLEAR, edit)

    assert {f.verdict for f in findings if f.subject.startswith("SF")} == {Verdict.SATISFIED}


def test_a_module_without_its_limit_is_not_checked_and_said_so() -> None:
    checked = check_edited({"part:panel-r.series_fuse": None}, (fuse.STRING_NEEDED,))

    verdicts = {f.rule: f.verdict for f in checked.findings}
    assert verdicts["fuse.string-needed"] is Verdict.NOT_CHECKED
    assert verdicts["spec.missing-data"] is Verdict.VIOLATED
    (gap,) = [f for f in checked.findings if f.rule == "spec.missing-data"]
    assert gap.fix == "Give series_fuse of the part: read it on the label or in the maker's data."


def test_what_is_missing_of_the_site_is_asked_for_there_and_not_on_a_label() -> None:
    checked = check_edited({"runs.R4.laid": None, "runs.R4.buried": None}, (outdoor.CONDUCTOR_TYPE,))
    gaps = [f for f in checked.findings if f.rule == "spec.missing-data"]

    assert gaps
    assert all("label" not in f.fix for f in gaps)
    assert any("out of reach" in f.message and "direct buried" in f.message for f in gaps)


def test_one_string_alone_needs_no_limit() -> None:
    edit = {"part:panel-r.series_fuse": None, "panels.PV1.parallel": 1}

    assert {f.verdict for f in of_rule(fuse.STRING_NEEDED, edit)} == {Verdict.SATISFIED}


def test_a_battery_straight_on_an_array_feeds_back_without_limit() -> None:
    edit = {
        **BATTERY,
        "panels.PV1.parallel": 1,
        "controllers.CC1": None,
        "runs.R1.conductors[1].to": "CB1.battery-",
        "runs.R2.conductors[0].to": "CB1.battery+",
        "runs.R5.conductors[0].to": "CB1.battery-",
        "breakers.Q1": None,
        "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "GB1"],
        "runs.R1.conductors[0].to": "CB1.battery+",
        "runs.R2.conductors": [
            {"from": "CB1.motor+", "to": "F1.1", "color": "red"},
            {"from": "F1.2", "to": "DS1.1", "color": "red"},
        ],
        "runs.R8.conductors": [
            {"from": "F0.2", "to": "CB1.battery+", "color": "red"},
            {"from": "BT1.-", "to": "CB1.battery-", "color": "white"},
        ],
    }

    # The fuse at the post parts the two, and stands for the string's own.
    assert not violated(fuse.STRING_NEEDED, edit)
    bare = {
        **edit,
        "fuses.F0": None,
        "runs.R7.conductors[0].to": "CB1.battery+",
        "runs.R8.conductors[0]": None,
    }
    (finding,) = violated(fuse.STRING_NEEDED, bare)
    assert "battery" in finding.message.casefold()


def test_a_battery_without_internal_resistance_is_not_checked() -> None:
    checked = check_edited({**BATTERY, "part:battery-r.internal_resistance": None}, (fuse.BREAKING_CAPACITY,))

    assert "spec.missing-data" in {f.rule for f in checked.findings}
    assert Verdict.NOT_CHECKED in {f.verdict for f in checked.findings if f.subject == "F0"}


def test_a_device_behind_a_low_voltage_disconnect_still_sees_the_battery() -> None:
    # 1.05 · 24 V / (8 mΩ + cables): more than the 0.5 kA that this fuse breaks, and no fuse before it.
    edit = {
        **BATTERY,
        "fuses.F0": None,
        "part:fuse-r.breaking_capacity": "500 A",
        "runs.R7.conductors[0].to": "CB1.battery+",
        "runs.R8.conductors[0]": None,
    }

    assert [f.subject for f in violated(fuse.BREAKING_CAPACITY, edit)] == ["F1"]


def test_a_two_pole_breaker_may_open_the_grounded_conductor_too() -> None:
    # NFPA 70 240.22: permitted where all conductors open together.
    poles = [{"between": ["1", "2"]}, {"between": ["3", "4"]}]
    terminals = [{"name": name} for name in ("1", "2", "3", "4")]
    edit = {
        "part:breaker-r.poles": poles,
        "part:breaker-r.terminals": terminals,
        "runs.R1.conductors[1].to": "Q1.3",
        "runs.R2.conductors[3]": {"from": "Q1.4", "to": "CB1.pv-", "color": "white"},
    }

    assert not violated(fuse.IN_GROUNDED, edit)


def test_single_devices_of_one_array_stand_in_one_polarity() -> None:
    # NFPA 70 690.9(C).
    edit = {
        **strings(2, fuse="fuse-r"),
        "job.earthing": "floating",
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["CB1", "F1", "DS1"],
        "breakers.Q1": None,
        "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}],
        "runs.R2.conductors[0]": None,
        "runs.R1.conductors": [
            {"from": "PV1.+", "to": "SF1.1", "color": "red"},
            {"from": "SF1.2", "to": "CB1.pv+", "color": "red"},
            {"from": "PV1.-", "to": "CB1.pv-", "color": "black"},
            {"from": "PV2.+", "to": "CB1.pv+", "color": "red"},
            {"from": "PV2.-", "to": "SF2.1", "color": "black"},
            {"from": "SF2.2", "to": "CB1.pv-", "color": "black"},
        ],
    }

    assert [f.subject for f in violated(fuse.IN_GROUNDED, edit)] == ["SF2"]
    assert not violated(fuse.IN_GROUNDED, {**edit, "job.rulebook": "iec"})


@pytest.mark.parametrize(
    ("rating", "fires"), [("15 A", False), ("16 A", True), ("8 A", False), ("7.9 A", True)]
)
def test_a_motor_device_lies_between_the_label_and_the_next_rating_from_150_percent(
    rating: str, fires: bool
) -> None:
    # 1.5 · 8 = 12 A, next standard rating 15 A (NFPA 70 430.52(C)(1), 240.6(A)).
    findings = [
        f for f in violated(fuse.MOTOR_BRANCH, {"part:fuse-r.rating": rating}) if f.severity is Severity.ERROR
    ]

    assert bool(findings) is fires


def test_an_unknown_starting_current_is_not_taken_for_carried() -> None:
    findings = of_rule(fuse.MOTOR_BRANCH, {"part:pump-r.start_current": None})

    assert {f.verdict for f in findings} == {Verdict.SATISFIED, Verdict.NOT_CHECKED}


def test_the_tail_of_one_string_carries_its_own_current_alone() -> None:
    # Two strings drive 15 A into a fault, one 7.5 A (1.25 Isc, NFPA 70 690.8(A)); 16 AWG carries 10 A.
    own = {**strings(2), "runs.R1.conductors[2].size": "16 AWG"}
    both = {**strings(2), "runs.R1.conductors[0].size": "16 AWG"}

    assert [f.severity for f in violated(fuse.CANNOT_CLEAR, own) if f.subject == "Q1"] == [Severity.ADVICE]
    assert [f.severity for f in violated(fuse.CANNOT_CLEAR, both) if f.subject == "Q1"] == [Severity.DANGER]


@pytest.mark.parametrize(
    ("fuse_class", "opens_a"),
    # IEC 60269-1 (gG of 10 A: 1.9 In), IEC 60269-6 (gPV 1.45 In), ISO 8820-3 (1.35 In); from memory.
    [("gG", 19.0), ("gPV", 14.5), ("blade", 13.5)],
)
def test_a_fuse_surely_opens_by_its_class(fuse_class: str, opens_a: float) -> None:
    edit = {"part:fuse-r.rating": "10 A", "part:fuse-r.fuse_class": fuse_class}
    (mine,) = [f for f in of_rule(fuse.CANNOT_CLEAR, edit) if f.subject == "F1"]

    assert mine.required == f"{opens_a:g} A to open"
    assert (mine.verdict is Verdict.VIOLATED) is (opens_a > 12.0)  # the booster gives 12 A


def test_a_slow_fuse_on_a_tail_that_a_quick_one_would_guard() -> None:
    # 15 A of the array: a gPV fuse of 10 A opens from 14.5 A, gG only from 19 A; 16 AWG carries 10 A.
    edit = {
        "breakers.Q1": None,
        "fuses.Q1": {"part": "fuse-r", "location": "pump house"},
        "part:fuse-r.rating": "10 A",
        "runs.R2.conductors[0].size": "16 AWG",
    }
    quick = [f for f in violated(fuse.CANNOT_CLEAR, edit) if f.subject == "Q1"]
    slow = [
        f for f in violated(fuse.CANNOT_CLEAR, {**edit, "part:fuse-r.fuse_class": "gG"}) if f.subject == "Q1"
    ]

    assert not quick
    assert [f.severity for f in slow] == [Severity.DANGER]


def test_a_fuse_of_the_motor_carries_no_charge() -> None:
    # The motor hangs on the bank itself: it and the charger both feed it by F1.
    edit = {**BATTERY, "runs.R2.conductors[1].from": "CB1.battery+"}

    assert {f.subject for f in violated(fuse.TOO_SMALL, edit)} == {"F0"}
