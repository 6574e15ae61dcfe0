"""What follows linearly from one link to the next, taken over many links at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trackkit.arrays import Floats, Indices


@dataclass(frozen=True, eq=False)
class Strides:
    """Products of steps over one link, over pairs of them, over fours and so on.

    With them the way from any link to any later one takes few products, however far it is.

    Parameters
    ----------
    step
        What a value at each link makes of that at the next, shape (n, states, states).
    """

    step: Floats

    @cached_property
    def _over(self) -> list[Floats]:
        over = [self.step]
        while len(over[-1]) > 1:
            even = len(over[-1]) // 2 * 2
            over.append(np.matmul(over[-1][1:even:2], over[-1][:even:2]))
        return over

    def followed(self, value: Floats, begin: Indices, end: Indices) -> Floats:
        """Follow values each from a link to a later one.

        Parameters
        ----------
        value
            Shape (k, states, columns).
        begin, end
            Shape (k,), none of `end` before that of `begin`.

        Returns
        -------
        Floats
            Shape (k, states, columns).
        """
        value, at = value.copy(), begin.copy()
        while True:
            left = end - at
            going = np.flatnonzero(left > 0)
            if not len(going):
                return value
            # As far as both what is left and where it begins allow.
            longest = np.frexp(left[going].astype(float))[1] - 1
            aligned = np.frexp((at[going] & -at[going]).astype(float))[1] - 1
            level = np.where(at[going] == 0, longest, np.minimum(longest, aligned))
            for stride in np.unique(level).tolist():
                rows = going[level == stride]
                value[rows] = self._over[stride][at[rows] >> stride] @ value[rows]
                at[rows] += 1 << stride
