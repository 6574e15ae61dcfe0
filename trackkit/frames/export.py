"""What was driven, written as layers of laps, traces and crossings for geographic systems."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from trackkit.errors import OutputError
from trackkit.files import whole_file
from trackkit.frames.driven import (
    LAYERS,
    crossing_layer,
    lap_layer,
    lap_lines,
    trace_layer,
    with_licences,
)
from trackkit.frames.layer_files import (
    Add,
    csv_layers,
    flatgeobuf_layers,
    geopackage_layers,
    geoparquet_layers,
    parquet_layers,
)
from trackkit.geometry.grids import Grid, horizontal_crs
from trackkit.remedies import Remedy
from trackkit.timing.report import LapReport
from trackkit.track.credit import credit_of

DriveFormat = Literal["gpkg", "fgb", "geoparquet", "parquet", "csv"]
DRIVE_FORMATS: tuple[DriveFormat, ...] = get_args(DriveFormat)
_Writer = Callable[[Mapping[str, Path]], AbstractContextManager[Add]]
_FOLDERS: dict[str, tuple[str, _Writer]] = {
    "fgb": (".fgb", flatgeobuf_layers),
    "geoparquet": (".parquet", geoparquet_layers),
    "parquet": (".parquet", parquet_layers),
    "csv": (".csv", csv_layers),
}
"""Formats that hold one layer a file: their suffix, and what writes them."""
WGS84 = "EPSG:4326"


@dataclass(frozen=True)
class ExportedDrives:
    """What `export_drives` has written.

    Parameters
    ----------
    files
        The files.
    rows
        How many rows each layer has, by its name.
    remarks
        Sentences about the coordinate system.

    Examples
    --------
    >>> import trackkit
    >>> written = trackkit.ExportedDrives(("day.gpkg",), {"laps": 12, "crossings": 26})
    >>> written.files, written.rows["laps"]
    (('day.gpkg',), 12)
    """

    files: tuple[str, ...]
    rows: Mapping[str, int]
    remarks: tuple[str, ...] = ()

    def __repr__(self) -> str:
        first = reprlib.repr(self.files[0]) if self.files else ""
        more = f" and {len(self.files) - 1:,} more" if len(self.files) > 1 else ""
        return f"ExportedDrives({first}{more}, {sum(self.rows.values()):,} rows)"


def export_drives(
    reports: LapReport | Iterable[LapReport],
    path: str | os.PathLike[str],
    fmt: str,
    *,
    crs: str = WGS84,
    drivers: Mapping[str, str] | None = None,
    force: bool = False,
) -> ExportedDrives:
    """Write what was driven as geography, whole or not at all.

    There are three layers.  ``laps`` has the rows of `laps_frame`, each the line that was driven;
    ``traces`` those of `traces_frame`, points a metre apart; ``crossings`` those of
    `crossings_frame`, points where gates were crossed.  Columns and units are those of the frames,
    and the track's ``licence`` and ``credit`` besides.

    ``gpkg`` (GeoPackage) holds all layers in one file.  ``fgb`` (FlatGeobuf), ``geoparquet``,
    ``parquet`` (tables without geometry) and ``csv`` (geometry as well-known text in a column
    ``WKT``) hold one layer a file: `path` is a folder, and the files in it are named by the layer.
    All but ``gpkg`` and ``csv`` need pyarrow, the extra ``parquet``.

    Reports are taken one at a time, so that a generator of them holds one drive in memory at a
    time; what is kept of each is its laps.

    Parameters
    ----------
    reports
        With their drives, as `time_laps` gives them, of one track or several.
    path
        The file, or the folder, which is made where there is none.
    fmt
        One of `DRIVE_FORMATS`.
    crs
        The coordinate system of the geometry, as PROJ understands it; columns of longitudes and
        latitudes stay WGS 84.  Lines are cut at the antimeridian.
    drivers
        Who drove, by the recordings' names or the names of their files; looked at when a report has
        come.
    force
        Whether files that exist may be replaced.

    Returns
    -------
    ExportedDrives
        The files, and how many rows each layer has.

    Raises
    ------
    OutputError
        When the format is unknown, a file exists and `force` is false, or cannot be written.
    PlaceError
        When the coordinate system is unknown, or cannot hold a place.
    TrackkitError
        When a report was made by hand, or its drive was not kept.

    Examples
    --------
    >>> import pathlib, tempfile, trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> track = trackkit.place_gate(track, "finish", "100m").track
    >>> report = trackkit.time_laps(track, trackkit.simulate_drive(track, laps=1).recording)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     done = trackkit.export_drives(report, pathlib.Path(folder) / "box.gpkg", "gpkg")
    >>> done.rows["laps"], done.rows["crossings"]
    (3, 2)
    """
    if fmt not in DRIVE_FORMATS:
        raise OutputError(
            f"no format of what was driven is called {fmt!r}",
            remedy=f"use one of {', '.join(DRIVE_FORMATS)}",
        )
    if fmt == "parquet" and crs != WGS84:
        raise OutputError(
            "a Parquet table has no geometry that could be in another coordinate system",
            remedy="use geoparquet",
        )
    horizontal_crs(crs)
    one_by_one = iter([reports] if isinstance(reports, LapReport) else reports)
    with _files(Path(path), fmt, force=force) as (add, files):
        rows, remarks = _write(add, one_by_one, crs, {} if drivers is None else drivers)
    return ExportedDrives(files, rows, remarks)


@contextmanager
def _files(path: Path, fmt: str, *, force: bool) -> Iterator[tuple[Add, tuple[str, ...]]]:
    """Open the files of the layers for rows; they are put in place together in the end."""
    with ExitStack() as kept:
        if fmt == "gpkg":
            scratch = kept.enter_context(whole_file(path, force=force))
            add = kept.enter_context(geopackage_layers(dict.fromkeys(LAYERS, scratch)))
            yield add, (str(path),)
            return
        suffix, writer = _FOLDERS[fmt]
        targets = {layer: path / f"{layer}{suffix}" for layer in LAYERS}
        kept.enter_context(_folder(path))
        scratches = {
            layer: kept.enter_context(whole_file(target, force=force))
            for layer, target in targets.items()
        }
        add = kept.enter_context(writer(scratches))
        yield add, tuple(map(str, targets.values()))


@contextmanager
def _folder(path: Path) -> Iterator[None]:
    """Make a folder where there is none, and take it away again where nothing came into it."""
    if path.exists() and not path.is_dir():
        raise OutputError(
            "is a file, and each layer needs a file of its own",
            file=path,
            remedy=Remedy("name a folder for them"),
        )
    made = not path.exists()
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"cannot be made a folder ({error.strerror or error})", file=path
        ) from error
    try:
        yield
    except BaseException:
        if made:
            with suppress(OSError):
                path.rmdir()
        raise


def _write(
    add: Add, reports: Iterator[LapReport], crs: str, drivers: Mapping[str, str]
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Write reports as they come, and their laps in the end, when the best of all is known."""
    grids: dict[str, Grid] = {}
    alone: list[LapReport] = []
    lines: list[object] = []
    asked: dict[str, tuple[str | None, str | None]] = {}
    rows = dict.fromkeys(LAYERS, 0)
    for report in reports:
        track = report.timed_track
        if track.id not in grids:
            line = track.centreline
            grids[track.id] = Grid.around(crs, line.longitude_deg, line.latitude_deg)
            asked[track.id] = track.licence, credit_of(track) or None
        grid = grids[track.id]
        own = {
            name: driver
            for name, driver in drivers.items()
            if name in (report.name, Path(report.name).name)
        }
        for layer, lay in (("traces", trace_layer), ("crossings", crossing_layer)):
            part = with_licences(lay(report, own, grid), asked)
            add(layer, part)
            rows[layer] += len(part)
        lines += lap_lines(report, grid)
        alone.append(report.without_drive())
        # Nothing may hold its drive while the next is made.
        del report
    if not alone:
        raise OutputError("there is no report whose laps could be written")
    laps = with_licences(lap_layer(alone, drivers, lines, next(iter(grids.values()))), asked)
    add("laps", laps)
    rows["laps"] = len(laps)
    remarks = dict.fromkeys(remark for grid in grids.values() for remark in grid.remarks)
    return rows, tuple(remarks)
