"""The gates of the sample circuits in tracks/, and the times of practice drives over them."""

from __future__ import annotations

import numpy as np
import pytest
from sample_circuits import (
    ATOLL,
    CLOSED,
    FOLDER,
    driven,
    every_track,
    track_of,
)

from trackkit.checks.check import check_file
from trackkit.gates.placement import with_gate_moved
from trackkit.simulation.simulate import Simulation
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.derive import with_corners
from trackkit.track.places import Place


@pytest.mark.slow
@every_track
def test_a_check_finds_nothing(name: str) -> None:
    track, findings = check_file(FOLDER / f"{name}.geojson")
    assert track is not None
    assert findings == []


@pytest.mark.slow
@every_track
def test_the_gates_make_three_sectors_about_equal_in_time(name: str) -> None:
    simulation, _ = driven(name, 0.0)
    sectors = np.array(simulation.truth["laps"][0]["sectors_s"])
    assert len(sectors) == 3
    assert sectors.max() < 1.25 * sectors.min()


@pytest.mark.parametrize("name", CLOSED)
def test_the_finish_gate_is_on_a_straight_with_room_around(name: str) -> None:
    track = track_of(name)
    for corner in track.corners:
        assert min(track.curve.separation([corner.entry_m, corner.exit_m], 0.0)) > 40
    assert track.finish.width_m == pytest.approx(track.band_m + 8.0, abs=0.01)


@every_track
def test_exact_recordings_are_timed_to_2_ms(name: str) -> None:
    """10 Hz, no noise.  Measured: the worst lap or sector of all circuits errs by 0.3 ms."""
    simulation, report = driven(name, 0.0)
    assert _errors_s(simulation, report).max() < 0.002


@pytest.mark.slow
@pytest.mark.parametrize("name", CLOSED)
def test_laps_recorded_by_a_usual_receiver_are_timed_to_20_ms(name: str) -> None:
    """10 Hz with Doppler and the usual noise (docs/methods.md); measured: 2 to 5 ms rms.

    Both ends of a lap are crossed at one gate, one way, so that the receiver's wander, which
    hardly changes in a lap, shifts them alike.
    """
    simulation, report = driven(name, 1.0)
    assert _errors_s(simulation, report)[:, 0].max() < 0.020


@every_track
def test_sectors_recorded_by_a_usual_receiver_are_timed_within_its_wander(name: str) -> None:
    """Four sigma of 1 m of wander at either gate, which are crossed in different directions.

    Measured: 6 to 82 ms rms; 1 m at the 15 m/s of a slow gate takes 67 ms.
    """
    simulation, report = driven(name, 1.0)
    errors = _errors_s(simulation, report)[:, 1:]
    times = {crossing.time_s: crossing.speed_mps for crossing in report.crossings}
    for lap, error in zip(report.counted, errors, strict=True):
        marks = [lap.start_s, *(lap.start_s + sector.split_s for sector in lap.sectors)]
        speed = np.array([times[min(times, key=lambda t, m=mark: abs(t - m))] for mark in marks])
        assert np.all(error < 4 * np.hypot(1 / speed[:-1], 1 / speed[1:]))


def _errors_s(simulation: Simulation, report: LapReport) -> np.ndarray:
    timed = [(lap.time_s, *(sector.time_s for sector in lap.sectors)) for lap in report.counted]
    truth = [(lap["time_s"], *lap["sectors_s"]) for lap in simulation.truth["laps"]]
    assert len(timed) == len(truth) == 2
    return np.abs(np.array(timed) - np.array(truth))


def test_a_kart_takes_about_50_s_round_the_kart_circuit() -> None:
    """Common practice, no source."""
    track = track_of("pipwick-kart-circuit")
    simulation, _ = driven(track.id, 0.0)
    assert 900 < track.length_m < 1100
    assert 47 < simulation.truth["laps"][0]["time_s"] < 53


def test_laps_driven_the_other_way_do_not_count() -> None:
    simulation, _ = driven(ATOLL[0], 0.0)
    assert time_laps(track_of(ATOLL[1]), simulation.recording).counted == ()


def test_moving_the_finish_astride_the_antimeridian_moves_nothing_else() -> None:
    track = track_of(ATOLL[0])
    moved, _, _ = with_gate_moved(track, "finish", Place(chainage_m=60.0))
    assert moved.length_m == pytest.approx(track.length_m, abs=0.01)
    assert np.ptp(moved.centreline.longitude_deg) < 0.1
    kept, before = moved.gates_of_kind("sector"), track.gates_of_kind("sector")
    assert [gate.left for gate in kept] == [gate.left for gate in before]


@every_track
def test_corners_found_again_are_the_same_corners(name: str) -> None:
    """The apex of an arc is in its middle, wherever rounding makes it look tightest."""
    track = track_of(name)
    again = with_corners(track)
    assert [c.id for c in again.corners] == [c.id for c in track.corners]
    apart = [abs(a.apex_m - b.apex_m) for a, b in zip(again.corners, track.corners, strict=True)]
    assert max(apart) < 3.0
    assert any(corner.name for corner in again.corners)
