"""What is wrong with a lap: stood, fixes missing, left the line, turned round, cut short, slow."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.runs import runs_of
from trackkit.motion.drive import Drive
from trackkit.timing.lane_visits import with_lane_visits
from trackkit.timing.laps import Lap, SectorTime
from trackkit.timing.remarks import LapRemark, RemarkKind
from trackkit.timing.rules import LapRules
from trackkit.track.model import Track

LEAST_STOOD_S = 2.0
GAP_S = 5.0
"""Fixes missing for longer are told (and for longer than five usual intervals)."""
_GAP_INTERVALS = 5.0
ASIDE_M = 10.0
"""So far beyond the band a vehicle has left the line; more where the receiver wanders more."""
_WANDER_SIGMAS = 4.0
BACK_M = 5.0
"""So far against the racing direction a vehicle has turned round."""
_BACK_MPS = 1.0
_BACK_COSINE = -0.5
SHORT_SHARE = 0.85
"""A lap with less than this share of the circuit's length has cut some of it."""
LONG_SHARE = 1.6
"""A lap with more is two, the finish between them missed."""
_SAMPLE_S = 1.0
"""Enough to see whether a vehicle is where it should be: nobody is away for less."""
_LEAP_M = 30.0
_POINT_M = 5.0
_NEAREST_AT_ONCE = 64


def with_remarks(
    track: Track, drive: Drive, laps: Sequence[Lap], spells_s: Floats, rules: LapRules
) -> list[Lap]:
    """Say what is wrong with each lap that has a time, and set such laps aside.

    Parameters
    ----------
    track, drive
        What was timed.
    laps
        Of all sessions, in order of time.
    spells_s
        When the vehicle stood, from `trackkit.timing.driving_sessions.standing_spells`.
    rules
        Which laps count.
    """
    if not any(lap.time_s is not None for lap in laps):
        return list(laps)
    way = _Way.of(track, drive)
    laps = [_finish_missed(way, lap) for lap in laps]
    if track.pit_lanes:
        place_m, _ = drive.at(way.time_s)
        laps = with_lane_visits(track, drive, laps, way.time_s, place_m, way.aside_m)
    every_remark = [tuple(_remarks(way, lap, spells_s)) for lap in laps]
    # Most laps have none, and replacing something in a lap takes longer than looking.
    remarked = [
        replace(lap, remarks=remarks) if remarks or lap.remarks else lap
        for lap, remarks in zip(laps, every_remark, strict=True)
    ]
    best: dict[int, float] = {}
    for lap in remarked:
        if lap.is_whole and not lap.remarks and lap.time_s is not None:
            best[lap.session] = min(lap.time_s, best.get(lap.session, np.inf))
    remarked = [_slow(lap, best.get(lap.session), rules.within) for lap in remarked]
    aside = [bool(lap.remarks) and not rules.all_laps for lap in remarked]
    return [
        lap if lap.set_aside == wanted else replace(lap, set_aside=wanted)
        for lap, wanted in zip(remarked, aside, strict=True)
    ]


def _finish_missed(way: _Way, lap: Lap) -> Lap:
    """Take the time from a lap that goes round more than once, where no other gate tells that."""
    if not (way.track.closed and lap.complete) or lap.time_s is None or lap.start_s is None:
        return lap
    end_s = lap.start_s + lap.time_s
    driven = way.driven_in(lap.start_s, end_s)
    # What was driven back had to be driven again.
    driven -= 2.0 * sum(back_m for *_, back_m in _turns(way, lap.start_s, end_s))
    if driven < LONG_SHARE * way.track.length_m:
        return lap
    return replace(
        lap,
        complete=False,
        time_s=None,
        sigma_s=None,
        missed=(way.track.finish.id,),
        sectors=tuple(SectorTime(None, None) for _ in lap.sectors),
        top_mps=None,
        lowest_mps=None,
        passed=(*lap.passed[:-1], None),
    )


def _slow(lap: Lap, best_s: float | None, within: float) -> Lap:
    if best_s is None or lap.time_s is None or not lap.is_whole:
        return lap
    share = lap.time_s / best_s
    if share <= within:
        return lap
    # Rounded to the limit it would seem to be within it.
    places = 0 if round(100.0 * share) > 100.0 * within else 1
    remark = LapRemark("slow", f"slow, {100.0 * share:.{places}f} % of the session's best")
    return replace(lap, remarks=(*lap.remarks, remark))


Runs = list[tuple[int, int]]


@dataclass(frozen=True, eq=False)
class _Way:
    """A drive seen along the centreline, every second or so.

    Parameters
    ----------
    time_s, where_m, aside_m
        Time, chainage of the nearest point of the centreline and distance from it, shape (n,).
    left, against
        First and one-past-last samples of where it was off the line, and of where it drove against
        the racing direction.
    gaps_s
        Begin and end of missing fixes, shape (k, 2).
    driven_m
        Distance driven since the first fix, at each fix of the drive.
    """

    track: Track
    drive: Drive
    time_s: Floats
    where_m: Floats
    aside_m: Floats
    left: Runs
    against: Runs
    gaps_s: Floats
    driven_m: Floats

    @classmethod
    def of(cls, track: Track, drive: Drive) -> _Way:
        """Look at a drive along a track."""
        time, speed = drive.time_s, drive.speed_mps
        step = np.diff(time)
        usual = float(np.median(step))
        every = max(1, round(_SAMPLE_S / usual)) if usual > 0 else 1
        sample = np.arange(0, len(time), every)
        where, aside, ahead = _beside(track, drive, sample)
        along = np.einsum("ij,ij->i", drive.velocity_mps[sample], ahead)
        before = np.flatnonzero(step > max(GAP_S, _GAP_INTERVALS * usual))
        driven = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * step)])
        # Off the line nobody can say which piece of track the vehicle is at.
        off = aside > 0.5 * track.band_m + max(ASIDE_M, _WANDER_SIGMAS * drive.levels.wander_m)
        back = (along < -_BACK_MPS) & (along < _BACK_COSINE * speed[sample])
        return cls(
            track=track,
            drive=drive,
            time_s=time[sample],
            where_m=where,
            aside_m=aside,
            left=runs_of(off),
            against=runs_of(~off & back),
            gaps_s=np.column_stack([time[before], time[before + 1]]),
            driven_m=driven,
        )

    def driven_in(self, begin_s: float, end_s: float) -> float:
        """Distance driven between two times, metres."""
        return float(np.diff(np.interp([begin_s, end_s], self.drive.time_s, self.driven_m))[0])

    def chainage_at(self, time_s: float) -> float:
        """Chainage of the sample nearest in time, metres."""
        after = int(np.clip(np.searchsorted(self.time_s, time_s), 1, len(self.time_s) - 1))
        nearer = after - (time_s - self.time_s[after - 1] < self.time_s[after] - time_s)
        return float(self.where_m[nearer])

    def farthest_aside(self, low: int, high: int) -> float:
        """Largest distance from the line in some samples, looked at again at each fix there."""
        farthest = low + int(np.argmax(self.aside_m[low:high]))
        around = self.time_s[[max(farthest - 1, 0), min(farthest + 1, len(self.time_s) - 1)]]
        first, last = np.searchsorted(self.drive.time_s, around)
        return float(_beside(self.track, self.drive, np.arange(first, last + 1))[1].max())

    def within(self, runs: Runs, begin_s: float, end_s: float) -> list[tuple[int, int]]:
        """List what is of some runs within some time, and at least two samples long."""
        if not runs:
            return []
        low, high = np.searchsorted(self.time_s, [begin_s, np.nextafter(end_s, np.inf)])
        parts = [(max(first, int(low)), min(last, int(high))) for first, last in runs]
        return [part for part in parts if part[1] - part[0] > 1]


def _beside(track: Track, drive: Drive, sample: Indices) -> tuple[Floats, Floats, Floats]:
    """Chainage of the nearest place on the line, distance from it, and the line's direction.

    Places along the line's chords, a few metres apart, are near enough to its curve, which need not
    be laid out for this: that would take as long as timing the laps.
    """
    line = track.centreline
    vertex = drive.plane.to_plane(line.longitude_deg, line.latitude_deg)
    chord = np.linalg.norm(np.diff(vertex, axis=0), axis=1)
    chainage = np.concatenate([[0.0], np.cumsum(chord)])
    count = max(2, int(np.ceil(chainage[-1] / _POINT_M)) + 1)
    place = np.linspace(0.0, chainage[-1], count)
    point = np.column_stack([np.interp(place, chainage, vertex[:, axis]) for axis in (0, 1)])
    position = drive.position_m[sample]
    nearest = _nearest(position, point)
    least_m = np.full(len(sample), np.inf)
    where, ahead = np.zeros(len(sample)), np.zeros((len(sample), 2))
    segment = np.diff(point, axis=0)
    length = np.maximum(np.linalg.norm(segment, axis=1), 1e-9)
    for neighbour in (nearest - 1, nearest):
        index = neighbour % len(segment) if line.closed else np.clip(neighbour, 0, len(segment) - 1)
        since = position - point[index]
        unit = segment[index] / length[index, None]
        along = np.clip(np.einsum("ij,ij->i", since, unit), 0.0, length[index])
        away = np.linalg.norm(since - along[:, None] * unit, axis=1)
        better = away < least_m
        least_m[better] = away[better]
        where[better] = (place[index] + along)[better]
        ahead[better] = unit[better]
    return where * (track.length_m / chainage[-1]), least_m, ahead


def _nearest(position_m: Floats, point_m: Floats) -> Indices:
    """Find the nearest of some points to each position, shape (n,)."""
    shifted = np.column_stack([-2.0 * point_m, (point_m**2).sum(axis=1)]).T
    whole = np.column_stack([position_m, np.ones(len(position_m))])
    nearest = np.empty(len(whole), dtype=np.intp)
    # So few at once stay in a processor's cache.
    for begin in range(0, len(whole), _NEAREST_AT_ONCE):
        some = slice(begin, begin + _NEAREST_AT_ONCE)
        nearest[some] = np.argmin(whole[some] @ shifted, axis=1)
    return nearest


def _remarks(way: _Way, lap: Lap, spells_s: Floats) -> Iterable[LapRemark]:
    first, last = lap.passed[0], lap.passed[-1]
    if first is None or last is None:
        return
    begin_s, end_s = first.time_s, last.time_s
    for stood_s, gone_s in _within(spells_s, begin_s, end_s):
        if gone_s - stood_s >= LEAST_STOOD_S:
            place = way.chainage_at(stood_s)
            text = f"stood {gone_s - stood_s:.0f} s at {place:.0f} m"
            yield _remark(lap, "stood", text, stood_s, gone_s, place)
    for lost_s, seen_s in _within(way.gaps_s, begin_s, end_s):
        place = way.chainage_at(lost_s)
        text = f"{seen_s - lost_s:.0f} s without fixes from {place:.0f} m on"
        yield _remark(lap, "gap", text, lost_s, seen_s, place)
    for low, high in way.within(way.left, begin_s, end_s):
        if lap.kind == "pit":
            continue
        aside, place = way.farthest_aside(low, high), float(way.where_m[low])
        text = f"left the line by {aside:.0f} m at {place:.0f} m"
        # It left the line, and came back to it, between the samples around these.
        from_s = float(way.time_s[max(low - 1, 0)])
        until_s = float(way.time_s[min(high, len(way.time_s) - 1)])
        yield replace(_remark(lap, "left", text, from_s, until_s, place), aside_m=aside)
    for start, low, high, _ in _turns(way, begin_s, end_s):
        place = float(way.where_m[low])
        from_s, until_s = float(way.time_s[start]), float(way.time_s[high - 1])
        yield _remark(lap, "turned", f"turned round at {place:.0f} m", from_s, until_s, place)
    if way.track.closed and lap.complete:
        driven = way.driven_in(begin_s, end_s)
        if driven < SHORT_SHARE * way.track.length_m:
            text = f"drove {driven:.0f} m of {way.track.length_m:.0f} m"
            every = tuple(range(len(lap.sectors)))
            yield replace(_remark(lap, "short", text, begin_s, end_s, None), sectors=every)


def _turns(way: _Way, begin_s: float, end_s: float) -> Iterable[tuple[int, int, int, float]]:
    """Find where it drove against the racing direction, followed from before that.

    Returns
    -------
    iterable
        The sample before each, its first and one-past-last, and how far it drove back, metres.
    """
    period = way.track.length_m if way.track.closed else 0.0
    for low, high in way.within(way.against, begin_s, end_s):
        start = max(low - 1, 0)
        step = np.diff(way.where_m[start:high])
        if period:
            step -= period * np.round(step / period)
        back_m = -float(step.sum())
        # Beside a piece of track that leads back, a place may leap to that one.
        if np.abs(step).max() <= _LEAP_M and back_m >= BACK_M:
            yield start, low, high, back_m


def _within(spans_s: Floats, begin_s: float, end_s: float) -> list[tuple[float, float]]:
    """List the spans that overlap a lap, whole: a stop across the line is one of both laps."""
    overlap = (spans_s[:, 0] < end_s) & (spans_s[:, 1] > begin_s)
    return [(float(low), float(high)) for low, high in spans_s[overlap]]


def _remark(
    lap: Lap, kind: RemarkKind, text: str, begin_s: float, end_s: float, place_m: float | None
) -> LapRemark:
    return LapRemark(kind, text, begin_s, end_s, place_m, None, _spoilt(lap, begin_s, end_s))


def _spoilt(lap: Lap, begin_s: float, end_s: float) -> tuple[int, ...]:
    """Sectors that a span of time touches; a missed gate joins the two beside it."""
    times = [None if crossing is None else crossing.time_s for crossing in lap.passed]
    spoilt = []
    for index in range(len(lap.sectors)):
        begun = max((t for t in times[: index + 1] if t is not None), default=-np.inf)
        ended = min((t for t in times[index + 1 :] if t is not None), default=np.inf)
        if begin_s <= ended and end_s >= begun:
            spoilt.append(index)
    return tuple(spoilt)
