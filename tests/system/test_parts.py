"""A part of an installation, walked alone, comes to what it comes to within the whole."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from specc.pipeline import compile_spec
from specc.system.states import circuits
from specc.system.system import System
from tests.bench.copies import copies
from tests.seeder.rates import compiled
from tests.seeder.systems import build

JOB = Path(__file__).parent.parent.parent / "examples" / "cedar-fold-orchard.toml"


def _system(seed: int) -> System:
    system = compiled(build(seed)).system
    assert system is not None
    return system


def _agrees(system: System, dice: random.Random) -> int:
    """Holds every part of a system in a random state against the whole; the number of parts."""
    closed = {pole.key: dice.random() < 0.5 for pole in system.connected.poles}
    whole = system.in_state(lambda pole: closed[pole.key])
    parts = {system.around((t,)) for t in system.connected.terminals}
    for part in parts:
        walked = system.in_state(lambda pole: closed[pole.key], part)
        live = [t for t in part.terminals if t in walked.net_of]
        for a in live:
            for b in live:
                assert (walked.net(a) == walked.net(b)) == (whole.net(a) == whole.net(b)), (a, b)
        for port in part.ports:
            assert circuits(walked)[port] == circuits(whole)[port]
            assert {s.tag for s in walked.feeds(port)} == {s.tag for s in whole.feeds(port)}
    assert {p for part in parts for p in part.ports} == set(system.connected.ports)
    assert {p for part in parts for p in part.poles} == set(system.connected.poles)
    return len(parts)


@pytest.mark.parametrize("seed", range(8))
def test_every_part_of_a_random_job_is_as_in_the_whole(seed: int) -> None:
    dice = random.Random(seed)
    system = _system(seed)

    for _ in range(3):
        assert _agrees(system, dice) >= 1


def test_copies_of_a_job_are_parts_of_their_own() -> None:
    one = compile_spec(copies(JOB, 1), "job.toml", lambda name: b"").system
    three = compile_spec(copies(JOB, 3), "job.toml", lambda name: b"").system
    assert one is not None
    assert three is not None

    assert _agrees(three, random.Random(1)) == 3 * _agrees(one, random.Random(1))
