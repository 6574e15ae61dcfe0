"""The verdict as commands print it, and the letters of the geometry."""

import json
import re

import driven_block
import pytest

from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.track.digest import geometry_digest, short_digest
from trackkit.track.file import read_track

LETTERS = re.compile(r"geometry ([a-z]{8})\b")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("verdict")
    write_recording(driven_block.recording(), made / "day.csv")
    return made


def built(folder, capsys, *more):
    command = ["build", str(folder / "day.csv"), "--name", "Block", "--sectors", "3", "--force"]
    assert run([*command, "-o", str(folder / "block.geojson"), *more]) == 0
    return capsys.readouterr()


@pytest.mark.slow
def test_build_prints_the_verdict_and_at_most_15_lines_beside_the_caution(folder, capsys):
    brief = built(folder, capsys)
    whole = built(folder, capsys, "--details")

    lines = [*brief.out.splitlines(), *brief.err.splitlines()]
    assert len(lines) - 1 <= 15
    assert "verdict: fit to hand on" in brief.out
    assert brief.out.splitlines()[-1].startswith("wrote ")
    assert len(whole.out.splitlines()) > 20
    assert "least radius m" in whole.out
    assert "band" not in whole.out


def test_json_of_build_keeps_all_and_has_the_verdict_that_the_file_carries(folder, capsys):
    document = json.loads(built(folder, capsys, "--json").out)

    track = read_track(folder / "block.geojson")
    assert document["verdict"]["fit"] is True
    assert document["verdict"]["digest"] == geometry_digest(track) == track.verdict.digest
    assert {"corners", "straights", "band", "removed", "gates", "remarks"} <= document.keys()
    assert all(row.keys() == {"chainage_m", "left_m", "right_m"} for row in document["band"])


@pytest.mark.slow
def test_build_check_describe_and_laps_say_the_same_letters(folder, capsys):
    said = [built(folder, capsys).out]
    path = str(folder / "block.geojson")
    for command in (["check", path], ["describe", path], ["laps", path, str(folder / "day.csv")]):
        assert run(command) == 0
        said.append(capsys.readouterr().out)

    letters = {LETTERS.findall(text)[-1] for text in said}
    assert letters == {short_digest(read_track(folder / "block.geojson"))}
    assert run(["laps", path, str(folder / "day.csv"), "--json"]) == 0
    assert {json.loads(capsys.readouterr().out)["geometry"]} == letters


@pytest.mark.slow
def test_describe_shows_the_day_of_the_stored_verdict_until_a_gate_moves(folder, capsys):
    built(folder, capsys)
    path = str(folder / "block.geojson")
    day = read_track(path).verdict.date

    assert run(["describe", path]) == 0
    assert f"judged fit on {day}" in capsys.readouterr().out
    assert run(["gate", "move", path, "Sector 1 end", "480m"]) == 0
    capsys.readouterr()
    assert run(["describe", path]) == 0
    after = capsys.readouterr().out
    assert "verdict: fit to hand on" in after
    assert "judged" not in after


def test_a_track_that_is_not_fit_is_told_why_and_what_to_do_next(folder, capsys):
    built(folder, capsys)
    path = folder / "block.geojson"
    document = json.loads(path.read_text("utf-8"))
    line = next(f for f in document["features"] if f["properties"]["role"] == "centreline")
    line["properties"]["accuracy_profile"] = [[0.0, 2.4, "measured"]]
    path.write_text(json.dumps(document), "utf-8")

    assert run(["describe", str(path)]) == 0

    said = capsys.readouterr().out
    assert "verdict: not fit to hand on" in said
    assert "known to 2.4 m at gate" in said
    assert f"trackkit build --revise {path} RECORDING" in said
