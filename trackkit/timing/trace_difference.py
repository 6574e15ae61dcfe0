"""By how much one lap is behind another at each place, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.errors import TrackkitError
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.trace_columns import trace_columns
from trackkit.timing.traces import SLOWEST_MPS
from trackkit.track.model import Track

MOST_SIGMAS = 120
"""Sigmas of laps of one drive are worked out at so many places and read between them."""


@dataclass(frozen=True, eq=False)
class TraceDifference:
    """One lap against another, by chainage; NaN where a recording does not tell.

    Parameters
    ----------
    chainage_m
        Along the centreline from its datum, shape (n,).
    behind_s, sigma_s
        By how much the lap is behind the other, seconds, and one sigma of it.
    speed_mps, other_speed_mps
        Speeds of both.
    """

    chainage_m: Floats
    behind_s: Floats
    sigma_s: Floats
    speed_mps: Floats
    other_speed_mps: Floats


def trace_difference(
    track: Track, report: LapReport, lap: Lap, other_report: LapReport, other_lap: Lap
) -> TraceDifference:
    """Compare one lap with another at each place.

    Errors of two laps of one drive are correlated, and the variance of the difference is taken as
    a whole; those of two drives add in quadrature (JCGM 100, "GUM", sections 5.1 and 5.2; from
    memory).

    Raises
    ------
    TrackkitError
        When a lap has no time, or a report's drive was not kept.
    """
    own, other = (_traced(track, *each) for each in ((report, lap), (other_report, other_lap)))
    if report is other_report:
        sigma = _sigmas(track, report, (lap, other_lap), (own, other))
    else:
        sigma = np.hypot(own["elapsed_sigma_s"], other["elapsed_sigma_s"])
    return TraceDifference(
        own["chainage_m"],
        own["elapsed_s"] - other["elapsed_s"],
        sigma,
        own["speed_mps"],
        other["speed_mps"],
    )


def _traced(track: Track, report: LapReport, lap: Lap) -> dict[str, Floats]:
    for _, columns in trace_columns(track, report.drive, [lap]):
        return columns
    raise TrackkitError(
        f"lap {lap.number} of session {lap.session} has no time to compare",
        file=report.name,
        remedy="choose a lap that has a time",
    )


def _sigmas(
    track: Track,
    report: LapReport,
    laps: tuple[Lap, Lap],
    traces: tuple[dict[str, Floats], dict[str, Floats]],
) -> Floats:
    """One sigma of the difference of two laps of one drive, shape (n,)."""
    chainage = traces[0]["chainage_m"]
    reached = np.flatnonzero(np.isfinite(traces[0]["time_s"] + traces[1]["time_s"]))
    if laps[0] is laps[1] or len(reached) == 0:
        return np.where(np.isin(np.arange(len(chainage)), reached), 0.0, np.nan)
    chosen = np.unique(np.linspace(0, len(reached) - 1, MOST_SIGMAS).astype(int))
    rows = reached[chosen]
    ahead = track.curve.direction(chainage[rows])
    ends = [_passing(report, trace["time_s"][rows], ahead) for trace in traces]
    begins = [lap.passed[0] for lap in laps if lap.passed[0] is not None]
    fixes = [fix for index, _, _ in ends for fix in index.tolist()]
    known = report.drive.fix_covariance([*fixes, *(begin.fix for begin in begins)])
    index = np.array([begin.fix for begin in begins])
    share = np.array([begin.share for begin in begins])
    delay = np.array([begin.delay for begin in begins]) * [[-1.0], [1.0]]
    variance = [
        known.variance(
            np.array([ends[0][0][k], ends[1][0][k], *index]),
            np.array([ends[0][1][k], ends[1][1][k], *share]),
            np.vstack([ends[0][2][k], -ends[1][2][k], delay]),
        )
        for k in range(len(rows))
    ]
    sigma = np.interp(chainage, chainage[rows], np.sqrt(np.maximum(variance, 0.0)))
    return np.where(np.isfinite(traces[0]["time_s"] + traces[1]["time_s"]), sigma, np.nan)


def _passing(report: LapReport, time_s: Floats, ahead: Floats) -> tuple[Indices, Floats, Floats]:
    """Where in the drive places are passed, and by how much later for each metre farther back."""
    index, share, motion = report.drive.motion_at(time_s)
    pace = np.maximum(np.einsum("ij,ij->i", motion[:, 1], ahead), SLOWEST_MPS)
    return index, share, ahead / pace[:, None]
