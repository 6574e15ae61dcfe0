"""Crossings of gates with all that is known of each, and how well it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.geometry.vectors import gate_axes, left_of
from trackkit.timing.column_names import AT_CROSSING
from trackkit.timing.crossings import Crossing
from trackkit.timing.laps import Lap, LapKind
from trackkit.timing.motion_sigmas import motion_sigmas
from trackkit.timing.report import LapReport
from trackkit.timing.traces import SLOWEST_MPS
from trackkit.track.model import Track

_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class GateCrossing:
    """A crossing, and the lap that it is of.

    Parameters
    ----------
    crossing
        The crossing.
    lap
        The lap that it ends where it ends one, else the one that it is in; None where it is in
        none, as when the first lap has not begun.
    """

    crossing: Crossing
    lap: Lap | None


def gate_crossings(report: LapReport) -> list[GateCrossing]:
    """List the crossings of all gates, each once, with their laps, in order of time."""
    lap_of: dict[Crossing, Lap] = {}
    for lap in reversed(report.laps):
        begun = lap.passed[:1]
        pits = [crossing for visit in lap.pit_visits for crossing in visit]
        for crossing in (*begun, *pits, *lap.speed_gates, *lap.passed[1:]):
            if crossing is not None:
                lap_of[crossing] = lap
    starts = [lap for lap in report.laps if lap.start_s is not None]
    begun_s = [lap.start_s for lap in starts]

    def running(crossing: Crossing) -> Lap | None:
        before = int(np.searchsorted(np.array(begun_s, dtype=float), crossing.time_s, "right"))
        return starts[before - 1] if before else None

    return [
        GateCrossing(crossing, lap_of.get(crossing) or running(crossing))
        for crossing in report.crossings
    ]


def lap_of_crossing(report: LapReport, placed: GateCrossing) -> tuple[int, int, LapKind | None]:
    """Tell session, number and kind of a crossing's lap: 0 and no kind before the first begins."""
    if placed.lap is not None:
        return placed.lap.session, placed.lap.number, placed.lap.kind
    time_s = placed.crossing.time_s
    begun = [session.number for session in report.sessions if session.begin_s <= time_s]
    return max(begun, default=1), 0, None


def crossing_columns(
    track: Track, report: LapReport, crossings: Sequence[GateCrossing]
) -> dict[str, Floats]:
    """Tell all that is known of each crossing.

    A row is where the vehicle passed the straight line from a gate's left end to its right.  What
    is not known of its place in the direction of the gate is in the sigma of the elapsed time, and
    what is not known across it in that of the offset.

    Parameters
    ----------
    track
        That the laps were timed over.
    report
        With its drive.
    crossings
        From `gate_crossings`.

    Returns
    -------
    dict
        Columns by the names `AT_CROSSING`, shape (n,) each: time since the first fix; elapsed time
        since the lap's first crossing, NaN in a lap that began at none; chainage; longitude within
        ±180 and latitude, degrees; speed, m/s; accelerations along the direction of travel and to
        the left of it, m/s^2; distance to the left of the centreline, metres; and one sigma of
        each that has one.

    Raises
    ------
    TrackkitError
        When the drive was not kept.
    """
    if not crossings:
        return {name: np.empty(0) for name in AT_CROSSING}
    drive = report.drive
    each = [placed.crossing for placed in crossings]
    index = np.array([crossing.fix for crossing in each], dtype=np.intp)
    share = np.array([crossing.share for crossing in each])
    time = np.array([crossing.time_s for crossing in each])
    _, _, motion = drive.motion_at(time)
    velocity, acceleration = motion[:, 1], motion[:, 2]
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    pace = np.where(speed < SLOWEST_MPS, np.nan, speed)
    turning = velocity[:, 0] * acceleration[:, 1] - velocity[:, 1] * acceleration[:, 0]
    longitude, latitude = drive.plane.to_geographic(motion[:, 0])
    chainage, offset, ahead = _beside_line(track, each, longitude, latitude)
    across = {gate.id: _across(track, gate.id) for gate in track.gates}
    sideways = np.array([across[crossing.gate] for crossing in each])
    # A place that moves along the gate moves by so much square to the line.
    to_left = np.einsum("ij,ij->i", sideways, np.stack([-ahead[:, 1], ahead[:, 0]], axis=1))
    delay = -np.array([crossing.delay for crossing in each])
    slope = sideways + np.einsum("ij,ij->i", velocity, sideways)[:, None] * delay
    # One call for both: what they take is worked out together.
    twice_index, twice_share = np.tile(index, 2)[:, None], np.tile(share, 2)[:, None]
    both = drive.variances(twice_index, twice_share, np.concatenate([delay, slope])[:, None])
    beside, aside = np.split(both, 2)
    known = drive.fix_covariance(index.tolist()).motion(index, share)
    late = np.zeros((len(each), 6))
    late[:, 0], late[:, 3] = delay.T
    alone = np.einsum("ki,kij,kj->k", late, known, late)
    elapsed, elapsed_sigma = _elapsed(report, crossings)
    columns = {
        "time_s": time,
        "elapsed_s": elapsed,
        "elapsed_sigma_s": elapsed_sigma,
        "chainage_m": chainage,
        "longitude_deg": wrap_longitude(longitude),
        "latitude_deg": latitude,
        "speed_mps": speed,
        "longitudinal_mps2": np.einsum("ij,ij->i", velocity, acceleration) / pace,
        "lateral_mps2": turning / pace,
        "offset_m": offset,
        "offset_sigma_m": np.abs(to_left) * np.sqrt(aside),
        **motion_sigmas(motion, known, delay, np.sqrt(beside / alone)),
    }
    return {name: np.asarray(columns[name], dtype=float) for name in AT_CROSSING}


def _across(track: Track, gate_id: str) -> Floats:
    """Find the unit vector from a gate's left end to its right, on the track's plane."""
    left, right = track.gate_ends(track.gate(gate_id))
    return gate_axes(left, right)[0]


def _beside_line(
    track: Track, crossings: Sequence[Crossing], longitude: Floats, latitude: Floats
) -> tuple[Floats, Floats, Floats]:
    """Chainage, offset to the left, and direction of the line there.

    The place on the line is looked for from the gate's own, so that at a bridge, or where the track
    runs beside itself, it is on the gate's piece, and just before the datum it is a little below 0.
    """
    position = track.plane.to_plane(longitude, latitude)
    curve = track.curve
    gate_m = {gate.id: gate.chainage_m for gate in track.gates}
    chainage = np.array([gate_m[crossing.gate] for crossing in crossings])
    for _ in range(_ROUNDS):
        place, direction, curvature = curve.frame(chainage)
        away = position - place
        ahead = np.einsum("ij,ij->i", away, direction)
        aside = np.einsum("ij,ij->i", away, left_of(direction))
        chainage = chainage + ahead / np.maximum(1.0 - curvature * aside, 0.2)
        if not curve.closed:
            chainage = curve.wrap(chainage)
    place, direction, _ = curve.frame(chainage)
    offset = np.einsum("ij,ij->i", position - place, left_of(direction))
    return chainage, offset, direction


def _elapsed(report: LapReport, crossings: Sequence[GateCrossing]) -> tuple[Floats, Floats]:
    """Seconds since the first crossing of each crossing's lap, and one sigma of them."""
    elapsed, sigma = np.full(len(crossings), np.nan), np.full(len(crossings), np.nan)
    spans = {
        row: (placed.lap.passed[0], placed.crossing)
        for row, placed in enumerate(crossings)
        if placed.lap is not None and placed.lap.passed[0] is not None
    }
    for row, (begun, crossing) in spans.items():
        elapsed[row] = crossing.time_s - begun.time_s
    sums = [[(begun, -1.0), (crossing, 1.0)] for begun, crossing in spans.values()]
    sigma[list(spans)] = report.sigmas_of(sums)
    # No time has gone by at the crossing that a lap begins at.
    sigma[elapsed == 0.0] = 0.0
    return elapsed, sigma
