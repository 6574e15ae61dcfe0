"""Variances of sums over a drive, against a dense inverse."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import PLANE, TEN_HERTZ, laps, received

import trackkit.motion.factor
from trackkit.motion.information import Model
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.smooth import smooth
from trackkit.motion.smoother import solve
from trackkit.motion.variance import remainders_after, sum_variance


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
    model = Model.of(measured, levels, np.ones(12))
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
    # And for a sum that ends where two stretches and more follow.
    early = np.zeros((5, 2, 12))
    early[:, :, 1], early[:, :, 2] = weight
    expected = early.ravel() @ np.linalg.solve(dense, early.ravel())
    assert sum_variance(solution, np.array([1, 2]), weight, prepared) == pytest.approx(
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


@pytest.mark.parametrize("speed_alone", [False, True])
def test_covariances_across_the_pieces_of_a_drive_are_those_of_the_whole(speed_alone, monkeypatch):
    recording = received(TEN_HERTZ[:600], 4)
    if speed_alone:
        recording = replace(recording, course_deg=None)
    levels = Levels(jerk=20.0)
    # In the first piece, beside the cuts, and with a whole piece between.
    fix, share = np.array([5, 148, 149, 150, 590]), np.array([0.1, 0.3, 0.5, 0.9, 0.7])
    expected = smooth(recording, PLANE, levels).covariance(fix, share)
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 150)

    drive = smooth(recording, PLANE, levels)

    assert len(drive._solution.factor.pieces) == 4
    found = drive.covariance(fix, share)
    assert found == pytest.approx(expected, rel=1e-4, abs=1e-9)
