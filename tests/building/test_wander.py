"""How far a receiver wandered, in small cases whose answer is known."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from drives import block_circuit, drive
from scipy.stats import multivariate_normal, norm

from trackkit.building import wander
from trackkit.building.average import LEAST_SCALE_M, read_lap
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import path_driven
from trackkit.building.wander import (
    RADIUS_68,
    expected_level_m,
    is_tied,
    one_axis_m,
    seam_shares,
    wander_of,
)
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth

LAPS = 2


def outing(**given):
    return drive(block_circuit(), begin_m=0.0, laps=LAPS + 0.2, cruise=25.0).recording(5, **given)


def laps_of(recording, shift_m=0.0):
    """Laps of a recording, the second one moved east by so much, and their line."""
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    path = path_driven(smooth(recording, plane))
    size = round(block_circuit().length_m / path.step_m)
    position = path.position_m.copy()
    position[size:, 0] += shift_m
    moved = replace(path, position_m=position)
    curve = Curve.through(path.position_m[: size - 1], closed=True)
    return curve, [FoundLap(moved, n * size, (n + 1) * size) for n in range(LAPS)]


def found(recording, shift_m=0.0, laps=LAPS):
    curve, cut = laps_of(recording, shift_m)
    chainage = curve.chainages(2.0)
    kept = cut[:laps]
    return wander_of(curve, chainage, kept, [read_lap(curve, chainage, lap) for lap in kept])


def level_m(some):
    return float(np.dot(some.weight, some.factor)) * next(iter(some.expected_m.values()))


def test_a_radius_that_holds_68_percent_is_one_and_a_half_sigmas_of_an_axis():
    recording = replace(outing(), accuracy_m=np.full(len(outing().time_s), 3.0))
    # Of a circular normal error 1 - exp(-r^2 / 2) lie within r sigmas (Rayleigh 1880).
    assert 1.0 - np.exp(-0.5 * RADIUS_68**2) == pytest.approx(0.68)
    assert one_axis_m(recording) == pytest.approx(3.0 / RADIUS_68)
    assert one_axis_m(replace(recording, accuracy_of="axis")) == pytest.approx(3.0)


def test_laps_farther_apart_tell_of_more_wander():
    recording = outing(doppler=False)
    near, apart, far = (level_m(found(recording, shift_m)) for shift_m in (0.3, 3.0, 10.0))
    assert near < 1.0 < apart < far


def test_one_lap_without_a_word_of_its_receiver_is_assumed():
    recording = outing(doppler=False)
    assert found(recording, laps=1).assumed
    assert not found(recording).assumed
    reported = replace(recording, accuracy_m=np.full(len(recording.time_s), 4.0))
    assert not found(reported, laps=1).assumed
    assert level_m(found(reported, laps=1)) > level_m(found(recording, laps=1))


def test_what_a_wander_is_read_from_is_said():
    some = found(outing(doppler=False))
    assert "lie beside each other" in some.basis[-1]
    assert sum(some.weight) == pytest.approx(1.0)


def test_velocities_tie_positions_only_where_they_come_often():
    recording = outing(doppler=True)
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    assert is_tied(smooth(recording, plane))
    assert not is_tied(smooth(outing(doppler=False), plane))


def test_a_jump_at_the_seam_is_spread_by_half_to_either_end_and_not_at_all_opposite():
    curve, laps = laps_of(outing(doppler=False))
    begin, _ = seam_shares(curve, curve.chainages(2.0), laps[0])
    half = curve.wrap(begin + 0.5 * curve.length_m)
    _, shares = seam_shares(curve, np.array([begin, half, curve.wrap(begin - 1e-6)]), laps[0])
    np.testing.assert_allclose(shares, [0.5, 0.0, -0.5], atol=1e-6)


def test_contrasts_leave_out_the_mean_and_nothing_else():
    rows = wander._contrasts(5)
    np.testing.assert_allclose(rows @ np.ones(5), 0.0, atol=1e-12)
    np.testing.assert_allclose(rows @ rows.T, np.eye(4), atol=1e-12)


def test_a_sum_of_two_covariances_has_the_likelihood_of_a_normal_density():
    generator = np.random.default_rng(4)
    root, other = generator.normal(size=(2, 3, 3))
    varied, fixed = root @ root.T, other @ other.T + np.eye(3)
    value = generator.normal(size=3)
    scale = np.array([0.5, 2.0])
    score = wander._two_parts(varied, fixed, value[:, None], scale)
    density = np.array(
        [
            [
                multivariate_normal(cov=factor**2 * varied + size**2 * fixed).logpdf(value)
                for factor in wander._FACTORS
            ]
            for size in scale
        ]
    )
    # But for what is the same everywhere.
    np.testing.assert_allclose(score - score[0, 0], density - density[0, 0], atol=1e-9)


def driven_by(*, accuracy_m=None, hdop=None, from_recording=False, white_m=0.3):
    return SimpleNamespace(
        recording=SimpleNamespace(
            accuracy_m=None if accuracy_m is None else np.array(accuracy_m),
            accuracy_of="axis",
            hdop=None if hdop is None else np.array(hdop),
        ),
        wander_from_recording=from_recording,
        levels=SimpleNamespace(wander_m=0.7, white_m=white_m),
    )


@pytest.mark.parametrize(
    ("drive_", "level_m"),
    [
        # What a receiver reports holds its white noise too: 5² = 4² + 3².
        (driven_by(accuracy_m=[0.5, 0.5, np.nan]), 0.4),
        # Of three values the root of their mean square; at least three tenths are left.
        (driven_by(accuracy_m=[1.0, 5.0, 7.0], white_m=0.0), 5.0),
        (driven_by(accuracy_m=[0.3], white_m=0.9), 0.09),
        (driven_by(from_recording=True), 0.7),
        (driven_by(hdop=[1.5, np.nan, 2.0, 9.0]), 2.0),
        (driven_by(hdop=[0.1]), 0.3),
        (driven_by(), 1.0),
        # What is reported goes before what is read, and that before dilution.
        (driven_by(accuracy_m=[0.5], hdop=[9.0], from_recording=True), 0.4),
        (driven_by(hdop=[9.0], from_recording=True), 0.7),
    ],
)
def test_a_receiver_leads_to_expect_what_it_reports_or_shows(drive_, level_m):
    assert expected_level_m(drive_) == pytest.approx(level_m)


@pytest.mark.parametrize("jump_m", [0.0, 1.0, 8.0])
def test_how_far_the_end_of_a_lap_lies_beside_its_beginning_has_a_normal_density(jump_m):
    drive_ = SimpleNamespace()
    lap = SimpleNamespace(start_s=10.0, end_s=70.0, path=SimpleNamespace(drive=drive_))

    found = wander._by_seam(lap, jump_m, {id(drive_): 0.8})

    # Two values of the wander a minute apart, and what either end has of its own.
    apart = np.outer(1.0 - np.exp(-60.0 / np.array(wander._TIMES_S)), (0.8 * wander._FACTORS) ** 2)
    density = norm.logpdf(jump_m, scale=np.sqrt(2.0 * (apart + LEAST_SCALE_M**2)))
    assert found == pytest.approx(density + 0.5 * np.log(2.0 * np.pi))
