"""How far a place on the track is from every other piece of the track."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Flags, Floats, Indices
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import distance_to_segments

OWN_TURN_DEG = 60.0
"""A piece of track counts as another one where the line has turned by more than this."""
_AT_ONCE = 200_000
"""Places times samples that are held against each other at once: some 15 MB."""
NEAR_ENOUGH_M = 0.01
"""What rounding a gate's end, and the spline between vertices, may take off a clearance."""


def own_stretches(direction: Floats, index: Indices, *, closed: bool) -> Flags:
    """Mark the stretches around samples within which the line turns by less than 60 degrees.

    Parameters
    ----------
    direction
        Unit vectors along the line at even spacing, shape (n, 2).
    index
        The samples, shape (k,).
    closed
        Whether the line goes on from its last sample to its first.

    Returns
    -------
    ndarray of bool
        Shape (k, n); the rest of the line is "another piece of track".
    """
    count = len(direction)
    turned: Flags = direction[index] @ direction.T < np.cos(np.radians(OWN_TURN_DEG))
    ahead = np.arange(count) - index[:, None]
    if closed:
        ahead %= count
        behind = count - ahead
    else:
        behind = np.where(ahead < 0, -ahead, count)
        ahead = np.where(ahead < 0, count, ahead)
    # A bend too slight to turn anywhere, or half a large oval: all of it is one piece.
    near_ahead = ahead < np.where(turned, ahead, count).min(axis=1, keepdims=True)
    near_behind = behind < np.where(turned, behind, count).min(axis=1, keepdims=True)
    return np.asarray(near_ahead | near_behind)


def clearance(curve: Curve, chainage_m: ArrayLike) -> Floats:
    """Distance from places on the line to the nearest other piece of track.

    Parameters
    ----------
    curve
        The track's line.
    chainage_m
        Shape (k,), metres.

    Returns
    -------
    ndarray
        Shape (k,), metres; infinite where the line has no other piece.
    """
    chainage, sample, _ = curve.samples
    where = np.atleast_1d(curve.wrap(chainage_m))
    place = curve.position(where)
    # The nearest sample, of two as near the first.
    nearest = np.ceil(where / (chainage[1] - chainage[0]) - 0.5).astype(int)
    nearest = nearest % len(chainage) if curve.closed else np.minimum(nearest, len(chainage) - 1)
    # Places between the same two samples share the other pieces.
    shared, which = np.unique(nearest, return_inverse=True)
    reach = np.zeros(len(shared))
    np.maximum.at(reach, which, np.linalg.norm(place - sample[nearest], axis=1))
    clear = np.empty(len(where))
    rows = max(1, _AT_ONCE // len(chainage))
    for first in range(0, len(shared), rows):
        some = np.flatnonzero((which >= first) & (which < first + rows))
        index = shared[first : first + rows]
        away, end = _distances(curve, index, sample[index])
        close = away <= away.min(axis=1, keepdims=True) + 2.0 * reach[first : first + rows, None]
        clear[some] = _nearest(place[some], which[some] - first, close & np.isfinite(away), end)
    return clear


def _nearest(
    place_m: Floats, which: Indices, close: Flags, pieces: tuple[Floats, Floats]
) -> Floats:
    """Distances from places, shape (p, 2), to the nearest of those pieces that are close to them.

    Of the rows of `close`, shape (k, n), `which` names one for each place; the pieces have starts
    and ends of shape (n, 2), and (k, n, 2).
    """
    count = close.sum(axis=1)[which]
    row, piece = np.nonzero(close)
    first = np.concatenate([[0], np.cumsum(close.sum(axis=1))])[which]
    owner = np.repeat(np.arange(len(place_m)), count)
    begin = np.cumsum(count) - count
    pair = np.arange(len(owner)) - begin[owner] + first[owner]
    start, end = pieces[0][piece[pair]], pieces[1][row[pair], piece[pair]]
    away = distance_to_segments(place_m[owner], start, end)
    clear = np.full(len(place_m), np.inf)
    np.minimum.at(clear, owner, away)
    return clear


def distance_to_other_piece(curve: Curve, chainage_m: float, position_m: ArrayLike) -> float:
    """Distance from a position to the nearest piece of track other than that at a chainage.

    Parameters
    ----------
    curve
        The track's line.
    chainage_m
        The place whose own stretch does not count, metres.
    position_m
        The position, shape (2,), metres on the plane.

    Returns
    -------
    float
        Metres; infinite where the line has no other piece.
    """
    index = int(np.argmin(curve.separation(curve.samples[0], chainage_m)))
    place = np.asarray(position_m, dtype=float)
    return float(_distances(curve, np.array([index]), place[None])[0].min())


def _distances(
    curve: Curve, index: Indices, place_m: Floats
) -> tuple[Floats, tuple[Floats, Floats]]:
    """Give distances from places, shape (k, 2), to the track beyond the stretches of k samples.

    Shape (k, n), infinite within the stretches; and where those n pieces begin, shape (n, 2), and
    end, shape (k, n, 2).
    """
    _, sample, direction = curve.samples
    other = ~own_stretches(direction, index, closed=curve.closed)
    # From sample to sample: on a long course the samples themselves are metres apart.
    goes_on = np.roll(other, -1, axis=1)
    if not curve.closed:
        goes_on[:, -1] = False
    following = np.roll(sample, -1, axis=0)
    away = distance_to_segments(place_m[:, None], sample, following)
    away[~(other & goes_on)] = np.inf
    row, last = np.nonzero(other & ~goes_on)
    away[row, last] = np.linalg.norm(sample[last] - place_m[row], axis=1)
    end = np.where(goes_on[..., None], following, sample)
    return away, (sample, end)
