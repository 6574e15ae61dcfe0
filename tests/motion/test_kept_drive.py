"""A drive that was kept is, but for rounding, the drive; numpy does the counting."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from ellipse import PLANE, received
from rings import POSITIONS, SPEEDS, knots, ring

from trackkit.motion.kept_columns import LEVELS, LISTS, NUMBERS, WHOLES
from trackkit.motion.kept_drive import (
    _between,
    _kept_nodes,
    _moved_row,
    drive_of_row,
    drive_row,
)
from trackkit.motion.noise import Levels
from trackkit.motion.repeated_line import fit_line
from trackkit.motion.smooth import smooth

START = datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC)
TIME = np.delete(np.arange(0.0, 120.0, 0.2), np.s_[300:330])
INDEX, SHARE = np.array([40, 200, 420, 421]), np.array([0.1, 0.5, 0.9, 0.0])


def driven(receiver):
    """Two minutes in two pieces; some accuracies are worse than others."""
    recording = received(TIME, 4, doppler=receiver != "positions")
    recording = replace(
        recording,
        segment=(np.arange(len(TIME)) >= 300).astype(int),
        accuracy_m=np.where(np.arange(len(TIME)) % 7 == 0, 2.0, 1.0),
    )
    levels = None
    if receiver == "speed alone":
        recording, levels = replace(recording, course_deg=None), Levels(jerk=20.0)
    if receiver == "slow velocities":
        levels = Levels(slow_doppler_mps=0.05, slow_doppler_time_s=3.0)
        recording = replace(
            recording, speed_accuracy_mps=np.where(np.arange(len(TIME)) % 5 == 0, 0.3, 0.1)
        )
    return smooth(recording, PLANE, levels)


def kept_and_back(drive, **more):
    return drive_of_row(drive_row(drive), "kept", START, **more)


@pytest.fixture(
    scope="module", params=["positions", "velocities", "slow velocities", "speed alone"]
)
def drive(request):
    return driven(request.param)


def test_what_a_drive_is_comes_back_but_for_less_than_it_is_known_by(drive):
    back = kept_and_back(drive)

    assert back.time_s == pytest.approx(drive.time_s, abs=1e-6)
    assert back.position_m == pytest.approx(drive.position_m, abs=1e-5)
    assert back.velocity_mps == pytest.approx(drive.velocity_mps, abs=1e-4)
    assert back.acceleration_mps2 == pytest.approx(drive.acceleration_mps2, abs=1e-3)
    assert back.piece.tolist() == drive.piece.tolist()
    assert back.piece[-1] == 1
    assert back.trust == pytest.approx(drive.trust, abs=1e-9)
    assert back.levels == drive.levels
    assert (back.plane.longitude_deg, back.plane.latitude_deg) == (
        PLANE.longitude_deg,
        PLANE.latitude_deg,
    )
    assert back.line is None
    assert back.has_speed_alone == drive.has_speed_alone
    assert np.isnan(back.wander_m).all()


def test_how_well_it_is_known_comes_back(drive):
    back = kept_and_back(drive)

    slope = np.random.default_rng(1).normal(0.0, 0.05, (len(INDEX), 2))
    for places in ([0], [0, 1], [2, 3], [0, 1, 2, 3]):
        where = INDEX[places], SHARE[places], slope[places]
        assert back.variance(*where) == pytest.approx(drive.variance(*where), rel=1e-3)


def test_its_recording_is_where_it_was_driven_or_where_its_circuit_is(drive):
    back, located = kept_and_back(drive), kept_and_back(drive, located=True)

    longitude, latitude = PLANE.to_geographic(drive.position_m)
    assert back.recording.longitude_deg == pytest.approx(longitude, abs=1e-9)
    assert back.recording.latitude_deg == pytest.approx(latitude, abs=1e-9)
    assert set(located.recording.longitude_deg) == {PLANE.longitude_deg}
    assert set(located.recording.latitude_deg) == {PLANE.latitude_deg}
    assert (back.recording.name, back.recording.start) == ("kept", START)
    assert back.recording.segment.tolist() == drive.piece.tolist()


def test_a_row_has_every_column_and_none_but_those(drive):
    row = drive_row(drive)

    assert set(row) == {*NUMBERS, *WHOLES, *LISTS}
    assert all(isinstance(row[name], float) for name in NUMBERS)
    assert set(LEVELS.values()) == set(Levels.__dataclass_fields__)
    kept = [row[name] for name in WHOLES if row[name] is not None]
    assert {values.dtype.kind for values in kept} == {"i"}
    of_line = ("node", "node_way_mm", "node_left_urad", "node_sigma_10um", "node_tie_10um")
    assert {row[name] is None for name in (*of_line, "moved_um", *LISTS)} == {True}
    assert (row["heading_urad"] is not None) == drive.has_speed_alone


def test_fixes_without_a_velocity_come_back_without_one():
    recording = received(TIME, 4)
    speed = recording.speed_mps.copy()
    speed[50:200:3] = np.nan
    drive = smooth(replace(recording, speed_mps=speed), PLANE)

    back = kept_and_back(drive)

    assert np.isnan(back._measured.velocity_mps[:, 0]).tolist() == np.isnan(speed).tolist()
    slope = np.array([[0.1, 0.0]])
    where = np.array([100]), np.array([0.5]), slope
    assert back.variance(*where) == pytest.approx(drive.variance(*where), rel=1e-3)


def on_a_ring(levels):
    """A drive whose laps have told of it; for a while its nodes say nothing."""
    side, _, _ = ring(3.0, levels, 11)
    sigma = side.sigma_m.copy()
    sigma[15:27] = np.inf
    # Every fourth fix is a node.
    time = 0.2 * np.arange(4 * len(sigma))
    line = fit_line(replace(side, sigma_m=sigma, time_s=time[::4]), levels, knots())
    return smooth(received(time, 4), PLANE, Levels()).corrected(line)


@pytest.mark.parametrize("levels", [POSITIONS, SPEEDS], ids=["positions", "speeds"])
def test_what_its_laps_have_told_of_it_comes_back(levels):
    drive = on_a_ring(levels)

    back = kept_and_back(drive)

    assert back.position_m == pytest.approx(drive.position_m, abs=1e-5)
    assert back.line.node_s == pytest.approx(drive.line.side.time_s, abs=1e-6)
    assert back.line.moved_m.shape[:2] == drive.line.moved_m.shape[:2]
    time = np.array([10.2, 15.7, 41.0, 60.3])
    slope = np.random.default_rng(2).normal(size=(4, 2))
    for places in ([0], [1], [0, 2], [0, 1, 2, 3]):
        where = time[places], slope[places]
        assert back.line.variance_before(*where) == pytest.approx(
            drive.line.variance_before(*where), rel=1e-3
        )
        assert back.line.variance(*where) == pytest.approx(drive.line.variance(*where), rel=2e-2)
    where = INDEX, SHARE, 0.05 * slope
    assert back.variance(*where) == pytest.approx(drive.variance(*where), rel=2e-2)


@pytest.mark.parametrize(("count", "kept"), [(1, [0]), (9, [0, 4, 8]), (11, [0, 4, 8, 10])])
def test_every_so_many_nodes_are_kept_and_the_last(count, kept):
    assert _kept_nodes(count, 4).tolist() == kept


@pytest.mark.parametrize("stride", [1, 2, 4, 16])
@pytest.mark.parametrize("count", [1, 2, 9, 11])
def test_between_kept_nodes_values_are_as_straight_as_can_be_in_time(count, stride):
    node_s = np.cumsum(np.random.default_rng(count).uniform(0.5, 2.0, count))
    values = np.random.default_rng(3).normal(size=(count, 2, 3))
    kept = _kept_nodes(count, stride)

    filled = _between(values[kept], stride, node_s)

    for axis in range(2):
        for part in range(3):
            straight = np.interp(node_s, node_s[kept], values[kept, axis, part])
            assert filled[:, axis, part] == pytest.approx(straight)


@pytest.mark.parametrize("size_m", [0.01, 1.0, 100.0])
def test_as_few_nodes_are_kept_as_hold_all_parts_to_a_small_share_of_the_largest(size_m):
    node_s = np.arange(61.0)
    # Two waves, of 120 s and 15 s, on both axes; a part of a thousandth is left out.
    slow, quick = np.sin(2.0 * np.pi * node_s / 120.0), np.sin(2.0 * np.pi * node_s / 15.0)
    for waves, stride in (((slow,), 8), ((slow, 0.3 * quick), 1)):
        moved = np.zeros((61, 2, 3))
        for part, wave in enumerate(waves):
            moved[:, 0, part] = wave
            moved[:, 1, part] = 0.0
        moved[30, 1, 2] = 1e-4
        moved *= size_m

        row = _moved_row(node_s, moved)

        kept_stride, parts = row[:2].tolist()
        some = 1e-6 * np.cumsum(row[2:].reshape(-1, 2, parts), axis=0)
        filled = _between(some, kept_stride, node_s)
        # How parts are turned among themselves makes no difference to what they add up to.
        flat, whole = filled.reshape(122, -1), moved.reshape(122, -1)
        away = np.abs(flat @ flat.T - whole @ whole.T).max()
        assert away < 0.01 * np.abs(whole @ whole.T).max()
        assert parts == len(waves)
        assert kept_stride <= stride
        assert kept_stride > 1 or len(waves) == 2
