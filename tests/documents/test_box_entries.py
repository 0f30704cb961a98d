"""Where runs come into boxes and cases: by hand for the examples, from the spec itself for random jobs."""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest
import tomli_w

from specc.documents.box_entries import entries, has_fittings, raceway_ends
from specc.documents.parts_list import parts_list
from specc.pipeline import compile_spec
from specc.system.system import System
from tests.jobs import EXAMPLES, many, solved
from tests.reference import read_edited
from tests.seeder.systems import build

SEEDS = range(40)

# Read off the specs by hand: run, box or case, and what it comes in by (raceway, gland, gland of a run).
BY_HAND = {
    "reference-job": """
        R1 BOX1 C1, R3 BOX1 C2, R3 P1 C2, R4 BOX1 gland, R6 BOX1 gland
    """,
    "cedar-fold-orchard": """
        R0 BOX2 gland, R1 BOX2 C1, R1 BOX1 C1, R3 BOX1 C2, R3 P1 C2, R5 BOX1 C3, R6 BOX1 C3, R7 BOX1 gland,
        R9 BOX1 gland
    """,
    "hazel-hollow-spring": """
        R0 BOX1 gland, R1 BOX1 C2, R2 BOX1 C1, R2 BOX2 C1, R2 BOX2 R4, R2 P1 R4, R3 BOX2 C3, R3 BOX2 R4,
        R3 P1 R4, R4 BOX2 gland, R4 P1 gland, R6 BOX1 gland
    """,
    # R1 and R7 lie in ducts, which end short of the boxes. DS3 and CC1 have cases of their own.
    "saltbush-paddock": """
        R0 BOX2 gland, R1 BOX2 gland, R1 CC1 gland, R1 BOX1 gland, R3 BOX1 gland, R3 CC1 gland, R6 BOX1 C3,
        R7 BOX1 gland, R7 DS3 gland, R8 DS3 C4, R8 DS3 R9, R8 P1 R9, R9 DS3 gland, R9 P1 gland, R10 BOX1 gland
    """,
}


@cache
def seeded(seed: int) -> System:
    system = compile_spec(tomli_w.dumps(build(seed)).encode(), "job.toml", lambda _: b"").system
    assert system is not None
    return system


def job(name: str) -> System:
    return read_edited({}) if name == "reference-job" else solved(name)


def told(system: System) -> Counter[str]:
    found = []
    for entry in entries(system):
        by = entry.raceway.tag if entry.raceway is not None else None
        if by is None:
            assert entry.gland_of is not None
            by = "gland" if entry.gland_of is entry.run else entry.gland_of.tag
        found.append(f"{entry.run.tag} {entry.into.tag} {by}")
    return Counter(found)


@pytest.mark.parametrize("name", BY_HAND)
def test_every_entry_of_an_example_is_as_read_off_by_hand(name: str) -> None:
    assert told(job(name)) == Counter(each.strip() for each in BY_HAND[name].split(","))


def entered(system: System) -> set[tuple[str, str]]:
    """Runs and the boxes or cases that they come into, from the spec as it is written."""
    boxes = {tag: box.tag for box in system.of_kind("enclosure") for tag in (*box.spec.holds, box.tag)}
    found = set()
    for run in system.connected.runs.values():
        if run.spec.laid == "in enclosure":
            continue
        tags = {end.split(".")[0] for c in run.spec.conductors for end in (c.start, c.end)}
        places = {boxes.get(tag, tag) for tag in tags}
        if len(places) < 2:
            continue
        for place in places:
            device = system.devices[place]
            own_case = device.part is not None and (
                device.kind in ("enclosure", "controller", "pump")
                or (device.kind in ("isolator", "breaker") and (device.part.case_type or device.part.case_ip))
            )
            if own_case and not getattr(device.part, "submersible", False):
                found.add((run.tag, place))
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_a_run_of_a_random_job_comes_into_every_box_in_one_way_or_another(seed: int) -> None:
    _holds(seeded(seed))


@pytest.mark.parametrize("name", [*EXAMPLES, "reference-job"])
def test_a_run_of_an_example_comes_into_every_box_in_one_way_or_another(name: str) -> None:
    _holds(job(name))


def test_so_do_those_of_a_large_job() -> None:
    _holds(many(5))


def _holds(system: System) -> None:
    made = entries(system)
    lacking = entered(system) - {(e.run.tag, e.into.tag) for e in made}
    assert lacking == set()
    assert all((e.raceway is None) != (e.gland_of is None) for e in made)
    ends = raceway_ends(system)
    for raceway in system.of_kind("raceways"):
        assert sum(end.raceway is raceway for end in ends) >= 2
    # Whoever shares a gland shares one that is there, at that very box.
    own = {(e.run.tag, e.into.tag) for e in made if e.gland_of is e.run}
    assert all((e.gland_of.tag, e.into.tag) in own for e in made if e.gland_of is not None)
    _bought(system, len(own))


def _bought(system: System, own_glands: int) -> None:
    """As many glands and connectors are on the list as there are entries without and ends with a fitting."""
    sundries = {p.id: p for p in system.description.catalog.parts("sundry")}
    rows = parts_list(system).rows
    glands = connectors = 0.0
    for row in rows:
        part = sundries.get(str(row["part"]))
        if part is not None and part.type == "gland":  # type: ignore[attr-defined]
            if part.suits:  # type: ignore[attr-defined]
                connectors += float(str(row["needed"]))
            else:
                glands += float(str(row["needed"]))
        elif row["part"] is None and str(row["what"]).startswith("cable gland"):
            glands += float(str(row["needed"]))
    boxes_of_cords = sum(float(str(row["needed"])) for row in rows if row["part"] == "joint-box-ip66")
    assert glands == own_glands + boxes_of_cords
    assert connectors == sum(has_fittings(system, end.raceway) for end in raceway_ends(system))
