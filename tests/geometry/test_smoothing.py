"""The fitted line against curves of known curvature, scipy's splines and shapely's distances."""

import numpy as np
import pytest
import shapely
from drives import Road, arc, drive, on_earth, stadium, straight
from scipy.integrate import quad
from scipy.interpolate import make_interp_spline
from scipy.signal import lfilter

from trackkit.building.build import build_track
from trackkit.geometry.curve import Curve
from trackkit.geometry.smoothing import (
    chosen_wavelength,
    low_pass,
    moving_mean,
    noise_of_laps,
    noise_of_receiver,
    smoothed_curve,
)


def test_a_clothoid_keeps_its_curvature():
    # A clothoid's curvature grows in proportion to its length (Euler's spiral; textbook): here
    # from a straight to a radius of 30 m in 120 m.
    rate = 1.0 / (30.0 * 120.0)

    def place(s):
        east = quad(lambda t: np.cos(0.5 * rate * t**2), 0, s)[0]
        north = quad(lambda t: np.sin(0.5 * rate * t**2), 0, s)[0]
        return east, north

    chainage = np.linspace(0.0, 120.0, 121)
    curve = smoothed_curve(np.array([place(s) for s in chainage]), closed=False, wavelength_m=6.0)

    inside = np.linspace(15.0, 105.0, 40)
    assert curve.length_m == pytest.approx(120.0, abs=0.01)
    assert curve.curvature(inside) == pytest.approx(rate * inside, abs=3e-4)


def test_a_cubic_bezier_keeps_its_curvature():
    # B(t) of four points; its curvature is the cross product of its first and second derivative
    # over the cube of its speed (textbook).
    control = np.array([[0.0, 0.0], [60.0, 0.0], [120.0, 40.0], [120.0, 110.0]])
    t = np.linspace(0.0, 1.0, 400)[:, None]
    weights = [(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3]
    position = sum(w * p for w, p in zip(weights, control, strict=True))
    first = sum(
        3 * w * p
        for w, p in zip(
            [(1 - t) ** 2, 2 * t * (1 - t), t**2], np.diff(control, axis=0), strict=True
        )
    )
    second = sum(6 * w * p for w, p in zip([1 - t, t], np.diff(control, n=2, axis=0), strict=True))
    bend = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    bend /= np.linalg.norm(first, axis=1) ** 3

    curve = smoothed_curve(position, closed=False, wavelength_m=6.0)

    where, offset = curve.project(position[60:-60])
    assert np.abs(offset).max() < 0.01
    assert curve.curvature(where) == pytest.approx(bend[60:-60], rel=0.02)


def test_on_a_closed_line_it_agrees_with_scipys_periodic_spline():
    angle = np.linspace(0.0, 2 * np.pi, 201)
    radius = 80.0 + 12.0 * np.cos(3 * angle)
    place = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    place[-1] = place[0]
    periodic = make_interp_spline(angle, place, k=5, bc_type="periodic")

    curve = smoothed_curve(place, closed=True, wavelength_m=4.0)

    fine = np.linspace(0.0, 2 * np.pi, 900, endpoint=False)
    first, second = periodic(fine, 1), periodic(fine, 2)
    bend = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / np.linalg.norm(
        first, axis=1
    ) ** 3
    where, offset = curve.project(periodic(fine))
    assert np.abs(offset).max() < 2e-3
    assert curve.curvature(where) == pytest.approx(bend, abs=2e-4)


def circuit():
    """1,180 m with corners of 15 m radius, anticlockwise."""
    quarter = arc(15, 90)
    return Road(
        (
            straight(110),
            quarter,
            straight(60),
            arc(-40, 90),
            straight(60),
            quarter,
            straight(120),
            quarter,
            straight(300),
            arc(40, 90),
            straight(210),
            quarter,
            straight(100),
        ),
    )


def lines(track, road, step_m=1.0):
    chainage = np.append(np.arange(0.0, road.length_m, step_m), 0.0)
    built = track.curve.chainages(step_m)
    true = track.plane.to_plane(*on_earth(road.at(chainage)[0]))
    begin, _ = track.curve.project(true[0])
    return shapely.LineString(track.curve.position(np.append(begin + built, begin))), (
        shapely.LineString(true)
    )


@pytest.mark.slow
@pytest.mark.parametrize("road", [stadium(), circuit()], ids=["athletics", "tight"])
def test_ten_laps_are_near_the_truth_by_hausdorff_and_frechet_distance(road):
    recording = drive(road, begin_m=20.0, laps=10.2, cruise=12.0).recording(10, doppler=True)

    built, true = lines(build_track([recording], "X").track, road)

    # The discrete Frechet distance counts samples a metre apart: half of that lies between two.
    assert shapely.hausdorff_distance(built, true) < 0.6
    assert shapely.frechet_distance(built, true) < 0.8


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_tight_corners_have_their_radius_to_five_per_cent_from_ten_noisy_laps(seed):
    road = circuit()
    recording = drive(road, begin_m=20.0, laps=10.2, cruise=12.0).recording(
        10, doppler=True, noise=1.0, seed=seed
    )

    track = build_track([recording], "X").track

    tight = [c.min_radius_m for c in track.corners if c.min_radius_m < 25.0]
    assert len(tight) == 4
    # An arc that begins and ends at once reads a little tighter than it is: smoothing swings over.
    assert np.sqrt(np.mean((np.array(tight) / 15.0 - 1.0) ** 2)) < 0.05


@pytest.mark.parametrize("white_m", [0.05, 0.15, 0.5])
def test_smoothing_takes_noise_out_of_a_circle(white_m):
    # A circle of 30 m radius with white noise every metre: its curvature is 1/30 all the way.
    angle = np.linspace(0.0, 2 * np.pi, 189)[:-1]
    circle = 30.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    noisy = circle * (1 + np.random.default_rng(5).normal(0.0, white_m, (188, 1)) / 30.0)
    noise = noise_of_receiver(10.0, 0.1, white_m, None, laps=1)

    wavelength = chosen_wavelength(noisy, closed=True, noise=noise)

    curve = smoothed_curve(noisy, closed=True, wavelength_m=wavelength)
    chainage = curve.chainages(1.0)
    radial = curve.position(chainage) / np.linalg.norm(curve.position(chainage), axis=1)[:, None]
    heading = np.degrees(np.arcsin(np.einsum("ij,ij->i", curve.direction(chainage), radial)))
    assert np.sqrt(np.mean(heading**2)) < 10.0 * white_m


def test_more_laps_are_smoothed_less():
    angle = np.linspace(0.0, 2 * np.pi, 400)[:-1]
    # A lobed line with features of 25 m.
    radius = 60.0 + 1.5 * np.cos(15 * angle)
    line = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    few, many = (
        chosen_wavelength(line, closed=True, noise=noise_of_receiver(20.0, 0.1, 0.3, None, laps))
        for laps in (1, 100)
    )
    assert many < few


@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize(("over_m", "reach"), [(6.0, 3), (10.0, 5), (0.5, 1), (1e6, 39)])
def test_a_moving_mean_is_the_mean_of_each_window(closed, over_m, reach):
    value = np.random.default_rng(1).standard_normal((2, 40))

    found = moving_mean(value, 2.0 * over_m, 2.0, closed=closed)

    for row, means in zip(value, found, strict=True):
        for index, mean in enumerate(means):
            around = np.arange(index - reach, index + reach + 1)
            around = around % 40 if closed else np.clip(around, 0, 39)
            assert mean == pytest.approx(row[around].mean())


@pytest.mark.parametrize("wavelength_m", [8.0, 20.0])
def test_a_feature_of_the_wavelength_keeps_half_its_size(wavelength_m):
    # The smoothing spline of the third derivative: 1 / (1 + (c / w)^6) (Wahba 1990; from memory).
    at = np.arange(400.0)
    for w in (10.0, 20.0, 40.0):
        wave = np.cos(2.0 * np.pi * at / w)[:, None]

        smooth = low_pass(wave, 400.0, wavelength_m, closed=True)

        assert smooth == pytest.approx(wave / (1.0 + (wavelength_m / w) ** 6), abs=1e-9)


def test_an_open_line_keeps_its_ends_and_its_slope():
    value = np.column_stack([np.linspace(3.0, 90.0, 200), np.linspace(0.0, -7.0, 200)])
    bumpy = (
        value + np.sin(np.arange(200.0))[:, None] * np.sin(np.pi * np.arange(200) / 199)[:, None]
    )

    smooth = low_pass(bumpy, 199.0, 30.0, closed=False)

    assert smooth[[0, -1]] == pytest.approx(value[[0, -1]], abs=1e-9)
    assert np.abs(smooth - value).max() < 0.05


def test_the_noise_of_laps_is_that_of_their_mean():
    # White noise of one sigma every half metre: its density is sigma^2 d, and a mean of n laps
    # has an n-th of it.
    random = np.random.default_rng(2)
    offset = random.normal(0.0, 0.4, (8, 4000))

    noise = noise_of_laps(offset, np.ones_like(offset), offset.mean(axis=0), 0.5)

    assert np.median(noise.density) == pytest.approx(0.4**2 * 0.5 / 8, rel=0.1)
    assert noise.frequency_per_m[[0, -1]] == pytest.approx([0.0, 1.0])
    # The power of its components at that spacing is the variance.
    assert np.median(noise.power(noise.frequency_per_m, 0.5)) == pytest.approx(0.02, rel=0.1)


def test_velocities_make_the_noise_of_positions_less_at_short_wavelengths():
    plain, doppler = (
        noise_of_receiver(20.0, 0.1, 0.3, velocity, laps=3) for velocity in (None, 0.05)
    )

    # White positions 2 m apart: sigma^2 d over three laps.
    assert plain.density == pytest.approx(0.3**2 * 2.0 / 3)
    # Of velocities (sigma / v)^2 d / (2 pi f)^2; informations add up.
    f = doppler.frequency_per_m
    alone = (0.05 / 20.0) ** 2 * 2.0 / (2.0 * np.pi * f) ** 2 / 3
    assert 1.0 / doppler.density == pytest.approx(1.0 / plain.density + 1.0 / alone)


def test_a_walk_is_smoothed_as_much_as_its_wander_asks_for():
    # An ellipse of about 800 m with the wander of a walk on it, which is 1 m over 160 m of way.
    angle = np.linspace(0.0, 2 * np.pi, 800, endpoint=False)
    line = np.column_stack([170 * np.cos(angle), 80 * np.sin(angle)])
    random = np.random.default_rng(3)
    kept = np.exp(-1.0 / 160.0)
    fresh = random.normal(0.0, np.sqrt(1 - kept**2), line.shape)
    seen = line + lfilter([1.0], [1.0, -kept], fresh, axis=0)

    def extra(wander_m):
        noise = noise_of_receiver(1.35, 1.0, 0.05, None, laps=1, wander_m=wander_m)
        wavelength = chosen_wavelength(seen, closed=True, noise=noise)
        smooth = smoothed_curve(seen, closed=True, wavelength_m=wavelength)
        return smooth.length_m - Curve.through(line, closed=True).length_m

    assert extra(1.0) < 0.7 * extra(0.0)
