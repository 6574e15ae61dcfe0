"""Pictures of the ground that never were: a circuit painted on textured desert, from the air."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from pyproj import Transformer
from scipy.ndimage import gaussian_filter, zoom

MARK = (255, 0, 255)
"""Colour of what is painted to be searched for; nothing else has it."""


def painted(track, crs="EPSG:32633", pixel_m=0.25, *, seed=1, margin_m=70.0, marks=()):
    """Paint a track's tarmac, edges and finish on ground, north up in a grid.

    Returns pixels (3, rows, columns), and the affine transform of the grid.  `marks` are
    positions (longitude, latitude) in the middle of 7 by 7 pixels of the colour MARK.
    """
    grid = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    chainage = np.arange(0.0, track.curve.length_m, 0.5 * pixel_m)
    middle, aside = track.curve.position(chainage), track.curve.left(chainage)
    x, y = grid.transform(*track.plane.to_geographic(middle))
    west, north = np.floor(x.min() - margin_m), np.ceil(y.max() + margin_m)
    columns = round((x.max() + margin_m - west) / pixel_m)
    rows = round((north - y.min() + margin_m) / pixel_m)
    affine = rasterio.Affine(pixel_m, 0.0, west, 0.0, -pixel_m, north)
    pixels = _ground(rows, columns, np.random.default_rng(seed))

    def paint(position_m, colour):
        x, y = grid.transform(*track.plane.to_geographic(position_m))
        column, row = (x - west) / pixel_m, (north - y) / pixel_m
        pixels[:, row.astype(int), column.astype(int)] = np.array(colour)[:, None]

    half = 0.5 * track.band_m
    for offset in np.arange(-half, half + pixel_m / 2, pixel_m / 2):
        paint(middle + offset * aside, (92, 92, 96))
    for offset in (-half, half):
        paint(middle + offset * aside, (235, 235, 235))
    left, right = track.gate_ends(track.timed_from)
    for share in np.arange(0.0, 1.0, 0.01):
        for along in np.arange(-0.5, 0.5, 0.1):
            across = (right - left) / np.hypot(*(right - left))
            forward = np.array([-across[1], across[0]])
            paint((left + share * (right - left) + along * forward)[None], (250, 250, 250))
    for position in marks:
        east, y_north = grid.transform(*position)
        column, row = int((east - west) / pixel_m), int((north - y_north) / pixel_m)
        pixels[:, row - 3 : row + 4, column - 3 : column + 4] = np.array(MARK)[:, None, None]
    return pixels, affine


def _ground(rows, columns, random):
    small = (rows // 16 + 2, columns // 16 + 2)
    coarse = zoom(gaussian_filter(random.normal(size=small), 3.0), 16, order=1)[:rows, :columns]
    fine = random.normal(size=(rows, columns))
    shade = 30.0 * coarse / np.abs(coarse).max() + 5.0 * gaussian_filter(fine, 1.0) / 0.28
    colours = np.array([186.0, 160.0, 118.0])[:, None, None] + shade
    return np.clip(colours, 0, 250).astype(np.uint8)


def write_geotiff(path, pixels, affine, crs="EPSG:32633", credit="An invented flight") -> Path:
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=pixels.shape[2],
        height=pixels.shape[1],
        count=len(pixels),
        dtype=pixels.dtype,
        crs=crs,
        transform=affine,
        compress="deflate",
    ) as target:
        target.write(pixels)
        if credit:
            target.update_tags(TIFFTAG_COPYRIGHT=credit)
    return Path(path)
