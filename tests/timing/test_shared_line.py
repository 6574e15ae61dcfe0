"""All laps timed together, against truth and beside each drive by itself."""

from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, drive, hill_course, track_of

from trackkit.motion.smooth import smooth
from trackkit.timing import shared_line
from trackkit.timing.crossings import cross
from trackkit.timing.lap_times import time_laps
from trackkit.timing.lap_wander import levels_from_laps
from trackkit.timing.shared_line import corrected, line_of_laps, sideways


def outing(laps):
    return drive(block_circuit(), begin_m=1300.0, laps=laps, cruise=lambda s: 22.0 + s % 5.0)


def lap_errors(track, driven, recording):
    """Errors of lap times, of those of the drive by itself, and sigmas told, seconds."""
    report = time_laps(track, recording)
    true = np.diff(driven.passes(0.0))
    times = np.array([lap.time_s for lap in report.counted])
    told = np.array([lap.sigma_s for lap in report.counted])
    alone = smooth(recording, track.plane)
    spans = [(lap.start_s, lap.start_s + lap.time_s) for lap in report.counted]
    if not alone.wander_from_recording:
        alone = alone.with_levels(levels_from_laps(track, alone, spans))
    single = np.diff([crossing.time_s for crossing in cross(track.finish, alone)])
    return times - true, single - true, told


@pytest.mark.slow
@pytest.mark.parametrize("doppler", [False, True], ids=["positions", "speeds"])
def test_laps_together_are_timed_better_than_a_drive_by_itself(block, doppler):
    together, single, told = [], [], []
    driven = outing(12.3)
    for seed in range(3):
        recording = driven.recording(5, doppler=doppler, noise=1.0, seed=seed)
        errors = lap_errors(block, driven, recording)
        for column, values in zip((together, single, told), errors, strict=True):
            column += values.tolist()

    rms = float(np.sqrt(np.mean(np.square(together))))
    assert rms < 0.8 * float(np.sqrt(np.mean(np.square(single))))
    assert np.mean(np.abs(together) < 2.0 * np.array(told)) > 0.9


def test_a_drive_that_does_not_come_round_again_stays_as_it_is(block):
    drives = [
        (block, outing(1.3).recording(5, noise=1.0)),
        (track_of(hill_course(), gates=()), drive(hill_course()).recording(5, noise=1.0)),
    ]
    for track, recording in drives:
        alone = smooth(recording, track.plane)
        assert corrected(track, alone, 1) is alone


def test_a_fine_receiver_is_left_alone_where_nothing_tells_its_wander(block):
    recording = outing(4.3).recording(5, noise=0.0)
    alone = smooth(recording, block.plane)

    assert line_of_laps(block, alone, 3) is None
    assert line_of_laps(block, smooth(outing(4.3).recording(5, noise=1.0), block.plane), 3)


def test_speeds_without_a_course_are_left_alone(block):
    recording = replace(outing(4.3).recording(5, doppler=True, noise=1.0), course_deg=None)
    alone = smooth(recording, block.plane)

    assert alone.has_speed_alone
    assert line_of_laps(block, alone, 3) is None


def test_a_drive_far_from_the_track_is_not_laid_beside_it(block):
    elsewhere = drive(block_circuit(), laps=2.2).recording(5, at=(161.2, 47.2))

    assert sideways(block, smooth(elsewhere, block.plane)) is None


def test_a_corrected_drive_makes_the_same_measurements(block):
    alone = smooth(outing(5.3).recording(5, noise=1.0, seed=2), block.plane)
    together = corrected(block, alone, 5)

    assert together.line is not None
    np.testing.assert_allclose(
        together.position_m + together.wander_m, alone.position_m + alone.wander_m, atol=1e-9
    )
    at = np.linspace(60.0, 200.0, 300)
    before, after = (together.at(at + step)[0] for step in (-1e-3, 1e-3))
    np.testing.assert_allclose(together.at(at)[1], (after - before) / 2e-3, atol=0.05)


@pytest.mark.slow
def test_a_line_that_is_moved_moves_what_the_laps_say(block):
    driven = outing(8.3)
    recording = driven.recording(5, noise=1.0, seed=5)
    sure, unsure = (
        time_laps(replace(block, accuracy_m=sigma), recording).drive.line for sigma in (0.02, 5.0)
    )

    assert sure.levels.shift_m == 0.02
    # A line that is known ties the drive to the ground; one that is not leaves its place open.
    assert np.median(sure.sigma_m) < 0.7 * np.median(unsure.sigma_m)


def test_a_line_far_beside_the_track_says_nothing_of_where_laps_are_on_the_ground(
    block, monkeypatch
):
    recording = outing(6.3).recording(5, doppler=True, noise=1.0, seed=6)
    alone = smooth(recording, block.plane)
    sure = replace(block, accuracy_m=0.02)
    near = line_of_laps(sure, alone, 6)
    monkeypatch.setattr(shared_line, "_FARTHEST_LINE_M", 0.5 * near.levels.repeated_m)
    far = line_of_laps(sure, alone, 6)

    assert near.levels.shift_m == 0.02
    assert far.levels.shift_m == near.levels.repeated_m
    assert np.median(far.sigma_m) > np.median(near.sigma_m)


def test_where_a_line_could_not_follow_its_track_laps_say_nothing(block, monkeypatch):
    alone = smooth(outing(3.3).recording(5, noise=1.0, seed=6), block.plane)
    assert np.isfinite(line_of_laps(block, alone, 3).side.sigma_m).mean() > 0.98

    monkeypatch.setattr(shared_line, "_MOST_KNOTS", 20)
    monkeypatch.setattr(shared_line, "_USUAL_KNOTS", 20)
    side = line_of_laps(block, alone, 3).side
    tight = np.abs(block.curve.curvature(side.chainage_m)) * block.length_m / 20 > 0.9

    assert 0.0 < tight.mean() < 0.9
    assert np.isinf(side.sigma_m[tight]).all()
