"""Places that are told both on a plan and on the ground, read from a table."""

from __future__ import annotations

import csv
import os
import reprlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from trackkit.errors import PlaceError, UnderlayError, reading_failed
from trackkit.files import csv_text, write_whole
from trackkit.track.features import Position
from trackkit.track.model import Track
from trackkit.track.places import parse_place

MOST_POINTS = 1000
_ON_PLAN = ("x", "y")
_ON_GROUND = (("place",), ("latitude", "longitude"), ("east", "north"))
_COLUMNS = (*_ON_PLAN, *(name for names in _ON_GROUND for name in names), "name")
_REMEDY = (
    "its columns are x and y (from the plan's left and top edge), then place, or latitude and "
    "longitude, or east and north; and name, which may be left out"
)


@dataclass(frozen=True)
class PlanPoint:
    """A place on a plan and on the ground.

    Parameters
    ----------
    x, y
        From the plan's left and top edge: pixels of a picture as it is shown, millimetres of a
        PDF page.
    position
        Longitude and latitude, degrees.
    name
        What it is called.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.PlanPoint(120.5, 88.0, (83.35, 38.73), "light pole").name
    'light pole'
    """

    x: float
    y: float
    position: Position
    name: str = ""

    def __repr__(self) -> str:
        return f"PlanPoint({self.x}, {self.y}, {self.position}, {reprlib.repr(self.name)})"


def read_plan_points(
    path: str | os.PathLike[str], *, crs: str | None = None, track: Track | None = None
) -> tuple[PlanPoint, ...]:
    r"""Read places on a plan and on the ground from a CSV file.

    Parameters
    ----------
    path
        The file, with a header: ``x`` and ``y``; then ``place``, or ``latitude`` and
        ``longitude``, or ``east`` and ``north``; and ``name``, which may be left out.
    crs
        The grid that pairs of numbers are in, for example "EPSG:25832"; latitudes and longitudes
        when None.
    track
        Whose chainages a ``place`` such as 412m counts; None where there are none.

    Returns
    -------
    tuple of PlanPoint
        In the order of the lines.

    Raises
    ------
    UnderlayError
        When it is no such table; with the line that is wrong.

    Examples
    --------
    >>> from pathlib import Path
    >>> import trackkit
    >>> text = "x,y,place\n10,20,-48.5 -123.25\n400,30,-48.5 -123.2\n20,300,-48.52 -123.2\n"
    >>> _ = Path("points.csv").write_text(text)
    >>> [point.position for point in trackkit.read_plan_points("points.csv")]
    [(-123.25, -48.5), (-123.2, -48.5), (-123.2, -48.52)]
    """
    shown = os.fspath(path)
    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, skipinitialspace=True)
            header = [(name or "").strip().casefold() for name in reader.fieldnames or ()]
            reader.fieldnames = header
            rows = [(reader.line_num, row) for row in islice(reader, MOST_POINTS + 1)]
    except OSError as error:
        raise UnderlayError(reading_failed(path, error), file=shown) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise UnderlayError(f"cannot be read as CSV ({error})", file=shown) from error
    unknown = sorted(set(header) - set(_COLUMNS))
    ways = [names for names in _ON_GROUND if set(names) <= set(header)]
    if unknown or len(ways) != 1 or not set(_ON_PLAN) <= set(header):
        what = f"has a column {unknown[0]!r}" if unknown else "has not the columns"
        raise UnderlayError(f"{what} of a table of points", file=shown, remedy=_REMEDY)
    if len(rows) > MOST_POINTS:
        raise UnderlayError(
            f"holds more than {MOST_POINTS} points",
            file=shown,
            remedy="keep some that are well spread over the plan",
        )
    if ways[0] == ("east", "north") and crs is None:
        raise UnderlayError(
            "has columns east and north of no grid that is named",
            file=shown,
            remedy="name the grid, such as EPSG:25832",
        )
    return tuple(_point(row, ways[0], crs, track, shown, line) for line, row in rows)


def write_plan_points(
    points: Sequence[PlanPoint], path: str | os.PathLike[str], *, force: bool = False
) -> None:
    """Write places on a plan and on the ground as `read_plan_points` reads them.

    Places on the plan have three decimals, those on the ground nine: a tenth of a millimetre.

    Parameters
    ----------
    points
        The points.
    path
        The CSV file.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or can't be written.
    """
    header = ["x", "y", "latitude", "longitude", "name"]
    rows = [(one.x, one.y, one.position[1], one.position[0], one.name) for one in points]
    decimals = {"x": 3, "y": 3, "latitude": 9, "longitude": 9}
    write_whole(path, csv_text(header, rows, decimals), force=force)


def _point(
    row: Mapping[str, str | None],
    way: tuple[str, ...],
    crs: str | None,
    track: Track | None,
    file: str,
    line: int,
) -> PlanPoint:
    where = f"line {line}"
    cells = {name: (row.get(name) or "").strip() for name in (*_ON_PLAN, *way, "name")}
    numbers = []
    for name in _ON_PLAN:
        try:
            number = float(cells[name])
        except ValueError:
            number = np.nan
        if not np.isfinite(number):
            raise UnderlayError(
                f"{name} is {cells[name]!r}, which is no number",
                file=file,
                place=where,
                remedy="give it in pixels from the left or the top edge, of a PDF in millimetres",
            )
        numbers.append(number)
    grid = None if way == ("latitude", "longitude") else crs
    try:
        position = ground_position(" ".join(cells[name] for name in way), crs=grid, track=track)
    except PlaceError as error:
        raise UnderlayError(error.what, file=file, place=where, remedy=error.remedy) from error
    return PlanPoint(numbers[0], numbers[1], position, cells["name"])


def ground_position(text: str, *, crs: str | None = None, track: Track | None = None) -> Position:
    """Read a place on the ground: latitude and longitude, easting and northing, or a chainage.

    Parameters
    ----------
    text
        As `parse_place` takes it.
    crs
        The grid that pairs of numbers are in; latitude and longitude when None.
    track
        Whose chainages are taken; None where there are none.

    Returns
    -------
    tuple of float
        Longitude and latitude, degrees.

    Raises
    ------
    PlaceError
        When it is no such place, or not on the line.
    """
    place = parse_place(text, crs=crs)
    if place.chainage_m is not None and track is not None:
        return _on_line(track, place.chainage_m)
    if place.position is None:
        raise PlaceError(
            f"{text!r} is no place on the ground",
            remedy="give latitude and longitude; a chainage needs the track that it counts on",
        )
    return place.position


def _on_line(track: Track, chainage_m: float) -> Position:
    length = track.curve.length_m
    if not (track.closed or 0.0 <= chainage_m <= length) or abs(chainage_m) > length:
        raise PlaceError(
            f"{chainage_m:g} m is not on the line of {track.name}, which is {length:.1f} m long"
        )
    at = track.curve.position(track.curve.wrap(chainage_m) if track.closed else chainage_m)
    longitude, latitude = track.plane.to_geographic(at)
    return float(longitude), float(latitude)
