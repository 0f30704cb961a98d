"""Labels: which there are, and what they lack."""

from __future__ import annotations

from specc.diagnostics import Verdict
from specc.rules import label
from specc.rules._variants import BATTERY
from tests.reference import check_edited


def test_the_reference_job_has_its_labels() -> None:
    findings = check_edited({}, label.RULES).findings

    labels = {(f.subject, f.required) for f in findings if f.verdict is Verdict.SATISFIED}
    for subject, name in (
        ("Q1", "array disconnect"),
        ("F1", "fuse replacement"),
        ("CB1", "controller data"),
        ("DS1", "disconnect of P1"),
        ("P1", "pump data"),
        ("RV1", "relief valve"),
        ("TK1", "tank levels"),
        ("LS2", "well level"),
        ("job", "not for drinking"),
    ):
        assert (subject, f'label "{name}" with all its values') in labels


def test_a_battery_adds_its_label() -> None:
    findings = check_edited(BATTERY, label.RULES).findings

    assert 'label "battery disconnect" with all its values' in {
        f.required for f in findings if f.subject == "BT1"
    }


def test_a_battery_without_anything_to_part_it_lacks_its_disconnect() -> None:
    edit = {
        **BATTERY,
        "fuses.F0": None,
        "runs.R7.conductors[0].to": "CB1.battery+",
        "runs.R8.conductors[0]": None,
    }

    (finding,) = [f for f in check_edited(edit, label.RULES).findings if f.verdict is Verdict.VIOLATED]

    assert finding.subject == "BT1"
    assert "disconnect" in finding.message


def test_every_missing_value_of_a_label_is_named() -> None:
    edit = {"part:booster-r.wait_time": None, "part:booster-r.max_input_current": None}

    (finding,) = [f for f in check_edited(edit, label.RULES).findings if f.verdict is Verdict.VIOLATED]

    assert "wait_time" in finding.actual
    assert "max_input_current" in finding.actual
