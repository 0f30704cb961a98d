"""How long and with how much memory a template of a firm may be filled in."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

SECONDS = 60.0  # of the processor; an example takes two or three
MORE_BYTES = 1 << 30  # beyond what the program has already


class OutOfBounds(Exception):
    """The work took too long."""


@contextmanager
def bounded(seconds: float | None = None, more_bytes: int | None = None) -> Iterator[None]:
    """Ends what is done within it when it takes too much, as far as the system has such limits.

    On Linux both hold. A system that cannot tell the memory in use limits the time alone; one without
    timers for a process, or a thread other than the first, neither.

    Raises:
        OutOfBounds: more than ``seconds`` (as SECONDS) of the processor.
        MemoryError: more than ``more_bytes`` (as MORE_BYTES) were asked for.
    """
    with _seconds(SECONDS if seconds is None else seconds), _bytes(more_bytes or MORE_BYTES):
        yield


@contextmanager
def _seconds(most: float) -> Iterator[None]:
    first = threading.current_thread() is threading.main_thread()
    if not first or not hasattr(signal, "setitimer"):
        yield
        return

    def stop(_number: int, frame: FrameType | None) -> None:
        # Some steps of a loop have no line, and who asks for the line of the failure would get none.
        if frame is not None and frame.f_lineno is None:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0.001)
            return
        raise OutOfBounds(f"it takes longer than {most:g} s")

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, most)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


@contextmanager
def _bytes(more: int) -> Iterator[None]:
    try:
        import resource  # not everywhere

        with open("/proc/self/statm", encoding="ascii") as file:
            used = int(file.read().split()[0]) * os.sysconf("SC_PAGE_SIZE")
        soft, hard = resource.getrlimit(resource.RLIMIT_AS)
        wanted = used + more
        bounds = [each for each in (soft, hard) if each != resource.RLIM_INFINITY]
        resource.setrlimit(resource.RLIMIT_AS, (min([wanted, *bounds]), hard))
    except (ImportError, OSError, ValueError):
        yield
        return
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))
