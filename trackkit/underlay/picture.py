"""A picture of the ground that knows where it lies: GeoTIFF, MBTiles, or one with a world file."""

from __future__ import annotations

import os
import reprlib
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trackkit.arrays import Floats
from trackkit.errors import PlaceError, UnderlayError, reading_failed
from trackkit.geometry.grids import horizontal_crs
from trackkit.remedies import Remedy
from trackkit.underlay.packages import load

DRIVERS = ("GTiff", "MBTiles", "JPEG", "PNG", "WEBP")
"""Kinds of pictures, by the names that GDAL gives them."""
_CREDITS = ("TIFFTAG_COPYRIGHT", "attribution", "EXIF_Copyright", "TIFFTAG_ARTIST", "EXIF_Artist")
"""Where a picture may hold whose it is: TIFF 6.0 and Exif 2.3 tags, and MBTiles' metadata."""
RESIDUAL_TAG = "TRACKKIT_RESIDUAL_M"
"""Where a plan that was laid by points keeps how well they agree."""
_LIT = (2.0, 98.0)
"""Percent of the values that lie between black and white, where a picture has more than 8 bits."""

Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class Underlay:
    """A picture of the ground, as it lies in its file.

    Parameters
    ----------
    path
        The file.
    crs
        The coordinate system that it lies in, as WKT.
    credit
        Whose picture it is, plain text to be shown wherever the picture is.
    residual_m
        How far it lies off, metres, one sigma on one axis, by the points that it was laid by; None
        where nobody has measured it.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.Underlay("field.tif", "EPSG:32644", "An invented flight")
    Underlay('field.tif', credit='An invented flight')
    """

    path: str
    crs: str
    credit: str
    residual_m: float | None = None

    def __repr__(self) -> str:
        return f"Underlay({reprlib.repr(self.path)}, credit={reprlib.repr(self.credit)})"


@dataclass(frozen=True)
class Frame:
    """A grid of pixels on the ground, in any coordinate system.

    Parameters
    ----------
    crs
        The system, as PROJ or WKT has it.
    affine
        Six numbers (a, b, c, d, e, f): the upper left corner of column i and row j lies at
        x = a i + b j + c, y = d i + e j + f, in the system's unit.
    width, height
        Columns and rows.
    """

    crs: str
    affine: tuple[float, float, float, float, float, float]
    width: int
    height: int


def read_underlay(
    path: str | os.PathLike[str], *, crs: str | None = None, credit: str | None = None
) -> Underlay:
    """Read where a picture of the ground lies, and whose it is.

    Parameters
    ----------
    path
        A GeoTIFF; MBTiles; or a JPEG, PNG or WebP with a world file beside it.
    crs
        The coordinate system, for example "EPSG:25832", where the file does not say it.  World
        files don't.
    credit
        Whose picture it is; what the file says of that when None.

    Returns
    -------
    Underlay
        The file, its system and its credit.

    Raises
    ------
    UnderlayError
        When it is no such picture, lies nowhere, or nobody is named.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.read_underlay("nowhere.tif")
    Traceback (most recent call last):
        ...
    trackkit.errors.UnderlayError: nowhere.tif: no such file
    """
    shown = os.fspath(path)
    with open_picture(shown) as source:
        if _lies(source, shown) is None:
            raise UnderlayError(
                "does not say where it lies on the ground",
                file=shown,
                remedy=Remedy(
                    "put its world file beside it, or place it by points of it on the ground",
                    do="place plan",
                ),
            )
        lies_in = source.crs.to_wkt() if source.crs else None
        tags = source.tags()
        named = next((text for text in map(tags.get, _CREDITS) if text), None)
        whose = (credit or named or "").strip()
    if crs is not None:
        try:
            chosen = horizontal_crs(crs).to_wkt()
        except PlaceError as error:
            raise UnderlayError(str(error), file=shown) from error
    elif lies_in is not None:
        chosen = lies_in
    else:
        raise UnderlayError(
            "says no coordinate system",
            file=shown,
            remedy=Remedy("name the one that its makers used", do="name picture grid"),
        )
    if not whose:
        raise UnderlayError(
            "says nothing of who made it",
            file=shown,
            remedy=Remedy(
                "name them, as they ask to be named and as is shown with the picture,",
                do="name credit",
            ),
        )
    return Underlay(shown, chosen, " ".join(whose.split()), _residual_m(tags.get(RESIDUAL_TAG)))


def lies_somewhere(path: str | os.PathLike[str]) -> bool:
    """Tell whether a picture says where it lies on the ground.

    Raises
    ------
    UnderlayError
        When it can't be read.
    """
    shown = os.fspath(path)
    with open_picture(shown) as source:
        return _lies(source, shown) is not None


def _residual_m(text: str | None) -> float | None:
    try:
        residual = float(text or "")
    except ValueError:
        return None
    return residual if np.isfinite(residual) and residual >= 0.0 else None


def open_picture(path: str) -> Any:
    """Open a picture with rasterio, to be closed as a context.

    Raises
    ------
    UnderlayError
        When it can't be read.
    """
    rasterio = load("rasterio", path)
    if is_pdf(path):
        raise UnderlayError(
            "is a PDF, which does not say where it lies on the ground",
            file=path,
            remedy=Remedy("place it by points of it on the ground", do="place plan"),
        )
    try:
        with warnings.catch_warnings():
            # That a picture lies nowhere is told by `read_underlay`.
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            with rasterio.Env():
                # Unlike rasterio.open, it takes several drivers: a picture that only names others,
                # on a network maybe, is none.
                return rasterio.io.DatasetReader(path, driver=list(DRIVERS))
    except rasterio.errors.RasterioIOError as error:
        raise UnderlayError(
            "is no picture that can be read",
            file=path,
            remedy="give a GeoTIFF, MBTiles, or a JPEG, PNG or WebP with its world file",
        ) from error


def is_pdf(path: str) -> bool:
    """Tell whether a file is a PDF.

    Raises
    ------
    UnderlayError
        When it can't be read.
    """
    try:
        with Path(path).open("rb") as file:
            begin = file.read(1024)
    except OSError as error:
        raise UnderlayError(reading_failed(path, error), file=path) from error
    # A PDF's header may stand anywhere in the first 1024 bytes (PDF Reference 1.7, appendix H).
    return b"%PDF-" in begin


def pixels_on(underlay: Underlay, frame: Frame) -> Pixels:
    """Warp a picture into a frame, bounded in memory by the frame, not by the file.

    Parameters
    ----------
    underlay
        The picture.
    frame
        Where the pixels shall lie.

    Returns
    -------
    ndarray
        Red, green, blue and how opaque each pixel is, 0 to 255, shape (height, width, 4); beyond
        the picture it is 0.

    Raises
    ------
    UnderlayError
        When the picture can't be read or warped.
    """
    rasterio = load("rasterio", underlay.path)
    vrt = load("rasterio.vrt", underlay.path)
    resampling = rasterio.enums.Resampling
    with open_picture(underlay.path) as source:
        palette = _palette(source)
        bands = _bands(source)
        alpha = rasterio.enums.ColorInterp.alpha in source.colorinterp
        coarser = _coarser(underlay, source, frame)
        method = resampling.average if coarser > 2.0 else resampling.cubic
        if palette is not None:
            method = resampling.nearest
        try:
            with vrt.WarpedVRT(
                source,
                src_crs=underlay.crs,
                src_transform=rasterio.Affine(*_placed(source, underlay.path)[:2].ravel()),
                crs=frame.crs,
                transform=rasterio.Affine(*frame.affine),
                width=frame.width,
                height=frame.height,
                add_alpha=not alpha,
                resampling=method,
            ) as warped:
                values = warped.read(bands)
                opaque = _opaque(warped, values, alpha=alpha)
        except (rasterio.errors.RasterioError, rasterio.errors.CRSError) as error:
            raise UnderlayError(f"cannot be laid there ({error})", file=underlay.path) from error
    if palette is not None:
        pixels: Pixels = palette[values[0]]
        pixels[..., 3] = np.minimum(pixels[..., 3], opaque)
        return pixels
    colours = _eight_bits(values, opaque > 0)
    red, green, blue = colours if len(colours) == 3 else np.repeat(colours[:1], 3, axis=0)
    return np.stack([red, green, blue, opaque], axis=-1)


def _opaque(warped: Any, values: NDArray[Any], *, alpha: bool) -> Pixels:
    """Tell how opaque each pixel is, 0 to 255, by the file's own alpha or the one that was added.

    Of pixels with a sign or a fraction GDAL takes an added alpha for a band like the others.
    """
    opaque = np.asarray(warped.dataset_mask() if alpha else warped.read(warped.count))
    if opaque.dtype != np.uint8:
        opaque = np.where(opaque > 0, np.uint8(255), np.uint8(0))
    if values.dtype.kind == "f":
        opaque = np.where(np.isfinite(values).all(axis=0), opaque, np.uint8(0))
    return opaque


def covered_share(
    underlay: Underlay, pixels: Pixels, column: Floats, row: Floats, name: str
) -> float:
    """Tell what share of some places a picture shows.

    Parameters
    ----------
    underlay, pixels
        The picture, and its pixels as `pixels_on` gives them.
    column, row
        Where the places are among them, shape (n,).
    name
        What the places are of.

    Raises
    ------
    UnderlayError
        When it shows none.
    """
    height, width = pixels.shape[:2]
    across = np.clip(column.astype(int), 0, width - 1)
    down = np.clip(row.astype(int), 0, height - 1)
    share = float(np.mean(pixels[down, across, 3] > 0))
    if not share:
        raise UnderlayError(
            f"does not reach {name}",
            file=underlay.path,
            remedy="check the picture's coordinate system, or choose another picture",
        )
    return share


def ground_pixel_m(underlay: Underlay, longitude_deg: float, latitude_deg: float) -> float:
    """Size of a picture's pixel on the ground, metres, at a place."""
    here = one_metre(underlay.crs, longitude_deg, latitude_deg)
    with open_picture(underlay.path) as source:
        lies = _placed(source, underlay.path)
    area = abs(np.linalg.det(lies[:2, :2])) / abs(np.linalg.det(here))
    return float(np.sqrt(area))


def shown_share(underlay: Underlay, longitude_deg: Floats, latitude_deg: Floats) -> float:
    """Tell what share of some positions lies within the edges of a picture, 0 to 1."""
    from pyproj import Transformer

    grid = Transformer.from_crs("EPSG:4326", underlay.crs, always_xy=True)
    x, y = grid.transform(longitude_deg, latitude_deg)
    with open_picture(underlay.path) as source:
        lies, size = _placed(source, underlay.path), np.array([source.width, source.height])
    # Where a system has no such position, PROJ gives infinity.
    somewhere = np.isfinite(x) & np.isfinite(y)
    there = np.array([np.where(somewhere, x, 0.0), np.where(somewhere, y, 0.0)])
    place = (np.linalg.inv(lies) @ np.vstack([there, np.ones(len(x))]))[:2].T
    return float(np.mean(somewhere & np.all((place >= 0.0) & (place <= size), axis=1)))


def one_metre(crs: str, longitude_deg: float, latitude_deg: float) -> Floats:
    """Give a metre east and a metre north in a system, columns of a (2, 2) array."""
    from pyproj import Transformer

    from trackkit.geometry.geodesy import LocalPlane

    plane = LocalPlane(longitude_deg, latitude_deg)
    steps = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])
    longitude, latitude = plane.to_geographic(steps)
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(longitude, latitude)
    return 0.5 * np.array([[x[1] - x[0], x[3] - x[2]], [y[1] - y[0], y[3] - y[2]]])


def _placed(source: Any, path: str) -> Floats:
    lies = _lies(source, path)
    if lies is None:
        raise UnderlayError("does not say any more where it lies on the ground", file=path)
    return lies


def _lies(source: Any, path: str) -> Floats | None:
    """Give the (3, 3) matrix from columns and rows to the ground; None where nothing says it."""
    if not source.transform.is_identity:
        return np.array(source.transform, dtype=float).reshape(3, 3)
    # GDAL looks for no world file beside a WebP.
    suffix = Path(path).suffix
    for world in (f".{suffix[1:2]}{suffix[-1:]}w", f"{suffix}w", ".wld"):
        beside = Path(path).with_suffix(world)
        if beside.is_file():
            return _of_world_file(beside)
    return None


def _of_world_file(path: Path) -> Floats:
    """Read six numbers: two steps right, two steps down, and the middle of the first pixel."""
    try:
        a, d, b, e, c, f = (float(word) for word in path.read_text("ascii").split()[:6])
    except (OSError, ValueError) as error:
        raise UnderlayError(
            "is no world file", file=path, remedy="it has six lines, a number in each"
        ) from error
    return np.array([[a, b, c - 0.5 * (a + b)], [d, e, f - 0.5 * (d + e)], [0.0, 0.0, 1.0]])


def _coarser(underlay: Underlay, source: Any, frame: Frame) -> float:
    """How many pixels of the picture a pixel of the frame is wide, at the frame's middle."""
    from pyproj import Transformer

    a, b, c, d, e, f = frame.affine
    middle = np.array([frame.width / 2, frame.height / 2])
    steps = middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    x, y = np.array([[a, b], [d, e]]) @ steps.T + [[c], [f]]
    there = Transformer.from_crs(frame.crs, underlay.crs, always_xy=True).transform(x, y)
    back = np.linalg.inv(_placed(source, underlay.path))[:2, :2]
    place = back @ np.array(there)
    return float(np.sqrt(abs(np.linalg.det(place[:, 1:] - place[:, :1]))))


def _palette(source: Any) -> Pixels | None:
    if source.count != 1 or source.dtypes[0] != "uint8":
        return None
    try:
        entries = source.colormap(1)
    except ValueError:
        return None
    palette = np.zeros((256, 4), dtype=np.uint8)
    for value, colour in entries.items():
        palette[value] = colour
    return palette


def _bands(source: Any) -> list[int]:
    """Red, green and blue where the picture names them, else its first three, or the first."""
    names = [interpretation.name for interpretation in source.colorinterp]
    if {"red", "green", "blue"} <= set(names):
        return [names.index(name) + 1 for name in ("red", "green", "blue")]
    plain = [n + 1 for n, name in enumerate(names) if name != "alpha"]
    return plain[:3] if len(plain) >= 3 else plain[:1]


def _eight_bits(values: NDArray[Any], seen: NDArray[np.bool_]) -> Pixels:
    if values.dtype == np.uint8:
        return np.asarray(values)
    lit = values[:, seen]
    if not lit.size:
        return np.zeros(values.shape, dtype=np.uint8)
    dark, light = np.nanpercentile(lit.astype(float), _LIT)
    share = (np.nan_to_num(values.astype(float)) - dark) / max(light - dark, 1e-9)
    return np.asarray(np.clip(np.round(255 * share), 0, 255), dtype=np.uint8)
