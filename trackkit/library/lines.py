"""Which of very many lines are nearest to a position, with exact distances everywhere on Earth.

Lines are kept as points of three-dimensional space on the ellipsoid, where neither the poles nor
the antimeridian are anything special, and cut into short pieces.  A k-d tree over the pieces'
middles (Bentley 1975, as SciPy has it) brings the few that can be nearest; their segments are
measured.

A straight distance c through the Earth becomes the geodesic one as the arc over its chord on a
circle with the ellipsoid's radius of curvature halfway, in that direction (Euler's theorem).
Against PROJ's geodesics that is right to 1 mm at `FAR_M`.  Farther away geodesics are computed
(Karney 2013, as PROJ has it).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats, Indices
from trackkit.geometry.ellipsoid import ECCENTRICITY_SQUARED, MEAN_RADIUS_M, SEMI_MAJOR_AXIS_M

if TYPE_CHECKING:
    from scipy.spatial import cKDTree


LONGEST_SEGMENT_M = 125.0
"""Longer segments get points of their geodesic between: the chord dips 0.3 mm below it then."""
FAR_M = 500_000.0
ROUND_M = 20_000.0
"""Up to here any radius of curvature does: c³ / (24 R²) is 8 mm, and R differs by 0.6 %."""
_PIECE = (2_000.0, 512)
_FINE_PIECE = (125.0, 64)
"""Metres and segments a piece has at most.  For one position few pieces are quicker, since what
counts is how many there are to look at; for very many, few segments in each."""
_TREE_FROM_PIECES = 2_000
"""With fewer pieces than this, measuring every one is quicker than loading SciPy."""
_TREE_FROM_DISTANCES = 2_000_000
"""So it is with fewer distances than this to all pieces from all positions at once."""


@dataclass(frozen=True, eq=False)
class Lines:
    """Many lines, cut into pieces.

    Parameters
    ----------
    segment_m
        Segments, one line after the other, shape (s, 7): start less the middle of their piece,
        step to the end, and 1 / length² (0 for none).  Single precision is 0.03 mm here.
    begin
        Where each line begins among the segments, shape (n + 1,).
    piece_begin, piece_segments
        First segment of each piece, and how many it has, shape (p,).
    piece_line
        Which line each piece is of, shape (p,).
    centre_m, reach_m
        A ball that holds each piece: shape (p, 3), Earth-centred, and (p,), metres.
    """

    segment_m: NDArray[np.float32]
    begin: Indices
    piece_begin: Indices
    piece_segments: Indices
    piece_line: Indices
    centre_m: Floats
    reach_m: Floats

    def __len__(self) -> int:
        return len(self.begin) - 1

    @cached_property
    def widest_m(self) -> float:
        """Radius of the largest piece's ball, metres."""
        return float(self.reach_m.max(initial=0.0))

    @cached_property
    def tree(self) -> cKDTree:
        """The k-d tree over the pieces' middles."""
        from scipy.spatial import cKDTree

        return cKDTree(self.centre_m, balanced_tree=False)

    @cached_property
    def size_m(self) -> Floats:
        """Length of each line along its pieces' balls, an upper bound of its size, shape (n,)."""
        return 2.0 * np.add.reduceat(self.reach_m, self.line_piece[:-1])

    @cached_property
    def line_piece(self) -> Indices:
        """First piece of each line, shape (n + 1,)."""
        return np.searchsorted(self.piece_line, np.arange(len(self) + 1)).astype(np.intp)

    def vertices(self, line: int) -> Floats:
        """Earth-centred vertices of one line, shape (v, 3), metres."""
        segment = self.segment_m[self.begin[line] : self.begin[line + 1]].astype(float)
        pieces = slice(self.line_piece[line], self.line_piece[line + 1])
        start = segment[:, :3] + np.repeat(
            self.centre_m[pieces], self.piece_segments[pieces], axis=0
        )
        return np.vstack([start, start[-1:] + segment[-1:, 3:6]])

    def nearest_pieces(self, position_m: Floats, count: int) -> tuple[Floats, Indices]:
        """Find the pieces whose middles are nearest to positions (..., 3), nearest first.

        Returns
        -------
        distance_m, piece
            Shape (..., count).
        """
        pieces = len(self.reach_m)
        distances = pieces * (position_m.size // 3)
        if pieces >= _TREE_FROM_PIECES or (pieces > 1 and distances >= _TREE_FROM_DISTANCES):
            distance, which = self.tree.query(position_m, k=max(count, 2))
            return np.asarray(distance), np.asarray(which)
        away = np.linalg.norm(position_m[..., None, :] - self.centre_m, axis=-1)
        order = np.argsort(away, axis=-1)[..., :count]
        return np.take_along_axis(away, order, axis=-1), order


def earth_centred(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
    """Turn positions on the ellipsoid, degrees, into Earth-centred metres, shape (..., 3)."""
    longitude, latitude = np.radians(longitude_deg), np.radians(latitude_deg)
    rise = np.sin(latitude)
    normal = SEMI_MAJOR_AXIS_M / np.sqrt(1.0 - ECCENTRICITY_SQUARED * rise * rise)
    ring = normal * np.cos(latitude)
    place = np.empty((*np.shape(ring), 3))
    place[..., 0] = ring * np.cos(longitude)
    place[..., 1] = ring * np.sin(longitude)
    place[..., 2] = (1.0 - ECCENTRICITY_SQUARED) * normal * rise
    return place


def on_ellipsoid(position_m: Floats) -> tuple[Floats, Floats]:
    """Turn Earth-centred positions on the ellipsoid back into longitude and latitude, degrees."""
    x, y, z = position_m[..., 0], position_m[..., 1], position_m[..., 2]
    latitude = np.arctan2(z, (1.0 - ECCENTRICITY_SQUARED) * np.hypot(x, y))
    return np.degrees(np.arctan2(y, x)), np.degrees(latitude)


def arc_m(chord_m: float, start_m: Sequence[float], end_m: Sequence[float]) -> float:
    """Geodesic distance over a chord no longer than `FAR_M`, metres.

    Parameters
    ----------
    chord_m
        Its length.
    start_m, end_m
        Earth-centred positions near its ends; they tell place and direction.
    """
    if chord_m < ROUND_M:
        return chord_m + chord_m**3 / (24.0 * MEAN_RADIUS_M**2)
    way = [end - start for start, end in zip(start_m, end_m, strict=True)]
    x, y, z = (0.5 * (start + end) for start, end in zip(start_m, end_m, strict=True))
    z /= 1.0 - ECCENTRICITY_SQUARED
    ring = math.hypot(x, y)
    height = math.hypot(ring, z)
    rise = z / height
    outward = (way[0] * x + way[1] * y) / max(ring, 1.0)
    north = ring / height * way[2] - rise * outward
    share = min(north * north / sum(step * step for step in way), 1.0)
    flat = 1.0 - ECCENTRICITY_SQUARED * rise * rise
    bend = (
        (share * flat / (1.0 - ECCENTRICITY_SQUARED) + 1.0 - share)
        * math.sqrt(flat)
        / SEMI_MAJOR_AXIS_M
    )
    return 2.0 / bend * math.asin(min(0.5 * bend * chord_m, 1.0))


def pack(lines: Sequence[tuple[Floats, Floats]], *, fine: bool = False) -> Lines:
    """Cut lines into pieces.

    Parameters
    ----------
    lines
        Longitudes and latitudes of each, degrees; at least two positions a line.  Segments are
        geodesics.
    fine
        Into smaller ones, for very many positions.
    """
    if not lines:
        none, zero = np.zeros(0, dtype=np.intp), np.zeros(1, dtype=np.intp)
        nothing = np.zeros((0, 7), dtype=np.float32)
        return Lines(nothing, zero, none, none, none, np.zeros((0, 3)), np.zeros(0))
    longitude = np.concatenate([line[0] for line in lines])
    latitude = np.concatenate([line[1] for line in lines])
    begin = np.concatenate([[0], np.cumsum([len(line[0]) for line in lines])]).astype(np.intp)
    vertex = earth_centred(longitude, latitude)
    step = np.linalg.norm(np.diff(vertex, axis=0), axis=1)
    step[begin[1:-1] - 1] = 0.0
    if np.any(step > LONGEST_SEGMENT_M):
        vertex, begin = _refined(longitude, latitude, vertex, begin, step)
        step = np.linalg.norm(np.diff(vertex, axis=0), axis=1)
        step[begin[1:-1] - 1] = 0.0
    return _cut(vertex, begin, step, *(_FINE_PIECE if fine else _PIECE))


def _refined(
    longitude: Floats, latitude: Floats, vertex: Floats, begin: Indices, step: Floats
) -> tuple[Floats, Indices]:
    """Put points of the geodesic between vertices too far apart."""
    from trackkit.geometry.geodesy import WGS84

    long = np.flatnonzero(step > LONGEST_SEGMENT_M)
    azimuth, _, length = WGS84.inv(
        longitude[long], latitude[long], longitude[long + 1], latitude[long + 1]
    )
    extra = np.ceil(np.asarray(length) / LONGEST_SEGMENT_M).astype(np.intp) - 1
    of = np.repeat(np.arange(len(long)), extra)
    number = np.arange(len(of)) - np.repeat(np.cumsum(extra) - extra, extra) + 1
    ahead = np.asarray(length)[of] * number / (extra[of] + 1)
    between = WGS84.fwd(longitude[long][of], latitude[long][of], np.asarray(azimuth)[of], ahead)
    added = np.zeros(len(vertex), dtype=np.intp)
    added[long + 1] = extra
    shift = np.cumsum(added)
    out = np.empty((len(vertex) + len(of), 3))
    out[np.arange(len(vertex)) + shift] = vertex
    out[(long + shift[long] + 1)[of] + number - 1] = earth_centred(between[0], between[1])
    return out, begin + np.concatenate([[0], np.cumsum(np.add.reduceat(added, begin[:-1]))])


def _cut(
    vertex: Floats, begin: Indices, step: Floats, piece_m: float, piece_segments_most: int
) -> Lines:
    count = len(begin) - 1
    segments = np.diff(begin) - 1
    line = np.repeat(np.arange(count), segments)
    first = np.arange(len(line)) + line  # between two lines there is one vertex that begins none
    along = np.concatenate([[0.0], np.cumsum(step)])
    metres = ((along[first] - along[begin[line]]) // piece_m).astype(np.intp)
    number = (first - begin[line]) // piece_segments_most
    changes = (np.diff(line) != 0) | (np.diff(metres) != 0) | (np.diff(number) != 0)
    opens = np.concatenate([[0], np.flatnonzero(changes) + 1])
    piece_segments = np.diff(np.concatenate([opens, [len(line)]]))
    ends = first[opens + piece_segments - 1] + 1
    # A piece's box is over its vertices, first to last; reduceat takes them in pairs of bounds.
    bounds = np.stack([first[opens], ends + 1], axis=1).ravel()
    padded = np.vstack([vertex, vertex[-1:]])
    low = np.minimum.reduceat(padded, bounds)[::2]
    high = np.maximum.reduceat(padded, bounds)[::2]
    centre = 0.5 * (low + high)
    piece = np.repeat(np.arange(len(opens)), piece_segments)
    stride = vertex[first + 1] - vertex[first]
    squared = np.einsum("ij,ij->i", stride, stride)
    segment = np.empty((len(first), 7), dtype=np.float32)
    segment[:, :3] = vertex[first] - centre[piece]
    segment[:, 3:6] = stride
    segment[:, 6] = np.where(squared > 0, 1.0 / np.where(squared > 0, squared, 1.0), 0.0)
    return Lines(
        segment_m=segment,
        begin=begin - np.arange(len(begin)),
        piece_begin=opens,
        piece_segments=piece_segments,
        piece_line=line[opens],
        centre_m=centre,
        reach_m=0.5 * np.linalg.norm(high - low, axis=1),
    )
