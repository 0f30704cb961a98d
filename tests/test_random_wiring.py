"""Whatever is wired to whatever: the compiler answers, and never breaks down."""

from __future__ import annotations

import copy
import random
import tomllib
from functools import cache
from typing import Any

import pytest
import tomli_w

from specc.diagnostics import Verdict
from specc.pipeline import Compiled, compile_spec, packet
from tests.reference import EXAMPLES

JOBS = ("reference-job", "cedar-fold-orchard", "hazel-hollow-spring", "saltbush-paddock")
# Keys without which a table means nothing, or whose absence is tested elsewhere.
KEPT = frozenset(
    (
        *("tag", "part", "name", "wire", "size", "length", "conductors", "from", "to", "elevation"),
        *("closes_on", "guards", "between", "distance", "kind", "rule", "on", "reason", "by"),
    )
)


@cache
def _job(name: str) -> dict[str, Any]:
    return tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8"))


def _terminals(job: dict[str, Any]) -> list[str]:
    return [c[end] for run in job["runs"] for c in run["conductors"] for end in ("from", "to")]


def _move(job: dict[str, Any], rng: random.Random) -> None:
    run = rng.choice([run for run in job["runs"] if run["conductors"]])
    rng.choice(run["conductors"])[rng.choice(("from", "to"))] = rng.choice(_terminals(job))


def _add(job: dict[str, Any], rng: random.Random) -> None:
    terminals = _terminals(job)
    colour = rng.choice(("red", "black", "white", "green", "blue"))
    conductor = {"from": rng.choice(terminals), "to": rng.choice(terminals), "color": colour}
    rng.choice(job["runs"])["conductors"].append(conductor)


def _drop(job: dict[str, Any], rng: random.Random) -> None:
    run = rng.choice([run for run in job["runs"] if run["conductors"]])
    run["conductors"].pop(rng.randrange(len(run["conductors"])))


def _forget(job: dict[str, Any], rng: random.Random) -> None:
    content = job[rng.choice(sorted(set(job) - {"job"}))]
    row = content if isinstance(content, dict) else rng.choice(content)
    keys = sorted(set(row) - KEPT)
    if keys:
        del row[rng.choice(keys)]


def _restring(job: dict[str, Any], rng: random.Random) -> None:
    rng.choice(job["panels"])[rng.choice(("series", "parallel"))] = rng.choice((1, 2, 3, 8))


def _turn_switch(job: dict[str, Any], rng: random.Random) -> None:
    switch = rng.choice(job["switches"])
    switch["closes_on"] = rng.choice(("rise", "fall"))
    switch["guards"] = rng.choice(("source low", "tank full", "pump hot", "pressure high"))


def _replumb(job: dict[str, Any], rng: random.Random) -> None:
    ends = ("from", "to")
    rng.choice(job["pipes"])[rng.choice(ends)] = rng.choice(job["pipes"])[rng.choice(ends)]


CHANGES = (_move, _move, _add, _drop, _forget, _forget, _restring, _turn_switch, _replumb)


def _compile_changed(seed: int, *, strict: bool) -> Compiled:
    rng = random.Random(seed)
    job = copy.deepcopy(_job(rng.choice(JOBS)))
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        rng.choice(CHANGES)(job, rng)
    return compile_spec(
        tomli_w.dumps(job).encode(), "job.toml", lambda name: (EXAMPLES / name).read_bytes(), strict=strict
    )


@pytest.mark.parametrize("block", range(6))
def test_any_wiring_gets_an_answer(block: int) -> None:
    for seed in range(block * 25, block * 25 + 25):
        compiled = _compile_changed(seed, strict=True)

        assert compiled.findings, f"seed {seed}"
        for finding in compiled.findings:
            assert finding.message, f"seed {seed}"
            if finding.verdict is Verdict.VIOLATED:
                assert finding.places, f"seed {seed}: {finding.rule}"
            assert "nan" not in f"{finding.message} {finding.actual} {finding.required}".split(), (
                f"seed {seed}"
            )


@pytest.mark.parametrize("block", range(3))
def test_any_wiring_that_connects_gets_its_draft_packet(block: int) -> None:
    made = 0
    for seed in range(block * 8, block * 8 + 8):
        compiled = _compile_changed(seed, strict=False)
        if compiled.system is not None:
            made += 1
            drafted = packet(compiled, draft=True)
            assert drafted.drawings and len(drafted.conductor_schedule.rows) >= len(
                compiled.system.description.all("runs")
            ), f"seed {seed}"

    assert made
