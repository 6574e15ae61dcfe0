"""What is kept of a drive for some of its fixes tells variances as the drive itself does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rings import POSITIONS, SPEEDS, knots, ring

import trackkit.motion.factor
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.noise import Levels
from trackkit.motion.repeated_line import fit_line
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

PLANE = LocalPlane(161.0, 47.0)


def ellipse(receiver):
    """Three minutes round an ellipse, told by a receiver that knows more or less."""
    time = np.arange(0.0, 180.0, 0.2)
    angle, rate = 0.12 * time, 0.12
    random = np.random.default_rng(3)
    position = np.column_stack([150 * np.cos(angle), 70 * np.sin(angle)])
    velocity = rate * np.column_stack([-150 * np.sin(angle), 70 * np.cos(angle)])
    longitude, latitude = PLANE.to_geographic(position + random.normal(0, 0.3, position.shape))
    speed = np.hypot(*velocity.T) + random.normal(0, 0.05, len(time))
    course = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360.0
    recording = Recording("ellipse", time, longitude, latitude)
    if receiver == "speed alone":
        return smooth(replace(recording, speed_mps=speed), PLANE, Levels())
    if receiver == "positions":
        return smooth(recording, PLANE)
    levels = Levels(slow_doppler_mps=0.05 if receiver == "slow velocities" else 0.0)
    return smooth(replace(recording, speed_mps=speed, course_deg=course), PLANE, levels)


@pytest.mark.parametrize("receiver", ["positions", "velocities", "slow velocities", "speed alone"])
def test_any_sum_over_the_fixes_kept_has_the_variance_that_the_drive_tells(receiver):
    drive = ellipse(receiver)
    assert drive.levels.states == (5 if receiver == "slow velocities" else 4)
    random = np.random.default_rng(7)
    kept = np.sort(random.choice(len(drive.time_s) - 1, 12, replace=False))
    known = drive.fix_covariance([*kept, 40, 41, len(drive.time_s) - 2])

    for count in (1, 2, 5, 12):
        index = random.choice(kept, count, replace=False)
        share, slope = random.uniform(0, 1, count), random.normal(0, 0.05, (count, 2))

        assert known.variance(index, share, slope) == pytest.approx(
            drive.variance(index, share, slope), rel=1e-8
        )


def test_two_positions_after_one_fix_may_be_summed():
    drive = ellipse("velocities")
    index, share = np.array([300, 300]), np.array([0.2, 0.8])
    slope = np.array([[0.1, 0.0], [-0.1, 0.02]])

    assert drive.fix_covariance([300]).variance(index, share, slope) == pytest.approx(
        drive.variance(index, share, slope), rel=1e-8
    )


def test_a_fix_that_was_not_kept_is_not_guessed():
    known = ellipse("positions").fix_covariance([10, 20])

    with pytest.raises(KeyError):
        known.variance(np.array([15]), np.array([0.5]), np.array([[0.1, 0.0]]))


def test_what_is_kept_is_small():
    drive = ellipse("velocities")
    known = drive.fix_covariance(range(0, 900, 90))

    kept = sum(getattr(known, name).nbytes for name in ("fix", "pivot", "onward", "form"))
    assert kept < 20_000
    assert all(getattr(known, name).base is None for name in ("pivot", "onward", "form"))


RECEIVERS = pytest.mark.parametrize(
    "receiver", ["positions", "velocities", "slow velocities", "speed alone"]
)
FIX, SHARE = np.array([40, 41, 300, 300, 870]), np.array([0.1, 0.9, 0.2, 0.8, 1.0])


@RECEIVERS
def test_covariances_of_places_are_those_of_the_drive(receiver):
    drive = ellipse(receiver)
    slope = np.random.default_rng(5).normal(0.0, 0.05, (5, 2))

    (found,) = drive.fix_covariance(FIX).covariances(FIX, SHARE, slope)

    # What two positions within one interval share of the jerk between is left to each of them.
    expected = np.einsum("ia,iajb,jb->ij", slope, drive.covariance(FIX, SHARE), slope)
    assert found == pytest.approx(expected, rel=1e-7, abs=1e-12)


@RECEIVERS
def test_the_motion_at_fixes_kept_is_known_as_all_along_a_stretch(receiver):
    drive = ellipse(receiver)
    stretch = next(drive.stretch_covariances([(3, 890)]))

    found = drive.fix_covariance(FIX).motion(FIX, SHARE)

    assert found == pytest.approx(stretch.motion(FIX, SHARE), rel=1e-6, abs=1e-10)


@RECEIVERS
def test_sums_told_together_are_those_told_one_by_one(receiver):
    drive = ellipse(receiver)
    random = np.random.default_rng(6)
    index = random.choice(FIX, (7, 3))
    share, slope = random.uniform(0, 1, (7, 3)), random.normal(0, 0.05, (7, 3, 2))
    known = drive.fix_covariance(FIX)

    together = known.variances(index, share, slope)

    alone = [known.variance(*each) for each in zip(index, share, slope, strict=True)]
    assert together == pytest.approx(alone, rel=1e-9)
    assert together == pytest.approx(drive.variances(index, share, slope), rel=1e-9)


@pytest.mark.parametrize(
    ("fixes", "kept"),
    [([10, 21], True), ([11], True), ([12], False), ([10, 99], False), ([], True)],
)
def test_a_fix_is_kept_with_the_one_after_it(fixes, kept):
    known = ellipse("positions").fix_covariance([20, 10])

    assert known.fix.tolist() == [10, 11, 20, 21]
    assert known.time_s == pytest.approx([2.0, 2.2, 4.0, 4.2])
    assert known.span_s == pytest.approx(np.full(4, 0.2))
    assert known.keeps(np.array(fixes, dtype=np.intp)) is kept


def test_where_nothing_is_kept_only_nothing_is():
    known = replace(ellipse("positions").fix_covariance([10]), fix=np.zeros(0, dtype=np.intp))

    assert known.keeps(np.zeros(0, dtype=np.intp))
    assert not known.keeps(np.array([10]))


@pytest.fixture(scope="module", params=[POSITIONS, SPEEDS], ids=["positions", "speeds"])
def corrected(request):
    """A drive whose error laps round a ring, driven in the same time, are taken to have told."""
    line = fit_line(ring(5.0, request.param, 11)[0], request.param, knots())
    return ellipse("velocities").corrected(line)


def test_with_what_laps_have_told_sums_have_the_variance_that_the_drive_tells(corrected):
    random = np.random.default_rng(8)
    index = random.choice(700, (6, 4))
    share, slope = random.uniform(0, 1, (6, 4)), random.normal(0, 0.05, (6, 4, 2))

    together = corrected.fix_covariance(index.ravel()).variances(index, share, slope)

    alone = [corrected.variance(*each) for each in zip(index, share, slope, strict=True)]
    assert together == pytest.approx(alone, rel=1e-4)


def test_fast_and_slow_parts_are_those_of_the_drive_alone_and_of_its_line(corrected):
    slope = np.random.default_rng(5).normal(0.0, 0.05, (5, 2))
    time = corrected.time_s[FIX] + SHARE * 0.2

    fast, slow = corrected.fix_covariance(FIX).covariances(FIX, SHARE, slope)

    (whole,) = corrected.alone().fix_covariance(FIX).covariances(FIX, SHARE, slope)
    after, before = corrected.line.covariances(time, slope)
    assert fast == pytest.approx(whole - before, rel=1e-6, abs=1e-9)
    assert slow == pytest.approx(after, rel=1e-4, abs=1e-9)


@pytest.mark.parametrize("receiver", ["velocities", "speed alone"])
def test_of_a_drive_that_is_solved_in_pieces_fixes_are_known_as_of_one_solved_whole(
    receiver, monkeypatch
):
    whole = ellipse(receiver)
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 210)
    drive = ellipse(receiver)
    assert len(drive._solution.factor.pieces) == 5
    index = np.array([3, 178, 179, 180, 700, 898])
    share, slope = np.full(6, 0.4), np.random.default_rng(4).normal(0.0, 0.05, (6, 2))

    known, expected = drive.fix_covariance(index), whole.fix_covariance(index)

    for places in (slice(0, 1), slice(0, 4), slice(1, 6), slice(5, 6), slice(0, 6)):
        where = index[places], share[places], slope[places]
        assert known.variance(*where) == pytest.approx(expected.variance(*where), rel=1e-5)
