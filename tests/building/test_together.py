"""All laps laid along one line: what one has no fix for, the others tell."""

from dataclasses import replace

import numpy as np
import pytest
from recorded_rounds import Plan, recorded

from trackkit.building.average import averaged, read_lap
from trackkit.building.build import build_track
from trackkit.building.layouts import all_laps
from trackkit.building.path import path_driven
from trackkit.building.together import laid_together
from trackkit.building.wander import wander_of
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth

ONCE_A_SECOND = Plan(
    "kart",
    seed=7,
    laps=12,
    length_m=900.0,
    corner_m=9.0,
    fastest_mps=25.0,
    sideways_mps2=13.0,
    rate_hz=1,
    doppler_mps=None,
)


def laid_out(plan):
    """Laps of a plan beside the first of them, and what all of them together say."""
    recording = recorded(plan).recording
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    laps = all_laps(path_driven(smooth(recording, plane)), recording.name)
    first = laps[0]
    guess = Curve.through(first.path.position_m[first.part][:-3], closed=True)
    chainage = guess.chainages(1.0)
    readings = [read_lap(guess, chainage, lap) for lap in laps]
    average = averaged(guess, chainage, laps, readings)
    wander = wander_of(guess, chainage, laps, readings)
    return laps, readings, laid_together(guess, chainage, laps, average, wander)


@pytest.mark.slow
def test_once_a_second_corners_are_not_cut():
    short = []
    for seed in (7, 8):
        driven = recorded(replace(ONCE_A_SECOND, seed=seed))
        line = np.vstack([driven.line_m, driven.line_m[:1]])
        true_m = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
        built = build_track([driven.recording], "X").track
        short.append(built.length_m / true_m - 1.0)
    # Averaged from curves between each lap's own fixes it was 0.2 % short.
    assert abs(np.mean(short)) < 7e-4


def test_where_the_other_laps_have_fixes_a_lap_keeps_beside_their_line():
    """Laps deviate from the line of all of them by as much as they were driven off it."""
    laps, _, together = laid_out(replace(ONCE_A_SECOND, deviation_m=0.2))
    aside = np.concatenate([beside.aside_m for beside in together.beside.values()])
    assert len(laps) >= 10
    assert 0.1 < aside.std() < 0.35


def test_each_lap_is_freed_of_how_far_its_drive_wandered():
    """Laps of a receiver that wanders by metres lie side by side once that is taken off."""
    laps, readings, together = laid_out(
        replace(ONCE_A_SECOND, wander_m=3.0, wander_s=60.0, accuracy=True)
    )
    beside = next(iter(together.beside.values()))
    begun = np.array([lap.start_s for lap in laps])
    moved = np.diff(beside.error_at(begun), axis=0)
    # A minute apart, so that neighbouring laps differ by metres.
    assert np.sqrt(np.mean(moved**2)) > 0.5
    scatter = np.std([reading.offset_m for reading in readings], axis=0)
    assert np.sqrt(np.mean(beside.aside_m**2)) < 0.5 * np.sqrt(np.nanmean(scatter**2))


@pytest.mark.parametrize(
    "plan",
    [
        replace(ONCE_A_SECOND, laps=1),
        replace(ONCE_A_SECOND, rate_hz=0.5, laps=3),
        replace(ONCE_A_SECOND, rate_hz=10, laps=3, doppler_mps=0.05),
    ],
    ids=["one lap", "sparse", "velocities"],
)
def test_where_other_laps_tell_nothing_or_nothing_more_the_average_stays(plan):
    assert laid_out(plan)[2] is None
