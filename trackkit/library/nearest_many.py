"""The nearest of very many lines to each of very many positions.

Positions are put in order of place and searched cube by cube; what can be nearest to anything in a
cube is searched for once.  Distances are exact as `trackkit.library.lines` has them; in single
precision, which at 100 km is 0.02 m.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats, Indices
from trackkit.geometry.ellipsoid import MEAN_RADIUS_M
from trackkit.library.lines import Lines, earth_centred
from trackkit.library.nearest import nearest_few

CELL_M = 25.0
"""Fixes in one cube of this side share the search for what can be nearest."""
_CHUNK = 16_384
_FIRST_LOOK = 6
_WITHIN_M = 100_000.0
"""Up to here single precision does for very many; farther away each is measured by itself."""
_COARSE_BITS, _FINE_BITS = 12, 8


def nearest(
    lines: Lines, longitude_deg: ArrayLike, latitude_deg: ArrayLike
) -> tuple[Indices, Floats]:
    """Find the line nearest to each of many positions.

    Positions are put in order of place, so that neighbours share work: many fixes of a few drives
    take much less time than as many strewn over the world.

    Parameters
    ----------
    lines
        From `pack`, at least one.
    longitude_deg, latitude_deg
        Positions, degrees, shape (n,).

    Returns
    -------
    line, distance_m
        Shape (n,); of lines equally near the first.
    """
    longitude = np.asarray(longitude_deg, dtype=float)
    latitude = np.asarray(latitude_deg, dtype=float)
    line, chord = np.zeros(len(longitude), dtype=np.intp), np.zeros(len(longitude))
    if len(longitude) == 0:
        return line, chord
    position = earth_centred(longitude, latitude)
    key = _cells(position)
    order = np.argsort(key)
    position, key = position[order], key[order]
    opens = _starts(key)
    together = 3 * len(opens) < len(order)
    if not together:
        opens = np.arange(len(order))
    bounds = np.append(opens, len(order))
    at = 0
    while at < len(opens):
        after = max(int(np.searchsorted(bounds, bounds[at] + _CHUNK, side="right")) - 1, at + 1)
        chosen = slice(int(bounds[at]), int(bounds[after]))
        search = _for_cells if together else _for_fixes
        line[order[chosen]], chord[order[chosen]] = search(
            lines, position[chosen], bounds[at:after] - bounds[at]
        )
        at = after
    # The mean radius does for these: the correction of 1 m at 100 km is wrong by 12 mm at most.
    distance = chord + chord**3 / (24.0 * MEAN_RADIUS_M**2)
    for index in np.flatnonzero(chord > _WITHIN_M).tolist():
        nearest_line, away = nearest_few(lines, longitude[index], latitude[index], 1)
        line[index], distance[index] = nearest_line[0], away[0]
    return line, distance


def _for_fixes(lines: Lines, position: Floats, opens: Indices) -> tuple[Indices, Floats]:
    row, _, piece, chord = _candidates(lines, position, np.zeros(len(opens)))
    return _least(lines, row, piece, chord)


def _for_cells(lines: Lines, position: Floats, opens: Indices) -> tuple[Indices, Floats]:
    """Search once for the fixes of a cell, then measure each to what that left."""
    counts = np.diff(np.append(opens, len(position)))
    cell = np.repeat(np.arange(len(opens)), counts)
    middle = np.add.reduceat(position, opens) / counts[:, None]
    near = (position - middle[cell]).astype(np.float32)
    spread = np.sqrt(np.maximum.reduceat(np.einsum("ij,ij->i", near, near), opens))
    row, segment, piece, _ = _candidates(lines, middle, 2.0 * spread)
    shifted = lines.segment_m.take(segment, axis=0)
    shifted[:, :3] -= (middle[row] - lines.centre_m[piece]).astype(np.float32)
    starts = _starts(row)
    offers = np.diff(np.append(starts, len(row)))[cell]
    fix = np.repeat(np.arange(len(position)), offers)
    chosen = np.arange(len(fix)) + (starts[cell] - np.cumsum(offers) + offers)[fix]
    chord = _chord(near.take(fix, axis=0), shifted.take(chosen, axis=0))
    return _least(lines, fix, piece[chosen], chord)


def _least(
    lines: Lines, row: Indices, piece: Indices, chord: NDArray[np.float32]
) -> tuple[Indices, Floats]:
    starts = _starts(row)
    least = np.minimum.reduceat(chord, starts)
    line = np.where(chord == least[row], lines.piece_line[piece], len(lines))
    return np.minimum.reduceat(line, starts), least.astype(float)


def _cells(position: Floats) -> NDArray[np.int64]:
    """Give the number of the cube each position is in, such that near numbers are near places."""
    half = 1 << (_COARSE_BITS + _FINE_BITS - 1)
    cell = np.floor(position / CELL_M).astype(np.int64) + half
    key = np.zeros(len(cell), dtype=np.int64)
    for bits, down in ((_COARSE_BITS, _FINE_BITS), (_FINE_BITS, 0)):
        for axis in range(3):
            key = (key << bits) | ((cell[:, axis] >> down) & ((1 << bits) - 1))
    return key


def _candidates(
    lines: Lines, position: Floats, slack_m: Floats, count: int = _FIRST_LOOK
) -> tuple[Indices, Indices, Indices, NDArray[np.float32]]:
    """List the segments that can be nearest to anything within half of `slack_m` (n,) of positions.

    Returns
    -------
    row, segment, piece, chord_m
        In order of the position's row, one value a segment.
    """
    count = min(count, len(lines.reach_m))
    away, piece = lines.nearest_pieces(position, count)
    unseen = away[:, -1] - lines.widest_m if count < len(lines.reach_m) else np.inf
    # The piece whose middle is nearest is measured first: little else can be nearer then.
    row, segment, chord = _measured(lines, position, piece[:, 0])
    limit = np.minimum.reduceat(chord, _starts(row)) + slack_m
    matters = away - lines.reach_m[piece] <= limit[:, None]
    matters[:, 0] = False
    short = np.flatnonzero(unseen <= limit)
    matters[short] = False
    at, column = np.nonzero(matters)
    parts = [(row, segment, piece[row, 0], chord)]
    if len(at):
        row, segment, chord = _measured(lines, position[at], piece[at, column])
        parts.append((at[row], segment, piece[at, column][row], chord))
    if len(short):
        more = _candidates(lines, position[short], slack_m[short], 4 * count)
        parts.append((short[more[0]], *more[1:]))
    row, segment, of, chord = (np.concatenate(part) for part in zip(*parts, strict=True))
    for again in parts[1:]:
        starts = _starts(again[0])
        at = again[0][starts]
        limit[at] = np.minimum(limit[at], np.minimum.reduceat(again[3], starts) + slack_m[at])
    stays = np.flatnonzero(chord <= limit[row])
    stays = stays[np.argsort(row[stays], kind="stable")]
    return row[stays], segment[stays], of[stays], chord[stays]


def _measured(
    lines: Lines, position: Floats, piece: Indices
) -> tuple[Indices, Indices, NDArray[np.float32]]:
    """Measure from one position (n, 3) each to all segments of pieces (n,).

    Returns
    -------
    row, segment, chord_m
        One value a segment, in order of row.
    """
    counts = lines.piece_segments[piece]
    row = np.repeat(np.arange(len(piece)), counts)
    segment = np.arange(len(row)) + (lines.piece_begin[piece] - np.cumsum(counts) + counts)[row]
    near = (position - lines.centre_m[piece]).astype(np.float32)
    return row, segment, _chord(near[row], lines.segment_m.take(segment, axis=0))


def _chord(near: NDArray[np.float32], segment: NDArray[np.float32]) -> NDArray[np.float32]:
    """Straight distance to segments, as `Lines` has them, from positions less their middles."""
    east, north, up = (near[:, axis] - segment[:, axis] for axis in range(3))
    x, y, z = segment[:, 3], segment[:, 4], segment[:, 5]
    share = east * x
    share += north * y
    share += up * z
    share *= segment[:, 6]
    # np.clip would do the same in thrice the time for few.
    np.maximum(share, 0.0, out=share)
    np.minimum(share, 1.0, out=share)
    east -= share * x
    north -= share * y
    up -= share * z
    east *= east
    north *= north
    up *= up
    east += north
    east += up
    return np.asarray(np.sqrt(east, out=east))


def _starts(row: Indices) -> Indices:
    return np.flatnonzero(np.diff(row, prepend=-1))
