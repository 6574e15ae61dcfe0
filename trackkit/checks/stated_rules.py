"""What a track file says of order, chainages, widths and length, where its positions disagree."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise

from trackkit.checks.findings import Finding, new_finding
from trackkit.gates.remedies import put_where_it_is
from trackkit.geometry.shape import direction_of
from trackkit.remedies import Remedy
from trackkit.track.features import Disagreement, Gate
from trackkit.track.model import Track

LENGTH_FAR_OFF = 1e-3
"""Share by which a stated length may be off without leading to the wrong layout."""


def _gates_stated(track: Track) -> Iterator[Finding]:
    gates = {gate.id: gate for gate in track.gates}
    stated = {d.feature: d.stated for d in track.disagreements if d.member == "order"}
    numbers = [stated.get(gate.id, gate.order) for gate in track.gates]
    misordered = any(
        not later > earlier  # type: ignore[operator]
        for earlier, later in pairwise(numbers)
    )
    for difference in track.disagreements:
        if difference.feature is None or difference.feature not in gates:
            continue
        gate = gates[difference.feature]
        if difference.member == "order" and misordered:
            yield new_finding(
                track,
                severity="error",
                rule="gate-order",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"gate {gate.name} has the order {difference.stated} but is number "
                f"{difference.actual} on the road; times go by the road",
                remedy=put_where_it_is(
                    track, gate, gate.chainage_m, "have the gates numbered in racing order"
                ),
            )
        elif difference.member in ("chainage_m", "width_m"):
            yield _length_of_gate(track, gate, difference)


def _length_of_gate(track: Track, gate: Gate, difference: Disagreement) -> Finding:
    stated, actual = float(difference.stated or 0.0), float(difference.actual or 0.0)
    if difference.member == "width_m":
        remedy = put_where_it_is(
            track,
            gate,
            gate.chainage_m,
            f"its ends are what counts: have it say {actual:.2f} m",
        )
        room = (remedy.value or {}).get("width_m")
        if room is not None:
            what = f"its ends are what counts, and there is room for {room:.1f} m: make it so wide"
            remedy = replace(remedy, what=what)
        return new_finding(
            track,
            severity="warning",
            rule="gate-width",
            feature=gate.id,
            chainage_m=gate.chainage_m,
            message=f"gate {gate.name} says it is {stated:.2f} m wide but its ends are "
            f"{actual:.2f} m apart",
            remedy=remedy,
        )
    return new_finding(
        track,
        severity="warning",
        rule="gate-chainage",
        feature=gate.id,
        chainage_m=gate.chainage_m,
        message=f"gate {gate.name} says {stated:.2f} m but lies at {gate.chainage_m:.2f} m",
        remedy=put_where_it_is(
            track,
            gate,
            gate.chainage_m,
            f"its ends are what counts: have it say {gate.chainage_m:.1f} m",
        ),
    )


def _length_stated(track: Track) -> Iterator[Finding]:
    actual = track.curve.length_m
    stated = _stated(track, "length_m")
    length = float(track.length_m if stated is None else stated.stated or 0.0)
    message = f"the declared length is {length:.2f} m but the line is {actual:.2f} m long"
    remedy = Remedy(
        f"set length_m to {actual:.2f}, as saving the file does",
        do="set",
        value={"length_m": round(actual, 2)},
    )
    if abs(length - actual) > LENGTH_FAR_OFF * actual:
        yield new_finding(
            track,
            severity="error",
            rule="length",
            feature="centreline",
            message=message,
            remedy=remedy,
        )
    elif stated is not None:
        yield new_finding(
            track,
            severity="note",
            rule="length",
            feature="centreline",
            message=message,
            remedy=remedy,
        )


def _direction_stated(track: Track) -> Iterator[Finding]:
    actual = direction_of(track.curve)
    stated = _stated(track, "direction")
    declared = track.direction if stated is None else stated.stated
    if declared == actual:
        return
    yield new_finding(
        track,
        severity="error",
        rule="direction",
        feature="centreline",
        message=f"the declared direction is {declared or 'neither way round'} but the line runs "
        f"{actual or 'neither way round (a figure of eight, or not closed)'}",
        remedy=Remedy(
            f"set direction to {actual or 'null'}, as saving the file does, or reverse the line "
            "if cars go the other way",
            do="set",
            value={"direction": actual},
        ),
    )


def _stated(track: Track, member: str) -> Disagreement | None:
    """Find what the file said of the line, where it said otherwise than its positions."""
    about_line = (d for d in track.disagreements if d.feature is None and d.member == member)
    return next(about_line, None)


STATED_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gates_stated,
    _length_stated,
    _direction_stated,
)
"""Rules about what a file says of its geometry."""
