"""Widths and accuracies of a line that was moved in places: kept where it is as it was."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.building.from_line import DRAWN_SIGMA_M
from trackkit.building.line_accuracy import rows_of
from trackkit.building.tell_accuracy import with_profile
from trackkit.geometry.runs import runs_of
from trackkit.track.accuracy import ACCURACY_KINDS, AccuracyRow, ranks_of
from trackkit.track.band import band_sides
from trackkit.track.model import Track

STILL_M = 0.05
"""A line this near to where it was has not moved there: a curve swings a little beside an edit."""
_LEAST_SHARE = 0.5
"""A line of which less has stayed is another one."""
_SPACING_M = 1.0
_NEAR_M = 10.0
_ROW_EVERY = 2


@dataclass(frozen=True, eq=False)
class _Beside:
    """Places of the new line, and where they lie beside the one before, shape (n,) each."""

    chainage_m: Floats
    before_m: Floats
    left_m: Floats
    moved: Flags


def with_profiles(track: Track, onto: Track, stated_m: float | None) -> tuple[Track, str]:
    """Give a track whose line was moved what is known along the line before.

    Where the line has stayed, widths and sigmas are those of before.  Where it has moved, its edges
    have not, and it counts as drawn: by as much less is it known as it was moved, though not less
    than any line that was drawn.

    Parameters
    ----------
    track
        With its new line, and without profiles.
    onto
        As it was.
    stated_m
        The accuracy of the whole line that the file states instead of the one before, metres; None
        where it states none.

    Returns
    -------
    track, remark
        What was kept; "" where nothing was known of the line before.
    """
    line = onto.centreline
    profiles = [
        label
        for label, value in (("width", line.width_profile), ("accuracy", line.accuracy_profile))
        if value is not None
    ]
    if not profiles and onto.accuracy_m is None:
        return track, ""
    beside = _beside(track, onto)
    if beside is None or beside.moved.mean() > 1.0 - _LEAST_SHARE:
        lost = f": the profile of {' and of '.join(profiles)} was left out" if profiles else ""
        unknown = "" if stated_m is not None else ", and how well it is known is not"
        return track, f"the line is another one{unknown}{lost}"
    moved_m = float(beside.moved.mean()) * track.curve.length_m
    most_m = float(np.abs(beside.left_m).max())
    remark = f"the line was moved over {moved_m:,.0f} m, by up to {most_m:,.2f} m"
    if line.width_profile is not None:
        track = _with_widths(track, onto, beside)
    if stated_m is not None:
        return track, remark
    return _with_accuracy(track, onto, beside), f"{remark}: there it counts as drawn"


def with_drawn_profiles(track: Track, onto: Track, drawn_m: float | None) -> tuple[Track, float]:
    """Give a track whose line was drawn by hand what is known along the line before.

    As `with_profiles` has it, but that the line is the same one however much of it was drawn, and
    that it has an accuracy profile afterwards: of a line that nobody has measured, all is drawn.

    Parameters
    ----------
    track
        With its new line, and without profiles.
    onto
        As it was.
    drawn_m
        One sigma of what was drawn, metres; None where nothing tells it.

    Returns
    -------
    track, moved_m
        And by how much the line was moved at most, metres.
    """
    beside = _beside(track, onto)
    if beside is None:
        raise ValueError("a lap and a course are not the same track")
    if onto.centreline.width_profile is not None:
        track = _with_widths(track, onto, beside)
    if onto.centreline.accuracy_profile is None:
        stated = onto.accuracy_m or DRAWN_SIGMA_M
        whole = stated if onto.line == "centre" else max(stated, DRAWN_SIGMA_M)
        line = replace(onto.centreline, accuracy_profile=(AccuracyRow(0.0, whole, "drawn"),))
        onto = replace(onto, centreline=line)
    return _with_accuracy(track, onto, beside, drawn_m), float(np.abs(beside.left_m).max())


def _beside(track: Track, onto: Track) -> _Beside | None:
    """Find where the new line passes beside the old one; None of a lap and a course."""
    curve = track.curve
    at = curve.chainages(_SPACING_M)
    if not track.closed:
        at = np.append(at[at < curve.length_m - 0.5 * _SPACING_M], curve.length_m)
    place = onto.plane.to_plane(*track.plane.to_geographic(curve.position(at)))
    ahead = curve.direction(at)
    before, left = onto.curve.project(place, ahead)
    same_way = np.einsum("ij,ij->i", ahead, onto.curve.direction(before)) > 0.0
    moved = (np.abs(left) > STILL_M) | ~same_way
    for begin, end in runs_of(~moved, closed=track.closed):
        # Between two places that were moved a line crosses the one before.
        if end - begin < _NEAR_M / _SPACING_M and (track.closed or 0 < begin < end < len(at)):
            moved[np.arange(begin, end) % len(at)] = True
    if track.closed != onto.closed:
        return None
    return _Beside(at, before, left, moved)


def _with_accuracy(
    track: Track, onto: Track, beside: _Beside, drawn_m: float | None = None
) -> Track:
    from scipy.ndimage import maximum_filter1d

    known = onto.centreline.accuracy_at(beside.before_m)
    if known is None and onto.accuracy_m is None:
        return track
    before = np.full(len(beside.left_m), onto.accuracy_m) if known is None else known[0]
    # An edited curve swings about the one before; what was moved is what lies around.
    around = int(_NEAR_M / _SPACING_M)
    aside = maximum_filter1d(
        np.abs(beside.left_m), 2 * around + 1, mode="wrap" if track.closed else "nearest"
    )
    most = np.maximum(before, DRAWN_SIGMA_M) if drawn_m is None else drawn_m
    drawn = np.minimum(np.hypot(before, aside), most)
    sigma = np.where(beside.moved, drawn, before)
    if known is None:
        return replace(track, accuracy_m=round(float(np.sqrt(np.mean(sigma**2))), 3))
    rank = np.where(beside.moved, ACCURACY_KINDS.index("drawn"), ranks_of(known[1]))
    kinds = np.array(ACCURACY_KINDS)[rank]
    return with_profile(track, rows_of(beside.chainage_m, sigma, kinds))


def _with_widths(track: Track, onto: Track, beside: _Beside) -> Track:
    """Keep the rows where the line has stayed; elsewhere it lies between the same edges.

    Where it lies beyond them, what is known at both ends of that has to do.
    """
    curve = track.curve
    rows = np.asarray(sorted(onto.centreline.width_profile or ()), dtype=float)
    place = track.plane.to_plane(*onto.plane.to_geographic(onto.curve.position(rows[:, 0])))
    there, left = curve.project(place, onto.curve.direction(rows[:, 0]))
    there = np.where(curve.length_m - there < 0.005, 0.0, there) if track.closed else there
    still = np.abs(left) <= STILL_M
    edited = _ends_and_between(beside.moved, closed=track.closed)
    reach = np.column_stack(band_sides(onto, beside.before_m[edited]))
    reach += np.where(beside.moved[edited], beside.left_m[edited], 0.0)[:, None] * [-1.0, 1.0]
    between = np.column_stack([beside.chainage_m[edited], reach])[np.all(reach >= 0.0, axis=1)]
    kept = np.column_stack([there, rows[:, 1:]])[still]
    every = {round(row[0], 2): row for row in [*between.tolist(), *kept.tolist()]}
    profile = tuple((at, every[at][1], every[at][2]) for at in sorted(every))
    return replace(track, centreline=replace(track.centreline, width_profile=profile or None))


def _ends_and_between(moved: Flags, *, closed: bool) -> Indices:
    """List the last places that stayed before and after each stretch, and some in between."""
    count = len(moved)
    chosen: list[int] = []
    for begin, end in runs_of(moved, closed=closed):
        every = [begin - 1, *range(begin, end, _ROW_EVERY), end - 1, end]
        chosen += [at % count if closed else min(max(at, 0), count - 1) for at in every]
    return np.array(sorted(set(chosen)), dtype=np.intp)
