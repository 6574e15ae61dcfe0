"""A picture of the ground on a sheet, turned and scaled as the circuit is."""

from __future__ import annotations

import numpy as np

from trackkit.paper.ink import Pen
from trackkit.paper.sheet import Sheet
from trackkit.track.model import Track
from trackkit.underlay.picture import Frame, Underlay, covered_share, pixels_on
from trackkit.underlay.placed import system_of

MOST_PIXELS = 1_200_000
"""In an SVG or a PDF they are kept without loss, some 2.5 bytes each: 3 MB."""


def draw_underlay(pen: Pen, underlay: Underlay, track: Track, sheet: Sheet) -> None:
    """Draw a picture where the circuit and its labels go, below everything else.

    Raises
    ------
    UnderlayError
        When it does not reach the circuit, or can't be read.
    """
    box = sheet.label_box
    step_mm = float(np.sqrt(box.width * box.height / MOST_PIXELS))
    width, height = round(box.width / step_mm), round(box.height / step_mm)
    corner, right, below = sheet.to_plane(
        [
            [box.left, box.top],
            [box.left + box.width / width, box.top],
            [box.left, box.top - box.height / height],
        ]
    )
    (a, d), (b, e), (c, f) = right - corner, below - corner, corner
    affine = (float(a), float(b), float(c), float(d), float(e), float(f))
    pixels = pixels_on(underlay, Frame(system_of(track.plane), affine, width, height))
    line = track.plane.to_plane(track.centreline.longitude_deg, track.centreline.latitude_deg)
    column, row = ((sheet.to_paper(line) - [box.left, box.top]) / [step_mm, -step_mm]).T
    covered_share(underlay, pixels, column, row, track.name)
    pen.picture(pixels, box)
