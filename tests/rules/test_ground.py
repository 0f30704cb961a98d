"""Edges of the rules on earthing. Figures: worked reference job (own arithmetic), unless named."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Finding, Severity, Verdict
from specc.rules import ground
from specc.rules._rule import Rule
from specc.rules._variants import BATTERY, FLOATING, METRIC
from tests.reference import check_edited


def of_rule(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in check_edited(edit, (rule,)).findings if f.rule == rule.id]


def violated(rule: Rule, edit: dict[str, Any]) -> list[Finding]:
    return [f for f in of_rule(rule, edit) if f.verdict is Verdict.VIOLATED]


def test_a_case_of_unknown_make_is_not_taken_for_plastic() -> None:
    checked = check_edited({"part:pump-r.metal_case": None}, (ground.EGC_MISSING,))

    assert [f.verdict for f in checked.findings if f.subject == "P1" and f.rule == "ground.egc-missing"] == [
        Verdict.NOT_CHECKED
    ]
    assert "spec.missing-data" in {f.rule for f in checked.findings}


def test_a_bored_well_says_what_its_casing_is() -> None:
    checked = check_edited({"source.WELL.kind": "bored well"}, (ground.EGC_MISSING,))

    assert "spec.missing-data" in {f.rule for f in checked.findings}


def test_a_metal_casing_on_a_clamp_is_bonded() -> None:
    edit = {
        "source.WELL.casing": "metal",
        "part:bond-r.type": "clamp",
        "grounding.GB1.location": "well",
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
    }

    assert not [f for f in violated(ground.EGC_MISSING, edit) if f.subject == "WELL"]


def test_a_floating_supply_above_extra_low_voltage_needs_earth_in_an_iec_job() -> None:
    # Ten modules in series: above the 120 V DC of IEC 60364-4-41 414.
    edit = {**FLOATING, "job.rulebook": "iec", "panels.PV1.series": 10, "runs.R1.conductors[2]": None}

    assert "PV1" in {f.subject for f in violated(ground.EGC_MISSING, edit)}


@pytest.mark.parametrize(
    ("rating", "size"), [("15 A", "14 AWG"), ("20 A", "12 AWG"), ("21 A", "10 AWG"), ("60 A", "10 AWG")]
)
def test_the_grounding_conductor_follows_the_device(rating: str, size: str) -> None:
    # NFPA 70 (2023) Table 250.122.
    sizes = ["14 AWG", "12 AWG", "10 AWG"]
    edit = {"part:breaker-r.rating": rating, "runs.R1.conductors[2].size": size}
    smaller = sizes[: sizes.index(size)]

    assert not [f for f in violated(ground.EGC_SIZE, edit) if f.subject == "R1.3"]
    for less in smaller:
        edit["runs.R1.conductors[2].size"] = less
        assert [f for f in violated(ground.EGC_SIZE, edit) if f.subject == "R1.3"]


def test_without_a_device_the_array_counts_with_one_and_a_quarter_of_its_maximum() -> None:
    # 18.75 A: the 20 A row, 12 AWG (NFPA 70 690.45, Table 250.122).
    edit = {
        "breakers.Q1": None,
        "enclosures.BOX1.holds": ["CB1", "F1", "DS1", "GB1"],
        "runs.R1.conductors[0].to": "CB1.pv+",
        "runs.R2.conductors[0]": None,
    }

    assert not violated(ground.EGC_SIZE, edit)
    assert violated(ground.EGC_SIZE, {**edit, "runs.R1.conductors[2].size": "14 AWG"})


def test_enlarged_motor_conductors_take_their_grounding_conductor_with_them() -> None:
    # 4110 cmil · 10380 / 4110 = 10380 cmil (NFPA 70 250.122(B), Chapter 9 Table 8).
    (finding,) = violated(ground.EGC_UPSIZED, {"runs.R3.conductors[2].size": "12 AWG"})

    assert finding.subject == "R3.3"
    assert finding.required == "at least 5.26 mm²"  # 10380 cmil
    assert "10 AWG" in finding.fix


def test_a_circuit_that_is_too_thin_itself_leaves_its_grounding_conductor_unchecked() -> None:
    findings = of_rule(ground.EGC_UPSIZED, {"part:booster-r.output_current": "40 A"})

    assert Verdict.NOT_CHECKED in {f.verdict for f in findings if f.subject == "R3.3"}


def test_iec_sizes_from_the_line_and_asks_no_further_growth() -> None:
    assert not violated(ground.EGC_UPSIZED, {"job.rulebook": "iec", "runs.R3.conductors[2].size": "14 AWG"})


@pytest.mark.parametrize(
    ("colour", "severity"),
    [
        ("white", Severity.ERROR),
        ("grey", Severity.ERROR),
        ("green/yellow", Severity.ERROR),
        ("brown", Severity.WARNING),
    ],
)
def test_positive_in_other_colours_than_red(colour: str, severity: Severity) -> None:
    # NFPA 70 200.7, 250.119, 690.31(B).
    (finding,) = violated(ground.COLOUR_ROLE, {"runs.R3.conductors[0].color": colour})

    assert (finding.subject, finding.severity) == ("R3.1", severity)


def test_a_large_grounded_conductor_may_be_marked_white() -> None:
    # NFPA 70 200.6(B): 4 AWG and larger.
    edit = {"runs.R3.conductors[1].color": "black", "runs.R3.conductors[1].size": "4 AWG"}

    (unmarked,) = violated(ground.COLOUR_ROLE, edit)
    assert unmarked.severity is Severity.WARNING
    assert not violated(ground.COLOUR_ROLE, {**edit, "runs.R3.conductors[1].marked": "white"})


def test_the_link_between_two_arrays_in_series_may_have_any_colour_but_green() -> None:
    edit: dict[str, Any] = {
        "panels.PV1.series": 1,
        "panels.PV2": {"part": "panel-r", "parallel": 2, "mounted": "ground", "location": "array"},
        "runs.R1.conductors": [
            {"from": "PV2.+", "to": "Q1.1", "color": "red"},
            {"from": "PV1.+", "to": "PV2.-", "color": "violet"},
            {"from": "PV1.-", "to": "CB1.pv-", "color": "white"},
        ],
    }

    assert not violated(ground.COLOUR_ROLE, edit)
    edit["runs.R1.conductors"][1]["color"] = "green"
    assert [f.subject for f in violated(ground.COLOUR_ROLE, edit)] == ["R1.2"]


def test_control_loops_change_colour_at_switches() -> None:
    findings = of_rule(ground.COLOUR_CHANGES, {})

    assert {"R4.1", "R4.2", "R4.3", "R4.4"} <= {f.subject for f in findings if f.verdict is Verdict.SATISFIED}


def test_a_bond_between_the_same_two_terminals_counts_once() -> None:
    wire = {"from": "CB1.pv-", "to": "BOX1.ground", "color": "green"}
    edit = {
        "grounding.GB1": None,
        "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1"],
        "runs.R5.conductors": [{"from": "CB1.case", "to": "BOX1.ground", "color": "green"}, wire, wire],
    }

    assert not violated(ground.SECOND_BOND, edit)
    assert not violated(ground.BOND_MISSING, edit)


def test_a_bond_that_is_not_wired_is_no_bond() -> None:
    assert violated(ground.BOND_MISSING, {"runs.R5.conductors[2]": None})
    assert violated(ground.BOND_MISSING, {"runs.R5.conductors[1]": None})


def test_two_supplies_have_a_bond_each() -> None:
    second = {
        "panels.PV9": {"part": "panel-r", "series": 2, "mounted": "ground", "location": "array"},
        "pumps.P9": {"part": "pump-r", "elevation": "0 m", "freeze_safe": True, "location": "well"},
        "runs.R9": {
            "wire": "thwn2-r",
            "size": "10 AWG",
            "length": "10 m",
            "laid": "out of reach",
            "conductors": [
                {"from": "PV9.+", "to": "P9.+", "color": "red"},
                {"from": "PV9.-", "to": "P9.-", "color": "white"},
                {"from": "PV9.frame", "to": "BOX1.ground", "color": "green"},
                {"from": "P9.case", "to": "BOX1.ground", "color": "green"},
            ],
        },
    }
    bond = {"from": "P9.-", "to": "P9.case", "color": "green"}

    assert [f.subject for f in violated(ground.BOND_MISSING, second)] == ["PV9"]
    second["runs.R9"]["conductors"].append(bond)  # type: ignore[index]
    assert not violated(ground.BOND_MISSING, second)
    assert not violated(ground.SECOND_BOND, second)


def test_contradictory_data_of_a_controller_are_not_checked() -> None:
    findings = of_rule(ground.BOOSTER_COMMON, {"part:booster-r.switched_leg": "negative"})

    assert [f.verdict for f in findings] == [Verdict.NOT_CHECKED]


def test_an_array_on_an_unknown_mount_is_not_taken_for_the_ground() -> None:
    edit = {"panels.PV1.mounted": None, "panels.PV1.location": None}

    checked = check_edited(edit, (ground.FAULT_PROTECTION,))

    assert "spec.missing-data" in {f.rule for f in checked.findings}


def test_an_array_below_both_limits_needs_no_ground_fault_device() -> None:
    # One 12 V class module: 24.64 V, 7.5 A; limits 30 V and 8 A (NFPA 70 690.41(B)).
    edit = {**FLOATING, "panels.PV1.series": 1, "panels.PV1.parallel": 1}

    assert not violated(ground.FAULT_PROTECTION, edit)


@pytest.mark.parametrize(("beyond", "fires"), [("6 mm2", False), ("10 mm2", True)])
def test_a_tail_ahead_of_the_fuse_asks_for_nothing_behind_it(beyond: str, fires: bool) -> None:
    # IEC 60364-5-54 Table 54.2: up to 16 mm2 as large as the line, which is what lies beyond the fuse.
    edit = {
        **METRIC,
        **{place: value for place, value in BATTERY.items() if place != "runs.R5"},
        "runs.R5.conductors": [
            {"from": "GB1.system", "to": "CC1.pv-", "color": "white"},
            {"from": "GB1.ground", "to": "BOX1.ground", "color": "green-yellow"},
            {"from": "CC1.case", "to": "BOX1.ground", "color": "green-yellow"},
        ],
        "part:charger-r.terminals[4]": {"name": "case", "role": "ground"},
        "runs.R7.size": "25 mm2",
        "runs.R8.size": beyond,
    }

    assert ("R5.3" in {f.subject for f in violated(ground.EGC_SIZE, edit)}) is fires


# -- ground.bond-size


# NFPA 70 Table 250.122, copper: 20 A 12 AWG, 60 A 10 AWG; 250.166(B): no less than 8 AWG (from memory).
@pytest.mark.parametrize(
    ("size", "severity"),
    [("14 AWG", Severity.ERROR), ("12 AWG", Severity.ADVICE), ("10 AWG", Severity.ADVICE), ("8 AWG", None)],
)
def test_live_lead_of_the_bond(size: str, severity: Severity | None) -> None:
    found = violated(ground.BOND_SIZE, {"runs.R5.conductors[1].size": size})

    assert [f.severity for f in found] == ([severity] if severity else [])


def test_live_lead_of_the_bond_through_a_block() -> None:
    """Both pieces count: the one to the block, and the one from it."""
    edit = {
        "terminal_blocks.TB1": {"part": "block-r"},
        "runs.R5.conductors[1]": {"from": "GB1.system", "to": "TB1.1", "color": "white", "size": "18 AWG"},
        "runs.R5.conductors[3]": {"from": "TB1.2", "to": "CB1.pv-", "color": "white", "size": "18 AWG"},
    }

    assert {f.subject for f in violated(ground.BOND_SIZE, edit)} == {"R5.2", "R5.4"}


def test_a_floating_system_has_no_bond_to_size() -> None:
    assert not [
        f for f in check_edited(FLOATING, (ground.BOND_SIZE,)).findings if f.rule == "ground.bond-size"
    ]


def test_a_bond_on_the_positive_is_told_to_move_and_never_to_be_joined_by_a_second() -> None:
    (finding,) = violated(ground.BOND_MISSING, {"runs.R5.conductors[1].to": "CB1.pv+"})
    assert finding.fix == "Move GB1 to the net of PV1.-, so that the positive has no bond left."


def test_a_switch_in_a_stray_joint_is_not_taken_for_the_joint() -> None:
    # The motor's negative goes to its case beyond the isolator: the wire is to go, not DS1.
    edit = {
        **FLOATING,
        "disconnects.DS1.part": "isolator-r-2p",
        "runs.R2.conductors[3]": {"from": "CB1.motor-", "to": "DS1.3", "color": "black"},
        "runs.R3.conductors[1]": {"from": "DS1.4", "to": "P1.case", "color": "black"},
    }
    (finding,) = violated(ground.SECOND_BOND, edit)

    assert finding.subject == "R3.2"
    assert finding.fix == "Remove the bond R3.2."  # the job says floating already
