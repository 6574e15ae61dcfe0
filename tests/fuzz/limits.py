"""What one input may cost: seconds of computing, seconds in all, and bytes."""

from __future__ import annotations

import contextlib
import re
import resource
import signal
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

MOST_SECONDS = 10.0
"""Of computing; what others do on the same machine does not count."""
MOST_WAITED_SECONDS = 90.0
MOST_BYTES = 1 << 30
AT_REST_BYTES = 300 << 20
"""In use by a process that has loaded the libraries and read nothing."""
_BACKSTOP_BYTES = 5 << 29
"""Address space is larger than memory in use; beyond this the machine itself is protected."""

_PEAK = re.compile(r"^VmHWM:\s+(\d+) kB", re.MULTILINE)


class TooSlow(BaseException):
    """An input took longer than it may; not an `Exception`, so that nothing swallows it."""


@contextlib.contextmanager
def limited_time() -> Iterator[None]:
    """Stop what is done inside when it takes too long."""

    def stop(number: int, frame: FrameType | None) -> None:
        what = "of computing" if number == signal.SIGPROF else "in all"
        most = MOST_SECONDS if number == signal.SIGPROF else MOST_WAITED_SECONDS
        raise TooSlow(f"more than {most:g} s {what}")

    signal.signal(signal.SIGPROF, stop)
    signal.signal(signal.SIGALRM, stop)
    # Again every second: some libraries lose an exception that is raised within their callbacks.
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS, 1.0)
    signal.setitimer(signal.ITIMER_REAL, MOST_WAITED_SECONDS, 1.0)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)


def limit_memory() -> None:
    """Hold this process within so much address space that a flood fails rather than the machine."""
    resource.setrlimit(resource.RLIMIT_AS, (_BACKSTOP_BYTES, _BACKSTOP_BYTES))


def forget_peak() -> int:
    """Begin to measure the peak of memory anew (Linux, proc(5): 5 to clear_refs).

    Returns
    -------
    int
        Bytes that a process which has done other things before holds beyond one that has not.
    """
    Path("/proc/self/clear_refs").write_text("5")
    return max(0, peak_bytes() - AT_REST_BYTES)


def peak_bytes() -> int:
    """Return the largest memory this process had in use since `forget_peak`."""
    match = _PEAK.search(Path("/proc/self/status").read_text())
    return int(match[1]) * 1024 if match else 0
