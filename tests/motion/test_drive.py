"""The smoothed drive follows truth where the model says it should."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import (
    DOPPLER_MPS,
    ONE_HERTZ,
    PLANE,
    TEN_HERTZ,
    WHITE_M,
    laps,
    received,
    recorded,
    root_mean_square,
)
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.noise import Levels
from trackkit.motion.quintic import quintic
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

GEOD = Geod(ellps="WGS84")


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
    other = LocalPlane(161.02, 47.01)
    recording = received(TEN_HERTZ[:400], 7)
    here, there = smooth(recording, PLANE), smooth(recording, other)
    longitude, latitude = other.to_geographic(there.position_m)
    assert PLANE.to_plane(longitude, latitude) == pytest.approx(here.position_m, abs=2e-3)
    assert there.speed_mps == pytest.approx(here.speed_mps, abs=1e-3)


@pytest.mark.parametrize("place", [(5.7, 70.0), (-92.0, -52.0), (180.0, 60.0)])
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


def test_where_a_line_is_met_between_two_fixes_the_drive_is_on_it():
    drive = smooth(received(ONE_HERTZ[:60], 2), PLANE)
    index = np.array([3, 17, 40])
    for fix in index.tolist():
        before, after = drive.position_m[[fix, fix + 1]]
        forward = (after - before) / np.linalg.norm(after - before)
        for share in (0.01, 0.3, 0.77, 0.99):
            point = before + share * (after - before)

            met = drive.shares_at_line(np.array([fix]), point, forward)

            position, _ = drive.between(np.array([fix]), met)
            assert float((position[0] - point) @ forward) == pytest.approx(0.0, abs=1e-9)
            assert 0.0 < met[0] < 1.0


def test_a_crawl_with_a_course_is_moving():
    # At 0.2 m/s, slower than what counts as standing where a receiver leaves the course out.
    time = np.arange(0.0, 30.0, 0.1)
    position = np.column_stack([0.2 * time, np.zeros(len(time))])
    velocity = np.tile([0.2, 0.0], (len(time), 1))

    drive = smooth(recorded(time, position, velocity), PLANE, Levels())

    assert drive.velocity_mps == pytest.approx(velocity, abs=0.01)


def test_fixes_years_apart_belong_to_no_one_drive_however_few_there_are():
    # Between others half a blink apart they would ask more of a number than 64 bits hold.
    position = np.array([[0.0, 0.0], [40.0, 30.0], [40.0, 36.0]])
    drive = smooth(recorded(np.array([0.0, 1e9, 1e9 + 2e-7]), position, None), PLANE)
    assert drive.piece.tolist() == [0, 1, 1]


# What a receiver reports of its velocities


def test_reported_accuracies_of_speeds_make_a_better_drive_of_velocities_that_differ():
    """Every other second velocities are eight times as noisy, and the receiver says so."""
    random = np.random.default_rng(11)
    position, velocity = laps(TEN_HERTZ)
    sigma = np.where(TEN_HERTZ.astype(int) % 2, 8.0, 1.0) * DOPPLER_MPS
    noisy = velocity + sigma[:, None] * random.standard_normal(velocity.shape)
    measured = position + WHITE_M * random.standard_normal(position.shape)
    silent = recorded(TEN_HERTZ, measured, noisy)
    errors = [
        root_mean_square(smooth(recording, PLANE).velocity_mps - velocity)
        for recording in (silent, replace(silent, speed_accuracy_mps=sigma))
    ]
    assert errors[1] < 0.8 * errors[0]


def test_the_same_accuracy_of_every_speed_changes_nothing():
    position, velocity = laps(TEN_HERTZ[:400])
    silent = recorded(TEN_HERTZ[:400], position, velocity)
    telling = replace(silent, speed_accuracy_mps=np.full(400, 0.3))
    assert smooth(telling, PLANE).position_m == pytest.approx(smooth(silent, PLANE).position_m)
