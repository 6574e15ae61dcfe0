"""Sums over the links of a chain, each with each other, many links at a time."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.motion.strides import Strides

_LEAST_AT_ONCE, _MOST_AT_ONCE = 8, 48
"""So many loads are followed one by one; the runs of so many are followed side by side."""
_RUN_TO_LOAD = 1.6
"""Putting a run's sums together takes so many times what following its loads by one takes."""


def chained_sums(term: Indices, count: int, left: Floats, right: Floats, onward: Floats) -> Floats:
    """Add up, for each two terms, the products of their loads along a chain.

    The product of two loads is that of the left of the later with the right of the earlier,
    carried along from there by `onward`; it counts for both orders of their terms.  What is carried
    from load to load is the same for all earlier ones, so that the products of two runs of loads
    are a product of two matrices (a matrix of this form is called semiseparable: Vandebril, Van
    Barel and Mastronardi, Matrix Computations and Semiseparable Matrices, 2008; from memory).

    Parameters
    ----------
    term
        The term that each load belongs to, shape (n,); loads stand in the order of the chain.
    count
        How many terms there are.
    left, right
        Of each load, shape (n, columns, states); products of columns are added.
    onward
        What takes a load's states along from the load before it, shape (n, states, states); the
        first is not used.

    Returns
    -------
    Floats
        Symmetric, shape (count, count).
    """
    loads, columns, states = left.shape
    total = np.zeros((count, count))
    if not loads:
        return total
    least = int(np.sqrt(_RUN_TO_LOAD * loads))
    at_once = min(max(least, _LEAST_AT_ONCE), _MOST_AT_ONCE)
    runs = -(-loads // at_once)
    # Loads of nothing fill the last run up.
    missing = runs * at_once - loads
    term = np.concatenate([term, np.zeros(missing, dtype=term.dtype)]).reshape(runs, -1)
    left, right = (
        np.concatenate([part, np.zeros((missing, columns, states))]).reshape(
            runs, at_once, columns, states
        )
        for part in (left, right)
    )
    still = np.broadcast_to(np.eye(states), (missing, states, states))
    steps = np.concatenate([np.eye(states)[None], onward[1:], still])
    within, entered, reached = _within_runs(
        left, right, steps.reshape(runs, at_once, states, states)
    )
    carried = np.zeros((columns, states, count))
    for run in range(runs):
        terms, place = np.unique(term[run], return_inverse=True)
        belongs = np.zeros((len(terms), at_once))
        belongs[place, np.arange(at_once)] = 1.0
        total[np.ix_(terms, terms)] += belongs @ within[run] @ belongs.T
        # What the run's loads make of all before it.
        for column in range(columns):
            ahead = np.einsum("bi,bij->bj", left[run, :, column], entered[run])
            total[terms] += belongs @ ahead @ carried[column]
            carried[column] = entered[run, -1] @ carried[column]
            carried[column][:, terms] += reached[run, column] @ belongs.T
    return total + total.T


def _within_runs(left: Floats, right: Floats, steps: Floats) -> tuple[Floats, Floats, Floats]:
    """Follow the loads of all runs at once.

    Returns
    -------
    within
        Products of the loads of a run, the later by row, half of each with itself.
    entered
        What takes states along from the last load before the run to each of its loads.
    reached
        The loads of a run as carried along to its last, shape (runs, columns, states, loads).
    """
    runs, loads, columns, states = left.shape
    within = np.zeros((runs, loads, loads))
    entered = np.empty((runs, loads, states, states))
    reached = np.zeros((runs, columns, states, loads))
    way = np.broadcast_to(np.eye(states), (runs, states, states))
    for number in range(loads):
        step = steps[:, number]
        way = step @ way
        entered[:, number] = way
        reached = step[:, None] @ reached
        own = left[:, number]
        within[:, number] = np.einsum("rcs,rcsl->rl", own, reached)
        reached[..., number] = right[:, number]
        within[:, number, number] = 0.5 * np.einsum("rcs,rcs->r", own, right[:, number])
    return within, entered, reached


def steps_between(links: Indices, strides: Strides) -> Floats:
    """Find what takes states along from each of some links to the next.

    Parameters
    ----------
    links
        In the order of the chain, some more than once, shape (n,).
    strides
        Of the chain.

    Returns
    -------
    Floats
        Shape (n, states, states); the first is that of no step.
    """
    still = np.repeat(np.eye(strides.step.shape[-1])[None], len(links), axis=0)
    return strides.followed(still, np.concatenate([links[:1], links[:-1]]), links)
