"""Numbers in the extensions of GPX points that are nothing of a fix."""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from trackkit.arrays import Indices
from trackkit.budgets import budgets
from trackkit.recordings.channel import distinct_names, is_of_numbers, number_of
from trackkit.recordings.raw import RawChannel, RawChannels, Times

_Path = tuple[str, ...]
"""The tags from the top down, and the attribute ``name``, "" without."""


@dataclass(eq=False)
class _Column:
    """The values of one element of all points that have it."""

    unit: str | None
    row: array[int] = field(default_factory=lambda: array("q"))
    value: array[float] = field(default_factory=lambda: array("d"))
    readable: int = 0


@dataclass(eq=False)
class PointChannels:
    """What the points read so far have besides their fixes, by the way to it in the XML."""

    columns: dict[_Path, _Column] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    _count: int = 0

    def add(self, row: int, point: Any, elements: Iterable[Any]) -> None:
        """Take what stands in some elements of a point, the `row`-th from 0."""
        if self.remarks:
            return
        for element in elements:
            text = element.text.strip()
            if not text or len(element):
                continue
            path = _path(element, point)
            if path is None:
                continue
            column = self.columns.get(path)
            if column is None:
                unit = element.get("unit") or element.get("units")
                column = self.columns[path] = _Column(unit or None)
            if column.row and column.row[-1] == row:
                continue
            number = number_of(text)
            column.readable += number is not None
            column.row.append(row)
            column.value.append(math.nan if number is None else number)
            self._count += 1
        if self._count > budgets().channel_values:
            self.columns.clear()
            what = "left out the values in its extensions: they are more than the limit"
            self.remarks = (f"{what} channel_values",)

    def raw_channels(self, time: Times) -> RawChannels | None:
        """Make channels of the columns of numbers; None where there is none."""
        columns = [
            (path, column)
            for path, column in self.columns.items()
            if is_of_numbers(column.readable, column.value)
        ]
        if not columns:
            return None
        names = _names([path for path, _ in columns])
        return RawChannels(
            time,
            np.arange(len(time)),
            tuple(
                RawChannel(
                    name,
                    column.unit,
                    np.array(column.row, dtype=np.intp),
                    np.array(column.value, dtype=float),
                )
                for name, (_, column) in zip(names, columns, strict=True)
            ),
        )


def _path(element: Any, point: Any) -> _Path | None:
    """Name the elements from a point's extensions down to one; None for GPX's own elements.

    GPX 1.0 has no extensions, and lets elements of other namespaces stand in the point itself.  An
    attribute ``name`` tells elements apart that are called alike.
    """
    tags: list[str] = []
    name = " ".join((element.get("name") or "").split())
    while element is not point:
        tags.append(element.tag)
        element = element.getparent()
    namespace, _, top = tags[-1].rpartition("}")
    if top == "extensions":
        tags.pop()
    elif namespace == point.tag.rpartition("}")[0]:
        return None
    return (*reversed(tags), name) if tags else None


def _names(paths: Sequence[_Path]) -> list[str]:
    """Call each by its own name, or by the whole way to it where that is not its alone."""
    ways = [[tag.rpartition("}")[2] for tag in path[:-1]] for path in paths]
    short = [path[-1] or way[-1] for path, way in zip(paths, ways, strict=True)]
    often = Counter(short)
    return distinct_names(
        name if often[name] == 1 else " ".join([*way, *path[-1:]]).strip()
        for name, way, path in zip(short, ways, paths, strict=True)
    )


def reordered(raw: RawChannels, order: Indices) -> RawChannels:
    """Put rows in another order, in which as many fixes stand before each place as did."""
    place = np.empty(len(order), dtype=np.intp)
    place[order] = np.arange(len(order))

    def moved(column: RawChannel) -> RawChannel:
        row = place[column.row]
        by_row = np.argsort(row)
        return replace(column, row=row[by_row], value=column.value[by_row])

    return RawChannels(raw.time[order], raw.fixes_before, tuple(map(moved, raw.columns)))
