"""Files that are no track file, newer ones and damaged ones are refused in words."""

import pytest
from checkout import recording_of_a_real_receiver
from track_documents import IDS, document, example, with_value, without, written

from trackkit.cli import run
from trackkit.errors import TrackFileError
from trackkit.track.file import read_track, track_text


def test_no_crs_member_is_written_and_one_that_is_found_is_refused_by_name(tmp_path):
    # RFC 7946 section 4 and appendix B.1.
    assert "crs" not in track_text(example())
    old = document(crs={"type": "name", "properties": {"name": "EPSG:31287"}})
    with pytest.raises(TrackFileError, match=r"crs: .*WGS 84"):
        read_track(written(tmp_path / "a.geojson", old))


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
        with_value([[161, 47]] * 3, "gate-1", "geometry", "coordinates"),
        r"feature gate-1, geometry\.coordinates: .* is too long",
    ),
    (
        with_value([[161, 47]] * 2, "gate-1", "geometry", "coordinates"),
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
        with_value("I", "track", "accepted"),
        with_value([None], "track", "history"),
        with_value({}, "track", "sources"),
        with_value("", "track", "accuracy_m"),
        with_value([], "track", "length_surface_m"),
        with_value(7, "track", "timezone"),
        with_value(["Oval"], "track", "name"),
        with_value("wide", "centreline", "properties", "width_m"),
        with_value([[0, 5, "x"]], "centreline", "properties", "width_profile"),
        with_value(10**400, "gate-1", "properties", "width_m"),
        *(with_value([], name, "id") for name in sorted(IDS)),
        with_value(7, "gate-1", "id"),
        with_value(None, "gate-1", "id"),
        with_value([], "gate-1", "properties", "kind"),
        with_value({}, "gate-1", "properties", "name"),
        with_value([], "corner-1", "properties", "name"),
        with_value([], "corner-1", "properties", "turn"),
        with_value([["kept", 1]], "corner-1", "properties"),
    ],
)
def test_a_damaged_document_is_refused_without_the_schema_too(tmp_path, damage):
    damaged = document()
    damage(damaged)
    with pytest.raises(TrackFileError, match=r"a\.geojson"):
        read_track(written(tmp_path / "a.geojson", damaged), validate=False)


def test_a_name_that_is_no_text_is_refused_with_its_feature(tmp_path):
    damaged = document()
    with_value(["Finish"], "gate-1", "properties", "name")(damaged)
    with pytest.raises(TrackFileError, match=r"a\.geojson, feature gate-1: name is no text"):
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
    "too large, written out": (
        TEXT.replace('"accuracy_m": 0.4', '"accuracy_m": 1' + "0" * 309 + ".5"),
        "0.5 is too large",
    ),
    "too large in a list": (
        TEXT.replace('"bbox": [', '"x": [1E+307,1E+999\n], "bbox": [', 1),
        "1E.999",
    ),
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
    with pytest.raises(TrackFileError, match=r"is no track file \(not JSON\).*build") as caught:
        read_track(recording)
    assert caught.value.remedy.do == "build"


def test_the_command_line_says_how_to_build_one_from_a_recording(capsys):
    recording = recording_of_a_real_receiver("village-loop-by-car.gpx")
    assert run(["describe", str(recording)]) == 1
    assert f": trackkit build {recording} --name" in capsys.readouterr().err


def test_a_folder_and_a_missing_file_are_refused_in_words(tmp_path):
    with pytest.raises(TrackFileError, match="is a folder, not a file"):
        read_track(tmp_path)
    with pytest.raises(TrackFileError, match=r"a\.geojson: no such file"):
        read_track(tmp_path / "a.geojson")
