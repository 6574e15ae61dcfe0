"""Recordings that nothing could have driven are refused, with what was seen in them."""

import numpy as np
import pytest

from trackkit.errors import RecordingError
from trackkit.recordings.clean import clean
from trackkit.recordings.raw import RawFixes

# A degree of a meridian is about 111.2 km on a sphere of the earth's mean radius.
DEGREE_M = 111_195.0
SEA = (-128.0, 43.0)


def fixes(time_s, east_m, north_m):
    narrow = np.cos(np.radians(SEA[1]))
    return RawFixes(
        time=np.asarray(time_s, dtype=float),
        longitude_deg=SEA[0] + np.asarray(east_m) / DEGREE_M / narrow,
        latitude_deg=SEA[1] + np.asarray(north_m) / DEGREE_M,
    )


def circle(count, *, radius_m=80.0, speed_mps=15.0, interval_s=0.2):
    time = interval_s * np.arange(count)
    angle = speed_mps * time / radius_m
    return time, radius_m * np.cos(angle), radius_m * np.sin(angle)


def test_a_drive_at_any_usual_rate_is_read():
    for interval in (0.04, 0.2, 1.0, 5.0):
        assert len(clean(fixes(*circle(300, interval_s=interval)), "a")) == 300


def test_a_lap_in_nanoseconds_is_refused_with_its_speed():
    _, east, north = circle(400)

    with pytest.raises(RecordingError) as refused:
        clean(fixes(1e-9 * np.arange(400), east, north), "a.csv")
    assert "km/h, and goes on like that: its times are not those of its positions" in str(
        refused.value
    )


@pytest.mark.parametrize("apart_m", [50.0, 1_000.0])
def test_two_recordings_mixed_fix_by_fix_are_refused_with_how_far_they_are_apart(apart_m):
    time, east, north = circle(400, speed_mps=10.0, interval_s=1.0)
    other = np.arange(400) % 2 * apart_m

    with pytest.raises(RecordingError) as refused:
        clean(fixes(time, east + other, north), "a.csv")
    assert "a.csv: " in str(refused.value)
    assert "mixed in it" in str(refused.value)


def astray(count, share, away_m=5_000.0):
    """A drive some of whose fixes, each by itself, are far from the others."""
    time, east, north = circle(count, interval_s=1.0)
    every = round(1.0 / share)
    east[every // 2 :: every] += away_m
    return fixes(time, east, north)


def test_a_tenth_of_fixes_astray_goes_and_the_rest_stays():
    recording = clean(astray(300, 0.1), "a")

    assert recording.removed == {"jump": 30}


def test_of_a_recording_more_than_a_fifth_of_which_is_astray_nothing_is_believed():
    with pytest.raises(RecordingError, match="would need more than one in five of its fixes"):
        clean(astray(300, 0.25), "a")


def test_positions_off_the_earth_count_among_what_is_wrong():
    raw = fixes(*circle(300))
    raw.latitude_deg[::4] = 99.0

    with pytest.raises(RecordingError, match=r"one in five of its fixes removed \(.*75 bad pos"):
        clean(raw, "a")


def test_positions_that_are_no_numbers_contradict_nothing():
    raw = fixes(*circle(300))
    raw.latitude_deg[::4] = np.nan

    assert clean(raw, "a").removed == {"bad position": 75}


def test_fixes_before_the_receiver_knows_where_it_is_count_for_nothing():
    raw = fixes(*circle(300))
    raw.longitude_deg[:120] = raw.latitude_deg[:120] = 0.0

    assert clean(raw, "a").removed == {"position at 0, 0": 120}


def test_of_a_handful_of_fixes_a_share_says_nothing():
    assert clean(astray(12, 0.25), "a").removed == {"jump": 3}
