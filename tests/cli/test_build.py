"""``trackkit build``: what it takes, what it writes and what it says."""

import re
from dataclasses import replace

import pytest
from drives import drive, stadium
from long_block import long_block, recorded

from trackkit.building.build import build_track
from trackkit.caution import EDGES
from trackkit.cli import run
from trackkit.gates.placement import with_gate
from trackkit.recordings.write import write_recording
from trackkit.track.file import read_track, stored, write_track
from trackkit.track.places import Place


@pytest.fixture(scope="module")
def first():
    """Built from three laps of one day, with three sectors, and corners that people named."""
    track = build_track([recorded(long_block(), seed=11)], "Block", sectors=3).track
    corners = tuple(replace(c, name=f"Turn {c.number}") for c in track.corners)
    return stored(replace(track, corners=corners, notes="kept"))


def test_the_command_replaces_the_file_keeps_the_previous_one_and_lists_what_moved(
    tmp_path, first, capsys
):
    path = tmp_path / "block.geojson"
    track, _, _ = with_gate(first, "speed", Place(chainage_m=100.0))
    write_track(track, path)
    before = path.read_bytes()
    write_recording(recorded(long_block(12.0), seed=61, noise=0.3), tmp_path / "day.csv")

    status = run(["build", "--revise", str(path), str(tmp_path / "day.csv")])

    said = capsys.readouterr()
    assert status == 0, said.err
    assert (tmp_path / "block.geojson~").read_bytes() == before
    assert [g.id for g in read_track(path).gates] == [g.id for g in track.gates]
    assert "the track has changed between" in said.err
    assert "revised with 3 laps" in said.out
    assert "centreline" in said.out


def test_revising_takes_no_new_name(capsys):
    assert run(["build", "--revise", "t.geojson", "x.gpx", "--name", "New"]) == 2
    assert "leave --name out" in capsys.readouterr().err


def walked(road, *, speed=2.0, laps=1.1, name="edge", **more):
    return drive(road, begin_m=15.0, laps=laps, cruise=speed).recording(
        5, doppler=True, name=name, **more
    )


def test_the_command_says_the_caution_and_writes_the_width(tmp_path, capsys):
    for name, radius in (("left", 30.0), ("right", 38.0)):
        write_recording(walked(stadium(radius_m=radius)), tmp_path / f"{name}.csv")
    target = tmp_path / "lanes.geojson"

    status = run(
        [
            "build",
            "--left",
            str(tmp_path / "left.csv"),
            "--right",
            str(tmp_path / "right.csv"),
            "--name",
            "Lanes",
            "--details",
            "-o",
            str(target),
        ]
    )

    said = capsys.readouterr()
    assert status == 0, said.err
    assert said.err.startswith(EDGES)
    assert "between the edges" in said.out
    assert re.search(r"8\.\d ±\d\.\d", said.out)
    assert read_track(target).centreline.width_m == pytest.approx(8.0, abs=0.1)


def test_how_far_apart_laps_ran_is_printed_as_no_width(tmp_path, capsys):
    outing = drive(stadium(), begin_m=10.0, laps=4.2, cruise=15.0)
    write_recording(outing.recording(10, doppler=True), tmp_path / "day.csv")
    target = tmp_path / "oval.geojson"
    command = ["build", str(tmp_path / "day.csv"), "--name", "Oval", "-o", str(target)]

    assert run([*command, "--details"]) == 0
    assert "width m" not in capsys.readouterr().out.replace("chainage m   width m", "")
    track = read_track(target)
    assert (track.centreline.width_m, track.centreline.width_profile) == (None, None)


def test_one_edge_alone_is_refused(capsys):
    assert run(["build", "--left", "a.csv", "--name", "X"]) == 2
    assert "both edges" in capsys.readouterr().err


def test_the_command_writes_it_and_never_over_a_file(tmp_path, capsys):
    outing = drive(stadium(), begin_m=10.0, laps=4.2, cruise=15.0)
    write_recording(outing.recording(10, doppler=True), tmp_path / "day.csv")
    command = [
        "build",
        str(tmp_path / "day.csv"),
        "--name",
        "Oval",
        "--explain",
        str(tmp_path / "how.html"),
        "-o",
        str(tmp_path / "oval.geojson"),
    ]

    assert run(command) == 0
    assert "Spread by chainage" in (tmp_path / "how.html").read_text("utf-8")
    (tmp_path / "oval.geojson").unlink()
    assert run(command) == 1
    assert "how.html" in capsys.readouterr().err
    assert not (tmp_path / "oval.geojson").exists()


def test_a_track_is_not_revised_when_the_page_that_explains_it_cannot_be_written(
    tmp_path, first, capsys
):
    path, page = tmp_path / "block.geojson", tmp_path / "how.html"
    write_track(first, path)
    write_recording(recorded(long_block(), seed=12), tmp_path / "day.csv")
    page.write_text("mine")
    before = path.read_bytes()

    assert (
        run(["build", "--revise", str(path), str(tmp_path / "day.csv"), "--explain", str(page)])
        == 1
    )

    assert "how.html: exists already" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert page.read_text() == "mine"
    assert not path.with_name("block.geojson~").exists()
