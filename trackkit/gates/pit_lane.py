"""The pit lane of a track, given as a line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from trackkit.errors import PlaceError, TrackkitError
from trackkit.gates.meant import pit_lane_curve, spans_pit_lane
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.track.features import BESIDE_THE_TRACK, PitLane, require_positions
from trackkit.track.history import now
from trackkit.track.model import Track, new_id

FARTHEST_LANE_M = 300.0
"""A pit lane that is nowhere nearer to the line than this is not of this circuit."""
SHORTEST_LANE_M = 20.0


def set_pit_lane(
    track: Track,
    longitude_deg: ArrayLike,
    latitude_deg: ArrayLike,
    *,
    by: str | None = None,
    source: str | None = None,
) -> tuple[Track, tuple[str, ...]]:
    """Give a track its pit lane as a line, in place of the one it has.

    Parameters
    ----------
    track
        The track.
    longitude_deg, latitude_deg
        The line drivers take through the pits, degrees, shape (n,), n at least 2.  Its direction
        is that of the track beside it: a line drawn the other way is turned.
    by
        Who says so, for the history.
    source
        What the line was taken from, for the history.

    Returns
    -------
    track, remarks
        The track with a line of history, and what there is to say, a sentence each.

    Raises
    ------
    PlaceError
        When the line is shorter than `SHORTEST_LANE_M`, or nowhere within `FARTHEST_LANE_M` of the
        track.
    TrackFileError
        When a position is no longitude and latitude.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> pits, remarks = trackkit.set_pit_lane(track, [83.351, 83.352], [38.722, 38.722])
    >>> len(pits.pit_lanes), remarks
    (1, ())
    """
    longitude = np.asarray(longitude_deg, dtype=float)
    latitude = np.asarray(latitude_deg, dtype=float)
    require_positions(longitude, latitude, "the pit lane")
    longitude = unwrap_longitude(longitude)
    try:
        lane = pit_lane_curve(track, longitude, latitude)
    except TrackkitError as error:
        raise PlaceError(
            "the pit lane has fewer than two places", remedy="give a line through it"
        ) from error
    if lane.length_m < SHORTEST_LANE_M:
        raise PlaceError(
            f"a pit lane of {lane.length_m:.1f} m is too short",
            remedy=f"give a line of {SHORTEST_LANE_M:.0f} m or more",
        )
    chainage = lane.chainages(2.0)
    where, offset = track.curve.project(lane.position(chainage))
    away = np.abs(offset)
    if away.min() > FARTHEST_LANE_M:
        raise PlaceError(
            f"the pit lane passes {away.min():,.0f} m from the line of {track.name!r}",
            remedy="check that it is of this circuit",
        )
    remarks: tuple[str, ...] = ()
    facing = (lane.direction(chainage) * track.curve.direction(where)).sum(axis=1)
    if float(np.median(facing)) < 0.0:
        longitude, latitude = longitude[::-1].copy(), latitude[::-1].copy()
        remarks += ("the line was drawn against the racing direction; it was turned",)
    place = f"{longitude[0]:.5f},{latitude[0]:.5f}"
    before = track.pit_lanes[0] if track.pit_lanes else None
    feature = (
        replace(before, longitude_deg=longitude, latitude_deg=latitude, height_m=None)
        if before is not None
        else PitLane(new_id(track, "pit-lane", place), longitude, latitude)
    )
    changed = replace(track, pit_lanes=(feature, *track.pit_lanes[1:]))
    for gate in track.gates:
        if gate.kind in BESIDE_THE_TRACK and not spans_pit_lane(changed, gate):
            remarks += (f"gate {gate.name} does not lie across this pit lane: move it there",)
    done = "changed the pit lane to" if before is not None else "added"
    what = f"{done} a pit lane of {lane.length_m:.0f} m"
    if source is not None:
        what += f", from {source}"
    return changed.revised_by(what, now(), by), remarks


def remove_pit_lane(track: Track, *, by: str | None = None) -> tuple[Track, tuple[str, ...]]:
    """Take the pit lane out of a track.

    Parameters
    ----------
    track
        The track.
    by
        Who says so, for the history.

    Returns
    -------
    track, remarks
        The track with a line of history, and what there is to say, a sentence each.

    Raises
    ------
    PlaceError
        When it has none.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> track, _ = trackkit.set_pit_lane(track, [83.351, 83.352], [38.722, 38.722])
    >>> track, _ = trackkit.remove_pit_lane(track)
    >>> track.pit_lanes
    ()
    """
    if not track.pit_lanes:
        raise PlaceError(f"{track.name!r} has no pit lane")
    changed = replace(track, pit_lanes=track.pit_lanes[1:])
    remarks = tuple(
        f"gate {gate.name} stays where the pit lane was"
        for gate in track.gates
        if gate.kind in BESIDE_THE_TRACK
    )
    return changed.revised_by("removed the pit lane", now(), by), remarks
