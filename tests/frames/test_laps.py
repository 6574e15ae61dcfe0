"""Frames of laps, sectors and traces: the same as the rows of JSON, with sigmas that hold."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from sample_circuits import track_of

import trackkit
from trackkit.errors import TrackkitError
from trackkit.timing.channels import channel_at
from trackkit.timing.column_names import TRACE_COLUMNS
from trackkit.timing.passings import passings
from trackkit.timing.rows import session_row
from trackkit.timing.sessions import Session, choose_reference

TRACK = track_of("pipwick-kart-circuit")


def timed(seed, name, **how):
    recording = trackkit.simulate_drive(TRACK, laps=3, seed=seed, **how).recording
    return trackkit.time_laps(TRACK, recording.renamed(name))


@pytest.fixture(scope="module")
def reports():
    return [timed(21, "day/morning.csv"), timed(22, "day/noon.csv")]


@pytest.fixture(scope="module")
def json_laps(reports):
    sessions = [Session(report.name, report.name, report) for report in reports]
    reference = choose_reference(sessions)
    rows = [session_row(TRACK, session, reference, None) for session in sessions]
    return [(row["file"], lap) for row in rows for lap in row["laps"]]


def test_a_row_a_lap_says_what_json_says(reports, json_laps):
    frame = trackkit.laps_frame(reports)

    assert len(frame) == len(json_laps)
    same = [
        name
        for name in frame
        if name in json_laps[0][1] and name not in ("begun", "missed", "remarks")
    ]
    assert {"time_s", "sigma_s", "difference_s", "top_mps", "counts"} <= set(same)
    for (file, lap), (_, row) in zip(json_laps, frame.iterrows(), strict=True):
        assert (row["recording"], row["lap"], row["track"]) == (file, lap["number"], TRACK.id)
        for name in same:
            if lap[name] is None:
                assert pd.isna(row[name])
            else:
                assert row[name] == lap[name]
        if lap["begun"] is not None:
            assert row["begun"] == pd.Timestamp(lap["begun"])


def test_a_row_a_sector_says_what_json_says(reports, json_laps):
    frame = trackkit.sectors_frame(reports)
    sectors = [sector for _, lap in json_laps for sector in lap["sectors"]]

    assert len(frame) == len(sectors)
    assert [mark if isinstance(mark, str) else None for mark in frame["best"]] == [
        sector["best"] for sector in sectors
    ]
    for name in sectors[0].keys() - {"channels", "best"}:
        expected = [np.nan if sector[name] is None else sector[name] for sector in sectors]
        assert frame[name].to_numpy() == pytest.approx(expected, nan_ok=True)
    assert frame["gate_name"].head(3).tolist() == ["Sector 1 end", "Sector 2 end", "Finish"]
    whole = frame[frame["counts"]].groupby(["recording", "lap"], observed=True)["time_s"]
    laps = trackkit.laps_frame(reports).query("counts").set_index(["recording", "lap"])["time_s"]
    assert whole.sum().reindex(laps.index).to_numpy() == pytest.approx(laps.to_numpy(), abs=1e-9)


def test_drivers_go_by_the_names_of_files_and_a_wrong_name_is_refused(reports):
    frame = trackkit.laps_frame(reports, drivers={"morning.csv": "Ada"})

    assert set(frame.loc[frame["recording"] == "day/morning.csv", "driver"]) == {"Ada"}
    assert frame.loc[frame["recording"] == "day/noon.csv", "driver"].isna().all()
    with pytest.raises(TrackkitError, match=r"no recording is called 'evening\.csv'"):
        trackkit.laps_frame(reports, drivers={"evening.csv": "Bo"})


def test_differences_are_to_the_lap_that_is_asked_for(reports):
    frame = trackkit.laps_frame(reports, reference="noon.csv:2")

    own = frame[(frame["recording"] == "day/noon.csv") & (frame["lap"] == 2)].iloc[0]
    assert own["difference_s"] == 0
    other = frame[frame["counts"]].iloc[0]
    assert other["difference_s"] == pytest.approx(other["time_s"] - own["time_s"])


def test_traces_have_a_row_a_metre_with_times_of_day_and_places(reports):
    frame = trackkit.traces_frame(reports)

    assert tuple(frame.columns) == TRACE_COLUMNS
    lap = frame[(frame["recording"] == "day/morning.csv") & (frame["lap"] == 2)]
    assert np.diff(lap["chainage_m"]).tolist() == [1.0] * (len(lap) - 1)
    since = (lap["time_of_day"] - lap["time_of_day"].iloc[0]).dt.total_seconds()
    assert since.to_numpy() == pytest.approx(
        (lap["elapsed_s"] - lap["elapsed_s"].iloc[0]).to_numpy(), abs=1e-8
    )
    # On the line square to the track at its chainage, its offset away.
    place = TRACK.plane.to_plane(lap["longitude_deg"], lap["latitude_deg"])
    away = place - TRACK.curve.position(lap["chainage_m"])
    aside = np.einsum("ij,ij->i", away, TRACK.curve.left(lap["chainage_m"]))
    assert aside == pytest.approx(lap["offset_m"].to_numpy(), abs=1e-6)
    assert np.hypot(*away.T) == pytest.approx(np.abs(aside), abs=1e-3)
    assert frame["height_m"].isna().all()


def test_the_sigma_of_elapsed_time_at_a_gate_is_that_of_the_split_there(reports):
    report = reports[0]
    lap = report.counted[0]
    frame = trackkit.traces_frame(report).query(f"lap == {lap.number}")

    for crossing in lap.passed[1:3]:
        at_m = TRACK.gate(crossing.gate).chainage_m
        expected = report.sigma_of([(lap.passed[0], -1.0), (crossing, 1.0)])
        read = np.interp(at_m, frame["chainage_m"], frame["elapsed_sigma_s"])
        assert read == pytest.approx(expected, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("doppler", [True, False])
def test_the_sigma_of_elapsed_time_is_that_of_a_sum_over_both_passings_at_every_place(doppler):
    report = timed(24, "sigma.csv", doppler=doppler)
    lap = report.counted[1]
    frame = trackkit.traces_frame(report).query(f"lap == {lap.number}").set_index("chainage_m")

    places = [40.0, 333.0, 500.0, 501.0, 932.0]
    for at_m, passing in zip(places, passings(TRACK, report.drive, lap, places), strict=True):
        expected = report.sigma_of([(lap.passed[0], -1.0), (passing, 1.0)])
        assert frame.loc[at_m, "elapsed_sigma_s"] == pytest.approx(expected, rel=1e-9)


@pytest.mark.slow
def test_true_times_speeds_and_offsets_lie_within_what_the_sigmas_say():
    # The truth is the simulator's; of right sigmas the root mean square of errors over them is 1.
    scores = {"elapsed": [], "speed": [], "offset": []}
    for seed in range(31, 37):
        drive = trackkit.simulate_drive(TRACK, laps=3, seed=seed)
        frame = trackkit.traces_frame(trackkit.time_laps(TRACK, drive.recording))
        for _, lap in frame[frame["chainage_m"] % 90 == 0].groupby("lap"):
            chainage = lap["chainage_m"].to_numpy()
            time = drive_time = (
                (lap["time_of_day"] - pd.Timestamp(drive.recording.start))
                .dt.total_seconds()
                .to_numpy()
            )
            middle, ahead = TRACK.curve.position(chainage), TRACK.curve.direction(chainage)
            for _ in range(5):
                short = np.einsum("ij,ij->i", middle - drive.position_m(time), ahead)
                time = time + short / np.einsum("ij,ij->i", drive.velocity_mps(time), ahead)
            begun = drive_time[0] - lap["elapsed_s"].iloc[0]
            true_begin = min(
                (c["time_s"] for c in drive.truth["crossings"] if c["gate"] == TRACK.finish.id),
                key=lambda at: abs(at - begun),
            )
            beyond = chainage > 0
            elapsed = (lap["elapsed_s"] - (time - true_begin)) / lap["elapsed_sigma_s"]
            scores["elapsed"] += elapsed[beyond].tolist()
            speed = np.hypot(*drive.velocity_mps(time).T)
            scores["speed"] += ((lap["speed_mps"] - speed) / lap["speed_sigma_mps"]).tolist()
            left = TRACK.curve.left(chainage)
            aside = np.einsum("ij,ij->i", drive.position_m(time) - middle, left)
            scores["offset"] += ((lap["offset_m"] - aside) / lap["offset_sigma_m"]).tolist()

    for name, values in scores.items():
        assert 0.6 < np.sqrt(np.mean(np.square(values))) < 1.5, name


def test_heights_are_those_of_the_recording():
    hill = track_of("orrinback-hill")
    drive = trackkit.simulate_drive(hill, laps=1, rate_hz=5.0, seed=4)
    frame = trackkit.traces_frame(trackkit.time_laps(hill, drive.recording))

    assert frame["height_m"].notna().any()
    low, high = np.nanmin(drive.recording.elevation_m), np.nanmax(drive.recording.elevation_m)
    assert frame["height_m"].dropna().between(low, high).all()
    assert (
        np.corrcoef(
            frame["height_m"].dropna(),
            np.interp(
                frame["chainage_m"][frame["height_m"].notna()],
                hill.curve.vertex_chainage_m,
                hill.centreline.height_m[: len(hill.curve.vertex_chainage_m)],
            ),
        )[0, 1]
        > 0.999
    )


def test_a_recording_that_only_counts_seconds_has_no_times_of_day():
    report = timed(23, "seconds.csv", start=None)

    assert trackkit.traces_frame(report)["time_of_day"].isna().all()
    assert trackkit.laps_frame(report)["begun"].isna().all()


@pytest.mark.slow
def test_frames_without_a_lap_have_the_same_columns_and_kinds(reports):
    for make in (trackkit.laps_frame, trackkit.sectors_frame, trackkit.traces_frame):
        full, empty = make(reports), make([])
        assert len(empty) == 0
        assert empty.columns.tolist() == full.columns.tolist()
        kinds = [str(kind) for kind in full.dtypes if str(kind) != "category"]
        assert [str(kind) for kind in empty.dtypes if str(kind) != "category"] == kinds


def test_a_report_without_its_drive_has_laps_but_no_traces(reports):
    alone = reports[0].without_drive()

    assert len(trackkit.laps_frame(alone)) == len(alone.laps)
    with pytest.raises(TrackkitError, match="the smoothed drive was not kept"):
        trackkit.traces_frame(alone)


@pytest.mark.slow
def test_channels_stand_in_columns_after_all_others_as_in_json_and_csv():
    with_some, without = timed(25, "some.csv", channels=True), timed(26, "none.csv")
    channel = with_some.drive.recording.channels[0]
    both = [with_some, without]

    laps, sectors = trackkit.laps_frame(both), trackkit.sectors_frame(both)
    figures = ("least", "largest", "mean")
    titles = [each.title for each in with_some.drive.recording.channels]
    columns = [f"{title} {figure}" for title in titles for figure in figures]
    assert laps.columns[-len(columns) :].tolist() == columns
    assert sectors.columns[-len(columns) :].tolist() == columns
    lap = with_some.counted[0]
    of_lap = f"recording == 'some.csv' and lap == {lap.number}"
    row = laps.query(of_lap).iloc[0]
    inner = sectors.query(f"{of_lap} and sector == 2").iloc[0]
    for figure in figures:
        title = f"{channel.title} {figure}"
        assert row[title] == getattr(lap.channels[0], figure)
        assert inner[title] == getattr(lap.sectors[1].channels[0], figure)
    assert laps.loc[laps["recording"] == "none.csv", columns].isna().all(axis=None)

    traces = trackkit.traces_frame(both)
    assert traces.columns[-len(titles) :].tolist() == titles
    trace = traces.query(of_lap)
    at = (trace["time_of_day"] - pd.Timestamp(with_some.start)).dt.total_seconds()
    assert trace[channel.title].to_numpy() == pytest.approx(
        channel_at(channel, at), rel=1e-6, nan_ok=True
    )
    assert trace[channel.title].notna().mean() > 0.9
    assert traces.loc[traces["recording"] == "none.csv", titles].isna().all(axis=None)


def test_a_channel_that_is_called_as_a_column_has_a_number_behind_it():
    recording = trackkit.simulate_drive(TRACK, laps=2, seed=27).recording
    channel = trackkit.Channel("speed_mps", None, recording.time_s, np.full(len(recording), 7.0))
    report = trackkit.time_laps(TRACK, dataclasses.replace(recording, channels=(channel,)))

    frame = trackkit.traces_frame(report)
    assert frame.columns[-1] == "speed_mps 2"
    assert (frame["speed_mps 2"] == 7.0).all()
    assert frame["speed_mps"].max() > 10.0
