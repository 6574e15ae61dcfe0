"""The differences between two track files, in numbers and in words."""

from __future__ import annotations

import reprlib
from dataclasses import asdict, dataclass
from typing import Any

from trackkit.words import shortened

GATE_MOVED_M = 0.01
"""Displacement of a gate's end from which it counts as moved: ten times the file's resolution."""


@dataclass(frozen=True)
class Stretch:
    """A stretch of a centreline: chainages, and the largest deviation within, metres."""

    start_m: float
    end_m: float
    max_m: float


@dataclass(frozen=True)
class LineChange:
    """How the centreline of B lies to that of A.

    Parameters
    ----------
    max_m, rms_m
        Lateral deviation of B, over the length of A, metres.
    max_of_b_m
        Largest distance from a place on B to A, metres; much more than `max_m` where B has a
        loop that A lacks.
    shift_east_m, shift_north_m
        The bodily shift of B that explains most of the deviation (least squares), metres.
    rms_unshifted_m
        Lateral deviation that this shift leaves, metres.
    limit_m
        From where on a stretch counts as moved, metres.
    moved
        Stretches of A, by A's chainage, from which B is further away; one that runs over
        the datum of a closed track ends at a smaller chainage than it starts.
    moved_of_b
        Stretches of B, by B's chainage, that are further away from A.
    """

    max_m: float
    rms_m: float
    max_of_b_m: float
    shift_east_m: float
    shift_north_m: float
    rms_unshifted_m: float
    limit_m: float
    moved: tuple[Stretch, ...]
    moved_of_b: tuple[Stretch, ...]

    def lines(self) -> list[str]:
        """Say it in lines of text; none where the lines are the same."""
        if max(self.max_m, self.max_of_b_m) < GATE_MOVED_M:
            return []
        texts = [f"centreline: at most {self.max_m:.2f} m and {self.rms_m:.2f} m rms to the side"]
        if self.rms_unshifted_m < 0.5 * self.rms_m:
            texts[0] += (
                f"; as a whole shifted {_shift_text(self.shift_east_m, self.shift_north_m)}, "
                f"{self.rms_unshifted_m:.2f} m rms without that"
            )
        # The new line's own stretches mostly repeat the old one's; a loop that is new does not.
        new_only = [
            stretch for stretch in self.moved_of_b if stretch.max_m > self.max_m + self.limit_m
        ]
        for stretches, whose in ((self.moved, "the old"), (new_only, "the new")):
            texts += [
                f"centreline: from {stretch.start_m:.0f} m to {stretch.end_m:.0f} m of {whose} "
                f"line more than {self.limit_m:.1f} m apart, at most {stretch.max_m:.2f} m"
                for stretch in stretches
            ]
        return texts


@dataclass(frozen=True)
class GateChange:
    """How a gate that both tracks have, by its id, differs.

    Parameters
    ----------
    id
        The gate.
    name, kind, order, chainage_m
        Before and after, or None where it is the same (chainage: to a centimetre).
    along_m, sideways_m
        Move of its middle, in A's racing direction and to the left of it, metres.
    left_m, right_m
        Move of each end, metres, irrespective of direction.
    width_m
        Change of width, metres.
    turned
        Whether B's gate is crossed the other way.  Its ends are then compared on the ground:
        A's left end with B's right one.
    """

    id: str
    name: tuple[str, str] | None
    kind: tuple[str, str] | None
    order: tuple[int, int] | None
    chainage_m: tuple[float, float] | None
    along_m: float
    sideways_m: float
    left_m: float
    right_m: float
    width_m: float
    turned: bool

    @property
    def moved(self) -> bool:
        """Whether an end moved noticeably."""
        return self.turned or max(self.left_m, self.right_m) >= GATE_MOVED_M

    def lines(self) -> list[str]:
        """Say it in lines of text."""
        changes = []
        if self.name is not None:
            changes.append(f"renamed {self.name[0]!r} → {self.name[1]!r}")
        if self.kind is not None:
            changes.append(f"kind {self.kind[0]} → {self.kind[1]}")
        if self.turned:
            changes.append("crossed the other way")
        if max(self.left_m, self.right_m) >= GATE_MOVED_M:
            changes.append(
                f"moved {self.along_m:+.2f} m along and {abs(self.sideways_m):.2f} m to the "
                f"{'left' if self.sideways_m >= 0 else 'right'} (left end {self.left_m:.2f} m, "
                f"right end {self.right_m:.2f} m)"
            )
        if abs(self.width_m) >= GATE_MOVED_M:
            which = "wider" if self.width_m > 0 else "narrower"
            changes.append(f"{abs(self.width_m):.2f} m {which}")
        if self.chainage_m is not None:
            changes.append(f"chainage {self.chainage_m[0]:.2f} → {self.chainage_m[1]:.2f} m")
        if self.order is not None:
            changes.append(f"order {self.order[0]} → {self.order[1]}")
        return [f"gate {self.id}: {change}" for change in changes]


@dataclass(frozen=True)
class CornerChange:
    """How a corner that both tracks have, at the same place, differs; before and after."""

    number: tuple[int, int]
    name: tuple[str, str]
    min_radius_m: tuple[float, float]
    apex_moved_m: float

    def line(self) -> str:
        """Say it in a line of text."""
        changes = []
        if self.number[0] != self.number[1]:
            changes.append(f"now corner {self.number[1]}")
        if self.name[0] != self.name[1]:
            changes.append(f"renamed {self.name[0]!r} → {self.name[1]!r}")
        before, after = self.min_radius_m
        changes.append(f"smallest radius {before:.1f} → {after:.1f} m")
        changes.append(f"apex moved {self.apex_moved_m:.1f} m")
        return f"corner {self.number[0]}: {', '.join(changes)}"


@dataclass(frozen=True)
class Comparison:
    """What differs between track A and track B.

    Parameters
    ----------
    a, b
        Their ids.
    distance_m
        Distance between the nearest places of the two centrelines, metres.
    same_ground
        Whether any part of one runs within 30 m of the other.  If not they are different
        circuits: then `line` is None and gates and corners are not compared.
    length_m, direction
        Before and after, metres and by name, as the files declare them.
    runs_other_way
        Whether B is driven against A, by their geometry.
    line
        The centrelines.
    gates_added, gates_removed
        Ids.
    gates
        Gates both have that differ.
    corners_added, corners_removed
        Corners, as "number name", of B and of A.
    corners
        Corners both have that differ.
    features_added, features_removed, features_changed
        Ids of pit lanes and of features trackkit does not know.
    members
        Members of the file's description, and properties of the centreline, that differ:
        name, before, after.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> fewer = trackkit.remove_gate(track, "Sector 1 end").track
    >>> comparison = trackkit.compare_tracks(track, fewer)
    >>> comparison.same, len(comparison.gates_removed)
    (False, 1)
    """

    a: str
    b: str
    distance_m: float
    same_ground: bool
    length_m: tuple[float, float]
    direction: tuple[str | None, str | None]
    runs_other_way: bool
    line: LineChange | None
    gates_added: tuple[str, ...]
    gates_removed: tuple[str, ...]
    gates: tuple[GateChange, ...]
    corners_added: tuple[str, ...]
    corners_removed: tuple[str, ...]
    corners: tuple[CornerChange, ...]
    features_added: tuple[str, ...]
    features_removed: tuple[str, ...]
    features_changed: tuple[str, ...]
    members: tuple[tuple[str, Any, Any], ...]

    def __repr__(self) -> str:
        differs = self._differences()
        first = shortened(differs[0]) if differs else "nothing differs"
        more = f", and {len(differs) - 1:,} more" if len(differs) > 1 else ""
        return f"Comparison({reprlib.repr(self.a)}, {reprlib.repr(self.b)}: {first}{more})"

    def as_row(self) -> dict[str, Any]:
        """Write what differs as JSON.

        Returns
        -------
        dict
            The fields by name, lengths in metres, and whether the tracks are the ``same``.
        """
        return {**asdict(self), "same": self.same}

    @property
    def same(self) -> bool:
        """Whether nothing differs beyond the file's resolution."""
        return not self._differences()

    def lines(self) -> list[str]:
        """Say it in lines of text.

        Returns
        -------
        list of str
            The weightiest first; one line where nothing differs.
        """
        return self._differences() or ["nothing differs"]

    def _differences(self) -> list[str]:
        texts: list[str] = []
        if not self.same_ground:
            texts.append(
                f"{self.a} and {self.b} are different circuits: their centrelines are nowhere "
                f"nearer than {_distance_text(self.distance_m)}, so gates and corners are not "
                "compared"
            )
        if self.runs_other_way:
            texts.append("the racing direction is turned round")
        if self.direction[0] != self.direction[1]:
            old, new = (direction or "none" for direction in self.direction)
            texts.append(f"direction: {old} → {new}")
        before, after = self.length_m
        if abs(after - before) >= 0.005:
            texts.append(f"length: {before:.2f} → {after:.2f} m ({after - before:+.2f} m)")
        if self.line is not None:
            texts += self.line.lines()
        texts += [f"gate {gate_id} was added" for gate_id in self.gates_added]
        texts += [f"gate {gate_id} was removed" for gate_id in self.gates_removed]
        texts += [line for gate in self.gates for line in gate.lines()]
        texts += [f"corner {corner} was added" for corner in self.corners_added]
        texts += [f"corner {corner} was removed" for corner in self.corners_removed]
        texts += [corner.line() for corner in self.corners]
        for what, ids in (
            ("added", self.features_added),
            ("removed", self.features_removed),
            ("changed", self.features_changed),
        ):
            texts += [f"feature {feature_id} was {what}" for feature_id in ids]
        return texts + [_member_text(*member) for member in self.members]


def _member_text(name: str, before: Any, after: Any) -> str:
    def short(value: Any) -> str:
        if value is None or value == "":
            return "none"
        if isinstance(value, (list, dict)):
            return f"{len(value)} entries"
        text = str(value)
        return text if len(text) <= 60 else f"{text[:57]}..."

    if isinstance(before, list) and isinstance(after, list):
        more = len(after) - len(before)
        if more:
            noun = "entry" if abs(more) == 1 else "entries"
            return f"{name}: {abs(more)} {'more' if more > 0 else 'fewer'} {noun}"
        return f"{name}: entries changed"
    return f"{name}: {short(before)} → {short(after)}"


def _shift_text(east_m: float, north_m: float) -> str:
    return (
        f"{abs(east_m):.2f} m {'east' if east_m >= 0 else 'west'} and "
        f"{abs(north_m):.2f} m {'north' if north_m >= 0 else 'south'}"
    )


def _distance_text(distance_m: float) -> str:
    return f"{distance_m:.0f} m" if distance_m < 1_000 else f"{distance_m / 1_000:.1f} km"
