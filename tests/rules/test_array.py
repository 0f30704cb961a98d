"""Strings in parallel and modules in series."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Severity, Verdict
from specc.rules.array import UNLIKE_STRINGS
from tests.reference import check_edited
from tests.rules.answers import found, missing, subjects

SECOND_STRING: dict[str, Any] = {
    "panels.PV1.parallel": 1,
    "panels.PV2": {"part": "pv-mono-120w-72c", "series": 1, "location": "array"},
    "runs.R1.conductors[3]": {"from": "PV2.+", "to": "Q1.1", "color": "red"},
    "runs.R1.conductors[4]": {"from": "PV2.-", "to": "CB1.pv-", "color": "white"},
}

IN_SERIES: dict[str, Any] = {
    "panels.PV1.series": 1,
    "panels.PV2": {"part": "pv-mono-100w-36c", "series": 1, "parallel": 2, "location": "array"},
    "runs.R1.conductors[0].from": "PV2.+",
    "runs.R1.conductors[3]": {"from": "PV1.+", "to": "PV2.-", "color": "red"},
}


# PV2 has Voc 44 V; PV1 has 2 Voc. With x of the mean apart: 2 Voc = 44 (1 - x) / (1 + x).
@pytest.mark.parametrize(("voc", "fires"), [("19.95 V", False), ("19.85 V", True)])
def test_five_per_cent_of_the_mean(voc: str, fires: bool) -> None:
    edit = {**SECOND_STRING, "part:panel-r.voc": voc}

    assert bool(found(UNLIKE_STRINGS, edit)) is fires


def test_one_long_module_beside_two_short_ones_is_alike_when_its_volts_are() -> None:
    assert found(UNLIKE_STRINGS, SECOND_STRING) == []


def test_mean_counts_every_string() -> None:
    # Four strings of 44 V and one of 40 V: the mean is 43.2 V, and the odd one is 7.4 % from it.
    edit = {**SECOND_STRING, "panels.PV2.parallel": 4, "part:panel-r.voc": "20 V", "part:panel-r.vmp": "18 V"}

    (finding,) = found(UNLIKE_STRINGS, edit)

    assert finding.subject == "PV1"
    assert "43.2 V" in finding.actual


def test_arrays_on_controllers_of_their_own_are_not_compared() -> None:
    edit = {
        "panels.PV2": {"part": "panel-r", "series": 1, "location": "array"},
        "controllers.CB2": {"part": "booster-r", "location": "pump house"},
        "runs.R1.conductors[3]": {"from": "PV2.+", "to": "CB2.pv+", "color": "red"},
        "runs.R1.conductors[4]": {"from": "PV2.-", "to": "CB2.pv-", "color": "white"},
    }

    assert found(UNLIKE_STRINGS, edit) == []


@pytest.mark.parametrize(("isc", "fires"), [("6.00 A", False), ("6.60 A", False), ("6.70 A", True)])
def test_modules_in_series_within_five_per_cent(isc: str, fires: bool) -> None:
    edit = {**IN_SERIES, "part:panel-r.isc": isc}

    assert bool(found(UNLIKE_STRINGS, edit)) is fires


def test_missing_word_on_bypass_diodes_is_not_taken_for_yes() -> None:
    assert missing(UNLIKE_STRINGS, {"part:panel-r.bypass_diodes": None}) == ["bypass_diodes"]


def test_lone_module_needs_no_bypass_diodes() -> None:
    edit = {"panels.PV1.series": 1, "part:panel-r.bypass_diodes": False}

    assert found(UNLIKE_STRINGS, edit) == []


def test_missing_bypass_diodes_are_an_advice_and_the_strings_are_still_compared() -> None:
    edit = {**SECOND_STRING, "part:panel-r.bypass_diodes": False, "part:panel-r.voc": "30 V"}

    findings = found(UNLIKE_STRINGS, edit)

    assert {f.severity for f in findings} == {Severity.ADVICE, Severity.WARNING}
    assert subjects(findings) == {"PV1", "PV2"}


def test_figures_are_handed_on_for_the_calculation_sheet() -> None:
    checked = check_edited(SECOND_STRING, (UNLIKE_STRINGS,))

    assert {c.symbol for c in checked.calculations} == {"u"}
    assert all(f.verdict is Verdict.SATISFIED for f in checked.findings)
