"""The pit lane of a track, taken from recordings of visits of it."""

from __future__ import annotations

import pathlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.building.path import Path, path_driven
from trackkit.building.pit_lane import (
    FARTHEST_M,
    OFF_LINE_M,
    SHORTEST_M,
    SLOW_SHARE,
    Along,
    FoundPitLane,
    Visit,
    along_line,
    how_it_was_found,
    lane_of,
    visit_between,
    visits_of,
)
from trackkit.errors import PlaceError
from trackkit.gates.pit_lane import set_pit_lane
from trackkit.motion.smooth import smooth
from trackkit.motion.vehicle import assumed_speed, vehicle_for
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.band import band_sides
from trackkit.track.model import Track

RACING_SHARE = 0.5
"""A drive at less than this share of the speeds of a race, by the median, is none: a van's."""
_BIN_M = 10.0


def set_driven_pit_lane(
    track: Track, recordings: Sequence[Recording], *, by: str | None = None
) -> tuple[Track, tuple[str, ...]]:
    """Give a track the pit lane that recordings drive through, in place of the one it has.

    A visit is found as `trackkit.building.pit_lane.find_pit_lane` finds one in laps, from where it
    leaves the band, if the track has its width, and is slower than what the recordings pass at
    there, or else than a simple vehicle at their pace.  Where they go nowhere at the pace of a
    race, speed says nothing and is not asked for.  A recording that lies beside the line from its
    first fix to its last is one visit.  Several visits are averaged by their median.

    Parameters
    ----------
    track
        The track.
    recordings
        Of one visit or more, with the track before and after it.
    by
        Who says so, for the history.

    Returns
    -------
    track, remarks
        The track with a line of history, and what there is to say, a sentence each.

    Raises
    ------
    PlaceError
        When no recording holds a visit.
    NoLapError
        When a receiver never moves.
    TrackFileError
        When a position is no longitude and latitude.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> trackkit.set_driven_pit_lane(track, [drive.recording])
    Traceback (most recent call last):
        ...
    trackkit.errors.PlaceError: practice on Pipwick Kart Circuit: holds no visit of the pit lane ...
    """
    paths = [path_driven(smooth(recording, track.plane)) for recording in recordings]
    lane = _driven_lane(track, paths)
    if lane is None:
        several = len(recordings) > 1
        raise PlaceError(
            f"{'the recordings hold' if several else 'holds'} no visit of the pit lane of "
            f"{track.name!r}, which would leave the line, run {SHORTEST_M:.0f} m or more clear of "
            f"the track and at most {FARTHEST_M:.0f} m beside it, at {100 * SLOW_SHARE:.0f} % or "
            "less of the usual speed, and come back",
            file=None if several else recordings[0].name,
            remedy=Remedy("record one visit with the track before and after it, or draw the line"),
        )
    longitude, latitude = track.plane.to_geographic(lane.curve.position(lane.curve.sampled()))
    plural = "s" if lane.visits > 1 else ""
    files = ", ".join(pathlib.Path(recording.name).name for recording in recordings)
    changed, remarks = set_pit_lane(
        track, longitude, latitude, by=by, source=f"{lane.visits} visit{plural} in {files}"
    )
    return changed, (how_it_was_found(track, lane.curve, lane.visits), *remarks)


def _driven_lane(track: Track, paths: Sequence[Path]) -> FoundPitLane | None:
    curve = track.curve
    seen = [along_line(curve, path) for path in paths]
    clear = [_clear(track, along) for along in seen]
    usual = _usual_speed(track, paths, seen, clear)
    visits: list[Visit] = []
    for path, along, off in zip(paths, seen, clear, strict=True):
        at = np.interp(along.where_m, *usual, period=curve.length_m if curve.closed else None)
        whole = visit_between(curve, path, along, 0, len(off) - 1) if off.all() else None
        if whole is not None:
            # Nobody leaves the track from the first fix to the last by mistake.
            visits.append(replace(whole, steady=True))
        visits.extend(visits_of(curve, path, along, off=off, usual_mps=at))
    return lane_of(curve, visits)


def _clear(track: Track, along: Along) -> Flags:
    """Mark where a drive is off the line, and off the band where its width is known."""
    centreline = track.centreline
    limit = np.full(len(along.where_m), OFF_LINE_M)
    if centreline.width_m or centreline.width_profile:
        left, right = band_sides(track, along.where_m)
        limit = np.maximum(limit, np.where(along.offset_m > 0.0, left, right))
    return np.asarray(np.abs(along.offset_m) > limit)


def _usual_speed(
    track: Track, paths: Sequence[Path], seen: Sequence[Along], clear: Sequence[Flags]
) -> tuple[Floats, Floats]:
    """Read the speed on the line by chainage; where nobody drove, a simple vehicle's at that pace.

    Returns
    -------
    chainage_m, speed_mps
        Shape (n,) each; speeds are infinite where nobody drives at the pace of a race.
    """
    curve = track.curve
    chainage = curve.chainages(_BIN_M)
    assumed = assumed_speed(curve, chainage, vehicle_for(track))
    where = np.concatenate([along.where_m[~off] for along, off in zip(seen, clear, strict=True)])
    speed = np.concatenate([path.speed_mps[~off] for path, off in zip(paths, clear, strict=True)])
    if not len(where):
        return chainage, np.full(len(chainage), np.inf)
    index = np.minimum((where / curve.length_m * len(chainage)).astype(np.intp), len(chainage) - 1)
    order = np.argsort(index, kind="stable")
    filled, begin = np.unique(index[order], return_index=True)
    driven = np.array([np.median(part) for part in np.split(speed[order], begin[1:])])
    pace = float(np.median(driven / assumed[filled]))
    if pace < RACING_SHARE:
        return chainage, np.full(len(chainage), np.inf)
    usual = pace * assumed
    usual[filled] = driven
    return chainage, usual
