"""NMEA 0183: RMC, GGA, GNS, VTG and ZDA of any talker, through pynmea2, merged by epoch.

Consecutive sentences with the same time of day make one epoch, which becomes one fix; the same
talker's same sentence a second time begins another.  VTG has no time of its own: it belongs to the
epoch of the timed sentence it follows, and only fills in what RMC has not said; a second VTG after
one epoch means that its own epoch was lost, and is left out.  An epoch in which RMC has status V or
GGA has quality 0 is no fix.

Dilution of precision is not turned into an accuracy: it tells the geometry of the satellites only,
and the range error to multiply it with would be our guess, not the receiver's word.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from trackkit.errors import RecordingError
from trackkit.geodesy import Floats
from trackkit.readers.fixes import Dropped, RawFixes, Times, counted, some_or_none
from trackkit.readers.units import KNOT_MPS, SPEED_MPS

DAY_US = 86_400_000_000
NAN = float("nan")


class _Said(NamedTuple):
    """What one sentence said."""

    latitude_deg: float = NAN
    longitude_deg: float = NAN
    speed_mps: float = NAN
    course_deg: float = NAN
    elevation_m: float = NAN
    date: date | None = None
    no_fix: bool = False


@dataclass(slots=True)
class _Epoch:
    """What the sentences of one time of day said, as they come in."""

    time_us: int | None
    line: int
    kinds: set[str] = field(default_factory=set)
    latitude_deg: float = NAN
    longitude_deg: float = NAN
    speed_mps: float = NAN
    course_deg: float = NAN
    elevation_m: float = NAN
    date: date | None = None
    no_fix: bool = False

    def hear(self, said: _Said) -> None:
        """Fill in what no sentence has said before; NaN differs from itself."""
        if self.latitude_deg != self.latitude_deg:
            self.latitude_deg, self.longitude_deg = said.latitude_deg, said.longitude_deg
        if self.speed_mps != self.speed_mps:
            self.speed_mps = said.speed_mps
        if self.course_deg != self.course_deg:
            self.course_deg = said.course_deg
        if self.elevation_m != self.elevation_m:
            self.elevation_m = said.elevation_m
        self.date = self.date or said.date
        self.no_fix = self.no_fix or said.no_fix

    @property
    def offers_position(self) -> bool:
        """Whether a sentence came that is there to tell a position, even if it told none."""
        return any(not kind.endswith(("ZDA", "VTG")) for kind in self.kinds)


def read_nmea(data: bytes, path: str | os.PathLike[str]) -> RawFixes:
    """Read a log of NMEA 0183 sentences.

    Anything before a sentence's `$` on its line is passed over, as are other sentences and lines
    that are none.  Dates come from RMC or ZDA, while there is a fix (a receiver without one may
    say anything); epochs without a date are dated by counting midnights from those that have one.

    Raises
    ------
    RecordingError
        No sentence that tells a position has a right checksum.
    """
    damaged: list[int] = []
    heard = list(_epochs(data.decode("latin-1"), damaged))
    offered = [epoch.offers_position for epoch in heard]
    if not any(offered):
        if damaged:
            raise RecordingError(
                "holds no whole RMC, GGA or GNS sentence with a right checksum "
                f"({counted(len(damaged), 'damaged sentence')}, "
                f"the first at line {damaged[0]:,})",
                file=path,
                remedy="log it again, with checksums",
            )
        raise RecordingError(
            "holds no RMC, GGA or GNS sentence", file=path, remedy="let the receiver log RMC or GGA"
        )
    time = _times(heard)
    epochs = [epoch for epoch, there in zip(heard, offered, strict=True) if there]
    fixed = np.array([_is_fix(epoch) for epoch in epochs])
    lost = int(np.count_nonzero(~fixed))
    words = counted(lost, "epoch without a fix", "epochs without a fix")
    here = [epoch for epoch, is_fix in zip(epochs, fixed, strict=True) if is_fix]

    def column(name: str) -> Floats:
        return np.array([getattr(epoch, name) for epoch in here], dtype=float)

    return RawFixes(
        time=time[np.array(offered)][fixed],
        longitude_deg=column("longitude_deg"),
        latitude_deg=column("latitude_deg"),
        speed_mps=some_or_none(column("speed_mps")),
        course_deg=some_or_none(column("course_deg")),
        elevation_m=some_or_none(column("elevation_m")),
        place=np.array([epoch.line for epoch in here], dtype=np.intp),
        dropped=(Dropped("no fix", lost, words),) if lost else (),
        remarks=_damage_remark(damaged),
    )


def _is_fix(epoch: _Epoch) -> bool:
    return not epoch.no_fix and epoch.latitude_deg == epoch.latitude_deg


def _damage_remark(damaged: list[int]) -> tuple[str, ...]:
    if not damaged:
        return ()
    sentence = (
        f"left out {counted(len(damaged), 'NMEA sentence')}, damaged or with a wrong or missing "
        f"checksum, the first at line {damaged[0]:,}"
    )
    return (sentence,)


def _epochs(text: str, damaged: list[int]) -> Iterator[_Epoch]:
    """Gather sentences into epochs; note the lines of those that cannot be read."""
    epoch: _Epoch | None = None
    for line, talker_kind, fields in _sentences(text, damaged):
        kind = talker_kind[2:]
        try:
            said = _READERS[kind](fields)
            time_us = None if kind == "VTG" else _time_of_day_us(fields[0])
        except (ValueError, IndexError, OverflowError):
            damaged.append(line)
            continue
        if kind == "VTG":
            if epoch is not None and not any(seen.endswith("VTG") for seen in epoch.kinds):
                epoch.kinds.add(talker_kind)
                epoch.hear(said)
            continue
        if epoch is None or epoch.time_us != time_us or talker_kind in epoch.kinds:
            if epoch is not None:
                yield epoch
            epoch = _Epoch(time_us, line)
        epoch.kinds.add(talker_kind)
        epoch.hear(said)
    if epoch is not None:
        yield epoch


def _sentences(text: str, damaged: list[int]) -> Iterator[tuple[int, str, list[str]]]:
    """Yield line number, talker with kind ("GPRMC"), and fields of every whole sentence."""
    import pynmea2

    for number, line in enumerate(text.split("\n"), start=1):
        for part in line.split("$")[1:]:
            if part[2:5] not in _READERS or part[5:6] != ",":
                continue
            try:
                sentence = pynmea2.parse(part, check=True)
            except pynmea2.ParseError:
                damaged.append(number)
                continue
            yield number, part[:5], sentence.data


def _rmc(fields: list[str]) -> _Said:
    if fields[1] != "A":
        return _Said(no_fix=True)
    latitude, longitude = _position(fields[2:6])
    return _Said(
        latitude,
        longitude,
        speed_mps=_number(fields[6]) * KNOT_MPS,
        course_deg=_number(fields[7]),
        date=_date(fields[8]) if fields[8] else None,
    )


def _gga(fields: list[str]) -> _Said:
    if fields[5] in ("", "0"):
        return _Said(no_fix=True)
    latitude, longitude = _position(fields[1:5])
    return _Said(latitude, longitude, elevation_m=_number(fields[8]))


def _gns(fields: list[str]) -> _Said:
    # One letter for each satellite system; a talker of one system may leave the position to
    # another talker's sentence, so having none here is not yet "no fix".
    if not fields[5].strip("N"):
        return _Said()
    latitude, longitude = _position(fields[1:5])
    return _Said(latitude, longitude, elevation_m=_number(fields[8]))


def _vtg(fields: list[str]) -> _Said:
    if len(fields) > 8 and fields[8] == "N":
        return _Said()
    speed = _number(fields[4]) * KNOT_MPS
    if speed != speed:
        speed = _number(fields[6]) * SPEED_MPS["km/h"]
    return _Said(speed_mps=speed, course_deg=_number(fields[0]))


def _zda(fields: list[str]) -> _Said:
    if not fields[1]:
        return _Said()
    return _Said(date=date(int(fields[3]), int(fields[2]), int(fields[1])))


_READERS: dict[str, Callable[[list[str]], _Said]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GNS": _gns,
    "VTG": _vtg,
    "ZDA": _zda,
}


def _position(fields: list[str]) -> tuple[float, float]:
    """Turn ddmm.mmm, N or S, dddmm.mmm, E or W into degrees; NaN where all four are empty."""
    latitude, north_south, longitude, east_west = fields
    if not (latitude or longitude):
        return NAN, NAN
    return (
        _degrees(latitude, north_south, "N", "S"),
        _degrees(longitude, east_west, "E", "W"),
    )


def _degrees(text: str, side: str, positive: str, negative: str) -> float:
    value = float(text)
    degrees = value // 100
    minutes = value - 100 * degrees
    if side not in (positive, negative) or not 0 <= minutes < 60:
        raise ValueError(text)
    angle = degrees + minutes / 60
    return angle if side == positive else -angle


def _number(text: str) -> float:
    return float(text) if text else NAN


def _time_of_day_us(text: str) -> int | None:
    """Turn hhmmss.sss into microseconds since midnight."""
    if not text:
        return None
    hour, minute, second = int(text[:2]), int(text[2:4]), float(text[4:])
    if not (0 <= hour < 24 and 0 <= minute < 60 and 0 <= second < 61):
        raise ValueError(text)
    return (hour * 3600 + minute * 60) * 1_000_000 + round(second * 1e6)


@lru_cache(maxsize=64)
def _date(text: str) -> date:
    # Two-digit years: 69 to 99 are of the last century (POSIX strptime).
    return datetime.strptime(text, "%d%m%y").replace(tzinfo=UTC).date()


def _times(epochs: list[_Epoch]) -> Times:
    """Date the epochs: UTC where any has a date, else seconds counted across midnights."""
    time_us = np.array([NAN if e.time_us is None else e.time_us for e in epochs], dtype=float)
    timed = np.isfinite(time_us)
    day, dated = _days(
        [epoch for epoch, there in zip(epochs, timed, strict=True) if there], time_us[timed]
    )
    if not dated:
        seconds = np.full(len(epochs), NAN)
        seconds[timed] = day * 86_400.0 + time_us[timed] / 1e6
        return seconds
    time = np.full(len(epochs), np.datetime64("NaT"), dtype="datetime64[ns]")
    total_us = day * DAY_US + time_us[timed].astype(np.int64)
    time[timed] = total_us.astype("datetime64[us]").astype("datetime64[ns]")
    return time


def _days(epochs: list[_Epoch], time_us: Floats) -> tuple[NDArray[np.int64], bool]:
    """Give each epoch its day, since 1970 where any date is known, and say whether one is."""
    step = np.diff(time_us, prepend=time_us[:1])
    # Midnight is where the time of day falls by more than half a day; the other way round, it is
    # a sentence from before midnight that comes late.
    midnights = np.cumsum((step < -DAY_US / 2).astype(np.int64) - (step > DAY_US / 2))
    trusted = [n for n, epoch in enumerate(epochs) if epoch.date and not epoch.no_fix]
    known = trusted or [n for n, epoch in enumerate(epochs) if epoch.date]
    if not known:
        return midnights, False
    at = np.array(known)
    origin = date(1970, 1, 1)
    given = np.array(
        [(d - origin).days for d in (epochs[n].date for n in known) if d], dtype=np.int64
    )
    nearest = np.clip(np.searchsorted(at, np.arange(len(epochs)), side="right") - 1, 0, None)
    return given[nearest] + midnights - midnights[at[nearest]], True
