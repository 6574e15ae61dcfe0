"""Drives that are solved piece by piece are those that are solved whole."""

from dataclasses import astuple, replace
from types import SimpleNamespace

import numpy as np
import pytest
from ellipse import PLANE, TEN_HERTZ, received

import trackkit.motion.factor
from trackkit.motion.factor import Factor
from trackkit.motion.noise import Levels
from trackkit.motion.smooth import smooth

RECEIVERS = ["positions", "velocities", "slow velocities", "speed alone", "astray"]
SOME = np.array([3, 250, 255, 256, 700, 1190])


@pytest.fixture
def in_pieces(monkeypatch):
    """Have drives of 1,200 fixes solved in six pieces."""
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 210)


def driven(receiver):
    recording = received(TEN_HERTZ, 4, doppler=receiver != "positions")
    levels = Levels(slow_doppler_mps=0.05) if receiver == "slow velocities" else None
    if receiver == "speed alone":
        # Read, its levels are those of a drive so smooth that rounding alone comes to 3e-6 of
        # covariances: a vehicle drives harder.
        levels = Levels(jerk=20.0)
        recording = replace(recording, course_deg=None)
    if receiver == "astray":
        # Too near to be found beforehand, too far for noise: the fit has to be made robust.
        longitude = recording.longitude_deg.copy()
        longitude[[200, 830]] += 3e-5
        recording = replace(recording, longitude_deg=longitude)
    return smooth(recording, PLANE, levels)


def sums(drive):
    random = np.random.default_rng(9)
    share, slope = random.uniform(0, 1, len(SOME)), random.normal(0, 0.05, (len(SOME), 2))
    return [
        drive.variance(SOME[chosen], share[chosen], slope[chosen])
        for chosen in ([0, 5], [1, 2, 3], [4], range(6))
    ]


@pytest.mark.slow
@pytest.mark.parametrize("receiver", RECEIVERS)
def test_a_drive_in_pieces_is_the_drive_as_a_whole(receiver, request):
    whole = driven(receiver)
    request.getfixturevalue("in_pieces")
    pieces = driven(receiver)

    assert len(pieces._solution.factor.pieces) == 6
    assert astuple(pieces.levels) == pytest.approx(astuple(whole.levels), rel=1e-9)
    for name in ("position_m", "velocity_mps", "acceleration_mps2", "wander_m", "trust"):
        assert getattr(pieces, name) == pytest.approx(getattr(whole, name), rel=1e-6, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("receiver", RECEIVERS)
def test_a_drive_in_pieces_knows_its_times_as_well_as_the_whole(receiver, request):
    whole = driven(receiver)
    expected = [*sums(whole), *whole.covariance(SOME, np.full(6, 0.4)).ravel()]
    request.getfixturevalue("in_pieces")
    pieces = driven(receiver)

    assert sums(pieces) == pytest.approx(expected[:4], rel=1e-6)
    pieces.prepare_variances(SOME.tolist())
    assert sums(pieces) == pytest.approx(expected[:4], rel=1e-6)
    assert [*pieces.covariance(SOME, np.full(6, 0.4)).ravel()] == pytest.approx(
        expected[4:], rel=1e-6, abs=1e-9
    )


@pytest.mark.parametrize("kept_bytes", [0, 600_000_000])
def test_the_likelihood_of_a_drive_in_pieces_is_that_of_the_whole(kept_bytes, monkeypatch):
    drive = driven("velocities")
    trust = np.ones(len(drive.time_s))
    expected = trackkit.motion.smoother.solve(drive._measured, Levels(), trust, likelihood=True)
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 210)
    monkeypatch.setattr(trackkit.motion.factor, "_KEPT_BYTES", kept_bytes)
    pieces = trackkit.motion.smoother.solve(drive._measured, Levels(), trust, likelihood=True)

    assert pieces.log_likelihood == pytest.approx(expected.log_likelihood, rel=1e-9)
    assert pieces.state == pytest.approx(expected.state, rel=1e-6, abs=1e-6)


def test_of_a_drive_in_pieces_one_piece_of_its_factor_is_in_memory(in_pieces):
    factor = driven("velocities")._solution.factor

    assert len(factor._kept) == 0
    factor.columns(1190, 1195)
    factor.columns(3, 5)
    assert len(factor._kept) == 1


@pytest.mark.parametrize(
    ("stretch", "parts"),
    [
        ((0, 9), [(0, 2), (2, 5), (5, 9)]),
        ((2, 9), [(2, 5), (5, 9)]),
        ((3, 5), [(3, 5)]),
        ((1, 3), [(1, 2), (2, 3)]),
        ((5, 6), [(5, 6)]),
    ],
)
def test_a_stretch_is_divided_where_pieces_end_into_parts_that_share_their_ends(stretch, parts):
    factor = Factor(None, Levels(), None, 0.0, 1, (0, 3, 6, 10))

    assert list(factor.cuts(*stretch)) == parts


def test_columns_of_a_piece_are_of_the_fixes_beside_it_too():
    factor = Factor(None, Levels(), None, 0.0, 2, (0, 3, 6, 10))

    assert [factor.reach(piece) for piece in factor.pieces] == [(0, 3), (2, 6), (5, 9)]
    assert factor.block == 2 * Levels().states


@pytest.mark.parametrize(("fixes", "bounds"), [(7, (0, 7)), (8, (0, 4, 8)), (15, (0, 5, 10, 15))])
def test_pieces_are_of_even_size_and_none_too_large(fixes, bounds, monkeypatch):
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 7)
    measured = SimpleNamespace(time_s=np.zeros(fixes), direction=None)

    assert Factor.of(measured, Levels(), np.ones(fixes), 0.0).bounds == bounds
