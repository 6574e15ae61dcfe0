"""A photo of the ground that says nothing of where it lies, and where PROJ says that it lies."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from aerial import painted
from PIL import Image
from pyproj import Transformer

PIXEL_M = 1.0
TURN_DEG = 25.0
GRID = "EPSG:32644"


class TurnedPhoto:
    """An aerial picture of a track, turned by an angle."""

    def __init__(self, track, path: Path) -> None:
        pixels, affine = painted(track, GRID, pixel_m=PIXEL_M)
        flat = Image.fromarray(np.moveaxis(pixels, 0, -1))
        photo = flat.rotate(TURN_DEG, expand=True, resample=Image.Resampling.BILINEAR)
        photo.save(path)
        self.path = path
        self._from_grid = np.linalg.inv(np.array(affine).reshape(3, 3))
        self._grid = Transformer.from_crs("EPSG:4326", GRID, always_xy=True)
        self._middle, self._turned = np.array(flat.size) / 2, np.array(photo.size) / 2

    def place(self, longitude: float, latitude: float) -> tuple[float, float]:
        """Where a position is on the photo, pixels from its left and top edge."""
        x, y = self._grid.transform(longitude, latitude)
        away = (self._from_grid @ [x, y, 1.0])[:2] - self._middle
        c, s = np.cos(np.radians(TURN_DEG)), np.sin(np.radians(TURN_DEG))
        right, down = np.array([[c, s], [-s, c]]) @ away + self._turned
        return float(right), float(down)
