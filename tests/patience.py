"""A guard against work that grows with the square of its input. To measure is the task of ``tests.bench``."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager

PATIENCE_S = 30.0
"""Forty times what the slowest guarded work takes; at the square of its size it would take minutes."""


@contextmanager
def ends_in_sensible_time() -> Iterator[None]:
    """Raises ``AssertionError`` where the work inside took more processor time than anyone would wait."""
    start = time.process_time()
    yield
    took = time.process_time() - start
    assert took < PATIENCE_S, f"{took:.0f} s"
