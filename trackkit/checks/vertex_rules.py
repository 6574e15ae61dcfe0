"""Rules about a centreline's vertices: too far apart, scattered, rounded, or missing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from trackkit.arrays import Flags, Floats, Indices
from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.line_rules import FEWEST_POINTS
from trackkit.geometry.curve import Curve
from trackkit.geometry.runs import runs_of
from trackkit.geometry.shape import metres_a_degree
from trackkit.remedies import Remedy
from trackkit.track.model import Track

GAP_M = 60.0
"""Trackkit's lines have a vertex every 25 m at least; so much without one, and nobody can tell
what the track does in between."""
CHORD_ERROR_M = 1.0
"""A line that leaves the chords between its vertices by more is guessed rather than drawn.
Where a straight becomes a bend the spline is then off by about an eighth of it."""
SCATTER_M = 0.15
"""One sigma of vertices about a smooth line; where they are 2 m apart it turns the heading by 6
degrees."""
ROUNDED_DECIMALS = 5
"""Degrees of so many decimals or fewer lie on a lattice of 1.1 m or more."""
_SCATTER_OVER = 15
"""Vertices that scatter is judged over."""
_SCATTER_CHANGES = 0.6
"""Share of neighbours on different sides from which vertices scatter.  White noise gives 0.8, as
the residuals of neighbours have a correlation of -0.8; a curve drawn too coarsely gives none."""
_ON_LATTICE = 0.9
_LATTICE_WITHIN_DEG = 2e-9
_SHARES = np.linspace(0.1, 0.9, 9)


def revise(what: str) -> Remedy:
    """Have a line built anew from a recording, which is folded into the file."""
    return Remedy(what, do="build revise")


def _gaps(track: Track) -> Iterator[Finding]:
    """Find stretches without a vertex."""
    curve = track.curve
    begin, chord = curve.vertex_chainage_m, np.linalg.norm(np.diff(_around(curve), axis=0), axis=1)
    wide = np.flatnonzero(chord > GAP_M)
    if len(wide) == 0 or _too_few(curve):
        return
    worst = int(wide[np.argmax(chord[wide])])
    others = "" if len(wide) == 1 else f", and {len(wide) - 1} more such stretches"
    yield new_finding(
        track,
        severity="warning",
        rule="line-gap",
        feature="centreline",
        chainage_m=float(begin[worst]),
        message=f"the line has no vertex for {chord[worst]:.0f} m from {begin[worst]:.0f} m on"
        f"{others}: what the track does there is not in the file",
        remedy=revise("drive the whole circuit once and fold the recording in"),
    )


def _chords(track: Track) -> Iterator[Finding]:
    """Find bends drawn with too few vertices."""
    curve = track.curve
    if _too_few(curve):
        return
    away = chord_errors_m(curve)
    coarse = np.flatnonzero(away > CHORD_ERROR_M)
    if len(coarse) == 0:
        return
    worst = int(coarse[np.argmax(away[coarse])])
    others = "" if len(coarse) == 1 else f", and so {len(coarse) - 1} times more"
    yield new_finding(
        track,
        severity="warning",
        rule="line-coarse",
        feature="centreline",
        chainage_m=float(curve.vertex_chainage_m[worst]),
        message=f"the line bends {away[worst]:.1f} m away from the chord between two vertices at "
        f"{curve.vertex_chainage_m[worst]:.0f} m{others}: there are too few of them to follow it",
        remedy=revise("draw vertices closer together where it bends, or fold a recording in"),
    )


def chord_errors_m(curve: Curve) -> Floats:
    """How far a curve leaves the chord from each of its vertices to the next, metres, shape (n,).

    n is one less than the vertices of an open curve.
    """
    vertex = _around(curve)
    ends = np.append(curve.vertex_chainage_m, [curve.length_m] if curve.closed else [])
    at = ends[:-1, None] + _SHARES * np.diff(ends)[:, None]
    chord = np.diff(vertex, axis=0)
    along = chord / np.linalg.norm(chord, axis=1)[:, None]
    away = curve.position(at) - vertex[:-1, None]
    aside = along[:, None, 0] * away[..., 1] - along[:, None, 1] * away[..., 0]
    return np.asarray(np.abs(aside).max(axis=1))


def _lattice(track: Track) -> Iterator[Finding]:
    """Find coordinates that were rounded."""
    decimals = rounded_decimals(track)
    if decimals is None:
        return
    degree = metres_a_degree(float(track.centreline.latitude_deg[0]))
    step = float(degree.max()) * 10.0**-decimals
    yield new_finding(
        track,
        severity="warning",
        rule="line-rounded",
        feature="centreline",
        chainage_m=0.0,
        message=f"the line's positions are rounded to {decimals} decimals of a degree, a lattice "
        f"of {step:.1f} m",
        remedy=revise(
            "save them again with 8 decimals from where they came, or fold a recording in"
        ),
    )


def rounded_decimals(track: Track) -> int | None:
    """Decimals that a line's positions were rounded to; None for more than `ROUNDED_DECIMALS`.

    A vertex in ten may have more: a finish gate that is moved gives the line one of its own.
    """
    line = track.centreline
    degrees = np.stack([line.longitude_deg, line.latitude_deg])
    for decimals in range(ROUNDED_DECIMALS + 1):
        apart = np.abs(degrees - np.round(degrees, decimals))
        on = np.all(apart < _LATTICE_WITHIN_DEG, axis=0)
        if on.mean() >= _ON_LATTICE:
            return decimals
    return None


def _scatter(track: Track) -> Iterator[Finding]:
    """Find vertices that lie beside the line by noise."""
    curve = track.curve
    if _too_few(curve) or rounded_decimals(track) is not None:
        return
    index, scatter = vertex_scatter_m(curve)
    noisy = scatter > SCATTER_M
    if not noisy.any():
        return
    worst = int(np.argmax(scatter))
    share = float(noisy.mean())
    begin, end = max(runs_of(noisy), key=lambda run: run[1] - run[0])
    where = (
        "all along it"
        if share > 0.5
        else f"from {curve.vertex_chainage_m[index[begin]]:.0f} m to "
        f"{curve.vertex_chainage_m[index[end - 1]]:.0f} m"
    )
    usual = float(np.median(scatter[noisy]))
    yield new_finding(
        track,
        severity="warning",
        rule="line-scatter",
        feature="centreline",
        chainage_m=float(curve.vertex_chainage_m[index[worst]]),
        message=f"the line's vertices lie {usual:.2f} m (one sigma) to either side of a smooth "
        f"line, {where}",
        remedy=revise("build the line from recordings, which smooths it, or fold one in"),
    )


def vertex_scatter_m(curve: Curve) -> tuple[Indices, Floats]:
    """Estimate how vertices scatter to the side of a smooth line.

    Each vertex is held against the cubic through the two before and the two after it, by chord
    length.  What is left, over the root of one and the sum of the squared weights, is one sigma of
    the noise where neighbours lie to different sides; where they lie to one side it is the line
    that bends, and counts as nothing.  The median of 15 neighbours is told, as one sigma of a
    normal distribution.

    Parameters
    ----------
    curve
        The line.

    Returns
    -------
    index, sigma_m
        Indices of vertices, and one sigma about each, metres.
    """
    vertex, count = curve.vertex_m, len(curve.vertex_m)
    index = np.arange(count) if curve.closed else np.arange(2, count - 2)
    if len(index) <= _SCATTER_OVER:
        return index[:0], np.empty(0)
    near = {k: vertex[(index + k) % count] for k in range(-2, 3)}
    step = {k: np.linalg.norm(near[k + 1] - near[k], axis=1) for k in range(-2, 2)}
    at = {-2: -step[-1] - step[-2], -1: -step[-1], 1: step[0], 2: step[0] + step[1]}
    weight = {k: np.prod([at[j] / (at[j] - at[k]) for j in at if j != k], axis=0) for k in at}
    away = near[0] - sum(weight[k][:, None] * near[k] for k in at)
    along = near[1] - near[-1]
    aside = (along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0]) / np.maximum(
        np.linalg.norm(along, axis=1), 1e-9
    )
    aside /= np.sqrt(1.0 + sum(weight[k] ** 2 for k in at))
    changes: Flags = np.signbit(aside[1:]) != np.signbit(aside[:-1])
    middle = np.median(sliding_window_view(np.abs(aside), _SCATTER_OVER), axis=1)
    changing = sliding_window_view(changes, _SCATTER_OVER - 1).mean(axis=1)
    sigma = np.where(changing > _SCATTER_CHANGES, middle / 0.6745, 0.0)
    return index[_SCATTER_OVER // 2 :][: len(sigma)], sigma


def _around(curve: Curve) -> Floats:
    vertex = curve.vertex_m
    return np.vstack([vertex, vertex[:1]]) if curve.closed else vertex


def _too_few(curve: Curve) -> bool:
    """Whether the rule too-few-points has the word."""
    return len(curve.vertex_m) < FEWEST_POINTS


VERTEX_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gaps,
    _chords,
    _lattice,
    _scatter,
)
"""Rules that look at the line's vertices, and at no gate."""
