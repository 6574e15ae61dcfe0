"""The same track driven the other way."""

from __future__ import annotations

import re
from dataclasses import replace

from trackkit.geometry.shape import direction_of
from trackkit.track import accuracy
from trackkit.track.derive import renamed_in_order, renamings, with_corners
from trackkit.track.features import Gate, GateKind, PitLane
from trackkit.track.history import now
from trackkit.track.measure import ends_chainage
from trackkit.track.model import Track

_OTHER_KIND: dict[GateKind, GateKind] = {"pit-entry": "pit-exit", "pit-exit": "pit-entry"}
_OTHER_KIND_OPEN: dict[GateKind, GateKind] = {
    **_OTHER_KIND,
    "start": "finish",
    "finish": "start",
}
_USUAL_NAMES = {
    "Start": "Finish",
    "Finish": "Start",
    "Pit entry": "Pit exit",
    "Pit exit": "Pit entry",
}
_OTHER_WORD = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}


def reverse_track(track: Track) -> tuple[Track, tuple[str, ...]]:
    """Make the track of the other racing direction; nothing moves on the ground.

    The line runs the other way from the same datum, every gate's ends are swapped, left and right
    of the width profile change places, and chainages count the other way.  A verdict was one on the
    other direction, and is left out.  Pit entry and pit exit
    change places, on an open course start and finish too.  Gates and corners keep their ids, save
    that of an open course's start and finish, which are what they are called.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    track, remarks
        The other track, with an id and a layout of its own and a line of history, and what there
        is to say about it, a sentence each.

    Raises
    ------
    TrackkitError
        When the track has no line that can be followed.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> reversed_track, remarks = trackkit.reverse_track(track)
    >>> track.direction, reversed_track.direction
    ('clockwise', 'anticlockwise')
    """
    line, length = track.centreline, track.curve.length_m
    profile = line.width_profile
    if profile is not None:
        profile = tuple(sorted((length - s, right, left) for s, left, right in profile))
    profile_of_accuracy = line.accuracy_profile
    if profile_of_accuracy is not None:
        profile_of_accuracy = accuracy.turned(profile_of_accuracy, length, closed=track.closed)
    turned = replace(
        track,
        id=_other_layout(track.id, "-"),
        layout=_other_layout(track.layout, " "),
        centreline=replace(
            line,
            longitude_deg=line.longitude_deg[::-1].copy(),
            latitude_deg=line.latitude_deg[::-1].copy(),
            height_m=None if line.height_m is None else line.height_m[::-1].copy(),
            width_profile=profile,
            accuracy_profile=profile_of_accuracy,
        ),
        pit_lanes=tuple(_turned_lane(lane) for lane in track.pit_lanes),
        crossovers=tuple(
            replace(c, over_m=length - c.over_m, under_m=length - c.under_m)
            for c in track.crossovers
        ),
        accepted=(),
        verdict=None,
        gates=(),
    )
    turned = replace(turned, direction=direction_of(turned.curve))
    turned = turned.with_gates(_turned_gate(turned, gate, length) for gate in track.gates)
    turned = with_corners(renamed_in_order(turned))
    remarks = list(renamings(track, turned))
    if track.accepted:
        remarks.append(
            f"{len(track.accepted)} accepted findings were not taken over: they were judged for "
            "the other direction"
        )
    if track.gates_of_kind("sector", "speed"):
        remarks.append(
            "gates stay where they are; what was a fast exit may now be a braking zone, which "
            "a check tells"
        )
    return turned.revised_by(f"reversed from {track.id}", now()), tuple(remarks)


def _other_layout(layout: str, space: str) -> str:
    """Name the other direction's layout; of that one, the first again."""
    if re.search(r"\b(anti)?clockwise\b", layout, re.IGNORECASE):
        return re.sub(r"\b(anti)?clockwise\b", _other_word, layout, flags=re.IGNORECASE)
    if re.search(rf"(^|{space})reversed$", layout, re.IGNORECASE):
        return re.sub(rf"(^|{space})reversed$", "", layout, flags=re.IGNORECASE)
    return f"{layout}{space}reversed".strip()


def _other_word(match: re.Match[str]) -> str:
    word = match[0]
    other = _OTHER_WORD[word.lower()]
    return other.capitalize() if word[0].isupper() else other


def _turned_lane(lane: PitLane) -> PitLane:
    return replace(
        lane,
        longitude_deg=lane.longitude_deg[::-1].copy(),
        latitude_deg=lane.latitude_deg[::-1].copy(),
        height_m=None if lane.height_m is None else lane.height_m[::-1].copy(),
    )


def _turned_gate(turned: Track, gate: Gate, length_m: float) -> Gate:
    other = (_OTHER_KIND if turned.closed else _OTHER_KIND_OPEN).get(gate.kind, gate.kind)
    at_datum = turned.closed and min(gate.chainage_m, length_m - gate.chainage_m) < 0.005
    near = 0.0 if at_datum else length_m - gate.chainage_m
    gate_id, name = gate.id, gate.name
    if other != gate.kind:
        name = _USUAL_NAMES.get(name, name)
        gate_id = other if gate_id == gate.kind else gate_id
    chainage = near
    if not at_datum:
        chainage = ends_chainage(turned.centreline, gate.right, gate.left, near, must_cross=False)
    return replace(
        gate,
        id=gate_id,
        kind=other,
        name=name,
        left=gate.right,
        right=gate.left,
        chainage_m=chainage,
    )
