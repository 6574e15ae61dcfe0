"""A picture of the ground cut to a circuit, as one text that a page carries with it."""

from __future__ import annotations

import base64
import io
import math
import reprlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import UnderlayError
from trackkit.geometry.geodesy import longitude_near, unwrap_longitude
from trackkit.track.model import Track
from trackkit.underlay.packages import load
from trackkit.underlay.picture import (
    Frame,
    Pixels,
    Underlay,
    covered_share,
    ground_pixel_m,
    pixels_on,
)

MOST_BYTES = 3_000_000
"""A page grows by at most this much, unless it is asked for otherwise."""
MOST_PIXELS = 12_000_000
"""More take a phone's browser more than 50 MB of memory."""
MARGIN_SHARE, LEAST_MARGIN_M = 0.12, 40.0
"""Ground that is seen around the circuit, as a share of its longer side, and at least."""
MAY_BE_OFF = (
    "a picture may lie metres off, and the ground may have changed since: compare it with a place "
    "that was surveyed or driven before a gate is placed by it"
)
_RADIUS_M = 6_378_137.0
_QUALITIES = (82, 70, 58)
"""Of WebP's lossy coding, tried in this order before the picture is made coarser."""
_COARSER = 0.8
_FROM_BASE64 = 3.0 / 4.0
_TOO_COARSE_M = 20.0


@dataclass(frozen=True)
class EmbeddedPicture:
    """A picture that a page carries, in the web's Mercator projection.

    Parameters
    ----------
    data
        A data address (RFC 2397) of a WebP picture.
    west_deg, south_deg, east_deg, north_deg
        Its edges, degrees; longitudes continue those of the track across the antimeridian.
    credit
        Whose picture it is.
    pixel_m
        Size of a pixel on the ground, metres.
    source_pixel_m
        Size of a pixel of the file it was cut from, on the ground, metres.
    covered
        Share of the centreline that lies on the picture, 0 to 1.
    name
        Of the file it was cut from.
    residual_m
        How far the picture lies off on the ground, metres, one sigma on one axis, or None where
        nobody has measured it.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.EmbeddedPicture("data:", 5.0, 24.0, 5.1, 24.1, "An invented flight", 0.2, 0.1, 1.0)
    EmbeddedPicture(0.0 MB, pixel_m=0.20, credit='An invented flight')
    """

    data: str
    west_deg: float
    south_deg: float
    east_deg: float
    north_deg: float
    credit: str
    pixel_m: float
    source_pixel_m: float
    covered: float
    name: str = ""
    residual_m: float | None = None

    def __repr__(self) -> str:
        return (
            f"EmbeddedPicture({len(self.data) / 1e6:.1f} MB, pixel_m={self.pixel_m:.2f}, "
            f"credit={reprlib.repr(self.credit)})"
        )


def embed_underlay(
    underlay: Underlay, track: Track, *, most_bytes: int = MOST_BYTES
) -> EmbeddedPicture:
    """Cut a picture to a track, and make it small enough for a page.

    The finest pixels are taken that fit, coarser ones only where a lower quality isn't enough.

    Parameters
    ----------
    underlay
        The picture.
    track
        What it is cut to.
    most_bytes
        Of the text that the page carries.

    Returns
    -------
    EmbeddedPicture
        The picture as text, and where it lies.

    Raises
    ------
    UnderlayError
        When the picture does not reach the track, can't be read, or can't be made that small.

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
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> picture = trackkit.read_underlay("plan.tif")
    >>> trackkit.embed_underlay(picture, trackkit.read_track(path)).credit
    'A. Painter'
    """
    longitude, latitude = places_of(track)
    middle_lon = 0.5 * float(longitude.min() + longitude.max())
    middle_lat = 0.5 * float(latitude.min() + latitude.max())
    system = _mercator(middle_lon)
    stretch = 1.0 / math.cos(math.radians(middle_lat))
    west, east, south, north = with_margin(*_in_mercator(longitude, latitude, middle_lon), stretch)
    line = track.centreline
    line_x, line_y = _in_mercator(line.longitude_deg, line.latitude_deg, middle_lon)
    finest = ground_pixel_m(underlay, middle_lon, middle_lat)
    fits = math.sqrt((east - west) * (north - south) / MOST_PIXELS) / stretch
    pixel = max(finest, fits)
    while True:
        step = pixel * stretch
        width, height = max(1, round((east - west) / step)), max(1, round((north - south) / step))
        across, down = (east - west) / width, (north - south) / height
        frame = Frame(system, (across, 0.0, west, 0.0, -down, north), width, height)
        pixels = pixels_on(underlay, frame)
        column, row = (line_x - west) / across, (north - line_y) / down
        covered = covered_share(underlay, pixels, column, row, track.name)
        for quality in _QUALITIES:
            coded = webp(pixels, quality, underlay.path)
            if len(coded) <= most_bytes * _FROM_BASE64 - 32:
                return EmbeddedPicture(
                    "data:image/webp;base64," + base64.b64encode(coded).decode("ascii"),
                    middle_lon + math.degrees(west / _RADIUS_M),
                    _latitude_deg(south),
                    middle_lon + math.degrees(east / _RADIUS_M),
                    _latitude_deg(north),
                    underlay.credit,
                    pixel,
                    finest,
                    covered,
                    Path(underlay.path).name,
                    underlay.residual_m,
                )
        pixel /= min(_COARSER, max(0.3, math.sqrt(most_bytes * _FROM_BASE64 / len(coded))))
        if pixel > max(_TOO_COARSE_M, finest):
            raise UnderlayError(
                f"can't be told in {most_bytes / 1e6:g} MB",
                file=underlay.path,
                remedy="let the page grow by more",
            )


def places_of(track: Track) -> tuple[Floats, Floats]:
    """Longitudes and latitudes, degrees, of all that is drawn of a track, continuous."""
    line = track.centreline
    near = float(np.mean(unwrap_longitude(line.longitude_deg)))
    ends = np.array([end for gate in track.gates for end in (gate.left, gate.right)]).reshape(-1, 2)
    longitude = [line.longitude_deg, ends[:, 0], *(lane.longitude_deg for lane in track.pit_lanes)]
    latitude = [line.latitude_deg, ends[:, 1], *(lane.latitude_deg for lane in track.pit_lanes)]
    return longitude_near(np.concatenate(longitude), near), np.concatenate(latitude)


def with_margin(x: Floats, y: Floats, unit_of_metre: float) -> tuple[float, float, float, float]:
    """Least and greatest x, least and greatest y of a box around places and some ground."""
    low, high = np.array([x.min(), y.min()]), np.array([x.max(), y.max()])
    margin = max(MARGIN_SHARE * float((high - low).max()), LEAST_MARGIN_M * unit_of_metre)
    (west, south), (east, north) = low - margin, high + margin
    return float(west), float(east), float(south), float(north)


def embedding_remarks(underlay: Underlay, embedded: EmbeddedPicture) -> Sequence[str]:
    """Say what of a picture a page carries."""
    size = len(embedded.data) / 1e6
    sharpness = (
        f"{underlay.path}: {embedded.pixel_m:.2f} m a pixel (the file has "
        f"{embedded.source_pixel_m:.2f}), {size:.1f} MB of the page; credit: {embedded.credit}"
    )
    remarks = [sharpness, MAY_BE_OFF]
    if embedded.covered < 1.0:
        remarks.append(f"{underlay.path} covers {100 * embedded.covered:.0f} % of the centreline")
    return remarks


def webp(pixels: Pixels, quality: int, path: str) -> bytes:
    """Code pixels, shape (height, width, 4), as WebP; `quality` from 0 to 100."""
    image = load("PIL.Image", path)
    content = io.BytesIO()
    shown = pixels if pixels[..., 3].min() < 255 else np.ascontiguousarray(pixels[..., :3])
    image.fromarray(shown).save(content, "WEBP", quality=quality, method=4)
    return content.getvalue()


def _mercator(longitude_deg: float) -> str:
    """Write the web's Mercator projection (EPSG:3857), counted from a meridian of its own."""
    return (
        f"+proj=merc +a={_RADIUS_M:.0f} +b={_RADIUS_M:.0f} +lat_ts=0 +lon_0={longitude_deg:.10f} "
        "+x_0=0 +y_0=0 +k=1 +units=m +nadgrids=@null +wktext +no_defs"
    )


def _in_mercator(
    longitude_deg: Floats, latitude_deg: Floats, middle_lon_deg: float
) -> tuple[Floats, Floats]:
    """Give x and y of positions in that projection, of shape (n,) each."""
    x = np.radians(longitude_near(longitude_deg, middle_lon_deg) - middle_lon_deg) * _RADIUS_M
    y = np.arctanh(np.sin(np.radians(latitude_deg))) * _RADIUS_M
    return np.asarray(x), np.asarray(y)


def _latitude_deg(y: float) -> float:
    return math.degrees(math.atan(math.sinh(y / _RADIUS_M)))
