"""The smoothed drive follows truth where the model says it should."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pykalman import KalmanFilter
from pyproj import Geod

from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.drive import smooth
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.quintic import quintic
from trackkit.motion.smoother import _Model, solve
from trackkit.motion.variance import remainders_after, sum_variance
from trackkit.recordings.recording import Recording

PLANE = LocalPlane(11.0, 47.0)
GEOD = Geod(ellps="WGS84")
# DESIGN section 6, one sigma per axis; the wander is a first-order Gauss-Markov process.
WANDER_M, WANDER_TIME_S, WHITE_M, DOPPLER_MPS = 1.0, 120.0, 0.15, 0.05


def course_and_speed(velocity):
    """Compass course and speed of velocities on a plane whose north is near true north."""
    return np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360, np.hypot(*velocity.T)


def recorded(time, position, velocity=None, *, plane=PLANE, **more):
    longitude, latitude = plane.to_geographic(position)
    if velocity is not None:
        course, speed = course_and_speed(velocity)
        course = (course + plane.convergence_deg(longitude, latitude)) % 360
        more = {"course_deg": course, "speed_mps": speed, **more}
    return Recording("invented", time, longitude, latitude, **more)


def laps(time):
    """Truth: laps round an ellipse, 8 to 18 m/s, in metres and metres a second."""
    rate = 0.12
    angle = rate * time
    position = np.column_stack([150 * np.cos(angle), 70 * np.sin(angle)])
    velocity = rate * np.column_stack([-150 * np.sin(angle), 70 * np.cos(angle)])
    return position, velocity


def received(time, seed, *, doppler=True):
    """A recording of the laps with the noise of DESIGN section 6."""
    random = np.random.default_rng(seed)
    position, velocity = laps(time)
    wander = np.zeros_like(position)
    wander[0] = random.normal(0, WANDER_M, 2)
    for k, step in enumerate(np.diff(time), start=1):
        fade = np.exp(-step / WANDER_TIME_S)
        wander[k] = fade * wander[k - 1] + random.normal(0, WANDER_M * np.sqrt(1 - fade**2), 2)
    measured = position + wander + random.normal(0, WHITE_M, position.shape)
    speeds = velocity + random.normal(0, DOPPLER_MPS, velocity.shape)
    return recorded(time, measured, speeds if doppler else None)


def root_mean_square(error):
    return float(np.sqrt(np.mean(np.sum(np.square(error), axis=-1))))


TEN_HERTZ = np.arange(0.0, 120.0, 0.1)
ONE_HERTZ = np.arange(0.0, 300.0, 1.0)


# Closed-form cases: what fits the model without noise is given back


@pytest.mark.parametrize("doppler", [True, False])
@pytest.mark.parametrize("time", [ONE_HERTZ[:60], TEN_HERTZ[:200]])
def test_a_drive_at_constant_velocity_is_given_back(time, doppler):
    velocity = np.tile([12.0, -5.0], (len(time), 1))
    position = np.array([30.0, 80.0]) + time[:, None] * velocity
    drive = smooth(recorded(time, position, velocity if doppler else None), PLANE)
    assert drive.position_m == pytest.approx(position, abs=1e-3)
    assert drive.velocity_mps == pytest.approx(velocity, abs=1e-3)
    assert drive.speed_mps == pytest.approx(13.0, abs=1e-3)


@pytest.mark.parametrize("doppler", [True, False])
def test_a_drive_under_constant_acceleration_is_given_back(doppler):
    time = np.arange(0.0, 12.0, 0.2)
    velocity = np.array([3.0, 1.0]) + time[:, None] * [2.0, -0.5]
    position = time[:, None] * [3.0, 1.0] + 0.5 * time[:, None] ** 2 * [2.0, -0.5]
    drive = smooth(recorded(time, position, velocity if doppler else None), PLANE)
    assert drive.position_m == pytest.approx(position, abs=5e-3)
    assert drive.velocity_mps == pytest.approx(velocity, abs=5e-3)


def test_a_single_fix_stands_where_it_was_with_the_velocity_it_had():
    fix = recorded(np.zeros(1), np.array([[3.0, 4.0]]), np.array([[6.0, 8.0]]))
    drive = smooth(fix, PLANE)
    assert drive.position_m == pytest.approx(np.array([[3.0, 4.0]]), abs=1e-6)
    assert drive.speed_mps == pytest.approx([10.0], abs=1e-3)
    position, _ = drive.at([0.0, 5.0])
    assert position == pytest.approx(np.array([[3.0, 4.0]] * 2), abs=1e-6)


def test_a_single_fix_without_velocity_stands_still():
    drive = smooth(recorded(np.zeros(1), np.array([[3.0, 4.0]])), PLANE)
    assert drive.speed_mps.tolist() == [0.0]


def test_two_fixes_are_enough():
    drive = smooth(recorded(np.array([0.0, 1.0]), np.array([[0.0, 0.0], [10.0, 0.0]])), PLANE)
    assert np.all(np.isfinite(drive.velocity_mps))
    assert np.linalg.norm(np.diff(drive.position_m, axis=0)) == pytest.approx(10.0, abs=0.5)


def test_a_car_that_stands_still_without_a_course_stays_where_it_is():
    time = np.arange(0.0, 60.0, 1.0)
    standing = recorded(
        time,
        np.zeros((60, 2)),
        speed_mps=np.full(60, 0.05),
        course_deg=np.full(60, np.nan),
    )
    drive = smooth(standing, PLANE)
    assert np.abs(drive.position_m).max() < 0.05
    assert drive.speed_mps.max() < 0.1


# With noise


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_doppler_gives_better_velocities_than_positions_alone(seed):
    truth = laps(TEN_HERTZ)[1]
    with_doppler = smooth(received(TEN_HERTZ, seed), PLANE).velocity_mps - truth
    without = smooth(received(TEN_HERTZ, seed, doppler=False), PLANE).velocity_mps - truth
    assert root_mean_square(with_doppler) < 0.5 * root_mean_square(without)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_velocities_come_out_better_than_the_receiver_measured_them(seed):
    drive = smooth(received(TEN_HERTZ, seed), PLANE)
    error = root_mean_square(drive.velocity_mps - laps(TEN_HERTZ)[1])
    assert error < 0.6 * DOPPLER_MPS * np.sqrt(2)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_way_between_neighbouring_places_is_known_far_better_than_the_places(seed):
    # The wander moves both ends alike; this is what lap times rest on.
    drive = smooth(received(TEN_HERTZ, seed), PLANE)
    step = drive.position_m[10:] - drive.position_m[:-10]
    truth = laps(TEN_HERTZ)[0]
    error = root_mean_square(step - (truth[10:] - truth[:-10]))
    assert error < 0.5 * WHITE_M * np.sqrt(2)


@pytest.mark.parametrize("time", [TEN_HERTZ[:600], ONE_HERTZ])
@pytest.mark.parametrize("seed", [4, 5])
@pytest.mark.parametrize("doppler", [True, False])
def test_stray_positions_do_not_move_the_drive_much(time, seed, doppler):
    # Two in a hundred fixes, 5 to 50 m off.
    clean = received(time, seed, doppler=doppler)
    random = np.random.default_rng(seed)
    stray = np.flatnonzero(random.random(len(clean)) < 0.02)
    position = PLANE.to_plane(clean.longitude_deg, clean.latitude_deg)
    angle = random.uniform(0, 2 * np.pi, len(stray))
    away = random.uniform(5, 50, len(stray))
    position[stray] += away[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    longitude, latitude = PLANE.to_geographic(position)
    spoiled = Recording(
        "spoiled", clean.time_s, longitude, latitude, None, clean.speed_mps, clean.course_deg
    )
    moved = smooth(spoiled, PLANE).position_m - smooth(clean, PLANE).position_m
    assert len(stray) > 3
    assert root_mean_square(moved) < 0.1
    assert np.linalg.norm(moved, axis=1).max() < 1.0


@pytest.mark.parametrize("doppler", [True, False])
def test_a_recording_driven_backwards_gives_the_drive_backwards(doppler):
    # Both models are the same in either direction of time.
    forward = received(TEN_HERTZ[:400], 6, doppler=doppler)
    position = PLANE.to_plane(forward.longitude_deg, forward.latitude_deg)[::-1]
    longitude, latitude = PLANE.to_geographic(position)
    back = Recording(
        "backwards",
        forward.time_s[-1] - forward.time_s[::-1],
        longitude,
        latitude,
        speed_mps=forward.speed_mps[::-1] if doppler else None,
        course_deg=(forward.course_deg[::-1] + 180) % 360 if doppler else None,
    )
    there, again = smooth(forward, PLANE), smooth(back, PLANE)
    assert again.position_m[::-1] == pytest.approx(there.position_m, abs=1e-3)
    assert again.velocity_mps[::-1] == pytest.approx(-there.velocity_mps, abs=1e-2)


def test_the_drive_does_not_depend_on_where_the_plane_is_centred():
    other = LocalPlane(11.02, 47.01)
    recording = received(TEN_HERTZ[:400], 7)
    here, there = smooth(recording, PLANE), smooth(recording, other)
    longitude, latitude = other.to_geographic(there.position_m)
    assert PLANE.to_plane(longitude, latitude) == pytest.approx(here.position_m, abs=2e-3)
    assert there.speed_mps == pytest.approx(here.speed_mps, abs=1e-3)


@pytest.mark.parametrize("place", [(25.0, 70.0), (-65.0, -50.0), (180.0, 60.0)])
def test_courses_are_from_true_north_wherever_the_plane_is_centred(place):
    # A car drives along a meridian and then a geodesic to the north-east, 4.5 km east of the
    # origin, where the plane's north is off by the meridian convergence.
    plane = LocalPlane(*place)
    time = np.arange(0.0, 20.0, 0.5)
    begin_lon, begin_lat, _ = GEOD.fwd(*place, 90.0, 4500.0)
    for course in (0.0, 45.0):
        longitude, latitude, back = GEOD.fwd(
            np.full(40, begin_lon), np.full(40, begin_lat), np.full(40, course), 15.0 * time
        )
        drive = smooth(
            Recording(
                "north",
                time,
                np.array(longitude),
                np.array(latitude),
                speed_mps=np.full(40, 15.0),
                course_deg=(np.array(back) + 180.0) % 360 if course else np.zeros(40),
            ),
            plane,
        )
        way = plane.to_plane(longitude, latitude)[-1] - plane.to_plane(longitude, latitude)[0]
        heading = drive.velocity_mps / drive.speed_mps[:, None]
        assert heading @ (way / np.linalg.norm(way)) == pytest.approx(1.0, abs=1e-7)


# The model, written down a second time


def kalman_and_rauch_tung_striebel(time, position, velocity, jerk, weight):
    """The textbook smoother of DESIGN section 6 on one axis, forward and back.

    Brown & Hwang, Introduction to Random Signals and Applied Kalman Filtering; from memory.  The
    states are place, velocity, acceleration and the receiver's wander.
    """
    count = len(time)
    guess = np.array([position[0], 0.0, 0.0, 0.0])
    spread = np.diag([1e8, 1e8, 1e8, WANDER_M**2])
    kept = []
    for k in range(count):
        if k:
            h = time[k] - time[k - 1]
            motion = np.eye(4)
            motion[0, 1:3], motion[1, 2] = [h, h**2 / 2], h
            motion[3, 3] = np.exp(-h / WANDER_TIME_S)
            fresh = np.zeros((4, 4))
            fresh[:3, :3] = jerk * np.array(
                [
                    [h**5 / 20, h**4 / 8, h**3 / 6],
                    [h**4 / 8, h**3 / 3, h**2 / 2],
                    [h**3 / 6, h**2 / 2, h],
                ]
            )
            fresh[3, 3] = WANDER_M**2 * (1 - np.exp(-2 * h / WANDER_TIME_S))
            guess, spread = motion @ guess, motion @ spread @ motion.T + fresh
        else:
            motion = None
        before = guess, spread
        # Speed and acceleration of a vehicle are bounded, at the first fix: 1 km/s, 100 m/s^2.
        rows = [
            (np.array([1.0, 0, 0, 1.0]), position[k], WHITE_M**2 / weight[k]),
            (np.array([0, 1.0, 0, 0]), 0.0, 1e6),
            (np.array([0, 0, 1.0, 0]), 0.0, 1e4),
        ]
        if k:
            rows = rows[:1]
        if velocity is not None:
            rows.append((np.array([0, 1.0, 0, 0]), velocity[k], DOPPLER_MPS**2))
        for row, value, variance in rows:
            gain = spread @ row / (row @ spread @ row + variance)
            guess = guess + gain * (value - row @ guess)
            # Joseph's form keeps the covariance symmetric and positive.
            left = np.eye(4) - np.outer(gain, row)
            spread = left @ spread @ left.T + variance * np.outer(gain, gain)
        kept.append((motion, before, (guess, spread)))
    smooth_states = [kept[-1][2][0]]
    for k in range(count - 1, 0, -1):
        motion, (ahead_guess, ahead_spread), _ = kept[k]
        guess, spread = kept[k - 1][2]
        back = np.linalg.solve(ahead_spread, motion @ spread).T
        smooth_states.append(guess + back @ (smooth_states[-1] - ahead_guess))
    return np.array(smooth_states[::-1])


@pytest.mark.parametrize("jerk", [0.3, 3.0, 30.0])
@pytest.mark.parametrize("doppler", [True, False])
def test_the_drive_equals_a_rauch_tung_striebel_smoother(jerk, doppler):
    random = np.random.default_rng(12)
    time = np.cumsum(random.uniform(0.3, 1.5, 60))
    truth, rate = laps(time)
    position = truth + random.normal(0, 0.5, truth.shape)
    velocity = rate + random.normal(0, DOPPLER_MPS, rate.shape) if doppler else None
    weight = random.uniform(0.2, 1.0, 60)
    unknown = np.full((60, 2), np.nan)
    measured = Measured(
        time, position, unknown if velocity is None else velocity, np.ones(59, bool), np.ones(60)
    )
    state = solve(measured, Levels(jerk=jerk), weight).state
    expected = np.stack(
        [
            kalman_and_rauch_tung_striebel(
                time, position[:, axis], velocity[:, axis] if doppler else None, jerk, weight
            )
            for axis in (0, 1)
        ],
        axis=-1,
    )
    assert state[:, 0] == pytest.approx(expected[:, 0], abs=1e-6)
    assert state[:, 1] == pytest.approx(expected[:, 1], abs=1e-6)


# Gaps, breaks, missing values


def test_pieces_of_a_broken_recording_do_not_pull_at_each_other():
    # The receiver was carried 500 m while it was off; each piece keeps its own road.
    time = np.concatenate([np.arange(0.0, 20.0, 0.2), 60.0 + np.arange(0.0, 20.0, 0.2)])
    segment = np.repeat([0, 1], 100)
    velocity = np.where(segment[:, None] == 0, [15.0, 0.0], [0.0, -10.0])
    own = time - np.where(segment == 0, 0.0, 60.0)
    position = own[:, None] * velocity + np.where(segment[:, None] == 0, [0.0, 0.0], [0.0, 500.0])
    drive = smooth(recorded(time, position, velocity, segment=segment), PLANE)
    assert drive.position_m == pytest.approx(position, abs=1e-2)
    assert drive.velocity_mps == pytest.approx(velocity, abs=1e-2)
    assert drive.piece.tolist() == segment.tolist()


def test_a_gap_in_a_steady_drive_is_bridged_along_its_road():
    time = np.concatenate([np.arange(0.0, 20.0, 1.0), np.arange(50.0, 70.0, 1.0)])
    velocity = np.tile([11.0, 3.0], (len(time), 1))
    drive = smooth(recorded(time, time[:, None] * velocity, velocity), PLANE)
    position, speed = drive.at(np.linspace(19.0, 50.0, 32))
    assert position == pytest.approx(np.linspace(19.0, 50.0, 32)[:, None] * [11.0, 3.0], abs=0.02)
    assert speed == pytest.approx(np.tile([11.0, 3.0], (32, 1)), abs=0.02)


@pytest.mark.parametrize("gap_s", [600.0, 86_400.0])
def test_a_long_gap_within_a_piece_does_not_spoil_either_side(gap_s):
    time = np.concatenate([np.arange(0.0, 20.0, 0.1), gap_s + np.arange(0.0, 20.0, 0.1)])
    position, velocity = laps(time)
    drive = smooth(recorded(time, position, velocity), PLANE)
    assert root_mean_square(drive.position_m - position) < 0.1
    assert root_mean_square(drive.velocity_mps - velocity) < 0.1


def test_fixes_without_a_velocity_among_others_are_used_for_their_position():
    position, velocity = laps(TEN_HERTZ)
    recording = recorded(TEN_HERTZ, position, velocity)
    some = np.arange(len(TEN_HERTZ)) % 3 == 0
    recording.speed_mps[some] = np.nan
    recording.course_deg[some] = np.nan
    drive = smooth(recording, PLANE)
    assert root_mean_square(drive.velocity_mps - velocity) < 0.02


def test_positions_without_noise_are_followed_without_velocities():
    # The 400 m track would come out short if corners were cut by decimetres.
    position, _ = laps(TEN_HERTZ)
    drive = smooth(recorded(TEN_HERTZ, position), PLANE)
    assert root_mean_square(drive.position_m - position) < 0.05


@pytest.mark.parametrize("rate_hz", [25, 50, 100])
@pytest.mark.parametrize("far_m", [0.0, 5000.0])
def test_a_fast_receiver_far_from_the_planes_origin_does_not_lose_its_place(rate_hz, far_m):
    # Only rounding could take the drive away from fixes without noise.
    time = np.arange(0.0, 40.0, 1 / rate_hz)
    position, velocity = laps(time)
    drive = smooth(recorded(time, position + far_m, velocity), PLANE)
    assert np.abs(drive.position_m - position - far_m).max() < 0.005
    assert np.abs(drive.velocity_mps - velocity).max() < 0.03


@pytest.mark.parametrize("apart_s", [0.01, 0.001, 1e-6])
def test_two_fixes_at_nearly_the_same_time_do_no_harm(apart_s):
    # Two receivers' sentences merged, or an epoch written twice.
    time = np.sort(np.append(np.arange(0.0, 40.0, 0.1), 20.0 + apart_s))
    position, velocity = laps(time)
    drive = smooth(recorded(time, position, velocity), PLANE)
    assert np.abs(drive.position_m - position).max() < 0.005
    assert np.abs(drive.velocity_mps - velocity).max() < 0.02


def test_a_recording_longer_than_the_window_its_levels_are_read_from_is_smoothed_whole():
    time = np.arange(0.0, 600.0, 0.1)
    recording = received(time, 8)
    drive = smooth(recording, PLANE)
    assert len(drive.time_s) == len(time)
    error = drive.velocity_mps - laps(time)[1]
    assert root_mean_square(error) < 0.6 * DOPPLER_MPS * np.sqrt(2)


# Between fixes


def test_between_fixes_the_drive_passes_through_each_fix():
    drive = smooth(received(ONE_HERTZ, 9), PLANE)
    position, velocity = drive.at(drive.time_s)
    assert position == pytest.approx(drive.position_m, abs=1e-9)
    assert velocity == pytest.approx(drive.velocity_mps, abs=1e-9)


def test_between_fixes_velocity_is_the_rate_of_position():
    drive = smooth(received(ONE_HERTZ, 10), PLANE)
    time = np.linspace(3.05, 200.05, 400)
    ahead, behind = drive.at(time + 1e-4)[0], drive.at(time - 1e-4)[0]
    assert (ahead - behind) / 2e-4 == pytest.approx(drive.at(time)[1], abs=1e-5)


def test_before_the_first_and_after_the_last_fix_the_drive_is_held():
    drive = smooth(received(ONE_HERTZ, 11), PLANE)
    position, _ = drive.at([-5.0, 1e6])
    assert position == pytest.approx(drive.position_m[[0, -1]])


def test_between_fixes_at_one_hertz_the_drive_stays_near_the_truth_it_passes():
    time = np.linspace(10.0, 280.0, 2000)
    clean = smooth(recorded(ONE_HERTZ, *laps(ONE_HERTZ)), PLANE)
    assert root_mean_square(clean.at(time)[0] - laps(time)[0]) < 0.05


polynomials = st.lists(st.floats(-20, 20), min_size=6, max_size=6)


@given(polynomials, st.floats(0.05, 10), st.floats(0, 1))
def test_the_quintic_between_two_fixes_is_any_quintic_that_has_its_ends(coefficients, span, share):
    # A quintic is fixed by place, velocity and acceleration at both ends (Hermite interpolation).
    path = np.polynomial.Polynomial(coefficients)
    ends = [curve(time) for time in (0.0, span) for curve in (path, path.deriv(), path.deriv(2))]
    position, velocity = quintic(np.array([share]), np.array([span]))
    scale = 1e-9 * (1 + sum(abs(c) * max(1.0, span) ** 5 for c in coefficients))
    assert position[0] @ ends == pytest.approx(path(share * span), abs=scale)
    rate = path.deriv()(share * span)
    assert velocity[0] @ ends == pytest.approx(rate, abs=scale * (1 + 1 / span))


# Uncertainty


@pytest.mark.parametrize("coupled", [False, True])
def test_the_variance_of_a_difference_is_that_of_the_inverse_information(coupled):
    # Against a dense inverse of the same information, built from unit pulls.
    random = np.random.default_rng(3)
    time = np.cumsum(random.uniform(0.3, 1.0, 12))
    truth, rate = laps(time)
    heading = rate / np.linalg.norm(rate, axis=1, keepdims=True)
    measured = Measured(
        time, truth, rate, np.ones(11, bool), np.ones(12), heading if coupled else None
    )
    levels = Levels(slow_doppler_mps=0.03)
    solution = solve(measured, levels, np.ones(12))
    model = _Model.of(measured, levels, np.ones(12))
    zero = model.pull(np.zeros((5, 2, 12)))[0].ravel()
    dense = np.stack(
        [zero - model.pull(unit.reshape(5, 2, 12))[0].ravel() for unit in np.eye(5 * 2 * 12)]
    )
    weight = random.normal(size=(2, 5, 2))
    sum_over = np.zeros((5, 2, 12))
    sum_over[:, :, 3], sum_over[:, :, 8] = weight
    expected = sum_over.ravel() @ np.linalg.solve(dense, sum_over.ravel())
    found = sum_variance(solution, np.array([3, 8]), weight)
    assert found == pytest.approx(expected, rel=1e-9)
    # The same from remainders that were put together stretch by stretch.
    prepared = remainders_after(solution, [2, 8, 5, 11])
    assert sum_variance(solution, np.array([3, 8]), weight, prepared) == pytest.approx(
        expected, rel=1e-9
    )


@pytest.mark.parametrize("speed_alone", [False, True])
def test_covariances_of_positions_give_the_variance_of_any_sum_of_them(speed_alone):
    whole = received(TEN_HERTZ, 4)
    drive = smooth(replace(whole, course_deg=None) if speed_alone else whole, PLANE)
    fix, share = np.array([5, 6, 100, 400]), np.array([0.1, 0.3, 0.5, 0.9])
    covariance = drive.covariance(fix, share)
    weight = np.random.default_rng(1).normal(size=(4, 2))

    assert np.einsum("ia,iajb,jb", weight, covariance, weight) == pytest.approx(
        drive.variance(fix, share, weight), rel=1e-9
    )


def test_speed_alone_is_worth_more_than_nothing_and_less_than_speed_and_course():
    errors = []
    for kept in ((), ("speed_mps",), ("speed_mps", "course_deg")):
        whole = received(TEN_HERTZ, 4)
        dropped = {name: None for name in ("speed_mps", "course_deg") if name not in kept}
        drive = smooth(replace(whole, **dropped), PLANE)
        along = laps(TEN_HERTZ)[1]
        along = along / np.linalg.norm(along, axis=1, keepdims=True)
        error = np.sum((drive.velocity_mps - laps(TEN_HERTZ)[1]) * along, axis=1)
        errors.append(float(np.sqrt(np.mean(error**2))))
    assert errors[2] <= errors[1] * 1.05 < errors[0]


@pytest.mark.parametrize("column", ["accuracy_m", "hdop"])
def test_fixes_that_a_receiver_calls_bad_count_for_less(column):
    whole = received(TEN_HERTZ, 6)
    random = np.random.default_rng(6)
    bad = (TEN_HERTZ % 20.0) < 5.0
    told = np.where(bad, 8.0, 1.0)
    east = whole.longitude_deg + np.where(bad, random.normal(0, 2e-5, len(bad)), 0.0)
    noisy = replace(whole, longitude_deg=east, speed_mps=None, course_deg=None)
    errors = [
        root_mean_square(smooth(recording, PLANE).velocity_mps - laps(TEN_HERTZ)[1])
        for recording in (noisy, replace(noisy, **{column: told}))
    ]
    assert errors[1] < 0.8 * errors[0]


@pytest.mark.parametrize("doppler", [True, False])
def test_means_and_covariances_are_those_of_pykalman(doppler):
    # An independent smoother from the registries on the same model, one axis.
    random = np.random.default_rng(21)
    time = np.cumsum(random.uniform(0.2, 1.5, 40))
    truth, rate = laps(time)
    position = truth + random.normal(0, 0.5, truth.shape)
    velocity = rate + random.normal(0, DOPPLER_MPS, rate.shape)
    levels = Levels(jerk=2.0)
    moves, shocks = [], []
    for h in np.diff(time):
        move = np.eye(4)
        move[0, 1], move[0, 2], move[1, 2] = h, h**2 / 2, h
        move[3, 3] = np.exp(-h / WANDER_TIME_S)
        shock = np.zeros((4, 4))
        shock[:3, :3] = levels.jerk * np.array(
            [
                [h**5 / 20, h**4 / 8, h**3 / 6],
                [h**4 / 8, h**3 / 3, h**2 / 2],
                [h**3 / 6, h**2 / 2, h],
            ]
        )
        shock[3, 3] = WANDER_M**2 * (1 - np.exp(-2 * h / WANDER_TIME_S))
        moves.append(move)
        shocks.append(shock)
    rows = np.array([[1.0, 0, 0, 1], [0, 1.0, 0, 0]])[: 2 if doppler else 1]
    # The first fix is taken in by hand, since pykalman loses digits on a vague beginning: with
    # place unknown, place and wander are known by their sum alone; speed and acceleration are
    # bounded by 1 km/s and 100 m/s^2.
    pace_variance = 1 / (1e-6 + (DOPPLER_MPS**-2 if doppler else 0.0))
    pace = pace_variance * DOPPLER_MPS**-2 * velocity[0, 0] if doppler else 0.0
    beginning = np.diag([WANDER_M**2 + WHITE_M**2, pace_variance, 1e4, WANDER_M**2])
    beginning[0, 3] = beginning[3, 0] = -(WANDER_M**2)
    seen = np.ma.asarray(np.column_stack([position[:, 0], velocity[:, 0]])[:, : len(rows)])
    seen[0] = np.ma.masked
    filtering = KalmanFilter(
        transition_matrices=np.array(moves),
        transition_covariance=np.array(shocks),
        observation_matrices=rows,
        observation_covariance=np.diag([WHITE_M**2, DOPPLER_MPS**2])[: len(rows), : len(rows)],
        initial_state_mean=[position[0, 0], pace, 0, 0],
        initial_state_covariance=beginning,
    )
    mean, covariance = filtering.smooth(seen)
    unknown = np.full_like(velocity, np.nan)
    measured = Measured(
        time, position, velocity if doppler else unknown, np.ones(39, bool), np.ones(40)
    )
    solution = solve(measured, levels, np.ones(40))
    assert solution.state[:, :, 0] == pytest.approx(mean, abs=1e-6)
    # Where speeds are unknown at first, pykalman's covariances lose digits (it does not keep them
    # positive by Joseph's form); the dense inverse above stands for those.
    for fix in (0, 13, 39) if doppler else ():
        for state in range(4):
            unit = np.zeros((1, 4, 2))
            unit[0, state, 0] = 1.0
            variance = sum_variance(solution, np.array([fix]), unit)
            assert variance == pytest.approx(covariance[fix, state, state], rel=1e-6, abs=1e-6)


def test_the_wander_of_a_long_recording_with_stray_fixes_is_still_read():
    time = np.arange(0.0, 900.0, 0.1)
    whole = received(time, 31)
    random = np.random.default_rng(31)
    stray = random.random(len(time)) < 0.05
    east = whole.longitude_deg + np.where(stray, random.uniform(1e-4, 5e-4, len(time)), 0.0)
    levels = smooth(replace(whole, longitude_deg=east), PLANE).levels
    # Seven or eight time constants leave the estimate a scatter of about a quarter.
    assert 0.5 < levels.wander_m < 2.0
    assert levels.doppler_mps == pytest.approx(DOPPLER_MPS, rel=0.2)
    assert levels.white_m == pytest.approx(WHITE_M, rel=0.2)
