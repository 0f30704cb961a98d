"""Edges of the rule on heat in enclosures. Figures: the worked reference job (own arithmetic)."""

from __future__ import annotations

from typing import Any

import pytest

from specc.rules.heat import ENCLOSURE
from tests.rules.answers import missing
from tests.rules.by_subject import fired, held, numbers

SMALL = {"part:box-r.surface": "0.3 m2"}
IN_SUN = {"locations.pump house.sunlit": True}
NOWHERE = {"enclosures.BOX1.location": None}


@pytest.mark.parametrize(("place", "degrees"), [({}, 47.7), (IN_SUN, 62.7)])
def test_inside_temperature_in_shade_and_sun(place: dict[str, Any], degrees: float) -> None:
    # 38 degC + 16 W / (5.5 x 0.3), + 15 K in the sun
    (worked,) = (
        c
        for word in ("in the shade", "in the sun")
        for c in numbers(ENCLOSURE, {**SMALL, **place}, f"temperature inside, {word}").values()
    )

    assert worked.value - 273.15 == pytest.approx(degrees, abs=0.05)


@pytest.mark.parametrize(("surface", "fires"), [("0.242 m2", True), ("0.243 m2", False)])
def test_surface_just_under_and_over(surface: str, fires: bool) -> None:
    # 16 W / (5.5 x 12 K) = 0.2424 m2
    assert bool(fired(ENCLOSURE, {"part:box-r.surface": surface})) is fires


def test_a_box_in_the_sun_is_told_to_be_shaded() -> None:
    assert fired(ENCLOSURE, {**SMALL, **IN_SUN})["BOX1"].fix.startswith("Shade it: that leaves 47.7")


def test_indoors_there_is_no_sun() -> None:
    assert not fired(ENCLOSURE, {**SMALL, **IN_SUN, "locations.pump house.outdoors": False})


def test_the_air_of_the_place_counts() -> None:
    assert fired(ENCLOSURE, {"locations.pump house.hottest_air": "49 degC"})
    assert not fired(ENCLOSURE, {"locations.pump house.hottest_air": "30 degC"})


@pytest.mark.parametrize(
    ("edit", "key"),
    [
        ({"part:box-r.surface": None}, "surface"),
        ({"part:booster-r.loss": None}, "loss"),
        ({"part:booster-r.hottest_ambient": None}, "hottest_ambient"),
        ({"site.hottest_air": None}, "hottest_air"),
    ],
)
def test_it_names_what_it_misses(edit: dict[str, Any], key: str) -> None:
    assert missing(ENCLOSURE, edit) == [key]
    assert not held(ENCLOSURE, edit)


def test_an_undescribed_place_matters_only_where_sun_decides() -> None:
    cool = {**NOWHERE, "site.hottest_air": "20 degC"}

    assert held(ENCLOSURE, cool)
    assert missing(ENCLOSURE, {**NOWHERE, **SMALL}) == ["location"]
    assert fired(ENCLOSURE, {**NOWHERE, "site.hottest_air": "55 degC"})


def test_the_weakest_inside_sets_the_limit() -> None:
    finding = fired(ENCLOSURE, {"part:breaker-r.hottest_ambient": "40 degC"})["BOX1"]

    assert "Q1 stands 40" in finding.message


def test_a_controller_in_the_open_is_judged_by_the_air() -> None:
    alone = {"enclosures.BOX1.holds": [], "controllers.CB1.location": "pump house"}

    assert set(held(ENCLOSURE, alone)) == {"CB1"}
    assert set(fired(ENCLOSURE, {**alone, "controllers.CB1.location": "array"})) == {"CB1"}
