"""A recording: the fixes of one receiver, in order of time."""

from __future__ import annotations

import reprlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats, Indices
from trackkit.errors import RecordingError
from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.recordings.channel import Channel
from trackkit.recordings.raw import COLUMNS

_POSITIONS = ("longitude_deg", "latitude_deg")
_FARTHEST_EAST_DEG = 540.0
"""Longitudes that are continuous across the antimeridian leave ±180° by one turn at most."""


@dataclass(frozen=True, eq=False)
class Recording:
    """The usable fixes of one receiver, in order of time.

    `read_recording` makes it of a file, `Recording.from_arrays` of lists and arrays.

    Parameters
    ----------
    name
        What to call it: the file as the user gave it, or a label.
    time_s
        Seconds from the first fix, shape (n,), strictly increasing, first value 0.
    longitude_deg, latitude_deg
        WGS 84 positions, degrees, shape (n,); longitudes continuous across the antimeridian.
    start
        Time of day of the first fix, kept as UTC, or None where the recording only counts
        seconds.
    speed_mps, course_deg
        Speed over ground, m/s, and course (direction of travel, degrees clockwise from north),
        shape (n,) with NaN where a fix has none, or None where no fix has one.
    elevation_m
        Height above mean sea level or the ellipsoid, as the receiver gave it, metres; same
        convention.
    accuracy_m
        Horizontal accuracy reported by the receiver, metres; same convention.
    accuracy_of
        What that is of: ``"radius"``, within which 68 % of positions lie, as receivers mean it that
        do not say, or ``"axis"``, one sigma on one axis.
    hdop
        Horizontal dilution of precision reported by the receiver: the error of a position over
        that of a range, by the geometry of the satellites alone, unitless, above 0; same
        convention.
    segment
        Number of the unbroken stretch each fix belongs to, shape (n,), non-decreasing from 0;
        None for one stretch.
    read_count
        How many fixes the file held before unusable ones were removed.
    removed
        How many fixes were removed, by reason.
    remarks
        Sentences about what was removed or looked odd.
    speed_accuracy_mps
        Accuracy of the velocity (of the speed, where no course is known) reported by the receiver,
        m/s, one sigma; same convention.
    channels
        What it holds besides, such as engine speed, each at its own times.

    Raises
    ------
    RecordingError
        When there is no fix, a column is not one number a fix, a position is not on earth, times
        do not increase from 0, `start` has no time zone, or two channels have one name.

    Examples
    --------
    >>> import trackkit
    >>> recording = trackkit.Recording.from_arrays(
    ...     [0.0, 0.1, 0.2], [5.0, 5.00003, 5 + 6e-5], [24.0, 24.0, 24.0], name="short"
    ... )
    >>> len(recording), round(recording.interval_s, 3)
    (3, 0.1)
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
    segment: Indices | None = None
    read_count: int = 0
    removed: dict[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    accuracy_of: Literal["radius", "axis"] = "radius"
    speed_accuracy_mps: Floats | None = None
    channels: tuple[Channel, ...] = ()

    def __post_init__(self) -> None:
        for label in ("time_s", *_POSITIONS, *COLUMNS):
            if getattr(self, label) is not None:
                self._set(label, _numbers(getattr(self, label), label, self.name))
        count = len(self.time_s)
        if count == 0:
            raise RecordingError("holds no usable fix", file=self.name)
        self._set("segment", _segments(self.segment, count, self.name))
        for label in (*_POSITIONS, *COLUMNS, "segment"):
            column = getattr(self, label)
            if column is not None and len(column) != count:
                raise RecordingError(
                    f"has {count} times but {len(column)} values of {label}", file=self.name
                )
        self._require_positions()
        self._require_times()
        if self.start is not None:
            self._set("start", _utc(self.start, self.name))
        self._set("channels", tuple(self.channels))
        for name, count in Counter(channel.name for channel in self.channels).items():
            if count > 1:
                raise RecordingError(
                    f"has {count} channels called {reprlib.repr(name)}", file=self.name
                )

    def _set(self, label: str, value: object) -> None:
        object.__setattr__(self, label, value)

    def _require_positions(self) -> None:
        longitude, latitude = self.longitude_deg, self.latitude_deg
        if not (np.isfinite(longitude).all() and np.isfinite(latitude).all()):
            raise RecordingError("has a position that is not a number", file=self.name)
        off = (np.abs(latitude) > 90.0) | (np.abs(longitude) > _FARTHEST_EAST_DEG)
        if off.any():
            first = int(np.argmax(off))
            raise RecordingError(
                f"has a position, longitude {longitude[first]:g} and latitude "
                f"{latitude[first]:g}, that is not on earth",
                file=self.name,
                place=f"fix {first + 1}",
                remedy="give degrees, longitudes before latitudes",
            )

    def _require_times(self) -> None:
        if not np.all(np.diff(self.time_s) > 0):
            raise RecordingError("has times that do not increase", file=self.name)
        if not np.isfinite(self.time_s).all():
            raise RecordingError("has a time that is not a number", file=self.name)
        if self.time_s[0] != 0:
            raise RecordingError(
                f"has a first fix at {self.time_s[0]:g} s instead of 0",
                file=self.name,
                remedy="count from the first fix, or use Recording.from_arrays, which does",
            )

    @classmethod
    def from_arrays(
        cls,
        time: ArrayLike | Sequence[datetime],
        longitude_deg: ArrayLike,
        latitude_deg: ArrayLike,
        *,
        name: str = "arrays",
        start: datetime | None = None,
        speed_mps: ArrayLike | None = None,
        course_deg: ArrayLike | None = None,
        elevation_m: ArrayLike | None = None,
        accuracy_m: ArrayLike | None = None,
        speed_accuracy_mps: ArrayLike | None = None,
        hdop: ArrayLike | None = None,
        segment: ArrayLike | None = None,
        channels: Sequence[Channel] = (),
    ) -> Recording:
        """Make a recording of lists or arrays, one value a fix.

        Nothing is removed: what `read_recording` would leave out is refused, or is the caller's
        to leave out.

        Parameters
        ----------
        time
            Seconds, or times of day with a time zone, shape (n,), strictly increasing.
        longitude_deg, latitude_deg
            WGS 84 positions, degrees, shape (n,); longitudes may leap at the antimeridian.
        name
            What to call it.
        start
            Time of day, with a time zone, from which seconds are counted; None where unknown.
        speed_mps, course_deg, elevation_m, accuracy_m, speed_accuracy_mps, hdop, segment
            As for `Recording`, shape (n,) with NaN where a fix has none; None where no fix has
            one.
        channels
            As for `Recording`: their times count from the first fix.

        Returns
        -------
        Recording
            Whose time counts from the first fix.

        Raises
        ------
        RecordingError
            As for `Recording`; also for times of day without a time zone.

        Examples
        --------
        >>> recording = Recording.from_arrays([0, 1, 2], [10.0, 10.1, 10.2], [50.0, 50.0, 50.0])
        >>> recording
        Recording('arrays', 3 fixes in 2.0 s)
        """
        seconds, begun = _seconds(time, start, name)
        longitude = _numbers(longitude_deg, "longitude_deg", name)

        def numbers_or_none(column: ArrayLike | None, label: str) -> Floats | None:
            return None if column is None else _numbers(column, label, name)

        return cls(
            name=name,
            time_s=seconds,
            longitude_deg=unwrap_longitude(longitude),
            latitude_deg=_numbers(latitude_deg, "latitude_deg", name),
            start=begun,
            speed_mps=numbers_or_none(speed_mps, "speed_mps"),
            course_deg=numbers_or_none(course_deg, "course_deg"),
            elevation_m=numbers_or_none(elevation_m, "elevation_m"),
            accuracy_m=numbers_or_none(accuracy_m, "accuracy_m"),
            speed_accuracy_mps=numbers_or_none(speed_accuracy_mps, "speed_accuracy_mps"),
            hdop=numbers_or_none(hdop, "hdop"),
            segment=_segments(segment, len(seconds), name),
            read_count=len(seconds),
            channels=tuple(channels),
        )

    def __len__(self) -> int:
        return len(self.time_s)

    def __repr__(self) -> str:
        count = f"{len(self):,} fix{'' if len(self) == 1 else 'es'}"
        begun = "" if self.start is None else f" from {self.start:%Y-%m-%dT%H:%M:%SZ}"
        return f"Recording({reprlib.repr(self.name)}, {count} in {self.duration_s:,.1f} s{begun})"

    @property
    def duration_s(self) -> float:
        """Time from the first to the last fix, seconds."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def interval_s(self) -> float:
        """Median time between fixes, seconds (infinite for a single fix)."""
        return float(np.median(np.diff(self.time_s))) if len(self) > 1 else float("inf")

    def time_of_day(self, time_s: float) -> datetime | None:
        """Turn seconds from the first fix into a time of day.

        Parameters
        ----------
        time_s
            Seconds from the first fix.

        Returns
        -------
        datetime or None
            UTC; None where the recording only counts seconds.
        """
        return None if self.start is None else self.start + timedelta(seconds=time_s)

    def renamed(self, name: str) -> Recording:
        """Give the same recording another name.

        Parameters
        ----------
        name
            What to call it.

        Returns
        -------
        Recording
            The same fixes under that name.
        """
        return replace(self, name=name)


def _numbers(column: ArrayLike, label: str, name: str) -> Floats:
    """Take a column as an array of numbers, one a fix."""
    try:
        numbers = np.asarray(column, dtype=float)
    except (TypeError, ValueError) as error:
        raise RecordingError(f"has {label} that is not one number a fix", file=name) from error
    if numbers.ndim != 1:
        raise RecordingError(
            f"has {label} of shape {numbers.shape} instead of one number a fix", file=name
        )
    return numbers


def _segments(column: ArrayLike | None, count: int, name: str) -> Indices:
    """Take the numbers of the stretches that fixes belong to."""
    if column is None:
        return np.zeros(count, dtype=np.intp)
    numbers = _numbers(column, "segment", name)
    if np.any(numbers != np.round(numbers)) or np.any(np.diff(numbers) < 0) or np.any(numbers < 0):
        raise RecordingError(
            "has a segment that is not a whole number counting up from 0", file=name
        )
    return numbers.astype(np.intp)


def _seconds(
    time: ArrayLike | Sequence[datetime], start: datetime | None, name: str
) -> tuple[Floats, datetime | None]:
    """Count times from the first one, and tell the time of day of that."""
    try:
        given = np.asarray(time)
    except ValueError as error:
        raise RecordingError("has time that is not one number a fix", file=name) from error
    moments = given.tolist() if given.dtype.kind == "O" else []
    if given.dtype.kind != "M" and not any(isinstance(moment, datetime) for moment in moments):
        seconds = _numbers(given, "time", name)
        if len(seconds) == 0 or not np.isfinite(seconds[0]):
            return seconds, start
        begun = None if start is None else _utc(start, name)
        offset = timedelta(seconds=float(seconds[0]))
        return seconds - seconds[0], None if begun is None else begun + offset
    if given.dtype.kind == "M":
        raise _no_zone("numpy's datetime64, which knows no time zone", name)
    if start is not None:
        raise RecordingError(
            "has times of day and a start besides", file=name, remedy="leave start out"
        )
    if given.ndim != 1 or not all(isinstance(moment, datetime) for moment in moments):
        raise RecordingError("has time that is not one time of day a fix", file=name)
    begin = _utc(moments[0], name)
    return np.array([(_utc(moment, name) - begin).total_seconds() for moment in moments]), begin


def _utc(moment: datetime, name: str) -> datetime:
    """Take a time of day as UTC.

    Raises
    ------
    RecordingError
        When it has no time zone: it may be any.
    """
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise _no_zone(f"{moment.isoformat()} without a time zone", name)
    return moment.astimezone(UTC)


def _no_zone(what: str, name: str) -> RecordingError:
    return RecordingError(
        f"has a time of day as {what}",
        file=name,
        remedy="give datetimes with a time zone, such as UTC, or seconds and a start with one",
    )
