"""Fixes from NMEA 0183 sentences as they come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Fix:
    """One fix as a receiver gives it.

    Parameters
    ----------
    longitude_deg, latitude_deg
        WGS 84 position, degrees.
    speed_mps, course_deg
        Speed over ground, and course in degrees from true north; None or NaN where not known.
    """

    longitude_deg: float
    latitude_deg: float
    speed_mps: float | None = None
    course_deg: float | None = None


def fixes_of_nmea(lines: Iterable[bytes], left_out: Counter[str]) -> Iterator[Fix]:
    """Read fixes from lines of NMEA 0183, as they come.

    RMC tells position, speed and course; as soon as one has come, GGA and GNS, which tell the
    position alone, are passed over.  Sentences without a fix give none.

    Parameters
    ----------
    lines
        Anything before a sentence's `$` is passed over, and so are lines that are none.
    left_out
        Counts what was: "damaged" or "no fix".
    """
    from trackkit.recordings.nmea.sentences import sentence_kind, sentence_values
    from trackkit.recordings.nmea.table import POSITION_KINDS
    from trackkit.recordings.positions import is_null_position, is_on_earth

    has_rmc = False
    for line in lines:
        for sentence in line.decode("latin-1").split("$")[1:]:
            kind = sentence_kind(sentence)
            if kind not in POSITION_KINDS:
                continue
            try:
                values = sentence_values(sentence)
            except ValueError:
                left_out["damaged"] += 1
                continue
            has_rmc |= kind == "RMC"
            if "latitude_deg" not in values:
                left_out["no fix"] += 1
                continue
            position = values["longitude_deg"], values["latitude_deg"]
            if not is_on_earth(*position):
                left_out["damaged"] += 1
            elif is_null_position(*position):
                left_out["no fix"] += 1
            elif kind == "RMC" or not has_rmc:
                yield Fix(*position, values.get("speed_mps"), values.get("course_deg"))
