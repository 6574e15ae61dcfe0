"""Track files keep RFC 7946, JSON Schema 2020-12 and the promises of DESIGN section 3."""

import copy
import json
from dataclasses import replace

import numpy as np
import pytest
from checkout import recording_of_a_real_receiver
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from shapely.geometry import box, shape

from trackkit.errors import OutputError, TrackFileError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.document import track_to_document
from trackkit.track.file import read_track, schema, schema_faults, stored, track_text, write_track
from trackkit.track.model import Centreline, Corner, Crossover, Gate, PitLane, Track

PLACES = [(11.0, 47.0), (180.0, -16.5), (-179.9995, 66.0), (0.0, 0.0), (-72.0, -52.0)]


def example(at=(11.0, 47.0), *, heights=False):
    """An invented oval with a finish gate, a sector gate, a corner and a pit lane."""
    plane = LocalPlane(*at)
    angle = np.arange(240) * 2 * np.pi / 240
    curve = Curve.through(np.column_stack([150 * np.cos(angle), 60 * np.sin(angle)]), closed=True)
    vertex = curve.position(curve.sampled())
    longitude, latitude = plane.to_geographic(np.vstack([vertex, vertex[:1]]))
    gates = []
    for number, (kind, where) in enumerate([("finish", 0.0), ("sector", 330.0)]):
        middle, left = curve.position(where), curve.left(where)
        lon, lat = plane.to_geographic(np.stack([middle + 7 * left, middle - 7 * left]))
        gates.append(
            Gate(
                id=f"gate-{number}",
                kind=kind,
                name=f"Gate {number}",
                left=(float(lon[0]), float(lat[0])),
                right=(float(lon[1]), float(lat[1])),
                order=number,
                chainage_m=where,
            )
        )
    pit_lon, pit_lat = plane.to_geographic([[170.0, -40.0], [172.0, 0.0], [170.0, 40.0]])
    apex_lon, apex_lat = plane.to_geographic(curve.position(20.0))
    return Track(
        id="invented-oval",
        name="Invented Oval",
        layout="long",
        centreline=Centreline(
            longitude,
            latitude,
            closed=True,
            height_m=np.linspace(400.0, 410.0, len(longitude)) if heights else None,
            width_m=9.5,
            width_profile=((0.0, 4.5, 5.0), (300.0, 4.0, 4.0)),
        ),
        length_m=curve.length_m,
        direction="anticlockwise",
        gates=tuple(gates),
        corners=(
            Corner(1, "Hay Bale", "left", (float(apex_lon), float(apex_lat)), 5, 20, 40, 24.0),
        ),
        pit_lanes=(PitLane("pit-lane", pit_lon, pit_lat),),
        crossovers=(Crossover(310.2, 55.9),),
        country="AT",
        timezone="Europe/Vienna",
        licence="CC0-1.0",
        revised="2031-05-01T10:00:00Z",
        history=({"revised": "2031-05-01T10:00:00Z", "by": None, "what": "invented"},),
        sources=({"file": "out-lap.gpx", "sha256": "0" * 64, "laps": 3},),
        accuracy_m=0.4,
        accepted=({"rule": "square", "feature": "gate-0", "reason": "the kerb is there"},),
        notes="Invented; no such circuit exists.",
    )


def document(**changes):
    """The JSON of the example as plain lists and objects, to be damaged."""
    return {**json.loads(track_text(example())), **changes}


def written(path, content):
    path.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    return path


def feature(found, name):
    return next(f for f in found["features"] if f.get("id") == name)


# The schema


def test_the_schema_is_valid_json_schema_2020_12():
    Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_what_is_written_keeps_the_schema():
    assert list(Draft202012Validator(schema()).iter_errors(document())) == []


@pytest.mark.parametrize("role", ["centreline", "gate", "corner", "pit-lane"])
def test_the_schema_refuses_a_feature_of_a_known_role_without_an_id(role):
    damaged = document()
    next(f for f in damaged["features"] if f["properties"]["role"] == role).pop("id")
    assert [what for _, what in schema_faults(damaged)] == ["'id' is a required property"]


def test_a_feature_without_properties_is_legal_beside_the_others():
    # RFC 7946 section 3.2: the value of properties may be null, and that of geometry too.
    found = document()
    found["features"].append({"type": "Feature", "geometry": None, "properties": None})
    assert schema_faults(found) == []


# RFC 7946


def test_positions_are_written_longitude_first():
    # RFC 7946 section 3.1.1.
    longitude, latitude = feature(document(), "centreline")["geometry"]["coordinates"][0][:2]
    assert (round(longitude), round(latitude)) == (11, 47)


def test_no_crs_member_is_written_and_one_that_is_found_is_refused_by_name(tmp_path):
    # RFC 7946 section 4 and appendix B.1.
    assert "crs" not in track_text(example())
    old = document(crs={"type": "name", "properties": {"name": "EPSG:31287"}})
    with pytest.raises(TrackFileError, match=r"crs: .*WGS 84"):
        read_track(written(tmp_path / "a.geojson", old))


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
    west, _, east, _ = track_to_document(example((180.0, -16.5)))["bbox"]
    assert west > 179.99
    assert east < -179.99
    west, _, east, _ = track_to_document(example((11.0, 47.0)))["bbox"]
    assert west < east


def test_the_box_holds_features_that_trackkit_does_not_know():
    paddock = {
        "type": "Feature",
        "geometry": {
            "type": "GeometryCollection",
            "geometries": [
                {
                    "type": "Polygon",
                    "coordinates": [[[11.2, 47], [11.3, 47], [11.3, 47.2], [11.2, 47]]],
                }
            ],
        },
        "properties": None,
    }
    west, south, east, north = track_to_document(replace(example(), other_features=(paddock,)))[
        "bbox"
    ]
    assert (west < 11, east, north) == (True, 11.3, 47.2)
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
        "id", "name", "layout", "direction", "line", "crossovers", "country", "timezone",
        "licence", "revised", "history", "sources", "accuracy_m", "accepted", "notes", "closed",
    ):  # fmt: skip
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
    # DESIGN section 3: length to 1 in 10,000 and heading to half a degree.
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
        "collection", "track", "crossover", "history", "source", "accepted",
        *(f"{part} {number}" for part in ("feature", "properties") for number in range(5)),
    ],
)  # fmt: skip
def test_members_that_trackkit_does_not_know_are_kept(tmp_path, where):
    # RFC 7946 section 6.1 allows them; DESIGN section 3 keeps them.
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
            "geometry": {"type": "Point", "coordinates": [11.0, 47.0]},
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


def test_a_byte_order_mark_is_read_over(tmp_path):
    path = written(tmp_path / "a.geojson", b"\xef\xbb\xbf" + track_text(example()).encode())
    assert read_track(path).id == "invented-oval"


def test_each_feature_stands_on_a_line_of_its_own():
    # So that a change of one gate is a change of one line in version control.
    moved = replace(
        example(), gates=(replace(example().gates[0], name="Line"), *example().gates[1:])
    )
    before, after = track_text(example()).splitlines(), track_text(moved).splitlines()
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1


# Versions


def test_a_newer_minor_version_is_read(tmp_path):
    newer = document()
    newer["track"]["version"] = "1.9"
    assert read_track(written(tmp_path / "a.geojson", newer)).name == "Invented Oval"


@pytest.mark.parametrize("version", ["2.0", "10.3", 2])
@pytest.mark.parametrize("validate", [True, False])
def test_a_newer_major_version_is_refused_in_words(tmp_path, version, validate):
    newer = document()
    newer["track"]["version"] = version
    path = written(tmp_path / "a.geojson", newer)
    with pytest.raises(TrackFileError, match=rf"version {version}, newer .* newer trackkit"):
        read_track(path, validate=validate)


# Damaged files


def without(member, *path):
    def damage(found):
        for step in path:
            found = feature(found, step) if step in IDS else found[step]
        del found[member]

    return damage


def with_value(value, *path):
    def damage(found):
        for step in path[:-1]:
            found = feature(found, step) if step in IDS else found[step]
        found[path[-1]] = value

    return damage


IDS = {"centreline", "gate-0", "gate-1", "pit-lane", "corner-1"}
DAMAGE = [
    (without("features"), r"top level: 'features' is a required"),
    (without("name", "track"), r"track: 'name' is a required"),
    (without("version", "track"), r"track: 'version' is a required"),
    (without("closed", "track"), r"track: 'closed' is a required"),
    (without("kind", "gate-1", "properties"), r"feature gate-1, properties: 'kind' is a required"),
    (without("geometry", "gate-1"), r"feature gate-1: 'geometry' is a required"),
    (without("coordinates", "gate-0", "geometry"), r"feature gate-0, geometry: 'coordinates'"),
    (with_value("Feature", "type"), r"type: 'FeatureCollection' was expected"),
    (with_value([], "features"), r"features: .*does not contain"),
    (with_value({}, "features"), r"features: .*not of type 'array'"),
    (with_value(None, "features", 1), r"feature number 2: None is not of type 'object'"),
    (with_value("1.0.0", "track", "version"), r"track\.version: '1\.0\.0'"),
    (with_value("Big Oval", "track", "id"), r"track\.id: 'Big Oval'"),
    (with_value("", "track", "name"), r"track\.name: ''"),
    (with_value("yes", "track", "closed"), r"track\.closed: 'yes' is not of type 'boolean'"),
    (with_value("left", "track", "direction"), r"track\.direction: 'left' is not one of"),
    (with_value("840", "track", "length_m"), r"track\.length_m: '840' is not of type 'number'"),
    (with_value(0, "track", "length_m"), r"track\.length_m: 0 is less than"),
    (with_value("Austria", "track", "country"), r"track\.country: 'Austria'"),
    (with_value("yesterday", "track", "revised"), r"track\.revised: 'yesterday'"),
    (with_value([{}], "track", "sources"), r"track\.sources\.0: 'file' is a required"),
    (with_value([1, 2, 3], "bbox"), r"bbox: "),
    (
        with_value("goal", "gate-1", "properties", "kind"),
        r"feature gate-1, properties\.kind: 'goal' is not one of",
    ),
    (
        with_value(1.5, "gate-1", "properties", "order"),
        r"feature gate-1, properties\.order: 1\.5 is not of type 'integer'",
    ),
    (
        with_value(["11", "47"], "gate-1", "geometry", "coordinates", 0),
        r"feature gate-1, geometry\.coordinates\.0\.0: '11' is not of type 'number'",
    ),
    (
        with_value([11], "centreline", "geometry", "coordinates", 3),
        r"feature centreline, geometry\.coordinates\.3: \[11\] is too short",
    ),
    (
        with_value([47, 111], "centreline", "geometry", "coordinates", 3),
        r"feature centreline, geometry\.coordinates\.3\.1: 111 is greater than the maximum of 90",
    ),
    (
        with_value("Polygon", "centreline", "geometry", "type"),
        r"feature centreline, geometry\.type: 'Polygon' is not one of",
    ),
    (
        with_value([[11, 47]] * 3, "gate-1", "geometry", "coordinates"),
        r"feature gate-1, geometry\.coordinates: .* is too long",
    ),
    (
        with_value([[11, 47]] * 2, "gate-1", "geometry", "coordinates"),
        r"gate gate-1: both ends of the gate are the same position",
    ),
    (
        with_value("sideways", "corner-1", "properties", "turn"),
        r"feature corner-1, properties\.turn: 'sideways' is not one of",
    ),
    (
        with_value([[0, 5]], "centreline", "properties", "width_profile"),
        r"feature centreline, properties\.width_profile\.0: \[0, 5\] is too short",
    ),
]


@pytest.mark.parametrize(("damage", "sentence"), DAMAGE, ids=[sentence for _, sentence in DAMAGE])
def test_a_damaged_document_is_refused_with_the_place_of_the_damage(tmp_path, damage, sentence):
    damaged = document()
    damage(damaged)
    with pytest.raises(TrackFileError, match=rf"a\.geojson, {sentence}"):
        read_track(written(tmp_path / "a.geojson", damaged))


@pytest.mark.parametrize(
    "damage",
    [
        without("name", "track"),
        without("features"),
        without("kind", "gate-1", "properties"),
        without("coordinates", "centreline", "geometry"),
        with_value(None, "centreline", "geometry"),
        with_value(None, "features", 1),
        with_value([], "centreline", "geometry", "coordinates"),
        with_value("x", "gate-1", "properties", "order"),
        with_value([11], "corner-1", "geometry", "coordinates"),
        with_value(10**400, "track", "length_m"),
        with_value([{"over_m": 1}], "track", "crossovers"),
    ],
)
def test_a_damaged_document_is_refused_without_the_schema_too(tmp_path, damage):
    damaged = document()
    damage(damaged)
    with pytest.raises(TrackFileError, match=r"a\.geojson"):
        read_track(written(tmp_path / "a.geojson", damaged), validate=False)


def test_a_document_with_several_faults_says_how_many(tmp_path):
    damaged = document()
    for member in ("name", "closed", "length_m"):
        del damaged["track"][member]
    with pytest.raises(TrackFileError, match=r"and 2 more faults.*lists every") as caught:
        read_track(written(tmp_path / "a.geojson", damaged))
    assert caught.value.remedy.do == "check"


TEXT = track_text(example())
FILES = {
    "empty": (b"", "is empty"),
    "blank": (b" \n\n", "is empty"),
    "not a number": (
        TEXT.replace('"accuracy_m": 0.4', '"accuracy_m": NaN'),
        "NaN is no JSON number",
    ),
    "infinite": (TEXT.replace('"accuracy_m": 0.4', '"accuracy_m": Infinity'), "no JSON number"),
    "too large": (TEXT.replace('"accuracy_m": 0.4', '"accuracy_m": 1e999'), "1e999 is too large"),
    "half a character": (TEXT.replace("Invented Oval", "\\ud83c"), "surrogates not allowed"),
    "cut short": (TEXT[: len(TEXT) // 2], r"line \d+: is not valid JSON .* may be cut short"),
    "JPEG": (bytes.fromhex("ffd8ffe000104a46494600"), "is not text, so it is no track file"),
    "GPX": ('<?xml version="1.0"?>\n<gpx version="1.1"></gpx>', r"is no track file \(not JSON\)"),
    "deep": ("[" * 100_000, "is not valid JSON"),
    "deep member": (TEXT[:-3] + ', "x": ' + "[" * 90_000, "is not valid JSON"),
    "a list": ("[1, 2]", "is JSON but no track file"),
    "a word": ("null", "is JSON but no track file"),
    "UTF-16": (TEXT.encode("utf-16"), "is not text"),
    "a recording": (
        '{"type": "FeatureCollection", "features": []}',
        "is JSON but no track file.*build a track file from it",
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_no_track_file_is_refused_in_words(tmp_path, name):
    content, sentence = FILES[name]
    path = written(
        tmp_path / "a.geojson", content.encode() if isinstance(content, str) else content
    )
    with pytest.raises(TrackFileError, match=rf"a\.geojson.*{sentence}"):
        read_track(path)


def test_a_recording_in_place_of_a_track_file_is_refused_in_words():
    recording = recording_of_a_real_receiver("village-loop-by-car.gpx")
    with pytest.raises(TrackFileError, match=r"is no track file \(not JSON\).*trackkit build"):
        read_track(recording)


def test_a_folder_and_a_missing_file_are_refused_in_words(tmp_path):
    with pytest.raises(TrackFileError, match="is a folder, not a file"):
        read_track(tmp_path)
    with pytest.raises(TrackFileError, match=r"a\.geojson: no such file"):
        read_track(tmp_path / "a.geojson")


# Writing


def test_a_track_that_would_break_the_format_is_not_written(tmp_path):
    with pytest.raises(TrackFileError, match=r"track\.name: the track would break the format"):
        write_track(replace(example(), name=""), tmp_path / "a.geojson")
    assert list(tmp_path.iterdir()) == []


def test_a_track_file_that_exists_is_kept_without_force(tmp_path):
    path = tmp_path / "a.geojson"
    write_track(example(), path)
    before = path.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write_track(replace(example(), name="Other"), path)
    assert path.read_bytes() == before


def test_a_track_file_edited_in_place_leaves_the_previous_one_beside_it(tmp_path):
    path = tmp_path / "a.geojson"
    write_track(example(), path)
    write_track(replace(example(), name="Other"), path, force=True, keep_previous=True)
    assert read_track(path).name == "Other"
    assert read_track(tmp_path / "a.geojson~").name == "Invented Oval"


def test_names_of_any_script_are_written_as_themselves(tmp_path):
    name = "Kreisel Żółw 環状 😀"
    write_track(replace(example(), name=name), tmp_path / "a.geojson")
    assert name in (tmp_path / "a.geojson").read_text(encoding="utf-8")
    assert read_track(tmp_path / "a.geojson").name == name
