"""A drive as a path on the ground: stops are told from the way driven."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import path_of
from drives import HOME, drive, stadium
from scipy.interpolate import CubicHermiteSpline

from trackkit.building.path import _bridged
from trackkit.errors import NoLapError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording


def test_a_stop_of_60_s_leaves_one_stop_and_no_tangle_in_the_path(whole_outing):
    path = path_of(whole_outing.recording(10, doppler=True))

    on_the_way = [lasting for when, lasting in path.stops if 60.0 < when < path.time_s[-1] - 60.0]
    assert on_the_way == pytest.approx([60.0], abs=1.5)
    on_the_road = path.time_s[:-1] > whole_outing.time_at(whole_outing.joined_m)
    step = np.linalg.norm(np.diff(path.position_m, axis=0), axis=1)[on_the_road]
    assert step == pytest.approx(np.full(len(step), path.step_m), abs=0.15)


def test_a_pause_shorter_than_five_seconds_is_no_stop():
    outing = drive(stadium(), laps=1.2, cruise=12.0, stop_at_m=250.0, stop_s=2.0)

    assert path_of(outing.recording(10, doppler=True)).stops == ()


def test_a_receiver_that_never_moves_drives_no_path():
    still = Recording("still", np.arange(0.0, 60.0), np.full(60, HOME[0]), np.full(60, HOME[1]))

    with pytest.raises(NoLapError, match="never moves"):
        path_of(still)


@pytest.mark.parametrize("rate_hz", [1, 25])
@pytest.mark.parametrize("doppler", [True, False])
def test_a_path_tells_when_it_was_where(rate_hz, doppler):
    outing = drive(stadium(), laps=0.9, cruise=12.0)

    path = path_of(outing.recording(rate_hz, doppler=doppler))

    # At an even 12 m/s the way driven is twelve times the time.
    assert path.time_s == pytest.approx(path.step_m * np.arange(len(path.time_s)) / 12.0, abs=0.1)
    assert path.speed_mps == pytest.approx(12.0, rel=0.03)
    assert path.step_m == pytest.approx(3.0, abs=0.05)
    assert path.fixed.all()


def test_a_crawl_of_less_than_five_centimetres_a_fix_is_followed():
    outing = drive(stadium(), laps=0.1, cruise=1.0)

    path = path_of(outing.recording(25, doppler=True))

    assert path.step_m * (len(path.time_s) - 1) == pytest.approx(40.0, abs=0.5)


@pytest.mark.parametrize("doppler", [True, False])
def test_a_gap_between_fixes_is_marked_and_crossed_by_a_smooth_curve(doppler):
    whole = drive(stadium(), laps=0.9, cruise=12.0).recording(10, doppler=doppler)
    # From 1 s before the first bend, which begins at 84.39 m, to 2 s after it began.
    gone = (whole.time_s > 6.0) & (whole.time_s < 9.0)
    names = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    columns = {name: getattr(whole, name) for name in names}
    gapped = replace(whole, **{n: None if c is None else c[~gone] for n, c in columns.items()})

    path = path_of(gapped)

    assert path.time_s[~path.fixed][[0, -1]] == pytest.approx([6.0, 9.0], abs=0.31)
    assert not path.fixed[(path.time_s > 6.01) & (path.time_s < 8.99)].any()
    full = path_of(whole)
    away = [np.linalg.norm(full.position_m - place, axis=1).min() for place in path.position_m]
    assert max(away) < 3.0


def test_the_cubic_across_a_gap_is_scipys():
    whole = drive(stadium(), laps=0.9, cruise=12.0).recording(1, doppler=True)
    plane = LocalPlane(*HOME)
    driven = smooth(whole, plane)
    index, share = np.array([3, 9, 9]), np.array([0.5, 0.25, 0.9])

    position, velocity = _bridged(driven, index, share)

    cubic = CubicHermiteSpline(driven.time_s, driven.position_m, driven.velocity_mps)
    when = driven.time_s[index] + share * np.diff(driven.time_s)[index]
    np.testing.assert_allclose(position, cubic(when), atol=1e-9)
    np.testing.assert_allclose(velocity, cubic(when, 1), atol=1e-9)


def test_heights_follow_the_way():
    recording = drive(stadium(), laps=0.9, cruise=12.0).recording(10, doppler=True)
    climbing = replace(recording, elevation_m=100.0 + 0.5 * recording.time_s)

    path = path_of(climbing)

    assert path.elevation_m == pytest.approx(100.0 + 0.5 * path.time_s, abs=0.05)


@pytest.mark.parametrize("doppler", [True, False])
def test_where_logging_pauses_for_a_day_nothing_is_driven_but_the_way_across(doppler):
    whole = drive(stadium(), laps=0.9, cruise=12.0).recording(10, doppler=doppler)
    gone = (whole.time_s > 6.0) & (whole.time_s < 9.0)
    names = ("longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    columns = {name: getattr(whole, name) for name in names}
    time_s = whole.time_s + np.where(whole.time_s >= 9.0, 86_400.0, 0.0)
    rested = replace(
        whole,
        time_s=time_s[~gone],
        **{name: None if c is None else c[~gone] for name, c in columns.items()},
    )

    path = path_of(rested)

    driven_m = path_of(whole).step_m * len(path_of(whole).time_s)
    assert path.step_m * len(path.time_s) == pytest.approx(driven_m, abs=5.0)
