"""What a suggestion says that times of its sectors will be worth."""

import numpy as np
import pytest
from checkout import TRACKS
from drives import block_circuit, hill_course, track_of

from trackkit.gates.quality import timing_quality
from trackkit.gates.split import apply_suggestions, suggest_gates
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing import lap_times
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track


@pytest.fixture
def timed_alone(monkeypatch):
    """Predictions are for a drive alone; laps timed together are known better (docs/timing.md)."""
    monkeypatch.setattr(lap_times, "corrected", lambda track, drive, *_: drive)


def test_sectors_run_from_gate_to_gate_and_their_times_make_the_lap():
    track = track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)

    split = suggest_gates(track, 3)

    gates = [suggestion.chainage_m for suggestion in split.suggestions]
    assert [sector.number for sector in split.sectors] == [1, 2, 3]
    assert [sector.begin_m for sector in split.sectors] == pytest.approx([0.0, *gates])
    assert [sector.end_m for sector in split.sectors] == pytest.approx([*gates, track.length_m])
    quality = timing_quality(track)
    assert sum(sector.time_s for sector in split.sectors) == pytest.approx(quality.lap_s)
    rows = split.as_row()["sectors"]
    assert set(rows[0]) == {"number", "begin_m", "end_m", "time_s", "sigma_s"}
    assert all(row["sigma_s"] > 0.0 for row in rows)
    # To a millisecond.
    times = [sector.time_s for sector in split.sectors]
    assert [row["time_s"] for row in rows] == pytest.approx(times, abs=0.000_5 + 1e-9)


def test_one_sector_is_the_lap_and_an_open_course_goes_from_start_to_finish():
    lap = track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)
    (whole,) = suggest_gates(lap, 1).sectors
    assert (whole.begin_m, whole.end_m) == (0.0, pytest.approx(lap.length_m, abs=0.05))
    hill = track_of(
        hill_course(), gates=[("start", "start", 20.0), ("finish", "finish", 1200.0)], spacing_m=2.0
    )
    first, second = suggest_gates(hill, 2).sectors
    assert first.begin_m == pytest.approx(20.0, abs=0.01)
    assert first.end_m == second.begin_m
    assert second.end_m == pytest.approx(1200.0, abs=0.05)


@pytest.mark.slow
def test_predictions_are_what_laps_then_says_of_each_sector(timed_alone):
    # Against true times, over many sessions: docs/gates.md.
    track = read_track(TRACKS / "pipwick-kart-circuit.geojson")
    recording = simulate_drive(track, laps=18, rate_hz=10, seed=41).recording

    for recordings in ([], [recording]):
        split = suggest_gates(track, 3, recordings=recordings)
        placed, _ = apply_suggestions(track, split)
        laps = [lap for lap in time_laps(placed, recording).laps if lap.counts]
        assert len(laps) >= 16
        said = np.sqrt(np.mean([[s.sigma_s**2 for s in lap.sectors] for lap in laps], axis=0))
        predicted = np.array([sector.sigma_s for sector in split.sectors])
        assert np.all((predicted / said > 0.8) & (predicted / said < 1.25)), predicted / said


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1, 10])
def test_predictions_hold_against_true_times(timed_alone, rate_hz):
    # Short sessions, as an error lasts through one.  Long ones, more circuits: docs/gates.md.
    track = read_track(TRACKS / "pipwick-kart-circuit.geojson")
    split = suggest_gates(track, 3)
    placed, _ = apply_suggestions(track, split)
    begin = [sector.begin_m for sector in split.sectors]
    end = [sector.end_m for sector in split.sectors]
    excess = []
    for seed in range(60, 72):
        made = simulate_drive(placed, laps=3, rate_hz=rate_hz, seed=seed)
        true_s = {lap["number"]: lap["sectors_s"] for lap in made.truth["laps"]}
        laps = [lap for lap in time_laps(placed, made.recording).laps if lap.counts]
        assert len(laps) >= 2
        error_s = [
            [sector.time_s for sector in lap.sectors] - np.array(true_s[lap.number]) for lap in laps
        ]
        variance = timing_quality(placed, [made.recording]).sector_variance(begin, end)
        excess.append(np.mean(np.square(error_s) / variance))

    assert 0.8 < 1.0 / np.sqrt(np.mean(excess)) < 1.25
