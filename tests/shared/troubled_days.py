"""Days of driving with troubles whose truth is known: stops, spins, roll-backs, lost fixes.

A day is made of practice drives that are slowed, stopped, turned back and pushed aside by changing
how time runs along them.  What is so made is a spline of positions against time, and the crossings
of the gates are those of the spline, to a nanosecond.  Nothing here knows how laps are judged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

from trackkit.geometry.vectors import left_of
from trackkit.recordings.recording import Recording
from trackkit.simulation.simulate import crossing_times, simulate_drive
from trackkit.track.file import read_track

TRACKS = ("pipwick-kart-circuit", "ruddlebeck-short", "saltpenny-atoll-clockwise")
RATES = (1.0, 5.0, 10.0, 25.0)
FOLDER = Path(__file__).parents[2] / "tracks"
FINE_S = 0.02
KNOT_S = 0.1
WANDER_S = 120.0
ON_THE_LINE = ("stop on the line", "roll-back on the line")
KINDS = ("stop", "roll-back", "spin", "aside", "slow", *ON_THE_LINE)


@cache
def circuit(name, finish_only=False):
    """A sample circuit, or the same with its finish gate alone."""
    track = read_track(FOLDER / f"{name}.geojson")
    if not finish_only:
        return track
    return replace(track, gates=tuple(gate for gate in track.gates if gate.kind == "finish"))


@cache
def base_run(name, seed, laps):
    """A practice drive with nothing wrong, and when it crosses the finish."""
    track = circuit(name)
    (run,) = simulate_drive(track, laps=laps, rate_hz=1.0, noise=0.0, seed=seed).runs
    return run, crossing_times(run, track.gate_ends(track.finish))


@dataclass(frozen=True)
class TrueLap:
    """What truly happened between two crossings of the finish."""

    begin_s: float
    end_s: float
    sectors_s: tuple
    troubles: tuple

    @property
    def time_s(self):
        return self.end_s - self.begin_s


@dataclass(frozen=True, eq=False)
class Day:
    """A recording of a day and its true laps and sessions, seconds from the first fix."""

    track: object
    recording: Recording
    laps: tuple
    sessions: tuple  # begin and end of driving, seconds
    rate_hz: float
    doppler: bool
    lost: tuple  # begin and end of missing fixes
    troubles: tuple


def day(seed, *, rate_hz=None, doppler=None, finish_only=None, kinds=KINDS, noise=1.0):
    """Invent a day; what is not given is drawn."""
    random = np.random.default_rng(seed)
    name = str(random.choice(TRACKS))
    drawn_only = bool(random.random() < 0.3)
    track = circuit(name, drawn_only if finish_only is None else finish_only)
    drawn_rate, drawn_doppler = float(random.choice(RATES)), bool(random.random() < 0.5)
    rate_hz = drawn_rate if rate_hz is None else rate_hz
    doppler = drawn_doppler if doppler is None else doppler
    parts, laps, sessions, lost, troubles = [], [], [], [], []
    begin = 0.0
    for number in range(int(random.integers(1, 4))):
        if number:
            pause = float(random.uniform(200.0, 500.0))
            if random.random() < 0.5:
                lost.append((begin, begin + pause))
            begin += pause
        base = base_run(name, int(random.integers(1, 4)), 6)
        path, own_laps, own_troubles = outing(track, *base, random, kinds)
        end = begin + path.x[-1]
        parts.append((begin, path))
        laps += [moved(lap, begin) for lap in own_laps]
        troubles += [(low + begin, high + begin, kind) for low, high, kind in own_troubles]
        sessions.append((begin, end))
        if random.random() < 0.6 and kinds:
            at = begin + random.uniform(0.15, 0.85) * path.x[-1]
            lost.append((at, at + float(random.choice([3.0, 8.0, 20.0, 45.0]))))
        begin = end
    first = float(random.uniform(20.0, 150.0)) if random.random() < 0.3 and kinds else 0.0
    start = datetime(2024, 5, 4, 23, 50, tzinfo=UTC) - timedelta(
        seconds=float(random.choice([0.0, 300.0, 4 * 3600.0]))
    )
    recording, begun = recorded(track, parts, random, rate_hz, doppler, first, lost, start, noise)
    return Day(
        track,
        recording,
        tuple(moved(lap, -begun) for lap in laps if lap.begin_s > begun),
        tuple((max(low, begun) - begun, high - begun) for low, high in sessions),
        rate_hz,
        doppler,
        tuple((low - begun, high - begun) for low, high in lost),
        tuple((low - begun, high - begun, kind) for low, high, kind in troubles),
    )


def moved(lap, by_s):
    troubles = tuple((low + by_s, high + by_s, kind) for low, high, kind in lap.troubles)
    return TrueLap(lap.begin_s + by_s, lap.end_s + by_s, lap.sectors_s, troubles)


def outing(track, run, finish_s, random, kinds):
    """One session: the path against time, its laps and its troubles."""
    laps = len(finish_s) - 1
    count = int(random.integers(0, min(4, laps))) if kinds else 0
    events = []
    # Whole laps from the first crossing on; not two troubles in one lap.
    for lap in sorted(random.choice(laps, count, replace=False).tolist()):
        kind = str(random.choice(kinds))
        share = float(random.uniform(0.2, 0.8))
        at = finish_s[lap] + share * (finish_s[lap + 1] - finish_s[lap])
        if kind in ON_THE_LINE:
            at = finish_s[lap + 1] + float(random.uniform(-0.15, 0.25))
        events.append((at, kind))
    return bent(track, run, finish_s, events, random)


def bent(track, run, finish_s, events, random):
    """Let troubles happen along a run, at times of the run."""
    rate = [np.ones(0)]
    aside = [np.zeros(0)]
    at_base = run.start_s
    spans = []
    now = 0.0

    def lay(values, offset=None):
        nonlocal now, at_base
        values = np.asarray(values, dtype=float)
        rate.append(values)
        aside.append(np.zeros(len(values)) if offset is None else offset)
        now += FINE_S * len(values)
        at_base += FINE_S * float(values.sum())

    for at, kind in events:
        speed = float(np.linalg.norm(run.path(at, 1)))
        ramp = eased(1.5 * speed / 7.0)
        reach = 0.5 * FINE_S * len(ramp)  # how far along the run braking takes
        lay(np.ones(max(0, round((at - reach - at_base) / FINE_S))))
        lay(1.0 - ramp if kind not in ("spin", "aside", "slow") else np.zeros(0))
        began = now
        if kind.startswith("stop"):
            lay(np.zeros(round(random.uniform(4.0, 150.0) / FINE_S)))
        elif kind.startswith("roll-back"):
            lay(np.zeros(round(random.uniform(1.0, 6.0) / FINE_S)))
            back = -swell(6.0) * min(2.0 / speed, 0.5) * random.uniform(0.8, 2.0)
            lay(back)
            lay(np.zeros(round(2.0 / FINE_S)))
        elif kind == "spin":
            lay(1.0 - ramp, 15.0 * eased_to(len(ramp)))
            out = np.full(round(2.0 / FINE_S), 15.0)
            lay(np.zeros(len(out)), out)
            back = -swell(8.0) * min(4.0 / speed, 0.7)
            lay(back, np.full(len(back), 15.0))
            out = np.full(round(random.uniform(2.5, 9.0) / FINE_S), 15.0)
            lay(np.zeros(len(out)), out)
            slow = np.concatenate([0.3 * eased(2.0), np.full(round(6.0 / FINE_S), 0.3)])
            lay(slow, 15.0 * (1.0 - eased_to(len(slow))))
            lay(0.3 + 0.7 * eased(3.0))
        elif kind == "aside":
            slow = np.concatenate(
                [1 - 0.5 * eased(2.0), np.full(round(7.0 / FINE_S), 0.5), 0.5 + 0.5 * eased(2.0)]
            )
            lay(slow, random.choice([-1.0, 1.0]) * random.uniform(30.0, 50.0) * swell_to(len(slow)))
        elif kind == "slow":
            lay(1 - 0.5 * eased(3.0))
            lay(np.full(round(24.0 / FINE_S), 0.5))
            lay(0.5 + 0.5 * eased(3.0))
        spans.append((began, now, kind))
        lay(ramp if kind not in ("spin", "aside", "slow") else np.zeros(0))
    lay(np.ones(max(0, round((run.end_s - at_base) / FINE_S))))

    pace, offset = np.concatenate(rate), np.concatenate(aside)
    base = run.start_s + FINE_S * np.concatenate([[0.0], np.cumsum(pace)])
    offset = np.concatenate([[0.0], offset])
    every = round(KNOT_S / FINE_S)
    base, offset = np.minimum(base[::every], run.end_s), offset[::every]
    ahead = track.curve.direction(run.chainage(base) % track.curve.length_m)
    place = run.path(base) + offset[:, None] * np.apply_along_axis(left_of, 1, ahead)
    path = CubicSpline(KNOT_S * np.arange(len(base)), place, bc_type="clamped")
    return path, true_laps(track, path, base, finish_s, spans), spans


def true_laps(track, path, base, finish_s, spans):
    """The laps of a bent run: each finish crossing of the run as it was met first."""

    class Bent:
        pass

    bent_run = Bent()
    bent_run.path = path
    crossed = {
        gate.id: np.array(crossing_times(bent_run, track.gate_ends(gate))) for gate in track.gates
    }
    time = KNOT_S * np.arange(len(base))
    first_met = [float(time[np.argmax(base >= at)]) for at in finish_s]
    finish = crossed[track.finish.id]
    marks = [float(finish[np.argmin(np.abs(finish - at))]) for at in first_met]
    sectors = [gate.id for gate in track.gates_of_kind("sector")]
    laps = []
    for begin, end in pairwise(marks):
        passed = [begin]
        for gate in sectors:
            inside = crossed[gate][(crossed[gate] > begin) & (crossed[gate] < end)]
            passed.append(float(inside[0]) if len(inside) else np.nan)
        passed.append(end)
        troubles = tuple(span for span in spans if span[0] < end and span[1] > begin)
        laps.append(TrueLap(begin, end, tuple(np.diff(passed).tolist()), troubles))
    return laps


def recorded(track, parts, random, rate_hz, doppler, first_s, lost, start, noise):
    """What a receiver records of it: the recording, and the true time of its first fix."""
    end = parts[-1][0] + parts[-1][1].x[-1]
    time = np.round(np.arange(0.0, end, 1.0 / rate_hz), 3)
    time = time[time >= first_s]
    for low, high in lost:
        time = time[(time <= low) | (time >= high)]
    position, velocity = np.empty((len(time), 2)), np.zeros((len(time), 2))
    for number, (begin, path) in enumerate(parts):
        until = parts[number + 1][0] if number + 1 < len(parts) else np.inf
        mine = (time >= begin) & (time < until)
        since = time[mine] - begin
        held = np.minimum(since, path.x[-1])
        position[mine] = path(held)
        velocity[mine] = np.where((since < path.x[-1])[:, None], path(held, 1), 0.0)
    step = np.diff(time, prepend=time[0])
    wander = gauss_markov(np.round(time * rate_hz).astype(int), rate_hz, random)
    noisy = position + noise * (wander + 0.15 * random.normal(size=position.shape))
    longitude, latitude = track.plane.to_geographic(noisy)
    speed = course = None
    if doppler:
        velocity = velocity + noise * 0.05 * random.normal(size=velocity.shape)
        speed = np.hypot(velocity[:, 0], velocity[:, 1])
        grid = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1]))
        course = (grid + track.plane.convergence_deg(longitude, latitude)) % 360.0
    assert np.all(step[1:] > 0)
    recording = Recording(
        name=f"{track.id}.csv",
        time_s=time - time[0],
        longitude_deg=longitude,
        latitude_deg=latitude,
        start=start + timedelta(seconds=float(time[0])),
        speed_mps=speed,
        course_deg=course,
    )
    return recording, float(time[0])


def gauss_markov(tick, rate_hz, random):
    """A first-order Gauss-Markov process of unit variance on two axes, at ticks of a clock."""
    fade = np.exp(-1.0 / (rate_hz * WANDER_S))
    fresh = np.sqrt(1.0 - fade**2) * random.normal(size=(int(tick[-1]) + 1, 2))
    fresh[0] /= np.sqrt(1.0 - fade**2)
    return lfilter([1.0], [1.0, -fade], fresh, axis=0)[tick]


def eased_to(count):
    share = (np.arange(count) + 0.5) / max(count, 1)
    return share**2 * (3.0 - 2.0 * share)


def eased(span_s):
    """From 0 to 1 in so many seconds."""
    return eased_to(max(1, round(span_s / FINE_S)))


def swell_to(count):
    return np.sin(np.pi * (np.arange(count) + 0.5) / max(count, 1)) ** 2


def swell(span_s):
    """From 0 to 1 and back in so many seconds."""
    return swell_to(max(1, round(span_s / FINE_S)))


@dataclass(frozen=True)
class Score:
    """How a report of a day compares with what happened."""

    laps: int
    lost: int
    invented: int
    counted_in_error: int
    set_aside_in_error: int
    sessions_wrong: bool
    median_over_sigma: float
    theoretical_over_sigma: float


APART_S = 1.0


def score(true_day, report):
    """Compare a report with the truth, lap by lap."""
    timed = [lap for lap in report.laps if lap.time_s is not None]
    pairs, unmatched = [], list(timed)
    lost = laps = 0
    split = [span for span in true_day.lost if span[1] - span[0] >= 60.0]
    for lap in true_day.laps:
        found = [
            timed_lap
            for timed_lap in unmatched
            if same_crossing(true_day, timed_lap.start_s, lap.begin_s)
            and same_crossing(true_day, timed_lap.start_s + timed_lap.time_s, lap.end_s)
        ]
        whole = seen(true_day, lap.begin_s) and seen(true_day, lap.end_s)
        laps += whole
        if found:
            unmatched.remove(found[0])
            pairs.append((lap, found[0]))
        elif whole and not any(low < lap.end_s and high > lap.begin_s for low, high in split):
            lost += 1
    wrong, kept_out = judged(true_day, pairs)
    return Score(
        laps=laps,
        lost=lost,
        invented=sum(lap.complete and lap.kind == "flying" for lap in unmatched),
        counted_in_error=wrong,
        set_aside_in_error=kept_out,
        sessions_wrong=len(report.sessions) != len(true_day.sessions),
        median_over_sigma=median_over_sigma(report, pairs),
        theoretical_over_sigma=theoretical_over_sigma(report, pairs),
    )


def same_crossing(true_day, found_s, true_s):
    """Whether a crossing is the true one.

    Of a vehicle that stood within a few metres of the line no receiver can say on which side: its
    wander is as large.  The crossing may be told at any time from the halt to moving off.
    """
    if abs(found_s - true_s) < APART_S:
        return True
    spans = [span for span in true_day.troubles if span[2] in ON_THE_LINE]
    return any(
        low - 2.0 < found_s < high + 4.0 and low - 2.0 < true_s < high + 4.0
        for low, high, _ in spans
    )


def seen(true_day, at_s):
    """Whether there are fixes within 2 s on either side, and some 0.2 s beyond.

    Where they end nearer than that, the receiver's wander decides whether a crossing is seen.
    """
    time = true_day.recording.time_s
    after = np.searchsorted(time, at_s)
    if after in (0, len(time)):
        return False
    near = np.searchsorted(time, [at_s - 2.0, at_s - 0.2, at_s + 0.2, at_s + 2.0])
    if true_day.rate_hz <= 5.0:
        return bool(time[after] - at_s <= 2.0 and at_s - time[after - 1] <= 2.0)
    return bool(near[1] > near[0] and near[3] > near[2] and time[after] - time[after - 1] <= 2.0)


def judged(true_day, pairs):
    """How many laps count with something wrong, and how many do not with nothing wrong."""
    wrong = kept_out = 0
    for true, lap in pairs:
        missing = any(
            high - low > 6.0 and low < true.end_s and high > true.begin_s
            for low, high in true_day.lost
        )
        own_best = min(other.time_s for other in true_day.laps)
        bad = missing or any(
            (kind != "slow" or true.time_s > 1.08 * own_best)
            and not (kind in ON_THE_LINE and not is_exact(true, lap))
            for _, _, kind in true.troubles
        )
        # Braking for a stop just beyond the line, or pulling away from one, makes a lap slow; and
        # which side of the line a stop was on within a few metres nobody can say.
        near = any(
            low - 4.0 < true.end_s and high + 4.0 > true.begin_s
            for low, high, _ in true_day.troubles
        )
        wrong += lap.counts and bad
        short = any(low < true.end_s and high > true.begin_s for low, high in true_day.lost)
        kept_out += lap.complete and not lap.counts and not (bad or short or near)
    return wrong, kept_out


def is_exact(true, lap):
    """Whether a lap begins and ends where it truly did, not at a halt beside the line."""
    begun, ended = lap.start_s - true.begin_s, lap.start_s + lap.time_s - true.end_s
    return max(abs(begun), abs(ended)) < APART_S


def median_over_sigma(report, pairs):
    if not all(is_exact(true, lap) for true, lap in pairs if lap.counts):
        return np.nan
    times = [true.time_s for true, lap in pairs if lap.counts]
    if not times or report.median_sigma_s is None:
        return np.nan
    return (report.median_s - float(np.median(times))) / report.median_sigma_s


def theoretical_over_sigma(report, pairs):
    if report.theoretical_best_s is None:
        return np.nan
    true_of = {id(lap): true for true, lap in pairs}
    best = 0.0
    for index, _, lap in report.best_sectors:
        if id(lap) not in true_of or not is_exact(true_of[id(lap)], lap):
            return np.nan
        best += true_of[id(lap)].sectors_s[index]
    return (report.theoretical_best_s - best) / report.theoretical_best_sigma_s
