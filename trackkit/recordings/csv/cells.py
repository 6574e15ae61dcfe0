"""The cells of one column of a table, kept small."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import overload

from trackkit.arrays import Floats

ROWS_AT_ONCE = 20_000
"""Rows whose cells are in memory one by one."""


@dataclass(frozen=True, eq=False)
class Cells(Sequence[str]):
    """Cells of a column, ``""`` where empty.

    One by one they take some 60 bytes each besides what they hold; joined, one.

    Parameters
    ----------
    parts
        `ROWS_AT_ONCE` cells each, the last one fewer, joined by line feeds, which none holds.
    size
        How many cells there are.
    """

    parts: tuple[str, ...]
    size: int

    def __len__(self) -> int:
        return self.size

    def __iter__(self) -> Iterator[str]:
        for part in self.parts:
            yield from part.split("\n")

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> list[str]: ...
    def __getitem__(self, place: int | slice) -> str | list[str]:
        if isinstance(place, slice):
            return [*self][place]
        if not -self.size <= place < self.size:
            raise IndexError(place)
        part, row = divmod(place % self.size, ROWS_AT_ONCE)
        return self.parts[part].split("\n")[row]

    def with_points(self) -> Cells:
        """Write decimal points for decimal commas."""
        return Cells(tuple(part.replace(",", ".") for part in self.parts), self.size)


@dataclass(frozen=True, eq=False)
class NumberCells(Sequence[str]):
    """Cells of a column of numbers, written out only where a text is asked for.

    Parameters
    ----------
    value
        The numbers, shape (n,), NaN where a cell is empty.
    """

    value: Floats

    def __len__(self) -> int:
        return len(self.value)

    def __iter__(self) -> Iterator[str]:
        return ("" if number != number else repr(number) for number in self.value.tolist())

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> list[str]: ...
    def __getitem__(self, place: int | slice) -> str | list[str]:
        if isinstance(place, slice):
            return [*NumberCells(self.value[place])]
        return next(iter(NumberCells(self.value[[place]])))
