"""What a check has to say of clean tracks, in which order, and of files."""

import json
from dataclasses import replace

import pytest
from damaged_tracks import turned_ends, with_gate
from drives import (
    block_circuit,
    corner_speed,
    drive,
    figure_of_eight,
    hairpin_circuit,
    hill_course,
    stadium,
    track_of,
)

from trackkit.building.build import build_track
from trackkit.checks.check import check_file, check_track
from trackkit.errors import TrackFileError
from trackkit.track.file import write_track


@pytest.mark.parametrize("mirrored", [False, True], ids=["anticlockwise", "clockwise"])
@pytest.mark.parametrize("road", [block_circuit(), stadium(200.0, 50.0)], ids=["block", "oval"])
def test_a_clean_track_has_nothing_to_be_said_about_it(road, mirrored):
    track = track_of(
        road.mirrored() if mirrored else road,
        gates=[("finish", "finish", 0.0)],
        direction="clockwise" if mirrored else "anticlockwise",
        spacing_m=2.0,
    )

    assert check_track(track) == []


def test_a_clean_open_course_has_nothing_to_be_said_about_it():
    gates = [("start", "start", 20.0), ("mid", "sector", 600.0), ("finish", "finish", 1200.0)]

    assert check_track(track_of(hill_course(), gates=gates, spacing_m=2.0)) == []


@pytest.mark.slow
@pytest.mark.parametrize("sectors", [1, 3])
@pytest.mark.parametrize(
    ("road", "begin_m"),
    [(stadium(), 20.0), (hairpin_circuit(), 600.0), (figure_of_eight(), 50.0)],
    ids=["oval", "hairpin", "eight"],
)
def test_what_build_makes_by_itself_is_clean(road, begin_m, sectors):
    outing = drive(road, begin_m=begin_m, laps=2.2, cruise=corner_speed(road, 25.0))
    recording = outing.recording(10, doppler=True, noise=1.0, seed=1)

    assert check_track(build_track([recording], "X", sectors=sectors).track) == []


def test_errors_come_first_then_warnings_each_in_racing_order(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    bad = with_gate(bad, "gate-a", **turned_ends(347.0, 30.0))
    bad = replace(bad, length_m=9.0)

    assert [(f.severity, f.rule, f.feature) for f in check_track(bad)] == [
        ("error", "length", "centreline"),
        ("warning", "gate-not-square", "gate-a"),
        ("warning", "gate-not-square", "gate-b"),
    ]


# Files


@pytest.fixture
def written(clean, tmp_path):
    path = tmp_path / "block.geojson"
    write_track(replace(clean, revised="2024-01-01T00:00:00Z"), path)
    return path


def damaged(path, change):
    document = json.loads(path.read_text("utf-8"))
    change(document)
    path.write_text(json.dumps(document), "utf-8")
    return path


def feature(document, feature_id):
    return next(f for f in document["features"] if f["id"] == feature_id)


def test_a_clean_file_is_clean(written):
    track, findings = check_file(written)

    assert findings == []
    assert track.id == "invented"


def test_a_gate_of_an_unknown_kind_breaks_the_schema_and_leaves_no_track(written):
    damaged(written, lambda d: feature(d, "gate-a")["properties"].update(kind="chicane"))

    track, findings = check_file(written)

    assert track is None
    assert {(f.severity, f.rule) for f in findings} == {("error", "schema")}
    assert "gate-a" in {f.feature for f in findings}


def test_what_no_schema_forbids_is_told_with_its_feature(written):
    # Both ends are positions; no plane holds them and the line.
    def away(document):
        feature(document, "gate-a")["geometry"]["coordinates"] = [[10.0, -40.0], [10.001, -40.0]]

    track, (finding,) = check_file(damaged(written, away))

    assert track is None
    assert (finding.rule, finding.feature) == ("schema", "gate-a")
    assert finding.message.startswith("feature gate-a: lies, with the line, across")


def test_a_fault_that_leaves_the_geometry_is_told_beside_what_geometry_says(written):
    def change(document):
        document["track"]["country"] = "Atlantis"
        document["track"]["length_m"] = 5.0

    track, findings = check_file(damaged(written, change))

    assert track is not None
    assert [f.rule for f in findings] == ["schema", "length"]
    assert "Atlantis" in findings[0].message


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("no centreline", lambda d: d["features"].pop(0)),
        (
            "a centreline of one position",
            lambda d: d["features"][0]["geometry"].update(coordinates=[[161.0, 47.0]]),
        ),
        ("a gate with one end", lambda d: feature(d, "gate-b")["geometry"]["coordinates"].pop()),
        (
            "a latitude of 100",
            lambda d: feature(d, "gate-b")["geometry"]["coordinates"].__setitem__(
                0, [161.0, 100.0]
            ),
        ),
        ("text for a number", lambda d: d["track"].update(length_m="long")),
        ("no name", lambda d: d["track"].pop("name")),
        ("features that are no list", lambda d: d.update(features={})),
        ("a feature that is a number", lambda d: d["features"].append(7)),
        ("a geometry of null", lambda d: d["features"][0].update(geometry=None)),
    ],
)
def test_a_broken_file_gives_findings_and_no_crash(written, what, change):
    _, findings = check_file(damaged(written, change))

    assert findings, what
    assert findings[0].severity == "error"
    assert findings[0].rule == "schema"
    assert all(f.message and f.remedy.what for f in findings)


def test_a_file_that_is_no_track_file_is_refused(tmp_path):
    path = tmp_path / "line.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}', "utf-8")

    with pytest.raises(TrackFileError, match="is JSON but no track file"):
        check_file(path)
