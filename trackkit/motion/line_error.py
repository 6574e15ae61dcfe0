"""How well a drive's slow error is known, having seen its laps beside each other; and before.

`trackkit.motion.repeated_line` has the model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.chain import Chain
from trackkit.motion.error_covariance import ErrorCovariance, weights_at_nodes
from trackkit.motion.line_model import LineLevels, Sideways, prior_information

_LEAST_MODE = 1e-5
"""Parts that move the error by less than this share of the largest are not kept with a report."""
_MANY = 0.2
"""Of so large a share of the nodes all are kept: that is faster than to leave the others out."""


@dataclass(frozen=True, eq=False, kw_only=True)
class ErrorBesideLine:
    """What is not known of a drive's slow error, at nodes along it.

    Parameters
    ----------
    node_s
        When the nodes are passed, rising, shape (n,).
    chain
        Of error and deviation, given the repeated line.
    moved_m
        What the error owes to what is not known of that line, shape (n, 2, modes).
    before
        The chain before the laps were seen beside each other.
    """

    node_s: Floats
    chain: Chain
    moved_m: Floats
    before: Chain

    def variance(self, time_s: Floats, slope: Floats) -> float:
        """Variance of a weighted sum of the drive's error at some times, having seen the laps.

        Parameters
        ----------
        time_s
            Shape (k,).
        slope
            Weights, east and north, shape (k, 2).
        """
        index, weight = weights_at_nodes(self.node_s, time_s, slope)
        moved = np.einsum("ij,ijk->k", weight, self.moved_m[index])
        return self.chain.variance(index, self._of_states(weight)) + float(moved @ moved)

    def variance_before(self, time_s: Floats, slope: Floats) -> float:
        """Variance of the same sum before the laps were seen beside each other."""
        index, weight = weights_at_nodes(self.node_s, time_s, slope)
        return self.before.variance(index, self._of_states(weight))

    def covariances(self, time_s: Floats, slope: Floats) -> tuple[Floats, Floats]:
        """Covariances of the drive's error at some times, seen along a direction at each.

        Parameters
        ----------
        time_s
            Shape (k,).
        slope
            Weights, east and north, shape (k, 2).

        Returns
        -------
        after, before
            Having seen the laps, and before, shape (k, k).
        """
        count, states = len(time_s), self.chain.states
        index, weight = weights_at_nodes(self.node_s, time_s, slope)
        right = np.zeros((self.chain.links, states, count))
        np.add.at(
            right,
            (index[:, None], np.arange(2), np.tile(np.arange(count), 2)[:, None]),
            weight,
        )
        flat = right.reshape(-1, count)
        moved = np.einsum("lak,lam->km", right[:, :2], self.moved_m)
        after = self.chain.squared(flat) + moved @ moved.T
        return after, self.before.squared(flat)

    def variance_left(self, alone: float, time_s: Floats, slope: Floats) -> float:
        """Variance of a sum over a corrected drive.

        What the drive alone does not know of it is slow, which the laps have told of, and fast,
        which they have not.

        Parameters
        ----------
        alone
            Variance of the sum over the drive as it was smoothed alone.
        time_s, slope
            As for `variance`.
        """
        fast = max(alone - self.variance_before(time_s, slope), 0.0)
        return fast + self.variance(time_s, slope)

    def error_covariance(self, time_s: Floats) -> ErrorCovariance:
        """Keep what it takes to tell the variances of sums over the drive's error at some times.

        Parameters
        ----------
        time_s
            Shape (k,).
        """
        index, _ = weights_at_nodes(self.node_s, time_s, np.zeros((len(time_s), 2)))
        kept = np.unique(index)
        if len(kept) > _MANY * len(self.node_s):
            return ErrorCovariance(
                self.node_s, self.moved_m, *self.chain.every(), *self.before.every()
            )
        moved = self.moved_m[kept].reshape(2 * len(kept), -1)
        # The modes that matter are those of the largest squares.
        square, mode = np.linalg.eigh(moved.T @ moved)
        told = square > _LEAST_MODE**2 * square.max(initial=0.0)
        return ErrorCovariance(
            self.node_s[kept],
            (moved @ mode[:, told]).reshape(len(kept), 2, -1),
            *self.chain.kept(kept),
            *self.before.kept(kept),
        )

    def _of_states(self, weight: Floats) -> Floats:
        wide = np.zeros((len(weight), self.chain.states))
        wide[:, :2] = weight
        return wide


def chain_before(side: Sideways, levels: LineLevels) -> Chain:
    """Chain error and deviation as they are before laps are seen beside each other."""
    return Chain.of(prior_information(side, levels)[0], levels.states)


def chain_beside_line(side: Sideways, levels: LineLevels) -> tuple[Chain, Floats, Floats, float]:
    """Chain error and deviation as they are given the line.

    Returns
    -------
    chain, trust, seen, density
        The chain; inverse variance of each node's offset, shape (n,); what an offset sees of a
        node's unknowns, shape (n, states); and what `prior_information` has for the likelihood.
    """
    states = levels.states
    band, density = prior_information(side, levels)
    trust = side.sigma_m**-2.0
    seen = np.zeros((len(side.time_s), states))
    seen[:, :2], seen[:, -2] = side.left, 1.0
    for column in range(states):
        for row in range(column, states):
            band[row - column, column::states] += trust * seen[:, row] * seen[:, column]
    return Chain.of(band, states), trust, seen, density
