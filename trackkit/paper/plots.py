"""A circuit drawn on an axis of matplotlib's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trackkit.errors import OutputError
from trackkit.paper.draw import draw_on, texts_of
from trackkit.paper.ink import INK, Pen
from trackkit.paper.shapes import outline
from trackkit.paper.sheet import MM_PER_INCH, sheet_of
from trackkit.paper.text import Lettering
from trackkit.track.credit import credits_of
from trackkit.track.model import Track

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_track(track: Track, axes: Axes | None = None) -> Axes:
    """Draw a circuit on an axis, as the paper sheet draws it: line, gates, corners, pit lanes.

    Parameters
    ----------
    track
        The track.
    axes
        What to draw on, filled as large as it is now (where a figure lays out its axes itself, draw
        the others first); pyplot's own when None.

    Returns
    -------
    Axes
        Its coordinates are metres east and north on the track's plane, so that whatever
        ``track.plane.to_plane`` gives can be drawn over it.

    Raises
    ------
    OutputError
        When the axis is too small to show a circuit on.

    Examples
    --------
    >>> import trackkit
    >>> from matplotlib.figure import Figure
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> trackkit.plot_track(track, Figure().subplots()).get_title()
    'Box'
    """
    from matplotlib.figure import Figure
    from matplotlib.transforms import Affine2D

    if axes is None:
        from matplotlib import pyplot as plt

        axes = plt.gca()
    figure = axes.get_figure()
    if not isinstance(figure, Figure):
        raise OutputError("the axis is on no figure", remedy="take one of a figure")
    lettering = Lettering.for_texts(texts_of(track))
    axes.set_axis_off()
    axes.set_title(lettering.clean(track.title), color=INK, parse_math=False)
    if figure.get_layout_engine() is not None:
        # Labels are as large as letters are: what the layout gives must be there before.
        figure.draw_without_rendering()
    place = axes.get_position(original=True)
    size = figure.get_size_inches() * MM_PER_INCH
    lines, bars = outline(track)
    wide, tall = float(place.width * size[0]), float(place.height * size[1])
    sheet = sheet_of(np.vstack([*lines, *bars]), wide, tall)
    if sheet is None:
        raise OutputError(
            f"an axis of {wide:.0f} by {tall:.0f} mm is too small for a circuit and its labels",
            remedy="take a larger figure",
        )
    onto = Affine2D().translate(*(-np.array(sheet.middle_mm))).scale(1.0 / sheet.mm_per_m)
    onto.translate(*sheet.middle_m)
    pen = Pen(figure, axes, lettering, onto + axes.transData)
    low, high = onto.transform([[0.0, 0.0], [wide, tall]])
    axes.set_aspect("equal")
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])
    draw_on(pen, track, sheet)
    data = "\n".join(pen.lettering.clean(f"Data: {text}") for text in credits_of(track))
    if data:
        axes.text(
            0.0, -0.02, data, fontsize=6, va="top", transform=axes.transAxes, parse_math=False
        )
    return axes
