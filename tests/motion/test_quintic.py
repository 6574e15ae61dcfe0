"""The motion between two fixes, against SciPy's polynomial with the same ends."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.interpolate import BPoly
from scipy.optimize import brentq

from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.noise import USUAL
from trackkit.motion.quintic import coefficients, motion_weights, quintic
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

SHARES = np.array([0.0, 0.1, 0.5, 0.77, 1.0])
PLANE = LocalPlane(161.0, 47.0)


MOTIONS = st.floats(-100.0, 100.0).map(lambda value: value if abs(value) > 1e-100 else 0.0)
"""Products of smaller ones leave the range of normal float64, where nothing is exact."""


@given(
    states=arrays(float, 6, elements=MOTIONS),
    span=st.floats(0.01, 10.0),
)
def test_position_and_velocity_are_those_of_the_polynomial_through_both_ends(states, span):
    before, after = states[:3], states[3:]
    expected = BPoly.from_derivatives([0.0, span], [before, after])
    spans = np.full(len(SHARES), span)

    position, velocity = quintic(SHARES, spans)

    size = np.abs(states * np.tile([1.0, span, span**2], 2)).max()
    when = SHARES * span
    np.testing.assert_allclose(position @ states, expected(when), atol=1e-13 * size)
    rate = expected.derivative()(when)
    np.testing.assert_allclose(velocity @ states, rate, atol=1e-12 * size / span)
    (by_power,) = coefficients(states[None], np.array([span]))
    value = np.polynomial.polynomial.polyval(SHARES, by_power)
    np.testing.assert_allclose(value, expected(when), atol=1e-13 * size)


def driven_circle(interval_s):
    """A vehicle on a circle of 40 m radius, 12 m/s, measured with a receiver's usual noise."""
    random = np.random.default_rng(7)
    time = np.arange(0.0, 60.0, interval_s)
    angle = 12.0 / 40.0 * time
    place = 40.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    place += USUAL.white_m * random.standard_normal(place.shape)
    longitude, latitude = PLANE.to_geographic(place)
    return smooth(Recording("circle", time, longitude, latitude), PLANE)


@pytest.mark.parametrize("span_s", [0.04, 1.0, 2.5])
def test_a_motion_of_the_fifth_degree_comes_back_with_its_velocity_and_acceleration(span_s):
    motion = np.polynomial.Polynomial([3.0, -2.0, 1.5, 0.4, -0.3, 0.1])
    every = [motion, motion.deriv(), motion.deriv(2)]
    ends = np.array([each(when) for when in (0.0, span_s) for each in every])

    weights = motion_weights(SHARES, np.full(len(SHARES), span_s))

    expected = np.column_stack([each(SHARES * span_s) for each in every])
    np.testing.assert_allclose(weights @ ends, expected, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("interval_s", [0.04, 0.2, 1.0])
def test_a_line_is_met_where_a_root_finder_finds_it(interval_s):
    drive = driven_circle(interval_s)
    point, forward = np.array([20.0, 5.0]), np.array([np.cos(1.0), np.sin(1.0)])
    ahead = (drive.position_m - point) @ forward
    index = np.flatnonzero((ahead[:-1] < 0) & (ahead[1:] >= 0))
    assert len(index) >= 2

    def distance(share, fix):
        position, _ = drive.between(np.array([fix]), np.array([share]))
        return float((position[0] - point) @ forward)

    shares = drive.shares_at_line(index, point, forward)

    expected = [brentq(distance, 0.0, 1.0, args=(fix,), xtol=1e-15) for fix in index]
    # A microsecond would be 1e-6 of a second's interval.
    np.testing.assert_allclose(shares, expected, atol=1e-11)


def test_no_fix_before_a_line_gives_no_share():
    drive = driven_circle(1.0)
    none = np.array([], dtype=np.intp)

    assert drive.shares_at_line(none, np.zeros(2), np.array([1.0, 0.0])).shape == (0,)
