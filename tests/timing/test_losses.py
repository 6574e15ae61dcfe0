"""Where a lap lost time, and the time difference at every metre: against drives that are known."""

from itertools import pairwise

import numpy as np
import pytest
from practice_tracks import LAP_GATES, LOOP_M, make_track

from trackkit.errors import TrackkitError
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.differences import time_difference
from trackkit.timing.lap_times import time_laps
from trackkit.timing.losses import lap_losses, sections_of, session_sections
from trackkit.track.derive import with_corners

SEEDS = range(40, 44)
LAPS = 3


@pytest.fixture(scope="module")
def loop():
    return with_corners(make_track(LOOP_M, gates=LAP_GATES))


@pytest.fixture(scope="module")
def timed(loop):
    """Simulated sessions at 10 Hz with Doppler, and their laps."""
    drives = [simulate_drive(loop, laps=LAPS, rate_hz=10.0, seed=seed) for seed in SEEDS]
    return [(drive, time_laps(loop, drive.recording)) for drive in drives]


def true_elapsed(drive, loop, lap, chainage_m):
    """Time since its true beginning at which a lap passed the lines square to the track."""
    crossings = [c["time_s"] for c in drive.truth["crossings"] if c["gate"] == loop.finish.id]
    begin, end = crossings[lap.number - 1], crossings[lap.number]
    fine = np.arange(begin - 0.5, end + 0.5, 0.02)
    # The chainage of the simulated drive itself is that of the line: refined on the path.
    run = drive.runs[0]
    way = run.chainage(fine)
    time = np.interp(chainage_m + loop.length_m * np.round(way[25] / loop.length_m), way, fine)
    middle, ahead = loop.curve.position(chainage_m), loop.curve.direction(chainage_m)
    for _ in range(4):
        short = np.einsum("ij,ij->i", middle - run.path(time), ahead)
        time = time + short / np.einsum("ij,ij->i", run.path(time, 1), ahead)
    return time - begin


def true_difference(loop, drive, lap, other_drive, other, chainage_m):
    own = true_elapsed(drive, loop, lap, chainage_m)
    return own - true_elapsed(other_drive, loop, other, chainage_m)


def flying(report):
    return [lap for lap in report.laps if lap.is_whole]


def test_sections_are_the_whole_lap_once(loop):
    sections = sections_of(loop)
    assert sections[0].begin_m == 0.0
    assert sections[-1].end_m == pytest.approx(loop.length_m)
    assert all(a.end_m == b.begin_m for a, b in pairwise(sections))
    # Seven corners; the one across the finish is cut there, its apex lying behind it.
    kinds = [section.kind for section in sections]
    assert kinds.count("straight") == 7
    assert kinds.count("corner exit") == 7
    assert kinds.count("corner entry") == 8


def test_sections_carry_the_names_of_the_track_file(loop):
    from dataclasses import replace

    first = replace(loop.corners[0], name="Heron")
    named = sections_of(replace(loop, corners=(first, *loop.corners[1:])))
    names = {section.name for section in named}
    assert {"Heron", "after Heron", f"corner {loop.corners[1].number}"} <= names


@pytest.mark.parametrize("same", [True, False])
def test_losses_add_up_to_the_difference_of_the_lap_times(loop, timed, same):
    (_, report), (_, second) = timed[:2]
    other_report = report if same else second
    lap, other = flying(report)[0], flying(other_report)[2]
    lost = lap_losses(loop, report, lap, other_report, other)
    assert len(lost) == len(sections_of(loop))
    assert sum(loss.time_s for loss in lost) == pytest.approx(lap.time_s - other.time_s, abs=1e-9)
    assert [loss.time_s for loss in lost] == sorted((x.time_s for x in lost), reverse=True)


def test_losses_without_noise_are_those_of_the_true_drive(loop):
    drive = simulate_drive(loop, laps=2, rate_hz=25.0, seed=9, noise=0.0)
    report = time_laps(loop, drive.recording)
    lap, other = flying(report)
    for loss in lap_losses(loop, report, lap, report, other):
        ends = np.array([loss.section.begin_m, loss.section.end_m])
        truth = true_difference(loop, drive, lap, drive, other, ends)
        if ends[0] > 0.0 and ends[1] < loop.length_m:
            assert loss.time_s == pytest.approx(truth[1] - truth[0], abs=5e-4)


def in_sigmas(loop, timed, pairs):
    """Errors over their sigmas of losses and of time differences, every 10 m."""
    losses, band = [], []
    for (drive, report), (other_drive, other_report), a, b in pairs:
        lap, other = flying(report)[a], flying(other_report)[b]
        difference = time_difference(loop, report, lap, other_report, other)
        some = slice(10, -10, 10)
        truth = true_difference(loop, drive, lap, other_drive, other, difference.chainage_m[some])
        band.append((difference.time_s[some] - truth) / difference.sigma_s[some])
        for loss in lap_losses(loop, report, lap, other_report, other):
            ends = np.array([loss.section.begin_m, loss.section.end_m])
            if ends[0] > 0.0 and ends[1] < loop.length_m:
                truth = true_difference(loop, drive, lap, other_drive, other, ends)
                losses.append((loss.time_s - truth[1] + truth[0]) / loss.sigma_s)
    return np.array(losses), np.concatenate(band)


@pytest.mark.slow
@pytest.mark.parametrize("same", [True, False])
def test_errors_are_as_large_as_their_sigmas(loop, timed, same):
    if same:
        pairs = [(session, session, 0, 1) for session in timed]
    else:
        pairs = [(timed[k], timed[k - 1], 0, 2) for k in range(len(timed))]
    losses, band = in_sigmas(loop, timed, pairs)
    # Those along one lap go together, so that few of them are independent.
    assert 0.6 < np.sqrt(np.mean(losses**2)) < 1.35
    assert 0.6 < np.sqrt(np.mean(band**2)) < 1.35
    assert np.mean(np.abs(losses) < 2.0) > 0.88
    assert np.mean(np.abs(band) < 2.0) > 0.88


@pytest.mark.slow
def test_of_one_recording_the_band_counts_that_errors_go_together(loop, timed):
    _, report = timed[0]
    lap, other = flying(report)[:2]
    together = lap_losses(loop, report, lap, report, other)
    apart = lap_losses(loop, report, lap, time_laps(loop, report.recording), other)
    assert [loss.time_s for loss in together] == pytest.approx([loss.time_s for loss in apart])
    # A wander that lasts makes the same section of both laps too long by the same time.
    assert np.mean([a.sigma_s**2 for a in together]) < 0.7 * np.mean([b.sigma_s**2 for b in apart])


def true_speeds(drive, loop, lap, sections):
    """Least and last speed of each section, and where its longest braking began."""
    crossings = [c["time_s"] for c in drive.truth["crossings"] if c["gate"] == loop.finish.id]
    chainage = np.arange(0.0, loop.length_m, 1.0)
    time = crossings[lap.number - 1] + true_elapsed(drive, loop, lap, chainage)
    velocity, gain = drive.runs[0].path(time, 1), drive.runs[0].path(time, 2)
    speed = np.hypot(*velocity.T)
    ahead = np.einsum("ij,ij->i", velocity, gain) / speed
    for section in sections:
        inside = np.flatnonzero((chainage >= section.begin_m) & (chainage <= section.end_m))
        edges = np.flatnonzero(np.diff((ahead[inside] < -1.5).astype(int), prepend=0, append=0))
        runs = edges.reshape(-1, 2)
        braking = None
        if len(runs):
            begun = inside[runs[np.argmax(runs[:, 1] - runs[:, 0])][0]]
            braking = chainage[begun] if begun > inside[0] else None
        yield speed[inside].min(), speed[inside[-1]], braking


@pytest.mark.slow
def test_speeds_and_braking_err_as_their_sigmas_say(loop, timed):
    speeds, places = [], []
    for drive, report in timed:
        for lap in flying(report):
            session = session_sections(loop, report)
            driven = session.laps[lap.session, lap.number].speeds
            truth = true_speeds(drive, loop, lap, session.sections)
            for own, (least, end, braking) in zip(driven, truth, strict=True):
                speeds += [
                    (own.least_mps - least) / own.least_sigma_mps,
                    (own.end_mps - end) / own.end_sigma_mps,
                ]
                if own.braking_sigma_m is not None and braking is not None:
                    # Truth is read every metre.
                    away = max(abs(own.braking_m - braking) - 1.0, 0.0)
                    places.append(away / own.braking_sigma_m)
    speeds = np.array(speeds)
    speeds = speeds[np.isfinite(speeds)]
    assert len(speeds) > 400
    assert 0.58 < np.mean(np.abs(speeds) < 1.0) < 0.82
    assert 0.90 < np.mean(np.abs(speeds) < 2.0) < 0.99
    assert len(places) > 20
    assert np.mean(np.array(places) < 2.0) > 0.92


def test_braking_that_goes_on_into_a_section_did_not_begin_there(loop, timed):
    _, report = timed[0]
    session = session_sections(loop, report)
    lap = flying(report)[0]
    driven = session.laps[lap.session, lap.number].speeds
    going_on = [
        own
        for section, own in zip(session.sections, driven, strict=True)
        if own.braking_m is not None and own.braking_m < section.begin_m + 1.0
    ]
    assert going_on
    assert all(own.braking_sigma_m is None for own in going_on)


def test_a_lap_loses_nothing_to_itself(loop, timed):
    _, report = timed[0]
    lap = flying(report)[0]
    difference = time_difference(loop, report, lap, report, lap)
    assert np.nanmax(np.abs(difference.time_s)) == 0.0
    assert np.nanmax(difference.sigma_s) == 0.0
    assert all(loss.time_s == 0.0 for loss in lap_losses(loop, report, lap, report, lap))


def test_a_report_without_its_drive_is_refused_in_a_sentence(loop, timed):
    _, report = timed[0]
    alone = report.without_drive()
    lap = flying(alone)[0]
    with pytest.raises(TrackkitError, match="drive"):
        lap_losses(loop, alone, lap, alone, lap)
