"""`--units`: what people read changes, what programs read does not."""

from __future__ import annotations

import json
import re

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


def test_a_sheet_has_its_lengths_in_feet(tmp_path, capsys):
    def words_on(name):
        path = tmp_path / f"{name}.svg"
        printed(capsys, "map", TRACK, "-o", path, "--units", name)
        return path.read_text("utf-8")

    # Letters are drawn as outlines or kept as text; either way the sheets differ.
    assert words_on("metric") != words_on("imperial")


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
