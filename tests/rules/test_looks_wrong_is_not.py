"""What looks wrong and is right: no rule may object to it, in whole jobs under every rule.

Sources: NEC 2023 and IEC clauses as named beside each; from memory, unverified, where not in the tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from specc.diagnostics import Finding, Verdict
from specc.rules._edits import PV_DIRECT
from specc.rules._variants import FLOATING, METRIC
from tests.reference import check_edited

# The array drives the motor with no fuse anywhere: the positive goes straight from the breaker to the switch.
_NO_FUSE = {
    **PV_DIRECT,
    "fuses.F1": None,
    "enclosures.BOX1.holds": ["Q1", "DS1", "GB1", "TB1"],
    "runs.R2.conductors": [{"from": "Q1.2", "to": "DS1.1", "color": "red"}],
}
# The grounding conductor of the array in a run of its own, outside of the raceway.
_EGC_OUTSIDE = {
    "runs.R1.conductors": [
        {"from": "PV1.+", "to": "Q1.1", "color": "red"},
        {"from": "PV1.-", "to": "CB1.pv-", "color": "white"},
    ],
    "runs.R9": {
        "wire": "thwn2-r",
        "size": "6 AWG",
        "length": "10 m",
        "laid": "direct buried",
        "buried": "600 mm",
        "conductors": [{"from": "PV1.frame", "to": "BOX1.ground", "color": "green"}],
    },
    "part:thwn2-r.direct_burial": True,
}
# A spare way of a block and a spare conductor, both said to be spare.
_SPARE = {
    "terminal_blocks.TB9": {"part": "block-r", "spare": ["1", "2", "3", "4"]},
    "enclosures.BOX1.holds": ["Q1", "CB1", "F1", "DS1", "GB1", "TB9"],
}


def _objections(edit: Mapping[str, Any], *rules: str) -> list[str]:
    """What rules whose ids start so find wrong or cannot decide, that they do not in the reference job."""

    def against(findings: tuple[Finding, ...]) -> set[tuple[str, str]]:
        return {
            (f.rule, f.subject)
            for f in findings
            if f.verdict is not Verdict.SATISFIED and f.severity.value != "advice"
            if f.rule.startswith(rules)
        }

    before = against(check_edited({}).findings)
    found = check_edited(edit).findings
    new = against(found) - before
    return [f"{f.rule}: {f.message}" for f in found if (f.rule, f.subject) in new]


@pytest.mark.parametrize(
    ("edit", "rules"),
    [
        pytest.param(
            # 690.9(A), IEC 62548-1: the conductors carry all that the sources give.
            {**_NO_FUSE, "panels.PV1.parallel": 1},
            ("fuse.", "wiring."),
            id="no fuse on one string straight on the motor",
        ),
        pytest.param(_NO_FUSE, ("fuse.", "wiring."), id="no fuse on two strings straight on the motor"),
        pytest.param(
            # 250.134, exception for DC circuits.
            _EGC_OUTSIDE,
            ("ground.", "raceway.", "outdoor."),
            id="grounding conductor outside of the raceway",
        ),
        pytest.param(
            # 690.45: no upsizing with conductors enlarged for drop.
            {
                "runs.R1.size": "8 AWG",
                "part:breaker-r.wire.largest": "8 AWG",
                "part:booster-r.wire.largest": "8 AWG",
            },
            ("ground.", "terminal."),
            id="grounding conductor of the table beside enlarged array conductors",
        ),
        pytest.param(
            # 690.13, 690.15: the solidly grounded conductor stays closed on purpose.
            {},
            ("disconnect.", "fuse."),
            id="one pole where the negative is solidly grounded",
        ),
        pytest.param(
            # 240.4(G) with 430.52: 150 % of 12 A is 18 A, next size up 20 A; 14 AWG carries 15 A.
            {
                "part:pump-r.rated_current": "12 A",
                "part:fuse-r.rating": "20 A",
                "runs.R3.size": "14 AWG",
                "runs.R3.conductors[2].size": "12 AWG",
            },
            ("fuse.", "ampacity."),
            id="motor fuse above the ampacity of its conductor and within 150 %",
        ),
        pytest.param(
            # It trades volts for amperes: 12 A out of one string of 6 A.
            {"panels.PV1.parallel": 1},
            ("booster.", "ampacity.", "fuse."),
            id="booster output above the short-circuit current of the array",
        ),
        pytest.param(
            # IEC 60445:2017 6.2.5: the negative is white.
            {
                **FLOATING,
                **METRIC,
                "runs.R1.conductors[1].color": "white",
                "runs.R3.conductors[1].color": "white",
                "runs.R4.conductors[1].color": "grey",
                "runs.R1.conductors[2].color": "green-yellow",
                "runs.R3.conductors[2].color": "green-yellow",
                "runs.R5.conductors[0].color": "green-yellow",
                "runs.R6.conductors[0].color": "green-yellow",
            },
            ("ground.colour",),
            id="white negative of a floating job by IEC",
        ),
        pytest.param(
            # 200.6, 690.31(B): red and black for ungrounded conductors.
            FLOATING,
            ("ground.colour",),
            id="red and black in a floating job in the US",
        ),
        pytest.param(
            # Its shut-off head bounds the pressure: 30 m, 294 kPa, in PN 6 pipe.
            {
                "part:pump-r.type": "centrifugal",
                "part:pump-r.shut_off_head": "32 m",
                "valves.RV1": None,
                "pipes.D2": None,
                "pipes.D1.to": "CV1.in",
            },
            ("delivery.",),
            id="no relief valve on a centrifugal pump",
        ),
        pytest.param(
            # Open-circuit volts: the nominal voltage is a class, not a reading.
            {},
            ("voltage.",),
            id="49 V measured on a 24 V array",
        ),
        pytest.param(
            # 250.122(B): what heat and grouping ask for is no upsizing: four loaded in one raceway at 60 °C.
            {
                "runs.R1.raceway": "C2",
                "runs.R3.size": "12 AWG",
                "runs.R3.hottest": "60 degC",
                "runs.R3.conductors[2].size": "14 AWG",
            },
            ("ground.egc",),
            id="conductors enlarged because of heat with a grounding conductor of the table",
        ),
        pytest.param(_SPARE, ("spec.", "wiring."), id="spare terminals said to be spare"),
    ],
)
def test_what_is_right_brings_no_objection(edit: Mapping[str, Any], rules: tuple[str, ...]) -> None:
    assert _objections(edit, *rules) == []


@pytest.mark.parametrize(
    ("edit", "rule"),
    [
        # The same jobs, one step too far: the silence above is not for want of looking.
        ({**_NO_FUSE, "panels.PV1.parallel": 4}, "fuse.string-needed"),
        ({"part:pump-r.rated_current": "8 A", "part:fuse-r.rating": "20 A"}, "fuse.motor-branch"),
        ({**FLOATING, "runs.R1.conductors[1].color": "white"}, "ground.colour-role"),
        ({"terminal_blocks.TB9": {"part": "block-r"}}, "spec.unused-part"),
        ({**FLOATING}, "disconnect.poles"),
    ],
)
def test_one_step_further_is_wrong(edit: Mapping[str, Any], rule: str) -> None:
    found = check_edited(edit).findings

    assert any(f.rule == rule and f.verdict is Verdict.VIOLATED for f in found)
