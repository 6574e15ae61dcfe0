"""A track as JSON keeps RFC 7946, and comes back as it was."""

import copy
import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box, shape
from track_documents import PLACES, document, example, feature, written

from trackkit.track.encoding import track_to_document
from trackkit.track.file import read_track, stored, track_text, write_track

# RFC 7946


def test_positions_are_written_longitude_first():
    # RFC 7946 section 3.1.1.
    longitude, latitude = feature(document(), "centreline")["geometry"]["coordinates"][0][:2]
    assert (round(longitude), round(latitude)) == (161, 47)


def test_a_closed_line_repeats_its_first_position_as_its_last():
    coordinates = feature(document(), "centreline")["geometry"]["coordinates"]
    assert coordinates[0] == coordinates[-1]


def test_positions_have_at_most_eight_decimals():
    for line in track_text(example()).splitlines():
        for number in line.replace("[", " ").replace("]", " ").replace(",", " ").split():
            assert len(number.partition(".")[2]) <= 8 or not number[0].isdigit()


@pytest.mark.parametrize("place", PLACES)
def test_no_geometry_crosses_the_antimeridian(place):
    # RFC 7946 section 3.1.9: cut into parts, none of which spans it.
    for found in track_to_document(example(place))["features"]:
        coordinates = found["geometry"]["coordinates"]
        kind = found["geometry"]["type"]
        parts = {"Point": [[coordinates]], "LineString": [coordinates]}.get(kind, coordinates)
        for part in parts:
            longitude = [position[0] for position in part]
            assert all(-180 <= value <= 180 for value in longitude)
            assert max(longitude) - min(longitude) < 180


@pytest.mark.parametrize("place", PLACES)
def test_the_box_holds_every_position(place):
    # RFC 7946 sections 5 and 5.2; shapely says what lies in it.
    found = track_to_document(example(place))
    west, south, east, north = found["bbox"]
    boxes = [box(west, south, east, north)]
    if west > east:
        boxes = [box(west, south, 180, north), box(-180, south, east, north)]
    for part in found["features"]:
        assert any(b.buffer(1e-12).intersects(shape(part["geometry"])) for b in boxes)
        covered = boxes[0] if len(boxes) == 1 else boxes[0].union(boxes[1])
        assert covered.buffer(1e-9).covers(shape(part["geometry"]))


def test_the_box_has_west_larger_than_east_only_across_the_antimeridian():
    west, _, east, _ = track_to_document(example((180.0, -26.5)))["bbox"]
    assert west > 179.99
    assert east < -179.99
    west, _, east, _ = track_to_document(example((161.0, 47.0)))["bbox"]
    assert west < east


def test_the_box_holds_features_that_trackkit_does_not_know():
    paddock = {
        "type": "Feature",
        "geometry": {
            "type": "GeometryCollection",
            "geometries": [
                {
                    "type": "Polygon",
                    "coordinates": [[[161.2, 47], [161.3, 47], [161.3, 47.2], [161.2, 47]]],
                }
            ],
        },
        "properties": None,
    }
    west, south, east, north = track_to_document(replace(example(), other_features=(paddock,)))[
        "bbox"
    ]
    assert (west < 161, east, north) == (True, 161.3, 47.2)
    assert south < 47


# Reading back what was written


@pytest.mark.parametrize("heights", [False, True])
@pytest.mark.parametrize("place", PLACES)
def test_a_track_reads_back_as_it_was_written(tmp_path, place, heights):
    before = example(place, heights=heights)
    write_track(before, tmp_path / "a.geojson")
    after = read_track(tmp_path / "a.geojson")
    plane = before.plane
    for a, b in [(before.centreline, after.centreline), (before.pit_lanes[0], after.pit_lanes[0])]:
        assert plane.to_plane(a.longitude_deg, a.latitude_deg) == pytest.approx(
            plane.to_plane(b.longitude_deg, b.latitude_deg), abs=0.001
        )
    for a, b in zip(before.gates, after.gates, strict=True):
        assert before.gate_ends(a) == pytest.approx(before.gate_ends(b), abs=0.001)
        assert (a.id, a.kind, a.name, a.order, a.chainage_m, a.surveyed) == (
            b.id,
            b.kind,
            b.name,
            b.order,
            b.chainage_m,
            b.surveyed,
        )
    if heights:
        assert after.centreline.height_m == pytest.approx(before.centreline.height_m, abs=0.005)
    else:
        assert after.centreline.height_m is None
    for name in (
        "id",
        "name",
        "layout",
        "direction",
        "line",
        "crossovers",
        "country",
        "timezone",
        "licence",
        "revised",
        "history",
        "sources",
        "accuracy_m",
        "accepted",
        "notes",
        "closed",
    ):
        assert getattr(after, name) == getattr(before, name), name
    assert after.length_m == pytest.approx(before.length_m, abs=0.0005)
    assert after.centreline.width_m == 9.5
    assert after.centreline.width_profile == before.centreline.width_profile


@pytest.mark.parametrize("place", PLACES)
def test_a_second_round_trip_changes_not_one_byte(place):
    once = track_text(stored(example(place, heights=True)))
    assert track_text(stored(stored(example(place, heights=True)))) == once


@pytest.mark.parametrize("place", PLACES)
def test_the_fitted_line_is_recovered_from_the_file(place):
    # Length to 1 in 10,000 and heading to half a degree.
    before = example(place)
    after = stored(before)
    assert after.curve.length_m == pytest.approx(before.length_m, rel=1e-4)
    where = before.curve.chainages(0.5)
    a, b = before.curve.direction(where), after.curve.direction(where)
    turned = np.degrees(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.sum(a * b, axis=1)))
    assert np.abs(turned).max() < 0.5


UNKNOWN = {"x-colour": "green", "nested": {"list": [1, 2.5, None, True]}}


def add_to(found, where):
    """Put members that trackkit does not know into one place of a document."""
    target = {
        "collection": lambda: found,
        "track": lambda: found["track"],
        "crossover": lambda: found["track"]["crossovers"][0],
        "history": lambda: found["track"]["history"][0],
        "source": lambda: found["track"]["sources"][0],
        "accepted": lambda: found["track"]["accepted"][0],
    }
    for number, one in enumerate(found["features"]):
        target[f"feature {number}"] = lambda one=one: one
        target[f"properties {number}"] = lambda one=one: one["properties"]
    target[where]().update(copy.deepcopy(UNKNOWN))
    return found


@pytest.mark.parametrize(
    "where",
    [
        "collection",
        "track",
        "crossover",
        "history",
        "source",
        "accepted",
        *(f"{part} {number}" for part in ("feature", "properties") for number in range(5)),
    ],
)
def test_members_that_trackkit_does_not_know_are_kept(tmp_path, where):
    # RFC 7946 section 6.1 allows them; docs/track-file.md keeps them.
    before = add_to(document(), where)
    track = read_track(written(tmp_path / "a.geojson", before))
    assert json.loads(track_text(track)) == before


def test_features_that_trackkit_does_not_know_are_kept(tmp_path):
    before = document()
    before["features"] += [
        {"type": "Feature", "geometry": None, "properties": None},
        {
            "type": "Feature",
            "id": 7,
            "geometry": {"type": "Point", "coordinates": [161.0, 47.0]},
            "properties": {"role": "marshal-post", "number": 4},
            "extra": [],
        },
    ]
    track = read_track(written(tmp_path / "a.geojson", before))
    assert json.loads(track_text(track)) == before


def test_a_centreline_keeps_the_id_it_was_given(tmp_path):
    before = document()
    feature(before, "centreline")["id"] = "middle-of-the-road"
    track = read_track(written(tmp_path / "a.geojson", before))
    assert json.loads(track_text(track)) == before


def test_a_pit_lane_keeps_its_heights(tmp_path):
    before = document()
    for position in feature(before, "pit-lane")["geometry"]["coordinates"]:
        position.append(412.25)
    track = read_track(written(tmp_path / "a.geojson", before))
    assert json.loads(track_text(track)) == before


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abxyz"), inner, max_size=3)
    ),
    max_leaves=8,
)


@settings(max_examples=12, deadline=None)
@given(json_values, st.text(st.characters(codec="utf-8"), min_size=1))
def test_any_json_value_and_any_name_survive_a_round_trip(tmp_path_factory, value, name):
    path = tmp_path_factory.mktemp("any") / "a.geojson"
    track = replace(example(), name=name, members={"anything": value})
    write_track(track, path)
    again = read_track(path)
    assert again.name == name
    assert again.members == {"anything": value}
