"""Edges of the rules on drinking water."""

from __future__ import annotations

from typing import Any

import pytest

from specc.diagnostics import Finding, Verdict
from specc.rules.potable import AIR_GAP, MATERIAL
from tests.rules.answers import found, missing
from tests.rules.by_subject import fired, held, not_checked

LISTED: dict[str, Any] = dict(MATERIAL.keeps_still[1].edit)


@pytest.mark.parametrize(
    ("part", "subject"),
    [
        ("pump-r", "P1"),
        ("filter-r", "FL1"),
        ("check-r", "CV1"),
        ("float-r", "LS2"),
        ("pipe-r", "D3"),
        ("priming-tee-r", "PR1"),
    ],
)
def test_each_wetted_part_must_be_listed(part: str, subject: str) -> None:
    assert subject in fired(MATERIAL, {**LISTED, f"part:{part}.drinking_water": False})


def test_a_switch_that_feels_heat_touches_no_water() -> None:
    assert "TS1" not in held(MATERIAL, LISTED)
    assert "TS1" not in fired(MATERIAL, LISTED)


def test_a_tank_without_a_part_is_a_gap() -> None:
    edit = {**LISTED, "tank.TK1.part": None}

    assert missing(MATERIAL, edit) == ["part"]
    assert "TK1" not in held(MATERIAL, edit)


@pytest.mark.parametrize("use", ["irrigation", "stock"])
def test_other_water_is_not_looked_at(use: str) -> None:
    assert not fired(MATERIAL, {"job.use": use})
    assert not not_checked(MATERIAL, {"job.use": use})


def test_a_job_that_does_not_say_what_its_water_is_for_misses_a_datum() -> None:
    assert missing(MATERIAL, {"job.use": None}) == ["use"]
    assert not held(MATERIAL, {"job.use": None})


def test_where_every_part_is_listed_it_does_not_matter() -> None:
    unsaid = {**LISTED, "job.use": None}

    assert not missing(MATERIAL, unsaid)
    assert {"P1", "TK1", "D3"} <= set(held(MATERIAL, unsaid))
    assert missing(MATERIAL, {**unsaid, "part:check-r.drinking_water": False}) == ["use"]


def test_fittings_are_those_of_the_catalogue() -> None:
    odd = {**LISTED, "part:pipe-r.size": "160 mm"}  # a size in which the catalogue has no foot valve

    assert "foot valve of S1" in {f.message.split(" for ")[-1].rstrip(".") for f in _open(odd)}
    assert not _open(LISTED)


def _open(edit: dict[str, Any]) -> list[Finding]:
    return found(MATERIAL, edit, Verdict.NOT_CHECKED)


@pytest.mark.parametrize(("overflow", "fires"), [("21.949 m", False), ("21.95 m", False), ("21.951 m", True)])
def test_air_gap_just_over_at_and_under(overflow: str, fires: bool) -> None:
    # 2 x 25 mm below 22.0 m
    assert bool(fired(AIR_GAP, {"tank.TK1.overflow": overflow})) is fires


def test_a_thin_pipe_still_wants_25_millimetres() -> None:
    thin = {"part:pipe-r.bore": "10 mm"}

    assert not fired(AIR_GAP, {**thin, "tank.TK1.overflow": "21.975 m"})
    assert fired(AIR_GAP, {**thin, "tank.TK1.overflow": "21.976 m"})


def test_an_inlet_below_the_overflow_is_drowned() -> None:
    assert "-100 mm" in fired(AIR_GAP, {"tank.TK1.overflow": "22.1 m"})["TK1"].message


def test_an_overflow_without_a_level_is_a_gap_and_none_is_not_checked() -> None:
    assert missing(AIR_GAP, {"tank.TK1.overflow": None}) == ["overflow"]
    none = {"tank.TK1.overflow": None, "tank.TK1.overflow_size": None}
    assert not missing(AIR_GAP, none)
    assert "TK1" in not_checked(AIR_GAP, none)
