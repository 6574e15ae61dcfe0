"""The uncertainty of a gate's times, by where along the lap it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Flags, Floats
from trackkit.gates.choose import elapsed_time_s
from trackkit.gates.driven import ASSUMED_LINE_M, driven_speed
from trackkit.geometry.bends import Bend, find_bends, smoothed_curvature
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import USUAL
from trackkit.motion.position_error import PositionError, Receiver, position_error
from trackkit.motion.vehicle import assumed_speed, vehicle_for
from trackkit.track.features import BESIDE_THE_TRACK, Gate
from trackkit.track.model import Track

if TYPE_CHECKING:
    from trackkit.motion.drive import Drive
    from trackkit.motion.repeated_line import RepeatedLine
    from trackkit.recordings.recording import Recording

LINE_KEPT_M = 75.0
"""A driver keeps to one side for about this long (common practice, no source)."""
STRAIGHTER_THAN_M = 1000.0
"""A line of a greater radius than this counts as straight."""
BRAKING_MPS2 = 2.0
"""Slowing down by more than this is braking."""
_SPACING_M = 2.0
_EASED_M = 10.0


@dataclass(frozen=True, eq=False)
class TimingQuality:
    """The uncertainty of a crossing at each place of the lap.

    Parameters
    ----------
    track
        The track.
    chainage_m
        Chainages the other arrays are for, metres, evenly spaced, shape (n,).
    speed_mps
        Speed there, m/s, shape (n,).
    line_sigma_m
        One sigma of the driven line to the side, metres, shape (n,).
    turned_rad
        Shape (n,): by how much the line has turned since the straight before, or will have turned
        until the straight after, whichever is less, within `LINE_KEPT_M`.
    error
        Of positions.
    basis
        What speeds and noise were taken from, a clause.
    recorded
        Whether speeds come from recordings.
    receiver
        Whose error that is; None where laps of its recording are not timed together.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> quality = trackkit.timing_quality(track)
    >>> quality.recorded, 30.0 < quality.lap_s < 90.0
    (False, True)
    >>> sorted(quality.of_gate(track.finish))
    ['acceleration_mps2', ..., 'session_lap_sigma_s', 'sigma_s', 'speed_mps']
    """

    track: Track
    chainage_m: Floats
    speed_mps: Floats
    line_sigma_m: Floats
    turned_rad: Floats
    error: PositionError
    basis: str
    recorded: bool
    receiver: Receiver | None = None

    def __repr__(self) -> str:
        return (
            f"{type(self).__name__}({self.track.name!r:.40}, crossings good to "
            f"{1e3 * self.sigma_s.min():.1f} to {1e3 * self.sigma_s.max():.1f} ms)"
        )

    @property
    def curve(self) -> Curve:
        """The track's line."""
        return self.track.curve

    @cached_property
    def bends(self) -> list[Bend]:
        """The bends of the line, found once for all gates that are judged by them."""
        return find_bends(self.curve)[0]

    @property
    def receiver_sigma_s(self) -> Floats:
        """One sigma of a crossing by the receiver: position error along the track over speed."""
        return np.asarray(self.error.sigma_m / self.speed_mps)

    @property
    def line_sigma_s(self) -> Floats:
        """One sigma of a crossing by the line driven.

        A line that stays y to the side through a bend that has turned by an angle is longer or
        shorter by y times that angle (plane geometry of parallel curves), so that the same
        driving comes to the gate that much earlier or later.
        """
        return np.asarray(self.line_sigma_m * self.turned_rad / self.speed_mps)

    @property
    def sigma_s(self) -> Floats:
        """One sigma of a crossing, both together."""
        return np.asarray(np.hypot(self.receiver_sigma_s, self.line_sigma_s))

    @property
    def _ends_m(self) -> Floats:
        closing = [self.curve.length_m] if self.curve.closed else []
        return np.append(self.chainage_m, closing)

    @cached_property
    def elapsed_s(self) -> Floats:
        """Time from chainage 0 to each place and, where closed, round to it again."""
        closing = [self.speed_mps[0]] if self.curve.closed else []
        return elapsed_time_s(self._ends_m, np.append(self.speed_mps, closing))

    @property
    def lap_s(self) -> float:
        """Time of a lap, or from end to end of an open course, at these speeds."""
        return float(self.elapsed_s[-1])

    @cached_property
    def acceleration_mps2(self) -> Floats:
        """How speed grows along the lap, averaged over 10 m, shape (n,)."""
        step = self.chainage_m[1] - self.chainage_m[0]
        reach = max(1, round(0.5 * _EASED_M / step))
        squared = np.pad(self.speed_mps**2, reach, mode="wrap" if self.curve.closed else "edge")
        return np.asarray((squared[2 * reach :] - squared[: -2 * reach]) / (4.0 * reach * step))

    @property
    def braking(self) -> Flags:
        """Where cars brake, shape (n,)."""
        return np.asarray(self.acceleration_mps2 < -BRAKING_MPS2)

    def at(self, values: Floats, chainage_m: ArrayLike) -> Floats:
        """Read one of the arrays above between its places.

        Parameters
        ----------
        values
            One of them, shape (n,).
        chainage_m
            Where to read it, metres, any shape.

        Returns
        -------
        ndarray
            The value at each place, in the array's own unit.
        """
        period = self.curve.length_m if self.curve.closed else None
        where = np.asarray(chainage_m, dtype=float)
        return np.asarray(np.interp(where, self.chainage_m, values, period=period))

    @property
    def session_laps(self) -> int:
        """Of how many laps timed together `session_lap_sigma_s` is; 0 where of none."""
        from trackkit.gates.session_quality import session_laps

        if self.receiver is None or not self.curve.closed:
            return 0
        return session_laps(self.receiver, self.lap_s)

    @cached_property
    def _session_line(self) -> RepeatedLine:
        from trackkit.gates.session_quality import session_line

        assert self.receiver is not None  # noqa: S101 - there are laps
        return session_line(self.track, self.receiver, self.session_laps, self.passed_s)

    def session_lap_sigma_s(self, chainage_m: float) -> float | None:
        """Predict one sigma of a lap time where all laps of a session are timed together.

        Parameters
        ----------
        chainage_m
            Where laps begin and end, metres.

        Returns
        -------
        float or None
            Seconds; None where `session_laps` is 0.
        """
        from trackkit.gates.session_quality import session_lap_sigma_s

        if not (laps := self.session_laps):
            return None
        slowness = self.curve.direction(chainage_m) / self.at(self.speed_mps, chainage_m)
        begun, alone = float(self.passed_s(chainage_m)), float(self.lap_sigma_s(chainage_m))
        line = self._session_line
        return session_lap_sigma_s(line, laps, begun, self.lap_s, np.asarray(slowness), alone)

    def of_gate(self, gate: Gate) -> dict[str, float] | None:
        """Tell what a gate's times are worth.

        Parameters
        ----------
        gate
            A gate of the track.

        Returns
        -------
        dict or None
            As in JSON: speed, m/s, and acceleration, m/s^2, of passages there; one sigma, seconds,
            of a crossing, and its parts from the receiver and from the line; of a lap from there
            where the track is closed, by itself and in a session.  None for a gate in the pit lane,
            whose speeds are not known.
        """
        if gate.kind in BESIDE_THE_TRACK:
            return None
        at = gate.chainage_m
        worth = {
            "speed_mps": self.at(self.speed_mps, at),
            "acceleration_mps2": self.at(self.acceleration_mps2, at),
            "sigma_s": self.at(self.sigma_s, at),
            "receiver_sigma_s": self.at(self.receiver_sigma_s, at),
            "line_sigma_s": self.at(self.line_sigma_s, at),
        }
        if self.curve.closed:
            worth["lap_sigma_s"] = self.lap_sigma_s(at)
        together = self.session_lap_sigma_s(at)
        if together is not None:
            worth["session_lap_sigma_s"] = np.asarray(together)
        return {key: round(float(value), 6) for key, value in worth.items()}

    def passed_s(self, chainage_m: ArrayLike) -> Floats:
        """Time from chainage 0 to some places; beyond a lap it goes on growing.

        Parameters
        ----------
        chainage_m
            Where to, metres, any shape.

        Returns
        -------
        ndarray
            Seconds, one a place.
        """
        chainage = np.asarray(chainage_m, dtype=float)
        if not self.curve.closed:
            return np.asarray(np.interp(chainage, self._ends_m, self.elapsed_s))
        laps = np.floor(chainage / self.curve.length_m)
        rest = chainage - laps * self.curve.length_m
        return np.asarray(laps * self.lap_s + np.interp(rest, self._ends_m, self.elapsed_s))

    def sector_variance(self, begin_m: ArrayLike, end_m: ArrayLike) -> Floats:
        """Variance of the time from one place to another, s^2, broadcast; the end may be a lap on.

        Each crossing is late by the error along the track over the speed.  The two errors belong
        to one slow wander: where the track points the same way and speeds are alike they cancel,
        where it points the other way they add up.

        Parameters
        ----------
        begin_m, end_m
            Chainages, metres, broadcast against each other.

        Returns
        -------
        ndarray
            Variance, seconds squared, one a pair of places.
        """
        begin, end = np.asarray(begin_m, dtype=float), np.asarray(end_m, dtype=float)
        slow = [
            self.curve.direction(c) / self.at(self.speed_mps, c)[..., None] for c in (begin, end)
        ]
        lag = np.maximum(self.passed_s(end) - self.passed_s(begin), 1e-9)
        own = sum((slowness**2).sum(axis=-1) for slowness in slow) * self.error.covariance(0.0)
        shared = 2.0 * (slow[0] * slow[1]).sum(axis=-1) * self.error.covariance(lag)
        line = sum(self.at(self.line_sigma_s, c) ** 2 for c in (begin, end))
        return np.asarray(own - shared + line)

    def lap_sigma_s(self, chainage_m: ArrayLike) -> Floats:
        """One sigma of the time of a lap that begins and ends at a place; the line left out.

        Parameters
        ----------
        chainage_m
            The place, metres, any shape.

        Returns
        -------
        ndarray
            Seconds, one a place.
        """
        spread = self.error.covariance(0.0) - self.error.covariance(self.lap_s)
        return np.asarray(np.sqrt(2.0 * spread) / self.at(self.speed_mps, chainage_m))


def timing_quality(
    track: Track, recordings: Sequence[Recording] = (), *, receiver: Receiver | None = None
) -> TimingQuality:
    """Work out the uncertainty of crossings along a track.

    Parameters
    ----------
    track
        The track; it needs no gates.
    recordings
        Of it.  Without any, speeds are those of a simple vehicle (`assumed_speed`), and the
        receiver is the usual one.
    receiver
        Noise to reckon with; read from the recordings, or usual, when None.

    Returns
    -------
    TimingQuality
        Of every place along the track; `TimingQuality.of_gate` reads it at a gate.

    Raises
    ------
    NoLapError
        When the recordings do not cover the track.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> quality = trackkit.timing_quality(track)
    >>> 0.0 < quality.of_gate(track.finish)["sigma_s"] < 0.1
    True
    """
    if not recordings:
        curve = track.curve
        chainage = curve.chainages(_SPACING_M)
        turned = _turned(curve, chainage)
        vehicle = vehicle_for(track)
        receiver = receiver or Receiver()
        return TimingQuality(
            track,
            chainage,
            assumed_speed(curve, chainage, vehicle),
            np.full(len(chainage), ASSUMED_LINE_M),
            turned,
            position_error(receiver),
            f"speeds assumed from curvature (top speed {3.6 * vehicle.top_mps:.0f} km/h, "
            f"{vehicle.lateral_mps2:g} m/s² sideways, {vehicle.accelerating_mps2:g} and "
            f"{vehicle.braking_mps2:g} m/s² gaining and braking), and {_described(receiver)}",
            recorded=False,
            receiver=receiver,
        )
    from trackkit.motion.smooth import smooth

    drives = [smooth(recording, track.plane) for recording in recordings]
    return driven_quality(track, drives, receiver=receiver)


def _described(receiver: Receiver) -> str:
    """Say what is assumed of a receiver where no recording tells."""
    levels = receiver.levels
    which = "the usual receiver" if levels == USUAL else "a receiver"
    speeds = "with Doppler velocities" if receiver.doppler else "with positions alone"
    return (
        f"{which} ({1 / receiver.interval_s:.0f} Hz {speeds}, wander {levels.wander_m:.1f} m and "
        f"noise {levels.white_m:.2f} m, one sigma) in a session of "
        f"{receiver.session_s / 60:.0f} min"
    )


def driven_quality(
    track: Track, drives: Sequence[Drive], *, receiver: Receiver | None = None
) -> TimingQuality:
    """Work out the uncertainty of crossings along a track from smoothed drives, one or more.

    Raises
    ------
    NoLapError
        When the drives do not cover the track.
    """
    chainage = track.curve.chainages(_SPACING_M)
    turned = _turned(track.curve, chainage)
    speed, line_sigma = driven_speed(track, drives, chainage)
    receivers = [receiver or Receiver.of(drive) for drive in drives]
    worst = max(receivers, key=lambda some: position_error(some).sigma_m)
    together = not any(drive.has_speed_alone for drive in drives)
    many = f"{len(drives)} recordings" if len(drives) > 1 else "the recording"
    return TimingQuality(
        track,
        chainage,
        speed,
        line_sigma,
        turned,
        position_error(worst),
        f"speeds, line and receiver's noise from {many}",
        recorded=True,
        receiver=worst if together else None,
    )


def _turned(curve: Curve, chainage_m: Floats) -> Floats:
    """Angle turned since the last straight, or until the next, whichever is less, radians.

    No more counts than what is turned within `LINE_KEPT_M`: a line does not stay to one side for
    longer.
    """
    step = float(chainage_m[1] - chainage_m[0])
    bend = smoothed_curvature(curve, chainage_m)
    hand = np.where(np.abs(bend) > 1.0 / STRAIGHTER_THAN_M, np.sign(bend), 0.0)
    laps = 3 if curve.closed else 1
    turn, side = np.tile(np.abs(bend) * step, laps), np.tile(hand, laps)
    forward = _accumulated(turn, side)
    backward = _accumulated(turn[::-1], side[::-1])[::-1]
    least = np.minimum(forward, backward)
    total = np.concatenate([[0.0], np.cumsum(turn)])
    index = np.arange(len(turn)) + 1
    kept = total[index] - total[np.maximum(index - round(LINE_KEPT_M / step), 0)]
    least = np.minimum(least, kept)
    count = len(chainage_m)
    return np.asarray(least[count : 2 * count] if curve.closed else least)


def _accumulated(turn: Floats, side: Floats) -> Floats:
    total, out = 0.0, np.zeros(len(turn))
    for i, (angle, hand) in enumerate(zip(turn.tolist(), side.tolist(), strict=True)):
        fresh = hand == 0.0 or (i > 0 and side[i - 1] != hand)
        total = (0.0 if hand == 0.0 else angle) if fresh else total + angle
        out[i] = total
    return out
