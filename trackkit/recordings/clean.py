"""Unusable fixes are removed and counted, by the rules that docs/methods.md lists, in their order.

What a receiver writes where it does not know a speed, a course, an accuracy or a dilution of
precision is left out, and the fix stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from trackkit.arrays import Flags, Floats, Indices
from trackkit.budgets import require
from trackkit.errors import NoTimesError, RecordingError
from trackkit.geometry.geodesy import extent_m, geodesic_distance, unwrap_longitude
from trackkit.recordings.clean_channels import clean_channels
from trackkit.recordings.order import longest_rising
from trackkit.recordings.positions import is_null_position, is_on_earth
from trackkit.recordings.possible import (
    HIGHEST_M,
    LOWEST_M,
    REACH_M,
    REACH_MPS,
    refuse_impossible,
    refuse_removed,
    within,
)
from trackkit.recordings.raw import Dropped, RawFixes, Reason, counted, some_or_none
from trackkit.recordings.recording import Recording
from trackkit.recordings.repeats import stale_repeats

BACKWARDS_SHARE = 0.10
LONGEST_JUMP = 5
LONGEST_DEGREE_M = 111_700.0
"""No degree on WGS 84 is longer: 111,694 m of the meridian at the poles, 111,320 m of the equator
(from its semi-axes)."""

IMPOSSIBLE: tuple[Reason, ...] = ("time going backwards", "jump")
"""Fixes removed for these reasons contradict the others, and so do those off the earth.

Those that a receiver writes before it has a fix, or more often than it measures, do not.
"""
UNKNOWN_HDOP = 99.0
GAP_S = 10.0
GAP_INTERVALS = 5.0


def clean(raw: RawFixes, name: str) -> Recording:
    """Turn the fixes of a file into a recording, without those that are unusable.

    Parameters
    ----------
    raw
        The fixes as read.
    name
        What to call the recording.

    Raises
    ------
    NoTimesError
        No fix has a time.
    RecordingError
        Several sessions seem to be joined, or fewer than two fixes are usable.
    """
    has_time = ~(np.isnat(raw.time) if raw.time.dtype.kind == "M" else ~np.isfinite(raw.time))
    if len(raw) and not np.any(has_time):
        raise NoTimesError(
            "holds positions but no times",
            file=name,
            remedy="record it again, with times",
        )
    read_count = len(raw) + sum(part.count for part in raw.dropped)
    dropped = list(raw.dropped)

    index = _with_position_and_time(raw, has_time, dropped)
    seconds = _seconds(raw, index)
    counted_from = index[:1]
    index, seconds = _in_order_of_time(raw, index, seconds, name, dropped)
    longitude, latitude = raw.longitude_deg[index], raw.latitude_deg[index]
    file_segment = np.zeros(len(index), np.intp) if raw.segment is None else raw.segment[index]
    speed = None if raw.speed_mps is None else within(raw.speed_mps[index], 0.0, REACH_MPS)
    same_piece = np.diff(file_segment, prepend=-1) == 0
    fresh = ~stale_repeats(seconds, longitude, latitude, speed, same_piece)
    _drop(dropped, "repeated position", ~fresh, "repeated position")
    index, seconds, file_segment = index[fresh], seconds[fresh], file_segment[fresh]
    longitude, latitude = longitude[fresh], latitude[fresh]
    kept, breaks = _without_jumps(seconds, longitude, latitude, dropped)
    index, seconds = index[kept], seconds[kept]
    if len(index) < 2:
        raise RecordingError(_too_few(len(index), read_count, dropped), file=name)

    require("fixes", len(index), RecordingError, "holds", file=name, remedy="split it")
    across_m = extent_m(unwrap_longitude(raw.longitude_deg[index]), raw.latitude_deg[index])
    require(
        "extent_m",
        across_m,
        RecordingError,
        "its fixes lie across",
        file=name,
        remedy="split it where it goes from one place to the other",
    )
    wrong = sum(part.count for part in dropped if part.reason in IMPOSSIBLE) + _off_earth(raw)
    refuse_removed(wrong, len(kept) + wrong, _removed_sentence(read_count, dropped), name)
    step = (np.diff(file_segment[kept]) != 0) | breaks
    segment = np.concatenate([[0], np.cumsum(step)]).astype(np.intp)
    unwrapped = unwrap_longitude(raw.longitude_deg[index])
    refuse_impossible(seconds, unwrapped, raw.latitude_deg[index], segment, name)
    (speed, course, height), odd = _plausible(raw, index)
    remarks = [*raw.remarks, *odd]
    removed: dict[str, int] = {part.reason: part.count for part in dropped if part.count}
    if removed:
        remarks.append(_removed_sentence(read_count, dropped))
    remarks.extend(_gap_remarks(seconds, step))
    return Recording(
        name=name,
        time_s=seconds - seconds[0],
        longitude_deg=unwrapped,
        latitude_deg=raw.latitude_deg[index],
        start=_start(raw, index[0]),
        speed_mps=speed,
        course_deg=course,
        elevation_m=height,
        accuracy_m=_where_given(raw.accuracy_m, index, np.inf),
        speed_accuracy_mps=_where_given(raw.speed_accuracy_mps, index, np.inf),
        hdop=_where_given(raw.hdop, index, UNKNOWN_HDOP),
        segment=segment,
        read_count=read_count,
        removed=removed,
        remarks=tuple(remarks),
        accuracy_of=raw.accuracy_of,
        channels=clean_channels(raw.channels, raw.time[counted_from], index, seconds),
    )


def _with_position_and_time(raw: RawFixes, has_time: Flags, dropped: list[Dropped]) -> Indices:
    with np.errstate(invalid="ignore"):
        on_earth = is_on_earth(raw.longitude_deg, raw.latitude_deg)
        null = is_null_position(raw.longitude_deg, raw.latitude_deg)
    timed = on_earth & ~null & has_time
    _drop(dropped, "bad position", ~on_earth, "bad position")
    _drop(dropped, "position at 0, 0", null, "position at 0°, 0°", "positions at 0°, 0°")
    untimed = on_earth & ~null & ~has_time
    _drop(dropped, "no time", untimed, "fix without a time", "fixes without a time")
    return np.flatnonzero(timed)


def _off_earth(raw: RawFixes) -> int:
    """Count the positions that are numbers, and nowhere."""
    given = np.isfinite(raw.longitude_deg) & np.isfinite(raw.latitude_deg)
    with np.errstate(invalid="ignore"):
        return int(np.count_nonzero(given & ~is_on_earth(raw.longitude_deg, raw.latitude_deg)))


def _drop(
    dropped: list[Dropped], reason: Reason, gone: Flags, singular: str, plural: str | None = None
) -> None:
    count = int(np.count_nonzero(gone))
    if count:
        dropped.append(Dropped(reason, count, counted(count, singular, plural)))


def _seconds(raw: RawFixes, index: Indices) -> Floats:
    time = raw.time[index]
    if len(time) == 0:
        return np.empty(0)
    if time.dtype.kind == "M":
        return np.asarray((time - time[0]).astype("timedelta64[ns]").astype(np.int64) / 1e9)
    return np.asarray(time - time[0], dtype=float)


def _start(raw: RawFixes, first: np.intp) -> datetime | None:
    if raw.time.dtype.kind != "M":
        return None
    moment: datetime = raw.time[first].astype("datetime64[us]").item()
    return moment.replace(tzinfo=UTC)


def _in_order_of_time(
    raw: RawFixes, index: Indices, seconds: Floats, name: str, dropped: list[Dropped]
) -> tuple[Indices, Floats]:
    if np.all(np.diff(seconds) > 0):
        return index, seconds
    first = np.zeros(len(seconds), dtype=bool)
    first[np.unique(seconds, return_index=True)[1]] = True
    _drop(dropped, "duplicate time", ~first, "duplicate time")
    index, seconds = index[first], seconds[first]
    step = np.diff(seconds)
    if np.all(step > 0):
        return index, seconds
    rising = np.zeros(len(seconds), dtype=bool)
    rising[longest_rising(seconds)] = True
    if np.count_nonzero(~rising) > BACKWARDS_SHARE * len(seconds):
        worst = int(np.argmin(step)) + 1
        number = int(index[worst]) + 1 if raw.place is None else int(raw.place[index[worst]])
        kind = "fix" if raw.place is None else raw.place_kind
        raise RecordingError(
            f"time goes back by {-step[worst - 1]:,.0f} s, as if several sessions were joined here",
            file=name,
            place=f"{kind} {number}",
            remedy="split the file there and give the sessions as separate recordings",
        )
    _drop(dropped, "time going backwards", ~rising, "time going backwards", "times going backwards")
    return index[rising], seconds[rising]


@dataclass(frozen=True, eq=False)
class _Drive:
    time_s: Floats
    longitude_deg: Floats
    latitude_deg: Floats

    def distance(self, a: int, b: int) -> float:
        longitude, latitude = self.longitude_deg, self.latitude_deg
        return float(geodesic_distance(longitude[a], latitude[a], longitude[b], latitude[b]))

    def within_reach(self, a: int, b: int) -> bool:
        reach = REACH_M + REACH_MPS * abs(self.time_s[b] - self.time_s[a])
        return bool(self.distance(a, b) <= reach)


def _without_jumps(
    seconds: Floats, longitude: Floats, latitude: Floats, dropped: list[Dropped]
) -> tuple[Indices, Flags]:
    """Remove runs of fixes out of reach of those around them.

    Where the drive goes on from the new place instead, it is broken there.

    Returns
    -------
    The indices that stay, and for each step between them whether it is a break.
    """
    count = len(seconds)
    everything = np.arange(count, dtype=np.intp)
    if count < 2:
        return everything, np.zeros(max(count - 1, 0), dtype=bool)
    cut = _out_of_reach(seconds, longitude, latitude)
    if not np.any(cut):
        return everything, cut

    drive = _Drive(seconds, longitude, latitude)
    edges = [0, *(np.flatnonzero(cut) + 1).tolist(), count]
    pieces = list(pairwise(edges))
    # The walk begins at a stretch that can be trusted: the first one too long to be a jump.
    long_ones = [n for n, (a, b) in enumerate(pieces) if b - a > LONGEST_JUMP]
    trusted = (
        long_ones[0]
        if long_ones
        else max(range(len(pieces)), key=lambda n: pieces[n][1] - pieces[n][0])
    )
    sizes: list[float] = []
    kept = [pieces[trusted]]
    kept += _follow(drive, pieces[trusted], pieces[trusted + 1 :], 1, sizes)
    kept += _follow(drive, pieces[trusted], pieces[:trusted][::-1], -1, sizes)
    kept.sort()
    index = np.concatenate([everything[a:b] for a, b in kept])
    gone = count - len(index)
    if gone:
        size = _metres(max(sizes))
        words = f"1 jump of {size}" if len(sizes) == 1 else f"{len(sizes):,} jumps of up to {size}"
        if gone != len(sizes):
            words += f" ({gone:,} fixes)"
        dropped.append(Dropped("jump", gone, words))
    return index, _out_of_reach(seconds[index], longitude[index], latitude[index])


def _out_of_reach(seconds: Floats, longitude: Floats, latitude: Floats) -> Flags:
    """Say for each step whether it is longer than a car can cover."""
    reach = REACH_M + REACH_MPS * np.diff(seconds)
    east = np.abs(np.diff(longitude))
    # Along the parallel and then along the meridian is a way round, never shorter than the true
    # distance: where that is within reach, which is nearly everywhere, it need not be computed.
    way_round = (np.minimum(east, 360.0 - east) + np.abs(np.diff(latitude))) * LONGEST_DEGREE_M
    out = way_round > reach
    far = np.flatnonzero(out)
    distance = geodesic_distance(
        longitude[far], latitude[far], longitude[far + 1], latitude[far + 1]
    )
    out[far] = distance > reach[far]
    return out


def _follow(
    drive: _Drive,
    trusted: tuple[int, int],
    pieces: list[tuple[int, int]],
    direction: int,
    sizes: list[float],
) -> list[tuple[int, int]]:
    """Walk away from a trusted stretch, piece by piece, and say which pieces stay."""
    kept: list[tuple[int, int]] = []
    here = trusted[1] - 1 if direction > 0 else trusted[0]
    at = 0
    while at < len(pieces):
        # How many pieces, together no longer than a jump may be, to skip until back in reach.
        skip, fixes = 0, 0
        while at + skip < len(pieces):
            a, b = pieces[at + skip]
            if drive.within_reach(here, a if direction > 0 else b - 1):
                break
            fixes += b - a
            skip += 1
            if fixes > LONGEST_JUMP:
                skip = 0
                break
        first, last = pieces[at]
        if skip == 0 and (
            last - first > LONGEST_JUMP
            or drive.within_reach(here, first if direction > 0 else last - 1)
        ):
            kept.append((first, last))
            here = last - 1 if direction > 0 else first
            at += 1
            continue
        for a, b in pieces[at : at + max(skip, 1)]:
            sizes.append(max(drive.distance(here, i) for i in range(a, b)))
        at += max(skip, 1)
    return kept


def _metres(distance_m: float) -> str:
    return f"{distance_m / 1000:,.0f} km" if distance_m >= 10_000 else f"{distance_m:,.0f} m"


def _plausible(raw: RawFixes, index: Indices) -> tuple[list[Floats | None], list[str]]:
    """Leave out speeds, courses and heights that cannot be, and say how many."""
    remarks: list[str] = []
    columns: list[Floats | None] = []
    for column, least, most, noun, unit in (
        (raw.speed_mps, 0.0, REACH_MPS, "speed", " m/s"),
        (raw.course_deg, 0.0, 360.0, "course", "°"),
        (raw.elevation_m, LOWEST_M, HIGHEST_M, "height", " m"),
    ):
        if column is None:
            columns.append(None)
            continue
        value = within(column[index], least, most)
        odd = int(np.count_nonzero(np.isnan(value) & ~np.isnan(column[index])))
        if odd:
            beyond = f"outside {least:,.0f} to {most:,.0f}{unit}"
            remarks.append(f"left out {counted(odd, noun)} {beyond}")
        columns.append(some_or_none(value))
    return columns, remarks


def _where_given(column: Floats | None, index: Indices, most: float) -> Floats | None:
    """Take a column that is above 0 and below a limit wherever it is known."""
    if column is None:
        return None
    with np.errstate(invalid="ignore"):
        given = (column[index] > 0.0) & (column[index] < most)
    return some_or_none(np.where(given, column[index], np.nan))


def _removed_sentence(read_count: int, dropped: list[Dropped]) -> str:
    total = sum(part.count for part in dropped)
    words = ", ".join(part.words for part in dropped if part.count)
    return f"removed {total:,} of {counted(read_count, 'fix', 'fixes')}: {words}"


def _too_few(kept: int, read_count: int, dropped: list[Dropped]) -> str:
    if read_count == 0:
        return "holds no fix"
    what = "holds only 1 usable fix" if kept == 1 else "holds no usable fix"
    if any(part.count for part in dropped):
        what += f" ({_removed_sentence(read_count, dropped)})"
    return f"{what}, where at least 2 are needed"


def _gap_remarks(seconds: Floats, broken: Flags) -> list[str]:
    interval = np.diff(seconds)
    gap = interval[(interval > max(GAP_S, GAP_INTERVALS * float(np.median(interval)))) & ~broken]
    if len(gap) == 0:
        return []
    if len(gap) == 1:
        return [f"1 gap of {gap[0]:,.0f} s between fixes was kept"]
    return [f"{len(gap):,} gaps between fixes were kept, the longest of {gap.max():,.0f} s"]
