"""A sheet of paper and what goes where on it: the circuit's scale and turn, and the tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.paper.text import MM_PER_POINT, Lettering

Paper = Literal["A4", "A3", "Letter", "Tabloid"]
PAPERS_MM: dict[Paper, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
"""Upright width and height: ISO 216, and sizes A and B of ANSI/ASME Y14.1 (from memory)."""
MARGIN_MM = 12.0
MM_PER_INCH = 25.4
STRIP_MM = 17.0
"""Height kept below the circuit for the scale bar and the north arrow."""
LABEL_ROOM_MM = (15.0, 9.0)
"""Kept free to each side of the circuit, and above and below it, for labels."""
WORTH_TURNING = 1.35
"""North is up unless another way up shows the circuit this many times larger."""
LEADING = 1.5
"""From one row of a table to the next, in sizes of its letters."""
_SIZES_PT = ((8.0, 1.0), (7.0, 0.9), (6.0, 0.78), (5.2, 0.65))
TITLE_ROWS, HEAD_ROWS, _GAP_ROWS = 1.5, 1.2, 1.3
CELL_GAP_MM, _COLUMN_GAP_MM = 2.4, 7.0
_MOST_TABLE = 0.5
_KEPT_WHOLE = 8


@dataclass(frozen=True)
class Box:
    """A rectangle on the sheet, millimetres from its lower left corner."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """From left to right, millimetres."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From bottom to top, millimetres."""
        return self.top - self.bottom


@dataclass(frozen=True)
class Table:
    """A table: clean texts in rows; `marks` names a drawn mark for each row, or is empty."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Block:
    """Some rows of a table in one place of a sheet; its top left corner, and its columns."""

    table: Table
    first: int
    last: int
    left: float
    top: float
    column_mm: tuple[float, ...]


@dataclass(frozen=True)
class Placed:
    """Tables set in columns: blocks relative to the top left corner, and the room they take."""

    blocks: tuple[Block, ...]
    width: float
    height: float


@dataclass(frozen=True)
class Sheet:
    """Where everything goes on a sheet.

    Parameters
    ----------
    width_mm, height_mm
        Of the paper.
    size_pt
        Of the letters in tables.
    tables
        Blocks, their corners on the sheet.
    map_box
        For the circuit, its labels, the scale bar and the north arrow.
    turn_deg
        By how much the circuit is turned anticlockwise from north up.
    mm_per_m
        The scale.
    middle_m, middle_mm
        A place on the plane, and where it is on the sheet.
    """

    width_mm: float
    height_mm: float
    size_pt: float
    tables: tuple[Block, ...]
    map_box: Box
    turn_deg: float
    mm_per_m: float
    middle_m: tuple[float, float]
    middle_mm: tuple[float, float]

    @property
    def label_box(self) -> Box:
        """The map's box without the strip at its foot."""
        box = self.map_box
        return Box(box.left, box.bottom + STRIP_MM, box.right, box.top)

    def to_paper(self, position_m: ArrayLike) -> Floats:
        """Turn plane positions, shape (..., 2) metres, into millimetres on the sheet."""
        away = np.asarray(position_m, dtype=float) - self.middle_m
        return np.asarray(away @ _turning(self.turn_deg) * self.mm_per_m + self.middle_mm)

    def to_plane(self, position_mm: ArrayLike) -> Floats:
        """Turn millimetres on the sheet, shape (..., 2), into plane positions, metres."""
        away = (np.asarray(position_mm, dtype=float) - self.middle_mm) / self.mm_per_m
        return np.asarray(away @ _turning(self.turn_deg).T + self.middle_m)

    def direction(self, direction_m: ArrayLike) -> Floats:
        """Turn directions on the plane, shape (..., 2), into directions on the sheet."""
        return np.asarray(np.asarray(direction_m, dtype=float) @ _turning(self.turn_deg))


def arrange(
    outline_m: Floats,
    tables: Sequence[Table],
    lettering: Lettering,
    *,
    head_mm: Sequence[float],
    foot_mm: Sequence[float],
    paper: Paper = "A4",
) -> Sheet:
    """Choose the way up of the paper and of the circuit, and where the tables go.

    Every way is tried: upright or across, tables below or beside the circuit, letters large or
    small.  What shows the circuit largest is taken, small letters counting against it.

    Parameters
    ----------
    outline_m
        Places on the plane that must be seen, shape (n, 2).
    tables
        To be shown.
    lettering
        Fonts.
    head_mm, foot_mm
        Height taken at the top and at the foot, upright and across.
    paper
        Its size.
    """
    options = [
        option
        for across in (False, True)
        for size, worth in _SIZES_PT
        for option in _ways(
            PAPERS_MM[paper], across, size, worth, tables, lettering, head_mm, foot_mm
        )
    ]
    upright = max(options, key=lambda option: option[0] * _scale(outline_m, option[1], 0.0))
    best, turn = upright, 0.0
    best_score = WORTH_TURNING * upright[0] * _scale(outline_m, upright[1], 0.0)
    for angle in sorted(range(-85, 91, 5), key=abs)[1:]:
        for option in options:
            score = option[0] * _scale(outline_m, option[1], float(angle))
            if score > best_score * 1.01:
                best, turn, best_score = option, float(angle), score
    _, box, paper_mm, size, blocks = best
    low, high = _extent(outline_m, turn)
    middle = 0.5 * (low + high) @ _turning(turn).T
    return Sheet(
        *paper_mm,
        size,
        blocks,
        box,
        turn,
        _scale(outline_m, box, turn),
        (float(middle[0]), float(middle[1])),
        (0.5 * (box.left + box.right), 0.5 * (box.bottom + STRIP_MM + box.top)),
    )


def sheet_of(outline_m: Floats, width_mm: float, height_mm: float) -> Sheet | None:
    """Lay a circuit alone on a sheet, north up; None where there is no room for it and labels.

    Parameters
    ----------
    outline_m
        Places on the plane that must be seen, shape (n, 2).
    width_mm, height_mm
        Of the sheet.
    """
    box = Box(0.0, 0.0, width_mm, height_mm)
    scale = _scale(outline_m, box, 0.0)
    if scale == 0.0:
        return None
    low, high = _extent(outline_m, 0.0)
    east, north = (0.5 * (low + high)).tolist()
    place = (0.5 * width_mm, 0.5 * (STRIP_MM + height_mm))
    return Sheet(width_mm, height_mm, _SIZES_PT[0][0], (), box, 0.0, scale, (east, north), place)


_Way = tuple[float, Box, tuple[float, float], float, tuple[Block, ...]]


def _ways(
    paper_mm: tuple[float, float],
    across: bool,
    size_pt: float,
    worth: float,
    tables: Sequence[Table],
    lettering: Lettering,
    head_mm: Sequence[float],
    foot_mm: Sequence[float],
) -> list[_Way]:
    """Lay tables below and beside the circuit, where they fit; letters of the least size must."""
    width, height = paper_mm[::-1] if across else paper_mm
    inside = Box(
        MARGIN_MM,
        MARGIN_MM + foot_mm[across],
        width - MARGIN_MM,
        height - MARGIN_MM - head_mm[across],
    )
    last = size_pt == _SIZES_PT[-1][0]
    ways: list[_Way] = []
    most = _MOST_TABLE * inside.height
    for tall in np.arange(12.0, most + 2.0, 2.0):
        below = set_tables(tables, lettering, size_pt, float(tall))
        if below.width <= inside.width:
            box = Box(inside.left, inside.bottom + below.height + 3.0, inside.right, inside.top)
            ways.append(
                (
                    worth,
                    box,
                    (width, height),
                    size_pt,
                    _moved(below, inside.left, inside.bottom + below.height),
                )
            )
            break
    beside = set_tables(tables, lettering, size_pt, inside.height)
    if beside.width <= _MOST_TABLE * inside.width:
        left = inside.right - beside.width
        box = Box(inside.left, inside.bottom, left - 4.0, inside.top)
        ways.append((worth, box, (width, height), size_pt, _moved(beside, left, inside.top)))
    if not ways and last and across:
        ways.append(_cut(inside, (width, height), size_pt, worth, tables, lettering))
    return ways


def _cut(
    inside: Box,
    paper: tuple[float, float],
    size_pt: float,
    worth: float,
    tables: Sequence[Table],
    lettering: Lettering,
) -> _Way:
    """Show as many rows of the longest table as fit below the circuit, and say how many more."""
    longest = max(range(len(tables)), key=lambda n: len(tables[n].rows))
    count = len(tables[longest].rows)
    while True:
        count = int(0.9 * count)
        whole = tables[longest]
        left_out = len(whole.rows) - count
        note = (f"{left_out} more", *[""] * (len(whole.head) - 1))
        shorter = Table(whole.title, whole.head, (*whole.rows[:count], note), whole.numeric)
        trial = [*tables[:longest], shorter, *tables[longest + 1 :]]
        below = set_tables(trial, lettering, size_pt, _MOST_TABLE * inside.height)
        if below.width <= inside.width or count == 0:
            box = Box(inside.left, inside.bottom + below.height + 3.0, inside.right, inside.top)
            moved = _moved(below, inside.left, inside.bottom + below.height)
            return (worth, box, paper, size_pt, moved)


def _moved(placed: Placed, left: float, top: float) -> tuple[Block, ...]:
    return tuple(
        Block(b.table, b.first, b.last, b.left + left, b.top + top, b.column_mm)
        for b in placed.blocks
    )


def set_tables(
    tables: Sequence[Table], lettering: Lettering, size_pt: float, height_mm: float
) -> Placed:
    """Set tables in columns of a height, going on in the next column where one is full."""
    row = LEADING * size_pt * MM_PER_POINT
    blocks: list[Block] = []
    left = top = widest = deepest = 0.0
    for table in tables:
        columns = _column_widths(table, lettering, size_pt)
        wide = sum(columns) + CELL_GAP_MM * (len(columns) - 1)
        over = TITLE_ROWS + (HEAD_ROWS if any(table.head) else 0.0)
        first = 0
        while first < len(table.rows):
            room = int((height_mm + top) / row - over + 1e-9)
            left_over = len(table.rows) - first
            # Short tables stay whole, and no heading stands alone at the foot of a column.
            least = left_over if left_over <= _KEPT_WHOLE else 2
            if room < least and top == 0.0:
                return Placed((), np.inf, height_mm)
            if room < least:
                left, top, widest = left + widest + _COLUMN_GAP_MM, 0.0, 0.0
                continue
            last = min(len(table.rows), first + max(1, room))
            blocks.append(Block(table, first, last, left, top, columns))
            widest = max(widest, wide)
            top -= (over + last - first) * row
            deepest = min(deepest, top)
            top -= _GAP_ROWS * row
            first = last
    return Placed(tuple(blocks), left + widest, -deepest)


MARK_MM = 9.0
"""Width of a drawn mark in a table."""
_MOST_CELL_MM = 46.0


def _column_widths(table: Table, lettering: Lettering, size_pt: float) -> tuple[float, ...]:
    widths = []
    for n, head in enumerate(table.head):
        cells = [row[n] for row in table.rows]
        width = max((lettering.width_mm(cell, size_pt) for cell in cells), default=0.0)
        least = lettering.width_mm(head, size_pt)
        widths.append(max(least, min(width, _MOST_CELL_MM * (2.0 if table.marks else 1.0))))
    if table.marks:
        widths[0] = MARK_MM
    # A title wider than its columns widens the last.
    title = lettering.width_mm(table.title, 1.1 * size_pt, bold=True)
    spare = title - sum(widths) - CELL_GAP_MM * (len(widths) - 1)
    widths[-1] += max(0.0, spare)
    return tuple(widths)


def _turning(turn_deg: float) -> Floats:
    angle = np.radians(turn_deg)
    return np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def _extent(outline_m: Floats, turn_deg: float) -> tuple[Floats, Floats]:
    turned = outline_m @ _turning(turn_deg)
    return turned.min(axis=0), turned.max(axis=0)


def _scale(outline_m: Floats, box: Box, turn_deg: float) -> float:
    low, high = _extent(outline_m, turn_deg)
    room = np.array([box.width, box.height - STRIP_MM]) - 2.0 * np.array(LABEL_ROOM_MM)
    if (room <= 10.0).any():
        return 0.0
    return float((room / np.maximum(high - low, 1.0)).min())
