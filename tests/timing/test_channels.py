"""Channels of laps and sectors: by hand, against the truth, and never touching a time."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from practice_tracks import LAP_GATES, LOOP_M, make_track

from trackkit.recordings.channel import Channel
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.channels import channel_at
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import laps_csv, session_row
from trackkit.timing.sessions import Session
from trackkit.timing.traces import trace_lines, traces_csv


@pytest.fixture(scope="module")
def track():
    return make_track(LOOP_M, gates=LAP_GATES)


@pytest.fixture(scope="module")
def practice(track):
    return simulate_drive(track, laps=3, rate_hz=10, channels=True)


@pytest.fixture(scope="module")
def report(track, practice):
    return time_laps(track, practice.recording)


def with_channels(recording, *channels):
    return replace(recording, channels=channels)


def stripped(laps):
    return [
        replace(
            lap, channels=(), sectors=tuple(replace(sector, channels=()) for sector in lap.sectors)
        )
        for lap in laps
    ]


def test_the_figures_are_those_of_the_values_between_the_crossings(track, practice, report):
    # A clock for a channel: what it says of a lap is when that began and ended.
    time = practice.recording.time_s
    laps = time_laps(track, with_channels(practice.recording, Channel("t", "s", time, time))).laps

    for lap in laps:
        for part, ends in [
            (lap, (lap.passed[0], lap.passed[-1])),
            *zip(lap.sectors, zip(lap.passed[:-1], lap.passed[1:], strict=True), strict=True),
        ]:
            if None in ends:
                assert part.channels == ()
                continue
            (figures,) = part.channels
            begin, end = (crossing.time_s for crossing in ends)
            assert begin <= figures.least < begin + 0.1
            assert end - 0.1 <= figures.largest < end
            assert figures.mean == pytest.approx(0.5 * (figures.least + figures.largest))


def test_the_mean_is_over_time_however_unevenly_a_sensor_measures(track, practice):
    lap = time_laps(track, practice.recording).best_lap
    begin = lap.start_s
    # 0 for 1 s, told once; then up to 10 in 1 s, told ten times: the mean over the 2 s is 2.5.
    time = begin + np.concatenate([[0.5, 1.5], 1.5 + 0.1 * np.arange(1, 11)])
    value = np.concatenate([[0.0, 0.0], np.arange(1.0, 11.0)])
    laps = time_laps(track, with_channels(practice.recording, Channel("x", None, time, value))).laps
    (figures,) = next(other for other in laps if other.number == lap.number).channels

    assert (figures.least, figures.largest) == (0.0, 10.0)
    assert figures.mean == pytest.approx(2.5)


def test_simulated_channels_are_told_as_they_truly_were(practice, report):
    # Slack: what changes between two fixes, and the steps of the sensors.
    slack = {"engine speed": 150.0, "gear": 0.0, "brake": 6.0, "water temp": 0.8}
    mean_slack = {"engine speed": 25.0, "gear": 0.02, "brake": 0.2, "water temp": 0.4}
    laps = {lap.number: lap for lap in report.laps}
    for lap in practice.truth["laps"]:
        measured = laps[lap["number"]]
        for index, true in enumerate(lap["channels"]):
            name = true["name"]
            pairs = [(measured.channels[index], true)]
            pairs += [
                (sector.channels[index], of_sector)
                for sector, of_sector in zip(measured.sectors, true["sectors"], strict=True)
            ]
            for figures, truth in pairs:
                assert (figures.name, figures.unit) == (name, true["unit"])
                assert figures.least == pytest.approx(truth["least"], abs=slack[name] + 0.1)
                assert figures.largest == pytest.approx(truth["largest"], abs=slack[name] + 0.1)
                assert figures.mean == pytest.approx(truth["mean"], abs=3 * mean_slack[name])
            assert measured.channels[index].mean == pytest.approx(
                true["mean"], abs=mean_slack[name]
            )


@pytest.mark.slow
def test_a_channel_that_is_missing_or_broken_never_changes_a_time(track, practice, report):
    recording = practice.recording
    broken = np.full(len(recording), np.nan)
    others = {
        "none": (),
        "broken": (Channel("oil", None, recording.time_s, broken),),
        "empty": (Channel("oil", None, np.empty(0), np.empty(0)),),
        "away": (Channel("oil", None, np.array([-9e9, 9e9]), np.array([1e300, -1e300])),),
        "one value": (Channel("oil", None, np.array([99.0]), np.array([1.0])),),
    }
    for channels in others.values():
        laps = time_laps(track, with_channels(recording, *channels))
        assert stripped(laps.laps) == stripped(report.laps)
        assert laps.crossings == report.crossings
        assert laps.as_row() == report.as_row()


def test_no_value_is_read_beside_the_ends_beside_a_broken_one_or_in_a_gap():
    channel = Channel(
        "x", None, np.array([0.0, 1, 2, 3, 4, 14, 15]), np.array([0.0, 1, np.nan, 3, 4, 14, 15])
    )
    read = channel_at(channel, [-1.0, 0.5, 1.0, 1.5, 3.5, 4.0, 9.0, 14.0, 14.5, 16.0])

    np.testing.assert_array_equal(
        read, [np.nan, 0.5, 1.0, np.nan, 3.5, 4.0, np.nan, 14.0, 14.5, np.nan]
    )


def test_rows_of_json_have_the_figures_of_laps_and_sectors(track, report):
    lap = session_row(track, Session("a", "a", report), None, None)["laps"][1]

    assert [channel["name"] for channel in lap["channels"]] == [
        "engine speed",
        "gear",
        "brake",
        "water temp",
    ]
    assert lap["channels"][3] == {
        "name": "water temp",
        "unit": "°C",
        "least": report.laps[1].channels[3].least,
        "largest": report.laps[1].channels[3].largest,
        "mean": report.laps[1].channels[3].mean,
    }
    assert (
        lap["sectors"][2]["channels"][1]["largest"] == report.laps[1].sectors[2].channels[1].largest
    )


def table(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_csv_has_three_columns_a_channel_after_its_own(track, report):
    session = Session("a", "a", report)
    rows = table(laps_csv(track, [session], None, None, ["oil", "gear"]))

    assert list(rows[0])[-7:] == [
        "gate_speed_sigma_mps",
        "oil least",
        "oil largest",
        "oil mean",
        "gear least",
        "gear largest",
        "gear mean",
    ]
    lap = next(row for row in rows if row["lap"] == "1" and row["part"] == "lap")
    assert float(lap["gear mean"]) == report.laps[1].channels[1].mean
    assert lap["oil least"] == ""


def test_traces_have_the_channels_where_the_vehicle_was(track, practice, report):
    rows = table(traces_csv([trace_lines(track, Session("a", "a", report))]))
    lap = report.laps[1]
    engine, *_ = practice.recording.channels

    for row in (row for row in rows if row["lap"] == "1"):
        when = lap.start_s + float(row["elapsed_s"])
        expected = float(np.interp(when, engine.time_s, engine.value))
        assert float(row["engine speed [rpm]"]) == pytest.approx(expected, abs=0.1)


def test_traces_of_recordings_with_other_channels_share_one_heading(track, practice, report):
    recording = practice.recording
    gear = recording.channels[1]
    oil = Channel("oil", "bar", recording.time_s, np.full(len(recording), 3.0))
    others = time_laps(track, with_channels(recording, oil, gear))
    rows = table(
        traces_csv(
            trace_lines(track, Session(name, name, timed))
            for name, timed in (("a", report), ("b, c", others))
        )
    )

    a, b = (next(row for row in rows if row["label"] == label) for label in ("a", "b, c"))
    assert list(a)[-5:] == [
        "engine speed [rpm]",
        "gear",
        "brake [bar]",
        "water temp [°C]",
        "oil [bar]",
    ]
    assert (b["oil [bar]"], a["oil [bar]"]) == ("3.0", "")
    assert (b["gear"], b["brake [bar]"]) == (a["gear"], "")
    assert b["elapsed_s"] == a["elapsed_s"]
