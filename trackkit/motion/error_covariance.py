"""How well sums over a drive's slow error are known, kept when the drive itself is not."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.chained_sums import chained_sums, steps_between
from trackkit.motion.strides import Strides


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

    def variances_left(self, alone: Floats, time_s: Floats, slope: Floats) -> Floats:
        """Variances of several sums over a corrected drive; see `RepeatedLine.variance_left`.

        Parameters
        ----------
        alone
            Variances of the sums over the drive as it was smoothed alone, shape (j,).
        time_s
            Shape (j, k), of the times that nodes were kept for.
        slope
            Weights, east and north, shape (j, k, 2).

        Returns
        -------
        Floats
            Shape (j,).
        """
        sums, terms = time_s.shape
        index, weight = weights_at_nodes(self.node_s, time_s.ravel(), slope.reshape(-1, 2))
        index = index.reshape(2, sums, terms).transpose(1, 0, 2).reshape(sums, -1)
        weight = weight.reshape(2, sums, terms, 2).transpose(1, 0, 2, 3).reshape(sums, -1, 2)
        moved = np.einsum("jki,jkim->jm", weight, self.moved_m[index])
        after = self._after.variances(index, weight) + (moved**2).sum(axis=1)
        fast = np.maximum(alone - self._before.variances(index, weight), 0.0)
        return np.asarray(fast + after)

    @cached_property
    def _before(self) -> _Chained:
        return _Chained.of(self.covariance_before, self.onward_before)

    @cached_property
    def _after(self) -> _Chained:
        return _Chained.of(self.covariance, self.onward)

    def part(self, begin_s: float, end_s: float) -> ErrorCovariance:
        """Keep the nodes of a stretch, those on either side of its ends included."""
        last = len(self.node_s) - 1
        begin = int(np.searchsorted(self.node_s, begin_s, side="right")) - 1
        begin = min(max(begin, 0), max(last - 1, 0))
        end = max(min(int(np.searchsorted(self.node_s, end_s)), last), min(begin + 1, last))
        nodes, steps = slice(begin, end + 1), slice(begin, end)
        return ErrorCovariance(
            self.node_s[nodes],
            self.moved_m[nodes],
            self.covariance[nodes],
            self.onward[steps],
            self.covariance_before[nodes],
            self.onward_before[steps],
        )

    def at(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Covariances of the error at many places, each by itself.

        Parameters
        ----------
        time_s
            Shape (k,), of times that nodes were kept for.

        Returns
        -------
        before, after
            East and north, m^2, shape (k, 2, 2): before the laps were seen beside each other, and
            having seen them.
        """
        index, weight = weights_at_nodes(self.node_s, time_s, np.ones((len(time_s), 2)))
        (node, following), (back, ahead) = index.reshape(2, -1), weight[:, :1].reshape(2, -1, 1, 1)
        moved = self.moved_m
        after = _beside(self.covariance, self.onward)
        after[0] += moved @ moved.transpose(0, 2, 1)
        after[1, :-1] += moved[:-1] @ moved[1:].transpose(0, 2, 1)
        if len(moved) == 1:
            after[1] = after[0]
        made = []
        for own, between in (_beside(self.covariance_before, self.onward_before), after):
            mixed = back * ahead * between[node]
            made.append(
                back**2 * own[node] + ahead**2 * own[following] + mixed + mixed.transpose(0, 2, 1)
            )
        return made[0], made[1]

    def shared(self, time_s: Floats, origin_s: float, slope: Floats) -> tuple[Floats, Floats]:
        """Covariances of the error at many places with a weighted error at one of them.

        Parameters
        ----------
        time_s
            Shape (k,), of times that nodes were kept for.
        origin_s, slope
            That of the one place, and its weights, east and north, shape (2,).

        Returns
        -------
        before, after
            As for `at`, shape (k, 2).
        """
        at, load = weights_at_nodes(self.node_s, np.array([origin_s]), slope[None])
        before = _shared(at, load, self.covariance_before, self.onward_before)
        moved = np.einsum("bi,bim->m", load, self.moved_m[at])
        after = _shared(at, load, self.covariance, self.onward) + self.moved_m @ moved
        index, weight = weights_at_nodes(self.node_s, time_s, np.ones((len(time_s), 2)))
        count = len(time_s)
        early, late = (
            weight[:count] * values[index[:count]] + weight[count:] * values[index[count:]]
            for values in (before, after)
        )
        return early, late

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
        before = self._before.covariances(index, weight)
        after = self._after.covariances(index, weight)
        return alone - before, after + moved @ moved.T


def _beside(covariance: Floats, onward: Floats) -> Floats:
    """Covariances of the first two unknowns of each link, and with those of the next.

    Shape (2, m, 2, 2); the last link is taken to be followed by itself.
    """
    beside = np.stack([covariance[:, :2, :2]] * 2)
    beside[1, :-1] = (onward @ covariance[1:])[:, :2, :2]
    return beside


def _shared(at: Indices, load: Floats, covariance: Floats, onward: Floats) -> Floats:
    """Covariance of the first two unknowns of all links with a sum over two neighbouring ones."""
    count, states, _ = covariance.shape
    wide = np.zeros((2, states))
    wide[:, :2] = load
    shared = np.zeros((count, states))
    before, after = at.tolist()
    if before == after:
        carried = wide.sum(axis=0)
        shared[after] = covariance[after] @ carried
    else:
        carried = onward[before].T @ wide[0] + wide[1]
        shared[after] = covariance[after] @ carried
        shared[before] = covariance[before] @ wide[0] + onward[before] @ (
            covariance[after] @ wide[1]
        )
    for link in range(after + 1, count):
        carried = onward[link - 1].T @ carried
        shared[link] = covariance[link] @ carried
    for link in range(before - 1, -1, -1):
        shared[link] = onward[link] @ shared[link + 1]
    return shared[:, :2]


@dataclass(frozen=True, eq=False)
class _Chained:
    """Kept links from the last to the first: sums over the first two unknowns of each."""

    covariance: Floats
    strides: Strides

    @classmethod
    def of(cls, covariance: Floats, onward: Floats) -> _Chained:
        return cls(covariance, Strides(onward[::-1]))

    def variances(self, index: Indices, weight: Floats) -> Floats:
        """Square sums over links, shape (j, k), with weights of shape (j, k, 2): shape (j,)."""
        last = len(self.covariance) - 1
        order = np.argsort(-index, axis=1)
        link = np.take_along_axis(index, order, axis=1).T
        load = np.take_along_axis(weight, order[:, :, None], axis=1).transpose(1, 0, 2)
        total = np.zeros(len(index))
        carried = np.zeros((len(index), self.covariance.shape[1], 1))
        before = last - link[0]
        for at, own in zip(link, load, strict=True):
            carried = self.strides.followed(carried, before, last - at)
            begun = self.covariance[at][:, :, :2] @ own[:, :, None]
            total += np.einsum("ji,ji->j", own, (begun + 2.0 * carried)[:, :2, 0])
            carried, before = carried + begun, last - at
        return total

    def covariances(self, index: Indices, weight: Floats) -> Floats:
        """Hold terms of two links each against each other; shapes (2 k,) and (2 k, 2): (k, k)."""
        count = len(index) // 2
        # The chain is followed from its last link to its first.
        last = len(self.covariance) - 1
        by_link = np.argsort(-index, kind="stable")
        link = index[by_link]
        load = np.zeros((len(index), 1, self.covariance.shape[1]))
        load[:, 0, :2] = weight[by_link]
        own = (self.covariance[link] @ load.transpose(0, 2, 1)).transpose(0, 2, 1)
        steps = steps_between(last - link, self.strides)
        return chained_sums(by_link % count, count, load, own, steps)


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
