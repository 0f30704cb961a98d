"""Two whole installations in one job: sound apart, until something of the one lands on the other."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import pytest
import tomli_w

from specc.diagnostics import Finding, Severity, Verdict
from specc.pipeline import compile_spec
from tests.bench.copies import copies
from tests.jobs import EXAMPLES, FOLDER

Job = dict[str, Any]


def found(job: Job) -> list[Finding]:
    made = compile_spec(tomli_w.dumps(job).encode(), "two.toml", lambda name: (FOLDER / name).read_bytes())
    return [f for f in made.findings if f.verdict is Verdict.VIOLATED and not f.accepted]


def two(name: str = "cedar-fold-orchard") -> Job:
    return tomllib.loads(copies(FOLDER / f"{name}.toml", 2, in_places_of_their_own=True).decode())


def run(job: Job, tag: str) -> list[dict[str, str]]:
    (conductors,) = (run["conductors"] for run in job["runs"] if run["tag"] == tag)
    assert isinstance(conductors, list)
    return conductors


@pytest.mark.parametrize("name", EXAMPLES)
def test_two_sound_installations_apart_are_not_nagged(name: str) -> None:
    assert [f.message for f in found(two(name)) if f.severity is not Severity.ADVICE] == []


def _without_the_second_rod(job: Job) -> None:
    job["grounding"] = [part for part in job["grounding"] if part["tag"] != "GR1-2"]
    job["runs"] = [run for run in job["runs"] if run["tag"] != "R9-2"]


def _both_arrays_in_one_place(job: Job) -> None:
    for item in (*job["panels"], *job["enclosures"]):
        if item.get("location") == "array-2":
            item["location"] = "array-1"


def _bonded_to_the_other(job: Job) -> None:
    run(job, "R3-2")[2]["to"] = "BOX1-1.ground"


def _unbonded(job: Job) -> None:
    del run(job, "R3-2")[2]


@pytest.mark.parametrize(
    ("edit", "subject"),
    [
        (_without_the_second_rod, "grounding of CB1-2"),
        (_both_arrays_in_one_place, "PV1-2"),  # what can be touched at once is on one net
        (_bonded_to_the_other, "PV1-2"),
        (_unbonded, "P1-2"),
    ],
)
def test_each_installation_has_one_grounding_net_with_an_electrode(
    edit: Callable[[Job], None], subject: str
) -> None:
    job = two()
    edit(job)
    assert subject in {f.subject for f in found(job) if f.rule == "ground.egc-missing"}


@pytest.mark.parametrize(
    ("run_tag", "switch"), [("R7", "LS1"), ("R6", "LS2"), ("R5", "TS1")], ids=["tank", "well", "thermal"]
)
def test_two_switch_cables_changed_over_are_found(run_tag: str, switch: str) -> None:
    job = two()
    for here, there in ((1, 2), (2, 1)):
        out, back = run(job, f"{run_tag}-{here}")
        out["to"], back["from"] = f"{switch}-{there}.1", f"{switch}-{there}.2"
    wrong = {f.subject: f for f in found(job) if f.rule == "control.wrong-pump"}
    assert set(wrong) == {f"{switch}-1", f"{switch}-2"}
    assert wrong[f"{switch}-1"].severity is Severity.DANGER
    assert "it stops P1-2, not P1-1" in wrong[f"{switch}-1"].message


@pytest.mark.parametrize(
    ("name", "run_tag", "ends", "subject"),
    [
        ("cedar-fold-orchard", "R3", ("P1-1.+", "P1-2.+"), "P1"),
        ("cedar-fold-orchard", "R1", ("DS2-1.1", "DS2-2.1"), "CB1"),
        ("saltbush-paddock", "R7", ("DS3-1.1", "DS3-2.1"), "P1"),
    ],
)
def test_leads_of_two_supplies_changed_over_are_found(
    name: str, run_tag: str, ends: tuple[str, str], subject: str
) -> None:
    job = two(name)
    run(job, f"{run_tag}-1")[0]["to"], run(job, f"{run_tag}-2")[0]["to"] = reversed(ends)
    crossed = {f.subject: f for f in found(job) if "lie on two supplies" in f.message}
    assert set(crossed) == {f"{subject}-1", f"{subject}-2"}
    assert {f.severity for f in crossed.values()} == {Severity.DANGER}
