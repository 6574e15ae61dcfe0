"""An edge of the track drawn by hand: how far it is from the centreline, which stays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.editor.drawn_line import DrawnOver, by_hand, where_of, with_picture
from trackkit.editor.stretches import Stretch, drawn_through, require_apart
from trackkit.errors import PlaceError
from trackkit.track.band import band_sides
from trackkit.track.history import now
from trackkit.track.model import Track

Side = Literal["left", "right"]

NARROWEST_M, WIDEST_M = 0.5, 100.0
"""An edge is so far from the line at least and at most."""
_ROW_EVERY_M = 2.0
_AHEAD_M = 0.5


def draw_edge(
    track: Track, side: Side, stretches: Sequence[Stretch], over: DrawnOver | None = None
) -> tuple[Track, tuple[str, ...]]:
    """Draw stretches of an edge of a track anew.

    Parameters
    ----------
    track
        The track.
    side
        Which edge.
    stretches
        By chainages of the centreline, on its plane.
    over
        The picture that they were drawn over, or None.

    Returns
    -------
    track, remarks
        With a line of history, and what there is to say, a sentence each.

    Raises
    ------
    PlaceError
        When the edge would touch the line, lie far from it, or turn back along it.
    """
    curve, line = track.curve, track.centreline
    ordered = sorted(stretches, key=lambda one: -1.0 if one.begin_m is None else one.begin_m)
    require_apart(curve, ordered)
    rows: list[tuple[float, float, float]] = list(line.width_profile or ())
    for stretch in ordered:
        rows = _with_stretch(track, side, stretch, rows)
    every = {round(row[0], 2): row for row in rows}
    profile = tuple(every[at] for at in sorted(every))
    changed = replace(track, centreline=replace(line, width_profile=profile))
    remarks: tuple[str, ...] = ()
    if line.width_m is None and line.width_profile is None:
        remarks = (f"elsewhere the track is taken to be {track.band_m:g} m wide, as before",)
    what = f"{side} edge {by_hand(over)}{where_of(track, ordered)}"
    return with_picture(changed, over).revised_by(what, now()), remarks


def _with_stretch(
    track: Track, side: Side, stretch: Stretch, rows: list[tuple[float, float, float]]
) -> list[tuple[float, float, float]]:
    curve, number = track.curve, 0 if side == "left" else 1
    closes = track.closed and stretch.begin_m is None
    ends = [
        None if at is None else _edge_at(track, side, at) for at in (stretch.begin_m, stretch.end_m)
    ]
    place = drawn_through(stretch.point_m, ends[0], ends[1], closes=closes)
    step = np.gradient(place, axis=0)
    ahead = step / np.linalg.norm(step, axis=1)[:, None]
    at, aside = curve.project(place, ahead)
    reach = aside if side == "left" else -aside
    begin = 0.0 if stretch.begin_m is None else stretch.begin_m
    end = curve.length_m if stretch.end_m is None else stretch.end_m
    length = curve.length_m if closes else float(curve.along(begin, end))
    for wrong, what in (
        (reach < NARROWEST_M, f"lie less than {NARROWEST_M} m from the line, or beyond it"),
        (reach > WIDEST_M, f"lie more than {WIDEST_M:.0f} m from the line"),
    ):
        if wrong.any():
            raise PlaceError(
                f"the {side} edge would {what} at {at[int(np.argmax(wrong))]:.0f} m",
                remedy="move the points there, or delete one",
            )
    # A hair before where it begins is not a lap further on.
    along = np.asarray(curve.along(begin - 1.0, at)) - 1.0 if track.closed else at - begin
    if not closes and np.any(np.diff(along) < -_AHEAD_M):
        back = int(np.argmin(np.diff(along)))
        raise PlaceError(
            f"the {side} edge would turn back at {at[back]:.0f} m",
            remedy="move the points there, or delete one",
        )
    order = np.argsort(along)
    count = max(2, int(np.ceil(length / _ROW_EVERY_M)) + 1)
    want = np.linspace(0.0, length, count, endpoint=not closes)
    where = np.asarray(curve.wrap(begin + want))
    both = np.column_stack(band_sides(track, where))
    period = curve.length_m if closes else None
    both[:, number] = np.interp(want, along[order], reach[order], period=period)
    kept = [row for row in rows if not closes and not 0.0 <= _ahead(track, begin, row[0]) <= length]
    return [*kept, *zip(where.tolist(), *both.T.tolist(), strict=True)]


def _ahead(track: Track, begin_m: float, at_m: float) -> float:
    return float(track.curve.along(begin_m, at_m)) if track.closed else at_m - begin_m


def _edge_at(track: Track, side: Side, at_m: float) -> Floats:
    """Give an edge's place beside the line, and its direction there, shape (2, 2)."""
    curve = track.curve
    at = np.asarray(curve.wrap(at_m + np.array([-_AHEAD_M, 0.0, _AHEAD_M])))
    left, right = band_sides(track, at)
    reach = left if side == "left" else -right
    place = curve.position(at) + curve.left(at) * reach[:, None]
    way = place[2] - place[0]
    return np.array([place[1], way / np.linalg.norm(way)])
