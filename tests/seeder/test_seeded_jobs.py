"""A sound job is never nagged, and no fault passes: over hundreds of random jobs.

``python -m tests.seeder`` prints the rates over more of them.
"""

from __future__ import annotations

from collections import Counter

import pytest

from tests.seeder.faults import FAULTS, Fault
from tests.seeder.rates import compiled, false_alarms, missed
from tests.seeder.systems import JOINTS, build

SEEDS = 240
CHUNK = 20
EACH = 10  # jobs in which each kind of fault is tried


@pytest.mark.parametrize("first", range(0, SEEDS, CHUNK))
def test_a_sound_job_brings_no_false_alarm(first: int) -> None:
    tally = false_alarms(range(first, first + CHUNK))

    print(f"seeds {first} to {first + CHUNK - 1}: false alarms {tally}")
    assert tally.tried == CHUNK
    assert not tally.wrong, "\n".join(tally.wrong)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name.replace(" ", "-"))
def test_a_fault_is_found_in_every_job_that_has_a_place_for_it(fault: Fault) -> None:
    tally = missed(fault, EACH, SEEDS)

    print(f"{fault.name}: missed {tally}")
    assert tally.tried == EACH, f"only {tally.tried} jobs have a place for it"
    assert not tally.wrong, "\n".join(tally.wrong)


def test_there_are_many_kinds_of_fault_and_each_is_its_own() -> None:
    assert len(FAULTS) >= 40
    assert len({fault.name for fault in FAULTS}) == len({fault.make for fault in FAULTS}) == len(FAULTS)


def test_a_seed_always_gives_the_same_job() -> None:
    assert all(build(seed) == build(seed) for seed in range(5))


def test_the_jobs_differ_in_all_that_matters() -> None:
    kinds: Counter[str] = Counter()
    for seed in range(SEEDS):
        job = build(seed)
        kinds[job["job"]["rulebook"]] += 1
        kinds[job["job"]["earthing"]] += 1
        kinds[job["job"]["title"].rsplit(" ", 1)[1]] += 1
        kinds[f"{len(job['pumps'])} pumps"] += 1
        kinds[f"{sum(p['parallel'] for p in job['panels'])} strings"] += 1
        kinds["string fuses"] += any(f["tag"].startswith("SF") for f in job.get("fuses", []))
        parts = {row["part"] for table in ("fuses", "grounding") for row in job.get(table, [])}
        kinds.update(parts & set(JOINTS))
        kinds["device inside"] += any("ground-fault" in c["part"] for c in job.get("controllers", []))
        kinds["remote loop"] += any(r["tag"] == "R20" for r in job["runs"])
        kinds["own load terminals"] += "batteries" in job and not any(
            c["tag"].startswith("LV") for c in job["controllers"]
        )
    strings = [f"{number} strings" for number in (1, 2, 3, 4)]
    wanted = ["us-2023", "iec", "floating", "negative grounded", "functionally grounded", *strings]
    wanted += ["booster", "battery", "direct", "device inside", *JOINTS]
    wanted += ["1 pumps", "2 pumps", "string fuses", "remote loop", "own load terminals"]

    assert all(kinds[kind] >= 5 for kind in wanted), kinds


def test_the_check_looks_at_much_of_a_sound_job() -> None:
    assert all(len(compiled(build(seed)).findings) > 100 for seed in range(4))
