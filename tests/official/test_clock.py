"""Times of day read from official lists, by ISO 8601 and as timekeepers write them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from trackkit.errors import TrackkitError
from trackkit.official.clock import clock_difference, follow_days, lap_ends, read_moment


@pytest.mark.parametrize(
    ("text", "seconds", "day"),
    [
        ("14:05:06.789", 50706.789, None),
        ("14:05:06,789", 50706.789, None),
        ("2024-05-04T14:05:06Z", 50706.0, date(2024, 5, 4)),
        ("2024-05-04 14:05:06.5+02:00", 43506.5, date(2024, 5, 4)),
        ("50706.789", 50706.789, None),
    ],
)
def test_times_of_day_are_seconds_from_midnight(text, seconds, day):
    found = read_moment(text)

    assert found is not None
    assert found == (pytest.approx(seconds), day)


@pytest.mark.parametrize(
    "text", ["14:61:00", "25:00:00", "2024-13-01 10:00:00", "noon", "1:02.345"]
)
def test_what_is_no_time_of_day_is_none(text):
    assert read_moment(text) is None


def test_times_go_on_over_midnight():
    moments = [(86_390.0, None), (40.0, None), None, (95.0, None)]

    assert follow_days(moments)[0] == [86_390.0, 86_440.0, None, 86_495.0]


@pytest.mark.parametrize("zone_h", [-9.5, 0.0, 5.75, 12.0])
def test_a_time_zone_is_told_from_a_clock_that_is_wrong(zone_h):
    start = datetime(2024, 5, 4, 9, 0, tzinfo=UTC)
    recorded = [100.0, 150.0, 200.0]
    listed = [9 * 3600 + zone_h * 3600 + t + 1.5 for t in recorded]
    base, zone = clock_difference(listed, recorded, None, start)

    assert zone == zone_h * 3600
    assert [t - base for t in listed] == pytest.approx([t + 1.5 for t in recorded])


@pytest.mark.parametrize("zone_h", [-11.0, -10.0, -9.5, 13.0, 14.0])
@pytest.mark.parametrize("hour", [2, 9, 23])
def test_with_its_date_a_zone_of_one_end_is_not_taken_for_the_other(zone_h, hour):
    # Honolulu keeps 10 hours behind UTC, Kiritimati 14 ahead: the same clock face (IANA zones).
    start = datetime(2024, 5, 4, hour, 0, tzinfo=UTC)
    local = start.replace(tzinfo=None) + timedelta(hours=zone_h)
    from_midnight = local.hour * 3600.0 + local.minute * 60.0
    recorded = [100.0, 150.0]
    listed = [from_midnight + t + 1.5 for t in recorded]
    base, zone = clock_difference(listed, recorded, local.date(), start)

    assert zone == zone_h * 3600
    assert [t - base for t in listed] == pytest.approx([t + 1.5 for t in recorded])


LAP_S = (60.0, 61.5, 59.0, 62.25)


@pytest.mark.parametrize("begun", [False, True])
def test_moments_of_laps_are_those_that_laps_ended_or_began_at_as_lap_times_tell(begun):
    passed = [100.0 + sum(LAP_S[: lap if begun else lap + 1]) for lap in range(4)]

    ends, remark = lap_ends([1, 2, 3, 4], LAP_S, passed, 0.01)

    assert ends == pytest.approx([160.0, 221.5, 280.5, 342.75])
    assert remark.endswith("as they fit so") == begun


def test_laps_with_others_between_them_tell_nothing_of_what_moments_are():
    # Laps 3 and 9 are ten minutes apart, which no lap time is.
    passed = [160.0, 221.5, 900.0, 962.25]

    ends, _ = lap_ends([2, 3, 9, 10], LAP_S, passed, 0.01)

    assert ends == passed


def test_moments_that_are_neither_are_refused():
    with pytest.raises(TrackkitError, match="of 3 laps 0 fit times at which laps end and 0"):
        lap_ends([1, 2, 3, 4], LAP_S, [0.0, 10.0, 20.0, 30.0], 0.01)
