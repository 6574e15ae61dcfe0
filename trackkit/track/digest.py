"""Digests of a track's geometry: whether two people have the same one, and whether it changed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from trackkit.geometry.geodesy import wrap_longitude
from trackkit.track.accuracy import Verdict
from trackkit.track.features import DEGREE_DECIMALS
from trackkit.track.model import Track

SHORT_LETTERS = 8
"""Letters of a digest that people compare: by chance two geometries agree in one of 4e9 cases."""
LINE_MEMBER = "line"
"""Member of a stored verdict: digest of the line as recordings had confirmed it."""
_LETTERS = str.maketrans("0123456789abcdef", "bcdfghjkmnpqrstv")
"""Consonants for hexadecimal digits: read aloud they are no numbers, and they make no words."""


def geometry_digest(track: Track) -> str:
    """Digest what times depend on: the line, and the ends of gates and pit lanes.

    Names, ids, and what people say of a track make no difference; a gate that is moved by a
    millimetre does.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    str
        SHA-256 of the positions to the file's decimals (FIPS 180-4), its hexadecimal digits
        written with letters, 64 of them.
    """
    line = track.centreline
    parts = [
        "closed" if track.closed else "open",
        _positions(line.longitude_deg, line.latitude_deg),
    ]
    for gate in sorted(track.gates, key=lambda gate: (gate.kind, gate.left, gate.right)):
        longitude, latitude = zip(gate.left, gate.right, strict=True)
        parts.append(f"{gate.kind} {_positions(longitude, latitude)}")
    parts += sorted(
        f"pit-lane {_positions(lane.longitude_deg, lane.latitude_deg)}" for lane in track.pit_lanes
    )
    return _digest(parts)


def short_digest(track: Track) -> str:
    """Shorten the digest of a track's geometry to the letters that people compare."""
    return geometry_digest(track)[:SHORT_LETTERS]


def line_digest(track: Track) -> str:
    """Digest the line alone, from its datum on.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    str
        As `geometry_digest` has it.
    """
    line = track.centreline
    return _digest(["line", _positions(line.longitude_deg, line.latitude_deg)])


def is_confirmed(track: Track) -> bool:
    """Whether recordings confirmed the line as it is, by what the file says of itself."""
    verdict = track.verdict
    return verdict is not None and verdict.members.get(LINE_MEMBER) == line_digest(track)


def keep_confirmed(before: Track, after: Track) -> Track:
    """Keep what recordings confirmed, where a line begins elsewhere on the same ground."""
    if not is_confirmed(before) or after.verdict is None:
        return after
    return replace(after, verdict=confirmed(after.verdict, after))


def confirmed(verdict: Verdict, track: Track) -> Verdict:
    """Have a verdict say that recordings confirm the line as it is."""
    return replace(verdict, members={**verdict.members, LINE_MEMBER: line_digest(track)})


def _positions(longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> str:
    longitude = np.round(wrap_longitude(np.asarray(longitude_deg, dtype=float)), DEGREE_DECIMALS)
    latitude = np.round(np.asarray(latitude_deg, dtype=float), DEGREE_DECIMALS)
    # 180 degrees is one meridian from both sides, and 0 has no sign.
    longitude = np.where(longitude == -180.0, 180.0, longitude) + 0.0
    return " ".join(
        f"{east:.{DEGREE_DECIMALS}f},{north:.{DEGREE_DECIMALS}f}"
        for east, north in zip(longitude.tolist(), (latitude + 0.0).tolist(), strict=True)
    )


def _digest(parts: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(parts).encode("ascii")).hexdigest().translate(_LETTERS)
