"""The example jobs, read and solved once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from specc.pipeline import Compiled, compile_spec
from specc.system.system import System

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
