"""Recordings of the same driving are told, and their laps counted once."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from drives import block_circuit, track_of
from timed_block import GATES

from trackkit.recordings.read import read_recording
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.duplicates import shared_with, sketch
from trackkit.timing.many import time_many
from trackkit.timing.sessions import Session
from trackkit.timing.summary import summaries


@pytest.fixture(scope="module")
def track():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


@pytest.fixture(scope="module")
def recording(track):
    return simulate_drive(track, laps=4, rate_hz=10.0, seed=3).recording.renamed("day.csv")


def part(recording, low_s, high_s, name):
    kept = (recording.time_s >= low_s) & (recording.time_s <= high_s)
    begin = float(recording.time_s[kept][0])
    return replace(
        recording,
        name=name,
        time_s=recording.time_s[kept] - begin,
        longitude_deg=recording.longitude_deg[kept],
        latitude_deg=recording.latitude_deg[kept],
        speed_mps=recording.speed_mps[kept],
        course_deg=recording.course_deg[kept],
        segment=None,
        start=recording.start + timedelta(seconds=begin),
    )


@pytest.mark.slow
@pytest.mark.parametrize("suffix", ["nmea", "gpx", "csv"])
def test_a_copy_in_another_format_is_told_and_counts_nothing(track, recording, tmp_path, suffix):
    path = tmp_path / f"copy.{suffix}"
    write_recording(recording, path)
    copy = read_recording(path).renamed("copy")

    first, second = time_many(track, [recording, copy])

    (shared,) = second.shared
    assert (shared.kind, shared.whole) == ("same", True)
    assert shared.sentence == "copy holds nothing but fixes of day.csv, and is not counted again"
    assert len(first.counted) == 4
    assert second.counted == ()
    assert {remark.text for lap in second.laps for remark in lap.remarks} == {"counted in day.csv"}


@pytest.mark.slow
def test_of_a_part_recorded_again_only_the_laps_beyond_it_count(track, recording):
    end = recording.duration_s
    early, late = part(recording, 0.0, 0.6 * end, "early"), part(recording, 0.3 * end, end, "late")

    first, second = time_many(track, [early, late])
    (whole,) = time_many(track, [recording])

    (shared,) = second.shared
    assert not shared.whole
    assert "laps in both are counted in early" in shared.sentence
    assert len(first.counted) + len(second.counted) == len(whole.counted)
    assert min(first.best_lap_s, second.best_lap_s) == pytest.approx(whole.best_lap_s, abs=0.02)


def test_two_receivers_on_one_drive_are_told_and_both_timed(track, recording):
    other = replace(recording, name="other", latitude_deg=recording.latitude_deg + 2.5 / 111_195.0)

    _, second = time_many(track, [recording, other])

    (shared,) = second.shared
    assert shared.kind == "receivers"
    assert shared.apart_m == pytest.approx(2.5, abs=0.1)
    assert len(second.counted) == 4


@pytest.mark.slow
def test_of_several_copies_each_is_told_once(track, recording):
    copies = [recording.renamed(name) for name in ("first", "second", "third")]

    reports = list(time_many(track, copies))

    assert [[part.first for part in report.shared] for report in reports] == [
        [],
        ["first"],
        ["first"],
    ]


def test_a_recording_that_goes_on_after_a_long_one_is_no_copy_of_it(track, recording):
    # A day of two hours and the same with five minutes more: 96 % and 98 % alike.
    long = sketch(recording)
    day = np.arange(0.0, 7200.0)
    first = replace(
        long, name="first", time_s=day, longitude_deg=0.0 * day, latitude_deg=1e-4 * day
    )
    for beyond_s, whole in ((20.0, True), (40.0, False), (300.0, False)):
        more = np.arange(0.0, 7200.0 + beyond_s)
        second = replace(
            first, name="second", time_s=more, longitude_deg=0.0 * more, latitude_deg=1e-4 * more
        )

        (shared,) = shared_with([first], second)

        assert shared.whole is whole


@pytest.mark.slow
def test_what_two_receivers_hold_is_summed_up_once(track):
    # The same drive at two rates and noises; the second receiver was switched off early.
    better = simulate_drive(track, laps=4, rate_hz=10.0, seed=3).recording.renamed("better.csv")
    worse = simulate_drive(track, laps=4, rate_hz=2.0, noise=2.0, seed=3).recording
    worse = part(worse, 0.0, 0.7 * worse.duration_s, "worse.csv")
    both = [
        Session(report.name, report.name, report) for report in time_many(track, [worse, better])
    ]

    _, alone, day = summaries(both, {})
    (one_driver,) = summaries(both, {session.file: "Ada" for session in both})
    *_, two_vehicles = summaries(both, {"better.csv": "Ada", "worse.csv": "Bo"})

    for summary in (day, one_driver):
        assert [best.of.session.file for best in summary.best] == ["better.csv"] * 3
        assert (summary.laps, summary.laps_counted) == (4, 4)
        assert summary.on_track_s == pytest.approx(alone.on_track_s, abs=1.0)
        assert summary.median_s == alone.median_s
        assert summary.theoretical_best_s == pytest.approx(alone.theoretical_best_s)
    # Karts that follow each other closely look alike; who drives them is for people to say.
    assert two_vehicles.laps_counted == 4 + len(both[0].report.counted)


def test_time_on_track_that_a_part_holds_again_counts_once(track, recording):
    end = recording.duration_s
    early, late = part(recording, 0.0, 0.6 * end, "early"), part(recording, 0.3 * end, end, "late")
    copy = part(recording, 0.1 * end, 0.5 * end, "copy")

    *own, day = summaries(
        [Session(r.name, r.name, r) for r in time_many(track, [early, late, copy])], {}
    )

    assert [summary.driver for summary in own] == ["early", "late"]
    assert own[0].on_track_s == pytest.approx(0.6 * end, abs=15.0)
    assert own[1].on_track_s == pytest.approx(0.4 * end, abs=15.0)
    assert day.on_track_s == pytest.approx(end, abs=15.0)
    assert (day.laps, day.laps_counted) == (4, 4)


def test_other_drives_are_not_taken_for_copies(track, recording):
    later = replace(recording, name="later", start=recording.start + timedelta(minutes=30))
    another = simulate_drive(track, laps=4, rate_hz=10.0, seed=4).recording

    assert shared_with([sketch(recording)], sketch(later)) == ()
    assert shared_with([sketch(recording)], sketch(another)) == ()


def test_recordings_that_only_count_seconds_are_compared_from_their_first_fix(recording):
    undated = replace(recording, start=None)
    copy = replace(undated, name="copy")

    (shared,) = shared_with([sketch(undated)], sketch(copy))

    assert shared.whole
    assert shared_with([sketch(recording)], sketch(copy)) == ()
    assert np.isfinite(shared.apart_m)
