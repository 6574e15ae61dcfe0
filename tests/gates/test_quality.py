"""What crossings are worth along the lap: plane geometry by hand, closed forms, and simulation."""

from dataclasses import replace

import numpy as np
import pytest
from drives import (
    Road,
    arc,
    block_circuit,
    corner_speed,
    drive,
    hill_course,
    stadium,
    straight,
    track_of,
)
from recorded_rounds import Plan, recorded

from trackkit.building.build import build_track
from trackkit.errors import NoLapError
from trackkit.gates.driven import ASSUMED_LINE_M
from trackkit.gates.quality import _accumulated, driven_quality, timing_quality
from trackkit.motion.noise import Levels
from trackkit.motion.position_error import Receiver
from trackkit.motion.smooth import smooth
from trackkit.motion.vehicle import KART
from trackkit.timing.crossings import cross
from trackkit.timing.lap_times import time_laps


@pytest.fixture(scope="module")
def oval():
    """The 400 m standard track of athletics (World Athletics; from memory)."""
    return track_of(stadium(), gates=[("finish", "finish", 42.0)], spacing_m=2.0)


@pytest.fixture(scope="module")
def block():
    gates = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
    return track_of(block_circuit(), gates=gates, spacing_m=2.0)


# Speeds


def test_assumed_speeds_obey_school_mechanics():
    road = Road((straight(600), arc(30, 180), straight(600), arc(30, 180)), start=(-300.0, -30.0))
    quality = timing_quality(track_of(road, gates=[("finish", "finish", 0.0)], spacing_m=2.0))

    bend = np.sqrt(KART.lateral_mps2 * 30.0)
    assert quality.at(quality.speed_mps, 647.0) == pytest.approx(bend, rel=0.02)
    out = 694.25 + np.array([10.0, 20.0, 30.0])
    gained = np.sqrt(bend**2 + 2 * KART.accelerating_mps2 * (out - 694.25))
    assert quality.at(quality.speed_mps, out) == pytest.approx(gained, rel=0.05)
    assert quality.at(quality.speed_mps, 400.0) == pytest.approx(KART.top_mps)


def test_braking_is_where_a_car_slows_down_for_a_bend(block):
    quality = timing_quality(block)

    # Bends of 30 m radius begin at 200 and 447 m.
    assert quality.at(quality.braking.astype(float), 190.0) == 1
    assert quality.at(quality.braking.astype(float), 100.0) == 0
    assert quality.at(quality.braking.astype(float), 260.0) == 0


def test_the_time_of_a_lap_is_length_over_speed_summed():
    circle = Road((arc(100, 360),))
    quality = timing_quality(track_of(circle, gates=[("finish", "finish", 0.0)], spacing_m=2.0))

    assert quality.lap_s == pytest.approx(2 * np.pi * 100 / KART.top_mps, rel=0.01)
    assert quality.passed_s(1.5 * circle.length_m) == pytest.approx(1.5 * quality.lap_s, rel=1e-3)


def test_an_open_course_starts_from_rest():
    gates = [("start", "start", 20.0), ("finish", "finish", 1200.0)]
    quality = timing_quality(track_of(hill_course(), gates=gates, spacing_m=2.0))

    assert quality.speed_mps[0] < 3.0
    assert len(quality.elapsed_s) == len(quality.chainage_m)


def test_recorded_speeds_are_those_driven(block):
    road = block_circuit()
    outing = drive(road, begin_m=1200.0, laps=3.4, cruise=corner_speed(road, 25.0, 6.0))
    recording = outing.recording(10, doppler=True, noise=1.0, seed=3)
    quality = timing_quality(block, [recording])

    assert quality.recorded
    assert quality.at(quality.speed_mps, 224.0) == pytest.approx(np.sqrt(6.0 * 30.0), rel=0.05)
    assert quality.at(quality.speed_mps, 694.0) == pytest.approx(25.0, rel=0.02)


def test_recordings_of_another_place_are_refused(block, oval):
    outing = drive(stadium(), begin_m=20.0, laps=2.2)
    with pytest.raises(NoLapError, match="cover"):
        timing_quality(block, [outing.recording(10, doppler=True, noise=1.0, seed=3)])


# Sigmas


def test_a_crossing_is_as_uncertain_as_the_position_over_the_speed(block):
    quality = timing_quality(block)

    assert quality.at(quality.line_sigma_s, 694.0) == pytest.approx(0.0, abs=1e-6)
    assert quality.at(quality.sigma_s, 694.0) == pytest.approx(
        quality.error.sigma_m / float(quality.at(quality.speed_mps, 694.0)), rel=1e-6
    )


def test_a_line_to_the_side_shifts_the_moment_by_the_angle_turned(oval):
    """Parallel curves: a path y metres outside a half circle is longer by y pi."""
    quality = timing_quality(oval)

    apex = 84.39 + 0.5 * np.pi * 36.80
    speed = float(quality.at(quality.speed_mps, apex))
    expected = ASSUMED_LINE_M * (np.pi / 2) / speed
    assert quality.at(quality.line_sigma_s, apex) == pytest.approx(expected, rel=0.05)


def test_the_wander_adds_up_between_gates_passed_in_opposite_directions(oval):
    """On an oval: var = 2 C(0) + 2 C(lag) over v^2 across, 2 C(0) - 2 C(lap) for a whole lap."""
    quality = timing_quality(oval)
    half, v = 0.5 * 400.0, float(quality.at(quality.speed_mps, 42.0))

    lag = 0.5 * quality.lap_s
    across = (2 * quality.error.covariance(0.0) + 2 * quality.error.covariance(lag)) / v**2
    assert quality.sector_variance(42.0, 42.0 + half) == pytest.approx(across, rel=0.02)
    lap = (2 * quality.error.covariance(0.0) - 2 * quality.error.covariance(2 * lag)) / v**2
    length = quality.curve.length_m
    assert quality.sector_variance(42.0, 42.0 + length) == pytest.approx(lap, rel=0.02)
    assert quality.lap_sigma_s(42.0) == pytest.approx(np.sqrt(lap), rel=0.02)


def test_without_recordings_the_session_assumed_is_told_and_counts(block):
    """The longer a session, the better its places are known: Doppler ties its fixes together."""
    usual = timing_quality(block)
    long = timing_quality(block, receiver=Receiver(session_s=2560.0))

    assert "in a session of 15 min" in usual.basis
    assert "in a session of 43 min" in long.basis
    assert long.sector_variance(0.0, 600.0) < 0.85 * usual.sector_variance(0.0, 600.0)


@pytest.mark.slow
def test_predicted_sigmas_are_those_of_simulated_crossings(block):
    """Against truth of an independent generator; 15 % is what `bench_gates.py` holds it to."""
    road = block_circuit()
    errors, laps, predicted, predicted_laps = [], [], [], []
    gate = block.finish
    outing = drive(road, begin_m=1300.0, laps=8.3, cruise=corner_speed(road, 25.0, 6.0))
    truth = np.array([outing.time_at(n * road.length_m - 1300.0) for n in range(1, 10)])
    for seed in range(30):
        recording = outing.recording(10, doppler=True, noise=1.0, seed=seed)
        driven = smooth(recording, block.plane)
        found = np.array([c.time_s for c in cross(gate, driven)])
        late = found - truth[: len(found)]
        quality = driven_quality(block, [driven])
        errors.append(late)
        laps.append(np.diff(late))
        predicted.append(float(quality.at(quality.receiver_sigma_s, 0.0)))
        predicted_laps.append(float(quality.lap_sigma_s(0.0)))

    def rms(values):
        return float(np.sqrt(np.mean(np.square(values))))

    # 30 sessions hold about 30 independent errors of place: 13 % one sigma.
    assert rms(predicted) == pytest.approx(rms(errors), rel=0.4)
    assert rms(predicted_laps) == pytest.approx(rms(laps), rel=0.2)


def kart_session(laps):
    """Laps of one repeated line with deviations of 0.4 m, made by code of its own."""
    plan = Plan(
        "kart",
        seed=5,
        laps=laps,
        length_m=900.0,
        corner_m=9.0,
        fastest_mps=25.0,
        sideways_mps2=13.0,
        rate_hz=5,
        doppler_mps=None,
    )
    return recorded(plan).recording


@pytest.mark.slow
@pytest.mark.parametrize("laps", [4, 10])
def test_a_lap_of_a_session_is_predicted_to_be_worth_what_laps_claims(laps):
    recording = kart_session(laps)
    track = build_track([recording], "X").track
    report = time_laps(track, recording)
    quality = timing_quality(track, [recording])
    claimed = np.sqrt(np.mean([lap.sigma_s**2 for lap in report.laps if lap.is_whole]))
    predicted = quality.session_lap_sigma_s(track.finish.chainage_m)

    assert quality.session_laps == pytest.approx(len(report.counted), abs=1)
    assert predicted == pytest.approx(claimed, rel=0.3)
    assert predicted < 0.75 * quality.lap_sigma_s(track.finish.chainage_m)


def test_of_laps_that_are_not_timed_together_nothing_is_predicted(block):
    """An open course, a session of one lap, and speeds without a course."""
    recording = drive(block_circuit(), begin_m=1300.0, laps=3.3, cruise=22.0).recording(
        5, doppler=True
    )
    cases = [
        timing_quality(track_of(hill_course(), gates=(), spacing_m=2.0)),
        timing_quality(block, receiver=Receiver(session_s=60.0)),
        timing_quality(block, [replace(recording, course_deg=None)]),
    ]
    for quality in cases:
        assert quality.session_laps == 0
        assert quality.session_lap_sigma_s(0.0) is None
    assert timing_quality(block, [recording]).session_laps > 0


def test_how_speed_grows_is_what_the_vehicle_gains_and_brakes_with():
    road = Road((straight(300), arc(10, 180), straight(300), arc(10, 180)))
    quality = timing_quality(track_of(road, gates=[("finish", "finish", 0.0)], spacing_m=2.0))

    # Gaining on leaving a bend, at an even speed in the middle, braking for the next one.
    # The next bend begins at 631.4 m; from 27 m/s to its 11.8 m/s takes 37 m.
    found = quality.at(quality.acceleration_mps2, [331.4 + 40.0, 331.4 + 200.0, 631.4 - 20.0])
    assert found == pytest.approx([KART.accelerating_mps2, 0.0, -KART.braking_mps2], abs=0.05)


def test_time_goes_on_growing_from_lap_to_lap(block):
    quality = timing_quality(block)
    length = block.curve.length_m

    passed = quality.passed_s(np.array([-0.25, 0.0, 0.25, 1.0, 1.25, 2.0]) * length)

    quarter = passed[2]
    assert passed[[1, 3, 5]] == pytest.approx([0.0, quality.lap_s, 2.0 * quality.lap_s])
    assert passed[4] == pytest.approx(quality.lap_s + quarter)
    assert passed[0] == pytest.approx(float(quality.passed_s(0.75 * length)) - quality.lap_s)


def test_what_a_gate_is_worth_is_read_at_its_place(block):
    quality = timing_quality(block)
    gate = block.gate("gate-a")

    worth = quality.of_gate(gate)

    assert worth["speed_mps"] == pytest.approx(quality.at(quality.speed_mps, 347.0), abs=1e-5)
    assert worth["sigma_s"] == pytest.approx(
        np.hypot(worth["receiver_sigma_s"], worth["line_sigma_s"]), abs=2e-6
    )
    assert worth["lap_sigma_s"] == pytest.approx(quality.lap_sigma_s(347.0), abs=1e-6)
    assert worth["session_lap_sigma_s"] == pytest.approx(
        quality.session_lap_sigma_s(347.0), abs=1e-6
    )
    assert quality.of_gate(replace(gate, kind="pit-exit")) is None
    short = timing_quality(block, receiver=Receiver(session_s=60.0)).of_gate(gate)
    assert set(worth) - set(short) == {"session_lap_sigma_s"}


def test_a_lap_is_uncertain_by_what_the_wander_changes_in_its_time(block):
    quality = timing_quality(block)
    error, speed = quality.error, float(quality.at(quality.speed_mps, 694.0))

    # Twice the variance less twice the covariance a lap apart, over the speed.
    spread = 2.0 * (error.covariance(0.0) - error.covariance(quality.lap_s))
    assert quality.lap_sigma_s(694.0) == pytest.approx(np.sqrt(spread) / speed)
    # The same from the two crossings of a sector that is a whole lap; the line left out.
    whole = quality.sector_variance(694.0, 694.0 + block.curve.length_m)
    assert quality.lap_sigma_s(694.0) ** 2 == pytest.approx(whole, rel=1e-3)


def test_what_is_turned_counts_from_the_last_straight_or_the_last_bend_of_the_other_hand():
    turn = np.array([0.1, 0.1, 0.2, 0.3, 0.1, 0.1, 0.4])
    side = np.array([0.0, 1.0, 1.0, -1.0, 0.0, -1.0, -1.0])

    assert _accumulated(turn, side) == pytest.approx([0.0, 0.1, 0.3, 0.3, 0.0, 0.1, 0.5])


@pytest.mark.parametrize(
    ("receiver", "words"),
    [
        (
            Receiver(),
            (
                "the usual receiver (10 Hz with Doppler velocities, wander 1.0 m and noise 0.15 m, "
                "one sigma) in a session of 15 min"
            ),
        ),
        (
            Receiver(Levels(wander_m=2.5, white_m=0.5), 0.2, False, 3600.0),
            (
                "a receiver (5 Hz with positions alone, wander 2.5 m and noise 0.50 m, one sigma) "
                "in a session of 60 min"
            ),
        ),
    ],
    ids=["usual", "another"],
)
def test_what_is_assumed_of_a_receiver_is_told(block, receiver, words):
    assert timing_quality(block, receiver=receiver).basis.endswith(words)
