"""What lies between fixes that are far apart: how far the most likely curve may be off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.building.average import Reading
from trackkit.building.bridges import bridged, tangent_share
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import STANDING_MPS
from trackkit.geometry.curve import Curve
from trackkit.geometry.runs import runs_of

SPARSE_S = 1.5
SPARSE_M = 15.0
"""Fixes farther apart than both are sparse."""
_EVEN, _UNEVEN, _EVEN_TIED, _UNEVEN_TIED = 0.72, 0.72, 0.5, 0.6
"""Miss of a curve over that of one through every other fix, for their way and turn: of
even logging, and of a logger that writes a fix where the course has turned, which leaves out what
matters least; without velocities and with them.  Tuned on invented drives."""
_VARIES = 0.4
_LEAST_TURN = 0.05
_USUAL_MISS = 0.12
_SENSIBLE_MISS = (0.02, 0.4)
_PRIOR_SPANS = 4.0
_SHARES = np.linspace(0.0, 1.0, 129)
"""Where curves are read to be compared."""
_TRIALS = 96
_ALIKE_TURN = 0.25


@dataclass(frozen=True, eq=False)
class Spacing:
    """How a lap's fixes lie around places of a line, each of shape (n,).

    Parameters
    ----------
    sigma_m
        One sigma of the curve between fixes, which is 0 where they are close.
    before_m, after_m
        Way from the last fix and to the next.
    sparse
        Whether those two are far apart.
    """

    sigma_m: Floats
    before_m: Floats
    after_m: Floats
    sparse: Flags


def spacing_of(lap: FoundLap, time_s: Floats) -> Spacing:
    """Read how a lap's fixes lie around the moments at which it passes places of a line.

    How far a curve through sparse fixes may be off is read from the lap itself: of its sparse fixes
    every other one is left out, and the curve through the rest compared with it (cross-validation;
    Stone 1974, from memory).  The miss goes with the way between two fixes and with the turn there;
    in the middle of a span it is largest.

    Parameters
    ----------
    lap
        The lap.
    time_s
        When it passes the places, seconds, shape (n,).
    """
    drive = lap.path.drive
    inside = (drive.time_s >= lap.start_s - 60.0) & (drive.time_s <= lap.end_s + 60.0)
    index = np.flatnonzero(inside & (drive.speed_mps >= STANDING_MPS))
    if len(index) < 2:
        index = np.flatnonzero(inside)
    when, place = drive.time_s[index], drive.position_m[index]
    if len(index) < 2:
        none = np.zeros(len(time_s))
        return Spacing(none, none, none, none > 0)
    chord = np.linalg.norm(np.diff(place, axis=0), axis=1)
    wide = (np.diff(when) > SPARSE_S) & (chord > SPARSE_M)
    span = np.clip(np.searchsorted(when, time_s, side="right") - 1, 0, len(when) - 2)
    share = np.clip((time_s - when[span]) / np.diff(when)[span], 0.0, 1.0)
    sigma = np.zeros(len(time_s))
    if wide.any():
        velocity = drive.velocity_mps[index] if drive.has_doppler else None
        miss = _miss(when, place, velocity, wide)
        lasting = np.diff(when)[wide]
        varies = min(1.0, float(lasting.std() / lasting.mean()) / _VARIES)
        even, uneven = (_EVEN, _UNEVEN) if velocity is None else (_EVEN_TIED, _UNEVEN_TIED)
        share_of_miss = even + varies * (uneven - even)
        size = share_of_miss * miss * chord * (_turn(place) + _LEAST_TURN)
        sigma = np.where(wide, size, 0.0)[span] * 4.0 * share * (1.0 - share)
    return Spacing(sigma, chord[span] * share, chord[span] * (1.0 - share), wide[span])


def _turn(place_m: Floats) -> Floats:
    """Mean turn at the two ends of each span between places, radians, shape (n - 1,)."""
    step = np.diff(place_m, axis=0)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    bend = np.abs(np.diff(heading))
    bend = np.concatenate([bend[:1], bend, bend[-1:]]) if len(bend) else np.zeros(2)
    return np.asarray(0.5 * (bend[1:] + bend[:-1]))


def _miss(when: Floats, place: Floats, velocity: Floats | None, wide: Flags) -> float:
    """Size of the miss over the way between fixes times the turn there."""
    squares, scale, count = 0.0, 0.0, 0
    for first in (0, 1):
        kept = np.arange(first, len(when), 2)
        if len(kept) < 5:
            continue
        left_out = kept[:-1] + 1
        spans = wide[left_out - 1] | wide[np.minimum(left_out, len(wide) - 1)]
        if not spans.any():
            continue
        chord = np.linalg.norm(np.diff(place[kept], axis=0), axis=1)
        size = chord * (_turn(place[kept]) + _LEAST_TURN)
        curve = _between(when[kept], place[kept], None if velocity is None else velocity[kept])
        away = _aside(place[left_out][:, None], *curve)[:, 0]
        squares += float((away[spans] ** 2).sum())
        scale += float((size[spans] ** 2).sum())
        count += int(spans.sum())
    observed = squares / max(scale, 1e-9)
    mixed = (count * observed + _PRIOR_SPANS * _USUAL_MISS**2) / (count + _PRIOR_SPANS)
    return float(np.clip(np.sqrt(mixed), *_SENSIBLE_MISS))


def _between(when: Floats, place: Floats, velocity: Floats | None) -> tuple[Floats, Floats]:
    """Curves from each place to the next as a drive is laid out, and their tangents.

    Both of shape (n - 1, samples, 2).
    """
    from scipy.interpolate import Akima1DInterpolator

    lasting = np.diff(when)
    if velocity is not None:
        tangent, reach = velocity, lasting
    else:
        reach = np.maximum(np.linalg.norm(np.diff(place, axis=0), axis=1), 1e-3)
        way = np.concatenate([[0.0], np.cumsum(reach)])
        tangent = np.asarray(Akima1DInterpolator(way, place, method="makima")(way, 1))
    reach = (reach * tangent_share(lasting))[:, None, None]
    begin, end = place[:-1, None], place[1:, None]
    return bridged(begin, end, reach * tangent[:-1, None], reach * tangent[1:, None], _SHARES)


def bridged_sigma(
    curve: Curve, chainage_m: Floats, carried: Flags, readings: Sequence[Reading]
) -> Floats:
    """One sigma of a line across gaps without fixes, metres, shape (n,).

    Bridges of the same length are laid across the rest of the line, where it is known, as they are
    laid across a gap: from how laps enter and leave, and how long they take.  How far those miss
    the line that turn about as much as one here is how far it may miss it.

    Parameters
    ----------
    curve, chainage_m
        The line and even chainages along it, shape (n,).
    carried
        Where it has no fixes, shape (n,).
    readings
        The laps, read at those chainages.
    """
    sigma = np.zeros(len(chainage_m))
    count = len(chainage_m)
    for begin, end in runs_of(carried, closed=curve.closed):
        size = end - begin
        share = (np.arange(size) + 0.5) / size
        miss_m = _bridges_miss(curve, chainage_m, carried, begin, size, readings)
        sigma[np.arange(begin, end) % count] = miss_m * 4.0 * share * (1.0 - share)
    return sigma


def _ends(curve: Curve, chainage_m: Floats, begin: int, size: int) -> tuple[Floats, Floats]:
    """Positions and directions at the two ends of a stretch, shape (2, 2) each."""
    index = np.array([begin, begin + size]) % len(chainage_m)
    if not curve.closed:
        index = np.minimum([begin, begin + size], len(chainage_m) - 1)
    return curve.position(chainage_m[index]), curve.direction(chainage_m[index])


def _turned(ahead: Floats) -> float:
    """Turn from one direction to another, radians."""
    return float(np.arccos(np.clip(float(ahead[0] @ ahead[1]), -1.0, 1.0)))


def _bridges_miss(
    curve: Curve,
    chainage_m: Floats,
    carried: Flags,
    begin: int,
    size: int,
    readings: Sequence[Reading],
) -> float:
    """Miss of bridges in their middle, metres, one sigma, for the turn of one of them."""
    gap, ahead = _ends(curve, chainage_m, begin, size)
    turn = _turned(ahead)
    count = len(chainage_m)
    squares, turns = [], []
    for first in np.linspace(0, count, _TRIALS, endpoint=False).astype(int).tolist():
        index = np.arange(first, first + size + 1)
        if size < 2 or (not curve.closed and index[-1] >= count):
            continue
        index = index % count
        reach = _reach(readings, index[[0, -1]])
        if carried[index].any() or reach is None:
            continue
        place, ahead = _ends(curve, chainage_m, first, size)
        laid, tangent = bridged(
            place[0], place[1], reach[0] * ahead[0], reach[1] * ahead[1], _SHARES
        )
        away = _aside(curve.position(chainage_m[index]), laid, tangent)
        # The square of 4 u (1 - u) is 8 / 15 on average.
        squares.append(float(np.mean(away**2)) * 15.0 / 8.0)
        turns.append(_turned(ahead))
    if not squares:
        return _USUAL_MISS * float(np.linalg.norm(gap[1] - gap[0])) * (turn + _LEAST_TURN)
    # Trials overlap: as many are independent as have room side by side.
    worth = min(1.0, count / (size * len(squares)))
    alike = worth * np.exp(-0.5 * ((np.array(turns) - turn) / _ALIKE_TURN) ** 2)
    everywhere = float(np.mean(squares))
    mixed = (float(alike @ np.array(squares)) + _PRIOR_SPANS * everywhere) / (
        float(alike.sum()) + _PRIOR_SPANS
    )
    return float(np.sqrt(mixed))


def _aside(place: Floats, laid: Floats, tangent: Floats) -> Floats:
    """How far places are from curves, square to them, metres.

    Parameters
    ----------
    place
        Shape (..., k, 2).
    laid, tangent
        Samples of the curves and their tangents, shape (..., samples, 2).
    """
    step = place[..., :, None, :] - laid[..., None, :, :]
    nearest = np.argmin((step**2).sum(axis=-1), axis=-1)[..., None]
    step = np.take_along_axis(step, nearest[..., None], axis=-2)[..., 0, :]
    along = np.take_along_axis(tangent, nearest, axis=-2)
    length = np.maximum(np.linalg.norm(along, axis=-1), 1e-9)
    across = step[..., 0] * along[..., 1] - step[..., 1] * along[..., 0]
    return np.asarray(np.abs(across) / length)


def _reach(readings: Sequence[Reading], ends: Indices) -> Floats | None:
    """Speeds at two ends times the time from one to the other, metres; the mean of the laps.

    None where no lap goes from one to the other without a seam.
    """
    reach = []
    for reading in readings:
        lasting = float(np.diff(reading.time_s[ends])[0])
        if lasting > 0.0:
            reach.append(lasting * reading.speed_mps[ends])
    return np.asarray(np.mean(reach, axis=0)) if reach else None
