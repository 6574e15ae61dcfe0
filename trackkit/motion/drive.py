"""The smoothed drive: where a recording's vehicle most probably was, and how fast it went.

Recordings are smoothed by `trackkit.motion.smooth`, with the model of `trackkit.motion.smoother`.
"""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats, Indices
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.fix_covariance import FixCovariance, bridged_variances, state_weights
from trackkit.motion.line_error import ErrorBesideLine
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.noise_levels import tells_wander
from trackkit.motion.quintic import coefficients, jerk_variance, motion_weights, quintic
from trackkit.motion.repeated_line import RepeatedLine
from trackkit.motion.smoother import Solution, solve
from trackkit.motion.stretch_covariance import StretchCovariance
from trackkit.motion.variance import remainders_after, sum_covariance, sum_variance
from trackkit.recordings.recording import Recording

LONGEST_GAP_S = 10.0
"""A gap longer than this (and than five usual intervals) breaks the drive into pieces."""
STANDING_MPS = 0.3
"""Below this speed receivers give no usable course."""
_HALVINGS = 45
"""Bisections of the time between two fixes, to find when a line is met."""


@dataclass(frozen=True, eq=False)
class Drive:
    """A recording smoothed on a plane.

    Parameters
    ----------
    recording
        What it was made from.
    plane
        The plane of the positions.
    time_s
        Seconds from the first fix, shape (n,).
    position_m, velocity_mps, acceleration_mps2, wander_m
        Metres, metres a second and metres a second squared, shape (n, 2), east and north.
    piece
        Number of the unbroken stretch each fix belongs to, shape (n,).
    trust
        Trust in each position, 0 (stray) to 1, shape (n,).
    levels
        The noise levels it was smoothed with.
    line
        How well it is known, by the line its laps repeat, how far the drive was off, where that
        told it: it has been taken off.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, seed=1)
    >>> report = trackkit.time_laps(track, drive.recording)
    >>> drive = report.drive
    >>> position_m, velocity_mps = drive.at([60.0, 60.5])
    >>> position_m.shape, bool(drive.speed_mps.max() > 20.0)
    ((2, 2), True)
    """

    recording: Recording
    plane: LocalPlane
    time_s: Floats
    position_m: Floats
    velocity_mps: Floats
    acceleration_mps2: Floats
    wander_m: Floats
    piece: Indices
    trust: Floats
    levels: Levels
    _measured: Measured
    _solution: Solution
    line: ErrorBesideLine | None = None
    _remainders: dict[int, Floats] = field(default_factory=dict)
    _prepared: list[FixCovariance] = field(default_factory=list)
    _uncorrected: Drive | None = None

    def __repr__(self) -> str:
        fixes = f"{len(self.time_s):,} fixes"
        pieces = f"{int(self.piece[-1]) + 1:,} piece{'s' if self.piece[-1] else ''}"
        return f"Drive({reprlib.repr(self.recording.name)}, {fixes}, {pieces})"

    @property
    def speed_mps(self) -> Floats:
        """Speed over ground, m/s, shape (n,)."""
        return np.asarray(np.hypot(self.velocity_mps[:, 0], self.velocity_mps[:, 1]))

    @property
    def measured_m(self) -> Floats:
        """Positions as they were recorded, metres east and north, shape (n, 2)."""
        return self._measured.position_m

    @property
    def wander_from_recording(self) -> bool:
        """Whether the wander's level was read from the recording itself."""
        return tells_wander(self._measured)

    @property
    def has_doppler(self) -> bool:
        """Whether the recording carries velocities, as speed and course."""
        return self.recording.speed_mps is not None and self.recording.course_deg is not None

    @property
    def has_speed_alone(self) -> bool:
        """Whether speeds were measured along the drive, their direction not being known."""
        return self._measured.direction is not None

    def at(self, time_s: ArrayLike) -> tuple[Floats, Floats]:
        """Position and velocity between fixes: the most probable ones under the motion model.

        Parameters
        ----------
        time_s
            Shape (k,), seconds from the first fix, held within the recording.

        Returns
        -------
        position_m, velocity_mps
            Shape (k, 2) each, east and north, metres and metres a second.
        """
        return self.between(*self._place(time_s))

    def _place(self, time_s: ArrayLike) -> tuple[Indices, Floats]:
        """Find the fixes before some times, and shares of the time to the next fix."""
        time = np.clip(np.asarray(time_s, dtype=float), self.time_s[0], self.time_s[-1])
        index = np.searchsorted(self.time_s, time, side="right") - 1
        index = np.clip(index, 0, max(len(self.time_s) - 2, 0))
        following = np.minimum(index + 1, len(self.time_s) - 1)
        span = np.maximum(self.time_s[following] - self.time_s[index], 1e-9)
        return index, (time - self.time_s[index]) / span

    def between(self, index: Indices, share: Floats) -> tuple[Floats, Floats]:
        """Position and velocity a share of the way from a fix to the next.

        Parameters
        ----------
        index
            The fixes, shape (k,).
        share
            Of the time to the next fix, 0 to 1, shape (k,).

        Returns
        -------
        position_m, velocity_mps
            Shape (k, 2), of the most probable motion (`trackkit.motion.quintic`).
        """
        states, span = self._states_around(index)
        position, velocity = quintic(share, span)
        return (
            np.einsum("ki,kij->kj", position, states),
            np.einsum("ki,kij->kj", velocity, states),
        )

    def motion_at(self, time_s: ArrayLike) -> tuple[Indices, Floats, Floats]:
        """Where times lie between fixes, and the most probable motion then.

        Parameters
        ----------
        time_s
            Shape (k,), seconds from the first fix, held within the recording.

        Returns
        -------
        index, share
            Fixes before, and shares of the time to the next fix that have gone by, shape (k,).
        motion
            Position, velocity and acceleration, east and north, shape (k, 3, 2).
        """
        index, share = self._place(time_s)
        states, span = self._states_around(index)
        return index, share, np.einsum("kci,kij->kcj", motion_weights(share, span), states)

    def shares_at_line(self, index: Indices, point_m: Floats, forward: Floats) -> Floats:
        """Find when a straight line is met on the way from some fixes to the next.

        Parameters
        ----------
        index
            Fixes behind the line whose next is not, shape (k,).
        point_m
            A place on the line, metres, shape (2,).
        forward
            Unit vector square to the line, towards its front, shape (2,).

        Returns
        -------
        ndarray
            Share of the time to the next fix that has gone by then, shape (k,), to 3e-14.
        """
        states, span = self._states_around(index)
        ahead = states @ forward
        ahead[:, [0, 3]] -= point_m @ forward
        last, *lower = coefficients(ahead, span).T[::-1]
        share, half = np.zeros(len(index)), 0.5
        for _ in range(_HALVINGS):
            value = last
            for coefficient in lower:
                value = value * (share + half) + coefficient
            share = share + half * (value < 0)
            half *= 0.5
        return share + half

    def _states_around(self, index: Indices) -> tuple[Floats, Floats]:
        """Position, velocity and acceleration at fixes and the next, (k, 6, 2), and the time."""
        following = np.minimum(index + 1, len(self.time_s) - 1)
        states = np.stack(
            [
                column[at]
                for at in (index, following)
                for column in (self.position_m, self.velocity_mps, self.acceleration_mps2)
            ],
            axis=1,
        )
        # A lone fix is followed by itself.
        return states, np.maximum(self.time_s[following] - self.time_s[index], 1e-9)

    def variance(
        self,
        index: Indices,
        share: Floats,
        slope: Floats,
    ) -> float:
        """Variance of a weighted sum of positions between fixes.

        Parameters
        ----------
        index, share
            Where, as in `between`; shape (k,).
        slope
            Weight of each position, east and north, shape (k, 2); in seconds a metre for the
            variance of a time.

        Returns
        -------
        float
            The variance, in the unit of the sum squared: square metres, or square seconds.
        """
        fixes = np.concatenate([index, index + 1])
        for prepared in self._prepared:
            if prepared.keeps(fixes):
                return prepared.variance(index, share, slope)
        if self._in_pieces:
            return self.fix_covariance(index.tolist()).variance(index, share, slope)
        span = self.time_s[index + 1] - self.time_s[index]
        at = np.concatenate([index, index + 1])
        weight = state_weights(self.levels, span, share, slope)
        alone = sum_variance(self._solution, at, weight, self._remainders)
        alone += float(bridged_variances(self.levels, span, share, slope).sum())
        if self.line is None:
            return alone
        return self.line.variance_left(alone, self.time_s[index] + share * span, slope)

    def variances(self, index: Indices, share: Floats, slope: Floats) -> Floats:
        """Variances of several weighted sums of as many positions each.

        Parameters
        ----------
        index, share
            As for `variance`, shape (j, k).
        slope
            Shape (j, k, 2).

        Returns
        -------
        Floats
            Shape (j,).
        """
        return self.fix_covariance(index.ravel().tolist()).variances(index, share, slope)

    def fix_covariance(self, index: Iterable[int]) -> FixCovariance:
        """Covariance of positions after some fixes, for when the drive itself is not kept.

        Parameters
        ----------
        index
            The fixes before those positions.

        Returns
        -------
        FixCovariance
            Whose `variance` is that of the drive.
        """
        before = np.fromiter(index, dtype=np.intp)
        fixes = np.concatenate([before, before + 1])
        for prepared in self._prepared:
            if prepared.keeps(fixes):
                return prepared
        return FixCovariance.of(self._solution, self.time_s, fixes, self.line)

    def covariance(self, index: Indices, share: Floats) -> Floats:
        """Covariance of positions between fixes, m^2.

        Parameters
        ----------
        index, share
            Where, as in `between`; shape (k,).

        Returns
        -------
        Floats
            Shape (k, 2, k, 2): position and axis, position and axis.
        """
        span = self.time_s[index + 1] - self.time_s[index]
        basis, _ = quintic(share, span)
        weight = np.zeros((len(index), 2, self.levels.states))
        weight[:, 0, :3], weight[:, 1, :3] = basis[:, :3], basis[:, 3:]
        fixes = np.stack([index, index + 1], axis=1)
        covariance = sum_covariance(self._solution, fixes, weight)
        bridge = jerk_variance(self.levels.jerk, share, span)
        place = np.arange(len(index))
        for axis in range(2):
            covariance[place, axis, place, axis] += bridge
        return covariance

    def stretch_covariances(
        self, stretches: Sequence[tuple[int, int]]
    ) -> Iterator[StretchCovariance]:
        """How well the motion is known all along some stretches, such as laps.

        Parameters
        ----------
        stretches
            First and last fix of each, in order of time.

        Yields
        ------
        StretchCovariance
            Of each.
        """
        beyond = dict(self._remainders)
        beyond |= remainders_after(self._solution, [last for _, last in stretches], beyond)
        for first, last in stretches:
            yield StretchCovariance.of(self._solution, self.time_s, first, last, beyond[last])

    @property
    def _in_pieces(self) -> bool:
        """Whether the drive is so long that its factor is not kept as a whole."""
        return len(self._solution.factor.pieces) > 1

    def prepare_variances(self, index: Iterable[int]) -> None:
        """Work out at once what `variance` needs, for sums whose last places are these.

        What was worked out for other places is dropped.

        Parameters
        ----------
        index
            Fixes behind those places, as in `between`.
        """
        self._prepared[:] = [self.fix_covariance([*index])]

    def corrected(self, line: RepeatedLine) -> Drive:
        """Take off what the laps say that the drive is off.

        Parameters
        ----------
        line
            Found from this drive.

        Returns
        -------
        Drive
            Whose positions, velocities and wander make the same measurements as before.
        """
        error, rate = line.error_at(self.time_s)
        return replace(
            self,
            position_m=self.position_m - error,
            velocity_mps=self.velocity_mps - rate,
            wander_m=self.wander_m + error,
            line=line,
            _prepared=[],
            _uncorrected=self,
        )

    def alone(self) -> Drive:
        """Return the drive before its laps told how far it is off.

        Returns
        -------
        Drive
            As it was smoothed: what is held against the line of a track must not have been drawn
            towards it.
        """
        return self._uncorrected or self

    def with_levels(self, levels: Levels) -> Drive:
        """Smooth the same recording with other noise levels.

        Parameters
        ----------
        levels
            The noise levels.

        Returns
        -------
        Drive
            On the same plane, at the same times.
        """
        return drive_of(self.recording, self.plane, self._measured, self.piece, levels, self.trust)


def drive_of(
    recording: Recording,
    plane: LocalPlane,
    measured: Measured,
    piece: Indices,
    levels: Levels,
    trust: Floats,
    solution: Solution | None = None,
) -> Drive:
    """Lay out the most probable drive behind what was measured, solved for where it is not yet."""
    if solution is None:
        solution = solve(measured, levels, trust)
    position, velocity, acceleration, wander = (solution.state[:, i] for i in range(4))
    return Drive(
        recording=recording,
        plane=plane,
        time_s=recording.time_s,
        position_m=position,
        velocity_mps=velocity,
        acceleration_mps2=acceleration,
        wander_m=wander,
        piece=piece,
        trust=trust,
        levels=levels,
        _measured=measured,
        _solution=solution,
    )
