"""Speed, acceleration and elapsed time against chainage, for other analysers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import repeat

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.files import csv_in_columns, csv_text, csv_with
from trackkit.geometry.vectors import distance_along
from trackkit.motion.drive import Drive
from trackkit.motion.projected import projected
from trackkit.timing.channels import channel_at
from trackkit.timing.laps import Lap
from trackkit.timing.sessions import Session
from trackkit.track.credit import credit_of
from trackkit.track.model import Track

STEP_M = 1.0
"""Distance between two rows, along the centreline."""
BAND_STEP_M = 10.0
"""Sigmas of times are worked out every so far and drawn straight between: errors are slow."""
_DECIMALS = {
    "chainage_m": 1,
    "elapsed_s": 6,
    "speed_mps": 5,
    "longitudinal_mps2": 4,
    "lateral_mps2": 4,
}
COLUMNS = ("label", "lap", "kind", *_DECIMALS, "session")
SLOWEST_MPS = 1.0
"""Slower than this a vehicle's direction is not known well enough to split an acceleration."""
_NEAR_M = 20.0
_ROUNDS = 4


@dataclass(frozen=True)
class Span:
    """Fixes of a lap, or of as much of one as was driven.

    Parameters
    ----------
    first, last
        The fixes before its beginning and its end.
    ended
        Whether it is its end that lies at the gate that laps begin and end at, as with an out lap;
        what comes before is then followed back from there.
    """

    first: int
    last: int
    ended: bool = False


@dataclass(frozen=True, eq=False)
class Trace:
    """One lap against chainage; NaN where the recording does not tell.

    Parameters
    ----------
    chainage_m
        Along the centreline from its datum, shape (n,), every `STEP_M`.
    elapsed_s
        Since the lap began, when the vehicle first passed the line square to the track there.
    speed_mps
        Speed over ground.
    longitudinal_mps2, lateral_mps2
        Acceleration along the direction of travel, and square to it, positive to the left.
    """

    chainage_m: Floats
    elapsed_s: Floats
    speed_mps: Floats
    longitudinal_mps2: Floats
    lateral_mps2: Floats


def trace_lap(track: Track, drive: Drive, lap: Lap) -> Trace | None:
    """Lay one lap out by chainage.

    A place along the track is reached when the vehicle passes the line square to the track there,
    for the first time where it does so more than once.  The finish gate need not be square to the
    track or at chainage 0, so that the first and last values may be a little before the lap's
    beginning and after its end.

    Returns
    -------
    Trace or None
        None where the lap's beginning or end is not known.
    """
    return traces_at(track, drive, [lap], lap_chainages(track, STEP_M))[0]


def traces_at(
    track: Track, drive: Drive, laps: Sequence[Lap], chainage_m: Floats
) -> list[Trace | None]:
    """Lay laps out at some places, shape (n,), metres; each is as `trace_lap` has it."""
    passed = [(lap.passed[0], lap.passed[-1]) for lap in laps]
    timed = [(first, last) for first, last in passed if first is not None and last is not None]
    spans = [Span(first.fix, last.fix) for first, last in timed]
    made = iter(
        traces_of_spans(track, drive, spans, [first.time_s for first, _ in timed], chainage_m)
    )
    return [None if first is None or last is None else next(made) for first, last in passed]


def traces_of_spans(
    track: Track,
    drive: Drive,
    spans: Sequence[Span],
    begun_s: Sequence[float],
    chainage_m: Floats,
) -> list[Trace]:
    """Lay some spans of a drive out at some places.

    Parameters
    ----------
    track, drive
        The track, and the drive.
    spans
        Each once round the track at most.
    begun_s
        When each began, which its elapsed time counts from, seconds from the first fix.
    chainage_m
        The places, shape (n,).
    """
    time = reached_each_s(track, drive, spans, chainage_m)
    reached = np.isfinite(time)
    speed, ahead, aside = (np.full(time.shape, np.nan) for _ in range(3))
    _, _, motion = drive.motion_at(time[reached])
    velocity, acceleration = motion[:, 1], motion[:, 2]
    speed[reached] = np.hypot(velocity[:, 0], velocity[:, 1])
    pace = np.where(speed[reached] < SLOWEST_MPS, np.nan, speed[reached])
    ahead[reached] = np.einsum("ij,ij->i", velocity, acceleration) / pace
    turning = velocity[:, 0] * acceleration[:, 1] - velocity[:, 1] * acceleration[:, 0]
    aside[reached] = turning / pace
    return [
        Trace(chainage_m, when - begun, own_speed, along, across)
        for begun, when, own_speed, along, across in zip(
            begun_s, time, speed, ahead, aside, strict=True
        )
    ]


def lap_ends_m(track: Track) -> tuple[float, float]:
    """Chainages that a lap, or a course between its gates, begins and ends at, metres."""
    if track.closed:
        return 0.0, track.curve.length_m
    return track.timed_from.chainage_m, track.finish.chainage_m


def lap_chainages(track: Track, step_m: float) -> Floats:
    """List places along a lap, or along a course between its gates, every so many metres."""
    begin_m, end_m = lap_ends_m(track)
    return np.arange(np.ceil(begin_m / step_m), np.floor(end_m / step_m) + 1) * step_m


def reached_s(track: Track, drive: Drive, first: int, last: int, chainage_m: Floats) -> Floats:
    """Find when a lap reached places, seconds from the first fix; NaN where not known.

    Parameters
    ----------
    track
        The track.
    drive
        The drive the lap is of.
    first, last
        The fixes before its beginning and its end.
    chainage_m
        The places, shape (k,), from 0 to the length of the line.
    """
    (time,) = reached_each_s(track, drive, [Span(first, last)], chainage_m)
    return np.asarray(time)


def reached_each_s(track: Track, drive: Drive, spans: Sequence[Span], chainage_m: Floats) -> Floats:
    """Find when each of some laps reached places, as `reached_s` does.

    Parameters
    ----------
    track, drive
        The track, and the drive that the laps are of.
    spans
        Of each.
    chainage_m
        The places, shape (k,).

    Returns
    -------
    Floats
        Shape (laps, k).
    """
    if not spans:
        return np.zeros((0, len(chainage_m)))
    if 2 * sum(span.last - span.first for span in spans) > len(drive.time_s):
        projected(drive, track.curve)
    about = [_about(drive, *_places(track, drive, span), chainage_m) for span in spans]
    time, low, high = (np.stack(part) for part in zip(*about, strict=True))
    reached = np.isfinite(time)
    place = np.broadcast_to(np.arange(len(chainage_m)), time.shape)[reached]
    middle = track.curve.position(chainage_m)[place]
    ahead = track.curve.direction(chainage_m)[place]
    when, low, high = time[reached], low[reached], high[reached]
    for _ in range(_ROUNDS):
        position, velocity = drive.at(when)
        short = np.einsum("ij,ij->i", middle - position, ahead)
        pace = np.maximum(np.einsum("ij,ij->i", velocity, ahead), SLOWEST_MPS)
        when = np.clip(when + short / pace, low, high)
    time[reached] = when
    return time


def _places(track: Track, drive: Drive, span: Span) -> tuple[Indices, Floats]:
    """Chainage of the fixes of a lap and of some around it, counted on over the datum.

    Only fixes that are farther along than any before them are kept; of a lap that ends at the gate
    only those that are less far along than any after them.
    """
    fix = np.arange(max(span.first - 3, 0), min(span.last + 5, len(drive.time_s)))
    where, _ = projected(drive, track.curve, int(fix[0]), int(fix[-1]) + 1)
    if track.closed:
        length = track.curve.length_m
        where = np.unwrap(where, period=length)
        at_gate = where[np.searchsorted(fix, span.last if span.ended else span.first)]
        where = where - length * (np.round(at_gate / length) - span.ended)
    way = distance_along(drive.position_m[fix])
    step = np.diff(where)
    # Far more than was driven means that it is at another piece of track that is near.
    if np.all((step > 0.0) & (step <= 2.0 * np.diff(way) + _NEAR_M)):
        return fix, where
    if span.ended:
        kept = len(fix) - 1 - _rising(-where[::-1], way[-1] - way[::-1])[::-1]
    else:
        kept = _rising(where, way)
    return fix[kept], where[kept]


def _rising(where_m: Floats, way_m: Floats) -> Indices:
    kept = [0]
    for index, (place, driven) in enumerate(zip(where_m.tolist(), way_m.tolist(), strict=True)):
        if 0 < place - where_m[kept[-1]] <= 2.0 * (driven - way_m[kept[-1]]) + _NEAR_M:
            kept.append(index)
    return np.array(kept)


def _about(
    drive: Drive, fix: Indices, where_m: Floats, chainage_m: Floats
) -> tuple[Floats, Floats, Floats]:
    """Say about when places are reached, and between which fixes' times; NaN where not known."""
    time = np.interp(chainage_m, where_m, drive.time_s[fix], left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(where_m, chainage_m), 1, len(fix) - 1)
    # No place is read out of a gap.
    time[drive.piece[fix[after - 1]] != drive.piece[fix[after]]] = np.nan
    return time, drive.time_s[fix[after - 1]], drive.time_s[fix[after]]


@dataclass(frozen=True)
class TraceLines:
    """The traces of a recording as lines of CSV.

    Parameters
    ----------
    text
        A line a row, in the columns `COLUMNS` and then one for each channel.
    channels
        The channels, by name and unit.
    credit
        What the track's sources ask to be said; empty where nothing.
    """

    text: str
    channels: tuple[str, ...] = ()
    credit: str = ""


def trace_lines(track: Track, session: Session) -> TraceLines:
    """Write the traces of all laps of a session that have a time as lines of CSV.

    Channels are read when a place is reached, straight between their own values.

    Parameters
    ----------
    track
        The track.
    session
        Whose report has its drive.

    Returns
    -------
    TraceLines
        The lines.

    Raises
    ------
    TrackkitError
        When the drive was not kept.
    """
    channels = tuple(channel.title for channel in session.report.recording.channels)
    text = csv_text((*COLUMNS, *channels), _rows(track, session), _DECIMALS)
    return TraceLines(text.partition("\n")[2], channels, credit_of(track))


def traces_csv(parts: Iterable[TraceLines]) -> str:
    """Put `trace_lines` of one or several sessions below the names of their columns.

    Where a track's sources ask for a credit, a last column has it.
    """
    parts = list(parts)
    credited = any(part.credit for part in parts)
    channels = tuple(dict.fromkeys(title for part in parts for title in part.channels))
    header = csv_text((*COLUMNS, *channels, *(["credit"] if credited else [])), ())
    texts = ((_in_columns(part, channels), part.credit) for part in parts)
    return header + "".join(csv_with(text, credit) if credited else text for text, credit in texts)


def _in_columns(part: TraceLines, channels: tuple[str, ...]) -> str:
    """Move the channels of one recording to their columns among those of all."""
    if part.channels == channels:
        return part.text
    own = {title: place for place, title in enumerate(part.channels, start=len(COLUMNS))}
    return csv_in_columns(part.text, [*range(len(COLUMNS)), *map(own.get, channels)])


def _rows(track: Track, session: Session) -> Iterator[tuple[object, ...]]:
    drive = session.report.drive
    for lap in session.report.laps:
        trace = trace_lap(track, drive, lap)
        if trace is None or lap.start_s is None:
            continue
        columns = [getattr(trace, name).tolist() for name in _DECIMALS]
        when = lap.start_s + trace.elapsed_s
        channels = [_figures(channel_at(channel, when)) for channel in drive.recording.channels]
        for values, others in zip(
            zip(*columns, strict=True),
            zip(*channels, strict=True) if channels else repeat((), len(when)),
            strict=True,
        ):
            yield session.label, lap.number, lap.kind, *values, lap.session, *others


def _figures(value: Floats) -> list[float]:
    """Round to six figures, more than sensors have: what lies between two values has more."""
    return [float(f"{number:.6g}") for number in value.tolist()]
