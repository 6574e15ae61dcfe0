"""How far a place on the track is from every other piece of the track."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Flags, Floats
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import distance_to_segments

OWN_TURN_DEG = 60.0
"""A piece of track counts as another one where the line has turned by more than this."""
NEAR_ENOUGH_M = 0.01
"""What rounding a gate's end, and the spline between vertices, may take off a clearance."""


def own_stretch(direction: Floats, index: int, *, closed: bool) -> Flags:
    """Mark the stretch around one sample within which the line turns by less than 60 degrees.

    Parameters
    ----------
    direction
        Unit vectors along the line at even spacing, shape (n, 2).
    index
        The sample.
    closed
        Whether the line goes on from its last sample to its first.

    Returns
    -------
    ndarray of bool
        Shape (n,); the rest of the line is "another piece of track".
    """
    count = len(direction)
    turned = direction @ direction[index] < np.cos(np.radians(OWN_TURN_DEG))
    own = np.zeros(count, dtype=bool)
    if not turned.any():
        # A bend too slight to turn anywhere, or half a large oval: all of it is one piece.
        own[:] = True
        return own
    offsets = np.flatnonzero(turned)
    if closed:
        ahead = int(((offsets - index) % count).min())
        behind = int(((index - offsets) % count).min())
    else:
        later, earlier = offsets[offsets > index], offsets[offsets < index]
        ahead = int(later[0] - index) if len(later) else count - index
        behind = int(index - earlier[-1]) if len(earlier) else index + 1
    own[np.arange(index - behind + 1, index + ahead) % count] = True
    return own


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
    clear = np.full(len(where), np.inf)
    # Places between the same two samples share the other pieces.
    for index in np.unique(nearest):
        start, end = _other_pieces(curve, int(index))
        if not len(start):
            continue
        here = nearest == index
        away = distance_to_segments(sample[index], start, end)
        reach = np.linalg.norm(place[here] - sample[index], axis=1).max()
        close = away <= away.min() + 2.0 * reach
        clear[here] = distance_to_segments(place[here, None], start[close], end[close]).min(axis=1)
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
    start, end = _other_pieces(curve, index)
    return float(distance_to_segments(position_m, start, end).min(initial=np.inf))


def _other_pieces(curve: Curve, index: int) -> tuple[Floats, Floats]:
    """Give starts and ends, shape (n, 2), of the track that is not one sample's own stretch."""
    _, sample, direction = curve.samples
    other = ~own_stretch(direction, index, closed=curve.closed)
    # From sample to sample: on a long course the samples themselves are metres apart.
    goes_on = np.roll(other, -1)
    if not curve.closed:
        goes_on[-1] = False
    following = np.where(goes_on[:, None], np.roll(sample, -1, axis=0), sample)
    return sample[other], following[other]
