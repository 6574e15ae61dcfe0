"""Hypotheses about a drive: each known line near by, in each direction, in short steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.vectors import distance_along
from trackkit.library.known import Known

STEP_M = 10.0
"""About the length of a step."""
PARTED_M = 20.0
"""Lines this far apart can be told apart by a fix."""
_OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}


@dataclass(frozen=True)
class Hypothesis:
    """One known line, driven in its racing direction or against it."""

    circuit: Known
    reversed: bool

    @property
    def direction(self) -> str | None:
        """The direction driven."""
        forward = self.circuit.direction
        return _OPPOSITE[forward] if self.reversed and forward in _OPPOSITE else forward


@dataclass(frozen=True, eq=False)
class Ground:
    """The hypotheses at one place, and all their steps, one hypothesis after the other.

    Parameters
    ----------
    plane
        The plane of the place.
    begin, count, step_m
        First step of each hypothesis, how many it has, and their length; shape (h,).
    place_m, heading
        Middle and direction of travel of each step, shape (n, 2).
    of, local, closed
        Which hypothesis each step is of, which of its steps it is, and whether the line is a lap;
        shape (n,).
    """

    plane: LocalPlane
    hypotheses: tuple[Hypothesis, ...]
    begin: Indices
    count: Indices
    step_m: Floats
    place_m: Floats
    heading: Floats
    of: Indices
    local: Indices
    closed: Flags
    _parted: dict[tuple[int, int], Flags] = field(default_factory=dict)

    def chainage_m(self, hypothesis: int, step: int) -> float:
        """Chainage on the line as its file has it, metres."""
        along = (step + 0.5) * float(self.step_m[hypothesis])
        if self.hypotheses[hypothesis].reversed:
            along = float(self.count[hypothesis] * self.step_m[hypothesis]) - along
        return along

    def part_at_m(self, first: int, second: int, step: int) -> float | None:
        """Find where ahead a line is `PARTED_M` from another: chainage on the first, metres.

        None where it never is.
        """
        if (first, second) not in self._parted:
            here, there = (
                self.place_m[self.begin[h] : self.begin[h] + self.count[h]] for h in (first, second)
            )
            self._parted[first, second] = np.array(
                [np.min(np.hypot(*(there - place).T)) > PARTED_M for place in here]
            )
        apart = self._parted[first, second]
        ahead = np.arange(step, len(apart))
        if self.hypotheses[first].circuit.closed:
            ahead = np.concatenate([ahead, np.arange(step)])
        parted = ahead[apart[ahead]]
        return self.chainage_m(first, int(parted[0])) if len(parted) else None


def ground_at(
    longitude_deg: float, latitude_deg: float, circuits: Sequence[Known]
) -> Ground | None:
    """Lay out the hypotheses that some known tracks give; None without any."""
    if not circuits:
        return None
    plane = LocalPlane(longitude_deg, latitude_deg)
    hypotheses, steps = [], []
    for circuit in circuits:
        forward = _steps(plane, circuit)
        for against in (False, True):
            hypotheses.append(Hypothesis(circuit, reversed=against))
            place, heading, step_m = forward
            steps.append((place[::-1], -heading[::-1], step_m) if against else forward)
    count = np.array([len(place) for place, _, _ in steps])
    of = np.repeat(np.arange(len(steps)), count)
    return Ground(
        plane=plane,
        hypotheses=tuple(hypotheses),
        begin=np.cumsum(count) - count,
        count=count,
        step_m=np.array([step_m for _, _, step_m in steps]),
        place_m=np.concatenate([place for place, _, _ in steps]),
        heading=np.concatenate([heading for _, heading, _ in steps]),
        of=of,
        local=np.arange(len(of)) - (np.cumsum(count) - count)[of],
        closed=np.array([hypothesis.circuit.closed for hypothesis in hypotheses])[of],
    )


def _steps(plane: LocalPlane, circuit: Known) -> tuple[Floats, Floats, float]:
    # On a closed line the first position is repeated as the last.
    vertex = plane.to_plane(circuit.longitude_deg, circuit.latitude_deg)
    along = distance_along(vertex)
    count = max(round(float(along[-1]) / STEP_M), 4)
    edge = np.linspace(0.0, along[-1], count + 1)
    at = np.stack([np.interp(edge, along, vertex[:, axis]) for axis in range(2)], axis=1)
    way = np.diff(at, axis=0)
    length = np.hypot(way[:, 0], way[:, 1])
    middle = 0.5 * (edge[1:] + edge[:-1])
    place = np.stack([np.interp(middle, along, vertex[:, axis]) for axis in range(2)], axis=1)
    return place, way / np.where(length > 0, length, 1.0)[:, None], float(along[-1]) / count
