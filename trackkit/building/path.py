"""A drive as a path on the ground, before any track is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.building.bridges import LONGEST_BEND_S, bridged, tangent_share
from trackkit.errors import NoLapError
from trackkit.geometry.runs import runs_of
from trackkit.geometry.vectors import distance_along
from trackkit.motion.drive import Drive

STANDING_MPS = 0.8
"""Slower than this the vehicle stands: its fixes say nothing about the line."""
_STEP_M = 3.0
_NEAREST_M = 0.05
_MOST_PIECES = 40
_CLOSE_STEPS = 3
_LONG_STOP_S = 5.0
_GAP_S = 1.5
_GAP_INTERVALS = 3.0
_GAP_M = 10.0
"""Fixes farther apart than these three leave a gap on the way.  An interval is usual if half of the
way was covered in shorter ones: a logger that writes a fix only now and then leaves no gaps."""
_LONGEST_GAP_S = 600.0
"""Over a longer one, what the fixes at its ends tell of course and speed is of no use."""


@dataclass(frozen=True, eq=False)
class Path:
    """A drive without its stops, at even spacing along the way.

    Parameters
    ----------
    position_m, direction
        Shape (n, 2).
    time_s, speed_mps, elevation_m
        Shape (n,); elevation NaN where unknown.
    step_m
        Spacing, metres.
    stops
        Stops of 5 s or longer, as (time_s, lasting_s) in order.
    fixed
        Whether fixes are near, shape (n,); False inside a gap, as in a tunnel.
    drive
        The smoothed drive it was laid out from.
    """

    position_m: Floats
    direction: Floats
    time_s: Floats
    speed_mps: Floats
    elevation_m: Floats
    step_m: float
    stops: tuple[tuple[float, float], ...]
    fixed: Flags
    drive: Drive


def path_driven(drive: Drive) -> Path:
    """Take the stops out of a drive and lay it out by distance.

    Raises
    ------
    NoLapError
        When the drive never moves.
    """
    from scipy.interpolate import Akima1DInterpolator, CubicHermiteSpline

    ground_speed = _ground_speed(drive)
    moving = ground_speed >= STANDING_MPS
    index = np.flatnonzero(moving)
    if len(index):
        # Of fixes nearer together one is enough, and at a crawl there are many.
        crossed = np.floor(distance_along(drive.position_m[index]) / _NEAREST_M)
        index = index[np.concatenate([[True], np.diff(crossed) > 0])]
    if len(index) < 4:
        raise NoLapError(
            "the receiver never moves in this recording",
            file=drive.recording.name,
            remedy="record at least one whole lap",
        )
    time, position, heading = _nodes(drive, index)
    distance = distance_along(position)
    if heading is not None:
        spline = CubicHermiteSpline(distance, position, heading)
    else:
        # Without Doppler the velocities of sparse fixes swing; Akima's modified rule does not.
        spline = Akima1DInterpolator(distance, position, method="makima")
    count = max(int(distance[-1] / _STEP_M), 4)
    along = np.linspace(0.0, distance[-1], count + 1)
    tangent = np.asarray(spline(along, 1))
    norm = np.linalg.norm(tangent, axis=1, keepdims=True)
    elevation = drive.recording.elevation_m
    when = np.interp(along, distance, time)
    return Path(
        position_m=np.asarray(spline(along)),
        direction=tangent / np.maximum(norm, 1e-9),
        time_s=when,
        speed_mps=np.interp(when, drive.time_s[index], ground_speed[index]),
        elevation_m=np.full(count + 1, np.nan)
        if elevation is None
        else np.interp(when, drive.time_s[index], elevation[index]),
        step_m=float(along[1]),
        stops=_stops(drive, moving),
        fixed=~_in_gap(drive, when),
        drive=drive,
    )


def _nodes(drive: Drive, index: Indices) -> tuple[Floats, Floats, Floats | None]:
    """Lay out times, positions and headings at most `_STEP_M` apart.

    Between fixes far apart the drive bends: the way along it is read from the most probable motion
    between them.  Headings are None without Doppler.
    """
    if not drive.has_doppler:
        return _nodes_by_positions(drive, index)
    chord = np.linalg.norm(np.diff(drive.position_m[index], axis=0), axis=1)
    pieces = np.clip(np.ceil(chord / _STEP_M), 1, _MOST_PIECES).astype(np.intp)
    pieces[np.diff(index) > 1] = 1
    first = np.repeat(index[:-1], pieces)
    begun = np.repeat(np.cumsum(pieces) - pieces, pieces)
    share = (np.arange(len(first)) - begun) / np.repeat(pieces, pieces)
    position, velocity = drive.between(first, share)
    # Over a long gap the accelerations at its ends, noisy as they are, would swing the line far.
    span = drive.time_s[np.minimum(first + 1, len(drive.time_s) - 1)] - drive.time_s[first]
    wide = (span > _GAP_S) & (share > 0)
    if wide.any():
        position[wide], velocity[wide] = _bridged(drive, first[wide], share[wide])
    last = index[-1]
    position = np.vstack([position, drive.position_m[last]])
    velocity = np.vstack([velocity, drive.velocity_mps[last]])
    time = np.append(drive.time_s[first] + share * span, drive.time_s[last])
    time = _paced(time, position, np.flatnonzero(np.append(share == 0.0, True)))
    pace = np.maximum(np.linalg.norm(velocity, axis=1, keepdims=True), 1e-9)
    return time, position, velocity / pace


def _nodes_by_positions(drive: Drive, index: Indices) -> tuple[Floats, Floats, Floats | None]:
    """Lay out nodes of a drive without velocities; headings only where a gap needs them.

    Beside a gap the fixes on its own side tell the course: the chord across it does not.
    """
    from scipy.interpolate import Akima1DInterpolator

    time, place = drive.time_s[index], drive.position_m[index]
    lasting = np.diff(time)
    # Over a stop nothing was driven that could bend.
    whole = np.diff(index) == 1
    gap = whole & _bent_gaps(drive)[index[:-1]]
    long = whole & ~gap & (lasting > LONGEST_BEND_S)
    gap &= _between_close(lasting <= _GAP_S)
    distance = distance_along(place)
    chord = np.diff(distance)
    if not (long | gap).any():
        return time, place, None
    tangent = np.asarray(Akima1DInterpolator(distance, place, method="makima")(distance, 1))
    reach = (np.where(long, tangent_share(lasting), 1.0) * chord)[:, None]
    begun_m, ended_m = reach * tangent[:-1], reach * tangent[1:]
    velocity = drive.velocity_mps[index]
    span = lasting[gap, None]
    begun_m[gap], ended_m[gap] = span * velocity[:-1][gap], span * velocity[1:][gap]
    pieces = np.clip(np.ceil(chord / _STEP_M), 1, _MOST_PIECES).astype(np.intp)
    pieces[np.diff(index) > 1] = 1
    first = np.repeat(np.arange(len(chord)), pieces)
    begun = np.repeat(np.cumsum(pieces) - pieces, pieces)
    share = (np.arange(len(first)) - begun) / np.repeat(pieces, pieces)
    position, heading = bridged(
        place[first], place[first + 1], begun_m[first], ended_m[first], share
    )
    position, heading = np.vstack([position, place[-1]]), np.vstack([heading, tangent[-1]])
    even = np.append(time[first] + share * lasting[first], time[-1])
    even = _paced(even, position, np.flatnonzero(np.append(share == 0.0, True)))
    return even, position, heading / np.maximum(np.linalg.norm(heading, axis=1), 1e-9)[:, None]


def _between_close(close: Flags) -> Flags:
    """Mark the steps with `_CLOSE_STEPS` close ones on either side."""
    count = len(close)
    total = np.concatenate([[0], np.cumsum(close)])
    index = np.arange(count)
    before = total[index] - total[np.maximum(index - _CLOSE_STEPS, 0)]
    after = total[np.minimum(index + 1 + _CLOSE_STEPS, count)] - total[index + 1]
    return np.asarray((before == _CLOSE_STEPS) & (after == _CLOSE_STEPS))


def _paced(time_s: Floats, position_m: Floats, fix: Indices) -> Floats:
    """Have a drive go at an even pace where it lasts long from one fix to the next.

    Curves whose tangents were shortened are dense at their ends.

    Parameters
    ----------
    time_s, position_m
        Of nodes, shape (n,) and (n, 2).
    fix
        Which nodes are fixes, rising, from the first to the last one.
    """
    when = time_s[fix]
    if not np.any(np.diff(when) > LONGEST_BEND_S):
        return time_s
    distance = distance_along(position_m)
    span = np.clip(np.searchsorted(fix, np.arange(len(time_s)), side="right") - 1, 0, len(fix) - 2)
    begin, way = distance[fix][span], np.diff(distance[fix])[span]
    even = when[span] + np.diff(when)[span] * (distance - begin) / np.maximum(way, 1e-9)
    return np.where(np.diff(when)[span] > LONGEST_BEND_S, even, time_s)


def _bridged(drive: Drive, index: Indices, share: Floats) -> tuple[Floats, Floats]:
    """Positions and velocities between fixes on the cubic through theirs, a share of the way."""
    span = drive.time_s[index + 1] - drive.time_s[index]
    # Where logging is close but for a gap, its ends tell how the line bends across it.
    reach = (span * np.where(_bent_gaps(drive)[index], 1.0, tangent_share(span)))[:, None]
    position, tangent = bridged(
        drive.position_m[index],
        drive.position_m[index + 1],
        reach * drive.velocity_mps[index],
        reach * drive.velocity_mps[index + 1],
        share,
    )
    return position, tangent / span[:, None]


def _in_gap(drive: Drive, time_s: Floats) -> Flags:
    """Mark times that lie between two fixes much farther apart than is usual on the way."""
    gap = _gaps(drive)
    if len(gap) == 0:
        return np.zeros(len(time_s), dtype=bool)
    index = np.clip(np.searchsorted(drive.time_s, time_s, side="right") - 1, 0, len(gap) - 1)
    inside = (time_s > drive.time_s[index]) & (time_s < drive.time_s[index + 1])
    return np.asarray(gap[index] & inside)


def _gaps(drive: Drive) -> Flags:
    """Mark the steps from fix to fix that are much longer than is usual on the way."""
    step = np.diff(drive.time_s)
    if len(step) == 0:
        return np.zeros(0, dtype=bool)
    order = np.argsort(step, kind="stable")
    chord = np.linalg.norm(np.diff(drive.position_m, axis=0), axis=1)
    way = np.cumsum(chord[order])
    usual = step[order[np.searchsorted(way, 0.5 * way[-1])]]
    return np.asarray((step > max(_GAP_S, _GAP_INTERVALS * float(usual))) & (chord > _GAP_M))


def _bent_gaps(drive: Drive) -> Flags:
    """Mark the gaps whose ends tell how the line bends across them."""
    return np.asarray(_gaps(drive) & (np.diff(drive.time_s) <= _LONGEST_GAP_S))


def _ground_speed(drive: Drive) -> Floats:
    """Speed at each fix; without Doppler, the net speed over two seconds or the next fixes.

    The velocities that smoothing finds swing where fixes are sparse, above all around a stop.
    """
    if drive.has_doppler:
        return drive.speed_mps
    time = drive.time_s
    ends = np.stack([np.maximum(time - 1.0, time[0]), np.minimum(time + 1.0, time[-1])])
    east, north = (np.interp(ends, time, drive.position_m[:, axis]) for axis in (0, 1))
    net = np.hypot(east[1] - east[0], north[1] - north[0])
    return np.asarray(net / np.maximum(ends[1] - ends[0], 1e-9))


def _stops(drive: Drive, moving: Flags) -> tuple[tuple[float, float], ...]:
    stops = []
    for begin, end in runs_of(~moving):
        first = drive.time_s[max(begin - 1, 0)]
        lasting = float(drive.time_s[min(end, len(moving) - 1)] - first)
        if lasting >= _LONG_STOP_S:
            stops.append((float(first), lasting))
    return tuple(stops)
