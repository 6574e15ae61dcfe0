"""Many track files at once: files and folders named on the command line, one after another."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from trackkit.cli.common import each_file, say_error
from trackkit.errors import OutputError, TrackFileError, TrackkitError
from trackkit.track.ids import file_stem

Item = TypeVar("Item")


def are_many(paths: Sequence[str]) -> bool:
    """Tell whether words of a command line name more than one track file, or a folder of them."""
    return len(paths) > 1 or any(Path(path).is_dir() for path in paths)


def each_track(
    paths: Sequence[str], work: Callable[[str], Item], label: str
) -> tuple[list[tuple[str, Item]], list[TrackkitError]]:
    """Do something with each track file, in the order given, those of a folder by name.

    Parameters
    ----------
    paths
        Files, and folders, of which all ``*.geojson`` are taken.
    work
        What to do with a file.
    label
        Of the progress bar.

    Returns
    -------
    done, failed
        Each file with what came of it, and the errors, which were said on standard error.
    """
    files: list[str] = []
    failed: list[TrackkitError] = []
    for path in paths:
        try:
            files += files_in(path) if Path(path).is_dir() else [path]
        except TrackkitError as error:
            failed.append(error)
            say_error(error)
    done, wrong = each_file(files, lambda path: (path, work(path)), label)
    return done, failed + wrong


def files_in(folder: str) -> list[str]:
    """List the track files of a folder, by name.

    Raises
    ------
    TrackFileError
        When it cannot be listed, or holds none.
    """
    try:
        names = sorted(path.name for path in Path(folder).iterdir())
    except OSError as error:
        raise TrackFileError(
            f"cannot be listed ({error.strerror or error})", file=folder
        ) from error
    files = [
        str(Path(folder) / name)
        for name in names
        if name.endswith(".geojson") and not name.startswith(".")
    ]
    if not files:
        raise TrackFileError(
            "holds no track file", file=folder, remedy="track files end in .geojson"
        )
    return files


def output_folder(path: str) -> Path:
    """Make the folder that files of many tracks go into.

    Raises
    ------
    OutputError
        When it cannot be made.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"cannot be made a folder ({error.strerror or error})",
            file=path,
            remedy="of many track files each makes a file of its own: name a folder for them",
        ) from error
    return folder


class Targets:
    """Files that many tracks are written to, each in one folder under its track file's name."""

    def __init__(self, folder: str | os.PathLike[str], suffix: str, but: str | None = None) -> None:
        self._folder, self._suffix, self._but = Path(folder), suffix, but
        self._taken: dict[str, str] = {}

    def of(self, path: str) -> Path:
        """Say where what is made of a track file goes.

        Raises
        ------
        OutputError
            When that is the track file itself, or what another one's goes to.
        """
        target = self._folder / f"{file_stem(Path(path).stem)}{self._suffix}"
        if target.name.casefold() == self._but:
            raise OutputError(
                f"would be the page of {path}, and is that of all circuits",
                file=target,
                remedy="give the track file another name",
            )
        other = self._taken.setdefault(target.name.casefold(), path)
        if other != path:
            raise OutputError(
                f"is what {other} was written to; {path} would take its place",
                file=target,
                remedy="give one of the two another name",
            )
        if target.exists() and target.samefile(path):
            raise OutputError(
                "is the track file itself", file=target, remedy="choose another folder"
            )
        return target
