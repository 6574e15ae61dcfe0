"""What geometry has to say about a track: findings, each with its remedy."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np

from trackkit.centreline import direction_of, self_crossings
from trackkit.clearance import (
    NEAR_ENOUGH_M,
    OWN_TURN_DEG,
    RECEIVER_ACCURACY_M,
    distance_to_other_piece,
)
from trackkit.errors import PlaceError, TrackFileError, TrackkitError
from trackkit.findings import SEVERITIES as SEVERITIES
from trackkit.findings import Finding, marked, new_finding
from trackkit.gatechecks import QUALITY_RULES, on_bridge
from trackkit.gatequality import TimingQuality, timing_quality
from trackkit.gates import BESIDE_THE_TRACK
from trackkit.places import ends_chainage
from trackkit.track import Gate, Track
from trackkit.trackdocument import track_from_document
from trackkit.trackfile import read_document, read_track, schema_faults

NOT_SQUARE_DEG = 10.0
CLOSURE_GAP_M = 0.05
FEWEST_POINTS = 20
"""A line of fewer vertices cannot follow a track to half a metre."""
LENGTH_WITHIN = 1e-3
"""Share by which the declared length may differ from the geometry."""
CHAINAGE_WITHIN_M = 1.0
BRIDGE_WITHIN_M = 10.0
CORNER_WITHIN_M = 5.0
KINK_M = 2.0
KINK_DEG = 75.0
"""The tightest hairpins of kart circuits have radii of about 3 m and turn 40 degrees in 2 m."""


SAME_PLACE_M = 0.01
"""Gates nearer than this to each other lie at the same place."""


def check_file(path: str | os.PathLike[str]) -> tuple[Track | None, list[Finding]]:
    """Check a track file: its schema first, and its geometry where that can be computed.

    Returns
    -------
    track, findings
        The track is None where the file is too damaged to have a geometry.

    Raises
    ------
    TrackFileError
        When the file cannot be read or is no track file at all.
    """
    document = read_document(path)
    findings = [
        Finding(
            "error", "schema", _feature_in(place), None, None, f"{place}: {what}",
            "mend the file, or build it again with `trackkit build`",
        )
        for place, what in schema_faults(document)
    ]  # fmt: skip
    try:
        track = track_from_document(document)
        return track, [*findings, *check_track(track)]
    except TrackFileError as error:
        if not findings:
            what = f"{error.place}: {error.what}" if error.place else error.what
            findings.append(
                Finding("error", "schema", _feature_in(error.place or ""), None, None, what,
                        error.remedy or "mend the file, or build it again with `trackkit build`")
            )  # fmt: skip
        return None, findings


def layouts_beside(path: str | os.PathLike[str], track: Track) -> list[Track]:
    """Read the other layouts of a circuit: track files of its name in the same folder.

    Files that cannot be read are left out: they are not what is being checked.
    """
    found = []
    here = Path(path).resolve()
    for other in sorted(here.parent.glob("*.geojson")):
        if other == here:
            continue
        try:
            layout = read_track(other, validate=False)
        except TrackkitError:
            continue
        if layout.name == track.name and layout.id != track.id:
            found.append(layout)
    return found


def _feature_in(place: str) -> str | None:
    for word in ("feature ", "gate "):
        if place.startswith(word) and not place.startswith("feature number"):
            return place.removeprefix(word).partition(",")[0]
    return None


def check_track(track: Track, quality: TimingQuality | None = None) -> list[Finding]:
    """Check the geometry of a track, and what it does to times.

    Parameters
    ----------
    track
        The track.
    quality
        Speeds and noise to judge its gates by; assumed where None.

    Returns
    -------
    list of Finding
        Errors first, then warnings, then notes; each in racing order.  Those the track file
        accepts are marked.
    """
    findings: list[Finding] = []
    try:
        _ = track.curve
    except TrackkitError as error:
        return [
            Finding(
                "error", "too-few-points", "centreline", None, None, error.what,
                "build the track again from a recording of a whole lap",
            )
        ]  # fmt: skip
    for rule in RULES:
        findings += rule(track)
    if not any(finding.rule == "too-few-points" for finding in findings):
        quality = quality or timing_quality(track)
        for judge in QUALITY_RULES:
            findings += judge(track, quality)
    return marked(track, findings)


def _points(track: Track) -> Iterator[Finding]:
    count = len(track.curve.vertex_m)
    if count < FEWEST_POINTS:
        yield new_finding(
            track, "error", "too-few-points", "centreline", 0.0,
            f"the centreline has {count} points; a track needs {FEWEST_POINTS} or more to be "
            "followed",
            "build it from a recording, or draw it in more detail",
        )  # fmt: skip


def _closure(track: Track) -> Iterator[Finding]:
    if track.closed and track.centreline.gap_m > CLOSURE_GAP_M:
        yield new_finding(
            track, "error", "closure-gap", "centreline", track.curve.length_m,
            f"the track is closed but its line ends {track.centreline.gap_m:.2f} m from where it "
            "begins",
            "repeat the first position at the end, or declare the track open",
        )  # fmt: skip


def _length(track: Track) -> Iterator[Finding]:
    actual = track.curve.length_m
    if abs(track.length_m - actual) > LENGTH_WITHIN * actual:
        yield new_finding(
            track, "error", "length", "centreline", None,
            f"the declared length is {track.length_m:.2f} m but the line is {actual:.2f} m long",
            f"set length_m to {actual:.2f}",
        )  # fmt: skip


def _direction(track: Track) -> Iterator[Finding]:
    actual = direction_of(track.curve)
    if track.direction != actual:
        told = track.direction or "neither way round"
        yield new_finding(
            track, "error", "direction", "centreline", None,
            f"the declared direction is {told} but the line runs "
            f"{actual or 'neither way round (a figure of eight, or not closed)'}",
            "correct the direction, or reverse the line if cars go the other way",
        )  # fmt: skip


def _simple(track: Track) -> Iterator[Finding]:
    curve = track.curve
    declared = [(c.over_m, c.under_m) for c in track.crossovers]
    for first, second, _ in self_crossings(curve):
        known = any(
            max(curve.separation(first, a), curve.separation(second, b)) <= BRIDGE_WITHIN_M
            for over, under in declared
            for a, b in ((over, under), (under, over))
        )
        if not known:
            yield new_finding(
                track, "error", "crosses-itself", "centreline", first,
                f"the line crosses itself at {first:.0f} m and {second:.0f} m and no bridge is "
                "declared there",
                "declare the bridge in crossovers, or mend the line",
            )  # fmt: skip


def _kinks(track: Track) -> Iterator[Finding]:
    """Find places where the line turns as no vehicle can: a stray vertex, or one out of order."""
    curve = track.curve
    chainage = curve.chainages(0.5)
    direction = curve.direction(chainage)
    apart = max(1, round(KINK_M / (chainage[1] - chainage[0])))
    ahead = np.roll(direction, -apart, axis=0)
    turned = np.degrees(np.arccos(np.clip((direction * ahead).sum(axis=1), -1.0, 1.0)))
    if not curve.closed:
        turned[-apart:] = 0.0
    if float(turned.max()) > KINK_DEG:
        where = float(curve.wrap(chainage[int(np.argmax(turned))] + 0.5 * KINK_M))
        yield new_finding(
            track, "error", "kink", "centreline", where,
            f"the line turns by {float(turned.max()):.0f} degrees within {KINK_M:.0f} m, as no "
            "vehicle does",
            "take out the stray position there, or build the line again",
        )  # fmt: skip


def _bridges(track: Track) -> Iterator[Finding]:
    """Find declared bridges where the line does not cross itself."""
    crossings = list(self_crossings(track.curve)) if track.crossovers else []
    for declared in track.crossovers:
        near = any(
            max(
                float(track.curve.separation(first, a)), float(track.curve.separation(second, b))
            ) <= BRIDGE_WITHIN_M
            for first, second, _ in crossings
            for a, b in (
                (declared.over_m, declared.under_m), (declared.under_m, declared.over_m)
            )
        )  # fmt: skip
        if not near:
            yield new_finding(
                track, "warning", "bridge-nowhere", "centreline", declared.over_m,
                f"a bridge is declared at {declared.over_m:.0f} m over {declared.under_m:.0f} m, "
                "but the line does not cross itself there",
                "correct its chainages in crossovers, or remove it",
            )  # fmt: skip


def _corner_places(track: Track) -> Iterator[Finding]:
    """Find corners whose apex is not where their chainage says."""
    for corner in track.corners:
        there = track.plane.to_plane(*corner.apex)
        away = float(np.linalg.norm(track.curve.position(corner.apex_m) - there))
        if away > CORNER_WITHIN_M:
            yield new_finding(
                track, "warning", "corner-place", corner.id or None, corner.apex_m,
                f"the apex of corner {corner.number} is {away:.1f} m from where its chainage "
                f"({corner.apex_m:.1f} m) is on the line",
                "correct its apex_m, or build the track again",
            )  # fmt: skip


def _gate_set(track: Track) -> Iterator[Finding]:
    needed = ["finish"] if track.closed else ["start", "finish"]
    for kind in needed:
        found = [gate for gate in track.gates if gate.kind == kind]
        if not found:
            yield new_finding(
                track, "error", "gate-missing", None, None, f"the track has no {kind} gate",
                f"place one with `trackkit gate place TRACK {kind} PLACE`",
            )  # fmt: skip
        for extra in found[1:]:
            yield new_finding(
                track, "error", "gate-twice", extra.id, extra.chainage_m,
                f"the track has more than one {kind} gate",
                f"remove all but one with `trackkit gate remove TRACK {extra.id}`",
            )  # fmt: skip
    ids = [track.centreline.id]
    ids += [one.id for group in (track.gates, track.corners, track.pit_lanes) for one in group]
    ids = [one for one in ids if one]
    for feature in sorted({i for i in ids if ids.count(i) > 1}):
        yield new_finding(
            track, "error", "id-twice", feature, None,
            f"more than one feature has the id {feature}", "give each feature an id of its own",
        )  # fmt: skip


def _gate_geometry(track: Track) -> Iterator[Finding]:
    for gate in track.gates:
        beside = gate.kind in BESIDE_THE_TRACK
        try:
            chainage = ends_chainage(
                track, gate.left, gate.right, gate.chainage_m, must_cross=not beside
            )
        except PlaceError as error:
            yield new_finding(
                track, "error", "gate-off-track", gate.id, gate.chainage_m,
                f"gate {gate.name}: {error.what}",
                f"move it with `trackkit gate move TRACK {gate.id} PLACE`",
            )  # fmt: skip
            continue
        if track.curve.separation(chainage, gate.chainage_m) > CHAINAGE_WITHIN_M:
            yield new_finding(
                track, "warning", "gate-chainage", gate.id, chainage,
                f"gate {gate.name} says {gate.chainage_m:.1f} m but crosses the line at "
                f"{chainage:.1f} m",
                "its ends are what counts; correct chainage_m, or move the gate",
            )  # fmt: skip
        if not beside:
            yield from _square(track, gate, chainage)
            yield from _ends(track, gate, chainage)
        yield from _other_track(track, gate, chainage)


def _square(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    left, right = track.gate_ends(gate)
    span = (left - right) / np.linalg.norm(left - right)
    aside = track.curve.left(chainage_m)
    ahead = track.curve.direction(chainage_m)
    off = float(np.degrees(np.arctan2(-span @ ahead, span @ aside)))
    if abs(off) > 90.0:
        yield new_finding(
            track, "error", "gate-backwards", gate.id, chainage_m,
            f"gate {gate.name} has its left end on the driver's right, so no crossing counts",
            "swap its ends",
        )  # fmt: skip
    elif abs(off) > NOT_SQUARE_DEG:
        yield new_finding(
            track, "warning", "gate-not-square", gate.id, chainage_m,
            f"gate {gate.name} is {abs(off):.0f} degrees off square to the track",
            f"place it square with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m`",
        )  # fmt: skip


def _ends(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    """Find ends that do not reach past the band, so that cars can pass beside the gate."""
    centre = track.curve.position(chainage_m)
    half = 0.5 * (track.centreline.width_m or 0.0)
    for side, end in zip(("left", "right"), track.gate_ends(gate), strict=True):
        reach = float(np.linalg.norm(end - centre))
        if reach < half:
            yield new_finding(
                track, "warning", "gate-narrow", gate.id, chainage_m,
                f"gate {gate.name} reaches {reach:.1f} m to the {side}, less than half the band "
                f"({half:.1f} m)",
                f"widen it with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m --width M`",
            )  # fmt: skip


def _other_track(track: Track, gate: Gate, chainage_m: float) -> Iterator[Finding]:
    ends = track.gate_ends(gate)
    own = track.curve.direction(chainage_m)
    others = [
        float(c)
        for c in track.curve.crossed_by(ends[0], ends[1])
        if track.curve.separation(c, chainage_m) > 1.0
    ]
    remedy = (
        f"make it narrower with `trackkit gate move TRACK {gate.id} {chainage_m:.0f}m --width M`, "
        "or move it where the track has more room"
    )
    if others and on_bridge(track, gate, chainage_m):
        return
    if others:
        same_way = [c for c in others if float(track.curve.direction(c) @ own) > 0]
        effect = (
            "cars there will trigger it"
            if same_way
            else "cars there pass it the other way, and noise can trigger it"
        )
        yield new_finding(
            track, "error", "gate-crosses-other-track", gate.id, chainage_m,
            f"gate {gate.name} also crosses the track at "
            + ", ".join(f"{c:.0f} m" for c in others) + f"; {effect}",
            remedy,
        )  # fmt: skip
        return
    accuracy = max(RECEIVER_ACCURACY_M, track.accuracy_m or 0.0)
    for side, end in zip(("left", "right"), ends, strict=True):
        away = distance_to_other_piece(track.curve, chainage_m, end)
        if away < accuracy - NEAR_ENOUGH_M:
            yield new_finding(
                track, "warning", "gate-end-near-other-track", gate.id, chainage_m,
                f"the {side} end of gate {gate.name} is {away:.1f} m from another piece of track "
                f"(one where the line has turned by more than {OWN_TURN_DEG:.0f} degrees), within "
                f"a receiver's accuracy of {accuracy:.0f} m",
                remedy,
            )  # fmt: skip


def _order(track: Track) -> Iterator[Finding]:
    stored = sorted(track.gates, key=lambda gate: gate.order)
    timed = [gate for gate in stored if gate.kind in ("sector", "start", "finish")]
    if track.closed:
        timed = [gate for gate in timed if gate.kind != "start"]
    for before, after in pairwise(timed):
        if before.kind == "finish" and track.closed:
            continue
        if abs(after.chainage_m - before.chainage_m) < SAME_PLACE_M:
            yield new_finding(
                track, "error", "gate-order", after.id, after.chainage_m,
                f"gates {before.name} and {after.name} lie at the same place",
                f"remove one with `trackkit gate remove TRACK {after.id}`, or move it",
            )  # fmt: skip
        elif after.chainage_m <= before.chainage_m or (track.closed and after.kind == "finish"):
            yield new_finding(
                track, "error", "gate-order", after.id, after.chainage_m,
                f"gate {after.name} ({after.chainage_m:.1f} m) is numbered after {before.name} "
                f"({before.chainage_m:.1f} m) but comes before it on the road",
                "number the gates in racing order",
            )  # fmt: skip
    orders = [gate.order for gate in track.gates]
    for gate in stored:
        if orders.count(gate.order) > 1:
            yield new_finding(
                track, "error", "gate-order", gate.id, gate.chainage_m,
                f"gate {gate.name} shares the order {gate.order} with another gate",
                "number the gates in racing order",
            )  # fmt: skip


def _between_ends(track: Track) -> Iterator[Finding]:
    """Find gates of an open course that do not lie from its start to its finish."""
    starts, finishes = track.gates_of_kind("start"), track.gates_of_kind("finish")
    if track.closed or not (starts and finishes):
        return
    start, finish = starts[0], finishes[0]
    remedy = "move it with `trackkit gate move TRACK {} PLACE`"
    if finish.order < start.order:
        yield new_finding(
            track, "error", "gate-order", finish.id, finish.chainage_m,
            f"the finish gate ({finish.chainage_m:.1f} m) lies before the start gate "
            f"({start.chainage_m:.1f} m)",
            remedy.format(finish.id),
        )  # fmt: skip
        return
    if finish.chainage_m <= start.chainage_m:
        return
    for gate in track.gates_of_kind("sector"):
        if not start.chainage_m < gate.chainage_m < finish.chainage_m:
            yield new_finding(
                track, "error", "gate-order", gate.id, gate.chainage_m,
                f"gate {gate.name} does not lie between the start gate and the finish gate",
                remedy.format(gate.id),
            )  # fmt: skip


def _datum(track: Track) -> Iterator[Finding]:
    if not track.closed:
        return
    for gate in track.gates_of_kind("finish")[:1]:
        try:
            chainage = ends_chainage(track, gate.left, gate.right, 0.0)
        except PlaceError:
            return
        away = float(track.curve.separation(chainage, 0.0))
        if away > CHAINAGE_WITHIN_M:
            yield new_finding(
                track, "warning", "datum", gate.id, chainage,
                f"the centreline begins {away:.1f} m from the finish gate, so chainages do not "
                "count from it",
                f"`trackkit gate move TRACK {gate.id} {chainage:.1f}m` makes it begin there",
            )  # fmt: skip


LINE_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _points,
    _closure,
    _length,
    _direction,
    _simple,
    _kinks,
    _bridges,
    _corner_places,
)
"""Rules that look at no gate."""
GATE_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (_gate_geometry,)
"""Rules that look at each gate by itself."""
SET_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gate_set, _datum, _order, _between_ends,
)  # fmt: skip
"""Rules that look at all gates together."""
RULES = (*LINE_RULES, *SET_RULES, *GATE_RULES)
"""Every rule takes a track and yields what it finds; DEVELOPERS.md says how to add one."""
