"""What a page needs to compare laps: when they reached places, and how well that is known."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

from trackkit.apart import each
from trackkit.arrays import Floats
from trackkit.pages.base import Driven, pack
from trackkit.timing.lap_sigmas import Stretch, lap_sigmas
from trackkit.timing.losses import Section, sections_of
from trackkit.timing.place_errors import place_errors
from trackkit.track.model import Track

_APART_M = 60.0
_MOST_PLACES = 60
_NODES_PER_S, _LEAST_NODES, _MOST_NODES = 1.2, 30, 120
_TIME_S, _SIGMA_S, _ERROR_M2 = 1e-4, 1e-6, 1e-5


def comparison_document(track: Track, driven: Sequence[Driven]) -> dict[str, Any] | None:
    """Work out what the laps of some recordings are compared by.

    Parameters
    ----------
    track
        The track.
    driven
        Smoothed drives with their laps.

    Returns
    -------
    dict or None
        Ready for `json.dumps`, as pages/web/base.schema.json says; None where no lap was driven
        from line to line past every gate.
    """
    if not any(lap.is_whole for _, laps in driven for lap in laps):
        return None
    sections = sections_of(track)
    place = _places(sections)
    ends = [tuple(int(np.searchsorted(place, m)) for m in _ends(part)) for part in sections]
    stretches = [*((0, k) for k in range(1, len(place))), *((a, b) for a, b in ends)]
    nodes = _nodes(place, driven)
    return {
        "error_place_m": [round(float(metres), 3) for metres in nodes],
        "place_m": [round(float(metres), 3) for metres in place],
        "sections": [
            {"kind": section.kind, "name": section.name, "from": begin, "to": end}
            for section, (begin, end) in zip(sections, ends, strict=True)
        ],
        "recordings": [
            *each(partial(_row, track, place, stretches, nodes), driven, "comparing laps")
        ],
    }


def _ends(section: Section) -> tuple[float, float]:
    return section.begin_m, section.end_m


def _places(sections: Sequence[Section]) -> Floats:
    """Chainages of the ends of all sections, and of some between those that are far apart."""
    ends = [sections[0].begin_m, *(section.end_m for section in sections)]
    apart = max(_APART_M, (ends[-1] - ends[0]) / _MOST_PLACES)
    parts = [
        np.linspace(begin, end, max(1, round((end - begin) / apart)), endpoint=False)
        for begin, end in pairwise(ends)
    ]
    return np.concatenate([*parts, ends[-1:]])


def _nodes(place_m: Floats, driven: Sequence[Driven]) -> Floats:
    """Places that errors are told at: about as many as a lap takes seconds."""
    times = [lap.time_s for _, laps in driven for lap in laps if lap.is_whole and lap.time_s]
    count = int(np.clip(_NODES_PER_S * min(times), _LEAST_NODES, _MOST_NODES))
    return np.linspace(place_m[0], place_m[-1], count)


def _row(
    track: Track, place_m: Floats, stretches: Sequence[Stretch], nodes_m: Floats, driven: Driven
) -> dict[str, Any] | None:
    drive, laps = driven
    known = lap_sigmas(track, drive, laps, place_m, stretches)
    error = place_errors(track, drive, laps, nodes_m)
    if not known.laps:
        return None
    return {
        "laps": [list(numbers) for numbers in known.laps],
        "together": known.together,
        "passed_s": pack(known.passed_s.ravel(), _TIME_S),
        "sigma_s": pack(known.stretch_sigma_s.ravel(), _SIGMA_S),
        "pair_sigma_s": pack(known.pair_sigma_s.ravel(), _SIGMA_S),
        "error_m2": None if error is None else pack(error[np.triu_indices(len(error))], _ERROR_M2),
    }
