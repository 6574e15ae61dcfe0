"""Tracks built of several laps and several recordings."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import TRACK_400_M, furthest_from
from drives import (
    drive,
    on_earth,
    stadium,
)

from trackkit.building.build import build_track


def test_several_laps_are_averaged():
    outing = drive(stadium(), begin_m=20.0, laps=5.3, cruise=12.0)
    errors = []
    for laps, end_way in ((1, 1.2), (5, 5.2)):
        result = build_track(
            [
                outing.recording(
                    10, noise=1.0, seed=4, doppler=True, end_s=outing.time_at(400.0 * end_way)
                )
            ],
            "X",
        )
        assert result.laps_used == laps
        _, offset = result.track.curve.project(
            result.track.plane.to_plane(*on_earth(stadium().at(np.arange(0, 400, 4.0))[0]))
        )
        errors.append(np.std(offset))
    assert errors[1] < errors[0]


def test_several_recordings_make_one_track_and_each_is_named_with_its_laps():
    road = stadium()
    one = drive(road, begin_m=20.0, laps=2.2, cruise=12.0).recording(10, doppler=True, name="a")
    two = drive(road, begin_m=220.0, laps=1.2, cruise=15.0).recording(5, name="b")

    result = build_track([one, two], "X")

    assert result.laps_used == 3
    assert [(s["file"], s["laps"]) for s in result.track.sources] == [("a", 2), ("b", 1)]
    assert result.track.length_m == pytest.approx(TRACK_400_M, abs=0.1)


def test_a_recording_without_a_lap_is_left_out_of_several_and_said_so():
    road = stadium()
    whole = drive(road, laps=1.2, cruise=12.0).recording(10, doppler=True, name="whole.gpx")
    short = drive(road, laps=0.5, cruise=12.0).recording(10, name="short.gpx")

    result = build_track([short, whole], "X")

    assert result.laps_used == 1
    assert any("short.gpx" in r and "(not used)" in r for r in result.remarks)


def test_a_lap_with_an_excursion_is_not_used_and_said_so():
    clean = drive(stadium(), begin_m=10.0, laps=4.2, cruise=15.0).recording(10, doppler=True)
    # Off 30 m to the south for some seconds in the second lap; a lap takes 26.7 s.
    bump = 30.0 * np.exp(-0.5 * ((clean.time_s - 46.0) / 1.5) ** 2) / 111_195.0
    off = replace(clean, latitude_deg=clean.latitude_deg - bump, speed_mps=None, course_deg=None)

    result = build_track([off], "X")

    assert result.laps_used == 3
    (said,) = [r for r in result.remarks if "was not used" in r]
    assert "leaves the line by 3" in said or "leaves the line by 2" in said
    assert furthest_from(stadium(), result.track) < 0.5


def test_what_readers_removed_is_summed_over_recordings():
    recording = drive(stadium(), laps=1.2, cruise=12.0).recording(10)
    removed = [
        replace(recording, removed={"duplicate time": 2}),
        replace(recording, removed={"duplicate time": 1, "jump": 3}),
    ]

    assert build_track(removed, "X").removed == {"duplicate time": 3, "jump": 3}
