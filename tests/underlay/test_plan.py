"""Plans are laid on the ground by points, and bad points are told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit import PlanPoint, place_plan
from trackkit.errors import UnderlayError
from trackkit.geometry.geodesy import LocalPlane

PLANE = LocalPlane(5.0, 24.0)  # the Sahara
ON_PLAN = np.array(
    [[100, 120], [900, 80], [880, 700], [120, 640], [500, 400], [300, 650], [700, 150], [820, 420]],
    dtype=float,
)


def points_at(ground_m, on_plan=ON_PLAN):
    lon, lat = PLANE.to_geographic(ground_m)
    return [
        PlanPoint(x, y, (float(a), float(b)))
        for (x, y), a, b in zip(on_plan, lon, lat, strict=True)
    ]


def turned(on_plan, scale_m=0.4, turn_deg=25.0):
    c, s = scale_m * np.cos(np.radians(turn_deg)), scale_m * np.sin(np.radians(turn_deg))
    return (on_plan - [500, 400]) @ np.array([[c, s], [s, -c]])


def away_m(placed, on_plan, ground_m):
    lon, lat = placed.plane.to_geographic(placed.ground_m(on_plan))
    return np.hypot(*(PLANE.to_plane(lon, lat) - ground_m).T)


@pytest.mark.slow
@given(
    scale=st.floats(0.02, 20.0),
    turn=st.floats(-180.0, 180.0),
    shear=st.floats(-0.3, 0.3),
)
def test_an_affine_plan_is_laid_exactly_whatever_its_scale_turn_and_shear(scale, turn, shear):
    sheared = ON_PLAN @ np.array([[1.0, 0.0], [shear, 1.0]])
    ground = turned(sheared, scale, turn)
    placed = place_plan(points_at(ground))
    # The points' own plane is another one than the test's, and not affine to it in the last digit.
    assert placed.rms_m < 2e-3 * scale
    assert away_m(placed, ON_PLAN, ground).max() < 5e-3 * scale


def test_three_points_place_a_plan_and_leave_nothing_to_judge_it_by():
    placed = place_plan(points_at(turned(ON_PLAN[:3]), ON_PLAN[:3]))
    assert placed.sigma_m is None
    assert placed.suspect is None
    assert placed.rms_m < 1e-6


def seen_from(ground_m, eye_m, tilt_deg):
    """A pinhole camera over flat ground: how the picture is made, told apart from how it is laid.

    Collinearity equations (Kraus, Photogrammetry, volume 1; from memory).
    """
    tilt = np.radians(tilt_deg)
    away = np.column_stack([ground_m - np.asarray(eye_m)[:2], np.full(len(ground_m), -eye_m[2])])
    forward = away @ np.array([0.0, np.sin(tilt), -np.cos(tilt)])
    upward = away @ np.array([0.0, np.cos(tilt), np.sin(tilt)])
    return np.column_stack([2000 + 3000 * away[:, 0] / forward, 1500 - 3000 * upward / forward])


GROUND = np.array(
    [[-80, -40], [70, -50], [90, 60], [-60, 80], [5, 10], [-30, -45], [60, 15], [-75, 20]],
    dtype=float,
)


def test_a_picture_from_aslant_is_laid_by_a_projective_fit_and_not_by_an_affine_one():
    picture = seen_from(GROUND, (0.0, -150.0, 120.0), 45.0)
    points = points_at(GROUND, picture)
    assert place_plan(points, "projective").rms_m < 1e-3
    assert place_plan(points, "affine").rms_m > 3.0


def test_four_points_place_a_picture_from_aslant():
    picture = seen_from(GROUND, (20.0, -140.0, 100.0), 50.0)
    placed = place_plan(points_at(GROUND[:4], picture[:4]), "projective")
    assert away_m(placed, picture, GROUND).max() < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("fit", ["affine", "projective"])
def test_sigma_is_that_of_the_points(fit):
    sigmas = []
    for seed in range(60):
        random = np.random.default_rng(seed)
        ground = turned(ON_PLAN) + random.normal(scale=0.5, size=ON_PLAN.shape)
        sigmas.append(place_plan(points_at(ground), fit).sigma_m)
    # The mean of 60 sigmas of 8 or 10 degrees of freedom scatters by 2.5 to 3 percent.
    assert np.sqrt(np.mean(np.square(sigmas))) == pytest.approx(0.5, rel=0.1)


def test_a_point_that_was_measured_wrongly_is_named():
    random = np.random.default_rng(5)
    for bad in range(len(ON_PLAN)):
        ground = turned(ON_PLAN) + random.normal(scale=0.3, size=ON_PLAN.shape)
        ground[bad] += [6.0, -5.0]
        assert place_plan(points_at(ground)).suspect == bad


def test_points_that_agree_to_millimetres_have_no_bad_one():
    ground = turned(ON_PLAN)
    ground[2] += [0.005, 0.0]
    assert place_plan(points_at(ground)).suspect is None


def test_a_point_less_than_a_pixel_away_is_not_bad_however_well_the_others_agree():
    # A pixel is 0.4 m on the ground.
    for away, suspect in ((0.3, None), (0.6, 2)):
        ground = turned(ON_PLAN)
        ground[2] += [away, 0.0]
        assert place_plan(points_at(ground)).suspect == suspect


def test_how_wide_a_pixel_is_follows_the_unit_that_a_plan_is_told_in():
    ground = turned(ON_PLAN)
    ground[2] += [0.3, 0.0]
    assert place_plan(points_at(ground), pixel=0.1).suspect == 2


@pytest.mark.slow
def test_good_points_are_seldom_called_bad():
    suspects = 0
    for seed in range(300):
        random = np.random.default_rng(1000 + seed)
        ground = turned(ON_PLAN) + random.normal(scale=0.3, size=ON_PLAN.shape)
        suspects += place_plan(points_at(ground)).suspect is not None
    # At 1 percent 3 of 300 are expected; 10 or more come by chance once in 900 such trials.
    assert suspects < 10


def test_points_that_are_too_few_in_line_or_mixed_up_place_nothing():
    ground = turned(ON_PLAN)
    with pytest.raises(UnderlayError, match="2 points place no plan by an affine fit; give 3"):
        place_plan(points_at(ground[:2], ON_PLAN[:2]))
    with pytest.raises(UnderlayError, match="3 points place no plan by a projective fit; give 4"):
        place_plan(points_at(ground[:3], ON_PLAN[:3]), "projective")
    line = np.array([[0.0, 0.0], [100.0, 50.0], [300.0, 150.0]])
    with pytest.raises(UnderlayError, match="one straight line on the plan"):
        place_plan(points_at(turned(ON_PLAN[:3]), line))
    with pytest.raises(UnderlayError, match="one straight line on the ground"):
        place_plan(points_at(turned(line), ON_PLAN[:3]))
    with pytest.raises(UnderlayError, match="mirrored"):
        place_plan(points_at(ground, ON_PLAN * [1.0, -1.0] + [0.0, 1000.0]))
