"""Bounds of what a time of day can be, which lines count, and which day a list is of."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from trackkit.errors import TrackkitError
from trackkit.official.clock import clock_difference, follow_days, lap_ends, read_moment

HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        # ISO 8601 lets a day end at 24:00, and a minute have a leap second.
        ("24:00:00", 86400.0),
        ("23:59:60", 86400.0),
        ("00:59:59", 3599.0),
        ("0:00:00.5", 0.5),
        ("25:00:00", None),
        ("23:60:00", None),
        ("23:59:61", None),
        ("99999999999", 99999999999.0),
        ("100000000000", None),
        ("-5", None),
    ],
)
def test_what_no_clock_shows_is_no_time_of_day(text, seconds):
    found = read_moment(text)

    assert (None if found is None else found[0]) == seconds


@pytest.mark.parametrize(
    ("offset", "hours"),
    [("+02:30", -2.5), ("-02:30", 2.5), ("+0230", -2.5), ("Z", 0.0), ("", 0.0), ("-11:00", 11.0)],
)
def test_an_offset_from_utc_is_taken_off(offset, hours):
    assert read_moment(f"12:00:00{offset}")[0] == pytest.approx((12.0 + hours) * HOUR_S)


def test_seconds_alone_are_scaled_and_clock_times_are_not():
    # A list in thousandths.
    assert read_moment("50706789", 1e-3) == (pytest.approx(50706.789), None)
    assert read_moment("14:05:06", 1e-3) == (50706.0, None)


def test_moments_are_counted_on_over_midnights():
    moments = [(86390.0, None), None, (10.0, None), (86380.0, None), (30.0, None)]

    # Twenty seconds after the first; then ten before the next midnight; then beyond it.
    seconds, first = follow_days(moments)

    assert seconds == [86390.0, None, 86410.0, 86380.0, 86430.0]
    assert first is None


def test_dates_count_days_from_the_first():
    day = date(2024, 5, 4)

    seconds, first = follow_days([None, (50.0, day), (60.0, day + timedelta(2)), (70.0, None)])

    assert first == day
    assert seconds == [None, 50.0, 172860.0, 172870.0]
    # Without a date at first, dates say nothing.
    assert follow_days([(50.0, None), (60.0, day)]) == ([50.0, 60.0], None)
    assert follow_days([None]) == ([None], None)


TIMES = [60.0, 61.0, 62.0, 63.0]
ENDS = [160.0, 221.0, 283.0, 346.0]
BEGINS = [100.0, 160.0, 221.0, 283.0]


def test_moments_fit_the_ends_or_the_beginnings_of_laps():
    assert lap_ends([1, 2, 3, 4], TIMES, ENDS, 0.1) == (ENDS, "")
    ends, words = lap_ends([1, 2, 3, 4], TIMES, BEGINS, 0.1)
    assert ends == pytest.approx(ENDS)
    assert "at which laps begin" in words
    # Where one is not known, neither is its end.
    ends, _ = lap_ends([1, 2, 3, 4], TIMES, [*BEGINS[:3], None], 0.1)
    assert ends == [*ENDS[:3], None]


@pytest.mark.parametrize(("off_s", "fits"), [(0.1, True), (0.11, False)])
def test_they_fit_within_what_is_expected(off_s, fits):
    # Each lap ends later by that than its time says.
    late = [100.0 + 60.0, 221.0 + off_s, 283.0 + 2 * off_s, 346.0 + 3 * off_s]

    if fits:
        assert lap_ends([1, 2, 3, 4], TIMES, late, 0.1 + 1e-9)[0] == late
    else:
        with pytest.raises(TrackkitError, match="of 3 laps 0 fit times at which laps end and 0"):
            lap_ends([1, 2, 3, 4], TIMES, late, 0.1)


def test_only_laps_that_follow_one_another_are_tried():
    # Between laps 2 and 5 there may have been anything.
    assert lap_ends([1, 2, 5], TIMES[:3], [160.0, 221.0, 999.0], 0.1)[1] == ""
    with pytest.raises(TrackkitError, match="of 2 laps"):
        lap_ends([1, 2, 3], TIMES[:3], [160.0, 300.0, 999.0], 0.1)
    # Every second one is enough.
    assert lap_ends([1, 2, 3], TIMES[:3], [160.0, 221.0, 999.0], 0.1)[1] == ""
    # With nothing to try nothing disagrees.
    assert lap_ends([1, 2], [None, 61.0], [160.0, 999.0], 0.1)[0] == [160.0, 999.0]
    assert lap_ends([1, 2], [60.0, None], [160.0, 999.0], 0.1)[0] == [160.0, 999.0]
    assert lap_ends([7], [60.0], [None], 0.1)[0] == [None]


START = datetime(2024, 5, 4, 10, 0, 0, 500_000, tzinfo=UTC)


@pytest.mark.parametrize("zone_h", [-9.5, -5.0, 0.0, 2.0, 5.75, 14.0])
def test_the_time_zone_of_a_list_is_told_to_a_quarter_of_an_hour(zone_h):
    # Passed 100 s after the first fix; the official clock is 30 s fast besides.
    moment = (10.0 + zone_h) * HOUR_S + 0.5 + 100.0 + 30.0

    base, zone = clock_difference([moment], [100.0], None, START)

    assert zone == pytest.approx(zone_h * HOUR_S)
    assert base == pytest.approx((10.0 + zone_h) * HOUR_S + 0.5)


@pytest.mark.parametrize(("ahead_h", "zone_h"), [(14.2, 14.25), (14.5, -9.5)])
def test_a_clock_is_at_most_fourteen_hours_ahead_or_else_behind(ahead_h, zone_h):
    moment = (10.0 + ahead_h) * HOUR_S

    assert clock_difference([moment], [0.0], None, START)[1] == pytest.approx(zone_h * HOUR_S)


def test_by_its_date_a_list_is_of_the_day_recorded_or_the_one_beside_it():
    early = datetime(2024, 5, 4, 1, 0, tzinfo=UTC)
    # At 20:00 of the day before, 5 hours behind UTC.
    base, zone = clock_difference([20 * HOUR_S], [0.0], date(2024, 5, 3), early)
    assert zone == pytest.approx(-5 * HOUR_S)
    assert base == pytest.approx(20 * HOUR_S)
    with pytest.raises(TrackkitError, match="are of 2024-05-06, the recording of 2024-05-04"):
        clock_difference([1 * HOUR_S], [0.0], date(2024, 5, 6), early)


@pytest.mark.parametrize(("ahead_h", "other_day"), [(14.9, False), (15.1, True), (-15.1, True)])
def test_with_a_date_fifteen_hours_are_too_many(ahead_h, other_day):
    noon = datetime(2024, 5, 4, 12, 0, tzinfo=UTC)
    moment = [(12.0 + ahead_h) * HOUR_S]

    if other_day:
        with pytest.raises(TrackkitError, match="the recording of"):
            clock_difference(moment, [0.0], noon.date(), noon)
    else:
        clock_difference(moment, [0.0], noon.date(), noon)


def test_a_start_in_another_zone_is_the_same_moment():
    there = START.astimezone(timezone(timedelta(hours=3)))

    assert clock_difference([HOUR_S], [0.0], None, there) == clock_difference(
        [HOUR_S], [0.0], None, START
    )
    assert clock_difference([HOUR_S], [0.0], None, START.replace(tzinfo=None)) == clock_difference(
        [HOUR_S], [0.0], None, START
    )


@pytest.mark.parametrize("zone_h", [-11.0, -2.5, 0.0, 5.75, 13.0])
def test_a_difference_of_clocks_is_the_time_of_day_and_a_zone(zone_h):
    start = datetime(2024, 5, 4, 10, 23, 45, 678_900, tzinfo=UTC)
    recorded_s = [61.5, 122.25, 190.0]
    # Python's own arithmetic of dates; the zones of IANA come in quarters of an hour.
    midnight = datetime(2024, 5, 4, tzinfo=UTC)
    moments_s = [
        (start + timedelta(seconds=s) - midnight).total_seconds() + zone_h * HOUR_S
        for s in recorded_s
    ]
    base_s, zone_s = clock_difference(moments_s, recorded_s, midnight.date(), start)
    assert zone_s == zone_h * HOUR_S
    assert base_s == pytest.approx(moments_s[0] - recorded_s[0], abs=1e-6)
