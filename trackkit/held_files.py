"""Files changed in place: one process at a time, and never over what somebody else wrote.

Processes of one user on one machine take turns by a lock in the user's cache folder.  Between
users and machines the digest protects: what a change was decided on is compared with what stands
there when it is written.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from trackkit.errors import OutputError, TrackFileError, reading_failed
from trackkit.files import sha256_of, write_whole

PATIENCE_S = 60.0
"""How long a process waits for its turn."""


class ChangedMeanwhileError(OutputError):
    """A file is not what a change to it was decided on."""


@dataclass
class HeldFile:
    """A file that no other trackkit of this user changes meanwhile.

    Parameters
    ----------
    path
        The file.
    digest
        SHA-256 of what it holds, in hexadecimal; None where there is no file.
    """

    path: str
    digest: str | None

    def replace(self, content: str | bytes) -> None:
        """Write the file anew; the one before is kept with ``~`` appended.

        Raises
        ------
        ChangedMeanwhileError
            When it is not what it was when it was taken hold of; nothing is written then.
        OutputError
            When it cannot be written.
        """
        now = digest_of(self.path)
        if now != self.digest:
            raise ChangedMeanwhileError(
                "was deleted or moved meanwhile" if now is None else "was changed meanwhile",
                file=self.path,
                remedy="nothing was written: look at what it holds now, and make the change again",
            )
        write_whole(self.path, content, force=True, keep_previous=True)
        data = content.encode() if isinstance(content, str) else content
        self.digest = hashlib.sha256(data).hexdigest()


@contextmanager
def hold(path: str | os.PathLike[str]) -> Iterator[HeldFile]:
    """Hold a file against other processes that change it.

    What is read from it while it is held, and written with `HeldFile.replace`, is one change.

    Parameters
    ----------
    path
        The file; it need not exist.

    Raises
    ------
    OutputError
        When another process holds it for longer than `PATIENCE_S`.
    """
    from filelock import FileLock, Timeout

    try:
        with FileLock(_lock_path(path)).acquire(timeout=PATIENCE_S, poll_interval=0.005):
            yield HeldFile(os.fspath(path), digest_of(path))
    except Timeout as error:
        raise OutputError(
            f"is being changed by another trackkit for more than {PATIENCE_S:.0f} s",
            file=path,
            remedy="try again when that one is done",
        ) from error


def digest_of(path: str | os.PathLike[str]) -> str | None:
    """Hash what a file holds.

    Returns
    -------
    str or None
        SHA-256 in hexadecimal; None where there is no file.

    Raises
    ------
    TrackFileError
        When it cannot be read.
    """
    try:
        return sha256_of(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise TrackFileError(reading_failed(path, error), file=path) from error


def _lock_path(path: str | os.PathLike[str]) -> Path:
    """Where the lock of a file stands: named by the file's real path, outside its folder.

    Where the cache folder cannot be written, the system's folder for temporary files has to do.
    """
    import tempfile

    from platformdirs import user_cache_path

    name = hashlib.sha256(os.fsencode(os.path.realpath(path))).hexdigest()[:32] + ".lock"
    cache = user_cache_path("trackkit", appauthor=False) / "locks"
    try:
        cache.mkdir(parents=True, exist_ok=True)
        if os.access(cache, os.W_OK):
            return cache / name
    except OSError:
        pass
    folder = Path(tempfile.gettempdir()) / f"trackkit-locks-{os.getuid() if os.name != 'nt' else 0}"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder / name
