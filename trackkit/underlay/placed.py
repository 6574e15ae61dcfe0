"""A placed plan as a GeoTIFF, which every program that shows maps lays where it belongs."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import UnderlayError
from trackkit.files import whole_file
from trackkit.geometry.geodesy import LocalPlane
from trackkit.underlay.packages import load
from trackkit.underlay.picture import RESIDUAL_TAG, Pixels
from trackkit.underlay.plan import PlacedPlan
from trackkit.underlay.sheets import MOST_PIXELS, read_sheet


def write_placed_plan(
    placed: PlacedPlan,
    plan: str | os.PathLike[str],
    path: str | os.PathLike[str],
    *,
    credit: str,
    page: int = 1,
    force: bool = False,
) -> None:
    """Write a placed plan as a GeoTIFF.

    An affine fit leaves every pixel as it is; a projective one is drawn anew, north up, with
    pixels as fine as the plan's finest.

    Parameters
    ----------
    placed
        How the plan lies, from `trackkit.place_plan`.
    plan
        A photo, a scan or a PDF.
    path
        The GeoTIFF to write; its system is a transverse Mercator plane around the points.
    credit
        Whose plan it is; kept in the file, as `placed.sigma_m` is.
    page
        Of a PDF, from 1.
    force
        Whether a file that exists may be replaced.

    Raises
    ------
    UnderlayError
        When the plan can't be read, or a point lies outside it.
    OutputError
        When the file exists and `force` is false, or can't be written.

    Examples
    --------
    >>> import numpy as np
    >>> from PIL import Image
    >>> import trackkit
    >>> Image.fromarray(np.full((120, 160, 3), 190, np.uint8)).save("plan.png")
    >>> corners = [(0, 0, 83.34, 38.73), (160, 0, 83.36, 38.73), (0, 120, 83.34, 38.71)]
    >>> points = [trackkit.PlanPoint(x, y, (lon, lat)) for x, y, lon, lat in corners]
    >>> placed = trackkit.place_plan(points)
    >>> trackkit.write_placed_plan(placed, "plan.png", "plan.tif", credit="A. Painter", force=True)
    """
    pixels, per_unit = read_sheet(plan, page=page)
    write_placed_pixels(placed, pixels, per_unit, plan, path, credit=credit, force=force)


def write_placed_pixels(
    placed: PlacedPlan,
    pixels: Pixels,
    per_unit: float,
    plan: str | os.PathLike[str],
    path: str | os.PathLike[str],
    *,
    credit: str,
    force: bool = False,
    most_pixels: int = MOST_PIXELS,
    compress: str = "deflate",
) -> None:
    """Write a placed plan as a GeoTIFF, as `write_placed_plan` does, from its pixels.

    Parameters
    ----------
    placed, plan, path, credit, force
        See there; `plan` is only named.
    pixels, per_unit
        As `read_sheet` gives them.
    most_pixels
        Of a projective plan that is drawn anew.
    compress
        How GDAL packs the file; "none" is quickest.

    Raises
    ------
    UnderlayError
        When a point lies outside the plan.
    OutputError
        When the file exists and `force` is false, or can't be written.
    """
    shown = os.fspath(plan)
    height, width = pixels.shape[:2]
    outside = [
        number
        for number, point in enumerate(placed.points, start=1)
        if not (0 <= point.x * per_unit <= width and 0 <= point.y * per_unit <= height)
    ]
    if outside:
        raise UnderlayError(
            f"is {width / per_unit:.0f} wide and {height / per_unit:.0f} high, and point "
            f"{outside[0]} lies outside",
            file=shown,
            remedy="count x and y from the left and top edge, in pixels, of a PDF in millimetres",
        )
    matrix = placed.matrix @ np.diag([1.0 / per_unit, 1.0 / per_unit, 1.0])
    if placed.fit == "affine":
        affine = matrix[:2] / matrix[2, 2]
    else:
        pixels, affine = _flattened(pixels, replace(placed, matrix=matrix), shown, most_pixels)
    rasterio = load("rasterio", shown)
    with (
        whole_file(path, force=force) as scratch,
        rasterio.open(
            scratch,
            "w",
            driver="GTiff",
            width=pixels.shape[1],
            height=pixels.shape[0],
            count=4,
            dtype="uint8",
            crs=system_of(placed.plane),
            transform=rasterio.Affine(*affine.ravel()),
            photometric="RGB",
            alpha="unspecified",
            compress=compress,
            tiled=True,
        ) as target,
    ):
        target.write(np.moveaxis(pixels, -1, 0))
        target.update_tags(TIFFTAG_COPYRIGHT=credit)
        if placed.sigma_m is not None:
            target.update_tags(**{RESIDUAL_TAG: f"{placed.sigma_m:.4f}"})


def system_of(plane: LocalPlane) -> str:
    """Write a plane's coordinate system as PROJ has it."""
    return (
        f"+proj=tmerc +lat_0={plane.latitude_deg:.12f} +lon_0={plane.longitude_deg:.12f} +k=1 "
        "+x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs"
    )


def _flattened(
    pixels: Pixels, placed: PlacedPlan, path: str, most_pixels: int
) -> tuple[Pixels, Floats]:
    """Draw a plan anew, north up on the ground."""
    from scipy.ndimage import map_coordinates

    height, width = pixels.shape[:2]
    edge = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    depth = np.column_stack([edge, np.ones(4)]) @ placed.matrix[2]
    if depth.min() * depth.max() <= 0:
        raise UnderlayError(
            "shows the horizon by this fit",
            file=path,
            remedy="cut the picture to the ground that the points enclose",
        )
    ground = placed.ground_m(edge)
    (west, south), (east, north) = ground.min(axis=0), ground.max(axis=0)
    steps = placed.ground_m(np.vstack([edge, edge + np.array([1.0, 0.0])]))
    pixel = float(np.hypot(*(steps[4:] - steps[:4]).T).min())
    pixel = max(pixel, float(np.sqrt((east - west) * (north - south) / most_pixels)))
    columns, rows = int(np.ceil((east - west) / pixel)), int(np.ceil((north - south) / pixel))
    affine = np.array([[pixel, 0.0, west], [0.0, -pixel, north]])
    back = np.linalg.inv(placed.matrix)
    drawn = np.zeros((rows, columns, 4), dtype=np.uint8)
    x = west + pixel * (np.arange(columns) + 0.5)
    # In strips, as the places of all pixels take ten times what the picture does.
    for first in range(0, rows, 256):
        last = min(first + 256, rows)
        y = north - pixel * (np.arange(first, last) + 0.5)
        east_m, north_m = np.meshgrid(x, y)
        there = np.stack([east_m, north_m, np.ones_like(east_m)], axis=-1) @ back.T
        place = [there[..., 1] / there[..., 2] - 0.5, there[..., 0] / there[..., 2] - 0.5]
        for band in range(4):
            drawn[first:last, :, band] = map_coordinates(
                pixels[..., band], place, order=1, mode="constant"
            )
    return drawn, affine
