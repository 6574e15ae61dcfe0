"""Official times of a recording laid out for finding the official line."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from trackkit.errors import TrackkitError
from trackkit.official.align import Observed
from trackkit.official.clock import clock_difference
from trackkit.official.pairing import Pair, pair_official
from trackkit.official.passings import covariance_along, passings
from trackkit.official.times import OfficialTimes
from trackkit.remedies import Remedy
from trackkit.timing.crossings import Crossing
from trackkit.timing.report import LapReport
from trackkit.track.crossed import timed_gates
from trackkit.track.model import Track

CLOCK_UNKNOWN = Remedy(
    "take the difference of the clocks as unknown",
    do="leave out",
    value={"argument": "clock_within_s"},
)
_CLOCK_SIGMAS = 5.0
_MOST_APART = 0.05
"""Lap times of one lap, taken at two places near each other, differ by less than this share."""
_FEWEST_PAIRED = 0.5
"""Share of the laps of the shorter list that must be in both; fewer may fit by chance."""


@dataclass(eq=False)
class _Rows:
    """Official times as they are gathered; passings are numbered line by line at the end."""

    lines: list[dict[Crossing, int]]
    begin: list[tuple[int, Crossing] | None] = field(default_factory=list)
    end: list[tuple[int, Crossing]] = field(default_factory=list)
    value_s: list[float] = field(default_factory=list)
    rounding_s: list[float] = field(default_factory=list)

    def add(
        self,
        begin: tuple[int, Crossing] | None,
        end: tuple[int, Crossing],
        value_s: float,
        rounding_s: float,
    ) -> None:
        """Add a time, and the passings it is between."""
        for passing in (begin, end):
            if passing is not None:
                line, crossing = passing
                numbers = self.lines[line]
                numbers.setdefault(crossing, len(numbers))
        self.begin.append(begin)
        self.end.append(end)
        self.value_s.append(value_s)
        self.rounding_s.append(rounding_s)

    def number(self, passing: tuple[int, Crossing] | None) -> int:
        """Return the number of a passing, all lines one after the other; -1 for none."""
        if passing is None:
            return -1
        line, crossing = passing
        return sum(len(numbers) for numbers in self.lines[:line]) + self.lines[line][crossing]


@dataclass(frozen=True, eq=False)
class Gathered:
    """Official times of one recording, and what was used of them.

    `laps`, `sectors` and `moments` count them; `unpaired` official laps fitted no recorded one.
    `zone_s` is how far the official clock's zone is ahead of UTC; None without moments.
    """

    observed: Observed
    laps: int
    sectors: int
    moments: int
    unpaired: int
    zone_s: float | None
    remarks: tuple[str, ...]


def fits_sectors(track: Track, times: OfficialTimes) -> bool:
    """Tell whether a list has as many sectors as a track."""
    count = len(timed_gates(track))
    return count > 1 and any(len(lap.sectors_s) == count for lap in times.laps)


def gather(
    track: Track,
    report: LapReport,
    times: OfficialTimes,
    *,
    clock_within_s: float | None = None,
    with_sectors: bool = False,
) -> Gathered:
    """Pair official times with a recording's laps and tie each to passings of gates.

    Laps through the pit lane are left out, and so are pairs whose times differ by much more than
    others do.

    Parameters
    ----------
    track
        Closed.
    report
        Its laps.
    times
        Official ones.
    clock_within_s
        One sigma of the official clock against the receiver's; None where unknown.
    with_sectors
        Whether to use sector times; see `fits_sectors`.

    Raises
    ------
    TrackkitError
        When no official lap fits a recorded one, or the clocks differ by more than `clock_within_s`
        allows.
    """
    pairing = pair_official(times, report)
    pairs = [p for p in pairing.pairs if not p.outlier and p.lap.is_whole and _near(p)]
    if not pairs:
        raise TrackkitError(
            _no_pair(times, report),
            file=times.file,
            remedy="give the official times of the same driver and session, with lap times in "
            "seconds or m:ss.mmm",
        )
    listed_laps = sum(lap.time_s is not None for lap in times.laps)
    if len(pairs) < _FEWEST_PAIRED * min(listed_laps, len(report.counted)):
        raise TrackkitError(
            f"only {len(pairs)} of {listed_laps} official laps fit a recorded one",
            file=times.file,
            remedy="give the official times of the same driver and session",
        )
    lines: list[dict[Crossing, int]] = [{} for _ in timed_gates(track)]
    rows = _Rows(lines)
    remarks: list[str] = []
    if with_sectors:
        _add_sectors(rows, pairs, times)
    else:
        rows.lines = lines = lines[:1]
    sectors = len(rows.value_s)
    zone, clock_remarks = _add_moments(rows, pairs, times, report, clock_within_s)
    remarks += clock_remarks
    moments = len(rows.value_s) - sectors
    _add_laps(rows, pairs, times, with_sectors=with_sectors)
    laps = len(rows.value_s) - sectors - moments
    at = [gate.chainage_m for gate in timed_gates(track)]
    line_passings = tuple(
        passings(track, report.drive, chainage, list(line))
        for chainage, line in zip(at[: len(lines)], lines, strict=True)
    )
    observed = Observed(
        line_passings,
        covariance_along(report.drive, line_passings),
        np.array([rows.number(passing) for passing in rows.begin], dtype=np.intp),
        np.array([rows.number(passing) for passing in rows.end], dtype=np.intp),
        np.array(rows.value_s, dtype=np.float64),
        np.array(rows.rounding_s, dtype=np.float64),
    )
    unpaired = len(pairing.official_alone) + len(pairing.pairs) - len(pairs)
    return Gathered(observed, laps, sectors, moments, unpaired, zone, tuple(remarks))


def _near(lap_pair: Pair) -> bool:
    """Whether times agree as those of one lap do, wherever on the circuit they are taken."""
    assert lap_pair.official.time_s is not None  # noqa: S101 - only timed laps are paired
    return abs(lap_pair.difference_s) <= _MOST_APART * lap_pair.official.time_s


def _no_pair(times: OfficialTimes, report: LapReport) -> str:
    official = float(np.median([lap.time_s for lap in times.laps if lap.time_s is not None]))
    if report.median_s is None:
        return "its times cannot be paired: the recording holds no complete lap"
    what = (
        f"no official lap fits a recorded one: official laps take {official:.1f} s, recorded ones "
        f"{report.median_s:.1f} s"
    )
    for factor, unit in ((1000.0, "milliseconds"), (1.0 / 60.0, "minutes")):
        if abs(official / report.median_s / factor - 1.0) < 0.1:
            what += f", as if it were in {unit}"
            if factor > 1:
                what += " (a header such as `time (ms)` says so)"
    return what


def _add_laps(rows: _Rows, pairs: list[Pair], times: OfficialTimes, *, with_sectors: bool) -> None:
    """Add lap times, but for those that sectors or moments hold already.

    Counted twice, they would make the times look as if they agreed better than they do.
    """
    moments = {
        end[1]
        for begin, end, rounding in zip(rows.begin, rows.end, rows.rounding_s, strict=True)
        if begin is None and rounding <= times.resolution_s
    }
    for lap_pair in pairs:
        passed = [c for c in lap_pair.lap.passed if c is not None]
        count = len(lap_pair.lap.sectors)
        by_sectors = (
            with_sectors
            and len(lap_pair.official.sectors_s) == count
            and None not in lap_pair.official.sectors_s
        )
        if by_sectors or (passed[0] in moments and passed[-1] in moments):
            continue
        assert lap_pair.official.time_s is not None  # noqa: S101 - only timed laps are paired
        rows.add((0, passed[0]), (0, passed[-1]), lap_pair.official.time_s, times.resolution_s)


def _add_sectors(rows: _Rows, pairs: list[Pair], times: OfficialTimes) -> None:
    """Add sector times of laps that have as many as the track."""
    for lap_pair in pairs:
        passed = [c for c in lap_pair.lap.passed if c is not None]
        count = len(lap_pair.lap.sectors)
        if len(lap_pair.official.sectors_s) != count:
            continue
        for index, seconds in enumerate(lap_pair.official.sectors_s):
            if seconds is not None:
                end = (index + 1) % count
                rows.add(
                    (index, passed[index]), (end, passed[index + 1]), seconds, times.resolution_s
                )


def _add_moments(
    rows: _Rows,
    pairs: list[Pair],
    times: OfficialTimes,
    report: LapReport,
    clock_within_s: float | None,
) -> tuple[float | None, list[str]]:
    """Add passings by time of day, in seconds from the first fix."""
    before = {lap.number + 1: lap.passed_s for lap in times.laps}
    ends = [
        end
        for lap_pair in pairs
        for end in (
            (lap_pair.lap.passed[0], before.get(lap_pair.official.number)),
            (lap_pair.lap.passed[-1], lap_pair.official.passed_s),
        )
    ]
    moments = {crossing: at for crossing, at in ends if crossing is not None and at is not None}
    if not moments:
        if clock_within_s is not None:
            raise TrackkitError(
                "has no times of day, so that nothing can be said of its clock",
                file=times.file,
                remedy=Remedy(
                    "say nothing of it, or name the column of the times of day",
                    do="name official columns",
                    value={"columns": {"passing": "COLUMN"}},
                ),
            )
        return None, []
    start = report.start
    remarks = []
    if start is None:
        if clock_within_s is not None:
            raise TrackkitError(
                "only counts seconds, so its clock cannot be compared with the official one",
                file=report.name,
                remedy=CLOCK_UNKNOWN,
            )
        base, zone = next(iter(moments.values())) - next(iter(moments)).time_s, 0.0
    else:
        try:
            base, zone = clock_difference(
                list(moments.values()), [c.time_s for c in moments], times.day, start
            )
        except TrackkitError as error:
            error.file = times.file
            raise
    late = float(np.median([passed - base - c.time_s for c, passed in moments.items()]))
    speed = float(np.median([crossing.speed_mps for crossing in moments]))
    if clock_within_s is not None:
        if abs(late) > 150.0 / speed + _CLOCK_SIGMAS * clock_within_s:
            raise TrackkitError(
                f"its clock is {late:+.1f} s off the receiver's, time zones left aside: more than "
                "a line anywhere near the finish gate explains",
                file=times.file,
                remedy=CLOCK_UNKNOWN,
            )
        remarks.append(f"the official clock is taken to run at UTC{zone / 3600:+.2f} h")
    for crossing, passed_s in moments.items():
        rows.add(None, (0, crossing), passed_s - base, times.passed_resolution_s)
    return zone, remarks
