"""Laps laid out by chainage with all that is known of each place, and how well it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.geometry.vectors import left_of
from trackkit.motion.drive import LONGEST_GAP_S, Drive
from trackkit.motion.error_covariance import ErrorCovariance
from trackkit.motion.stretch_covariance import StretchCovariance
from trackkit.timing.column_names import ALONG_LAP
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap
from trackkit.timing.motion_sigmas import motion_sigmas
from trackkit.timing.traces import SLOWEST_MPS, Trace, trace_lap
from trackkit.track.model import Track


@dataclass(frozen=True, eq=False)
class _Places:
    """Where the rows of a trace lie that were reached, and the motion there.

    `index` and `share` say where in the drive, shape (k,); `motion` is position, velocity and
    acceleration, shape (k, 3, 2).
    """

    lap: Lap
    begun: Crossing
    trace: Trace
    reached: Flags
    index: Indices
    share: Floats
    motion: Floats

    @property
    def stretch(self) -> tuple[int, int]:
        """First and last fix that the rows and the lap's beginning lie between."""
        first = min(int(self.index.min()), self.begun.fix)
        return first, max(int(self.index.max()), self.begun.fix) + 1


def trace_columns(
    track: Track, drive: Drive, laps: Sequence[Lap]
) -> Iterator[tuple[Lap, dict[str, Floats]]]:
    """Lay laps out by chainage, with all that is known of each place.

    A row is where the vehicle passed the line square to the track at a chainage.  Along the line
    its place is that one by definition, so that what is not known along it is in the sigma of the
    elapsed time, and what is not known across it in that of the offset.  Sigmas are those of the
    smoothed drive, carried over linearly (JCGM 100, "GUM", section 5.2; from memory); the elapsed
    time's counts what its beginning and its end share.  The line is taken as known.

    Parameters
    ----------
    track
        The track.
    drive
        That the laps were timed on.
    laps
        In order of time; those without a beginning, an end, or any place that was reached are
        left out.

    Yields
    ------
    tuple
        The lap, and its columns by the names `ALONG_LAP`, shape (n,) each, NaN where the recording
        does not tell: elapsed time since the lap began and time since the first fix, seconds;
        longitude within ±180 and latitude, degrees; height as the receiver gave it, metres; speed,
        m/s; accelerations along the direction of travel and to the left of it, m/s^2; distance to
        the left of the centreline, metres; and one sigma of each that has one.
    """
    traced = [places for lap in laps if (places := _places(track, drive, lap)) is not None]
    stretches = drive.stretch_covariances([places.stretch for places in traced])
    line = drive.line
    error = None if line is None or not traced else line.error_covariance(line.node_s)
    for places, covariance in zip(traced, stretches, strict=True):
        yield places.lap, _columns(track, drive, places, covariance, error)


def _places(track: Track, drive: Drive, lap: Lap) -> _Places | None:
    trace, begun = trace_lap(track, drive, lap), lap.passed[0] if lap.passed else None
    if trace is None or begun is None:
        return None
    reached = np.isfinite(trace.elapsed_s)
    if not reached.any():
        return None
    index, share, motion = drive.motion_at(begun.time_s + trace.elapsed_s[reached])
    return _Places(lap, begun, trace, reached, index, share, motion)


def _columns(
    track: Track,
    drive: Drive,
    places: _Places,
    covariance: StretchCovariance,
    error: ErrorCovariance | None,
) -> dict[str, Floats]:
    trace, reached = places.trace, places.reached
    chainage, motion = trace.chainage_m[reached], places.motion
    ahead = track.curve.direction(chainage)
    left = left_of(ahead)
    time = places.begun.time_s + trace.elapsed_s[reached]
    longitude, latitude = drive.plane.to_geographic(motion[:, 0])
    # The drive may be on another plane than the track has now.
    on_track = track.plane.to_plane(longitude, latitude)
    offset = np.einsum("ij,ij->i", on_track - track.curve.position(chainage), left)
    columns = {
        "time_s": time,
        "longitude_deg": wrap_longitude(longitude),
        "latitude_deg": latitude,
        "height_m": _height(drive, time),
        "offset_m": offset,
        **_sigmas(places, covariance, error, ahead),
    }
    spread = {name: _spread_out(column, reached) for name, column in columns.items()}
    spread |= {name: getattr(trace, name) for name in ALONG_LAP if name not in columns}
    return {name: spread[name] for name in ALONG_LAP}


def _sigmas(
    places: _Places, covariance: StretchCovariance, error: ErrorCovariance | None, ahead: Floats
) -> dict[str, Floats]:
    """One sigma of each column that has one, shape (k,)."""
    velocity = places.motion[:, 1]
    pace = np.hypot(velocity[:, 0], velocity[:, 1])
    pace = np.where(pace < SLOWEST_MPS, np.nan, pace)
    # A vehicle that is farther back than it is taken to be comes later, by this a metre.
    delay = -ahead / np.einsum("ij,ij->i", velocity, ahead)[:, None]
    delay = np.where(np.isfinite(pace)[:, None], delay, np.nan)

    def weights(position: Floats) -> Floats:
        weight = np.zeros((len(pace), 3, 2))
        weight[:, 0] = position
        return weight

    # The last is where the lap begins.
    every = covariance.motion(
        np.append(places.index, places.begun.fix), np.append(places.share, places.begun.share)
    )
    here, at_begin = every[:-1], every[-1]

    def variance(weight: Floats) -> Floats:
        by_axis = weight.transpose(0, 2, 1).reshape(-1, 6)
        return np.asarray(np.einsum("ki,ki->k", by_axis, (here @ by_axis[:, :, None])[:, :, 0]))

    by_left = left_of(ahead) + np.einsum("ij,ij->i", velocity, left_of(ahead))[:, None] * delay
    late, aside_of_line = weights(delay), weights(by_left)
    alone = variance(late)
    elapsed, offset = _between(places, covariance, alone, late, at_begin), variance(aside_of_line)
    left_over = np.ones(len(pace))
    if error is not None:
        elapsed, offset, beside = _beside_line(
            places, error, (elapsed, delay), (offset, by_left), (alone, delay)
        )
        left_over = np.sqrt(beside / alone)
    return {
        "elapsed_sigma_s": np.sqrt(elapsed),
        "offset_sigma_m": np.sqrt(offset),
        **motion_sigmas(places.motion, here, delay, left_over),
    }


def _between(
    places: _Places, covariance: StretchCovariance, late_s2: Floats, late: Floats, beginning: Floats
) -> Floats:
    """Variance of the times from the lap's beginning to places, shape (k,), of the drive alone."""
    begun = places.begun
    at_begin = np.zeros((3, 2))
    at_begin[0] = [-part for part in begun.delay]
    east_north = at_begin.T.ravel()
    shared = covariance.covariance(
        (begun.fix, begun.share, at_begin), places.index, places.share, late
    )
    between = late_s2 + east_north @ beginning @ east_north - 2.0 * shared
    return np.asarray(np.maximum(between, 0.0))


def _beside_line(
    places: _Places,
    error: ErrorCovariance,
    elapsed: tuple[Floats, Floats],
    *others: tuple[Floats, Floats],
) -> list[Floats]:
    """Variances of sums where other laps of the drive tell its slow error.

    Each sum comes as its variance on the drive alone, shape (k,), and its weights, shape (k, 2).
    The first is counted from the lap's beginning.
    """
    begun, time = places.begun, places.begun.time_s + places.trace.elapsed_s[places.reached]
    part = error.part(min(begun.time_s, time.min()), max(begun.time_s, time.max()))
    origin = np.array(begun.delay)
    around = part.at(np.append(time, begun.time_s))
    shared = part.shared(time, begun.time_s, origin)
    left = []
    for number, (alone, slope) in enumerate((elapsed, *others)):
        before, after = (np.einsum("ki,kij,kj->k", slope, own[:-1], slope) for own in around)
        if number == 0:
            before, after = (
                value + origin @ own[-1] @ origin + 2.0 * np.einsum("ki,ki->k", slope, other)
                for value, own, other in zip((before, after), around, shared, strict=True)
            )
        left.append(np.maximum(alone - before, 0.0) + after)
    return left


def _height(drive: Drive, time_s: Floats) -> Floats:
    """Read heights between fixes that have one and are not far apart."""
    height = drive.recording.elevation_m
    if height is None or not np.isfinite(height).any():
        return np.full(len(time_s), np.nan)
    has = np.isfinite(height)
    known_s = drive.time_s[has]
    read = np.interp(time_s, known_s, height[has], left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(known_s, time_s), 1, max(len(known_s) - 1, 1))
    if len(known_s) > 1:
        read[known_s[after] - known_s[after - 1] > LONGEST_GAP_S] = np.nan
    return np.asarray(read)


def _spread_out(column: Floats, reached: Flags) -> Floats:
    whole = np.full(len(reached), np.nan)
    whole[reached] = column
    return whole
