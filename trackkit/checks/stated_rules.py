"""What a track file says of order, chainages, widths and length, where its positions disagree."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

from trackkit.checks.findings import Finding, new_finding
from trackkit.gates.remedies import put_where_it_is
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
    for said in track.disagreements:
        if said.feature is None or said.feature not in gates:
            continue
        gate = gates[said.feature]
        if said.member == "order" and misordered:
            yield new_finding(
                track,
                severity="error",
                rule="gate-order",
                feature=gate.id,
                chainage_m=gate.chainage_m,
                message=f"gate {gate.name} has the order {said.stated} but is number "
                f"{said.actual} on the road; times go by the road",
                remedy=put_where_it_is(
                    track, gate, gate.chainage_m, "have the gates numbered in racing order"
                ),
            )
        elif said.member in ("chainage_m", "width_m"):
            yield _length_of_gate(track, gate, said)


def _length_of_gate(track: Track, gate: Gate, said: Disagreement) -> Finding:
    stated, actual = float(said.stated or 0.0), float(said.actual or 0.0)
    if said.member == "width_m":
        return new_finding(
            track,
            severity="warning",
            rule="gate-width",
            feature=gate.id,
            chainage_m=gate.chainage_m,
            message=f"gate {gate.name} says it is {stated:.2f} m wide but its ends are "
            f"{actual:.2f} m apart",
            remedy=put_where_it_is(
                track,
                gate,
                gate.chainage_m,
                f"its ends are what counts: have it say {actual:.2f} m",
            ),
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
    for said in track.disagreements:
        if said.member != "length_m":
            continue
        stated, actual = float(said.stated or 0.0), float(said.actual or 0.0)
        message = f"the declared length is {stated:.2f} m but the line is {actual:.2f} m long"
        remedy = Remedy(
            f"set length_m to {actual:.2f}, as saving the file does",
            do="set",
            value={"length_m": round(actual, 2)},
        )
        if abs(stated - actual) > LENGTH_FAR_OFF * actual:
            yield new_finding(
                track,
                severity="error",
                rule="length",
                feature="centreline",
                message=message,
                remedy=remedy,
            )
        else:
            yield new_finding(
                track,
                severity="note",
                rule="length",
                feature="centreline",
                message=message,
                remedy=remedy,
            )


def _direction_stated(track: Track) -> Iterator[Finding]:
    for said in track.disagreements:
        if said.member != "direction":
            continue
        yield new_finding(
            track,
            severity="error",
            rule="direction",
            feature="centreline",
            message=f"the declared direction is {said.stated or 'neither way round'} but the line "
            f"runs {said.actual or 'neither way round (a figure of eight, or not closed)'}",
            remedy=Remedy(
                f"set direction to {said.actual or 'null'}, as saving the file does, or reverse "
                "the line if cars go the other way",
                do="set",
                value={"direction": said.actual},
            ),
        )


STATED_RULES: tuple[Callable[[Track], Iterator[Finding]], ...] = (
    _gates_stated,
    _length_stated,
    _direction_stated,
)
"""Rules about what a file says of its geometry."""
