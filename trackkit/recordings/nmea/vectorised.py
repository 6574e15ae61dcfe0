"""Ordinary NMEA 0183 sentences, read many at once with numpy.

A recording at 25 Hz has 90,000 sentences in half an hour; one by one they cost seconds.  Ordinary
is a whole sentence with a right checksum whose fields have the form the standard gives them; what
is out of the ordinary in any way is left to be read one by one, so that one place only is lenient
and finds damage.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np

from trackkit.arrays import Bytes, Flags, Floats, Indices
from trackkit.recordings.nmea.bytefields import numbers
from trackkit.recordings.nmea.table import (
    FIELDS,
    KINDS,
    NO_DAY,
    NO_TIME,
    ORIGIN,
    Rows,
    accuracy_m,
    blank_rows,
    day_of,
)
from trackkit.recordings.units import KNOT_MPS, SPEED_MPS

_SHORTEST = len("$GPVTG,*00")
_MOST_SYSTEMS = 6

_HEX = np.full(256, 255, dtype=np.uint8)
for _value in range(16):
    _HEX[[ord(f"{_value:X}"), ord(f"{_value:x}")]] = _value


def ordinary_rows(data: bytes) -> tuple[Rows, Indices]:
    """Read the ordinary sentences of the kinds in `KINDS`.

    Returns
    -------
    Their rows, in the file's order, and where the other sentences of these kinds stand, shape
    (n, 3): the byte of the `$`, that of the sentence's end (the next `$`, the line's or the file's
    end), and the line from 1.
    """
    block = np.frombuffer(data, dtype=np.uint8)
    mark = np.flatnonzero((block == ord("$")) | (block == ord("\n")))
    dollar = block[mark] == ord("$")
    at, end = mark[dollar], np.append(mark, len(block))[1:][dollar]
    line = np.cumsum(~dollar)[dollar] + 1
    kind = _kind(block, at, end)
    of_kinds = kind >= 0
    at, end, line, kind = at[of_kinds], end[of_kinds], line[of_kinds], kind[of_kinds]

    star, whole = _stars(block, at, end)
    fields = _Fields.between(block, at[whole], star[whole])
    rows = blank_rows(len(fields.star))
    rows["at"], rows["line"], rows["kind"] = at[whole], line[whole], kind[whole]
    rows["talker"] = block[at[whole] + 1].astype(np.int64) << 8 | block[at[whole] + 2]
    ordinary = np.zeros(len(rows), dtype=bool)
    for number, name in enumerate(KINDS):
        these = np.flatnonzero(rows["kind"] == number)
        if len(these):
            part = rows[these]
            ordinary[these] = _READERS[name](fields.of(these), part)
            rows[these] = part
    rest = np.ones(len(at), dtype=bool)
    rest[np.flatnonzero(whole)[ordinary]] = False
    return rows if np.all(ordinary) else rows[ordinary], np.column_stack([at, end, line])[rest]


def _kind(block: Bytes, at: Indices, end: Indices) -> Indices:
    """Tell which of `KINDS` each sentence is, -1 for none."""
    longest = len(block) - 1
    letters = np.zeros(len(at), dtype=np.uint32)
    for offset in range(3, 7):
        letters = letters << np.uint32(8) | block[np.minimum(at + offset, longest)]
    kind = np.full(len(at), -1, dtype=np.intp)
    for number, name in enumerate(KINDS):
        kind[(letters == int.from_bytes(f"{name},".encode())) & (end - at > 6)] = number
    return kind


def _stars(block: Bytes, at: Indices, end: Indices) -> tuple[Indices, Flags]:
    """Find the `*` before the checksum, and say which sentences are whole and have it right."""
    longest = len(block) - 1
    end = end - (block[end - 1] == ord("\r"))
    star = end - 3
    whole = (end - at >= _SHORTEST) & (block[star] == ord("*"))
    every = np.append(np.flatnonzero(block == ord("*")), longest)
    whole &= every[np.minimum(np.searchsorted(every, at), len(every) - 1)] == star
    for offset in (1, 2):
        letter = block[np.minimum(at + offset, longest)]
        whole &= (letter >= ord("A")) & (letter <= ord("Z"))
    # Sentences whose talker seems to begin with P are a maker's own.
    whole &= block[np.minimum(at + 1, longest)] != ord("P")
    high = _HEX[block[np.minimum(star + 1, longest)]]
    low = _HEX[block[np.minimum(star + 2, longest)]]
    whole &= (high < 16) & (low < 16)
    if np.any(whole):
        spans = np.column_stack([at[whole] + 1, star[whole]]).ravel()
        sums = np.bitwise_xor.reduceat(block, spans)[::2]
        whole[whole] = sums == (high[whole] << 4 | low[whole])
    return star, whole


@dataclass(frozen=True, eq=False)
class _Fields:
    """The comma-separated fields of some sentences, numbered from 0 after the kind.

    Parameters
    ----------
    block, commas
        The file's bytes, and where its commas are, followed by its length.
    star, first, count
        For each sentence where its `*` is, which of the commas is its first, and how many fields
        it has.
    """

    block: Bytes
    commas: Indices
    star: Indices
    first: Indices
    count: Indices

    @classmethod
    def between(cls, block: Bytes, at: Indices, star: Indices) -> _Fields:
        """Find the fields of sentences that begin and end there."""
        commas = np.append(np.flatnonzero(block == ord(",")), len(block))
        first = np.searchsorted(commas, at + 6)
        return cls(block, commas, star, first, np.searchsorted(commas, star) - first)

    def of(self, these: Indices) -> _Fields:
        """Take some of the sentences."""
        return _Fields(
            self.block, self.commas, self.star[these], self.first[these], self.count[these]
        )

    def span(self, number: int) -> tuple[Indices, Indices]:
        """Give where a field begins and ends; both the same where a sentence has no such field."""
        last = len(self.commas) - 1
        there = self.count > number
        start = np.where(there, self.commas[np.minimum(self.first + number, last)] + 1, self.star)
        end = np.minimum(self.commas[np.minimum(self.first + number + 1, last)], self.star)
        return start, np.where(there, end, start)

    def number(self, number: int) -> tuple[Floats, Flags]:
        """Read a field as a number: NaN where empty, and whether it is empty or a number."""
        return numbers(self.block, *self.span(number))

    def letter(self, number: int) -> tuple[Bytes, Flags]:
        """Read a field of one character: 0 where empty, and whether it has one at most."""
        start, end = self.span(number)
        letter = self.block[np.minimum(start, len(self.block) - 1)]
        return np.where(end > start, letter, 0).astype(np.uint8), end - start <= 1

    def figures(self, number: int, count: int) -> tuple[Indices, Flags]:
        """Read the first figures of a field as a whole number, and say whether all are figures."""
        start, end = self.span(number)
        value = np.zeros(len(start), dtype=np.intp)
        good = end - start >= count
        for offset in range(count):
            figure = self.block[np.minimum(start + offset, len(self.block) - 1)] - np.uint8(48)
            good &= figure <= 9
            value = value * 10 + figure
        return value, good


def _time(fields: _Fields, rows: Rows) -> Flags:
    start, end = fields.span(0)
    clock, good = fields.figures(0, 6)
    second, readable = numbers(fields.block, np.minimum(start + 4, end), end)
    hour, minute = clock // 10_000, clock // 100 % 100
    good &= readable & (hour < 24) & (minute < 60) & (second < 61)
    microsecond = np.rint(np.where(good, second, 0.0) * 1e6).astype(np.int64)
    time_us = (hour * 3600 + minute * 60) * 1_000_000 + microsecond
    rows["time_us"] = np.where(good, time_us, NO_TIME)
    return np.asarray(good | (start == end))


def _angle(fields: _Fields, number: int, positive: str, negative: str) -> tuple[Floats, Flags]:
    value, good = fields.number(number)
    good &= ~np.isnan(value)
    value = np.where(good, value, 0.0)
    side, single = fields.letter(number + 1)
    degrees = value // 100
    minutes = value - 100 * degrees
    good = good & single & ((side == ord(positive)) | (side == ord(negative)))
    good &= (minutes >= 0) & (minutes < 60)
    angle = degrees + minutes / 60
    return np.where(side == ord(negative), -angle, angle), good


def _position(fields: _Fields, number: int, rows: Rows) -> Flags:
    latitude, latitude_good = _angle(fields, number, "N", "S")
    longitude, longitude_good = _angle(fields, number + 2, "E", "W")
    good = latitude_good & longitude_good
    rows["latitude_deg"] = np.where(good, latitude, np.nan)
    rows["longitude_deg"] = np.where(good, longitude, np.nan)
    absent = np.ones(len(rows), dtype=bool)
    for offset in (0, 2):
        start, end = fields.span(number + offset)
        absent &= start == end
    return good | absent


def _numbers(fields: _Fields, rows: Rows, places: dict[str, int]) -> Flags:
    good = np.ones(len(rows), dtype=bool)
    for name, number in places.items():
        rows[name], readable = fields.number(number)
        good &= readable
    return good


def _days(code: Indices, good: Flags, day: Callable[[int], int]) -> tuple[Floats, Flags]:
    """Turn dates written as whole numbers into days since 1970."""
    different, which = np.unique(np.where(good, code, -1), return_inverse=True)
    days = np.full(len(different), NO_DAY)
    for n, number in enumerate(different.tolist()):
        try:
            days[n] = day(number) if number >= 0 else NO_DAY
        except ValueError:
            continue  # No such day: reading sentences one by one reports it.
    return days[which], np.isfinite(days)[which]


def _only_where(given: Flags, rows: Rows, *names: str) -> None:
    for name in names:
        rows[name] = np.where(given, rows[name], np.nan)


def _rmc(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["RMC"]
    status, single = fields.letter(at["status"])
    fix = status == ord("A")
    rows["no_fix"] = ~fix
    position = _position(fields, at["position"], rows)
    numeric = _numbers(fields, rows, {"speed_mps": at["speed_knots"], "course_deg": at["course"]})
    rows["speed_mps"] *= KNOT_MPS
    start, end = fields.span(at["date"])
    code, dated = fields.figures(at["date"], 6)
    rows["day"], dated = _days(code, dated & (end - start == 6), lambda n: day_of(f"{n:06d}"))
    _only_where(fix, rows, "latitude_deg", "longitude_deg", "speed_mps", "course_deg", "day")
    good = position & numeric & (dated | (start == end))
    return np.asarray((fields.count > at["date"]) & single & (good | ~fix) & _time(fields, rows))


def _gga(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["GGA"]
    quality, single = fields.letter(at["quality"])
    fix = (quality != 0) & (quality != ord("0"))
    rows["no_fix"] = ~fix
    return single & _position_and_height(fields, rows, at, fix)


def _gns(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["GNS"]
    start, end = fields.span(at["modes"])
    good = end - start <= _MOST_SYSTEMS
    fix = np.zeros(len(rows), dtype=bool)
    for offset in range(_MOST_SYSTEMS):
        letter = fields.block[np.minimum(start + offset, len(fields.block) - 1)]
        fix |= (start + offset < end) & (letter != ord("N"))
    return good & _position_and_height(fields, rows, at, fix)


def _position_and_height(fields: _Fields, rows: Rows, at: dict[str, int], fix: Flags) -> Flags:
    good = _position(fields, at["position"], rows)
    good &= _numbers(fields, rows, {"elevation_m": at["height"], "hdop": at["hdop"]})
    _only_where(fix, rows, "latitude_deg", "longitude_deg", "elevation_m", "hdop")
    return (fields.count > at["height"]) & (good | ~fix) & _time(fields, rows)


def _vtg(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["VTG"]
    good = _numbers(fields, rows, {"speed_mps": at["speed_knots"], "course_deg": at["course"]})
    kmh, readable = fields.number(at["speed_kmh"])
    knots = rows["speed_mps"] * KNOT_MPS
    rows["speed_mps"] = np.where(np.isnan(knots), kmh * SPEED_MPS["km/h"], knots)
    mode, single = fields.letter(at["mode"])
    _only_where(mode != ord("N"), rows, "speed_mps", "course_deg")
    return (fields.count > at["speed_kmh"]) & good & readable & single


def _zda(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["ZDA"]
    good = fields.count > at["year"]
    code = np.zeros(len(rows), dtype=np.intp)
    for name, count in (("year", 4), ("month", 2), ("day", 2)):
        start, end = fields.span(at[name])
        figures, readable = fields.figures(at[name], count)
        good &= readable & (end - start == count)
        code = code * 100 + figures
    rows["day"], good = _days(code, good, _day_of_calendar)
    return good & _time(fields, rows)


def _day_of_calendar(code: int) -> int:
    return (date(code // 10_000, code // 100 % 100, code % 100) - ORIGIN).days


def _gst(fields: _Fields, rows: Rows) -> Flags:
    at = FIELDS["GST"]
    deviations = [fields.number(at[name]) for name in ("north", "east", "major", "minor")]
    rows["accuracy_m"] = accuracy_m(*(metres for metres, _ in deviations))
    good = np.all([readable for _, readable in deviations], axis=0)
    return np.asarray((fields.count > at["east"]) & good & _time(fields, rows))


_READERS: dict[str, Callable[[_Fields, Rows], Flags]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "GNS": _gns,
    "VTG": _vtg,
    "ZDA": _zda,
    "GST": _gst,
}
