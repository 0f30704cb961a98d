"""CPU time, taken so that a busy machine hurts little: many repeats, interleaved, the least of each."""

from __future__ import annotations

import gc
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


def least_s(*works: Callable[[], object], repeats: int) -> list[float]:
    """The least CPU seconds of each piece of work, the pieces taken in turn."""
    best = [float("inf")] * len(works)
    for _ in range(repeats):
        for number, work in enumerate(works):
            gc.collect()
            start = time.process_time()
            work()
            best[number] = min(best[number], time.process_time() - start)
    return best


def process_s(arguments: Sequence[str], codes: tuple[int, ...] = (0,)) -> float:
    """CPU seconds, user and system, of one Python process from start to end.

    Byte code is kept, as it is of an installed package. Raises ``RuntimeError`` for another exit code.
    """
    outside = {k: v for k, v in os.environ.items() if k not in ("PYTHONDONTWRITEBYTECODE", "PYTHONPATH")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([sys.executable, *arguments], cwd=ROOT, env=outside, capture_output=True, text=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in codes:
        raise RuntimeError(f"{arguments} ended with {done.returncode}: {done.stderr[-500:]}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def reference_loop() -> int:
    """A fixed piece of plain Python, to tell a slow machine from a slow compiler."""
    table: dict[str, int] = {}
    for number in range(40_000):
        key = f"{number % 1000}"
        table[key] = table.get(key, 0) + number % 7
    return sum(table.values())
