"""The track file on the desk: what was read, changed and saved."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from trackkit.checks.evaluate import Prepared, evaluate, prepare
from trackkit.checks.other_layouts import layouts_beside
from trackkit.editor.session import Editing
from trackkit.errors import TrackFileError, TrackkitError, reading_failed
from trackkit.files import sha256_of
from trackkit.pages.base import base_document
from trackkit.recordings.recording import Recording
from trackkit.track.file import read_track, stored, write_track
from trackkit.track.model import Track

Page = Callable[[dict[str, Any], dict[str, Any], dict[str, Any]], str]
"""Makes the page of a base document, a state and what the session is."""

CLOSED_S = 3.0
"""How long a page that closed may take to come back: it may just have been reloaded."""


class ChangedOnDiskError(TrackkitError):
    """The file is not what was read or written last."""


class Desk:
    """A track file that is being edited, and what was last seen of it on disk."""

    def __init__(
        self, path: str, recordings: Sequence[Recording] = (), files: Sequence[str] = ()
    ) -> None:
        self.path = path
        self._recordings, self._files = tuple(recordings), tuple(files)
        self._digest = _digest(path)
        track, prepared = self._read()
        self.editing = Editing(track, prepared)
        self._base: tuple[int, dict[str, Any]] | None = None

    def _read(self) -> tuple[Track, Prepared]:
        track = read_track(self.path)
        try:
            _ = track.curve
        except TrackkitError as error:
            raise TrackFileError(error.what, file=self.path, remedy=error.remedy) from error
        beside = layouts_beside(self.path, track)
        return track, prepare(track, self._recordings, self._files, beside)

    @property
    def changed_on_disk(self) -> bool:
        """Whether the file is not what was read or written last, or is gone."""
        return _digest(self.path) != self._digest

    def base(self) -> dict[str, Any]:
        """Describe the line and the recordings, which no edit changes."""
        step = self.editing.step
        if self._base is None or self._base[0] != step.base:
            first = step.prepared.track
            known = evaluate(first, step.prepared)
            drives = step.prepared.drives
            laps = [report.laps for report in known.reports] or [()] * len(drives)
            document = base_document(first, list(zip(drives, laps, strict=True)), known.quality)
            self._base = (step.base, document)
        return self._base[1]

    def save(self, *, replace_changed: bool = False) -> dict[str, Any]:
        """Write the track file; the one that was there is kept beside it.

        Raises
        ------
        ChangedOnDiskError
            When somebody else changed the file, unless that may be replaced.
        TrackkitError
            When it cannot be written.
        """
        changed = self.changed_on_disk
        if changed and not replace_changed:
            gone = not Path(self.path).exists()
            raise ChangedOnDiskError(
                "was deleted or moved meanwhile" if gone else "was changed on disk meanwhile",
                file=self.path,
                remedy="save all the same to write it again"
                if gone
                else "take it from disk, which can be undone, or save all the same; what is on "
                "disk is then kept beside it",
            )
        if not changed and not self.editing.unsaved:
            # Written again, it would take the place of the one that was there before.
            return {"saved": True, "file": self.path, "previous": None}
        previous = self.path + "~" if Path(self.path).exists() else None
        write_track(stored(self.editing.step.track), self.path, force=True, keep_previous=True)
        self._digest = _digest(self.path)
        self.editing.mark_saved()
        return {"saved": True, "file": self.path, "previous": previous}

    def reload(self) -> None:
        """Take the file as it is on disk now."""
        digest = _digest(self.path)
        track, prepared = self._read()
        self._digest = digest
        self.editing.take(track, prepared)
        self.editing.edit += 1

    def state(self, moving: str | None = None) -> dict[str, Any]:
        """Describe what is shown."""
        return self.editing.state(moving)


def _digest(path: str | os.PathLike[str]) -> str | None:
    """Hash what a file holds; None where there is none."""
    try:
        return sha256_of(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise TrackFileError(reading_failed(path, error), file=path) from error


class Presence:
    """How many pages are open, as far as they said so."""

    def __init__(self) -> None:
        self._open = 0
        self._last = time.monotonic()
        self._opened = False

    def seen(self) -> None:
        """Note that a page asked for something."""
        self._last = time.monotonic()

    def opened(self) -> None:
        """Note that a page was opened."""
        self._open, self._opened = self._open + 1, True

    def closed(self) -> None:
        """Note that a page was closed."""
        self._open = max(self._open - 1, 0)

    @property
    def gone(self) -> bool:
        """Whether every page that was opened is closed, and has been for a while."""
        return self._opened and not self._open and time.monotonic() - self._last > CLOSED_S
