"""Which circuit a recording was driven on, and fixes out of a running stream of NMEA 0183."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from trackkit.library.drive_filter import Judgement, Locator
from trackkit.library.folders import Library
from trackkit.library.known import (
    DEFAULT_RADIUS_M,
    NAMED,
    Answer,
    Atlas,
    Candidate,
    Known,
    Located,
)
from trackkit.recordings.nmea.stream import Fix
from trackkit.track.validity import Validity, kept_by, validity_on

if TYPE_CHECKING:
    from trackkit.recordings.recording import Recording


CONFIRMED_BY = 40
"""A recording is read on for so many fixes that count, some 400 m, after the answer is settled."""
FIRST_FIXES = 10
"""A recording that does not move is located by the median of its first fixes, as many as these."""
LEAST_COUNTED = 3
"""A recording with fewer that count has not moved, and is located by its position alone."""


def locate_drive(
    library: Library | Atlas,
    recording: Recording,
    *,
    radius_m: float = DEFAULT_RADIUS_M,
    most: int = NAMED,
) -> Located:
    """Find the circuit, layout and direction of a recording.

    It is followed by a `Locator` until the answer has been settled for 400 m, or to its end.
    Layouts that were not there on the day of the recording are left out; see `kept_by`.

    Parameters
    ----------
    library
        What is known.
    recording
        The drive.
    radius_m, most
        As for `Atlas.locate`.

    Returns
    -------
    Most probable first.  Distances are the median of those of the fixes that counted.  A recording
    that does not move is located by the median of its first ten positions.
    """
    moment = recording.start or datetime.now(UTC)
    validity: dict[str, Validity] = {}

    def near(longitude_deg: float, latitude_deg: float, radius_m: float) -> list[Known]:
        circuits = library.near(longitude_deg, latitude_deg, radius_m)
        there = validity_on(circuits, moment, longitude_deg)
        validity.update(zip((circuit.id for circuit in circuits), there, strict=True))
        return kept_by(circuits, None if recording.start is None else there)

    locator = Locator(near)
    judgement, counted = _followed(locator, recording)
    if len(counted) < LEAST_COUNTED or not judgement.candidates:
        begin = (counted or [0])[0]
        few = slice(begin, begin + FIRST_FIXES)
        return library.locate(
            float(np.median(recording.longitude_deg[few])),
            float(np.median(recording.latitude_deg[few])),
            radius_m=radius_m,
            most=most,
        )
    circuits = {circuit.id: circuit for circuit in locator.circuits}
    best: dict[str, Candidate] = {}
    for candidate in judgement.candidates:
        best.setdefault(candidate.id, candidate)
    tied = tuple(dict.fromkeys(candidate.id for candidate in judgement.still_open))
    named = [
        Candidate(
            candidate.id,
            candidate.name,
            candidate.layout,
            candidate.direction,
            _median_m(circuits[candidate.id], recording, counted),
            candidate.probability,
            candidate.reversed,
            circuits[candidate.id].valid_from,
            circuits[candidate.id].valid_until,
            validity[candidate.id],
            circuits[candidate.id].origin,
            circuits[candidate.id].credit,
        )
        for candidate in list(best.values())[: max(most, len(tied))]
    ]
    nearest = min(named, key=lambda candidate: candidate.distance_m)
    first = named[0] if judgement.unknown < 0.5 else nearest
    answer: Answer = "none"
    if first.distance_m <= circuits[first.id].at_within_m:
        answer = "at"
    elif nearest.distance_m <= radius_m:
        answer = "near"
    return Located(
        answer,
        tuple(named),
        tied if len(tied) > 1 and answer == "at" else (),
        judgement.part_at_m,
        judgement.unknown,
    )


def _followed(locator: Locator, recording: Recording) -> tuple[Judgement, list[int]]:
    """Follow a recording until the answer is settled: what it says, and the fixes that counted."""
    counted: list[int] = []
    since = 0
    judgement = None
    speed, course = recording.speed_mps, recording.course_deg
    for index in range(len(recording)):
        before = locator.counted
        judgement = locator.update(
            Fix(
                float(recording.longitude_deg[index]),
                float(recording.latitude_deg[index]),
                _value_at(speed, index),
                _value_at(course, index),
            )
        )
        if locator.counted == before:
            continue
        counted.append(index)
        since = since + 1 if judgement.settled is not None else 0
        if since > CONFIRMED_BY:
            break
    assert judgement is not None  # noqa: S101  (a recording has at least one fix)
    return judgement, counted


def _value_at(column: np.ndarray | None, index: int) -> float | None:
    return None if column is None or np.isnan(column[index]) else float(column[index])


def _median_m(circuit: Known, recording: Recording, counted: list[int]) -> float:
    from trackkit.library.lines import pack
    from trackkit.library.nearest_many import nearest

    lines = pack([(circuit.longitude_deg, circuit.latitude_deg)])
    late = counted[-200:]
    away = nearest(lines, recording.longitude_deg[late], recording.latitude_deg[late])[1]
    return float(np.median(away))
