"""What shifts that begin at any node of a drive could explain, told for all of them at once.

`trackkit.motion.tried_shifts` tries shifts part by part, each with each; most drives have none, and
this says where nothing can come of it.  A shift is a step aside and a step back.  What a step from
node k on and another from a later node l on say of each other comes from what the chain makes of
the first until l, and from what both add up to from there on, which is the same form whatever came
before: two recursions, one over how far l is behind k, for all k together, and one backward.
"""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.banded import followed_backward
from trackkit.motion.chain import Chain
from trackkit.motion.line_model import Sideways
from trackkit.motion.line_shifts import SHIFT_M


def most_explained(
    side: Sideways,
    rest_m: Floats,
    trust: Floats,
    chain: Chain,
    seen: Floats,
    by_pace: tuple[Floats, Floats],
    lasting_s: tuple[float, float],
) -> Floats:
    """Rise of the log-likelihood by the likeliest shift that begins at each node, at once.

    Parameters
    ----------
    side
        The drive beside the centreline, n nodes.
    rest_m
        How far it lies to the left of the repeated line, shape (n,).
    trust
        Inverse variance of each, shape (n,).
    chain, seen
        Of its error and deviation, having seen those; and what they see of a node's unknowns, shape
        (n, states).
    by_pace
        What the pace says of a step at each node: information and pull, shape (n, 2, 2) and (n, 2).
    lasting_s
        How long a shift is at least and at most.

    Returns
    -------
    Floats
        Shape (n,); minus infinity where none can begin.
    """
    count, states = seen.shape
    time, left = side.time_s, side.left
    step = (trust[:, None] * seen)[:, :, None] * left[:, None, :]
    onward, fresh = chain.forward_steps(step)
    beyond = _added_up(onward, fresh, trust, left)
    own_said, of_chain = beyond[:, states:, states:], beyond[:, :states, states:]
    alone = chain.solved(((trust * rest_m)[:, None] * seen).reshape(-1, 1))
    unexplained = rest_m - np.einsum("ij,ij->i", seen, alone.reshape(count, states))
    pull = np.cumsum(((trust * unexplained)[:, None] * left)[::-1], axis=0)[::-1] + by_pace[1]
    information = own_said + by_pace[0] + 0.5 * np.eye(2) / SHIFT_M**2
    # Axes first, so that each sum runs over all nodes in a row.
    move, input_m, tie, both = (
        np.ascontiguousarray(np.moveaxis(value, 0, -1))
        for value in (onward, fresh, of_chain, own_said)
    )
    a, b, d = information[:, 0, 0], information[:, 0, 1], information[:, 1, 1]
    best = np.full(count, -np.inf)
    response = input_m
    for lag in range(1, count):
        span = time[lag:] - time[:-lag]
        response = response[..., : count - lag]
        lasting = (span >= lasting_s[0]) & (span <= lasting_s[1])
        if lasting.any():
            shared = np.einsum("iam,ibm->abm", response, tie[..., lag:]) + both[..., lag:]
            ee = a[:-lag] + a[lag:] - 2.0 * shared[0, 0]
            en = b[:-lag] + b[lag:] - shared[0, 1] - shared[1, 0]
            nn = d[:-lag] + d[lag:] - 2.0 * shared[1, 1]
            east, north = (pull[:-lag] - pull[lag:]).T
            determinant = ee * nn - en**2
            square = nn * east**2 - 2.0 * en * east * north + ee * north**2
            gain = 0.5 * square / determinant - 0.5 * np.log(determinant * SHIFT_M**4)
            np.maximum(best[:-lag], np.where(lasting, gain, -np.inf), out=best[:-lag])
        elif span.min() > lasting_s[1]:
            break
        response = np.einsum("ijm,jcm->icm", move[..., lag:], response) + input_m[..., lag:]
    return best


def _added_up(onward: Floats, fresh: Floats, trust: Floats, left: Floats) -> Floats:
    """Add up what a step makes of a drive from each node on: a form in the chain and the step.

    Parameters
    ----------
    onward, fresh
        What the node before and what the step make of the solution at each node, shape
        (n, states, states) and (n, states, 2).

    Returns
    -------
    Floats
        Shape (n, states + 2, states + 2).
    """
    count, states, _ = onward.shape
    step = np.zeros((count, states + 2, states + 2))
    step[:, :states, :states], step[:, :states, states:] = onward, fresh
    step[:, states:, states:] = np.eye(2)
    made = step[:, :states]
    own = -made.transpose(0, 2, 1) @ made
    own[:, states:, states:] += trust[:, None, None] * left[:, :, None] * left[:, None, :]
    return followed_backward(step.transpose(0, 2, 1), own)
