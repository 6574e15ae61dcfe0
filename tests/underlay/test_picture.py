"""Pictures lie where they belong, whatever they are kept in."""

import numpy as np
import pytest
import rasterio
import rasterio.shutil
from aerial import painted, write_geotiff
from PIL import Image
from pyproj import Transformer

from trackkit import read_underlay
from trackkit.errors import UnderlayError
from trackkit.underlay.picture import Frame, ground_pixel_m, pixels_on

VIRTUAL = (
    b'<VRTDataset rasterXSize="1" rasterYSize="1"><VRTRasterBand dataType="Byte" band="1">'
    b"<SimpleSource><SourceFilename>/vsicurl/http://localhost/x.tif</SourceFilename>"
    b"</SimpleSource></VRTRasterBand></VRTDataset>"
)


def frame_around(position, crs="EPSG:3857", *, step=0.2, size=200, turn_deg=0.0):
    """A square frame whose middle is a position, turned anticlockwise."""
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(*position)
    cos, sin = step * np.cos(np.radians(turn_deg)), step * np.sin(np.radians(turn_deg))
    affine = (cos, sin, x - (cos + sin) * size / 2, sin, -cos, y - (sin - cos) * size / 2)
    return Frame(crs, affine, size, size)


def marked(pixels):
    """Column and row of the middle of what has the colour that is searched for."""
    likeness = (
        np.clip(pixels[..., [0, 2]].astype(float).min(axis=2) - pixels[..., 1], 60, None) - 60
    )
    row, column = np.indices(likeness.shape) + 0.5
    return np.array([np.sum(column * likeness), np.sum(row * likeness)]) / np.sum(likeness)


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, -120.0])
def test_a_place_of_the_picture_comes_out_where_pyproj_has_it(pipwick, flown, turn_deg):
    # Held to pyproj's transformation of the position; half a pixel of the picture is 0.125 m.
    apex = pipwick.corners[2].apex
    pixels = pixels_on(read_underlay(flown), frame_around(apex, turn_deg=turn_deg))
    assert np.hypot(*(marked(pixels) - 100.0)) * 0.2 < 0.25


def test_what_lies_beyond_the_picture_is_clear(pipwick, flown):
    pixels = pixels_on(read_underlay(flown), frame_around(pipwick.corners[2].apex, step=5.0))
    assert 0.05 < np.mean(pixels[..., 3] == 255) < 0.6
    assert np.all(pixels[0, :, 3] == 0)


def test_a_coarser_frame_averages_what_a_finer_one_shows(pipwick, flown):
    apex = pipwick.corners[2].apex
    underlay = read_underlay(flown)
    coarse = pixels_on(underlay, frame_around(apex, step=4.0, size=10)).astype(float)
    fine = pixels_on(underlay, frame_around(apex, step=0.25, size=160)).astype(float)
    averaged = fine.reshape(10, 16, 10, 16, 4).mean(axis=(1, 3))
    assert np.abs(coarse - averaged).mean() < 3.0


def test_the_size_of_a_pixel_on_the_ground_is_that_of_a_metric_grid_and_of_mercator(
    pipwick, flown, tmp_path
):
    lon, lat = pipwick.corners[2].apex
    assert ground_pixel_m(read_underlay(flown), lon, lat) == pytest.approx(0.25, rel=2e-3)
    affine = rasterio.Affine(1.0, 0, 8, 0, -1.0, 8)
    mercator = write_geotiff(tmp_path / "m.tif", np.zeros((3, 4, 4), np.uint8), affine, "EPSG:3857")
    # A unit of the Mercator projection is cos(latitude) of the equator's on the ground.
    assert ground_pixel_m(read_underlay(mercator), lon, lat) == pytest.approx(
        np.cos(np.radians(lat)), rel=5e-3
    )


@pytest.mark.slow
def test_a_world_file_places_a_picture_in_the_system_that_is_named(pipwick, flown, tmp_path):
    with rasterio.open(flown) as source:
        pixels, affine = source.read(), source.transform
    kinds = ((".png", ".pgw", {}), (".webp", ".wld", {"lossless": True}))
    for suffix, world, options in kinds:
        path = tmp_path / f"flight{suffix}"
        Image.fromarray(np.moveaxis(pixels, 0, -1)).save(path, **options)
        # A world file counts from the middle of the upper left pixel.
        lines = (
            affine.a,
            affine.d,
            affine.b,
            affine.e,
            affine.c + affine.a / 2,
            affine.f + affine.e / 2,
        )
        path.with_suffix(world).write_text("\n".join(f"{value:.6f}" for value in lines))
        underlay = read_underlay(path, crs="EPSG:32644", credit="An invented flight")
        drawn = pixels_on(underlay, frame_around(pipwick.corners[2].apex))
        assert np.hypot(*(marked(drawn) - 100.0)) * 0.2 < 0.25
        with pytest.raises(UnderlayError, match="says no coordinate system; name the one"):
            read_underlay(path, credit="An invented flight")


def test_mbtiles_are_read_at_the_zoom_that_is_asked_for(pipwick, flown, tmp_path):
    apex = pipwick.corners[2].apex
    frame = frame_around(apex, step=0.3, size=512)
    pixels = pixels_on(read_underlay(flown), frame)
    path = tmp_path / "flight.mbtiles"
    affine = rasterio.Affine(*frame.affine)
    mercator = write_geotiff(
        tmp_path / "mercator.tif", np.moveaxis(pixels, -1, 0), affine, "EPSG:3857"
    )
    rasterio.shutil.copy(mercator, path, driver="MBTiles")
    drawn = pixels_on(read_underlay(path, credit="An invented flight"), frame_around(apex))
    assert np.hypot(*(marked(drawn) - 100.0)) * 0.2 < 0.5


def test_grey_palette_and_sixteen_bit_pictures_are_shown_too(pipwick, tmp_path):
    pixels, affine = painted(pipwick, "EPSG:32644", pixel_m=1.0)
    frame = frame_around(pipwick.corners[2].apex, step=1.0, size=60)
    grey = write_geotiff(tmp_path / "grey.tif", pixels[:1], affine, "EPSG:32644")
    shown = pixels_on(read_underlay(grey), frame)
    assert np.array_equal(shown[..., 0], shown[..., 2])
    assert np.ptp(shown[..., 0]) > 100
    deep = write_geotiff(tmp_path / "deep.tif", 40 * pixels.astype(np.uint16), affine, "EPSG:32644")
    assert np.ptp(pixels_on(read_underlay(deep), frame)[..., 0]) > 100
    palette = tmp_path / "palette.tif"
    index = (pixels[0] > 120).astype(np.uint8)[None]
    write_geotiff(palette, index, affine, "EPSG:32644")
    with rasterio.open(palette, "r+") as target:
        target.write_colormap(1, {0: (10, 20, 30, 255), 1: (200, 180, 160, 255)})
    shown = pixels_on(read_underlay(palette), frame)
    assert {tuple(colour) for colour in shown.reshape(-1, 4).tolist()} == {
        (10, 20, 30, 255),
        (200, 180, 160, 255),
    }


@pytest.mark.slow
@pytest.mark.parametrize(
    ("dtype", "nothing", "nodata"),
    [
        ("uint8", 0, 0),
        ("uint16", 65_535, 65_535),
        ("int16", -9999, -9999),
        ("float32", np.nan, np.nan),
        ("float32", np.nan, None),
        ("float32", -9999.0, -9999.0),
    ],
)
def test_where_a_picture_has_no_data_it_is_clear(pipwick, dtype, nothing, nodata, tmp_path):
    pixels, affine = painted(pipwick, "EPSG:32644", pixel_m=1.0)
    pixels = np.clip(pixels, 1, 250).astype(dtype)
    pixels[:, :, : pixels.shape[2] // 2] = nothing
    path = tmp_path / "half.tif"
    size = {"width": pixels.shape[2], "height": pixels.shape[1], "count": 3, "dtype": dtype}
    with rasterio.open(
        path, "w", driver="GTiff", crs="EPSG:32644", transform=affine, nodata=nodata, **size
    ) as target:
        target.write(pixels)
    frame = Frame("EPSG:32644", tuple(affine)[:6], pixels.shape[2], pixels.shape[1])
    shown = pixels_on(read_underlay(path, credit="x"), frame)
    half = pixels.shape[2] // 2
    assert np.all(shown[:, : half - 3, 3] == 0)
    assert np.all(shown[:, half + 3 :, 3] == 255)
    # Nothing of what is not there makes the rest lighter or darker.
    assert np.ptp(shown[:, half + 3 :, :3]) > 120


def test_whose_picture_it_is_comes_from_the_file_or_is_asked_for(flown, tmp_path):
    assert read_underlay(flown).credit == "An invented flight"
    assert read_underlay(flown, credit=" Somebody  else ").credit == "Somebody else"
    affine = rasterio.Affine(1.0, 0, 5e5, 0, -1.0, 4e6)
    path = write_geotiff(
        tmp_path / "x.tif", np.zeros((3, 4, 4), np.uint8), affine, "EPSG:32644", credit=None
    )
    with pytest.raises(UnderlayError, match="says nothing of who made it; name them"):
        read_underlay(path)


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"no picture at all", "is no picture that can be read"),
        # GDAL's virtual pictures name others, on a network maybe.
        (VIRTUAL, "is no picture that can be read"),
        (b"", "is no picture that can be read"),
    ],
)
def test_what_is_no_picture_is_refused(content, fault, tmp_path):
    path = tmp_path / "picture.tif"
    path.write_bytes(content)
    with pytest.raises(UnderlayError, match=fault):
        read_underlay(path, credit="Nobody")


def test_a_picture_that_lies_nowhere_is_refused_with_what_places_it(tmp_path):
    path = tmp_path / "plain.png"
    Image.fromarray(np.zeros((4, 4, 3), np.uint8)).save(path)
    with pytest.raises(UnderlayError, match=r"does not say where it lies.*place it by points"):
        read_underlay(path, credit="Nobody")


def test_a_picture_of_unknown_system_or_missing_is_refused(flown, tmp_path):
    with pytest.raises(UnderlayError, match="EPSG:1"):
        read_underlay(flown, crs="EPSG:1")
    with pytest.raises(UnderlayError, match="no such file"):
        read_underlay(tmp_path / "missing.tif")
