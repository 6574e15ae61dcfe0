"""A drive laid beside its track, so that its laps tell of each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.beside_track import (
    FAST_M,
    FEWEST_NODE_M,
    levels_beside,
    node_spacing_m,
)
from trackkit.motion.drive import Drive
from trackkit.motion.lap_pace import LapPace
from trackkit.motion.line_levels import far_off, likeliest, off_line, without
from trackkit.motion.line_model import Knots, LineLevels, Sideways
from trackkit.motion.line_shifts import Shifts
from trackkit.motion.noise import USUAL
from trackkit.motion.repeated_line import RepeatedLine, fit_line
from trackkit.motion.shifted_stretches import (
    AGAIN_GAIN,
    LEAST_GAIN,
    beside_neighbours,
    shifted_stretches,
    standing_out,
    suspected,
)
from trackkit.timing.lap_wander import FEWEST_LAPS, levels_from_laps
from trackkit.track.model import Track

_KNOT_M, _CLOSEST_KNOT_M = 12.0, 4.0
_USUAL_KNOTS, _MOST_KNOTS = 250, 600
"""A line that cannot bend as fast as the track turns is made up for by a shift of all laps: metres,
where drivers cut the corners.  Short tracks turn within less way."""
_MOST_TURN_RAD = 0.9
"""Where the track turns by more from knot to knot, laps say nothing: of a very long one."""
_FARTHEST_LINE_M = 4.0
"""Nobody drives farther beside a line of the track, root mean square: a fit that says so is wrong
about the line, which then says nothing of where on the ground the laps are."""
_SLOWEST_MPS = 3.0
_BESIDE_BAND_M = 3.0
"""So far beyond the band where cars run a drive may still be of a lap."""
_TRUSTED = 1e-3
_SAME_WAY = 0.7
FEWEST = 2
"""Laps tell of each other from so many on."""
_JUMP_ROUNDS = 3
_FINE_M = 0.3 * USUAL.white_m
_FEWEST_PASSES = 1.8
"""A place is passed so often, half of all places at least, before laps tell of each other."""


def line_of_laps(
    track: Track, drive: Drive, laps: int, spans: Sequence[tuple[float, float]] = ()
) -> RepeatedLine | None:
    """Find the line that a drive repeats, and how far the drive is off from place to place.

    Parameters
    ----------
    track
        That the laps are of.
    drive
        Smoothed, on the track's plane.
    laps
        How many whole laps it has.
    spans
        Beginning and end, seconds, of those that tell the receiver's wander: it is read from them
        again where some of what they told was that positions jumped aside.

    Returns
    -------
    RepeatedLine or None
        None where the drive does not pass most places of the track at least twice; where its
        speeds tell along the drive alone how far it is off; and where its fixes scatter so little
        that the receiver may be far better than is usual, and neither velocities nor laps enough
        tell how far it wanders.
    """
    fine = drive.levels.white_m < _FINE_M
    wanders = drive.wander_from_recording or (not drive.has_doppler and laps >= FEWEST_LAPS)
    if drive.has_speed_alone or laps < FEWEST or (fine and not wanders):
        return None
    side = sideways(track, drive)
    if side is None:
        return None
    length = track.curve.length_m
    if _passes(side, length) < _FEWEST_PASSES:
        return None
    levels = levels_beside(
        track, drive.levels, drive.recording.interval_s, doppler=drive.has_doppler
    )
    knots = _knots(track)
    turn_rad = np.abs(track.curve.curvature(side.chainage_m)) * length / len(knots.chainage_m)
    side = without(side, turn_rad > _MOST_TURN_RAD)
    line = _fitted(side, levels, knots)
    return line if drive.has_doppler else _with_jumps(track, drive, spans, side, line, levels)


def _fitted(
    side: Sideways,
    levels: LineLevels,
    knots: Knots,
    before: LineLevels | None = None,
    shifts: Shifts | None = None,
    shifted_m: Floats | None = None,
) -> RepeatedLine:
    """Fit a line with the likeliest levels and without what leaves it.

    Parameters
    ----------
    shifts, shifted_m
        Stretches that jumped aside, and about how far to the left each node has.
    """
    length, closed = knots.length_m, knots.closed
    clear = side if shifted_m is None else replace(side, offset_m=side.offset_m - shifted_m)
    off = far_off(clear, length)
    found = likeliest(without(clear, off), levels, length, closed=closed)
    if found.repeated_m > _FARTHEST_LINE_M:
        found = replace(found, shift_m=max(found.shift_m, found.repeated_m))
    side = without(side, off) if shifts is None else shifts.quiet(without(side, off))
    line = fit_line(side, found, knots, before or levels, shifts)
    off = off_line(line) & np.isfinite(side.sigma_m)
    return (
        fit_line(without(side, off), found, knots, before or levels, shifts) if off.any() else line
    )


def _with_jumps(
    track: Track,
    drive: Drive,
    spans: Sequence[tuple[float, float]],
    side: Sideways,
    line: RepeatedLine,
    before: LineLevels,
) -> RepeatedLine:
    """Find where positions without velocities jumped aside, and fit the line again.

    Jumps spoil the levels and the line by which they are found: after the largest others show.
    """
    knots = line.knots
    pace = LapPace.of(side, knots.length_m)
    count, least = 0, LEAST_GAIN
    for _ in range(_JUMP_ROUNDS):
        error = np.einsum("ij,ij->i", side.left, line.error_m)
        rest = side.offset_m - line.line_m - line.deviation_m - error
        marked = suspected(side, rest, pace) if not count else np.ones(len(rest), dtype=bool)
        if not marked.any():
            break
        driven = line.line_m + beside_neighbours(side, line.deviation_m, knots.length_m)
        shifts = shifted_stretches(side, driven, line.levels, marked, pace, least)
        fitted = None if shifts is None else _borne_out(side, line.levels, knots, shifts, least)
        if fitted is None or fitted.shifts is None:
            break
        shifts = fitted.shifts
        drive_m = fitted.shifted(drive.time_s)
        calm = replace(drive, position_m=drive.position_m - drive_m)
        noise = levels_from_laps(track, calm, spans)
        levels = replace(before, wander_m=noise.wander_m, wander_time_s=noise.wander_time_s)
        shifted = np.einsum("ij,ij->i", side.left, fitted.shifted(side.time_s))
        line = _fitted(side, levels, knots, before, shifts, shifted)
        if shifts.count == count:
            break
        count, least = shifts.count, AGAIN_GAIN
    return line


def _borne_out(
    side: Sideways, levels: LineLevels, knots: Knots, shifts: Shifts, least_gain: float
) -> RepeatedLine | None:
    """Fit the line with the shifts that all laps together bear out; None where they bear out none.

    Each time some are left out the others may have to go, too.
    """
    while shifts.count:
        line = fit_line(shifts.quiet(side), levels, knots, shifts=shifts)
        kept = standing_out(line, least_gain)
        if kept.all():
            return line
        shifts = shifts.only(kept)
    return None


def _knots(track: Track) -> Knots:
    length = track.curve.length_m
    fewest = min(_USUAL_KNOTS, length / _CLOSEST_KNOT_M)
    count = int(np.clip(length / _KNOT_M, fewest, _MOST_KNOTS))
    chainage = np.linspace(0.0, length, count, endpoint=not track.closed)
    return Knots(chainage, track.curve.left(chainage), length, track.closed)


def sideways(track: Track, drive: Drive) -> Sideways | None:
    """Lay a drive beside the centreline of its track, at nodes along it.

    Parameters
    ----------
    track, drive
        The track, and a drive on its plane.

    Returns
    -------
    Sideways or None
        None where the drive is never on the track.
    """
    velocity = drive.velocity_mps
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    usable = np.flatnonzero((speed > _SLOWEST_MPS) & (drive.trust > _TRUSTED))
    if not len(usable):
        return None
    way = _driven(drive)[usable]
    # Smoothing has averaged the fixes around each: one a node tells as much as all of them.
    spacing = node_spacing_m(track.length_m, doppler=drive.has_doppler)
    first = np.flatnonzero(np.diff(np.floor(way / spacing), prepend=-1.0) > 0)
    fixes = np.diff(np.append(first, len(usable)))
    index, way = usable[first], way[first]
    direction = velocity[index] / speed[index, None]
    where, offset = track.curve.project(drive.position_m[index], direction)
    ahead = np.einsum("ij,ij->i", direction, track.curve.direction(where))
    near = np.abs(offset) < 0.5 * track.band_m + _BESIDE_BAND_M
    kept = near & (ahead > _SAME_WAY)
    if not kept.any():
        return None
    white = drive.levels.white_m / np.sqrt(fixes[kept])
    return Sideways(
        drive.time_s[index[kept]],
        way[kept],
        where[kept],
        offset[kept],
        track.curve.left(where[kept]),
        np.hypot(white, FAST_M),
        white,
    )


def _driven(drive: Drive) -> Floats:
    """Distance driven since the first fix, metres."""
    speed = np.hypot(drive.velocity_mps[:, 0], drive.velocity_mps[:, 1])
    step = 0.5 * (speed[1:] + speed[:-1]) * np.diff(drive.time_s)
    return np.concatenate([[0.0], np.cumsum(step)])


def _passes(side: Sideways, length_m: float) -> float:
    """How often a place is passed: the median over stretches of the track."""
    usual = float(np.median(np.diff(side.way_m))) if len(side.way_m) > 1 else length_m
    bins = int(np.clip(length_m / (4.0 * max(usual, FEWEST_NODE_M)), 4, 200))
    count, _ = np.histogram(side.chainage_m, bins=bins, range=(0.0, length_m))
    nodes_a_pass = length_m / bins / max(usual, 1e-3)
    return float(np.median(count) / nodes_a_pass)


def corrected(
    track: Track, drive: Drive, laps: int, spans: Sequence[tuple[float, float]] = ()
) -> Drive:
    """Take off a drive how far its laps say that it is off; see `line_of_laps`.

    Parameters
    ----------
    track, drive, laps, spans
        The track, a drive on its plane, how many whole laps it has, and when those begin and end
        that tell the receiver's wander.

    Returns
    -------
    Drive
        The drive itself where laps tell nothing.
    """
    line = line_of_laps(track, drive, laps, spans)
    return drive if line is None else drive.corrected(line)
