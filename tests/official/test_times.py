"""Lists of official times: read, or asked about."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.budgets import raised
from trackkit.errors import TrackkitError
from trackkit.official.times import OfficialLap, read_official


@pytest.fixture
def listed(tmp_path):
    """Write a list and read it."""

    def read(text, **columns):
        path = tmp_path / "official.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_official(path, columns)

    return read


def times_of(official):
    return [lap.time_s for lap in official.laps]


@pytest.mark.parametrize(
    "text",
    [
        "lap,time\n1,1:02.345\n2,59.8\n",
        "Lap No;Lap time\n1;1:02,345\n2;59,8\n",
        "lap\ttime of day\tlap time (s)\n1\t14:03:51.2\t62.345\n2\t14:04:51.0\t59.800\n",
        "1,1:02.345\n2,59.8\n",
        "1:02.345\n59.8\n",
        "62.345\n59.800\n",
        "# of an invented club\n\ntime\n0:01:02.345\n59.8\n",
        "Invented Cup, heat 1\nkart,lap,time\n7,1,1:02.345\n7,2,59.8\n",
        "lap;lap_time_ms\n1;62345\n2;59800\n",
        "lap,time\r\n1,1'02.345\r\n2,59.8 s\r\n",
        "\ufefflap|time\n1|1:02.345\n2|59.8\n",
    ],
)
def test_minutes_or_seconds_with_or_without_header_are_read(listed, text):
    official = listed(text)

    assert times_of(official) == pytest.approx([62.345, 59.8], abs=1e-9)
    assert [lap.number for lap in official.laps] == [1, 2]


@pytest.mark.slow
def test_more_laps_than_one_driver_drives_are_refused(listed):
    assert len(listed("60.0\n" * 10_000).laps) == 10_000
    sentence = (
        "holds lines for 10,001 lap times, more than the 10,000 that trackkit takes on; "
        "keep the laps of one driver, or raise the limit"
    )
    with pytest.raises(TrackkitError, match=sentence) as refused:
        listed("60.0\n" * 10_001)
    assert refused.value.remedy.value == {"limit": "official_laps", "most": 10_001}
    with raised({"official_laps": 10_001}):
        assert len(listed("60.0\n" * 10_001).laps) == 10_001


def test_sectors_are_read_by_their_headers(listed):
    official = listed("lap,sector 1,sector 2,S3,time\n4,20.1,21.2,22.3,1:03.6\n5,,21,22,1:03.1\n")

    assert [lap.sectors_s for lap in official.laps] == [(20.1, 21.2, 22.3), (None, 21.0, 22.0)]
    assert times_of(official) == [63.6, 63.1]


def test_sectors_without_a_lap_time_add_up_to_it(listed):
    official = listed("sector 1,sector 2\n20.1,21.2\n20,\n")

    assert times_of(official) == [pytest.approx(41.3), None]


def test_without_a_header_the_column_that_is_the_sum_of_the_others_is_the_lap_time(listed):
    official = listed("1,20.100,21.200,22.300,63.600\n2,20.000,21.000,22.000,63.000\n")

    assert times_of(official) == [63.6, 63.0]
    assert official.laps[0].sectors_s == (20.1, 21.2, 22.3)


def test_laps_ranked_by_time_are_put_in_the_order_they_were_driven(listed):
    official = listed("lap,time\n7,50.1\n3,50.2\n5,50.9\n")

    assert [lap.number for lap in official.laps] == [3, 5, 7]
    assert official.remarks == ("put in order of the lap numbers",)


def test_a_lap_without_a_time_stays_without(listed):
    assert times_of(listed("lap,time\n1,-\n2,50.1\n3,\n")) == [None, 50.1, None]


@pytest.mark.parametrize(("time", "resolution"), [("51.25", 0.01), ("51.2", 0.1), ("51", 1.0)])
def test_the_last_decimal_given_is_known(listed, time, resolution):
    assert listed(f"time\n{time}\n").resolution_s == pytest.approx(resolution)


def test_columns_can_be_named_or_numbered(listed):
    text = "Runde,Zeit,Abschnitt\n1,51.1,20.1\n2,51.2,20.2\n"

    by_name = listed(text, lap="runde", time="Zeit", sector1="Abschnitt")
    by_number = listed(text, lap="1", time="2", sector1="3")

    assert by_name.laps == by_number.laps
    assert by_name.laps[1] == OfficialLap(2, 51.2, (20.2,), 3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a,b\n51.1,52.2\n", "which of its columns holds the lap time"),
        ("lap,lap time,official\n1,51.1,51.2\n", "which holds the lap time: 'lap time' (column 2)"),
        ("51.1,52.2\n51.3,52.9\n", "which holds the lap time"),
        ("51,250\n52,310\n", "decimals with a comma need semicolons"),
        ("lap,time\n1,51,250\n", "2 columns in the header but 3"),
        ("lap,time\n1,14:03:51.0\n2,14:04:42.0\n", "times of day"),
        ("lap,time\n1,fast\n", "line 2: 'fast' is no time"),
        ("lap,time\n1,1:75.0\n", "'1:75.0' is no time"),
        ("lap,time\none,51.0\n", "'one' is no lap number"),
        ("lap,time\n3,51.0\n3,52.0\n", "lap 3 stands in line 2 already"),
        ("lap,time\n", "no lap time below"),
        ("lap,time\n1,\n", "holds no lap time"),
        ("", "is empty"),
        ("# nothing\n", "no line of times"),
        (bytes(range(128, 256)) + b"\n7", "which of its columns"),
    ],
)
def test_what_is_not_clear_is_asked_and_what_is_wrong_is_told_with_its_place(listed, text, says):
    with pytest.raises(TrackkitError) as error:
        listed(text)

    assert says in str(error.value)
    assert "official.csv" in str(error.value)
    assert "\n" not in str(error.value)


def test_a_column_that_is_not_there_is_told(listed):
    with pytest.raises(TrackkitError, match="no one column 'Zeit'"):
        listed("lap,time\n1,51.0\n", time="Zeit")


def test_a_role_that_official_times_do_not_have_is_told(listed):
    with pytest.raises(TrackkitError, match="no 'speed'"):
        listed("lap,time\n1,51.0\n", speed="2")


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(TrackkitError, match="no such file"):
        read_official(tmp_path / "none.csv")


@given(st.floats(0.001, 7000.0), st.sampled_from("ms"))
def test_any_time_is_read_as_it_is_written(tmp_path_factory, seconds, how):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    thousandths = round(seconds * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    text = (
        f"{minutes}:{rest // 1000:02d}.{rest % 1000:03d}"
        if how == "m"
        else f"{thousandths // 1000}.{thousandths % 1000:03d}"
    )
    path.write_text(f"time\n{text}\n")

    assert times_of(read_official(path)) == [pytest.approx(thousandths / 1000, abs=1e-9)]


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


def test_a_row_that_ends_early_lacks_what_its_other_columns_hold(tmp_path):
    path = tmp_path / "official.csv"
    path.write_text("lap,time,sector 1,sector 2\n1,60.0,29.5,30.5\n2,61.0,30.0\n3,62.0\n", "utf-8")

    laps = read_official(path).laps

    assert [lap.time_s for lap in laps] == [60.0, 61.0, 62.0]
    assert [lap.sectors_s for lap in laps] == [(29.5, 30.5), (30.0, None), (None, None)]


def test_the_resolution_is_that_of_the_finest_cell(tmp_path):
    path = tmp_path / "official.csv"
    for text, resolution in (("60\n61\n", 1.0), ("60.0\n61.25\n", 0.01), ("1:00,123\n", 1e-3)):
        path.write_text("time;\n" + text, "utf-8")

        assert read_official(path).resolution_s == pytest.approx(resolution)


def test_a_lap_without_a_lap_time_column_is_the_sum_of_all_its_sectors(tmp_path):
    path = tmp_path / "official.csv"
    path.write_text("lap,sector 1,sector 2\n1,29.5,30.5\n2,30.0,\n3,28.0,30.0\n", "utf-8")

    assert [lap.time_s for lap in read_official(path).laps] == [60.0, None, 58.0]
