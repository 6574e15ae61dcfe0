"""Which column of a list of official times holds what."""

import pytest

from trackkit.errors import TrackkitError
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
