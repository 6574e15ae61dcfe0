"""What was driven as geography: frames of laps, traces and crossings with their geometry."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.frames.crossings import crossings_frame
from trackkit.frames.laps import laps_frame, traces_frame
from trackkit.geometry.antimeridian import cut_line
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.geometry.grids import Grid
from trackkit.motion.drive import Drive
from trackkit.timing.column_names import LAP_COLUMNS, TRACE_COLUMNS
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.traces import STEP_M

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

LAYERS = ("laps", "traces", "crossings")
_CHORD_ERROR_M = 0.01


def trace_layer(report: LapReport, drivers: Mapping[str, str], grid: Grid) -> GeoDataFrame:
    """Rows of `traces_frame` at their places; a place that was not reached has no row."""
    traces = traces_frame(report, drivers=drivers)[list(TRACE_COLUMNS)]
    return _points(traces[traces["longitude_deg"].notna()].reset_index(drop=True), grid)


def crossing_layer(report: LapReport, drivers: Mapping[str, str], grid: Grid) -> GeoDataFrame:
    """Rows of `crossings_frame` at their places."""
    return _points(crossings_frame(report, drivers=drivers), grid)


def lap_layer(
    reports: Sequence[LapReport], drivers: Mapping[str, str], lines: Sequence[Any], grid: Grid
) -> GeoDataFrame:
    """Rows of `laps_frame` along the ways driven, from `lap_lines` of the reports in order."""
    from geopandas import GeoDataFrame

    frame = laps_frame(reports, drivers=drivers)[list(LAP_COLUMNS)]
    return GeoDataFrame(frame, geometry=np.array(lines, dtype=object), crs=grid.crs)


def lap_lines(report: LapReport, grid: Grid) -> list[Any]:
    """Lay out the way that each lap was driven.

    A lap goes from where it began, or the first gate it crossed, to where it ended, or the last
    gate it crossed; an in lap to the end of its session.  The way is in parts where fixes are
    missing for long, and at the antimeridian.

    Parameters
    ----------
    report
        With its drive.
    grid
        What to lay out in.

    Returns
    -------
    list
        A multi-line of Shapely for each lap; None where nothing was driven between its ends.
    """
    import shapely

    ends = {session.number: session.end_s for session in report.sessions}
    lines = []
    for lap in report.laps:
        parts = [
            np.column_stack(grid.from_wgs84(part[:, 0], part[:, 1]))
            for way in _ways(report.drive, *_span(lap, ends))
            for part in cut_line(way)
        ]
        line = shapely.MultiLineString([part.tolist() for part in parts])
        lines.append(line if parts else None)
    return lines


def with_licences(
    frame: GeoDataFrame, asked: Mapping[str, tuple[str | None, str | None]]
) -> GeoDataFrame:
    """Say in each row under which licence its track is, and what its sources ask to be said."""
    tracks = frame["track"].astype(object)
    place = frame.columns.get_loc("geometry")
    for n, name in enumerate(("licence", "credit")):
        said = [asked[track][n] for track in tracks]
        frame.insert(place + n, name, np.array(said, dtype=object))
    return frame


def _span(lap: Lap, ends: Mapping[int, float]) -> tuple[float, float]:
    """When a lap, as far as it is known, begins and ends, seconds from the first fix."""
    crossed = [crossing.time_s for crossing in lap.passed if crossing is not None]
    begin = crossed[0] if lap.start_s is None and crossed else lap.start_s
    end = crossed[-1] if crossed else None
    if lap.kind == "in":
        end = ends.get(lap.session, end)
    if begin is None or end is None:
        return 0.0, 0.0
    return begin, end


def _ways(drive: Drive, begin_s: float, end_s: float) -> list[Floats]:
    """Longitude and latitude of a stretch of a drive, in parts that are unbroken, (n, 2) each."""
    import shapely

    if not end_s > begin_s:
        return []
    fixes = drive.time_s
    inside = np.flatnonzero((fixes > begin_s) & (fixes < end_s))
    time = np.concatenate([[begin_s], fixes[inside], [end_s]])
    piece = drive.piece[np.clip(np.searchsorted(fixes, time, "right") - 1, 0, len(fixes) - 1)]
    ways = []
    for number in np.unique(piece):
        times = time[piece == number]
        if len(times) < 2:
            continue
        position, _ = drive.at(times)
        step = np.hypot(*np.diff(position, axis=0).T)
        between = np.maximum(np.ceil(step / STEP_M), 1).astype(int)
        share = np.concatenate([np.arange(count) / count for count in between])
        start = np.repeat(np.arange(len(between)), between)
        fine = times[start] + share * np.diff(times)[start]
        position, _ = drive.at(np.append(fine, times[-1]))
        line = shapely.simplify(shapely.linestrings(position), _CHORD_ERROR_M)
        longitude, latitude = drive.plane.to_geographic(shapely.get_coordinates(line))
        ways.append(np.column_stack([unwrap_longitude(longitude), latitude]))
    return ways


def _points(frame: DataFrame, grid: Grid) -> GeoDataFrame:
    from geopandas import GeoDataFrame, GeoSeries

    east, north = grid.from_wgs84(frame["longitude_deg"], frame["latitude_deg"])
    geometry = GeoSeries.from_xy(east, north, crs=grid.crs)
    return GeoDataFrame(frame, geometry=geometry)
