"""How well the motion is known all along a stretch, against the variance of each sum by itself."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import PLANE, TEN_HERTZ, received

from trackkit.motion.quintic import jerk_covariance, jerk_variance
from trackkit.motion.smooth import smooth

FIX, SHARE = np.array([3, 5, 6, 100, 400, 449]), np.array([0.1, 0.3, 0.5, 0.9, 0.2, 0.99])
ORIGIN, AT_ORIGIN = (5, 0.4), np.array([[0.03, 0.01], [0.0, 0.0], [0.0, 0.0]])


@pytest.fixture(scope="module", params=["velocities", "speeds alone"])
def drive(request):
    whole = received(TEN_HERTZ, 4)
    alone = request.param == "speeds alone"
    return smooth(replace(whole, course_deg=None) if alone else whole, PLANE)


@pytest.fixture(scope="module")
def stretch(drive):
    return next(drive.stretch_covariances([(3, 450)]))


def by_axis(weight):
    return weight.transpose(0, 2, 1).reshape(-1, 6)


def weights(seed):
    weight = np.zeros((len(FIX), 3, 2))
    weight[:, 0] = np.random.default_rng(seed).normal(size=(len(FIX), 2))
    return weight


def test_positions_are_known_as_the_variance_of_each_tells(drive, stretch):
    weight = weights(1)
    covariance = stretch.motion(FIX, SHARE)

    found = np.einsum("ki,kij,kj->k", by_axis(weight), covariance, by_axis(weight))

    single = [
        drive.variance(FIX[k : k + 1], SHARE[k : k + 1], weight[k : k + 1, 0]) for k in range(6)
    ]
    assert found == pytest.approx(single, rel=1e-9)


def test_what_places_share_with_one_place_is_what_the_variance_of_their_difference_tells(
    drive, stretch
):
    weight = weights(2)
    shared = stretch.covariance((*ORIGIN, AT_ORIGIN), FIX, SHARE, weight)
    covariance = stretch.motion(FIX, SHARE)
    at_origin = stretch.motion(np.array([ORIGIN[0]]), np.array([ORIGIN[1]]))[0]
    origin = AT_ORIGIN.T.ravel() @ at_origin @ AT_ORIGIN.T.ravel()
    alone = np.einsum("ki,kij,kj->k", by_axis(weight), covariance, by_axis(weight))

    for k in range(6):
        index = np.array([ORIGIN[0], FIX[k]])
        share = np.array([ORIGIN[1], SHARE[k]])
        difference = drive.variance(index, share, np.array([-AT_ORIGIN[0], weight[k, 0]]))
        assert alone[k] + origin - 2.0 * shared[k] == pytest.approx(difference, rel=1e-9)


def test_at_a_fix_both_intervals_beside_it_tell_the_same(stretch):
    covariance = stretch.motion(np.array([200, 200]), np.array([0.0, 1.0]))
    after = stretch.motion(np.array([201]), np.array([0.0]))

    assert covariance[1] == pytest.approx(after[0], rel=1e-9)
    assert np.linalg.eigvalsh(covariance).min() > 0


def test_the_bridge_between_two_known_states_holds_the_one_of_positions():
    share, span = np.array([0.1, 0.5, 0.83]), np.array([0.1, 1.0, 2.0])
    bridge = jerk_covariance(3.0, share, span)

    assert bridge[:, 0, 0] == pytest.approx(jerk_variance(3.0, share, span), rel=1e-9)
    assert jerk_covariance(3.0, np.array([0.0, 1.0]), np.ones(2)) == pytest.approx(
        np.zeros((2, 3, 3)), abs=1e-14
    )
