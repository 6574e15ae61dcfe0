"""A page that is given away holds nothing of what was driven elsewhere."""

from __future__ import annotations

import base64
import json
from datetime import UTC, datetime

import numpy as np
import pytest
from checkout import ROOT
from oval_page import document_of, oval, session, text_of
from pyproj import Geod

from trackkit.cli import run
from trackkit.pages.html import map_html
from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import write_recording
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track, write_track

FASTEST_MPS = 35.0
"""Faster than anything near the circuit, and slower than the roads far from it."""
NEAR_M = 500.0


def road(place_m: np.ndarray, towards_m: np.ndarray) -> np.ndarray:
    """Places every 0.1 s from the circuit away: at 20 m/s, and after 800 m ever faster, to 50."""
    length = np.linalg.norm(towards_m - place_m)
    way = [0.0]
    while way[-1] < length:
        way.append(way[-1] + 0.1 * np.clip(20.0 + (way[-1] - 800.0) / 15.0, 20.0, 50.0))
    share = np.minimum(np.array(way[1:]) / length, 1.0)
    return place_m + share[:, None] * (towards_m - place_m)


@pytest.fixture(scope="module")
def track():
    return oval()


@pytest.fixture(scope="module")
def day(track) -> Recording:
    """From home to the circuit, three laps, away in the midst of the fourth, three more, home."""
    driven = session(track, laps=7, speed=False)
    place = track.plane.to_plane(driven.longitude_deg, driven.latitude_deg)
    home, lunch = np.array([4000.0, 2500.0]), np.array([-1800.0, -300.0])
    half = len(place) // 2
    out = road(place[half], lunch)
    parts = [
        road(place[0], home)[::-1],
        place[:half],
        out,
        np.repeat(lunch[None], 100, axis=0),
        out[::-1],
        place[half:],
        road(place[-1], home),
    ]
    way = np.vstack(parts)
    longitude, latitude = track.plane.to_geographic(way)
    time = 0.1 * np.arange(len(way))
    start = datetime(2031, 5, 17, 9, tzinfo=UTC)
    return Recording("day.gpx", time, longitude, latitude, start=start)


@pytest.fixture(scope="module")
def page(track, day) -> str:
    return map_html(track, recordings=[day], findings="checked")


def unpacked(packed: dict) -> np.ndarray:
    kind = {"u16": "<u2", "i32": "<i4"}[packed["type"]]
    whole = np.frombuffer(base64.b64decode(packed["data"]), kind)
    missing = {"u16": 65535, "i32": -(2**31)}[packed["type"]]
    return np.where(whole == missing, np.nan, packed["zero"] + packed["scale"] * whole)


def away_m(track, longitude_deg: np.ndarray, latitude_deg: np.ndarray) -> np.ndarray:
    """How far places are from the line, metres, by PROJ's geodesics."""
    line = track.centreline
    lengths = Geod(ellps="WGS84").inv(
        *np.broadcast_arrays(
            longitude_deg[:, None], latitude_deg[:, None], line.longitude_deg, line.latitude_deg
        )
    )[2]
    return lengths.min(axis=1)


def packed_arrays(document: object, name: str = "") -> list[tuple[str, np.ndarray]]:
    if isinstance(document, dict) and "data" in document and "scale" in document:
        return [(name, unpacked(document))]
    if isinstance(document, dict):
        return [found for key, part in document.items() for found in packed_arrays(part, key)]
    if isinstance(document, list):
        return [found for part in document for found in packed_arrays(part, name)]
    return []


def numbers(document: object, name: str) -> list[float]:
    """All numbers of a name, wherever they stand."""
    if isinstance(document, dict):
        here = [value for key, value in document.items() if key == name and value is not None]
        return here + [n for part in document.values() for n in numbers(part, name)]
    if isinstance(document, list):
        return [n for part in document for n in numbers(part, name)]
    return []


@pytest.mark.slow
def test_the_fixes_on_the_page_are_those_near_the_circuit(track, day, page) -> None:
    (row,) = document_of(page, "base")["recordings"]
    near = away_m(track, day.longitude_deg, day.latitude_deg) <= NEAR_M
    assert 0.3 < near.mean() < 0.8
    shown = unpacked(row["fixes"]["lon"]), unpacked(row["fixes"]["lat"])
    assert row["fix_count"] == len(shown[0]) == near.sum()
    assert away_m(track, *shown).max() <= NEAR_M + 0.1
    # 5 cm and less.
    assert np.allclose(shown[0], day.longitude_deg[near], rtol=0, atol=2.6e-7)
    assert row["duration_s"] == pytest.approx(0.1 * (near.sum() - 2), abs=0.01)


def test_nothing_is_drawn_across_what_was_left_out(track, day, page) -> None:
    (row,) = document_of(page, "base")["recordings"]
    near = np.flatnonzero(away_m(track, day.longitude_deg, day.latitude_deg) <= NEAR_M)
    assert row["fixes"]["breaks"] == (np.flatnonzero(np.diff(near) > 1) + 1).tolist()
    assert len(row["fixes"]["breaks"]) == 1


def test_no_speed_of_the_roads_is_on_the_page(page) -> None:
    for name in ("base", "state"):
        document = document_of(page, name)
        for key in ("top_mps", "lowest_mps", "pit_speed_mps"):
            assert max(numbers(document, key), default=0.0) < FASTEST_MPS
        for key, values in packed_arrays(document):
            if key == "speed_mps":
                assert np.nanmax(values) < FASTEST_MPS
    assert max(document_of(page, "base")["speed_bounds"]) < 3.6 * FASTEST_MPS


@pytest.mark.slow
def test_a_lap_that_went_away_keeps_its_time_and_says_no_more_than_that() -> None:
    track = read_track(ROOT / "tracks" / "ruddlebeck-full.geojson")
    driven = session(track, laps=3, rate_hz=5.0, speed=False)
    place = track.plane.to_plane(driven.longitude_deg, driven.latitude_deg)
    out = np.linalg.norm(place - place.mean(axis=0), axis=1)
    turn = len(place) // 3 + int(np.argmax(out[len(place) // 3 : 2 * len(place) // 3]))
    lunch = place[turn] + 900.0 * (place[turn] - place.mean(axis=0)) / out[turn]
    away = road(place[turn], lunch)[::2]
    way = np.vstack([place[:turn], away, away[::-1], place[turn:]])
    drive = Recording("day.gpx", 0.2 * np.arange(len(way)), *track.plane.to_geographic(way))
    page = map_html(track, recordings=[drive], findings="checked")
    base, state = document_of(page, "base"), document_of(page, "state")
    laps = time_laps(track, drive).laps
    (gone,) = [lap for lap in laps if any((remark.aside_m or 0.0) > 800 for remark in lap.remarks)]
    assert [row["time_s"] for row in state["laps"] if row["time_s"]] == pytest.approx(
        [lap.time_s for lap in laps if lap.time_s], abs=1e-6
    )
    row = state["laps"][laps.index(gone)]
    assert row["time_s"] == pytest.approx(gone.time_s, abs=1e-6)
    assert row["top_mps"] is None
    assert [sector["top_mps"] for sector in row["sectors"]] == [None] * len(gone.sectors)
    # How slow it was against the others tells of its time alone.
    (left,) = [remark for remark in row["remarks"] if remark["kind"] != "slow"]
    assert left["text"] == "left the circuit by more than 500 m"
    assert (left["aside_m"], left["begin_s"], left["end_s"]) == (None, None, None)
    (traced,) = [lap for lap in base["laps"] if lap["number"] == gone.number]
    offset = unpacked(traced["trace"]["offset_m"])
    assert np.nanmax(np.abs(offset)) <= NEAR_M
    for values in traced["trace"].values():
        assert np.isnan(unpacked(values)[np.isnan(offset)]).all()
    compared = [tuple(lap) for part in base["comparison"]["recordings"] for lap in part["laps"]]
    others = [lap for lap in laps if lap.is_whole and lap is not gone]
    assert compared == [(lap.session, lap.number) for lap in others]


@pytest.mark.slow
def test_times_count_from_the_first_fix_near_the_circuit(track, day, page) -> None:
    first = day.time_s[away_m(track, day.longitude_deg, day.latitude_deg) <= NEAR_M][0]
    assert first > 50
    begun = [lap.start_s for lap in time_laps(track, day).laps]
    counted = [max(at - first, 0.0) for at in begun if at is not None]
    for name, digits in (("base", 9), ("state", 6)):
        shown = [row["start_s"] for row in document_of(page, name)["laps"]]
        assert [at for at in shown if at is not None] == pytest.approx(counted, abs=10**-digits)
    # None of the moments of the day that the page tells is later than the last lap's end.
    last = day.time_s[-1] - first - 60
    for key in ("begin_s", "end_s", "at_s"):
        assert max(numbers(document_of(page, "state"), key), default=0.0) < last


def test_the_day_it_was_driven_on_is_not_in_the_documents(page) -> None:
    for name in ("base", "state"):
        # Four digits of a number may be those of a year.
        assert "2031-" not in json.dumps(document_of(page, name))


def test_everything_is_kept_where_that_is_asked_for(track, day, page) -> None:
    whole = map_html(track, recordings=[day], findings="checked", everything=True)
    (row,) = document_of(whole, "base")["recordings"]
    assert row["fix_count"] == row["fixes"]["lon"]["count"] == len(day)
    assert max(numbers(document_of(whole, "base"), "top_mps")) > 44
    sentence = "This page holds only what was driven within 500 m of the circuit"
    assert sentence in text_of(page)
    assert sentence not in text_of(whole)


@pytest.mark.slow
def test_of_a_drive_that_stays_near_nothing_is_left_out(track) -> None:
    drive = session(track, laps=3)
    pages = [map_html(track, recordings=[drive], everything=asked) for asked in (False, True)]
    for name in ("base", "state"):
        first, second = (document_of(page, name) for page in pages)
        assert first == second


def test_a_recording_from_elsewhere_leaves_its_name_alone(track) -> None:
    page = map_html(track, recordings=[session(oval(latitude_deg=52.02))])
    (row,) = document_of(page, "base")["recordings"]
    assert row["fixes"] is None
    assert row["away_m"] is None
    assert (row["fix_count"], row["duration_s"], row["top_mps"]) == (0, 0.0, 0.0)
    assert "never came within 500 m of this track: left out" in text_of(page)


@pytest.mark.slow
def test_the_terminal_says_what_was_left_out(track, day, tmp_path, capsys) -> None:
    file, drive, page = (tmp_path / name for name in ("oval.geojson", "day.csv", "page.html"))
    write_track(track, file)
    write_recording(day, drive)
    again = read_recording(drive)
    near = away_m(track, again.longitude_deg, again.latitude_deg) <= NEAR_M
    command = ["map", str(file), str(drive), "-o", str(page)]
    assert run(command) == 0
    lines = capsys.readouterr().err
    assert f"left out of the page: {(~near).sum():,} fixes (" in lines
    assert "day.csv, driven more than 500 m from the circuit; --everything keeps them" in lines
    assert run([*command, "--everything", "--force"]) == 0
    assert "left out" not in capsys.readouterr().err
    (row,) = document_of(page.read_text("utf-8"), "base")["recordings"]
    assert row["fix_count"] == len(again)


def test_everything_is_no_option_of_a_picture(track, tmp_path, capsys) -> None:
    file = tmp_path / "oval.geojson"
    write_track(track, file)
    assert run(["map", str(file), "--everything", "-o", str(tmp_path / "oval.svg")]) == 2
    assert "--everything is for the page" in capsys.readouterr().err
