"""Which of very many lines are nearest to one position."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.ellipsoid import SEMI_MAJOR_AXIS_M
from trackkit.library.lines import (
    FAR_M,
    Lines,
    arc_m,
    earth_centred,
    on_ellipsoid,
)

_FIRST_LOOK = 12
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
            for row, (line, low) in enumerate(zip(of, lower, strict=True))
            if low <= limit and low <= at_most[line]
        ]
        measured = _by_chord(lines, position, piece[matters])
        ranked = _by_geodesic(lines, longitude_deg, latitude_deg, position, measured, most)
        worst = max(ranked[most - 1][0], within_m)
        if worst <= (unseen / _BENT if worst <= FAR_M else _shortest(unseen)):
            return [line for _, line in ranked], [distance for distance, _ in ranked]


def _shortest(chord_m: float) -> float:
    """Bound the geodesic distance over a chord from below, metres."""
    if np.isinf(chord_m):
        return chord_m
    return max(
        chord_m,
        _SHRUNK
        * 2.0
        * SEMI_MAJOR_AXIS_M
        * float(np.arcsin(min(chord_m / (2.0 * SEMI_MAJOR_AXIS_M), 1.0))),
    )


def _bounds(
    of: list[int], lower: list[float], upper: list[float]
) -> tuple[dict[int, float], dict[int, float]]:
    """Bound the distances to lines by those to their pieces, from below and from above."""
    # Few and small: plain Python is quicker here than arrays.
    at_least: dict[int, float] = {}
    at_most: dict[int, float] = {}
    for line, low, high in zip(of, lower, upper, strict=True):
        if line not in at_least:
            at_least[line], at_most[line] = low, high
        else:
            if low < at_least[line]:
                at_least[line] = low
            if high < at_most[line]:
                at_most[line] = high
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
    shortest: dict[int, tuple[float, int, int]] = {}
    for distance, piece_number, of in zip(
        least, piece.tolist(), lines.piece_line[piece].tolist(), strict=True
    ):
        if of not in shortest or distance < shortest[of][0]:
            shortest[of] = (distance, of, piece_number)
    return sorted(shortest.values())


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
        from trackkit.geometry.geodesy import WGS84, distance_to_polyline

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
