"""Driving that several recordings of an archive hold, such as two formats of one day: counted once.

Laps of two recordings are one where they begin, last, and pass every gate at the same time and
place.  Laps are put in order of time once, so that only neighbours are compared, however many
recordings there are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from datetime import timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from trackkit.archive.columns import CROSSINGS, KEY, LAPS, RECORDINGS, SECTORS, Table
from trackkit.archive.engines import engine
from trackkit.archive.rows import edit_rows
from trackkit.archive.store import dataset_of, opened, rows_of
from trackkit.geometry.geodesy import geodesic_distance

if TYPE_CHECKING:
    from pandas import DataFrame

_SAME_S = 0.1
"""Formats round, and some have no speeds, which moves what is smoothed by some hundredths of a
second; no two vehicles pass all gates so close in time and beside each other."""
_SAME_M = 1.0
"""Vehicles are wider than this, so that two of them are never so near all the time."""
_SHARE = 0.98
_LEAST_CROSSINGS = 2
_COUNTED_IN = "counted in "
_MARK = re.compile(rf"(?:; )?{_COUNTED_IN}([0-9a-f]{{64}})")
_Lap = tuple[str, int, int]
"""SHA-256 of the recording, session and lap."""


def count_once(archive: str, recordings: Collection[str] | None = None) -> int:
    """Have each lap that several recordings hold count in the one that was added first.

    The other lap does not count, and its remarks say where it does.  Where that recording is no
    longer there, it counts again.

    Parameters
    ----------
    archive
        Its address.
    recordings
        SHA-256 of those whose time is looked at; all when None.

    Returns
    -------
    int
        How many laps ceased to count.

    Raises
    ------
    OutputError
        When the tables cannot be written.
    """
    if opened(archive, LAPS) is None:
        return 0
    names = (KEY, "state", "geometry", "begun", "duration_s", "added")
    rows = rows_of(archive, RECORDINGS, names).to_pylist()
    timed = {row[KEY]: row for row in rows if row["state"] == "timed" and row["begun"] is not None}
    laps = _laps(archive, timed, timed if recordings is None else recordings)
    if laps.empty:
        return 0
    marks = _marks(archive, laps, timed)
    before = _marks_before(laps)
    differing = {lap for lap in {*marks, *before} if marks.get(lap) != before.get(lap)}
    if differing:
        for table in (SECTORS, LAPS):
            _write(archive, table, {lap: marks.get(lap) for lap in differing})
    return len(marks.keys() - before.keys())


def _laps(
    archive: str, timed: Mapping[str, Mapping[str, Any]], recordings: Collection[str]
) -> DataFrame:
    """Read the whole laps of the time that some recordings cover."""
    near = [timed[recording] for recording in recordings if recording in timed]
    columns = [KEY, "geometry", "track", "session", "lap", "begun", "time_s", "counts", "remarks"]
    delta = opened(archive, LAPS)
    field = engine("pyarrow.dataset").field
    if not near:
        none: DataFrame = LAPS.schema.empty_table().select(columns).to_pandas()
        return none
    edge = timedelta(seconds=1.0)
    begin = min(row["begun"] for row in near) - edge
    end = max(row["begun"] + timedelta(seconds=row["duration_s"]) for row in near) + edge
    within = (field("begun") >= begin) & (field("begun") <= end)
    laps: DataFrame = dataset_of(delta).to_table(columns=columns, filter=within).to_pandas()
    geometries = {recording: row["geometry"] for recording, row in timed.items()}
    # Rows that do not count at all are left out, as everywhere.
    laps = laps[laps[KEY].map(geometries) == laps["geometry"]]
    laps = laps.assign(counts=laps["counts"].eq(True))
    marked = laps["remarks"].fillna("").str.contains(_COUNTED_IN, regex=False)
    whole: DataFrame = laps[(laps["counts"] | marked) & laps["time_s"].notna()]
    return whole.reset_index(drop=True)


def _marks_before(laps: DataFrame) -> dict[_Lap, str]:
    marks: dict[_Lap, str] = {}
    aside = laps[~laps["counts"]]
    columns = (aside[name].tolist() for name in (KEY, "session", "lap", "remarks"))
    for recording, session, lap, remarks in zip(*columns, strict=True):
        match = _MARK.search(remarks or "")
        if match is not None:
            marks[recording, session, lap] = match[1]
    return marks


def _marks(
    archive: str, laps: DataFrame, timed: Mapping[str, Mapping[str, Any]]
) -> dict[_Lap, str]:
    """Tell of each lap that is another's, in which recording it counts."""
    pairs = _alike(laps)
    order = {
        recording: place
        for place, recording in enumerate(
            sorted(timed, key=lambda recording: (timed[recording]["added"], recording))
        )
    }
    ranks = laps[KEY].map(order).to_numpy()
    swapped = ranks[pairs[:, 0]] > ranks[pairs[:, 1]]
    pairs[swapped] = pairs[swapped][:, ::-1]
    names = laps[KEY].to_numpy()
    together = {(names[first], names[second]) for first, second in pairs}
    driven_as_one = _driven_as_one(archive, together)
    marks: dict[_Lap, str] = {}
    keys = list(zip(names, laps["session"].tolist(), laps["lap"].tolist(), strict=True))
    # By this order a lap is held against the one that counts first, and then against no other: a
    # day in many copies takes no longer than so many days.
    for first, second in sorted(pairs.tolist(), key=lambda pair: (ranks[pair[1]], ranks[pair[0]])):
        open_yet = keys[first] not in marks and keys[second] not in marks
        if open_yet and driven_as_one(names[first], names[second]):
            marks[keys[second]] = names[first]
    return marks


def _alike(laps: DataFrame) -> Any:
    """List pairs of laps, by row, that begin and last the same on one track, shape (n, 2)."""
    begun_s = laps["begun"].to_numpy("datetime64[us]").astype(np.int64) / 1e6
    time_s = laps["time_s"].to_numpy(float)
    track = laps["track"].astype("category").cat.codes.to_numpy()
    recording = laps[KEY].astype("category").cat.codes.to_numpy()
    order = np.lexsort((begun_s, track))
    pairs = [np.empty((0, 2), int)]
    for step in range(1, len(order)):
        first, second = order[:-step], order[step:]
        near = (track[first] == track[second]) & (begun_s[second] - begun_s[first] <= _SAME_S)
        if not near.any():
            break
        alike = near & (np.abs(time_s[second] - time_s[first]) <= _SAME_S)
        alike &= recording[first] != recording[second]
        pairs.append(np.stack([first[alike], second[alike]], axis=1))
    return np.concatenate(pairs)


def _driven_as_one(archive: str, together: set[tuple[str, str]]) -> Callable[[str, str], bool]:
    """Make what tells whether two recordings pass all gates at one time and place, both running."""
    if not together:
        return lambda *_: False
    recordings = sorted({recording for pair in together for recording in pair})
    own = engine("pyarrow.dataset").field(KEY).isin(recordings)
    columns = [KEY, "gate", "time_of_day", "longitude_deg", "latitude_deg"]
    every = dataset_of(opened(archive, CROSSINGS)).to_table(columns=columns, filter=own).to_pandas()
    of = dict(iter(every.dropna().sort_values("time_of_day").groupby(KEY)))

    @cache
    def driven_as_one(first: str, second: str) -> bool:
        return first in of and second in of and _is_same(of[first], of[second])

    return driven_as_one


def _is_same(first: DataFrame, second: DataFrame) -> bool:
    pandas = engine("pandas")
    tolerance = timedelta(seconds=_SAME_S)
    begin = max(first["time_of_day"].min(), second["time_of_day"].min()) - tolerance
    end = min(first["time_of_day"].max(), second["time_of_day"].max()) + tolerance
    for earlier, later in ((first, second), (second, first)):
        common = later[(later["time_of_day"] >= begin) & (later["time_of_day"] <= end)]
        if len(common) < _LEAST_CROSSINGS:
            return False
        beside = pandas.merge_asof(
            common,
            earlier,
            on="time_of_day",
            by="gate",
            direction="nearest",
            tolerance=tolerance,
            suffixes=("", "_beside"),
        )
        apart_m = geodesic_distance(
            *(
                beside[name].to_numpy(float)
                for name in (
                    "longitude_deg",
                    "latitude_deg",
                    "longitude_deg_beside",
                    "latitude_deg_beside",
                )
            )
        )
        # Where nothing is beside, the distance is no number and not within any.
        if np.mean(apart_m <= _SAME_M) < _SHARE:
            return False
    return True


def _write(archive: str, table: Table, marks: Mapping[_Lap, str | None]) -> None:
    """Mark rows of laps, or take marks from them, all rows of their recordings being written."""
    recordings = sorted({recording for recording, _, _ in marks})
    edit_rows(archive, table, recordings, lambda row: _marked(row, marks))


def _marked(row: dict[str, Any], marks: Mapping[_Lap, str | None]) -> dict[str, Any]:
    lap = row[KEY], row["session"], row["lap"]
    if lap not in marks:
        return row
    text = row["remarks"] or ""
    rest = _MARK.sub("", text).removeprefix("; ")
    would_count = row["counts"] or rest != text
    mark = marks[lap]
    if mark is None or not would_count:
        return row | {"counts": would_count, "remarks": rest}
    remarks = "; ".join(part for part in (rest, f"{_COUNTED_IN}{mark}") if part)
    return row | {"counts": False, "remarks": remarks}
