"""The official line found from official times, on drives whose truth is known."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from trackkit.aligning import align_lap_times, align_passing_times, passings
from trackkit.cli import run
from trackkit.errors import TrackkitError
from trackkit.recordingfiles import write_recording
from trackkit.simulate import simulate
from trackkit.timing import time_laps
from trackkit.trackfile import read_track

KART = Path(__file__).parent.parent / "tracks" / "pipwick-kart-circuit.geojson"
AHEAD_M = 12.0


def session(noise, laps=31, seed=300):
    """A session, and when its laps truly passed a line some metres ahead of the finish gate."""
    track = read_track(KART)
    made = simulate(track, laps=laps, rate_hz=10, seed=seed, noise=noise)
    report = time_laps(track, made.recording)
    spans = [(lap.start_s, lap.start_s + lap.time_s) for lap in report.laps if lap.counts]
    fine = np.arange(made.runs[0].start_s, made.runs[0].end_s, 0.01)
    gone = made.runs[0].chainage(fine)
    length = track.curve.length_m

    def passed(moment):
        at = length * round(float(np.interp(moment, fine, gone)) / length) + AHEAD_M
        return float(np.interp(at, gone, fine))

    times = np.array([[passed(a), passed(b)] for a, b in spans])
    return track, made.recording, passings(track, report.drive, spans), times


@pytest.fixture(scope="module")
def usual():
    return session(noise=1.0)


@pytest.fixture(scope="module")
def quiet():
    return session(noise=0.02)


def test_without_noise_lap_times_alone_find_the_line(quiet):
    _, _, found, times = quiet
    aligned = align_lap_times(found, times[:, 1] - times[:, 0])

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=0.7)
    assert aligned.told


def test_lap_times_alone_find_the_line_within_what_they_say(usual):
    _, _, found, times = usual
    aligned = align_lap_times(found, np.round(times[:, 1] - times[:, 0], 3), rounding_s=0.001)

    assert abs(aligned.ahead_m - AHEAD_M) < 4 * aligned.sigma_m
    assert 0.3 < aligned.sigma_m < 3.0


def test_passing_times_on_the_receivers_clock_tell_far_more(usual):
    _, _, found, times = usual
    aligned = align_passing_times(found, times[:, 0])

    assert aligned.ahead_m == pytest.approx(AHEAD_M, abs=1.5)
    lap_times = align_lap_times(found, times[:, 1] - times[:, 0])
    assert aligned.sigma_m < 0.6 * lap_times.sigma_m


def test_an_antenna_ahead_of_the_transponder_shifts_the_line_back(quiet):
    _, _, found, times = quiet
    beside = align_passing_times(found, times[:, 0])
    ahead = align_passing_times(found, times[:, 0], antenna_ahead_m=1.2)

    assert ahead.ahead_m == pytest.approx(beside.ahead_m - 1.2)


def test_laps_that_are_all_alike_cannot_tell(usual):
    """Times to a tenth of a second bury what differs between laps."""
    _, _, found, times = usual
    rough = np.round((times[:, 1] - times[:, 0])[:6] * 2) / 2
    part = type(found)(
        found.place_m, found.begin_s[:6], found.end_s[:6], found.speed_mps, found.error
    )
    aligned = align_lap_times(part, rough, rounding_s=0.5)

    assert not aligned.told
    assert aligned.laps_needed > 6


def test_too_few_laps_are_refused(usual):
    _, _, found, times = usual
    part = type(found)(
        found.place_m, found.begin_s[:3], found.end_s[:3], found.speed_mps, found.error
    )
    with pytest.raises(TrackkitError, match="too few"):
        align_lap_times(part, (times[:, 1] - times[:, 0])[:3])


def test_the_command_says_where_and_moves_the_gate_only_when_told(usual, tmp_path, capsys):
    _, recording, _, times = usual
    track, drive = tmp_path / "t.geojson", tmp_path / "r.csv"
    shutil.copy(KART, track)
    write_recording(recording, drive)
    listed = "\n".join(f"{n},{b - a:.3f}" for n, (a, b) in enumerate(times, start=1))
    (tmp_path / "official.csv").write_text("lap,time\n" + listed + "\n", "utf-8")
    command = ["gate", "align", str(track), str(drive), "--official",
               str(tmp_path / "official.csv"), "--antenna-ahead", "0"]  # fmt: skip
    before = track.read_bytes()

    assert run([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert abs(told["ahead_m"] - AHEAD_M) < 4 * told["sigma_m"]
    assert track.read_bytes() == before
    assert run([*command, "--apply"]) == 0
    assert track.read_bytes() != before
