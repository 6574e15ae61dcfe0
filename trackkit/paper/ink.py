"""What is drawn on a sheet of paper: texts, lines, tables, the scale bar and the north arrow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trackkit.arrays import Floats
from trackkit.paper.sheet import (
    CELL_GAP_MM,
    HEAD_ROWS,
    LEADING,
    MARK_MM,
    TITLE_ROWS,
    Block,
    Box,
    Sheet,
)
from trackkit.paper.text import CAPITAL, MM_PER_POINT, Lettering
from trackkit.units import units

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from shapely.geometry.base import BaseGeometry


# Okabe and Ito's palette (Color Universal Design, 2008; from memory).  Every gate has its name
# beside it and a dash of its own, so that a print without colours reads too.
INK, SOFT, RULE, PAPER = "#1d2023", "#565b61", "#b8b8b4", "#ffffff"
BAND, BAND_EDGE, PIT, DRIVE = "#d9d9d6", "#4b5157", "#cc79a7", "#0072b2"
GATE_STYLES: dict[str, tuple[str, Any]] = {
    "finish": ("#d55e00", "solid"),
    "start": ("#009e73", "solid"),
    "sector": ("#0072b2", (0.0, (1.6, 0.5))),
    "speed": ("#e69f00", (0.0, (0.6, 0.5))),
    "pit-entry": ("#cc79a7", (0.0, (2.4, 0.5, 0.6, 0.5))),
    "pit-exit": ("#cc79a7", (0.0, (0.6, 0.5, 2.4, 0.5))),
}
KIND_STYLES: dict[str, tuple[str, Any]] = {
    "thin-line": ("#f0e442", (0.0, (3.0, 1.3))),
    "carried-line": ("#e69f00", (0.0, (0.7, 1.3))),
    "drawn-line": ("#cc79a7", (0.0, (5.0, 1.0))),
}
"""Stretches of a line that are not measured, by their kind in the accuracy profile."""
KIND_PT = 1.5
GATE_PT = 3.4
ARROW_MM = 2.4
LEAST_BAND_MM = 0.9
_NORTH_MM = 6.0
_LONGEST_BAR_MM = 62.0


@dataclass(frozen=True)
class Pen:
    """Axes over a whole sheet, in millimetres, and fonts to write on it with.

    `transform` is what brings millimetres to where the axes are, when theirs are others.
    """

    figure: Figure
    axes: Axes
    lettering: Lettering
    transform: Any = None

    @property
    def onto(self) -> Any:
        """What brings millimetres of the sheet to the figure."""
        return self.axes.transData if self.transform is None else self.transform

    @classmethod
    def on(cls, sheet: Sheet, lettering: Lettering) -> Pen:
        """Take an empty sheet."""
        from matplotlib.figure import Figure

        figure = Figure(figsize=(sheet.width_mm / 25.4, sheet.height_mm / 25.4), facecolor=PAPER)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.set_xlim(0.0, sheet.width_mm)
        axes.set_ylim(0.0, sheet.height_mm)
        return cls(figure, axes, lettering)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size_pt: float,
        *,
        bold: bool = False,
        colour: str = INK,
        align: str = "left",
    ) -> None:
        """Write a clean text on a base line."""
        # Names may hold dollar signs, which matplotlib would read as mathematics.
        self.axes.text(
            x,
            y,
            words,
            fontsize=size_pt,
            color=colour,
            ha=align,
            va="baseline",
            zorder=10,
            fontfamily=list(self.lettering.families),
            fontweight=self.lettering.weight(bold=bold),
            parse_math=False,
            transform=self.onto,
        )

    def line(
        self, position_mm: ArrayLike, colour: str, width_pt: float, *, over: float, dash: Any = None
    ) -> None:
        """Draw a line through places on the sheet; `over` is its level."""
        x, y = np.asarray(position_mm, dtype=float).T
        self.axes.plot(
            x,
            y,
            color=colour,
            linewidth=width_pt,
            linestyle=dash or "solid",
            zorder=over,
            solid_capstyle="butt",
            dash_capstyle="butt",
            solid_joinstyle="round",
            transform=self.onto,
        )

    def area(
        self,
        rings_mm: list[Floats],
        fill: str,
        *,
        over: float,
        edge: str = "none",
        edge_pt: float = 0.0,
    ) -> None:
        """Fill what lies between closed lines."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        outline = Path.make_compound_path(*(Path(ring, closed=True) for ring in rings_mm))
        self.axes.add_patch(
            PathPatch(
                outline,
                facecolor=fill,
                edgecolor=edge,
                linewidth=edge_pt,
                zorder=over,
                transform=self.onto,
            )
        )

    def picture(self, pixels: NDArray[np.uint8], box: Box) -> None:
        """Fill a rectangle with pixels, shape (height, width, 4), below everything else."""
        self.axes.imshow(
            pixels,
            extent=(box.left, box.right, box.bottom, box.top),
            aspect="auto",
            interpolation="none",
            zorder=0.5,
            transform=self.onto,
        )

    def box(
        self, box: Box, fill: str, *, over: float, edge: str = "none", edge_pt: float = 0.0
    ) -> None:
        """Fill a rectangle."""
        x, y = [box.left, box.right], [box.bottom, box.top]
        ring = np.array([[x[i], y[j]] for i, j in ((0, 0), (1, 0), (1, 1), (0, 1), (0, 0))])
        self.area([ring], fill, over=over, edge=edge, edge_pt=edge_pt)

    def geometry(
        self, geometry: BaseGeometry, fill: str, edge: str, edge_pt: float, over: float
    ) -> None:
        """Fill polygons of shapely's."""
        import shapely

        for part in shapely.get_parts(geometry):
            if part.geom_type == "Polygon":
                rings = [shapely.get_coordinates(r) for r in (part.exterior, *part.interiors)]
                self.area(rings, fill, over=over, edge=edge, edge_pt=edge_pt)

    def arrow(self, place_mm: Floats, direction: Floats, size_mm: float = ARROW_MM) -> None:
        """Draw an arrow head that points along a direction."""
        side = np.array([-direction[1], direction[0]])
        back = place_mm - 0.5 * size_mm * direction
        ring = np.array(
            [
                place_mm + 0.5 * size_mm * direction,
                back + 0.45 * size_mm * side,
                place_mm - 0.2 * size_mm * direction,
                back - 0.45 * size_mm * side,
            ]
        )
        self.area([np.vstack([ring, ring[:1]])], INK, over=5.0, edge=PAPER, edge_pt=0.5)

    def unmeasured(self, position_mm: ArrayLike, mark: str) -> None:
        """Draw a stretch of a line that is not measured."""
        colour, dash = KIND_STYLES[mark]
        self.line(position_mm, INK, KIND_PT + 0.9, over=2.2)
        self.line(position_mm, colour, KIND_PT, over=2.3, dash=dash)

    def gate(self, ends_mm: Floats, kind: str) -> None:
        """Draw a gate's bar."""
        colour, dash = GATE_STYLES[kind]
        self.line(ends_mm, PAPER, GATE_PT + 1.6, over=6.0)
        self.line(ends_mm, colour, GATE_PT, over=6.1, dash=dash)


def draw_table(pen: Pen, block: Block, size_pt: float) -> None:
    """Draw some rows of a table, with its title and its heads."""
    row = LEADING * size_pt * MM_PER_POINT
    table, columns = block.table, block.column_mm
    left = block.left + np.concatenate([[0.0], np.cumsum(np.array(columns) + CELL_GAP_MM)[:-1]])
    end = float(left[-1]) + columns[-1]
    y = block.top - TITLE_ROWS * row
    pen.text(block.left, y + 0.35 * row, table.title, 1.1 * size_pt, bold=True)
    if any(table.head):
        y -= HEAD_ROWS * row
        _cells(pen, table.head, left, columns, table.numeric, y + 0.4 * row, size_pt, SOFT)
        pen.line([[block.left, y + 0.1 * row], [end, y + 0.1 * row]], RULE, 0.5, over=1.0)
    for number in range(block.first, block.last):
        y -= row
        base = y + 0.3 * row
        if table.marks:
            box = Box(block.left, y, block.left + MARK_MM, y + row)
            draw_mark(pen, table.marks[number], box)
        _cells(pen, table.rows[number], left, columns, table.numeric, base, size_pt, INK)


def _cells(
    pen: Pen,
    cells: tuple[str, ...],
    left: Floats,
    columns: tuple[float, ...],
    numeric: tuple[bool, ...],
    base: float,
    size_pt: float,
    colour: str,
) -> None:
    for cell, start, width, right in zip(cells, left.tolist(), columns, numeric, strict=True):
        if cell:
            words = pen.lettering.clipped(cell, size_pt, width + 0.1)
            x, align = (start + width, "right") if right else (start, "left")
            pen.text(x, base, words, size_pt, colour=colour, align=align)


def draw_mark(pen: Pen, mark: str, box: Box) -> None:
    """Draw how something looks on the sheet, for the key."""
    middle = 0.5 * (box.bottom + box.top)
    half = 0.34 * box.height
    strip = Box(box.left, middle - half, box.right, middle + half)
    centre = np.array([0.5 * (box.left + box.right), middle])
    if mark in GATE_STYLES:
        pen.gate(np.array([[box.left + 0.8, middle], [box.right - 0.8, middle]]), mark)
    elif mark in KIND_STYLES:
        pen.box(strip, BAND, over=2.0, edge=BAND_EDGE, edge_pt=0.5)
        pen.unmeasured(np.array([[box.left, middle], [box.right, middle]]), mark)
    elif mark == "corner":
        draw_disc(pen, centre, "3", 0.8 * box.height)
    elif mark == "pit":
        pen.line([[box.left, middle], [box.right, middle]], PIT, 1.4, over=3.0, dash=PIT_DASH)
    elif mark == "drive":
        pen.line([[box.left, middle], [box.right, middle]], DRIVE, 0.5, over=3.0)
    elif mark == "bridge":
        pen.box(strip, BAND, over=2.0)
        for y in (strip.bottom, strip.top):
            pen.line([[box.left, y], [box.right, y]], INK, 1.3, over=3.0)
    elif mark == "thin":
        pen.line([[box.left, middle], [box.right, middle]], BAND_EDGE, THIN_PT, over=2.0)
    else:
        pen.box(strip, BAND, over=2.0, edge=BAND_EDGE, edge_pt=0.5)
        if mark == "way":
            pen.arrow(centre, np.array([1.0, 0.0]))


PIT_DASH = (0.0, (3.0, 1.4))
THIN_PT = LEAST_BAND_MM / MM_PER_POINT


def draw_disc(
    pen: Pen, centre_mm: Floats, words: str, size_mm: float, size_pt: float = 0.0
) -> None:
    """Draw a corner's number in a disc, as wide as it needs to be."""
    from matplotlib.patches import FancyBboxPatch

    letters = size_pt or 0.62 * size_mm / MM_PER_POINT
    width = disc_width_mm(pen.lettering, words, size_mm, letters)
    x, y = float(centre_mm[0]), float(centre_mm[1])
    pen.axes.add_patch(
        FancyBboxPatch(
            (x - 0.5 * width, y - 0.5 * size_mm),
            width,
            size_mm,
            boxstyle=f"round,pad=0,rounding_size={0.5 * size_mm - 0.01}",
            facecolor=PAPER,
            edgecolor=INK,
            linewidth=0.7,
            zorder=9.0,
            mutation_aspect=1.0,
            transform=pen.onto,
        )
    )
    base = y - 0.5 * CAPITAL * letters * MM_PER_POINT
    pen.text(x, base, words, letters, bold=True, align="center")


def disc_width_mm(lettering: Lettering, words: str, size_mm: float, size_pt: float) -> float:
    """Width of a corner's disc, millimetres."""
    return max(size_mm, lettering.width_mm(words, size_pt, bold=True) + 0.45 * size_mm)


def bar_length_m(sheet: Sheet) -> float:
    """Length of the scale bar, metres: 1, 2 or 5 times a power of ten of the unit it is in."""
    longest = min(_LONGEST_BAR_MM, 0.5 * sheet.map_box.width) / sheet.mm_per_m
    _, per_m = _bar_unit(longest)
    longest *= per_m
    power = 10.0 ** np.floor(np.log10(longest))
    return float(max(power * step for step in (1, 2, 5) if power * step <= longest)) / per_m


def _bar_unit(length_m: float) -> tuple[str, float]:
    """Name the unit of a scale bar of about this length, and how many are a metre."""
    shown = units()
    if length_m >= 2.0 * shown.long_from_m:
        return shown.long_length, shown.long_per_m
    return shown.length, shown.length_per_m


def draw_scale(pen: Pen, sheet: Sheet) -> Box:
    """Draw the scale bar at the foot of the map's box; return the bar's box."""
    length = bar_length_m(sheet)
    end = length * sheet.mm_per_m
    left, bottom = sheet.map_box.left + 3.0, sheet.map_box.bottom + 3.0
    tall = 1.6
    for n in range(4):
        piece = Box(left + n * end / 4, bottom, left + (n + 1) * end / 4, bottom + tall)
        pen.box(piece, INK if n % 2 == 0 else PAPER, over=3.0, edge=INK, edge_pt=0.6)
    longest = min(_LONGEST_BAR_MM, 0.5 * sheet.map_box.width) / sheet.mm_per_m
    unit, per_m = _bar_unit(longest)
    size = length * per_m
    for share in (0.0, 0.5, 1.0):
        words = f"{size * share:,g}" + (f" {unit}" if share == 1.0 else "")
        pen.text(left + share * end, bottom + tall + 1.0, words, 7.5, align="center")
    return Box(left, bottom, left + end, bottom + tall)


def draw_north(pen: Pen, sheet: Sheet) -> None:
    """Draw an arrow to true north at the right end of the map's foot.

    The plane's north is true north at its origin, the middle of the circuit.
    """
    north = sheet.direction(np.array([0.0, 1.0]))
    side = np.array([-north[1], north[0]])
    box = sheet.map_box
    middle = np.array([box.right - 9.0, box.bottom + 0.5 * 15.0])
    tip, tail = middle + 0.55 * _NORTH_MM * north, middle - 1.0 * _NORTH_MM * north
    notch = middle - 0.65 * _NORTH_MM * north
    for sign, fill in ((1.0, INK), (-1.0, PAPER)):
        wing = tail + sign * 0.42 * _NORTH_MM * side
        pen.area([np.array([tip, wing, notch, tip])], fill, over=3.0, edge=INK, edge_pt=0.6)
    letter = middle + 0.95 * _NORTH_MM * north
    pen.text(
        float(letter[0]),
        float(letter[1]) - 0.5 * CAPITAL * 9.0 * MM_PER_POINT,
        "N",
        9.0,
        bold=True,
        align="center",
    )
