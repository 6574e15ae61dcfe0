"""The information that a noise model has of a drive, from which the most probable drive follows.

Per axis and fix the unknowns are position p, velocity v, acceleration a, the receiver's wander w
and, where Doppler noise is correlated, its slow part d.  Truth moves with white jerk, w and d are
first-order Gauss-Markov processes, a measured position is p + w and a measured velocity v + d,
each with white noise.  The unknowns of one fix meet only those of the next, so that the
information matrix is banded (Brown & Hwang, Introduction to Random Signals and Applied Kalman
Filtering; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.motion.gauss_markov import transition
from trackkit.motion.noise import Levels, Measured

POSITION, VELOCITY, ACCELERATION, WANDER, DOPPLER = range(5)
"""Places of the unknowns of one fix on one axis."""

_STILL_MPS = 1e3
_STILL_MPS2 = 1e2
"""A vehicle's speed and acceleration are bounded: this keeps a lone fix solvable."""
_STRAY = 1e-3
"""A position trusted less than this counts as a stray one."""
LEAST_LEEWAY_M = 3e-6
"""How far truth may leave a smooth path between two fixes at least, one sigma.

Fixes a few milliseconds apart would tie their positions together so tightly that float64 holds
nothing else about them.
"""


class _Band:
    """A symmetric block-tridiagonal matrix in LAPACK's lower banded form.

    Its blocks hold the unknowns of one axis, or of both axes one after the other.
    """

    def __init__(self, count: int, states: int, axes: int) -> None:
        self.count, self.block = count, states * axes
        self.offsets = range(0, states * axes, states)
        self.rows = np.zeros((2 * self.block, count * self.block))

    def add(self, row: int, column: int, value: Floats | float, part: slice = slice(None)) -> None:
        """Add to entry (row, column), row >= column, of the diagonal blocks, on every axis."""
        for offset in self.offsets:
            self.rows[row - column, offset + column :: self.block][part] += value

    def add_below(self, row: int, column: int, value: Floats) -> None:
        """Add to entry (row, column) of the blocks that tie each fix to the one before it."""
        end = (self.count - 1) * self.block
        for offset in self.offsets:
            self.rows[self.block + row - column, offset + column : end : self.block] += value

    def add_axes(self, row: int, column: int, value: Floats) -> None:
        """Add to entry (row, column), row >= column, of the blocks of both axes together."""
        self.rows[row - column, column :: self.block] += value


@dataclass(frozen=True, eq=False)
class Model:
    """What the noise model makes of each fix and of each step to the next.

    Parameters
    ----------
    measured
        What was measured.
    levels
        The noise levels.
    step_s
        Time from each fix to the next, shape (n - 1,).
    jerk_information
        Inverse covariance of what white jerk adds to (p, v, a) over each step, the six entries on
        and above the diagonal, shape (6, n - 1); 0 where a drive is broken off.
    slow
        For the wander and the correlated Doppler noise: place among the unknowns, information at
        the first fix, share left after each step, information on the rest.
    fresh
        Fixes that begin a piece, shape (n,).
    position_trust, velocity_trust
        Information of each measured position and velocity, shape (n,).
    """

    measured: Measured
    levels: Levels
    step_s: Floats
    jerk_information: Floats
    slow: tuple[tuple[int, float, Floats, Floats], ...]
    fresh: Flags
    position_trust: Floats
    velocity_trust: Floats

    @classmethod
    def of(
        cls, measured: Measured, levels: Levels, weight: Floats, leeway_m: float = LEAST_LEEWAY_M
    ) -> Model:
        """Work out the information of a recording's steps and measurements.

        Over a time h, white jerk of unit density gives (p, v, a) the covariance [[h^5/20, h^4/8,
        h^3/6], [h^4/8, h^3/3, h^2/2], [h^3/6, h^2/2, h]]; its inverse is written out below.
        """
        step = np.diff(measured.time_s)
        shortest = (leeway_m**2 * 720.0 / levels.jerk) ** 0.2
        inverse = 1.0 / np.maximum(step, shortest)
        unit = np.where(measured.joined, inverse / levels.jerk, 0.0)
        jerk_information = np.stack(
            [
                720.0 * unit * inverse**4,
                -360.0 * unit * inverse**3,
                60.0 * unit * inverse**2,
                192.0 * unit * inverse**2,
                -36.0 * unit * inverse,
                9.0 * unit,
            ]
        )
        slow = [_slow(WANDER, levels.wander_m, levels.wander_time_s, step)]
        if levels.states > DOPPLER:
            slow.append(_slow(DOPPLER, levels.slow_doppler_mps, levels.slow_doppler_time_s, step))
        has_velocity = np.isfinite(measured.velocity_mps[:, 0])
        worse = 1.0 if measured.velocity_scale is None else measured.velocity_scale
        return cls(
            measured,
            levels,
            step,
            jerk_information,
            tuple(slow),
            np.concatenate([[True], ~measured.joined]),
            weight / (levels.white_m * measured.scale) ** 2,
            np.where(has_velocity, (levels.doppler_mps * worse) ** -2, 0.0),
        )

    def pull(self, state: Floats) -> tuple[Floats, float]:
        """Return how model and measurements pull at a state, and the weighted squares left.

        Parameters
        ----------
        state
            Shape (states, 2, n).

        Returns
        -------
        pull, squares
            Half the gradient of the weighted squares, downhill, shape (states, 2, n); and the
            squares themselves.
        """
        pull = np.zeros_like(state)
        squares = 0.0
        h = self.step_s
        jerked = state[:3, :, 1:] - state[:3, :, :-1]
        jerked[0] -= h * state[1, :, :-1] + (0.5 * h**2) * state[2, :, :-1]
        jerked[1] -= h * state[2, :, :-1]
        pp, pv, pa, vv, va, aa = self.jerk_information
        force = np.stack(
            [
                pp * jerked[0] + pv * jerked[1] + pa * jerked[2],
                pv * jerked[0] + vv * jerked[1] + va * jerked[2],
                pa * jerked[0] + va * jerked[1] + aa * jerked[2],
            ]
        )
        squares += float(np.einsum("ijk,ijk->", jerked, force))
        pull[:3, :, 1:] -= force
        pull[:3, :, :-1] += force
        pull[1, :, :-1] += h * force[0]
        pull[2, :, :-1] += h * force[1] + (0.5 * h**2) * force[0]
        for place, limit in ((VELOCITY, _STILL_MPS), (ACCELERATION, _STILL_MPS2)):
            still = np.where(self.fresh, limit**-2, 0.0) * state[place]
            pull[place] -= still
            squares += float(np.einsum("ij,ij->", still, state[place]))
        for place, first, kept, information in self.slow:
            renewed = state[place, :, 1:] - kept * state[place, :, :-1]
            strain = information * renewed
            pull[place, :, 1:] -= strain
            pull[place, :, :-1] += kept * strain
            pull[place, :, 0] -= first * state[place, :, 0]
            squares += float(np.einsum("ij,ij->", renewed, strain))
            squares += first * float((state[place, :, 0] ** 2).sum())
        away = self.measured.position_m.T - state[POSITION] - state[WANDER]
        strain = self.position_trust * away
        pull[POSITION] += strain
        pull[WANDER] += strain
        squares += float(np.einsum("ij,ij->", away, strain))
        return pull, squares + self._velocity_pull(state, pull)

    def _velocity_pull(self, state: Floats, pull: Floats) -> float:
        if not self.velocity_trust.any():
            return 0.0
        away = np.nan_to_num(self.measured.velocity_mps.T) - state[VELOCITY]
        if self.levels.states > DOPPLER:
            away = away - state[DOPPLER]
        if self.measured.direction is not None:
            direction = self.measured.direction.T
            away = np.einsum("ij,ij->j", away, direction) * direction
        strain = self.velocity_trust * away
        pull[VELOCITY] += strain
        if self.levels.states > DOPPLER:
            pull[DOPPLER] += strain
        return float(np.einsum("ij,ij->", away, strain))

    def matrix(self, axes: int) -> Floats:
        """Lay the information matrix out in LAPACK's lower banded form."""
        band = _Band(len(self.measured.time_s), self.levels.states, axes)
        h = self.step_s
        pp, pv, pa, vv, va, aa = self.jerk_information
        entry = ((pp, pv, pa), (pv, vv, va), (pa, va, aa))
        # Information times the motion over a step: what ties a fix to the one before it.
        tie = [
            (row[0], row[0] * h + row[1], row[0] * (0.5 * h**2) + row[1] * h + row[2])
            for row in entry
        ]
        back = (
            tie[0],
            tuple(h * a + b for a, b in zip(tie[0], tie[1], strict=True)),
            tuple(
                (0.5 * h**2) * a + h * b + c for a, b, c in zip(tie[0], tie[1], tie[2], strict=True)
            ),
        )
        for row in range(3):
            for column in range(3):
                band.add_below(row, column, -tie[row][column])
                if row >= column:
                    band.add(row, column, back[row][column], slice(None, -1))
                    band.add(row, column, entry[row][column], slice(1, None))
        band.add(VELOCITY, VELOCITY, np.where(self.fresh, _STILL_MPS**-2, 0.0))
        band.add(ACCELERATION, ACCELERATION, np.where(self.fresh, _STILL_MPS2**-2, 0.0))
        for place, first, kept, information in self.slow:
            band.add(place, place, first, slice(0, 1))
            band.add(place, place, kept**2 * information, slice(None, -1))
            band.add(place, place, information, slice(1, None))
            band.add_below(place, place, -kept * information)
        for row, column in ((POSITION, POSITION), (WANDER, POSITION), (WANDER, WANDER)):
            band.add(row, column, self.position_trust)
        self._add_velocity(band)
        return band.rows

    def _add_velocity(self, band: _Band) -> None:
        trust = self.velocity_trust
        if not trust.any():
            return
        places = [VELOCITY, DOPPLER] if self.levels.states > DOPPLER else [VELOCITY]
        pairs = [(row, column) for row in places for column in places]
        if self.measured.direction is None:
            for row, column in pairs:
                if row >= column:
                    band.add(row, column, trust)
            return
        east, north = self.measured.direction.T
        second = self.levels.states
        for row, column in pairs:
            if row >= column:
                band.add_axes(row, column, trust * east * east)
                band.add_axes(second + row, second + column, trust * north * north)
            band.add_axes(second + row, column, trust * east * north)

    def log_scale(self, axes: int) -> float:
        """Half the log-determinant of all covariances, both axes, as far as levels set it."""
        steps = int(np.count_nonzero(self.measured.joined))
        scale = 3.0 * steps * float(np.log(self.levels.jerk))
        for _, first, _, information in self.slow:
            scale -= float(np.log(first)) + float(np.log(information).sum())
        usual = (self.levels.white_m * self.measured.scale) ** -2
        trusted = self.position_trust > _STRAY * usual
        scale -= float(np.log(self.position_trust[trusted]).sum())
        # A position that is not trusted counts as a stray one, uniform over a square of 100 m.
        scale += 2.0 * float(np.log(100.0)) * int(np.count_nonzero(~trusted))
        used = self.velocity_trust[self.velocity_trust > 0]
        return scale - float(np.log(used).sum()) / axes


def _slow(
    place: int, sigma: float, time_constant_s: float, step_s: Floats
) -> tuple[int, float, Floats, Floats]:
    kept, fresh = transition(step_s, time_constant_s)
    return place, sigma**-2, kept, 1.0 / (sigma**2 * fresh)
