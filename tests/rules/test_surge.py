"""Edges of the rule on surge protection."""

from __future__ import annotations

from specc.diagnostics import Finding, Verdict
from specc.rules import surge
from tests.reference import check_edited


def violated(edit: dict[str, object]) -> list[Finding]:
    return [f for f in check_edited(edit, surge.RULES).findings if f.verdict is Verdict.VIOLATED]


def test_the_critical_length_falls_with_the_flashes() -> None:
    # 200 m / 8 = 25 m: IEC 60364-7-712, 712.443.5 (from memory, unverified). The box adds 0.3 m.
    assert not violated({"site.lightning_density": 8.0, "runs.R1.length": "24.7 m"})
    assert violated({"site.lightning_density": 8.0, "runs.R1.length": "24.8 m"})


def test_a_building_halves_the_length() -> None:
    # 115 m / 8 = 14.4 m, same source.
    edit: dict[str, object] = {"site.lightning_density": 8.0, "runs.R1.length": "20 m"}

    assert not violated(edit)
    assert violated({**edit, "panels.PV1.mounted": "building"})


def test_an_unknown_density_is_not_taken_for_none() -> None:
    checked = check_edited({"site.lightning_density": None}, surge.RULES)

    assert {f.rule for f in checked.findings if f.verdict is Verdict.VIOLATED} == {"spec.missing-data"}


def test_a_device_on_long_leads_or_without_earth_protects_nothing() -> None:
    lead: dict[str, object] = {
        "wire": "thwn2-r",
        "size": "10 AWG",
        "length": "0.6 m",
        "laid": "in enclosure",
        "conductors": [
            {"from": "SP1.+", "to": "CB1.pv+", "color": "red"},
            {"from": "SP1.ground", "to": "BOX1.ground", "color": "green"},
        ],
    }
    edit: dict[str, object] = {
        "site.lightning_density": 8.0,
        "runs.R1.length": "40 m",
        "grounding.SP1": {"part": "surge-r", "location": "pump house"},
        "runs.R9": lead,
    }

    (long,) = violated(edit)
    assert "leads longer than 0.5 m" in long.message
    lead["length"] = "0.5 m"
    assert not violated(edit)
    lead["conductors"] = [{"from": "SP1.+", "to": "CB1.pv+", "color": "red"}]
    (unearthed,) = violated(edit)
    assert "not earthed" in unearthed.message
