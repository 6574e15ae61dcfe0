"""`--units`: what people read changes, what programs read does not."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from checkout import ROOT

from trackkit.cli import run

TRACK = str(ROOT / "tracks" / "pipwick-kart-circuit.geojson")


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    path = str(tmp_path_factory.mktemp("units") / "lap.csv")
    assert run(["simulate", TRACK, "-o", path, "--laps", "1"]) == 0
    return path


def printed(capsys, *words):
    capsys.readouterr()
    assert run([str(word) for word in words]) == 0
    return capsys.readouterr().out


def test_laps_are_told_in_miles_an_hour(recording, capsys):
    def top(text):
        (row,) = re.findall(r"^ *1 +flying .*$", text, re.MULTILINE)
        return float(row.split()[-2])

    metric = printed(capsys, "laps", TRACK, recording)
    imperial = printed(capsys, "laps", TRACK, recording, "--units", "imperial")

    assert "speeds are in km/h" in metric
    assert "speeds are in mph" in imperial
    # 1 mile is 1.609344 km.
    assert top(metric) / top(imperial) == pytest.approx(1.609344, rel=2e-3)


METRIC = re.compile(r"\d (?:m|km|km/h)\b")


def test_what_is_wrong_with_a_lap_is_told_in_feet(tmp_path, capsys):
    """Timed over the short layout, laps of the full one leave its line by 400 m."""
    folder = ROOT / "tracks"
    path = tmp_path / "full.csv"
    full = str(folder / "ruddlebeck-full.geojson")
    assert run(["simulate", full, "-o", str(path), "--laps", "1"]) == 0
    words = ("laps", folder / "ruddlebeck-short.geojson", path)
    metric, imperial = (printed(capsys, *words, "--units", name) for name in ("metric", "imperial"))

    (left,) = re.findall(r"left the line by (\d+) m at \d+ m", metric)
    (feet,) = re.findall(r"left the line by ([\d,]+) ft at [\d,]+ ft", imperial)
    assert float(feet.replace(",", "")) == pytest.approx(int(left) / 0.3048, abs=0.51)
    assert not METRIC.search(imperial)


@pytest.mark.slow
def test_findings_and_the_verdict_are_told_in_feet_but_names_and_commands_stay(tmp_path, capsys):
    path = tmp_path / "changed.geojson"
    path.write_bytes(Path(TRACK).read_bytes())
    words = ("gate", "place", path, "speed", "132m", "--name", "50 m board", "--width", "60")
    placed = printed(capsys, *words, "--anyway", "--units", "imperial")
    metric, imperial = (
        printed(capsys, "check", path, "--units", name) for name in ("metric", "imperial")
    )

    assert "at 433.1 ft" in placed
    assert "to do: make it 16.0 m wide" in metric
    assert "to do: make it 52.5 ft wide" in imperial
    for text in (metric, imperial):
        assert "gate 50 m board" in text
        assert "gate move" in text
        assert " 132.0m --width 16.0" in text
    assert not METRIC.search(imperial.replace("50 m board", ""))

    changes = printed(capsys, "diff", TRACK, path, "--units", "imperial")
    assert "was added" in changes
    printed(capsys, "gate", "move", path, "finish", "12m")
    for name, moved in (("metric", "+12.00 m along"), ("imperial", "+39.37 ft along")):
        assert moved in printed(capsys, "diff", TRACK, path, "--units", name)


def test_a_track_that_is_made_is_told_in_feet(recording, tmp_path, capsys):
    words = ("build", recording, "--name", "Made", "--sectors", "2", "--units", "imperial")
    assert run([*words, "--details", "-o", str(tmp_path / "made.geojson")]) == 0
    out, err = capsys.readouterr()

    assert "chainage ft" in out
    assert "ft, one sigma" in err
    assert not METRIC.search(out + err)


@pytest.mark.parametrize(
    "words",
    [("describe", TRACK), ("gate", "list", TRACK), ("library", "list", "--name", "pipwick")],
)
def test_tracks_are_told_in_feet(words, capsys):
    assert " m" in printed(capsys, *words)
    imperial = printed(capsys, *words, "--units", "imperial")

    assert " ft" in imperial
    assert not re.search(r"\d m\b", imperial)


def test_distances_are_told_in_miles(capsys):
    assert re.search(r"\d km away", printed(capsys, "locate", "38.8", "83.4"))
    imperial = printed(capsys, "locate", "38.8", "83.4", "--units", "imperial")
    assert re.search(r"\d mi away", imperial)
    assert "km" not in imperial


def test_the_environment_may_choose(capsys, monkeypatch):
    monkeypatch.setenv("TRACKKIT_UNITS", "imperial")
    assert " ft," in printed(capsys, "describe", TRACK)
    assert " m," in printed(capsys, "describe", TRACK, "--units", "metric")


def test_json_and_tables_stay_in_si(recording, tmp_path, capsys):
    documents, tables = [], []
    for name in ("metric", "imperial"):
        path = tmp_path / f"{name}.csv"
        words = ("laps", TRACK, recording, "--json", "--csv", path, "--units", name)
        documents.append(json.loads(printed(capsys, *words)))
        tables.append(path.read_text("utf-8"))

    assert documents[0] == documents[1]
    assert tables[0] == tables[1]


@pytest.mark.slow
def test_a_sheet_has_its_lengths_in_feet(tmp_path, capsys):
    def words_on(name):
        path = tmp_path / f"{name}.svg"
        printed(capsys, "map", TRACK, "-o", path, "--units", name)
        return path.read_text("utf-8")

    # Letters are drawn as outlines or kept as text; either way the sheets differ.
    assert words_on("metric") != words_on("imperial")


@pytest.mark.slow
def test_the_list_of_losses_names_the_units_that_its_figures_are_in(tmp_path, capsys):
    path = tmp_path / "two.csv"
    assert run(["simulate", TRACK, "-o", str(path), "--laps", "2"]) == 0

    def ends(text, header):
        assert header in text
        rows = text.partition(header)[2].splitlines()[2:]
        return [
            float(re.findall(r"\s(\d+)\s+(\d+)\s+[+-]", row)[0][1]) for row in rows if "/" in row
        ]

    metric = ends(printed(capsys, "laps", TRACK, path, "--losses"), "braking from m")
    imperial = printed(capsys, "laps", TRACK, path, "--losses", "--units", "imperial")

    assert "least mph" in imperial
    # 1 foot is 0.3048 m.
    feet = ends(imperial, "braking from ft")
    assert feet == pytest.approx([end / 0.3048 for end in metric], abs=2.5)
