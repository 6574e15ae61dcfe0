"""Places along a track, as people write them."""

import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, stadium, track_of
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from trackkit.errors import PlaceError
from trackkit.gates.placement import with_gate
from trackkit.track.measure import ends_chainage
from trackkit.track.places import Place, chainage_of, describe_place, parse_place

MINUS = "\N{MINUS SIGN}"


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)


@pytest.fixture(scope="module")
def hill():
    gates = [("start", "start", 20.0), ("finish", "finish", 1200.0)]
    return track_of(hill_course(), gates=gates, spacing_m=2.0)


def lonlat(position_m):
    longitude, latitude = on_earth(position_m)
    return float(longitude), float(latitude)


# Forms


@pytest.mark.parametrize(
    ("text", "chainage_m"),
    [
        ("412m", 412.0),
        ("412 m", 412.0),
        ("412.25m", 412.25),
        (".5m", 0.5),
        ("0m", 0.0),
        ("+7m", 7.0),
        ("-20m", -20.0),
        (f"{MINUS}20m", -20.0),
        ("  -20.5m ", -20.5),
    ],
)
def test_a_chainage(text, chainage_m):
    assert parse_place(text) == Place(chainage_m=chainage_m)


@pytest.mark.parametrize(
    ("text", "longitude", "latitude"),
    [
        ("47.5,161.25", 161.25, 47.5),
        (" 47.5 , 161.25 ", 161.25, 47.5),
        ("-37.8,104.9", 104.9, -37.8),
        (f"{MINUS}37.8,{MINUS}104.9", -104.9, -37.8),
        ("-.5,+.25", 0.25, -0.5),
        ("90,180", 180.0, 90.0),
    ],
)
def test_a_position_is_written_latitude_first(text, longitude, latitude):
    assert parse_place(text) == Place(position=(longitude, latitude))


def test_two_surveyed_ends_are_written_left_then_right():
    assert parse_place("-37.8,104.9/-37.8001,104.9") == Place(
        ends=((104.9, -37.8), (104.9, -37.8001))
    )


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_position_written_in_full_is_read_bit_for_bit(latitude, longitude):
    text = f"{latitude:.17f},{longitude:.17f}"

    assert parse_place(text).position == (float(f"{longitude:.17f}"), float(f"{latitude:.17f}"))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "m",
        "412",
        "412km",
        "abc",
        "47.5",
        "47.5,161.25,3",
        "47.5;161.25",
        "47,161/47,161/47,161",
        "47.5,161.25/",
        "/",
        "nan,0",
        "inf,0",
        "nanm",
        "1,2/3m",
        "47°30',161°15'",
    ],
)
def test_anything_else_is_refused_with_the_forms_there_are(text):
    with pytest.raises(PlaceError, match="is no place along a track") as caught:
        parse_place(text)

    assert "412m" in caught.value.remedy.what
    assert "LAT,LON/LAT,LON" in caught.value.remedy.what


@pytest.mark.parametrize("text", ["91,0", "0,181", "-90.1,0", "104.9,-37.8", "5180000,650000"])
def test_numbers_that_are_no_latitude_and_longitude_are_refused(text):
    with pytest.raises(PlaceError, match="is not a latitude and longitude") as caught:
        parse_place(text)

    assert caught.value.remedy.do == "name grid"


# National grids


@pytest.mark.parametrize("crs", ["EPSG:3832", "EPSG:32657"])
def test_a_grid_position_is_what_proj_makes_of_it(crs):
    east, north = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(161.0, 47.0)

    place = parse_place(f"{east:.4f},{north:.4f}", crs=crs)

    assert place.position == pytest.approx((161.0, 47.0), abs=2e-9)


def test_the_two_ends_of_a_gate_may_be_given_in_a_grid():
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:32657", always_xy=True)
    (e1, n1), (e2, n2) = to_grid.transform(161.0, 47.0), to_grid.transform(161.0002, 47.0)

    place = parse_place(f"{e1:.4f},{n1:.4f}/{e2:.4f},{n2:.4f}", crs="EPSG:32657")

    assert place.ends[0] == pytest.approx((161.0, 47.0), abs=2e-9)
    assert place.ends[1] == pytest.approx((161.0002, 47.0), abs=2e-9)
    assert place.remarks == ()


def test_a_grid_whose_datum_is_far_from_wgs_84_is_remarked():
    # DHDN lies some 100 m or more from WGS 84 in Germany (common practice, no source).
    place = parse_place("4468000,5333000", crs="EPSG:31468")

    assert any("DHDN" in r or "Hauptdreiecksnetz" in r for r in place.remarks)
    assert any("from WGS 84 here" in remark for remark in place.remarks)


def test_a_chainage_needs_no_grid():
    assert parse_place("412m", crs="EPSG:25832") == Place(chainage_m=412.0)


def test_a_grid_nobody_knows_is_refused():
    with pytest.raises(PlaceError, match="no coordinate system PROJ knows"):
        parse_place("1,2", crs="EPSG:999999")


# Chainages


@pytest.mark.parametrize(("written", "expected"), [(412.0, 412.0), (-20.0, 1368.4956), (0.0, 0.0)])
def test_a_chainage_counts_from_the_finish_and_back_from_it(block, written, expected):
    chainage, remarks = chainage_of(block, Place(chainage_m=written))

    assert chainage == pytest.approx(expected, abs=0.01)
    assert remarks == ()


def test_a_negative_chainage_of_an_open_course_counts_back_from_its_finish_gate(hill):
    assert chainage_of(hill, Place(chainage_m=-50.0))[0] == pytest.approx(1150.0, abs=0.01)


@pytest.mark.parametrize("written", [1400.0, -1400.0, 1e9])
def test_a_chainage_off_the_track_is_refused_with_its_length(block, written):
    with pytest.raises(PlaceError, match=r"is off the track, which is 1388\.5 m long"):
        chainage_of(block, Place(chainage_m=written))


# Positions


@pytest.mark.parametrize("chainage_m", [100.0, 223.0, 700.0, 1300.0])
@pytest.mark.parametrize("aside_m", [0.0, 12.0, -9.0])
def test_a_position_is_snapped_square_to_the_centreline_with_a_remark(block, chainage_m, aside_m):
    middle, ahead = block_circuit().at(chainage_m)
    beside = middle + aside_m * np.array([-ahead[1], ahead[0]])

    found, (remark,) = chainage_of(block, Place(position=lonlat(beside)))

    assert found == pytest.approx(chainage_m, abs=0.05)
    assert f"{abs(aside_m):.1f} m from the place given" in remark


def test_a_position_off_the_track_is_refused_with_its_distance(block):
    # 470 m south of the finish straight, which runs along y = -130 m.
    with pytest.raises(PlaceError, match=r"lies 470 m from the centreline of 'Invented'") as caught:
        chainage_of(block, Place(position=lonlat(np.array([20.0, -600.0]))))

    assert "latitude comes first" in caught.value.remedy.what


def test_a_place_in_a_grid_is_not_asked_for_its_latitude(block):
    with pytest.raises(PlaceError, match="from the centreline") as caught:
        chainage_of(block, parse_place("500000,5300000", crs="EPSG:32657"))
    assert "easting comes before northing" in caught.value.remedy.what
    assert "latitude" not in caught.value.remedy.what


@pytest.mark.parametrize("text", ["47.5,161.5", "47.5 161.5", " 47.5 ,  161.5 "])
def test_space_may_stand_for_the_comma(text):
    assert parse_place(text).position == (161.5, 47.5)


def test_latitude_and_longitude_swapped_is_refused_with_a_true_distance():
    block = track_of(block_circuit(), at=(-30.0, 47.0))
    line = block.centreline
    with pytest.raises(PlaceError) as caught:
        chainage_of(block, Place(position=(47.0, -30.0)))

    nearest = min(
        Geodesic.WGS84.Inverse(-30.0, 47.0, lat, lon)["s12"]
        for lon, lat in zip(line.longitude_deg[::20], line.latitude_deg[::20], strict=True)
    )
    words = str(caught.value).split(" lies ")[1].split(" m from")[0].replace(",", "")
    assert float(words) == pytest.approx(nearest, rel=0.01)


def test_a_position_is_found_across_the_antimeridian():
    road = stadium()
    track = track_of(road, at=(180.0, -27.0), spacing_m=2.0)
    for chainage in (10.0, 70.0):
        longitude, latitude = on_earth(road.at(chainage)[0], (180.0, -27.0))
        found, _ = chainage_of(track, Place(position=(float(longitude), float(latitude))))
        assert found == pytest.approx(chainage, abs=0.02)


# Surveyed ends


def test_surveyed_ends_are_kept_bit_for_bit(block):
    left, right = lonlat((0.0, -121.0)), lonlat((0.3, -138.5))
    text = "/".join(f"{lat!r},{lon!r}" for lon, lat in (left, right))

    _, gate, _ = with_gate(block, "sector", parse_place(text))

    assert (gate.left, gate.right) == (left, right)
    assert gate.surveyed


def test_ends_given_right_then_left_are_swapped_with_a_remark(block):
    left, right = lonlat((50.0, -121.0)), lonlat((50.0, -138.5))

    _, gate, remarks = with_gate(block, "sector", Place(ends=(right, left)))

    assert (gate.left, gate.right) == (left, right)
    assert any("swapped" in remark for remark in remarks)


def test_ends_given_in_order_are_not_swapped(block):
    ends = lonlat((50.0, -121.0)), lonlat((50.0, -138.5))

    _, gate, said = with_gate(block, "sector", Place(ends=ends))

    assert (gate.left, gate.right) == ends
    assert not any("swapped" in remark for remark in said)


def test_ends_on_one_side_of_the_track_are_refused_with_how_far_they_pass(block):
    ends = lonlat((50.0, -121.0)), lonlat((50.0, -110.0))

    with pytest.raises(PlaceError, match=r"does not cross the centreline \(it passes 9\.0 m"):
        with_gate(block, "sector", Place(ends=ends))


def test_ends_far_from_the_track_are_refused(block):
    with pytest.raises(PlaceError, match="does not cross the centreline"):
        chainage_of(block, Place(ends=((162.0, 48.0), (162.0001, 48.0))))


def test_ends_across_two_legs_belong_to_the_leg_driven_from_their_back_to_their_front(block):
    # Across both long sides, which run along y = -130 and y = 130.
    left, right = lonlat((-40.0, 145.0)), lonlat((-40.0, -160.0))
    near_side, far_side = block_circuit().length_m - 40.0, 494.25 + 240.0

    line = block.centreline

    # The near side runs east, with the end in the north on its left, and the far side west.
    for near_m in (None, 700.0, 1300.0):
        assert ends_chainage(line, left, right, near_m) == pytest.approx(near_side, abs=0.05)
        assert ends_chainage(line, right, left, near_m) == pytest.approx(far_side, abs=0.05)


# Saying where


def test_a_place_is_described_latitude_first_with_its_chainage(block):
    longitude, latitude = lonlat(block_circuit().at(100.0)[0])

    assert describe_place(block, 100.0) == f"{latitude:.6f},{longitude:.6f} (100.0 m)"
