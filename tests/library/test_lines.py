"""Chords, arcs and places in space, against geographiclib and PROJ."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lines_on_earth import EARTH

from trackkit.library.lines import FAR_M, arc_m, earth_centred, on_ellipsoid


@settings(max_examples=200, deadline=None)
@given(
    st.floats(-180, 180), st.floats(-90, 90), st.floats(-180, 180), st.floats(0.0, FAR_M * 0.999)
)
def test_an_arc_over_its_chord_is_the_geodesic(longitude, latitude, azimuth, distance):
    there = EARTH.Direct(latitude, longitude, azimuth, distance)
    start = earth_centred(longitude, latitude)
    end = earth_centred(there["lon2"], there["lat2"])

    found = arc_m(float(np.linalg.norm(end - start)), start.tolist(), end.tolist())

    assert float(found) == pytest.approx(distance, abs=1.5e-3)


@given(st.floats(-180, 180), st.floats(-90, 90))
def test_earth_centred_positions_are_projs(longitude, latitude):
    # EPSG:4978 is the Earth-centred frame of WGS 84.
    from pyproj import Transformer

    transformer = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    expected = transformer.transform(longitude, latitude, 0.0)

    place = earth_centred(longitude, latitude)

    assert place == pytest.approx(expected, abs=1e-6)
    back = on_ellipsoid(place)
    assert EARTH.Inverse(float(back[1]), float(back[0]), latitude, longitude)["s12"] < 1e-6
