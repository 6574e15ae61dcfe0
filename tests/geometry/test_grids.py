"""National grids: published points, datums said honestly, and grids that are none."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod, Proj
from pyproj.datadir import get_data_dir

from trackkit.errors import PlaceError
from trackkit.geometry.grids import Grid, grid_to_wgs84

WGS84 = Geod(ellps="WGS84")


def degrees(degree: int, minute: int, second: float) -> float:
    return degree + minute / 60 + second / 3600


def distance_m(longitude, latitude, expected_longitude, expected_latitude) -> float:
    return WGS84.inv(float(longitude), float(latitude), expected_longitude, expected_latitude)[2]


def test_caister_water_tower_lies_where_ordnance_survey_publishes_it():
    # The worked example of "A guide to coordinate systems in Great Britain": 651409.903 E,
    # 313177.270 N, in ETRS89 52°39'28.8282" N 1°42'57.8663" E (from memory).  A transformation of
    # seven parameters is good to about 5 m there (the same guide).
    longitude, latitude, remarks = grid_to_wgs84(651_409.903, 313_177.270, "EPSG:27700")
    expected = degrees(1, 42, 57.8663), degrees(52, 39, 28.8282)
    assert distance_m(longitude, latitude, *expected) < 5.0
    # Read on its own datum it would be 52°39'27.2531" N 1°43'4.5177" E (the same guide): the
    # shift said in the remark is the distance between the two.
    own = degrees(1, 43, 4.5177), degrees(52, 39, 27.2531)
    said = float(remarks[0].split("which lies ")[1].split(" m")[0])
    assert said == pytest.approx(distance_m(*own, *expected), abs=5.0)
    assert "Ordnance Survey of Great Britain 1936" in remarks[0]


def test_the_origin_of_the_dutch_grid_lies_where_it_is_published():
    # Amersfoort, 155,000 / 463,000: 52.15517 N, 5.38721 E in ETRS89 (RDNAPTRANS; from memory).
    longitude, latitude, _ = grid_to_wgs84(155_000, 463_000, "EPSG:28992")
    assert distance_m(longitude, latitude, 5.387_206, 52.155_174) < 1.0


def test_a_transverse_mercator_grid_on_wgs_84_inverts_the_projection_without_remark():
    # The projection itself, built from its published parameters rather than its code.
    utm = Proj(proj="tmerc", lat_0=0, lon_0=159, k=0.9996, x_0=500_000, y_0=0, ellps="WGS84")
    east, north = utm(161.5, 48.1)
    longitude, latitude, remarks = grid_to_wgs84(east, north, "EPSG:32657")
    assert distance_m(longitude, latitude, 161.5, 48.1) < 1e-3
    assert remarks == ()


def test_easting_comes_first_also_where_the_system_says_otherwise():
    # EPSG:31467's axes are northing, easting; EPSG:4258's latitude, longitude.
    longitude, latitude, _ = grid_to_wgs84(3_500_000, 5_400_000, "EPSG:31467")
    assert distance_m(longitude, latitude, 9.0, 48.74) < 500.0
    longitude, latitude, _ = grid_to_wgs84(161.5, 48.1, "EPSG:4258")
    assert (float(longitude), float(latitude)) == pytest.approx((161.5, 48.1))


def test_a_datum_taken_as_wgs_84_is_said_with_how_good_that_is():
    _, _, remarks = grid_to_wgs84(400_000, 6_200_000, "EPSG:25832")
    assert len(remarks) == 1
    assert "which PROJ takes as equal to WGS 84; that is good to 1 m" in remarks[0]


def test_a_missing_grid_file_is_said():
    # Whether the file is installed depends on the machine, so the remark must agree with PROJ.
    _, _, remarks = grid_to_wgs84(3_500_000, 5_400_000, "EPSG:31467")
    installed = (Path(get_data_dir()) / "de_adv_BETA2007.tif").is_file()
    assert any("de_adv_BETA2007.tif, which is not installed" in r for r in remarks) != installed
    assert "lies " in remarks[0]


def test_a_place_outside_the_grid_is_said_with_the_lack_of_a_transformation():
    _, _, remarks = grid_to_wgs84(691_000, 5_334_000, "EPSG:31467")
    assert "PROJ knows no transformation" in remarks[0]
    assert "outside the area EPSG:31467 is made for (7.5° to 10.51° east" in remarks[-1]


def test_arrays_keep_their_shape_and_longitudes_are_continuous_across_the_antimeridian():
    astride = Proj("EPSG:32701")
    east, north = astride(
        np.array([[-180.001, -179.999], [-179.998, 179.999]]), np.full((2, 2), -27.0)
    )
    longitude, latitude, _ = grid_to_wgs84(east, north, "EPSG:32701")
    assert longitude.shape == latitude.shape == (2, 2)
    assert np.ptp(longitude) < 0.01


@pytest.mark.parametrize(
    ("crs", "words"),
    [
        ("EPSG:99999", "'EPSG:99999' is no coordinate system PROJ knows; give its EPSG code"),
        ("my grid", "is no coordinate system"),
        ("", "is no coordinate system"),
        ("EPSG:4978", "is not a system of positions on a map"),
        ("EPSG:5773", "is not a system of positions on a map"),
    ],
)
def test_what_is_no_grid_is_told(crs, words):
    with pytest.raises(PlaceError, match=words):
        grid_to_wgs84(0.0, 0.0, crs)


def test_a_position_no_grid_can_hold_is_told():
    with pytest.raises(PlaceError, match="is no position in EPSG:32632; check the grid"):
        grid_to_wgs84(1e12, np.nan, "EPSG:32632")


def test_a_grid_with_heights_is_used_for_its_positions():
    plain = grid_to_wgs84(651_409.903, 313_177.270, "EPSG:27700")
    compound = grid_to_wgs84(651_409.903, 313_177.270, "EPSG:7405")
    assert plain[:2] == compound[:2]
    assert plain[2] == tuple(r.replace("EPSG:7405", "EPSG:27700") for r in compound[2])


@pytest.mark.parametrize("name", ["EPSG:27700", "EPSG:28992", "EPSG:31467", "EPSG:32701"])
def test_laying_positions_out_in_a_grid_undoes_reading_them_from_it(name):
    origin = {
        "EPSG:27700": (651_000.0, 313_000.0),
        "EPSG:28992": (155_000.0, 463_000.0),
        "EPSG:31467": (3_500_000.0, 5_400_000.0),
        "EPSG:32701": (400_000.0, 7_000_000.0),
    }[name]
    east = origin[0] + np.array([0.0, 150.0, -700.0])
    north = origin[1] + np.array([0.0, 900.0, 30.0])
    longitude, latitude, remarks = grid_to_wgs84(east, north, name)
    grid = Grid.around(name, longitude, latitude)
    assert np.column_stack(grid.from_wgs84(longitude, latitude)) == pytest.approx(
        np.column_stack([east, north]), abs=1e-3
    )
    assert grid.remarks == remarks


def test_degrees_of_wgs_84_are_laid_out_as_they_are():
    grid = Grid.around("EPSG:4326", [161.5], [48.1])
    assert [v.tolist() for v in grid.from_wgs84([161.5, 161.6], [48.1, 48.2])] == [
        [161.5, 161.6],
        [48.1, 48.2],
    ]
    assert grid.remarks == ()


def test_a_grid_that_cannot_hold_a_position_says_so():
    grid = Grid.around("EPSG:32657", [159.0], [48.1])
    with pytest.raises(
        PlaceError, match=r"EPSG:32657.*95\.0|EPSG:32657 cannot hold|cannot be brought"
    ):
        grid.from_wgs84([159.0], [95.0])


def test_a_damaged_description_is_told_as_one_that_nobody_knows():
    # PROJJSON whose second axis lacks its unit: it breaks only where its datum is asked for.
    axes = [
        {
            "name": "Geodetic latitude",
            "abbreviation": "Lat",
            "direction": "north",
            "unit": "degree",
        },
        {"name": "Geodetic longitude", "abbreviation": "Lon", "direction": "east"},
    ]
    ellipsoid = {"name": "WGS 84", "semi_major_axis": 6378137, "inverse_flattening": 298.257}
    described = {
        "type": "GeographicCRS",
        "name": "invented",
        "datum": {"type": "GeodeticReferenceFrame", "name": "own", "ellipsoid": ellipsoid},
        "coordinate_system": {"subtype": "ellipsoidal", "axis": axes},
    }
    with pytest.raises(PlaceError, match="is no coordinate system PROJ knows"):
        grid_to_wgs84(0.0, 0.0, json.dumps(described))
