"""Speeds and lines read from drives along a track."""

import numpy as np
import pytest
from drives import drive, stadium, track_of

from trackkit.errors import NoLapError
from trackkit.gates.driven import driven_speed, require_driven
from trackkit.motion.smooth import smooth
from trackkit.recordings.recording import Recording

ROAD = stadium(300.0, 50.0)
LENGTH_M = ROAD.length_m


@pytest.fixture(scope="module")
def track():
    return track_of(ROAD, gates=[("finish", "finish", 0.0)], spacing_m=2.0)


def driven(track, *, laps=2.2, speed_mps=lambda chainage: np.full(len(chainage), 18.0)):
    outing = drive(ROAD, begin_m=20.0, laps=laps, cruise=speed_mps)
    return smooth(outing.recording(10, doppler=True), track.plane)


def rising(chainage_m):
    """From 12 m/s at the beginning of a lap to 22 m/s at its end."""
    return 12.0 + 10.0 * (chainage_m % LENGTH_M) / LENGTH_M


def test_the_speed_of_a_place_is_what_it_was_driven_at(track):
    places = np.array([100.0, 300.0, 500.0, 800.0])

    speed_mps, _ = driven_speed(track, [driven(track, laps=0.98, speed_mps=rising)], places)

    assert speed_mps == pytest.approx(rising(places), abs=0.15)


def test_what_was_not_driven_at_the_seam_lies_between_what_was_on_either_side(track):
    # From 20 m to 20 m before the end: 12.2 m/s at the one, 21.8 m/s at the other.
    drive_of_a_lap = driven(track, laps=(LENGTH_M - 40.0) / LENGTH_M, speed_mps=rising)

    speed_mps, _ = driven_speed(track, [drive_of_a_lap], np.array([LENGTH_M - 10.0, 0.0, 10.0]))

    assert speed_mps == pytest.approx([19.4, 17.0, 14.6], abs=0.6)


def test_of_several_passes_the_median_counts(track):
    passes = [
        driven(track, laps=0.98, speed_mps=lambda s, v=v: np.full(len(s), v))
        for v in (10.0, 15.0, 24.0)
    ]

    speed_mps, _ = driven_speed(track, passes, np.array([400.0]))

    assert speed_mps == pytest.approx([15.0], abs=0.1)


def test_a_line_that_is_always_the_same_varies_by_nothing(track):
    _, sigma_m = driven_speed(track, [driven(track)], np.array([400.0]))

    assert sigma_m == pytest.approx([0.0], abs=0.1)


def test_half_a_lap_is_too_little_and_three_quarters_are_enough(track):
    with pytest.raises(NoLapError, match=r"cover 5\d % of the track"):
        require_driven(track, driven(track, laps=0.5))
    require_driven(track, driven(track, laps=0.75))


def test_a_lap_of_a_fix_a_second_covers_the_track_as_one_of_ten_does(track):
    # Fixes 18 m apart: most of the line has none within 5 m.
    outing = drive(ROAD, begin_m=20.0, laps=1.0, cruise=rising)
    slow = smooth(outing.recording(1, doppler=True), track.plane)
    places = np.array([100.0, 310.0, 555.0])

    require_driven(track, slow)
    speed_mps, _ = driven_speed(track, [slow], places)

    assert speed_mps == pytest.approx(rising(places), abs=0.2)


def test_a_gap_is_not_driven(track):
    # 40 s of a lap of 52 s are missing.
    recording = drive(ROAD, begin_m=20.0, laps=1.0, cruise=18.0).recording(10, doppler=True)
    kept = (recording.time_s < 6.0) | (recording.time_s > 46.0)
    shortened = Recording(
        "invented",
        recording.time_s[kept],
        *(recording.longitude_deg[kept], recording.latitude_deg[kept]),
        speed_mps=recording.speed_mps[kept],
        course_deg=recording.course_deg[kept],
    )

    with pytest.raises(NoLapError, match=r"cover 2\d % of the track"):
        require_driven(track, smooth(shortened, track.plane))
