"""The Cholesky factor of a drive's information matrix, of a long drive piece by piece.

The factor of a block-tridiagonal matrix goes on from the last block of the piece before: that
block stands at the head of the next piece as its product with itself, whose Cholesky factor is the
block again.  What comes of the pieces is the factor of the whole but for rounding, and only one
piece of it needs to be in memory; what is asked for again is worked out again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.banded import diagonal
from trackkit.motion.information import Model
from trackkit.motion.noise import Levels, Measured

PIECE_FIXES = 200_000
"""A longer drive is factored in pieces of about so many fixes."""
_KEPT_BYTES = 600_000_000
"""Pieces are kept while a drive is solved as long as all of them take no more than this."""


@dataclass(eq=False)
class Factor:
    """Lower Cholesky factor of an information matrix.

    Made by `Factor.of`.  Columns come in LAPACK's lower banded form: of one axis, which both
    share, or of both axes together where only the speed is known.

    Parameters
    ----------
    measured, levels, weight, leeway_m
        What the matrix is of; see `trackkit.motion.information.Model`.
    axes
        1 where both axes share the factor, 2 where it is of both together.
    bounds
        First fix of each piece, and the number of fixes.
    """

    measured: Measured
    levels: Levels
    weight: Floats
    leeway_m: float
    axes: int
    bounds: tuple[int, ...]
    _corners: list[Floats] = field(default_factory=list)
    _kept: dict[int, Floats] = field(default_factory=dict)

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what is worked out again at once: it is most of a drive."""
        return {**self.__dict__, "_kept": {}}

    @classmethod
    def of(cls, measured: Measured, levels: Levels, weight: Floats, leeway_m: float) -> Factor:
        """Part a drive into pieces; nothing is worked out yet."""
        count = len(measured.time_s)
        pieces = -(-count // PIECE_FIXES)
        bounds = tuple(count * piece // pieces for piece in range(pieces + 1))
        axes = 1 if measured.direction is None else 2
        return cls(measured, levels, weight, leeway_m, axes, bounds)

    @property
    def block(self) -> int:
        """How many unknowns of one fix the factor is of."""
        return self.levels.states * self.axes

    @property
    def pieces(self) -> range:
        """Numbers of the pieces."""
        return range(len(self.bounds) - 1)

    def reach(self, piece: int) -> tuple[int, int]:
        """First and last fix that the columns of a piece are of, those beside it included."""
        return max(self.bounds[piece] - 1, 0), min(self.bounds[piece + 1], self.bounds[-1] - 1)

    def model(self, piece: int) -> Model:
        """Work out the information of a piece and of the fixes beside it."""
        first, last = self.reach(piece)
        return self.model_of(first, last + 1)

    def model_of(self, begin: int, end: int) -> Model:
        """Work out the information of the fixes from `begin` to before `end` by themselves."""
        return Model.of(
            self.measured.part(begin, end), self.levels, self.weight[begin:end], self.leeway_m
        )

    def rows(self, piece: int, model: Model | None = None) -> Floats:
        """Factor a piece, all before it having been factored once.

        The columns of the fix after the piece are not those of the whole; those of the fix before
        it are.

        Raises
        ------
        scipy.linalg.LinAlgError
            When float64 cannot hold the problem.
        """
        if piece in self._kept:
            return self._kept[piece]
        from scipy.linalg import cholesky_banded

        matrix = (model or self.model(piece)).matrix(self.axes)
        if piece:
            corner = self._corners[piece - 1]
            product = corner @ corner.T
            for row in range(self.block):
                for column in range(row + 1):
                    matrix[row - column, column] = product[row, column]
        rows = cholesky_banded(matrix, lower=True, check_finite=False, overwrite_ab=True)
        if piece == len(self._corners):
            last = self.bounds[piece + 1] - 1 - self.reach(piece)[0]
            self._corners.append(diagonal(rows, last, self.block))
        every = rows.itemsize * 2 * self.block**2 * self.bounds[-1]
        if every > _KEPT_BYTES:
            self._kept.clear()
        self._kept[piece] = rows
        return rows

    def forget(self) -> None:
        """Keep the factor only where it is of one piece."""
        if len(self.pieces) > 1:
            self._kept.clear()

    def columns(self, first: int, last: int) -> Floats:
        """Take the columns of the fixes from `first` to `last`, which `cuts` leaves undivided."""
        piece = int(np.searchsorted(self.bounds, last, side="right")) - 1
        if piece not in self._kept:
            self._kept.clear()
        begin = self.reach(piece)[0]
        return self.rows(piece)[:, (first - begin) * self.block : (last + 1 - begin) * self.block]

    def cuts(self, first: int, last: int) -> Iterator[tuple[int, int]]:
        """Divide a stretch of fixes where pieces end, into stretches that share their ends."""
        inner = [bound - 1 for bound in self.bounds[1:-1] if first < bound - 1 < last]
        return pairwise([first, *inner, last])
