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

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

LONGEST_SEGMENT_M = 125.0
"""Longer segments get points of their geodesic between: the chord dips 0.3 mm below it then."""
FAR_M = 500_000.0
MEAN_RADIUS_M = 6_371_008.8
"""Mean radius of WGS 84, (2a + b) / 3 (NIMA TR8350.2; from memory)."""
_ROUND_M = 20_000.0
"""Up to here any radius of curvature does: c³ / (24 R²) is 8 mm, and R differs by 0.6 %."""
_FIRST_LOOK = 12
_PIECE = (2_000.0, 512)
_FINE_PIECE = (125.0, 64)
"""Metres and segments a piece has at most.  For one position few pieces are quicker, since what
counts is how many there are to look at; for very many, few segments in each."""
_TREE_FROM_PIECES = 2_000
"""With fewer pieces than this, measuring every one is quicker than loading SciPy."""
_A_M = 6_378_137.0
_B_M = _A_M * (1.0 - 1.0 / 298.257223563)
"""Semi-axes of WGS 84 (its definition, NIMA TR8350.2; from memory).  PROJ has them too, but takes a
tenth of a second to load, and is not needed before something is far away."""
_SQUASH = 1.0 - _B_M**2 / _A_M**2
_SHRUNK = 0.996
"""A geodesic is longer than this times the arc over its chord on a sphere of the equator's radius:
it runs at b or more from the middle of the Earth, and b/a = 0.9966."""
_BENT = 1.000_01
"""Up to `FAR_M`, how much arcs over chords of one length can differ: c² / (24 R²) times 1.2 %,
by which radii of curvature squared differ from their mean (from b²/a to a²/b)."""
_ANTIPODE_M = 19_000_000.0
_TURNED = 0.01
"""How much the order by chord and the order by geodesic can differ, as a share of a line's size:
more than twice the flattening, by which directions of the two differ."""


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
        if len(self.reach_m) >= _TREE_FROM_PIECES:
            distance, which = self.tree.query(position_m, k=max(count, 2))
            return np.asarray(distance), np.asarray(which)
        away = np.linalg.norm(position_m[..., None, :] - self.centre_m, axis=-1)
        order = np.argsort(away, axis=-1)[..., :count]
        return np.take_along_axis(away, order, axis=-1), order


def earth_centred(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
    """Turn positions on the ellipsoid, degrees, into Earth-centred metres, shape (..., 3)."""
    longitude, latitude = np.radians(longitude_deg), np.radians(latitude_deg)
    rise = np.sin(latitude)
    normal = _A_M / np.sqrt(1.0 - _SQUASH * rise * rise)
    ring = normal * np.cos(latitude)
    place = np.empty((*np.shape(ring), 3))
    place[..., 0] = ring * np.cos(longitude)
    place[..., 1] = ring * np.sin(longitude)
    place[..., 2] = (1.0 - _SQUASH) * normal * rise
    return place


def on_ellipsoid(position_m: Floats) -> tuple[Floats, Floats]:
    """Turn Earth-centred positions on the ellipsoid back into longitude and latitude, degrees."""
    x, y, z = position_m[..., 0], position_m[..., 1], position_m[..., 2]
    latitude = np.arctan2(z, (1.0 - _SQUASH) * np.hypot(x, y))
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
    if chord_m < _ROUND_M:
        return chord_m + chord_m**3 / (24.0 * MEAN_RADIUS_M**2)
    way = [end - start for start, end in zip(start_m, end_m, strict=True)]
    x, y, z = (0.5 * (start + end) for start, end in zip(start_m, end_m, strict=True))
    z /= 1.0 - _SQUASH
    ring = math.hypot(x, y)
    height = math.hypot(ring, z)
    rise = z / height
    outward = (way[0] * x + way[1] * y) / max(ring, 1.0)
    north = ring / height * way[2] - rise * outward
    share = min(north * north / sum(one * one for one in way), 1.0)
    flat = 1.0 - _SQUASH * rise * rise
    bend = (share * flat / (1.0 - _SQUASH) + 1.0 - share) * math.sqrt(flat) / _A_M
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
    from trackkit.geodesy import WGS84

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


def nearest_few(
    lines: Lines, longitude_deg: float, latitude_deg: float, most: int, within_m: float = 0.0
) -> tuple[list[int], list[float]]:
    """Find the lines nearest to one position.

    Parameters
    ----------
    lines
        From `pack`.
    longitude_deg, latitude_deg
        The position.
    most
        How many.
    within_m
        Every line as near as this is found too, up to `FAR_M`.

    Returns
    -------
    line, distance_m
        Nearest first; of lines equally near the first.
    """
    total = len(lines.reach_m)
    if total == 0:
        return [], []
    most = min(most, len(lines))
    position = earth_centred(float(longitude_deg), float(latitude_deg))
    count = min(_FIRST_LOOK, total)
    while True:
        away, piece = lines.nearest_pieces(position, count)
        # With every piece seen, nothing can be nearer unseen.
        unseen = np.inf if count == total else max(float(away[-1]) - lines.widest_m, 0.0)
        count = min(8 * count, total)
        reach = lines.reach_m[piece]
        of, lower = lines.piece_line[piece].tolist(), (away - reach).tolist()
        at_least, at_most = _bounds(of, lower, (away + reach).tolist())
        if len(at_least) < most:
            continue
        if sorted(at_least.values())[most - 1] > unseen and unseen < FAR_M:
            continue
        limit = max(sorted(at_most.values())[most - 1], within_m)
        # The order by geodesic may differ from that by chord, and is settled among these.
        limit *= _BENT if limit <= FAR_M else 1.0 / _SHRUNK**2
        matters = [
            row
            for row, (one, low) in enumerate(zip(of, lower, strict=True))
            if low <= limit and low <= at_most[one]
        ]
        measured = _by_chord(lines, position, piece[matters])
        ranked = _by_geodesic(lines, longitude_deg, latitude_deg, position, measured, most)
        worst = max(ranked[most - 1][0], within_m)
        if worst <= (unseen / _BENT if worst <= FAR_M else _shortest(unseen)):
            return [one for _, one in ranked], [distance for distance, _ in ranked]


def _shortest(chord_m: float) -> float:
    """Bound the geodesic distance over a chord from below, metres."""
    if np.isinf(chord_m):
        return chord_m
    return max(chord_m, _SHRUNK * 2.0 * _A_M * float(np.arcsin(min(chord_m / (2.0 * _A_M), 1.0))))


def _bounds(
    of: list[int], lower: list[float], upper: list[float]
) -> tuple[dict[int, float], dict[int, float]]:
    """Bound the distances to lines by those to their pieces, from below and from above."""
    # Few and small: plain Python is quicker here than arrays.
    at_least: dict[int, float] = {}
    at_most: dict[int, float] = {}
    for one, low, high in zip(of, lower, upper, strict=True):
        if one not in at_least:
            at_least[one], at_most[one] = low, high
        else:
            if low < at_least[one]:
                at_least[one] = low
            if high < at_most[one]:
                at_most[one] = high
    return at_least, at_most


def _by_chord(lines: Lines, position: Floats, piece: Indices) -> list[tuple[float, int, int]]:
    """Measure straight distances to lines: distance, line and its nearest piece, nearest first."""
    counts = lines.piece_segments[piece]
    ends = counts.cumsum()
    segment = np.concatenate(
        [
            lines.segment_m[begin : begin + count]
            for begin, count in zip(lines.piece_begin[piece].tolist(), counts.tolist(), strict=True)
        ],
        dtype=float,
    )
    away = np.repeat(position - lines.centre_m[piece], counts, axis=0)
    away -= segment[:, :3]
    step = segment[:, 3:6]
    share = np.einsum("ij,ij->i", away, step)
    share *= segment[:, 6]
    away -= np.minimum(np.maximum(share, 0.0), 1.0)[:, None] * step
    squared = np.einsum("ij,ij->i", away, away)
    least = np.sqrt(np.minimum.reduceat(squared, ends - counts)).tolist()
    found: dict[int, tuple[float, int, int]] = {}
    for distance, one, of in zip(
        least, piece.tolist(), lines.piece_line[piece].tolist(), strict=True
    ):
        if of not in found or distance < found[of][0]:
            found[of] = (distance, of, one)
    return sorted(found.values())


def _by_geodesic(
    lines: Lines,
    longitude_deg: float,
    latitude_deg: float,
    position: Floats,
    measured: list[tuple[float, int, int]],
    most: int,
) -> list[tuple[float, int]]:
    """Turn straight distances into geodesic ones, where far away for the nearest few only."""
    here = position.tolist()
    ranked = [
        # The middle of the piece, a kilometre from the foot, tells the direction well enough: from
        # 20 km on, where it matters, to 3 degrees, which is 0.1 mm there and less beyond.
        (arc_m(chord, here, lines.centre_m[piece].tolist()), line)
        for chord, line, piece in measured
        if chord <= FAR_M
    ]
    if len(ranked) < min(len(measured), most):
        from trackkit.geodesy import WGS84, distance_to_polyline

        far = np.array([line for _, line, _ in measured[len(ranked) :]])
        middle = lines.centre_m[[piece for _, _, piece in measured[len(ranked) :]]]
        longitude, latitude = on_ellipsoid(middle)
        start = np.full(len(far), float(longitude_deg)), np.full(len(far), float(latitude_deg))
        upper = np.asarray(WGS84.inv(*start, longitude, latitude)[2]) + lines.widest_m
        # Beside the antipode directions turn from place to place: the whole line's size counts.
        turned = np.where(upper > _ANTIPODE_M, 1.0, _TURNED)
        slack = 2.0 * lines.widest_m + turned * lines.size_m[far]
        limit = np.sort(upper)[most - len(ranked) - 1]
        for line in far[upper - slack <= limit].tolist():
            along = on_ellipsoid(lines.vertices(line))
            ranked.append((distance_to_polyline(longitude_deg, latitude_deg, *along), line))
    return sorted(ranked)
