"""Commands that change one archive at once, killed at random moments."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from trackkit.archive.columns import RECORDINGS, TABLES
from trackkit.archive.store import opened, rows_of


def killed_adds(
    folder: Path, at: Path, kills: int, writers: int, longest_s: float, seed: int
) -> int:
    """Add the same folder by several commands, and kill them all; see `killed_commands`."""
    words = ["add", str(folder), "--at", str(at)]
    return killed_commands(words, folder, kills, writers, longest_s, seed)


def killed_commands(
    words: Sequence[str],
    folder: Path,
    kills: int,
    writers: int,
    longest_s: float,
    seed: int,
    before: Callable[[int], None] = lambda _: None,
) -> int:
    """Start writers, kill them all at a random moment, and again, so many times.

    Parameters
    ----------
    words
        Of a command of ``trackkit archive``.
    folder
        Where it is run.
    before
        Done before each start, with its number.

    Returns
    -------
    int
        How many times a writer was killed while it worked, none having come to its end.
    """
    moments = random.Random(seed)
    at_work = 0
    for number in range(kills):
        before(number)
        processes = [_run(words, folder) for _ in range(writers)]
        time.sleep(moments.uniform(0.2, longest_s))
        for process in processes:
            at_work += process.poll() is None
            process.send_signal(signal.SIGKILL)
        for process in processes:
            process.wait()
    return at_work


def added(folder: Path, at: Path) -> int:
    """Add to the end; the status of the command."""
    return finished(["add", str(folder), "--at", str(at)], folder)


def finished(words: Sequence[str], folder: Path) -> int:
    """Run a command of ``trackkit archive`` to its end; its status."""
    return _run(words, folder).wait()


def _run(words: Sequence[str], folder: Path) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "trackkit", "archive", *words, "--workers", "1"],
        # Not in a checkout, whose trackkit and samples would be run in place of these.
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def every_row(at: Path) -> dict[str, list[tuple]]:
    """Rows of each table, in order, without when they were written; each table opens."""
    rows = {}
    for table in TABLES:
        if opened(str(at), table) is None:
            continue
        names = [name for name in table.names if name != "added"]
        listed = rows_of(str(at), table, names).to_pylist()
        rows[table.name] = sorted((tuple(row.values()) for row in listed), key=repr)
    return rows


def twice(at: Path) -> list[str]:
    """Recordings that have two rows."""
    count = Counter(
        row["recording"] for row in rows_of(str(at), RECORDINGS, ("recording",)).to_pylist()
    )
    return [recording for recording, rows in count.items() if rows > 1]
