"""The laps of one recording, timed."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from trackkit.errors import TrackkitError
from trackkit.motion.drive import Drive
from trackkit.motion.fix_covariance import FixCovariance
from trackkit.recordings.recording import Recording
from trackkit.timing.best_times import (
    best_sectors,
    fastest_run,
    median_sigma,
    picked_too_small,
    sum_of_sectors_sigma,
    theoretical_best,
)
from trackkit.timing.crossings import (
    Crossing,
    CrossingCovariance,
    Known,
    interval_sigma,
    sum_sigma,
    sum_sigmas,
)
from trackkit.timing.driving_sessions import DrivingSession
from trackkit.timing.duplicates import Shared
from trackkit.timing.laps import Lap, SectorTime
from trackkit.track.model import Track
from trackkit.views import view


@dataclass(frozen=True, eq=False)
class LapReport:
    """The laps of one recording; the best times are over the laps that count.

    `time_laps` and `time_many` make it.

    Parameters
    ----------
    name
        Of the recording.
    start
        Time of day of its first fix, UTC, or None where it only counts seconds.
    laps
        In order of time.
    crossings
        Of all gates, in order of time.
    best_lap_s
        Least lap time, seconds; None where no lap counts, as for the other best times.
    theoretical_best_s, theoretical_best_sigma_s
        Sum of the best sectors, seconds, and its uncertainty, one sigma, in which it counts that
        they were picked as the smallest.  The other best times carry the uncertainty of those
        times; having been picked makes them a little too small besides.
    continuous_best_s, continuous_best_sigma_s, continuous_from
        The fastest run over one whole lap length in one go, seconds, its uncertainty, one sigma,
        and the crossing that it begins at.
    median_s, spread_s
        Median of the lap times and their standard deviation about their mean, seconds; None where
        there are too few.
    sessions
        In order of time.
    median_sigma_s
        Uncertainty of the median, one sigma, seconds.
    shared
        Driving that recordings before this one hold too.
    track
        That the laps were timed over; None where the report was made by hand.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> report.best_lap.number, [lap.kind for lap in report.laps]
    (1, ['out', 'flying', 'in'])
    >>> best = report.best_lap
    >>> f"{best.time_s:.2f}", f"{sum(sector.time_s for sector in best.sectors):.2f}"
    ('52.39', '52.39')
    """

    name: str
    start: datetime | None
    laps: tuple[Lap, ...]
    crossings: tuple[Crossing, ...]
    best_lap_s: float | None
    theoretical_best_s: float | None
    continuous_best_s: float | None
    median_s: float | None
    spread_s: float | None
    theoretical_best_sigma_s: float | None = None
    continuous_best_sigma_s: float | None = None
    continuous_from: Crossing | None = None
    sessions: tuple[DrivingSession, ...] = ()
    median_sigma_s: float | None = None
    shared: tuple[Shared, ...] = ()
    track: Track | None = None
    _kept: Drive | FixCovariance | None = None
    _together: CrossingCovariance | None = None

    def __repr__(self) -> str:
        count = f"{len(self.laps)} lap{'' if len(self.laps) == 1 else 's'}"
        best = "" if self.best_lap_s is None else f", the best of {self.best_lap_s:.3f} s"
        return f"LapReport({reprlib.repr(self.name)}, {count}{best})"

    def _repr_html_(self) -> str | None:
        page: str | None = view("page", self)
        return page

    @property
    def best_lap(self) -> Lap | None:
        """The lap that counts with the least time, the first of them."""
        return min(self.counted, key=_lap_time, default=None)

    @property
    def counted(self) -> tuple[Lap, ...]:
        """Laps that count: complete, flying, and nothing wrong with them."""
        return tuple(lap for lap in self.laps if lap.counts)

    @property
    def best_sectors(self) -> tuple[tuple[int, SectorTime, Lap], ...]:
        """The best of each sector: its place, from 0, the sector and the lap that it is of.

        The lap need not count: what happened elsewhere in it leaves a clean sector as it was.
        """
        return tuple(best_sectors(self.laps))

    def of_laps(self, laps: Sequence[Lap], *, best_sigmas: bool = True) -> LapReport:
        """Sum up some laps instead.

        Parameters
        ----------
        laps
            Of this recording, in order of time.
        best_sigmas
            Whether to say how well the best times are known too.

        Returns
        -------
        LapReport
            With those laps and their best times.

        Raises
        ------
        TrackkitError
            When the report was made by hand, without a drive.
        """
        counted = [lap for lap in laps if lap.counts]
        times = np.array([lap.time_s for lap in counted])
        run = fastest_run(laps)
        kept = self._known
        sigmas: tuple[float | None, float | None, float | None] = (None, None, None)
        if best_sigmas:
            of_sum = sum_of_sectors_sigma(kept, best_sectors(laps))
            sigmas = (
                None if of_sum is None else float(np.hypot(of_sum, picked_too_small(kept, laps))),
                None if run is None else interval_sigma(kept, *run),
                median_sigma(kept, counted),
            )
        return replace(
            self,
            laps=tuple(laps),
            best_lap_s=float(times.min()) if len(times) else None,
            theoretical_best_s=theoretical_best(laps),
            continuous_best_s=None if run is None else run[1].time_s - run[0].time_s,
            median_s=float(np.median(times)) if len(times) else None,
            spread_s=float(times.std(ddof=1)) if len(times) > 1 else None,
            theoretical_best_sigma_s=sigmas[0],
            continuous_best_sigma_s=sigmas[1],
            continuous_from=None if run is None else run[0],
            median_sigma_s=sigmas[2],
        )

    def as_row(self) -> dict[str, Any]:
        """Write the best times as JSON; `trackkit.timing.rows.session_row` adds the laps.

        Returns
        -------
        dict
            The fields by name; times in seconds.
        """
        best, run = self.best_lap, self.continuous_from
        return {
            "best_lap_s": self.best_lap_s,
            "best_lap_sigma_s": None if best is None else best.sigma_s,
            "best_lap": None if best is None else best.number,
            "best_lap_session": None if best is None else best.session,
            "theoretical_best_s": self.theoretical_best_s,
            "theoretical_best_sigma_s": self.theoretical_best_sigma_s,
            "continuous_best_s": self.continuous_best_s,
            "continuous_best_sigma_s": self.continuous_best_sigma_s,
            "continuous_best_from": None if run is None else {"gate": run.gate, "at_s": run.time_s},
            "best_over_theoretical_s": _less(self.best_lap_s, self.theoretical_best_s),
            "best_over_continuous_s": _less(self.best_lap_s, self.continuous_best_s),
            "median_s": self.median_s,
            "median_sigma_s": self.median_sigma_s,
            "spread_s": self.spread_s,
            "best_sectors": [
                {
                    "sector": index + 1,
                    "session": lap.session,
                    "lap": lap.number,
                    "lap_counts": lap.counts,
                    "time_s": sector.time_s,
                    "sigma_s": sector.sigma_s,
                }
                for index, sector, lap in self.best_sectors
            ],
        }

    @property
    def drive(self) -> Drive:
        """The smoothed drive that the laps were timed on.

        Raises
        ------
        TrackkitError
            When it was not kept.
        """
        if not isinstance(self._kept, Drive):
            raise TrackkitError(
                "the smoothed drive was not kept with the laps",
                file=self.name,
                remedy="time this recording by itself, with time_laps",
            )
        return self._kept

    @property
    def timed_track(self) -> Track:
        """The track that the laps were timed over.

        Raises
        ------
        TrackkitError
            When the report was made by hand, without one.
        """
        if self.track is None:
            raise TrackkitError(
                "the laps do not say which track they were timed over",
                file=self.name,
                remedy="time the recording with time_laps or time_many",
            )
        return self.track

    @property
    def has_drive(self) -> bool:
        """Whether the smoothed drive and the recording were kept."""
        return isinstance(self._kept, Drive)

    @property
    def recording(self) -> Recording:
        """The recording that was timed.

        Raises
        ------
        TrackkitError
            When it was not kept.
        """
        return self.drive.recording

    def without_drive(self) -> LapReport:
        """Let go of the drive and the recording, which take most of a report's memory.

        Returns
        -------
        LapReport
            With the same times and uncertainties, and all that it takes to compare its laps.
        """
        if not isinstance(self._kept, Drive):
            return self
        covariance = self._kept.fix_covariance(crossing.fix for crossing in self.crossings)
        return replace(self, _kept=covariance, _together=None)

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

    def sigma_of(self, terms: Iterable[tuple[Crossing, float]]) -> float:
        """Uncertainty of a weighted sum of times of crossings.

        Parameters
        ----------
        terms
            Crossings of this report and their weights, such as -1 and 1 for the time from one to
            another.

        Returns
        -------
        float
            One sigma, seconds; see `trackkit.timing.crossings.sum_sigma`.

        Raises
        ------
        TrackkitError
            When the report was made by hand, without a drive.
        """
        return sum_sigma(self._known, terms)

    def sigmas_of(self, sums: Sequence[Sequence[tuple[Crossing, float]]]) -> list[float]:
        """Uncertainties of several weighted sums of times of crossings, as `sigma_of` tells one.

        Parameters
        ----------
        sums
            Of each its crossings and their weights.

        Returns
        -------
        list of float
            One sigma of each, seconds, with what their errors share.
        """
        return sum_sigmas(self._known, sums)

    @property
    def _known(self) -> Known:
        return self._together or self._kept or self.drive


def _lap_time(lap: Lap) -> float:
    return float("inf") if lap.time_s is None else lap.time_s


def _less(longer_s: float | None, shorter_s: float | None) -> float | None:
    return None if longer_s is None or shorter_s is None else longer_s - shorter_s
