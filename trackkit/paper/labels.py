"""Labels on paper beside what they name, on top of nothing and of no other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Flags, Floats
from trackkit.paper.sheet import Box

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import STRtree
    from shapely.geometry.base import BaseGeometry


CLEAR_MM = 0.6
"""Between a label and anything else."""
_DISTANCES_MM = (1.0, 2.0, 3.2, 4.6, 6.5, 9.0, 12.0, 16.0, 21.0, 27.0, 35.0, 45.0, 58.0, 75.0)
_ANGLES = 24
_TURNED_COST_MM = 4.0
_LEADER_OVER_LINE_COST_MM = 25.0
_SHORT_LEADER_MM = 2.4


@dataclass(frozen=True)
class Wanted:
    """A label to be placed.

    Parameters
    ----------
    anchors_mm
        Places it may stand beside, shape (k, 2).
    away
        Unit vectors towards where room is looked for first, shape (k, 2).
    sizes_mm
        Width and height of each wording, the one preferred first.
    patience_mm
        Cost from which the next wording is tried.
    """

    anchors_mm: Floats
    away: Floats
    sizes_mm: tuple[tuple[float, float], ...]
    patience_mm: float = 8.0


@dataclass(frozen=True)
class Label:
    """Where a label goes, in which of its wordings, and its leader's two ends, if it has one."""

    box: Box
    wording: int
    leader_mm: Floats | None


def place_labels(wanted: Sequence[Wanted], ink: BaseGeometry, inside: Box) -> list[Label | None]:
    """Place labels one after the other, each where it is nearest to what it names.

    Parameters
    ----------
    wanted
        The most important first.
    ink
        What is drawn already, millimetres on the sheet; no label touches it.
    inside
        Where labels may be.

    Returns
    -------
    list of Label or None
        One for each; None where there is no room.
    """
    import shapely

    shapely.prepare(ink)
    taken: list[BaseGeometry] = []
    placed: list[Label | None] = []
    for request in wanted:
        best: tuple[float, Label] | None = None
        for wording, size in enumerate(request.sizes_mm):
            trial = _nearest(request, wording, size, ink, taken, inside)
            if trial is not None and (best is None or trial[0] + request.patience_mm < best[0]):
                best = trial
            if best is not None and best[0] <= request.patience_mm:
                break
        placed.append(None if best is None else best[1])
        if best is not None:
            box = best[1].box
            taken.append(shapely.box(box.left, box.bottom, box.right, box.top))
            if best[1].leader_mm is not None:
                taken.append(shapely.LineString(best[1].leader_mm))
    return placed


def _nearest(
    request: Wanted,
    wording: int,
    size_mm: tuple[float, float],
    ink: BaseGeometry,
    taken: list[BaseGeometry],
    inside: Box,
) -> tuple[float, Label] | None:
    import shapely

    half = 0.5 * np.asarray(size_mm)
    angle = np.arange(_ANGLES) * (2.0 * np.pi / _ANGLES)
    around = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    distance, which, turn = (
        grid.ravel()
        for grid in np.meshgrid(
            _DISTANCES_MM, np.arange(len(request.anchors_mm)), np.arange(_ANGLES), indexing="ij"
        )
    )
    way = around[turn]
    anchor = request.anchors_mm[which]
    # From the middle of a rectangle to its edge along a direction.
    reach = np.min(half / np.maximum(np.abs(way), 1e-9), axis=1)
    middle = anchor + way * (distance + reach)[:, None]
    low, high = middle - half, middle + half
    towards = (way * request.away[which]).sum(axis=1)
    cost = distance + _TURNED_COST_MM * (1.0 - towards)
    fits = (low >= (inside.left, inside.bottom)).all(axis=1)
    fits &= (high <= (inside.right, inside.top)).all(axis=1)
    index = np.flatnonzero(fits)
    spread = shapely.box(
        low[index, 0] - CLEAR_MM,
        low[index, 1] - CLEAR_MM,
        high[index, 0] + CLEAR_MM,
        high[index, 1] + CLEAR_MM,
    )
    others = shapely.STRtree(taken)
    free = ~_touching(others, spread)
    free[free] = ~shapely.intersects(ink, spread[free])
    index = index[free]
    if len(index) == 0:
        return None
    edge = np.clip(anchor[index], low[index], high[index])
    leader = np.asarray(shapely.linestrings(np.stack([anchor[index], edge], axis=1)), dtype=object)
    clear = ~_touching(others, leader)
    # A leader begins at the edge of the line; what counts is whether it crosses it further on.
    beyond = shapely.linestrings(np.stack([anchor[index] + 0.8 * way[index], edge], axis=1))
    price = cost[index] + _LEADER_OVER_LINE_COST_MM * shapely.intersects(ink, beyond)
    index, edge, price = index[clear], edge[clear], price[clear]
    if len(index) == 0:
        return None
    pick = int(np.argmin(price))
    at = int(index[pick])
    has_leader = float(np.hypot(*(edge[pick] - anchor[at]))) > _SHORT_LEADER_MM
    label = Label(
        Box(float(low[at, 0]), float(low[at, 1]), float(high[at, 0]), float(high[at, 1])),
        wording,
        np.stack([anchor[at], edge[pick]]) if has_leader else None,
    )
    return float(price[pick]), label


def _touching(others: STRtree, shapes: NDArray[np.object_]) -> Flags:
    """Mark the shapes that some other one touches."""
    touching = np.zeros(len(shapes), dtype=bool)
    touching[others.query(shapes, predicate="intersects")[0]] = True
    return touching
