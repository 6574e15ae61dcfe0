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


@pytest.mark.parametrize("suffix", ["nmea", "gpx", "csv"])
def test_a_copy_in_another_format_is_told_and_counts_nothing(track, recording, tmp_path, suffix):
    path = tmp_path / f"copy.{suffix}"
    write_recording(recording, path)
    copy = read_recording(path).renamed("copy")

    first, second = time_many(track, [recording, copy])

    (shared,) = second.shared
    assert (shared.kind, shared.whole) == ("same", True)
    assert shared.sentence == "copy holds the fixes of day.csv again, and is counted once"
    assert len(first.counted) == 4
    assert second.counted == ()
    assert {remark.text for lap in second.laps for remark in lap.remarks} == {"counted in day.csv"}


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
