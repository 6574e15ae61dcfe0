"""Rules about the centreline that need geometry alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.checks.findings import Finding, new_finding
from trackkit.geometry.kinks import KINK_M, find_kinks
from trackkit.geometry.shape import self_crossings
from trackkit.remedies import Remedy
from trackkit.track.model import Track

CLOSURE_GAP_M = 0.05
FEWEST_POINTS = 20
"""A line of fewer vertices cannot follow a track to half a metre."""
BRIDGE_WITHIN_M = 10.0
CROSSINGS_LISTED = 20
"""Of a line driven or drawn over twice, which meets itself everywhere, the rest is counted."""
CORNER_WITHIN_M = 5.0


def _points(track: Track) -> Iterator[Finding]:
    count = len(track.curve.vertex_m)
    if count < FEWEST_POINTS:
        yield new_finding(
            track,
            severity="error",
            rule="too-few-points",
            feature="centreline",
            chainage_m=0.0,
            message=f"the centreline has {count} points; a track needs {FEWEST_POINTS} or more to "
            "be followed",
            remedy=Remedy("build it from a recording, or draw it in more detail"),
        )


def _closure(track: Track) -> Iterator[Finding]:
    if track.closed and track.centreline.gap_m > CLOSURE_GAP_M:
        yield new_finding(
            track,
            severity="error",
            rule="closure-gap",
            feature="centreline",
            chainage_m=track.curve.length_m,
            message=f"the track is closed but its line ends {track.centreline.gap_m:.2f} m from "
            "where it begins",
            remedy=Remedy("repeat the first position at the end, or declare the track open"),
        )


def _simple(track: Track) -> Iterator[Finding]:
    crossings, bridged = _crossings_and_bridges(track)
    undeclared = crossings[~bridged.any(axis=1)]
    remedy = Remedy("declare the bridge in crossovers, or mend the line")
    for first, second in undeclared[:CROSSINGS_LISTED]:
        yield new_finding(
            track,
            severity="error",
            rule="crosses-itself",
            feature="centreline",
            chainage_m=float(first),
            message=f"the line crosses itself at {first:.0f} m and {second:.0f} m and no "
            "bridge is declared there",
            remedy=remedy,
        )
    more = len(undeclared) - CROSSINGS_LISTED
    if more > 0:
        first = float(undeclared[CROSSINGS_LISTED, 0])
        yield new_finding(
            track,
            severity="error",
            rule="crosses-itself",
            feature="centreline",
            chainage_m=first,
            message=f"the line crosses itself at {more:,} more places, from {first:.0f} m on",
            remedy=Remedy("draw a line that goes once round, or once from start to finish"),
        )


def _crossings_and_bridges(track: Track) -> tuple[Floats, Flags]:
    """Find where the line crosses itself, and which of the declared bridges lead it there.

    Returns
    -------
    crossings, bridged
        Both chainages of each, metres, shape (n, 2); whether each bridge is there, shape (n, m).
    """
    curve = track.curve
    crossings = np.array([places[:2] for places in self_crossings(curve)]).reshape(-1, 2)
    levels = np.array([(c.over_m, c.under_m) for c in track.crossovers]).reshape(-1, 2)
    bridged = np.zeros((len(crossings), len(levels)), dtype=bool)
    for pair in (levels, levels[:, ::-1]):
        apart = curve.separation(crossings[:, None], pair)
        bridged |= np.all(apart <= BRIDGE_WITHIN_M, axis=2)
    return crossings, bridged


def _kinks(track: Track) -> Iterator[Finding]:
    """Find places where the line turns as no vehicle can: a stray vertex, or one out of order."""
    chainage, turned = find_kinks(track.curve)
    if len(chainage):
        worst = int(np.argmax(turned))
        yield new_finding(
            track,
            severity="error",
            rule="kink",
            feature="centreline",
            chainage_m=float(chainage[worst]),
            message=f"the line turns by {float(turned[worst]):.0f} degrees within {KINK_M:.0f} m, "
            "as no vehicle does",
            remedy=Remedy(
                "move the line there by hand on the page that edits it, or fold a recording in "
                "that is driven there, which lays it anew",
                do="build revise",
            ),
        )


def _bridges(track: Track) -> Iterator[Finding]:
    """Find declared bridges where the line does not cross itself."""
    if not track.crossovers:
        return
    _, bridged = _crossings_and_bridges(track)
    for declared, near in zip(track.crossovers, np.asarray(bridged.any(axis=0)), strict=True):
        if not near:
            yield new_finding(
                track,
                severity="warning",
                rule="bridge-nowhere",
                feature="centreline",
                chainage_m=declared.over_m,
                message=f"a bridge is declared at {declared.over_m:.0f} m over "
                f"{declared.under_m:.0f} m, but the line does not cross itself there",
                remedy=Remedy("correct its chainages in crossovers, or remove it"),
            )


def _corner_places(track: Track) -> Iterator[Finding]:
    """Find corners whose apex is not at their chainage."""
    for corner in track.corners:
        there = track.plane.to_plane(*corner.apex)
        away = float(np.linalg.norm(track.curve.position(corner.apex_m) - there))
        if away > CORNER_WITHIN_M:
            apex = float(track.curve.project(there)[0])
            yield new_finding(
                track,
                severity="warning",
                rule="corner-place",
                feature=corner.id or None,
                chainage_m=corner.apex_m,
                message=f"the apex of corner {corner.number} is {away:.1f} m from where its "
                f"chainage ({corner.apex_m:.1f} m) is on the line",
                remedy=Remedy(
                    f"build the track again, or set its apex_m to {apex:.2f}",
                    do="set",
                    feature=corner.id or None,
                    value={"apex_m": round(apex, 2)},
                ),
            )


LINE_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _points,
    _closure,
    _simple,
    _kinks,
    _bridges,
    _corner_places,
)
"""Rules that look at no gate."""
