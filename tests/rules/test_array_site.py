"""Edges of the rule on arrays at buildings. Figures: the worked reference job (own arithmetic)."""

from __future__ import annotations

import pytest

from specc.diagnostics import Verdict
from specc.rules.array_site import ON_BUILDING
from tests.rules.answers import found, missing
from tests.rules.by_subject import fired, held, not_checked

ROOF = {"panels.PV1.mounted": "building", "panels.PV1.rapid_shutdown": True, "site.coldest_air": "25 degC"}


@pytest.mark.parametrize(("voc", "fires"), [("39.9 V", False), ("40 V", True), ("40.1 V", True)])
def test_arc_fault_protection_from_80_volts(voc: str, fires: bool) -> None:
    # NEC 2023 690.11, 80 V or more, from memory, unverified
    assert bool(fired(ON_BUILDING, {**ROOF, "part:panel-r.voc": voc})) is fires


def test_fitted_protection_answers_both() -> None:
    edit = {**ROOF, "panels.PV1.series": 4, "panels.PV1.arc_fault_protection": True}

    assert not fired(ON_BUILDING, edit)
    assert len(found(ON_BUILDING, edit, Verdict.SATISFIED)) == 2


def test_unknown_mounting_at_an_unknown_place_is_missing() -> None:
    edit = {"panels.PV1.mounted": None, "panels.PV1.location": None}

    assert missing(ON_BUILDING, edit)
    assert not held(ON_BUILDING, edit)


def test_place_that_the_spec_describes_tells_the_mounting() -> None:
    assert not fired(ON_BUILDING, {"panels.PV1.mounted": None})
    assert fired(ON_BUILDING, {"panels.PV1.mounted": None, "locations.array.on_building": True})


def test_missing_cold_does_not_hide_rapid_shutdown() -> None:
    edit = {"panels.PV1.mounted": "building", "site.coldest_air": None}

    assert "rapid shutdown" in fired(ON_BUILDING, edit)["PV1"].message
    assert not_checked(ON_BUILDING, edit)


def test_raceway_on_a_roof_brings_a_ground_array_onto_the_building() -> None:
    assert (
        "R1" in fired(ON_BUILDING, {"raceways.C1.buried": None, "raceways.C1.on_roof": True})["PV1"].message
    )
