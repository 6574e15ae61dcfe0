"""Recordings that nothing could have driven are refused, with what was seen in them.

Single fixes astray are removed elsewhere.  What is told here is wrong throughout a file: times that
are not those of its positions, or two recordings written into one.
"""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.errors import RecordingError
from trackkit.geometry.ellipsoid import MEAN_RADIUS_M

REACH_M = 20.0
REACH_MPS = 150.0
"""Nothing on wheels gets farther than this in a time: so many metres, and so many a second."""
LOWEST_M, HIGHEST_M = -1000.0, 10_000.0
"""Heights of all land, from 430 m below the sea to 8,849 m above it, and what receivers err by."""
MOST_WRONG = 0.2
"""A file in which more than this share is impossible is not mended but refused."""
LONGEST_YEARS = 100
"""Nobody records for longer, and satellites have been there for less."""
_YEAR_S = 365.25 * 86_400.0
FEWEST_WRONG = 10
"""Of fewer fixes a share says nothing."""
_WINDOW_S = 1.0
"""Speeds are told over this time, in which a receiver's noise is no way worth speaking of."""
_TO_AND_FRO = 3.0
"""Two steps this many times as long as what they come to lead there and back."""


def refuse_impossible(
    time_s: Floats, longitude_deg: Floats, latitude_deg: Floats, segment: Indices, name: str
) -> None:
    """Refuse a recording whose speeds, or whose changes of place, are impossible throughout.

    Parameters
    ----------
    time_s
        Seconds, increasing, shape (n,).
    longitude_deg, latitude_deg
        Positions, degrees, continuous across the antimeridian, shape (n,).
    segment
        Number of the unbroken stretch of each fix, shape (n,).
    name
        What the recording is called.

    Raises
    ------
    RecordingError
        More than `MOST_WRONG` of it is impossible, or it lasts for centuries.
    """
    _refuse_centuries(time_s, name)
    east = np.radians(longitude_deg) * np.cos(np.radians(latitude_deg)) * MEAN_RADIUS_M
    place_m = np.stack([east, np.radians(latitude_deg) * MEAN_RADIUS_M], axis=-1)
    _refuse_speeds(time_s, place_m, segment, name)
    _refuse_mixed(place_m, segment, name)


def within(value: Floats, least: float, most: float) -> Floats:
    """Take values from the least to the most that is possible, and NaN for others."""
    with np.errstate(invalid="ignore"):
        return np.where((value >= least) & (value <= most), value, np.nan)


def _refuse_centuries(time_s: Floats, name: str) -> None:
    years = (time_s[-1] - time_s[0]) / _YEAR_S if len(time_s) else 0.0
    if years > LONGEST_YEARS:
        raise RecordingError(
            f"lasts {years:,.0f} years: what is read as its times are none",
            file=name,
            remedy="see which column holds the times, and in which unit",
        )


def refuse_removed(wrong: int, count: int, what: str, name: str) -> None:
    """Refuse a recording of which too much had to be removed.

    Parameters
    ----------
    wrong, count
        How many fixes contradict the others, of how many.
    what
        The sentence of what was removed.
    name
        What the recording is called.

    Raises
    ------
    RecordingError
        More than `MOST_WRONG` of it contradicts the rest.
    """
    if _too_many(wrong, count):
        raise RecordingError(
            f"would need more than one in five of its fixes removed ({what}), as if several "
            "recordings were mixed in it",
            file=name,
            remedy="give each recording as a file of its own",
        )


def _too_many(wrong: int, count: int) -> bool:
    return wrong >= FEWEST_WRONG and wrong > MOST_WRONG * count


def _refuse_speeds(time_s: Floats, place_m: Floats, segment: Indices, name: str) -> None:
    count = len(time_s)
    if count < 2:
        return
    usual = float(np.median(np.diff(time_s)))
    ahead = int(np.clip(np.ceil(_WINDOW_S / max(usual, 1e-12)), 1, max(1, count // 4)))
    within = segment[ahead:] == segment[:-ahead]
    span_s = (time_s[ahead:] - time_s[:-ahead])[within]
    way_m = np.linalg.norm(place_m[ahead:] - place_m[:-ahead], axis=1)[within]
    beyond = np.flatnonzero(way_m > REACH_M + REACH_MPS * span_s)
    if not _too_many(len(beyond), len(way_m)):
        return
    speed = way_m[beyond] / span_s[beyond]
    middle = int(beyond[np.argsort(speed)[len(speed) // 2]])
    raise RecordingError(
        f"covers {way_m[middle]:,.0f} m in {span_s[middle]:.3g} s, which is "
        f"{3.6 * way_m[middle] / span_s[middle]:,.0f} km/h, and goes on like that: its times are "
        "not those of its positions",
        file=name,
        remedy="see which column holds the times, and in which unit",
    )


def _refuse_mixed(place_m: Floats, segment: Indices, name: str) -> None:
    """Refuse recordings that lead from one place to another and back, fix by fix."""
    if len(place_m) < 3:
        return
    within: Flags = segment[2:] == segment[:-2]
    step_m = np.linalg.norm(np.diff(place_m, axis=0), axis=1)
    there_m = (step_m[:-1] + step_m[1:])[within]
    apart_m = np.linalg.norm(place_m[2:] - place_m[:-2], axis=1)[within]
    back = there_m > _TO_AND_FRO * apart_m + REACH_M
    if not _too_many(int(np.count_nonzero(back)), len(there_m)):
        return
    raise RecordingError(
        f"leads to and fro between places {0.5 * float(np.median(there_m[back])):,.0f} m apart, "
        "fix by fix, as if two recordings were mixed in it",
        file=name,
        remedy="give each recording as a file of its own",
    )
