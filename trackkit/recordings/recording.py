"""A recording: the fixes of one receiver, in order of time."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.errors import RecordingError


@dataclass(frozen=True, eq=False)
class Recording:
    """The usable fixes of one receiver, in order of time.

    Parameters
    ----------
    name
        What to call it: the file as the user gave it, or a label.
    time_s
        Seconds from the first fix, shape (n,), strictly increasing, first value 0.
    longitude_deg, latitude_deg
        WGS 84 positions, degrees, shape (n,); longitudes continuous across the antimeridian.
    start
        Time of day of the first fix, UTC, or None where the recording only counts seconds.
    speed_mps, course_deg
        Speed over ground and course (direction of travel, degrees clockwise from true north),
        shape (n,) with NaN where a fix has none, or None where no fix has one.
    elevation_m
        Height above mean sea level or the ellipsoid, as the receiver gave it; same convention.
    accuracy_m
        Horizontal accuracy reported by the receiver, one sigma; same convention.
    hdop
        Horizontal dilution of precision reported by the receiver: the error of a position over
        that of a range, by the geometry of the satellites alone, unitless, above 0; same
        convention.
    segment
        Number of the unbroken stretch each fix belongs to, shape (n,), non-decreasing from 0.
    read_count
        How many fixes the file held before unusable ones were removed.
    removed
        How many fixes were removed, by reason.
    remarks
        Sentences about what was removed or looked odd.
    """

    name: str
    time_s: Floats
    longitude_deg: Floats
    latitude_deg: Floats
    start: datetime | None = None
    speed_mps: Floats | None = None
    course_deg: Floats | None = None
    elevation_m: Floats | None = None
    accuracy_m: Floats | None = None
    hdop: Floats | None = None
    segment: NDArray[np.intp] | None = None
    read_count: int = 0
    removed: dict[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        count = len(self.time_s)
        if count == 0:
            raise RecordingError("holds no usable fix", file=self.name)
        for label in (
            "longitude_deg",
            "latitude_deg",
            "speed_mps",
            "course_deg",
            "elevation_m",
            "accuracy_m",
            "hdop",
            "segment",
        ):
            column = getattr(self, label)
            if column is not None and len(column) != count:
                raise RecordingError(
                    f"has {count} times but {len(column)} values of {label}", file=self.name
                )
        if not (np.all(np.isfinite(self.longitude_deg)) and np.all(np.isfinite(self.latitude_deg))):
            raise RecordingError("has a position that is not a number", file=self.name)
        if count > 1 and not np.all(np.diff(self.time_s) > 0):
            raise RecordingError("has times that do not increase", file=self.name)
        if self.segment is None:
            object.__setattr__(self, "segment", np.zeros(count, dtype=np.intp))

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def duration_s(self) -> float:
        """Time from the first to the last fix, seconds."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def interval_s(self) -> float:
        """Median time between fixes, seconds (infinite for a single fix)."""
        return float(np.median(np.diff(self.time_s))) if len(self) > 1 else float("inf")

    def time_of_day(self, time_s: float) -> datetime | None:
        """Turn seconds from the first fix into a time of day, UTC."""
        return None if self.start is None else self.start + timedelta(seconds=time_s)

    def renamed(self, name: str) -> Recording:
        """Give the same recording another name."""
        return replace(self, name=name)
