"""A kart circuit on ground that never was, as a picture from the air."""

import pytest
from aerial import painted, write_geotiff

from trackkit import open_library, read_track


@pytest.fixture(scope="session")
def pipwick():
    return read_track(open_library().find("pipwick-kart-circuit").path)


@pytest.fixture(scope="session")
def flown(pipwick, tmp_path_factory):
    """A GeoTIFF of 0.25 m a pixel, with a patch painted at the apex of corner 3."""
    apex = pipwick.corners[2].apex
    pixels, affine = painted(pipwick, "EPSG:32644", marks=[apex])
    return write_geotiff(
        tmp_path_factory.mktemp("flown") / "flown.tif", pixels, affine, "EPSG:32644"
    )
