"""How well sums over a drive's slow error are known, kept when the drive itself is not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackkit.arrays import Floats, Indices


@dataclass(frozen=True, eq=False)
class ErrorCovariance:
    """Covariance of a drive's error at some nodes, for when the drive itself is not kept.

    Parameters
    ----------
    node_s
        The nodes kept, rising, shape (m,).
    moved_m
        What their error owes to what is not known of the repeated line, shape (m, 2, modes).
    covariance, onward
        Of their unknowns given the line, shape (m, states, states), and how those of each follow
        from those of the next, shape (m - 1, states, states).
    covariance_before, onward_before
        The same before the laps were seen beside each other.
    """

    node_s: Floats
    moved_m: Floats
    covariance: Floats
    onward: Floats
    covariance_before: Floats
    onward_before: Floats

    def variance_left(self, alone: float, time_s: Floats, slope: Floats) -> float:
        """Variance of a sum over a corrected drive; see `RepeatedLine.variance_left`.

        Parameters
        ----------
        alone
            Variance of the sum over the drive as it was smoothed alone.
        time_s
            Shape (k,), of the times that nodes were kept for.
        slope
            Weights, east and north, shape (k, 2).
        """
        index, weight = weights_at_nodes(self.node_s, time_s, slope)
        load = np.zeros((len(self.node_s), 2))
        np.add.at(load, index, weight)
        moved = np.einsum("ij,ijk->k", load, self.moved_m)
        before = _chained(load, self.covariance_before, self.onward_before)
        after = _chained(load, self.covariance, self.onward) + float(moved @ moved)
        return max(alone - before, 0.0) + after

    def covariances_left(
        self, alone: Floats, time_s: Floats, slope: Floats
    ) -> tuple[Floats, Floats]:
        """Covariance of positions of a corrected drive, each with each other: fast, and slow.

        Parameters
        ----------
        alone
            The same of the drive as it was smoothed alone, shape (k, k).
        time_s
            Shape (k,), of the times that nodes were kept for.
        slope
            Weights, east and north, shape (k, 2).
        """
        index, weight = weights_at_nodes(self.node_s, time_s, slope)
        moved = np.einsum("ij,ijk->ik", weight, self.moved_m[index])
        moved = moved[: len(time_s)] + moved[len(time_s) :]
        before = _chained_each(index, weight, self.covariance_before, self.onward_before)
        after = _chained_each(index, weight, self.covariance, self.onward)
        return alone - before, after + moved @ moved.T


def _chained_each(index: Indices, weight: Floats, covariance: Floats, onward: Floats) -> Floats:
    """Covariance of terms over the first two unknowns of kept links, two links each."""
    count = len(index) // 2
    total = np.zeros((count, count))
    carried, before = np.zeros((covariance.shape[1], count)), -1
    by_link = np.argsort(-index, kind="stable")
    loaded, first = np.unique(-index[by_link], return_index=True)
    for link, rows in zip((-loaded).tolist(), np.split(by_link, first[1:]), strict=True):
        while before > link:
            before -= 1
            carried = onward[before] @ carried
        before, terms = link, rows % count
        load = np.zeros((2, count))
        np.add.at(load.T, terms, weight[rows])
        used = np.unique(terms)
        crossed = load[:, used].T @ carried[:2]
        total[used] += crossed
        total[:, used] += crossed.T
        own = covariance[link][:, :2] @ load[:, used]
        total[np.ix_(used, used)] += load[:, used].T @ own[:2]
        carried[:, used] += own
    return total


def _chained(load: Floats, covariance: Floats, onward: Floats) -> float:
    """Square a sum over the first two unknowns of kept links."""
    used = np.flatnonzero(load.any(axis=1))
    if not len(used):
        return 0.0
    total, carried = 0.0, np.zeros(covariance.shape[1])
    for link in range(int(used[-1]), int(used[0]) - 1, -1):
        if link < used[-1]:
            carried = onward[link] @ carried
        own = covariance[link][:, :2] @ load[link]
        total += float(load[link] @ (own + 2.0 * carried)[:2])
        carried = carried + own
    return total


def weights_at_nodes(node_s: Floats, time_s: Floats, slope: Floats) -> tuple[Indices, Floats]:
    """Share weights of the error at some times out to the nodes before and after.

    Parameters
    ----------
    node_s
        When the nodes are passed, rising, shape (n,).
    time_s
        Shape (k,).
    slope
        Weights, east and north, shape (k, 2).

    Returns
    -------
    index, weight
        Nodes and their weights, shape (2 k,) and (2 k, 2).
    """
    last = len(node_s) - 1
    after = np.minimum(np.clip(np.searchsorted(node_s, time_s), 1, max(last, 1)), last)
    before = np.maximum(after - 1, 0)
    span = np.maximum(node_s[after] - node_s[before], 1e-9)
    share = np.clip((time_s - node_s[before]) / span, 0.0, 1.0)[:, None]
    return (
        np.concatenate([before, after]),
        np.concatenate([(1.0 - share) * slope, share * slope]),
    )
