"""The example jobs, read and solved once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from specc.pipeline import Compiled, compile_spec
from specc.system.system import System
from tests.bench.copies import copies

FOLDER = Path(__file__).parent.parent / "examples"
EXAMPLES = ("cedar-fold-orchard", "hazel-hollow-spring", "saltbush-paddock")


@cache
def compiled(name: str) -> Compiled:
    """An example by the name of its file, checked."""
    path = FOLDER / f"{name}.toml"
    return compile_spec(
        path.read_bytes(), path.name, lambda other: (FOLDER / other).read_bytes(), strict=True
    )


def solved(name: str) -> System:
    """The system of an example."""
    system = compiled(name).system
    assert system is not None
    return system


@cache
def many(count: int) -> System:
    """Cedar Fold many times over in one job, each in places of its own."""
    data = copies(FOLDER / "cedar-fold-orchard.toml", count, in_places_of_their_own=True)
    system = compile_spec(data, "many.toml", lambda other: (FOLDER / other).read_bytes()).system
    assert system is not None
    return system
