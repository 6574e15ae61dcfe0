"""What lies between fixes that are far apart, in small cases."""

from dataclasses import replace

import numpy as np
import pytest
from drives import Road, arc, drive, stadium, straight

from trackkit.building.average import Reading
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import path_driven
from trackkit.building.sparse import bridged_sigma, spacing_of
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.smooth import smooth

ROAD = Road((straight(600), arc(80, 90), straight(400), arc(-60, 120), straight(500)), closed=False)


def lap_of(every):
    """One run along straights and bends at 20 m/s, of whose fixes every so many is kept."""
    whole = drive(ROAD, cruise=20.0).recording(5, doppler=False)
    kept = np.arange(0, len(whole.time_s), every)
    recording = replace(
        whole,
        time_s=whole.time_s[kept],
        longitude_deg=whole.longitude_deg[kept],
        latitude_deg=whole.latitude_deg[kept],
        segment=whole.segment[kept],
    )
    plane = LocalPlane.around(recording.longitude_deg, recording.latitude_deg)
    path = path_driven(smooth(recording, plane))
    return FoundLap(path, 0, len(path.time_s))


def test_between_close_fixes_nothing_is_unknown():
    lap = lap_of(1)
    when = lap.path.time_s[20:-20:7]
    spacing = spacing_of(lap, when)
    assert not spacing.sparse.any()
    assert not spacing.sigma_m.any()
    # At 20 m/s a fifth of a second is 4 m.
    assert np.median(spacing.before_m + spacing.after_m) == pytest.approx(4.0, abs=0.3)


def test_at_a_fix_nothing_is_unknown_and_halfway_most():
    lap = lap_of(20)
    fixes = lap.path.drive.time_s[5:-5]
    middle = 0.5 * (fixes[1:] + fixes[:-1])
    assert spacing_of(lap, fixes).sigma_m.max() < 1e-9
    halfway = spacing_of(lap, middle)
    assert halfway.sparse.all()
    quarter = spacing_of(lap, fixes[:-1] + 0.25 * np.diff(fixes))
    # A parabola between two fixes: 4 u (1 - u).
    np.testing.assert_allclose(quarter.sigma_m, 0.75 * halfway.sigma_m, rtol=1e-6)
    np.testing.assert_allclose(halfway.before_m, halfway.after_m, rtol=1e-6)


def test_bends_are_known_less_well_than_straights():
    lap = lap_of(20)
    way = np.linspace(0, len(lap.path.time_s) - 1, 200).astype(int)
    spacing = spacing_of(lap, lap.path.time_s[way])
    gone = way * lap.path.step_m
    straights = spacing.sigma_m[(gone > 150) & (gone < 450)]
    bend = spacing.sigma_m[(gone > 620) & (gone < 700)]
    assert bend.max() > 3.0 * straights.max()


def test_the_farther_apart_fixes_are_the_less_is_known():
    sigma = [spacing_of(lap, lap.path.time_s).sigma_m.max() for lap in map(lap_of, (10, 20, 40))]
    assert 0.0 < sigma[0] < sigma[1] < sigma[2]


def test_a_lap_of_one_fix_says_nothing():
    lap = lap_of(20)
    drive_of_one = replace(
        lap.path.drive,
        **{
            name: getattr(lap.path.drive, name)[:1]
            for name in ("time_s", "position_m", "velocity_mps", "acceleration_mps2", "trust")
        },
    )
    alone = FoundLap(replace(lap.path, drive=drive_of_one), lap.begin, lap.end)
    spacing = spacing_of(alone, lap.path.time_s[:3])
    assert not spacing.sigma_m.any()
    assert not spacing.sparse.any()


@pytest.fixture(scope="module")
def oval():
    curve = Curve.through(stadium(200.0, 60.0).at(np.arange(0.0, 776.0, 2.0))[0], closed=True)
    return curve, curve.chainages(1.0)


def even_lap(chainage):
    """A lap along the line at 20 m/s."""
    level = np.zeros(len(chainage))
    return Reading(level, level + 20.0, level, chainage / 20.0)


def across(oval, begin_m, size_m):
    curve, chainage = oval
    carried = (chainage >= begin_m) & (chainage < begin_m + size_m)
    return bridged_sigma(curve, chainage, carried, [even_lap(chainage)]), carried


def test_a_bridge_is_unsure_in_its_middle_and_sure_where_it_ends(oval):
    sigma, carried = across(oval, 60.0, 60.0)
    assert not sigma[~carried].any()
    inside = sigma[carried]
    assert np.argmax(inside) in (len(inside) // 2 - 1, len(inside) // 2)
    assert inside[0] < 0.1 * inside.max()


def test_a_bridge_over_a_bend_or_a_longer_one_is_less_sure(oval):
    over_straight = across(oval, 70.0, 50.0)[0].max()
    longer = across(oval, 50.0, 100.0)[0].max()
    over_bend = across(oval, 260.0, 50.0)[0].max()
    assert over_straight < longer
    assert over_straight < over_bend


def test_a_line_without_gaps_has_no_bridges(oval):
    curve, chainage = oval
    whole = np.zeros(len(chainage), dtype=bool)
    assert not bridged_sigma(curve, chainage, whole, [even_lap(chainage)]).any()
