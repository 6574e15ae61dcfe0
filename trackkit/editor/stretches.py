"""Stretches of a line drawn by hand: points between two places of it that stay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.errors import PlaceError
from trackkit.geometry.curve import Curve
from trackkit.geometry.vectors import distance_along

NEAREST_M = 0.2
"""Points nearer to each other than this are one place for a hand."""
_FINE_M = 0.25
_MOST_FINE = 20_000
_BESIDE_SEAM_M = (0.3, 0.8, 1.6, 3.2, 6.4, 12.8)
"""Where a line that stays gets more vertices beside a stretch that was drawn: a spline through
sparse ones would swing there."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch that was drawn.

    Parameters
    ----------
    begin_m, end_m
        Chainages of the line between which it was drawn anew, metres: the line goes on there as it
        was, in the direction that it has.  None where the line begins, or ends, with the first or
        the last of the points; both None for a lap that was drawn as a whole.
    point_m
        Points in between in racing direction, metres on the line's plane, shape (n, 2).
    """

    begin_m: float | None
    end_m: float | None
    point_m: Floats


@dataclass(frozen=True, eq=False)
class Drawn:
    """A line with stretches of it drawn.

    Parameters
    ----------
    vertex_m
        Its vertices, metres, shape (n, 2); those of the line before where it stays.
    before_m
        Chainages of the line before that belong to them, metres, shape (n,): where a stretch was
        drawn, by its share.
    by_hand
        Whether a vertex is within a stretch that was drawn, its ends included, shape (n,).
    """

    vertex_m: Floats
    before_m: Floats
    by_hand: Flags


def with_stretches(line: Curve, stretches: Sequence[Stretch]) -> Drawn:
    """Draw stretches of a line anew; all else stays where it is.

    A stretch is the cubic spline by chord length through its points that leaves the line, and comes
    back to it, in the direction of the line.

    Parameters
    ----------
    line
        As it was.
    stretches
        One or more that do not overlap.

    Returns
    -------
    Drawn
        Beginning where the line begins, unless that is within a stretch: then at the end of it.

    Raises
    ------
    PlaceError
        When stretches overlap, hold no point where they need some, or two points that are one.
    """
    ordered = sorted(stretches, key=lambda one: -1.0 if one.begin_m is None else one.begin_m)
    require_apart(line, ordered)
    whole = line.closed and len(ordered) == 1 and ordered[0].begin_m is None
    if whole:
        piece = _piece(line, ordered[0])[:-1]
        before = np.linspace(0.0, line.length_m, len(piece), endpoint=False)
        return Drawn(piece, before, np.ones(len(piece), dtype=bool))
    pieces: list[tuple[Floats, Floats, bool]] = []
    for number, stretch in enumerate(ordered):
        if not line.closed and number == 0 and stretch.begin_m is not None:
            pieces.append(_kept(line, 0.0, stretch.begin_m, seams=(False, True)))
        place = _piece(line, stretch)
        begin = 0.0 if stretch.begin_m is None else stretch.begin_m
        end = line.length_m if stretch.end_m is None else stretch.end_m
        share = distance_along(place)
        ahead = begin + float(line.along(begin, end)) * share / share[-1]
        pieces.append((place, ahead, True))
        if stretch.end_m is None:
            continue
        if number + 1 < len(ordered):
            following = ordered[number + 1].begin_m
        else:
            following = ordered[0].begin_m if line.closed else line.length_m
        last = number + 1 == len(ordered) and not line.closed
        pieces.append(_kept(line, stretch.end_m, float(following or 0.0), seams=(True, not last)))
    return _from_first(line, pieces)


def require_apart(line: Curve, ordered: Sequence[Stretch]) -> None:
    """Refuse stretches, in order, that overlap, or that lie nowhere on a line.

    Raises
    ------
    PlaceError
        When they do.
    """
    if not ordered:
        raise PlaceError("nothing was drawn")
    reached = -np.inf
    for number, stretch in enumerate(ordered):
        open_ended = stretch.begin_m is None or stretch.end_m is None
        alone = stretch.begin_m is None and stretch.end_m is None and len(ordered) == 1
        if line.closed and open_ended and not alone:
            raise PlaceError("a lap has no end that a stretch could begin or end at")
        begin = 0.0 if stretch.begin_m is None else stretch.begin_m
        end = line.length_m if stretch.end_m is None else stretch.end_m
        if not (0.0 <= begin <= line.length_m and 0.0 <= end <= line.length_m):
            raise PlaceError(f"the line has no place at {max(begin, end):.1f} m")
        over = line.closed and end <= begin and number + 1 == len(ordered)
        if begin < reached - 1e-6 or (end <= begin and not over):
            raise PlaceError("two stretches that were drawn overlap")
        if over and end > (ordered[0].begin_m or 0.0) + 1e-6 and not alone and len(ordered) > 1:
            raise PlaceError("two stretches that were drawn overlap")
        reached = end


def _piece(line: Curve, stretch: Stretch) -> Floats:
    """Sample a stretch of a line, from the place that stays to the other one."""

    def end(at_m: float | None) -> Floats | None:
        if at_m is None:
            return None
        return np.array([line.position(at_m), line.direction(at_m)])

    return drawn_through(
        stretch.point_m,
        end(stretch.begin_m),
        end(stretch.end_m),
        closes=line.closed and stretch.begin_m is None,
    )


def drawn_through(
    point_m: Floats, begin: Floats | None, end: Floats | None, *, closes: bool
) -> Floats:
    """Sample the spline that was drawn through points.

    Parameters
    ----------
    point_m
        The points, metres, shape (n, 2).
    begin, end
        The place that it leaves from, or leads to, and the direction of the line there, shape
        (2, 2); None where it has none.
    closes
        Whether it closes on itself; it has neither then.

    Returns
    -------
    ndarray
        Places along it, metres, shape (m, 2), as near to each other as its bends ask for.

    Raises
    ------
    PlaceError
        When there are too few points, or two of them are one.
    """
    from scipy.interpolate import CubicSpline

    point = [point_m.reshape(-1, 2)]
    slope: list[tuple[Literal[1, 2], Floats]] = [(2, np.zeros(2)), (2, np.zeros(2))]
    if begin is not None:
        point.insert(0, begin[:1])
        slope[0] = (1, begin[1])
    if end is not None:
        point.append(end[:1])
        slope[1] = (1, end[1])
    if closes:
        point.append(point[0][:1])
    through = np.concatenate(point)
    if len(through) < (4 if closes else 2):
        raise PlaceError(
            "too few points are left of the line", remedy="undo, and keep more of them"
        )
    apart = np.linalg.norm(np.diff(through, axis=0), axis=1)
    if apart.min() < NEAREST_M:
        raise PlaceError(
            f"two points lie {apart.min():.2f} m from each other",
            remedy="delete one of them, or move it away",
        )
    at = distance_along(through)
    ends: Literal["periodic"] | tuple[tuple[Literal[1, 2], Floats], tuple[Literal[1, 2], Floats]]
    ends = "periodic" if closes else (slope[0], slope[1])
    spline = CubicSpline(at, through, bc_type=ends)
    count = int(np.clip(at[-1] / _FINE_M, 8, _MOST_FINE))
    fine = Curve.through(spline(np.linspace(0.0, at[-1], count + 1)), closed=False)
    return fine.position(fine.sampled())


def _kept(
    line: Curve, begin_m: float, end_m: float, *, seams: tuple[bool, bool]
) -> tuple[Floats, Floats, bool]:
    """Give the vertices of a line between two places, and some more beside stretches drawn."""
    length = float(line.along(begin_m, end_m))
    if line.closed and begin_m == end_m:
        length = 0.0
    own = np.asarray(line.along(begin_m, line.vertex_chainage_m))
    own = np.sort(own[own <= length + 1e-9])
    near = np.array(_BESIDE_SEAM_M)
    extra = [near if seams[0] else near[:0], length - near if seams[1] else near[:0]]
    more = np.concatenate(extra)
    more = more[(more > 0.0) & (more < length)]
    # The ends themselves belong to the stretches that were drawn.
    low = 0.5 * near[0] if seams[0] else -1.0
    high = length - 0.5 * near[0] if seams[1] else length + 1.0
    own = own[(own > low) & (own < high)]
    if len(own):
        apart = np.abs(more[:, None] - own).min(axis=1)
        more = more[apart > 0.5 * near[0]]
    along = np.sort(np.concatenate([own, more]))
    along = along[np.diff(along, prepend=-1.0) > 1e-6]
    at = begin_m + along
    return line.position(at), at, False


def _from_first(line: Curve, pieces: Sequence[tuple[Floats, Floats, bool]]) -> Drawn:
    """Put pieces together, from where the line began."""
    place = np.concatenate([piece[0] for piece in pieces])
    before = np.concatenate([piece[1] for piece in pieces])
    by_hand = np.concatenate([np.full(len(piece[0]), piece[2]) for piece in pieces])
    if line.closed:
        at = np.asarray(line.wrap(before))
        still = np.flatnonzero(~by_hand & (np.minimum(at, line.length_m - at) < 1e-6))
        first = int(still[0]) if len(still) else len(pieces[0][0]) - 1
        place, before, by_hand = (np.roll(a, -first, axis=0) for a in (place, before, by_hand))
    return Drawn(place, before, by_hand)
