"""Which column of a list of official times holds what."""

import pytest

from trackkit.errors import TrackkitError
from trackkit.official.columns import read_seconds
from trackkit.official.times import read_official


@pytest.fixture
def listed(tmp_path):
    """Write a list and read it."""

    def read(text, **columns):
        path = tmp_path / "official.csv"
        path.write_text(text, "utf-8")
        return read_official(path, columns)

    return read


@pytest.mark.parametrize(
    "text",
    [
        "Invented Cup, heat 1\n1;62.345\n2;59.800\n",
        "2024\n1;62,345\n2;59,800\n",
        "1|1:02,345\n2|0:59,800\n",
        "Results; draft\nlap,time\n1,62.345\n2,59.800\n",
        "LapNo\tLapTime\n1\t62.345\n2\t59.800\n",
        "Lap times (heat 1)\n\nlap;lap time [min:s]\n1;1:02,345\n2;0:59,800\n",
    ],
)
def test_titles_and_decimal_commas_do_not_hide_what_stands_between_cells(listed, text):
    laps = listed(text, lap="1", time="2").laps

    timed = [(lap.number, lap.time_s) for lap in laps if lap.time_s is not None]
    assert timed == [(1, pytest.approx(62.345)), (2, pytest.approx(59.8))]


def test_a_column_named_for_one_thing_is_no_longer_another(listed):
    official = listed("lap,time\n1,14:03:51.0\n2,14:04:42.0\n", passing="time")

    assert [lap.time_s for lap in official.laps] == [None, pytest.approx(51.0)]


@pytest.mark.parametrize(
    "header", ["lap_time_ms", "Lap time (ms)", "LapTimeMs", "time [milliseconds]", "Zeit ms"]
)
def test_milliseconds_are_told_by_the_header(listed, header):
    (lap,) = listed(f"{header}\n62345\n", time=header).laps
    assert lap.time_s == pytest.approx(62.345)


def test_fewer_names_than_cells_are_told_as_split_decimals(listed):
    with pytest.raises(TrackkitError, match="3 columns in the header but 4 in this row"):
        listed("Nr,Zeit,Runde\n1,0:59,331,7\n2,0:48,156,8\n", time="2")


# Without a header the numbers tell


@pytest.mark.parametrize(
    ("text", "laps"),
    [
        ("62.345\n59.8\n61.0\n", [(1, 62.345), (2, 59.8), (3, 61.0)]),
        ("4;62.345\n5;59.8\n7;61.0\n", [(4, 62.345), (5, 59.8), (7, 61.0)]),
        ("1,20.1,21.2,22.3,63.6\n2,20.0,21.0,22.0,63.0\n", [(1, 63.6), (2, 63.0)]),
        ("1,63.6,20.1,21.2,22.3\n2,63.0,20.0,21.0,22.0\n", [(1, 63.6), (2, 63.0)]),
        ("20.1,21.2,22.3,63.6\n20.0,21.0,22.0,63.0\n", [(1, 63.6), (2, 63.0)]),
        ("1,20.1,21.2,,\n2,20.0,21.0,22.0,63.002\n", [(1, None), (2, 63.002)]),
    ],
)
def test_lap_numbers_count_up_and_the_lap_is_the_sum_of_its_sectors(listed, text, laps):
    official = listed(text)

    assert [(lap.number, lap.time_s) for lap in official.laps] == laps
    for lap in official.laps:
        if lap.sectors_s and lap.time_s is not None:
            assert sum(lap.sectors_s) == pytest.approx(lap.time_s, abs=0.01)
            assert len(lap.sectors_s) == 3


@pytest.mark.parametrize(
    "text",
    [
        "1,20.1,21.2\n2,20.0,21.0\n",
        "1,20.1,21.2,22.3,70.0\n2,20.0,21.0,22.0,70.0\n",
        "2,62.345\n1,59.800\n",
        "1,30.0,30.0,60.0,0.0\n2,31.0,31.0,62.0,0.0\n3,30,30,60,120\n",
    ],
    ids=["which", "no sum", "falling", "changing"],
)
def test_where_numbers_do_not_tell_it_is_asked(listed, text):
    with pytest.raises(TrackkitError, match="which holds the lap time"):
        listed(text)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("62.345", 62.345),
        ("1:02.345", 62.345),
        ("1'02,345", 62.345),
        ("1:00:02.5", 3602.5),
        ("62 s", 62.0),
        ("0:59.9", 59.9),
        ("1:60.0", None),
        ("1:60:00.0", None),
        ("75:00.0", 4500.0),
        ("-1.0", None),
        ("1:02:03:04", None),
        ("", None),
    ],
)
def test_times_are_read_as_timekeepers_write_them(text, seconds):
    assert read_seconds(text) == (None if seconds is None else pytest.approx(seconds))
