"""The track file that is being edited: what was read, changed and saved."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

from trackkit.checks.evaluate import Prepared, evaluate, prepare
from trackkit.checks.other_layouts import layouts_beside
from trackkit.editor.beside import new_file_beside
from trackkit.editor.drawn_line import DrawnOver
from trackkit.editor.plan_desk import PlanDesk
from trackkit.editor.session import Editing
from trackkit.errors import TrackFileError, TrackkitError
from trackkit.held_files import ChangedMeanwhileError, digest_of, hold
from trackkit.pages.base import base_document
from trackkit.recordings.recording import Recording
from trackkit.track.file import read_track, write_track
from trackkit.track.model import Track
from trackkit.underlay.accuracy import UNMEASURED_M, drawn_sigma_m
from trackkit.underlay.embed import EmbeddedPicture

Page = Callable[[dict[str, Any], dict[str, Any], dict[str, Any]], str]
"""Makes the page of a base document, a state and what the session is."""

_SUFFIX = ".geojson"

CLOSED_S = 3.0
"""How long a page that closed may take to come back: it may just have been reloaded."""


class Desk:
    """A track file that is being edited, and what was last seen of it on disk."""

    def __init__(
        self,
        path: str,
        recordings: Sequence[Recording] = (),
        files: Sequence[str] | None = None,
        underlay: EmbeddedPicture | None = None,
        plan: PlanDesk | None = None,
    ) -> None:
        self.path, self.plan = path, plan
        self._recordings, self._files = tuple(recordings), files
        self._underlay = underlay
        self._digest = digest_of(path)
        track, prepared = self._read()
        self.editing = Editing(track, prepared, _drawn_over(underlay))
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
        return digest_of(self.path) != self._digest

    def base(self) -> dict[str, Any]:
        """Describe the line and the recordings, which no edit changes."""
        step = self.editing.step
        if self._base is None or self._base[0] != step.base:
            first = step.prepared.track
            evaluation = evaluate(first, step.prepared)
            drives = step.prepared.drives
            laps = [report.laps for report in evaluation.reports] or [()] * len(drives)
            document = base_document(
                first,
                list(zip(drives, laps, strict=True)),
                evaluation.quality,
                step.prepared.files,
                underlay=self._underlay,
            )
            self._base = (step.base, document)
        return self._base[1]

    def lay(self, underlay: EmbeddedPicture) -> None:
        """Lay another picture under the map; lines are drawn over it from now on."""
        self._underlay = underlay
        self.editing.draw_over(_drawn_over(underlay))

    def save(self, *, replace_changed: bool = False) -> dict[str, Any]:
        """Write the track file; the one that was there is kept beside it.

        Raises
        ------
        ChangedMeanwhileError
            When somebody else changed the file, unless that may be replaced.
        TrackkitError
            When it cannot be written.
        """
        with hold(self.path) as held:
            changed, gone = held.digest != self._digest, held.digest is None
            if changed and not replace_changed:
                raise ChangedMeanwhileError(
                    "was deleted or moved meanwhile" if gone else "was changed on disk meanwhile",
                    file=self.path,
                    remedy="save all the same to write it again"
                    if gone
                    else "take it from disk, which can be undone, or save all the same; what is "
                    "on disk is then kept beside it",
                )
            if not changed and not self.editing.unsaved:
                # Written again, it would take the place of the one that was there before.
                return {"saved": True, "file": self.path, "previous": None}
            write_track(self.editing.step.track, self.path, held=held)
            self._digest = held.digest
        self.editing.mark_saved()
        return {"saved": True, "file": self.path, "previous": None if gone else self.path + "~"}

    def save_copy(self, name: str) -> dict[str, Any]:
        """Write what is shown to a new file beside the track file, which stays as it is.

        Parameters
        ----------
        name
            Of the file, without a folder; ``.geojson`` is put after it where it is missing.

        Raises
        ------
        OutputError
            When that is no name of a file beside the track file, when there is such a file, or when
            it cannot be written.
        """
        copy = new_file_beside(self.path, name, _SUFFIX)
        write_track(self.editing.step.track, copy)
        return {"saved": True, "file": copy}

    def reload(self, page: str | None = None) -> None:
        """Take the file as it is on disk now, for a page that asks for it."""
        digest = digest_of(self.path)
        track, prepared = self._read()
        self._digest = digest
        self.editing.take(track, prepared, page)
        self.editing.edit += 1

    def state(self, moving: str | None = None, page: str | None = None) -> dict[str, Any]:
        """Describe what is shown, on a page."""
        return self.editing.state(moving, page)


def _drawn_over(underlay: EmbeddedPicture | None) -> DrawnOver | None:
    """Tell what lines are drawn over, and how well they are known then."""
    if underlay is None:
        return None
    residual_m = UNMEASURED_M if underlay.residual_m is None else underlay.residual_m
    sigma_m = drawn_sigma_m(underlay.pixel_m, residual_m)
    return DrawnOver(underlay.name or "a picture", sigma_m, underlay.credit)


class Presence:
    """How many pages are open, counted from their requests."""

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
