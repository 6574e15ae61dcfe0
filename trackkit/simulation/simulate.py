"""Practice recordings with exactly known crossing times."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import TrackkitError
from trackkit.files import whole_file
from trackkit.geometry.geodesy import LocalPlane
from trackkit.geometry.vectors import distance_along, left_of
from trackkit.motion.gauss_markov import sample_path
from trackkit.motion.noise import USUAL
from trackkit.motion.vehicle import vehicle_for
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import encoded
from trackkit.simulation.channels import (
    InventedChannel,
    invented_channels,
    measured,
    true_channels,
)
from trackkit.simulation.drive import Run, drive
from trackkit.track.features import Gate
from trackkit.track.model import Track
from trackkit.words import counted

INVENTED_START = datetime(2024, 5, 4, 9, 0, tzinfo=UTC)
"""Time of day of the first fix where none is given, chosen at will."""


@dataclass(frozen=True, eq=False)
class Simulation:
    """A practice recording, and the true drive behind it.

    Parameters
    ----------
    recording
        The fixes as a receiver would have recorded them, with its noise.
    truth
        Ready for JSON: ``{"crossings": [{"gate", "time_s"}], "laps": [{"number", "time_s",
        "sectors_s"}]}``, seconds from the first fix.  A sector one of whose gates was not
        crossed is None.  With channels each lap has ``"channels": [{"name", "unit", "least",
        "largest", "mean", "sectors": [{"least", "largest", "mean"}]}]`` besides, as they truly
        were before any sensor rounded them.
    plane
        The plane positions are given in.
    runs
        The true drive: unbroken stretches, each an exact smooth function of time.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> drive.recording.start.isoformat(), sorted(drive.truth)
    ('2024-05-04T09:00:00+00:00', ['crossings', 'laps'])
    """

    recording: Recording
    truth: dict[str, Any]
    plane: LocalPlane
    runs: tuple[Run, ...]

    def __repr__(self) -> str:
        return f"Simulation({self.recording!r}, {counted(self.truth['laps'], 'lap')})"

    def position_m(self, time_s: ArrayLike) -> Floats:
        """Tell where the vehicle truly was.

        Parameters
        ----------
        time_s
            Seconds from the first fix, any shape.

        Returns
        -------
        ndarray
            Plane positions, metres, shape (..., 2); NaN where nothing was driven.
        """
        return self._path(time_s, 0)

    def velocity_mps(self, time_s: ArrayLike) -> Floats:
        """Tell how fast the vehicle truly was.

        Parameters
        ----------
        time_s
            Seconds from the first fix, any shape.

        Returns
        -------
        ndarray
            Plane velocities, metres a second, shape (..., 2); NaN between runs.
        """
        return self._path(time_s, 1)

    def _path(self, time_s: ArrayLike, derivative: int) -> Floats:
        time = np.asarray(time_s, dtype=float)
        value = np.full((*time.shape, 2), np.nan)
        for run in self.runs:
            inside = (time >= run.start_s) & (time <= run.end_s)
            value[inside] = run.path(time[inside], derivative)
        return value


def simulate_drive(
    track: Track,
    *,
    laps: int = 5,
    rate_hz: float = 10.0,
    seed: int = 0,
    noise: float = 1.0,
    doppler: bool = True,
    start: datetime | None = INVENTED_START,
    lap_variation: float = 0.01,
    line_variation_m: float = 0.5,
    stop: bool = False,
    channels: bool = False,
) -> Simulation:
    """Invent a recording of a drive whose crossing times are known.

    On a closed track the vehicle stands beside it, pulls away, drives an out lap, `laps` flying
    laps and an in lap, pulls off and stands.  On an open one it drives `laps` times from before
    the start gate to beyond the finish gate, with the way back not recorded: each run is a segment.
    The same seed gives the same drive whatever the rate and the noise.  Heights, where the
    centreline has some, carry no noise.

    Parameters
    ----------
    track
        Where.  Without gates the drive is the same and the truth is empty.
    laps
        Flying laps (of an open track, runs), at least 1.
    rate_hz
        Fixes a second, from 0.1 to 100.  Fixes are taken on whole milliseconds, which is what
        recordings can say.
    seed
        Another number gives another drive and other noise.
    noise
        Factor on the whole noise of the usual receiver (`trackkit.motion.noise.USUAL`); 0 gives
        exact positions.
    doppler
        Whether the receiver tells speed and course.
    start
        Time of day of the first fix, or None for a recording that only counts seconds.
    lap_variation
        About the standard deviation of lap times, as a share of the lap time.
    line_variation_m
        Standard deviation of the driven line about the centreline, metres.
    stop
        Whether the vehicle stops on the way of the out lap (of an open track, of the first run).
    channels
        Whether to invent channels too: engine speed, gear and brake at each fix, and the water's
        temperature every second.

    Returns
    -------
    Simulation
        The recording, and what truly happened.

    Raises
    ------
    TrackkitError
        When a number makes no sense.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=2, rate_hz=10, seed=1)
    >>> [round(lap["time_s"], 2) for lap in drive.truth["laps"]]
    [52.4, 50.94]
    """
    if laps < 1:
        raise TrackkitError(f"a practice recording of {laps} laps is none", remedy="ask for 1 lap")
    if not 0.1 <= rate_hz <= 100.0:
        raise TrackkitError(
            f"{rate_hz:g} fixes a second is nothing a receiver gives",
            remedy="ask for a rate from 0.1 to 100 Hz",
        )
    if not (noise >= 0 and lap_variation >= 0 and line_variation_m >= 0):
        raise TrackkitError("noise and variation cannot be negative")
    # Two streams, so that the drive does not depend on how it is recorded.
    driver, receiver = (
        np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(2)
    )
    runs = drive(
        track,
        driver,
        laps=laps,
        lap_variation=lap_variation,
        line_variation_m=line_variation_m,
        stop=stop,
    )
    others = invented_channels(vehicle_for(track)) if channels else ()
    recording = _recorded(track, runs, receiver, rate_hz, noise, doppler, start, others)
    return Simulation(recording, _truth(track, runs, others), track.plane, runs)


def _recorded(
    track: Track,
    runs: tuple[Run, ...],
    generator: np.random.Generator,
    rate_hz: float,
    noise: float,
    doppler: bool,
    start: datetime | None,
    channels: tuple[InventedChannel, ...],
) -> Recording:
    times = []
    for run in runs:
        count = int(np.floor((run.end_s - run.start_s) * rate_hz + 1e-9)) + 1
        instants = np.round(run.start_s + np.arange(count) / rate_hz, 3)
        times.append(instants[instants <= run.end_s])
    time = np.concatenate(times)
    position = np.concatenate([run.path(t) for run, t in zip(runs, times, strict=True)])
    velocity = np.concatenate([run.path(t, 1) for run, t in zip(runs, times, strict=True)])
    chainage = np.concatenate([run.chainage(t) for run, t in zip(runs, times, strict=True)])

    wander = USUAL.wander_m * sample_path(time, USUAL.wander_time_s, generator)
    white = USUAL.white_m * generator.standard_normal(position.shape)
    longitude, latitude = track.plane.to_geographic(position + noise * (wander + white))
    speed = course = None
    if doppler:
        velocity = velocity + noise * USUAL.doppler_mps * generator.standard_normal(velocity.shape)
        speed = np.hypot(velocity[:, 0], velocity[:, 1])
        grid = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1]))
        bearing = (grid + track.plane.convergence_deg(longitude, latitude)) % 360.0
        # A receiver that stands still has no direction of travel.
        course = np.where(speed > 0, bearing, np.nan)
    return Recording(
        name=f"practice on {track.name}",
        time_s=time,
        longitude_deg=longitude,
        latitude_deg=latitude,
        start=start,
        speed_mps=speed,
        course_deg=course,
        elevation_m=_heights(track, chainage),
        segment=np.repeat(np.arange(len(runs)), [len(t) for t in times]),
        read_count=len(time),
        channels=measured(channels, runs, times),
    )


def _heights(track: Track, chainage_m: Floats) -> Floats | None:
    line = track.centreline
    if line.height_m is None:
        return None
    vertex = track.plane.to_plane(line.longitude_deg, line.latitude_deg)
    along = distance_along(vertex)
    along *= track.curve.length_m / along[-1]
    return np.interp(track.curve.wrap(chainage_m), along, line.height_m)


def crossing_times(run: Run, ends_m: Floats) -> list[float]:
    """Find when a run crosses a gate from behind to in front, between its ends.

    Parameters
    ----------
    run
        The drive.
    ends_m
        Left and right end on the plane, shape (2, 2), metres.

    Returns
    -------
    list of float
        Times, seconds, to better than a nanosecond.
    """
    from scipy.optimize import brentq

    left, right = ends_m
    across = right - left
    forward = left_of(across)

    def in_front(time_s: float) -> float:
        return float(forward @ (run.path(time_s) - left))

    knot = run.path.x
    ahead = (run.path(knot) - left) @ forward
    crossings = []
    for index in np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0)).tolist():
        time = float(brentq(in_front, knot[index], knot[index + 1], xtol=1e-12, rtol=1e-15))
        share = (run.path(time) - left) @ across / (across @ across)
        if 0.0 <= share <= 1.0:
            crossings.append(time)
    return crossings


def _truth(
    track: Track, runs: tuple[Run, ...], channels: tuple[InventedChannel, ...]
) -> dict[str, Any]:
    crossings: list[tuple[float, Gate]] = []
    for gate in track.gates:
        ends = track.gate_ends(gate)
        crossings += [(time, gate) for run in runs for time in crossing_times(run, ends)]
    crossings.sort(key=lambda crossing: crossing[0])
    return {
        "crossings": [{"gate": gate.id, "time_s": round(time, 9)} for time, gate in crossings],
        "laps": _laps(track, crossings, runs, channels),
    }


def _laps(
    track: Track,
    crossings: list[tuple[float, Gate]],
    runs: tuple[Run, ...],
    channels: tuple[InventedChannel, ...],
) -> list[dict[str, Any]]:
    opening = "finish" if track.closed else "start"
    sector_ids = [gate.id for gate in track.gates_of_kind("sector")]
    laps: list[dict[str, Any]] = []
    begun: float | None = None
    passed: dict[str, float] = {}
    for time, gate in crossings:
        if gate.kind == "finish" and begun is not None:
            marks = [begun, *(passed.get(gate_id) for gate_id in sector_ids), time]
            laps.append(
                {
                    "number": len(laps) + 1,
                    "time_s": round(time - begun, 9),
                    "sectors_s": [
                        None if a is None or b is None else round(b - a, 9)
                        for a, b in pairwise(marks)
                    ],
                }
            )
            if channels:
                laps[-1]["channels"] = true_channels(channels, runs, marks)
            begun = None
        if gate.kind == opening:
            begun, passed = time, {}
        elif gate.kind == "sector":
            passed[gate.id] = time
    return laps


def truth_path(path: str | os.PathLike[str]) -> Path:
    """Name the file of true crossing times that goes with a practice recording."""
    return Path(f"{os.fspath(path)}.truth.json")


def write_simulation(
    simulation: Simulation, path: str | os.PathLike[str], *, force: bool = False
) -> Path:
    """Write a practice recording, and its truth beside it as ``RECORDING.truth.json``.

    Both are written or neither is.

    Parameters
    ----------
    simulation
        From `trackkit.simulate_drive`.
    path
        The recording to write; the format is that of its suffix.
    force
        Whether files that exist may be replaced.

    Returns
    -------
    Path
        Where the truth is.

    Raises
    ------
    OutputError
        As for `write_recording`.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, rate_hz=1, seed=1)
    >>> trackkit.write_simulation(drive, "monday.nmea", force=True).name
    'monday.nmea.truth.json'
    """
    content = encoded(simulation.recording, path)
    beside = truth_path(path)
    with (
        whole_file(path, force=force) as recording_scratch,
        whole_file(beside, force=force) as truth_scratch,
    ):
        recording_scratch.write_bytes(content)
        truth_scratch.write_text(json.dumps(simulation.truth, indent=1) + "\n", encoding="utf-8")
    return beside
