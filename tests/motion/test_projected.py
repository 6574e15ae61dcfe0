"""Where along a curve a drive is, worked out once."""

from dataclasses import replace

import numpy as np
import pytest
from ellipse import PLANE, received

from trackkit.geometry.curve import Curve
from trackkit.motion.projected import projected
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording


@pytest.fixture(scope="module")
def drive():
    return smooth(received(np.arange(0.0, 60.0, 0.5), 4), PLANE)


def circle(radius_m=110.0):
    angle = np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False)
    return Curve.through(radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def test_places_are_those_of_the_fixes_on_the_way_they_go(drive):
    curve = circle()

    chainage, offset = projected(drive, curve)

    heading = drive.velocity_mps / np.linalg.norm(drive.velocity_mps, axis=1, keepdims=True)
    expected = curve.project(drive.position_m, heading)
    np.testing.assert_allclose(chainage, expected[0])
    np.testing.assert_allclose(offset, expected[1])


def test_a_drive_beside_itself_is_on_the_piece_that_goes_its_way():
    # Out and back, 6 m apart: fixes lie nearer to the way back, and go out.
    out = np.column_stack([np.arange(0.0, 300.0, 5.0), np.zeros(60)])
    turn = np.column_stack([300.0 + 3.0 * np.sin([0.5, 1.0, 2.0]), [0.4, 1.4, 4.2]])
    curve = Curve.through(
        np.concatenate([out, turn, out[::-1] + np.array([0.0, 6.0])]), closed=False
    )
    time = np.arange(0.0, 20.0, 0.5)
    longitude, latitude = PLANE.to_geographic(np.column_stack([15.0 * time, np.full(40, 3.5)]))
    drive = smooth(Recording("out", time, longitude, latitude), PLANE)

    chainage, offset = projected(drive, curve, 2, 18)

    assert chainage == pytest.approx(15.0 * time[2:18], abs=0.5)
    assert offset == pytest.approx(np.full(16, 3.5), abs=0.2)


def test_a_part_is_that_part_of_the_whole(drive):
    curve = circle()
    chainage, offset = projected(drive, curve)

    some = projected(drive, curve, 20, 50)
    rest = projected(drive, curve, 50)

    np.testing.assert_allclose(some, (chainage[20:50], offset[20:50]))
    np.testing.assert_allclose(rest, (chainage[50:], offset[50:]))


def test_it_is_worked_out_once_and_not_to_be_written_to(drive):
    curve = circle()

    first = projected(drive, curve, 5, 30)

    assert projected(drive, curve, 5, 30) is first
    with pytest.raises(ValueError, match="read-only"):
        first[0][0] = 0.0
    with pytest.raises(ValueError, match="read-only"):
        first[1][0] = 0.0


def test_another_curve_has_its_own_places(drive):
    near, far = circle(110.0), circle(130.0)

    offset = projected(drive, near)[1]
    other = projected(drive, far)[1]

    # Anticlockwise the inside is on the left.
    assert other - offset == pytest.approx(np.full(len(offset), 20.0), abs=0.1)


def test_a_drive_that_stands_has_a_place(drive):
    still = replace(drive, velocity_mps=np.zeros_like(drive.velocity_mps))

    assert np.isfinite(projected(still, circle())).all()
