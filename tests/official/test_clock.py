"""Times of day read from official lists, by ISO 8601 and as timekeepers write them."""

from datetime import UTC, date, datetime

import pytest

from trackkit.errors import TrackkitError
from trackkit.official.clock import clock_difference, follow_days, read_moment
from trackkit.official.times import read_official


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


def written(tmp_path, text):
    path = tmp_path / "o.csv"
    path.write_text(text, "utf-8")
    return path


def test_lap_times_are_the_differences_of_times_of_day(tmp_path):
    times = read_official(
        written(tmp_path, "lap;time of day\n0;9:00:00.5\n1;9:00:51.7\n2;9:01:43.0\n4;9:03:20.1\n")
    )

    assert [lap.time_s for lap in times.laps] == [
        None,
        pytest.approx(51.2),
        pytest.approx(51.3),
        None,
    ]
    assert times.passed_resolution_s == 0.1
    assert "differences of its times of day" in times.remarks[0]


def test_times_of_day_at_which_laps_begin_are_known_by_the_lap_times(tmp_path):
    times = read_official(
        written(
            tmp_path, "lap,lap time,passed\n1,51.2,9:00:00.0\n2,52.3,9:00:51.2\n3,51.0,9:01:43.5\n"
        )
    )

    assert times.laps[0].passed_s == pytest.approx(9 * 3600 + 51.2)
    assert "at which laps begin" in times.remarks[-1]


def test_times_of_day_that_contradict_the_lap_times_are_refused(tmp_path):
    path = written(
        tmp_path, "lap,lap time,passed\n1,51.2,9:00:00.0\n2,52.3,9:02:51.2\n3,51.0,9:05:43.5\n"
    )
    with pytest.raises(TrackkitError, match="do not agree"):
        read_official(path)


def test_a_column_of_times_of_day_can_be_named(tmp_path):
    path = written(tmp_path, "No,Laptime,Hour\n1,51.2,9:00:51.2\n2,52.3,9:01:43.5\n")
    times = read_official(path, {"lap": "No", "time": "Laptime", "passing": "Hour"})

    assert times.laps[1].passed_s == pytest.approx(9 * 3600 + 103.5)
