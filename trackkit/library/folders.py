"""Libraries, which are folders of track files: found, read, searched, added to and removed from."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackkitError
from trackkit.library.index import FolderIndex, boxes_within, has_id, open_index, tracks_of
from trackkit.library.known import (
    AT_WITHIN_M,
    DEFAULT_RADIUS_M,
    NAMED,
    Atlas,
    Known,
    Located,
    first_of_each_id,
)
from trackkit.library.lines import FAR_M, earth_centred
from trackkit.words import counted

ENVIRONMENT_VARIABLE = "TRACKKIT_LIBRARY"
_LOOK_M = (20_000.0, 200_000.0, 2_000_000.0, np.inf)


def shipped_folder() -> Path:
    """Folder of the invented sample circuits that come with trackkit."""
    package = Path(__file__).parents[1]
    packaged = package / "tracks"
    return packaged if packaged.is_dir() else package.parent / "tracks"


def user_folder() -> Path:
    """Folder of the user's own track files, as the platform has it; it may not exist yet."""
    from platformdirs import user_data_path

    return user_data_path("trackkit", appauthor=False) / "tracks"


def folders(given: Sequence[str | os.PathLike[str]] = ()) -> list[Path]:
    """List the folders to search: those given, TRACKKIT_LIBRARY's, the user's, the shipped one.

    Raises
    ------
    TrackkitError
        When a folder given, or named by the environment variable, is none.
    """
    there = (folder for folder in (user_folder(), shipped_folder()) if folder.is_dir())
    return [*named_folders(given), *there]


def named_folders(given: Sequence[str | os.PathLike[str]] = ()) -> list[Path]:
    """List the folders given and TRACKKIT_LIBRARY's.

    Raises
    ------
    TrackkitError
        When one of them is none.
    """
    named = [Path(folder) for folder in given]
    from_environment = os.environ.get(ENVIRONMENT_VARIABLE, "")
    named += [Path(part) for part in from_environment.split(os.pathsep) if part]
    for folder in named:
        if not folder.is_dir():
            raise TrackkitError(
                "is no folder", file=folder, remedy="name a folder of track files as the library"
            )
    return named


@dataclass(frozen=True, eq=False)
class Library:
    """Folders of track files with their indexes, in the order they are searched.

    Of two tracks with one id the first counts.  `open_library` makes it.

    Parameters
    ----------
    folders
        The folders, indexed.

    Examples
    --------
    >>> import trackkit
    >>> library = trackkit.open_library()
    >>> library.find("nowhere") is None
    True
    >>> [circuit.name for circuit in library.near(83.352, 38.7215, 2000.0)]
    ['Pipwick Kart Circuit']
    """

    folders: tuple[FolderIndex, ...]

    def __repr__(self) -> str:
        return f"Library({counted(self.folders, 'folder')})"

    @property
    def warnings(self) -> tuple[str, ...]:
        """One sentence for each file that was left out."""
        return tuple(warning for folder in self.folders for warning in folder.warnings)

    def tracks(self) -> list[Known]:
        """Read all known tracks from the indexes.

        Returns
        -------
        list of Known
            In the order of the folders.
        """
        return first_of_each_id(tracks_of(folder) for folder in self.folders)

    def atlas(self) -> Atlas:
        """Hold all known tracks in memory, for many positions.

        Returns
        -------
        Atlas
            Its `locate` takes one position and its `nearest` many.
        """
        return Atlas.of(self.tracks())

    def locate(
        self,
        longitude_deg: float,
        latitude_deg: float,
        *,
        radius_m: float = DEFAULT_RADIUS_M,
        most: int = NAMED,
    ) -> Located:
        """Find the tracks nearest to a position; see `trackkit.library.known.Atlas.locate`.

        Only those whose boxes let them be among the nearest are read from the indexes.

        Parameters
        ----------
        longitude_deg, latitude_deg
            The position, degrees.
        radius_m
            Within this distance of a circuit the answer is ``near``, metres.
        most
            How many circuits are named.

        Returns
        -------
        Located
            Nearest first.
        """
        position = earth_centred(float(longitude_deg), float(latitude_deg))
        for reach in _LOOK_M:
            boxes = self._boxes(position, reach)
            farthest = sorted(most_m for _, _, _, most_m in boxes)
            limit = max(farthest[most - 1], AT_WITHIN_M) if len(boxes) >= most else np.inf
            # Orders by geodesic and through the Earth differ by so much; see `library.lines`.
            limit *= 1.000_01 if limit <= FAR_M else 1.01
            if limit <= reach:
                break
        circuits = _read(box for box in boxes if box[2] <= limit)
        return Atlas.of(circuits).locate(longitude_deg, latitude_deg, radius_m=radius_m, most=most)

    def near(self, longitude_deg: float, latitude_deg: float, radius_m: float) -> list[Known]:
        """List the tracks whose box comes within a distance of a position, up to 100 km.

        Parameters
        ----------
        longitude_deg, latitude_deg
            The position, degrees.
        radius_m
            The distance, metres.

        Returns
        -------
        list of Known
            In the order of the folders.
        """
        position = earth_centred(float(longitude_deg), float(latitude_deg))
        return _read(box for box in self._boxes(position, radius_m) if box[2] <= radius_m)

    def _boxes(
        self, position_m: Floats, reach_m: float
    ) -> list[tuple[FolderIndex, int, float, float]]:
        """List folder, row, least and greatest distance of tracks; those hidden left out."""
        boxes = []
        for number, folder in enumerate(self.folders):
            fids, ids, nearest, farthest = boxes_within(folder, position_m, reach_m)
            before = self.folders[:number]
            boxes += [
                (folder, fid, low, high)
                for fid, id_, low, high in zip(
                    fids, ids, nearest.tolist(), farthest.tolist(), strict=True
                )
                if not any(has_id(earlier, id_) for earlier in before)
            ]
        return boxes

    def find(self, track_id: str) -> Known | None:
        """Find the track with an id, in the first folder that has one.

        Parameters
        ----------
        track_id
            The id.

        Returns
        -------
        Known or None
            None where no track has the id.
        """
        for folder in self.folders:
            fid = folder.connection.execute(
                "SELECT fid FROM tracks WHERE id = ? ORDER BY file LIMIT 1", (track_id,)
            ).fetchone()
            if fid is not None:
                return tracks_of(folder, fid)[0]
        return None


def _read(boxes: Iterable[tuple[FolderIndex, int, float, float]]) -> list[Known]:
    return [tracks_of(folder, [fid])[0] for folder, fid, _, _ in boxes]


def open_library(
    paths: Iterable[str | os.PathLike[str]] | None = None,
    *,
    say: Callable[[str], None] | None = None,
) -> Library:
    """Open folders with their indexes, which are brought up to date first.

    The index of the sample circuits stands in the user's cache folder, as they are no folder of
    the user's.

    Parameters
    ----------
    paths
        Folders of track files, in the order they are searched; None for those of `folders`: what
        TRACKKIT_LIBRARY names, the user's own, and the sample circuits.
    say
        Told when many files have to be read.

    Returns
    -------
    Library
        Its `warnings` say which files had to be left out.

    Raises
    ------
    TrackkitError
        When a folder cannot be listed, or TRACKKIT_LIBRARY names one that is none.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.open_library().find("pipwick-kart-circuit").name
    'Pipwick Kart Circuit'
    """
    shipped = shipped_folder().resolve()
    named = folders() if paths is None else [Path(path) for path in paths]
    # A folder that is named again keeps its first place in the order.
    unlike: dict[Path, Path] = {}
    for path in named:
        unlike.setdefault(path.resolve(), path)
    return Library(
        tuple(
            open_index(path, beside=resolved != shipped, say=say)
            for resolved, path in unlike.items()
        )
    )
