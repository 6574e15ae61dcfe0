"""Practice recordings: the truth that comes with them, and what a receiver makes of it."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest
from practice_tracks import LAP_GATES, LOOP_M, make_track
from pyproj import Geod
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from trackkit.errors import OutputError, TrackkitError
from trackkit.motion.noise import USUAL
from trackkit.simulation.drive import Run
from trackkit.simulation.simulate import (
    crossing_times,
    simulate_drive,
    truth_path,
    write_simulation,
)
from trackkit.track.features import Gate


def test_five_laps_are_an_out_lap_five_flying_laps_and_an_in_lap(kart_track):
    truth = simulate_drive(kart_track, laps=5).truth
    assert [lap["number"] for lap in truth["laps"]] == [1, 2, 3, 4, 5]
    assert [crossing["gate"] for crossing in truth["crossings"]] == (
        ["gate-1", "gate-2", "gate-0"] * 6 + ["gate-1", "gate-2"]
    )


def test_an_open_track_is_driven_once_a_lap_with_the_way_back_left_out(hill):
    simulation = simulate_drive(hill, laps=3, noise=0.0)
    recording = simulation.recording
    assert recording.segment.max() == 2
    assert [crossing["gate"] for crossing in simulation.truth["crossings"]] == (
        ["gate-0", "gate-1", "gate-2"] * 3
    )
    assert len(simulation.truth["laps"]) == 3
    breaks = np.flatnonzero(np.diff(recording.segment)) + 1
    assert np.diff(recording.time_s)[breaks - 1].min() > 60
    between = 0.5 * (recording.time_s[breaks] + recording.time_s[breaks - 1])
    assert np.isnan(simulation.position_m(between)).all()


def test_a_track_without_gates_can_be_driven_and_has_no_truth_to_tell():
    simulation = simulate_drive(make_track(LOOP_M), laps=1)
    assert simulation.truth == {"crossings": [], "laps": []}
    assert len(simulation.recording) > 1000


def test_a_track_astride_the_antimeridian_is_driven_without_a_jump():
    track = make_track(LOOP_M, gates=LAP_GATES, at=(180.0, -27.0))
    simulation = simulate_drive(track, laps=1, noise=0.0)
    assert len(simulation.truth["laps"]) == 1
    longitude = simulation.recording.longitude_deg
    assert longitude.min() < 180 < longitude.max()
    assert np.abs(np.diff(longitude)).max() < 1e-4


# Truth


def test_crossing_times_at_constant_speed_are_distance_over_speed():
    # Hand-worked: from x = 0 at 20 m/s, a gate square to the way at x = 123.4 m.
    time = np.arange(0, 10.05, 0.1)
    path = CubicSpline(time, np.column_stack([20.0 * time, np.zeros(len(time))]))
    run = Run(path, CubicSpline(time, 20.0 * time))
    square = np.array([[123.4, 5.0], [123.4, -5.0]])
    assert crossing_times(run, square) == pytest.approx([6.17], abs=1e-9)
    slanted = np.array([[123.4, 5.0], [133.4, -5.0]])
    assert crossing_times(run, slanted) == pytest.approx([6.42], abs=1e-9)


@pytest.mark.parametrize(
    "ends",
    [
        pytest.param([[123.4, -5.0], [123.4, 5.0]], id="from in front to behind"),
        pytest.param([[123.4, 5.0], [123.4, 0.5]], id="beside the right end"),
        pytest.param([[123.4, -0.5], [123.4, -5.0]], id="beside the left end"),
    ],
)
def test_only_a_crossing_from_behind_between_the_ends_counts(ends):
    time = np.arange(0, 10.05, 0.1)
    path = CubicSpline(time, np.column_stack([20.0 * time, np.zeros(len(time))]))
    assert crossing_times(Run(path, CubicSpline(time, 20.0 * time)), np.array(ends)) == []


def test_true_crossings_are_where_an_integration_of_the_velocity_meets_the_gate(exact, kart_track):
    # An event of an independent Runge-Kutta integration, not the root of the spline.
    expected = exact.truth["crossings"][3]
    left, right = kart_track.gate_ends(kart_track.gate(expected["gate"]))

    def ahead(_, position):
        across = right - left
        return -across[1] * (position[0] - left[0]) + across[0] * (position[1] - left[1])

    begin = expected["time_s"] - 2.0
    solved = solve_ivp(
        lambda t, _: exact.velocity_mps(t),
        (begin, begin + 4.0),
        exact.position_m(begin),
        events=ahead,
        rtol=1e-12,
        atol=1e-10,
        max_step=0.05,
    )
    assert solved.t_events[0] == pytest.approx([expected["time_s"]], abs=1e-7)


def test_truth_is_ready_for_json_and_its_sectors_add_up(exact):
    truth = json.loads(json.dumps(exact.truth))
    finishes = [c["time_s"] for c in truth["crossings"] if c["gate"] == "gate-0"]
    assert [lap["time_s"] for lap in truth["laps"]] == pytest.approx(np.diff(finishes), abs=1e-8)
    for lap in truth["laps"]:
        assert len(lap["sectors_s"]) == 3
        assert sum(lap["sectors_s"]) == pytest.approx(lap["time_s"], abs=1e-8)


def test_a_sector_gate_that_is_missed_leaves_its_sectors_unknown(kart_track):
    # Moved 40 m to the side, where nobody drives.
    finish, sector, other = kart_track.gates
    aside = kart_track.curve.position(400.0) + [[60.0], [40.0]] * kart_track.curve.left(400.0)
    lon, lat = kart_track.plane.to_geographic(aside)
    left, right = zip(lon.tolist(), lat.tolist(), strict=True)
    moved = Gate(sector.id, "sector", "Off", left, right, chainage_m=400.0)
    truth = simulate_drive(kart_track.with_gates([finish, moved, other]), laps=1).truth
    assert truth["laps"][0]["sectors_s"][:2] == [None, None]
    assert truth["laps"][0]["sectors_s"][2] > 0


# The recording


def test_without_noise_fixes_are_the_true_positions(exact, kart_track):
    recording = exact.recording
    true_lon, true_lat = kart_track.plane.to_geographic(exact.position_m(recording.time_s))
    _, _, away = Geod(ellps="WGS84").inv(
        true_lon, true_lat, recording.longitude_deg, recording.latitude_deg
    )
    assert np.max(away) < 1e-6


def test_without_noise_speed_and_course_are_those_of_the_geodesic_between_fixes(exact):
    # pyproj's Geod on positions 20 ms apart: the course is from true north, not the plane's.
    recording = exact.recording
    moving = np.flatnonzero(recording.speed_mps > 5)[::50]
    time = recording.time_s[moving]
    lon, lat = exact.plane.to_geographic(exact.position_m(np.stack([time - 0.01, time + 0.01])))
    azimuth, _, distance = Geod(ellps="WGS84").inv(lon[0], lat[0], lon[1], lat[1])
    turned = (recording.course_deg[moving] - azimuth + 180) % 360 - 180
    assert np.abs(turned).max() < 0.01
    assert recording.speed_mps[moving] == pytest.approx(distance / 0.02, abs=0.01)


def test_the_course_is_from_true_north_even_far_from_the_planes_centre():
    # 20 km long at 65 degrees of latitude: the plane's north is 0.2 degrees off at its ends.
    x = np.linspace(0, 20_000, 60)
    track = make_track(np.column_stack([x, 300 * np.sin(x / 2000)]), closed=False, at=(0.0, 65.0))
    simulation = simulate_drive(track, laps=1, noise=0.0, rate_hz=1.0, line_variation_m=0.0)
    recording = simulation.recording
    moving = np.flatnonzero(recording.speed_mps > 5)
    time = recording.time_s[moving]
    lon, lat = simulation.plane.to_geographic(
        simulation.position_m(np.stack([time - 0.01, time + 0.01]))
    )
    azimuth, _, _ = Geod(ellps="WGS84").inv(lon[0], lat[0], lon[1], lat[1])
    turned = (recording.course_deg[moving] - azimuth + 180) % 360 - 180
    assert np.abs(turned).max() < 0.005


@pytest.mark.parametrize("rate_hz", [1.0, 3.0, 10.0, 25.0])
def test_fixes_come_at_the_rate_asked_for_on_whole_milliseconds(kart_track, rate_hz):
    time = simulate_drive(kart_track, laps=1, rate_hz=rate_hz).recording.time_s
    assert time[0] == 0.0
    assert np.diff(time) == pytest.approx(np.full(len(time) - 1, 1 / rate_hz), abs=1.01e-3)
    assert time * 1000 == pytest.approx(np.round(time * 1000), abs=1e-6)


def test_the_same_seed_gives_the_same_recording_and_another_another(kart_track):
    first, again, other = (simulate_drive(kart_track, laps=1, seed=seed) for seed in (7, 7, 8))
    assert np.array_equal(first.recording.longitude_deg, again.recording.longitude_deg)
    assert first.truth == again.truth
    assert first.truth != other.truth


def test_rate_and_noise_do_not_change_the_drive(kart_track):
    usual = simulate_drive(kart_track, laps=1, seed=3)
    assert simulate_drive(kart_track, laps=1, seed=3, rate_hz=1.0, noise=0.0).truth == usual.truth


def test_a_receiver_without_doppler_tells_no_speed_and_no_course(kart_track):
    recording = simulate_drive(kart_track, laps=1, doppler=False).recording
    assert recording.speed_mps is None
    assert recording.course_deg is None


def test_a_recording_may_start_at_a_time_of_day_or_only_count_seconds(kart_track):
    start = datetime(2024, 7, 1, 23, 59, 50, tzinfo=UTC)
    assert simulate_drive(kart_track, laps=1, start=start).recording.start == start
    assert simulate_drive(kart_track, laps=1, start=None).recording.start is None


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        pytest.param({"laps": 0}, "laps", id="no laps"),
        pytest.param({"rate_hz": 0.0}, "fixes a second", id="no rate"),
        pytest.param({"rate_hz": float("nan")}, "fixes a second", id="rate not a number"),
        pytest.param({"noise": -1.0}, "negative", id="negative noise"),
    ],
)
def test_numbers_that_make_no_sense_are_refused_in_a_sentence(kart_track, wrong, sentence):
    with pytest.raises(TrackkitError, match=sentence):
        simulate_drive(kart_track, **wrong)


# Noise


def test_receiver_noise_has_the_stated_sizes(kart_track):
    position_error, velocity_error = [], []
    for seed in range(4):
        simulation = simulate_drive(kart_track, laps=2, seed=seed)
        recording = simulation.recording
        measured = kart_track.plane.to_plane(recording.longitude_deg, recording.latitude_deg)
        position_error.append(measured - simulation.position_m(recording.time_s))
        course = np.radians(recording.course_deg)
        velocity = recording.speed_mps[:, None] * np.column_stack([np.sin(course), np.cos(course)])
        velocity_error.append(velocity - simulation.velocity_mps(recording.time_s))
    velocity_errors = np.concatenate(velocity_error)
    count = velocity_errors.size
    assert velocity_errors.std() == pytest.approx(USUAL.doppler_mps, rel=4 / np.sqrt(2 * count))
    # From fix to fix the wander hardly moves: half the variance of the step is the white noise,
    # but for sigma² (1 - exp(-0.1 / 120)) = 0.0008 m² of the wander's.
    steps = np.concatenate([np.diff(error, axis=0) for error in position_error])
    expected = np.sqrt(USUAL.white_m**2 + 1.0**2 * (1 - np.exp(-0.1 / 120)))
    assert steps.std() / np.sqrt(2) == pytest.approx(expected, rel=5 / np.sqrt(2 * steps.size))
    # Slow: over one recording the error stays on one side for a long time.
    assert max(np.abs(error.mean(axis=0)).max() for error in position_error) > 0.3


def test_noise_scales_as_a_whole(kart_track):
    exact, usual, double = (
        simulate_drive(kart_track, laps=1, seed=5, noise=noise).recording
        for noise in (0.0, 1.0, 2.0)
    )
    once = usual.latitude_deg - exact.latitude_deg
    twice = double.latitude_deg - exact.latitude_deg
    assert twice == pytest.approx(2 * once, abs=1e-10)


# Files


@pytest.fixture(scope="module")
def simulation(kart_track):
    return simulate_drive(kart_track, laps=1)


def test_a_practice_recording_has_its_truth_beside_it(tmp_path, simulation):
    path = tmp_path / "session.nmea"
    assert write_simulation(simulation, path) == tmp_path / "session.nmea.truth.json"
    assert json.loads(truth_path(path).read_text("utf-8")) == simulation.truth


@pytest.mark.parametrize("standing", ["session.gpx", "session.gpx.truth.json"])
def test_recording_and_truth_are_both_written_or_neither(tmp_path, simulation, standing):
    (tmp_path / standing).write_text("precious")
    with pytest.raises(OutputError, match="exists already"):
        write_simulation(simulation, tmp_path / "session.gpx")
    assert [p.name for p in tmp_path.iterdir()] == [standing]
    assert (tmp_path / standing).read_text() == "precious"


# Channels


def test_channels_leave_the_drive_and_the_noise_as_they_are(kart_track):
    bare = simulate_drive(kart_track, laps=1, seed=3)
    beside = simulate_drive(kart_track, laps=1, seed=3, channels=True)

    np.testing.assert_array_equal(bare.recording.longitude_deg, beside.recording.longitude_deg)
    np.testing.assert_array_equal(bare.recording.speed_mps, beside.recording.speed_mps)
    assert bare.recording.channels == ()
    assert [channel.title for channel in beside.recording.channels] == [
        "engine speed [rpm]",
        "gear",
        "brake [bar]",
        "water temp [°C]",
    ]


def test_the_engine_turns_as_speed_and_gear_ask(kart_track):
    simulation = simulate_drive(kart_track, laps=1, channels=True)
    engine, gear, *_ = simulation.recording.channels
    speed = np.linalg.norm(simulation.velocity_mps(engine.time_s), axis=-1)

    # Engine speed over vehicle speed is the ratio of the gear, whatever the speed.
    moving = engine.value > 2_001
    ratio = engine.value[moving] / speed[moving]
    for number in np.unique(gear.value[moving]):
        of_gear = ratio[gear.value[moving] == number]
        np.testing.assert_allclose(of_gear, of_gear.mean(), rtol=0.001)
        assert of_gear.mean() * number == pytest.approx(
            ratio.mean() * gear.value[moving].mean(), rel=0.2
        )
