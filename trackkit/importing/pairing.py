"""Which gate, corner or pit lane a drawn feature was before: by id, place, name and kind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.lines import UNMOVED_M
from trackkit.track.features import Gate

NEAR_M = 100.0
"""A gate without an id is not taken for one that is farther away."""


class Candidate(NamedTuple):
    """What is known of a drawn feature: its id, kind and name, and its positions (n, 2)."""

    id: str | None
    kind: str | None
    name: str | None
    position: Floats


def own_id(text: str | None) -> str | None:
    """Take an id, unless it is a number, as programs give features in the order of a table."""
    if text is None or not text.strip() or text.strip().isdigit():
        return None
    return text.strip()


def candidates_of(gates: Sequence[Gate]) -> list[Candidate]:
    """Describe gates as candidates."""
    return [
        Candidate(gate.id, gate.kind, gate.name, np.array([gate.left, gate.right]))
        for gate in gates
    ]


def pair(drawn: Sequence[Candidate], before: Sequence[Candidate]) -> list[int | None]:
    """Find for each drawn feature which one it was before.

    Ids count first; of several drawn with the same id, as a copy in a program has, the one nearest
    to where it was.  Without an id it is the one at the same place, then the only one of that kind
    and name, then the only one of that kind on both sides, then the nearest of that kind within
    `NEAR_M`.

    Returns
    -------
    list of int or None
        Indices into `before`, each at most once.
    """
    result: list[int | None] = [None] * len(drawn)
    left = set(range(len(before)))

    def settle(index: int, other: int) -> None:
        result[index] = other
        left.discard(other)

    for other, old in enumerate(before):
        same = [index for index, new in enumerate(drawn) if new.id is not None and new.id == old.id]
        if same:
            settle(min(same, key=lambda index: away_m(drawn[index], before[other])), other)
    # What has an id of its own that was not there before is new, wherever it is.
    nameless = [i for i, new in enumerate(drawn) if result[i] is None and new.id is None]
    for index in nameless:
        here = [other for other in left if away_m(drawn[index], before[other]) <= UNMOVED_M]
        if here:
            settle(index, here[0])
    for members in (("kind", "name"), ("kind",)):
        for index in nameless:
            if result[index] is not None:
                continue
            alike = [other for other in left if _alike(drawn[index], before[other], members)]
            rivals = [
                rival
                for rival in nameless
                if result[rival] is None and _alike(drawn[rival], drawn[index], members)
            ]
            if len(alike) == 1 and len(rivals) == 1:
                settle(index, alike[0])
    near = sorted(
        (away_m(drawn[index], before[other]), index, other)
        for index in nameless
        if result[index] is None
        for other in left
        if drawn[index].kind in (None, before[other].kind)
    )
    for distance, index, other in near:
        if distance <= NEAR_M and result[index] is None and other in left:
            settle(index, other)
    return result


def _alike(a: Candidate, b: Candidate, members: Sequence[str]) -> bool:
    pairs = [(getattr(a, member), getattr(b, member)) for member in members]
    return all(one_way is not None and one_way == other for one_way, other in pairs)


def away_m(a: Candidate, b: Candidate) -> float:
    """Say how far two features lie apart at most, end from end, whichever way they run, metres."""
    ends_a, ends_b = a.position[[0, -1]], b.position[[0, -1]]
    return min(_most_m(ends_a, ends_b), _most_m(ends_a, ends_b[::-1]))


def _most_m(a: Floats, b: Floats) -> float:
    return float(np.max(geodesic_distance(a[:, 0], a[:, 1], b[:, 0], b[:, 1])))
