"""What trackkit says when it cannot do what it was asked.

Every error is one sentence for a person: which file, which line or feature, what is wrong,
and what to do about it.  The command line prints that sentence and exits with status 1.
"""

from __future__ import annotations

import os
import traceback
from pathlib import Path

from trackkit.remedies import Remedy
from trackkit.words import single_sentence


class TrackkitError(Exception):
    """An input that cannot be used, or an output that cannot be written.

    Parameters
    ----------
    what
        What is wrong, without a full stop.
    file
        The file it is wrong in.
    place
        The line, feature or member in that file.
    remedy
        What the user can do about it: a clause without a full stop, or that as data.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.read_track("nowhere.geojson")
    Traceback (most recent call last):
        ...
    trackkit.errors.TrackFileError: nowhere.geojson: no such file
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | os.PathLike[str] | None = None,
        place: str | None = None,
        remedy: Remedy | str | None = None,
    ) -> None:
        self.what = what
        self.file = None if file is None else os.fspath(file)
        self.place = place
        self.remedy = Remedy(remedy) if isinstance(remedy, str) else remedy
        super().__init__(what)

    @property
    def where(self) -> str:
        """The file and the place in it."""
        return ", ".join(part for part in (self.file, self.place) if part)

    @property
    def fault(self) -> str:
        """The file, the place in it, and what is wrong there."""
        return single_sentence(self.where, self.what)

    def __str__(self) -> str:
        return single_sentence(self.where, self.what, self.remedy.what if self.remedy else "")


class RecordingError(TrackkitError):
    """A file that cannot be read as a recording or as a drawn line."""


class NoTimesError(RecordingError):
    """A file that holds positions but no times, where times are needed."""


class NoLapError(TrackkitError):
    """A recording that holds no whole lap."""


class TrackFileError(TrackkitError):
    """A file that cannot be read as a track file, or a track that breaks the format's rules."""


class PlaceError(TrackkitError):
    """A place along the track, a gate or a kind of gate that cannot be made sense of."""


class UnderlayError(TrackkitError):
    """A picture that cannot be laid under what is drawn."""


class OutputError(TrackkitError):
    """An output that cannot be written."""


class UnforeseenError(TrackkitError):
    """What trackkit did not foresee: a fault of its own, told with where it happened.

    Parameters
    ----------
    error
        The exception, with its traceback.
    file
        The file in work, where it is known.
    """

    def __init__(self, error: BaseException, file: str | os.PathLike[str] | None = None) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        own = [frame for frame in frames if f"{os.sep}trackkit{os.sep}" in frame.filename]
        where = ""
        if own:
            name = own[-1].filename.rpartition(f"{os.sep}trackkit{os.sep}")[2]
            where = f" in {name}, line {own[-1].lineno}"
        super().__init__(
            f"a fault of trackkit, not of yours: {type(error).__name__}{where}",
            file=file,
            remedy=Remedy("please report it with this file and the traceback", do="report"),
        )
        self.__cause__ = error


def reading_failed(path: str | os.PathLike[str], error: OSError) -> str:
    """Say in words why a file could not be opened."""
    if isinstance(error, FileNotFoundError):
        return "no such file"
    if isinstance(error, IsADirectoryError) or Path(path).is_dir():
        return "is a folder, not a file"
    if isinstance(error, PermissionError):
        return "may not be read by this user"
    return f"cannot be read ({error.strerror or error})"
