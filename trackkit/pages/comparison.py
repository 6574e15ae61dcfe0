"""What a page needs to compare laps: when they reached places, and how well that is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.drive import Drive
from trackkit.pages.base import Driven
from trackkit.pages.driven_laps import ways_of
from trackkit.pages.packing import pack
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.lap_sigmas import Stretch, lap_sigmas
from trackkit.timing.laps import Lap
from trackkit.timing.losses import Section, sections_of
from trackkit.timing.place_errors import PlaceErrors, place_errors, variances_along
from trackkit.track.model import Track

_APART_M = 60.0
_MOST_PLACES = 60
_NODES_PER_S, _LEAST_NODES, _MOST_NODES = 0.8, 30, 80
_ACROSS = 2
"""Of two laps errors are told at one of so many places."""
_FINER = 3
"""On ways to laps and from them, errors change faster: they are told at so many times the places.
"""
_CORRELATION = 1e-4
_TIME_S, _SIGMA_S, _ERROR_M2, _FIX_S = 1e-4, 1e-6, 1e-5, 1e-4


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
    return comparison_of(track, [compared_laps(track, drive, laps) for drive, laps in driven])


def comparison_of(track: Track, rows: Sequence[Mapping[str, Any] | None]) -> dict[str, Any] | None:
    """Put together what `compared_laps` made of each recording; see `comparison_document`."""
    if not any(rows):
        return None
    sections = sections_of(track)
    place = _places(sections)
    return {
        "place_m": [round(float(metres), 3) for metres in place],
        "sections": [
            {"kind": section.kind, "name": section.name, "from": begin, "to": end}
            for section, (begin, end) in zip(sections, _numbers(sections, place), strict=True)
        ],
        "recordings": list(rows),
    }


def compared_laps(
    track: Track,
    drive: Drive,
    laps: Sequence[Lap],
    begin_s: float = 0.0,
    sessions: Sequence[DrivingSession] = (),
) -> dict[str, Any] | None:
    """Work out what the laps of one recording are compared by.

    Parameters
    ----------
    track
        The track.
    drive, laps
        A smoothed drive with its laps.
    begin_s
        What times on the page count from, seconds from the first fix.
    sessions
        Those of the recording, where ways to the first lap and from the last are told of too.

    Returns
    -------
    dict or None
        None where no lap was driven from line to line past every gate.
    """
    if not any(lap.is_whole for lap in laps):
        return None
    sections = sections_of(track)
    place = _places(sections)
    stretches = [*((0, k) for k in range(1, len(place))), *_numbers(sections, place)]
    known = lap_sigmas(track, drive, laps, place, stretches)
    nodes = _nodes(place, laps)
    errors = place_errors(track, drive, laps, nodes)
    row: dict[str, Any] = {
        "laps": [list(numbers) for numbers in known.laps],
        "together": known.together,
        "passed_s": pack(known.passed_s.ravel(), _TIME_S),
        "sigma_s": pack(known.stretch_sigma_s.ravel(), _SIGMA_S),
        "pair_sigma_s": pack(known.pair_sigma_s.ravel(), _SIGMA_S),
        "errors": None,
    }
    if errors is not None:
        covariance = errors.covariance_m2
        row["errors"] = {
            "place_m": [round(float(metres), 3) for metres in nodes],
            "passed_s": pack(errors.passed_s, _TIME_S),
            "error_m2": pack(covariance[np.triu_indices(len(covariance))], _ERROR_M2),
            "across": pack(errors.across[::_ACROSS, ::_ACROSS].ravel(), _CORRELATION),
            "between_fixes": _between_fixes(drive, errors, begin_s),
            "ways": _ways(track, drive, laps, sessions, nodes, errors),
        }
    return row


def _between_fixes(drive: Drive, errors: PlaceErrors, begin_s: float) -> dict[str, Any] | None:
    if errors.between_m2 is None:
        return None
    # Whole steps of the recording's time, so that what is rounded does not add up.
    whole = np.rint((drive.time_s - begin_s) / _FIX_S) * _FIX_S
    return {
        "first_s": round(float(whole[0]), 4),
        "step_s": pack(np.diff(whole), _FIX_S),
        "more_m2": pack(errors.between_m2.ravel(), _ERROR_M2),
    }


def _ways(
    track: Track,
    drive: Drive,
    laps: Sequence[Lap],
    sessions: Sequence[DrivingSession],
    place_m: Floats,
    errors: PlaceErrors,
) -> list[dict[str, Any]]:
    """Tell how well positions are known on ways to first laps and from last ones."""
    ways = [
        (lap, way)
        for lap, way in zip(laps, ways_of(drive, laps, sessions), strict=True)
        if way is not None
    ]
    places = np.linspace(place_m[0], place_m[-1], _FINER * (len(place_m) - 1) + 1)
    variances = variances_along(track, drive, [way for _, way in ways], places, errors)
    return [
        {"lap": [lap.session, lap.number], "variance_m2": pack(variance, _ERROR_M2)}
        for (lap, _), variance in zip(ways, variances, strict=True)
    ]


def _numbers(sections: Sequence[Section], place_m: Floats) -> list[Stretch]:
    """Between which places each section lies, by their numbers."""
    ends = [(section.begin_m, section.end_m) for section in sections]
    return [
        (int(np.searchsorted(place_m, begin)), int(np.searchsorted(place_m, end)))
        for begin, end in ends
    ]


def _places(sections: Sequence[Section]) -> Floats:
    """Chainages of the ends of all sections, and of some between those that are far apart."""
    ends = [sections[0].begin_m, *(section.end_m for section in sections)]
    apart = max(_APART_M, (ends[-1] - ends[0]) / _MOST_PLACES)
    parts = [
        np.linspace(begin, end, max(1, round((end - begin) / apart)), endpoint=False)
        for begin, end in pairwise(ends)
    ]
    return np.concatenate([*parts, ends[-1:]])


def _nodes(place_m: Floats, laps: Sequence[Lap]) -> Floats:
    """Places that errors are told at: about as many as a lap takes seconds."""
    times = [lap.time_s for lap in laps if lap.is_whole and lap.time_s]
    count = int(np.clip(_NODES_PER_S * min(times), _LEAST_NODES, _MOST_NODES))
    return np.linspace(place_m[0], place_m[-1], count)
