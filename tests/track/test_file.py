"""Track files keep their schema, and are written and replaced as files should be."""

from dataclasses import replace

import pytest
from jsonschema import Draft202012Validator
from track_documents import document, example, written

from trackkit.errors import OutputError, TrackFileError
from trackkit.track.file import read_track, schema, schema_faults, track_text, write_track

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


# Reading back what was written


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
    write_track(replace(example(), name="Other"), path, force=True)
    assert read_track(path).name == "Other"
    assert read_track(tmp_path / "a.geojson~").name == "Invented Oval"


def test_names_of_any_script_are_written_as_themselves(tmp_path):
    name = "Kreisel Żółw 環状 😀"
    write_track(replace(example(), name=name), tmp_path / "a.geojson")
    assert name in (tmp_path / "a.geojson").read_text(encoding="utf-8")
    assert read_track(tmp_path / "a.geojson").name == name
