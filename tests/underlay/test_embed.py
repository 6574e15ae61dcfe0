"""A page carries a picture that is sharp, small and where it belongs."""

import base64
import io

import numpy as np
import pytest
import rasterio
from aerial import MARK, painted, write_geotiff
from PIL import Image

from trackkit import embed_underlay, open_library, read_track, read_underlay
from trackkit.errors import UnderlayError
from trackkit.underlay.embed import embedding_remarks

WEB_RADIUS_M = 6378137.0


def pixels_of(embedded):
    kind, _, data = embedded.data.partition(",")
    assert kind == "data:image/webp;base64"
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB")).astype(float)


def place_on_page(embedded, shape, longitude_deg, latitude_deg):
    """Column and row where a map in the web's Mercator projection shows a position (EPSG:3857)."""

    def northing(latitude):
        return np.log(np.tan(np.pi / 4 + np.radians(latitude) / 2))

    east = (longitude_deg - embedded.west_deg) / (embedded.east_deg - embedded.west_deg)
    south, north = northing(embedded.south_deg), northing(embedded.north_deg)
    down = (north - northing(latitude_deg)) / (north - south)
    return np.array([east * shape[1], down * shape[0]])


def found_mark(pixels):
    likeness = np.clip(pixels[..., [0, 2]].min(axis=2) - pixels[..., 1], 60, None) - 60
    row, column = np.indices(likeness.shape) + 0.5
    return np.array([np.sum(column * likeness), np.sum(row * likeness)]) / np.sum(likeness)


@pytest.mark.slow
def test_a_kart_circuit_is_as_sharp_as_its_picture_and_everything_is_in_its_place(pipwick, flown):
    embedded = embed_underlay(read_underlay(flown), pipwick)
    assert embedded.pixel_m == pytest.approx(0.25, rel=0.01)
    assert len(embedded.data) <= 3_000_000
    assert embedded.covered == 1.0
    pixels = pixels_of(embedded)
    away = found_mark(pixels) - place_on_page(embedded, pixels.shape, *pipwick.corners[2].apex)
    assert np.hypot(*away) * embedded.pixel_m < 0.4


@pytest.mark.slow
def test_longitudes_of_a_picture_astride_the_antimeridian_continue_those_of_the_track(tmp_path):
    track = read_track(open_library().find("saltpenny-atoll-clockwise").path)
    apex = track.corners[0].apex
    pixels, affine = painted(track, "EPSG:32701", pixel_m=1.0, marks=[apex])
    path = write_geotiff(tmp_path / "atoll.tif", pixels, affine, "EPSG:32701")
    embedded = embed_underlay(read_underlay(path), track)
    assert embedded.west_deg < 180.0 < embedded.east_deg or embedded.west_deg < -180.0
    assert embedded.east_deg - embedded.west_deg < 0.2
    shown = pixels_of(embedded)
    lon = embedded.west_deg + (apex[0] - embedded.west_deg) % 360.0
    away = found_mark(shown) - place_on_page(embedded, shown.shape, lon, apex[1])
    assert np.hypot(*away) * embedded.pixel_m < 1.5


@pytest.mark.slow
def test_noise_that_no_coding_makes_small_is_made_coarser_until_it_fits(pipwick, tmp_path):
    pixels, affine = painted(pipwick, "EPSG:32644", pixel_m=0.25)
    pixels = np.random.default_rng(3).integers(0, 256, pixels.shape, dtype=np.uint8)
    path = write_geotiff(tmp_path / "noise.tif", pixels, affine, "EPSG:32644")
    underlay = read_underlay(path)
    whole = embed_underlay(underlay, pipwick)
    assert len(whole.data) <= 3_000_000
    small = embed_underlay(underlay, pipwick, most_bytes=300_000)
    assert 150_000 < len(small.data) <= 300_000
    assert small.pixel_m > whole.pixel_m


def test_a_picture_of_half_the_circuit_says_how_much_it_covers(pipwick, flown, tmp_path):
    with rasterio.open(flown) as source:
        half = source.read(window=((0, source.height), (0, source.width // 2)))
        affine = source.transform
    path = write_geotiff(tmp_path / "half.tif", half, affine, "EPSG:32644")
    underlay = read_underlay(path)
    embedded = embed_underlay(underlay, pipwick)
    assert 0.3 < embedded.covered < 0.7
    assert embedding_remarks(underlay, embedded)[-1].endswith(" % of the centreline")


def test_a_picture_of_another_place_is_refused(flown):
    elsewhere = read_track(open_library().find("gullhatch-oval").path)
    with pytest.raises(UnderlayError, match="does not reach Gullhatch"):
        embed_underlay(read_underlay(flown), elsewhere)


def test_the_mark_is_of_a_colour_that_nothing_else_has(pipwick):
    pixels, _ = painted(pipwick, "EPSG:32644", pixel_m=1.0)
    assert not np.any(np.all(pixels == np.array(MARK)[:, None, None], axis=0))
