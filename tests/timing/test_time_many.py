"""Many recordings, one drive in memory at a time; reports say the same without their drive."""

from __future__ import annotations

import gc
import pickle
import weakref
from dataclasses import astuple, replace

import pytest
from drives import block_circuit, drive, track_of

from trackkit.errors import RecordingError, TrackkitError
from trackkit.recordings.write import write_recording
from trackkit.timing.lap_times import time_laps
from trackkit.timing.many import time_many
from trackkit.timing.sessions import Reference, Session, lap_difference, sector_differences

GATES = [("finish", "finish", 0.0), ("one", "sector", 347.0), ("two", "sector", 800.0)]

BEST_TIMES = (
    "best_lap_s",
    "theoretical_best_s",
    "theoretical_best_sigma_s",
    "continuous_best_s",
    "continuous_best_sigma_s",
    "median_s",
    "spread_s",
)


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


def session(seed, *, laps=3.2, doppler=True):
    outing = drive(block_circuit(), begin_m=1200.0, laps=laps, cruise=25.0)
    return outing.recording(10, doppler=doppler, noise=1.0, seed=seed, name=f"session {seed}")


@pytest.mark.slow
def test_each_report_is_that_of_the_recording_alone(block):
    recordings = [session(1), session(2, doppler=False), session(3)]

    many = list(time_many(block, recordings))

    for recording, report in zip(recordings, many, strict=True):
        alone = time_laps(block, recording)
        assert (report.name, report.start) == (alone.name, alone.start)
        assert report.laps == alone.laps
        assert report.crossings == alone.crossings
        for name in BEST_TIMES:
            assert getattr(report, name) == getattr(alone, name)


def test_laps_are_compared_without_the_drive_as_with_it(block):
    with_drive = time_laps(block, session(4))
    without = with_drive.without_drive()
    one, other = Session("a", "a", with_drive), Session("a", "a", without)

    for chosen in with_drive.counted:
        for lap in with_drive.laps:
            pairs = [
                (
                    lap_difference(whose, lap, Reference(whose, chosen)),
                    *sector_differences(whose, lap, Reference(whose, chosen)),
                )
                for whose in (one, other)
            ]
            for before, after in zip(*pairs, strict=True):
                assert (before is None) == (after is None)
                if before is not None:
                    assert astuple(after) == pytest.approx(astuple(before), rel=1e-6, abs=1e-9)


def test_a_drive_that_was_not_kept_is_not_there(block):
    (report,) = time_many(block, [session(1)])

    with pytest.raises(TrackkitError, match=r"^session 1: .* not kept.*time_laps"):
        _ = report.drive
    with pytest.raises(TrackkitError, match="not kept"):
        _ = report.recording
    assert report.without_drive() is report


def test_files_are_read_when_their_turn_comes(block, tmp_path):
    path = tmp_path / "first.csv"
    write_recording(session(1), path)
    told = []

    reports = time_many(block, [path, tmp_path / "missing.nmea"], lambda *far: told.append(far))

    assert len(next(reports).counted) == 3
    assert told == [(1, 2)]
    with pytest.raises(RecordingError, match="no such file"):
        next(reports)


def test_how_many_there_are_is_unknown_of_a_generator(block):
    told = []

    reports = list(time_many(block, (session(n) for n in (1, 2)), lambda *far: told.append(far)))

    assert [report.name for report in reports] == ["session 1", "session 2"]
    assert told == [(1, None), (2, None)]


@pytest.mark.slow
def test_no_drive_is_held_once_the_next_recording_is_timed(block):
    # A drive holds its recording, so that one that is gone shows that the other is.
    held = []

    def recordings():
        for seed in range(3):
            recording = session(seed)
            held.append(weakref.ref(recording))
            yield recording
            del recording

    for count, _ in enumerate(time_many(block, recordings()), start=1):
        gc.collect()
        assert [one() is not None for one in held] == [False] * (count - 1) + [True]


def test_what_stays_of_a_drive_depends_on_its_laps_and_not_on_its_fixes(block):
    outing = drive(block_circuit(), begin_m=1200.0, laps=3.2, cruise=25.0)
    alone = [
        time_laps(block, outing.recording(rate_hz, doppler=True, noise=1.0)) for rate_hz in (5, 25)
    ]

    # The track is one and the same in all reports.
    few, many = (len(pickle.dumps(replace(report.without_drive(), track=None))) for report in alone)

    assert many < 1.1 * few
    assert many < 0.03 * len(pickle.dumps(alone[1]))


def test_a_report_is_shown_in_few_words(block):
    report = time_laps(block, session(1))

    best = f"{report.best_lap_s:.3f}"
    assert repr(report) == f"LapReport('session 1', 5 laps, the best of {best} s)"
