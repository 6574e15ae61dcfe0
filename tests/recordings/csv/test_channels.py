"""The columns of a table besides its fixes, kept as channels."""

from __future__ import annotations

import numpy as np
import pytest
from csv_tables import rows
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trackkit.budgets import raised
from trackkit.recordings.read import read_recording


def channels_of(path):
    return {channel.name: channel for channel in read_recording(path).channels}


def table(header, *columns, interval_s=0.1):
    """Fixes along a parallel, and other columns of cells."""
    count = len(columns[0])
    lines = (
        f"{n * interval_s:.1f},48.1,{161.5 + n * 1e-5:.5f}," + ",".join(c[n] for c in columns)
        for n in range(count)
    )
    return rows(f"time_s,lat,lon,{header}", *lines)


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("RPM", "RPM", None),
        ("water temp [°C]", "water temp", "°C"),
        ("oil (bar)", "oil", "bar"),
        ("lambda", "lambda", None),
        ("exhaust (left) [°C]", "exhaust (left)", "°C"),
        ("speed (furlongs)", "speed", "furlongs"),
        ("  air   temp ", "air temp", None),
    ],
)
def test_name_and_unit_are_those_of_the_header(header, name, unit, csv):
    (channel,) = read_recording(csv(table(header, ["1", "2", "4.5"]))).channels

    assert (channel.name, channel.unit) == (name, unit)
    assert channel.time_s.tolist() == [0.0, 0.1, 0.2]
    assert channel.value.tolist() == [1.0, 2.0, 4.5]


def test_a_row_of_units_below_the_header_names_the_units(csv):
    text = rows(
        "time,lat,lon,oil (rear),RPM",
        "s,deg,deg,bar,",
        "0,48.1,161.5,3.5,9000",
        "1,48.1,161.6001,3.6,9100",
        "2,48.1,161.6002,3.7,9200",
    )
    oil, engine = read_recording(csv(text)).channels

    assert (oil.name, oil.unit) == ("oil (rear)", "bar")
    assert (engine.name, engine.unit) == ("RPM", None)


def test_columns_of_one_name_are_numbered_and_those_without_are_called_by_their_place(csv):
    text = table("temp,temp,", ["1", "2"], ["3", "4"], ["5", "6"])

    assert {name: c.value.tolist() for name, c in channels_of(csv(text)).items()} == {
        "temp": [1.0, 2.0],
        "temp 2": [3.0, 4.0],
        "column 6": [5.0, 6.0],
    }


def test_a_column_of_texts_is_no_channel_and_one_that_is_partly_broken_keeps_what_is_not(csv):
    text = table(
        "note,oil,dead,lambda",
        ["start", "", "7", "stop"],
        ["3.1", "--", "?", "1_000"],
        ["n/a", "n/a", "n/a", "n/a"],
        ["0.9", "1e-1", "x", "inf"],
    )
    channels = channels_of(csv(text))

    assert list(channels) == ["lambda"]
    np.testing.assert_array_equal(channels["lambda"].value, [0.9, 0.1, np.nan, np.nan])


def test_blank_cells_are_no_values_so_that_slow_sensors_have_times_of_their_own(csv):
    text = table("RPM,water", [*"123456"], ["80", "", "", "81", "", ""])
    channels = channels_of(csv(text))

    assert channels["RPM"].time_s == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
    assert channels["water"].time_s == pytest.approx([0.0, 0.3])
    assert channels["water"].value.tolist() == [80.0, 81.0]


def test_rows_between_fixes_keep_their_values_at_their_times(csv):
    text = rows(
        "time_s,lat,lon,RPM",
        "0.00,,,1",
        "0.10,48.1,161.5,2",
        "0.15,,,3",
        "0.20,48.1,161.50001,4",
        "0.25,,,5",
        "0.30,48.1,161.50002,6",
        "0.35,,,7",
    )
    (channel,) = read_recording(csv(text)).channels

    # From the first fix to the last.
    assert channel.time_s == pytest.approx([0.0, 0.05, 0.1, 0.15, 0.2])
    assert channel.value.tolist() == [2.0, 3.0, 4.0, 5.0, 6.0]


def test_values_stay_where_a_position_goes_and_go_where_a_time_does(csv):
    lines = [f"{n / 10:.1f},48.1,{161.5 + n * 1e-5:.5f},{n}" for n in range(40)]
    lines[10] = "1.0,48.4,161.6,10"  # a jump of 30 km
    lines[20] = "1.55,48.1,161.5002,20"  # time goes back
    lines[30] = "2.9,48.1,161.5003,30"  # the same time again
    recording = read_recording(csv(rows("time_s,lat,lon,count", *lines)))
    (channel,) = recording.channels

    assert recording.removed == {"jump": 1, "time going backwards": 1, "duplicate time": 1}
    assert channel.value.tolist() == [n for n in range(40) if n not in (20, 30)]
    assert channel.time_s * 10 == pytest.approx(channel.value)


def test_decimal_commas_hold_for_channels_too(csv):
    text = rows(
        "time;lat;lon;oil", *(f"{n},0;48,1;161,5000{n};3,{n}" for n in range(5)), "5,0;;;3,5"
    )
    (channel,) = read_recording(csv(text)).channels

    assert channel.value.tolist() == [3.0, 3.1, 3.2, 3.3, 3.4]


def test_a_column_that_gives_way_to_one_the_user_names_is_a_channel(csv):
    text = table("speed (m/s),wheel (m/s)", ["10", "11", "12"], ["20", "21", "22"])
    recording = read_recording(csv(text), columns={"speed": "wheel (m/s)"})

    assert recording.speed_mps.tolist() == [20.0, 21.0, 22.0]
    assert [(c.name, c.unit) for c in recording.channels] == [("speed", "m/s")]


def test_more_values_than_the_limit_are_left_out_and_the_fixes_are_read(csv):
    path = csv(table("a,b,c", [*"123"], [*"456"], [*"789"]))
    with raised({"channel_values": 7}):
        recording = read_recording(path)

    assert [channel.name for channel in recording.channels] == ["a", "b"]
    assert recording.remarks == (
        "left out the last 1 other column: their values are more than the limit channel_values",
    )
    assert len(recording) == 3


CELLS = st.sampled_from(["", " ", "0", "-1.5", "9e3", "--", "nan", "inf", "1_0", "x y", '"8"'])


@pytest.mark.slow
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(cells=st.lists(st.lists(CELLS, min_size=12, max_size=12), min_size=1, max_size=4))
def test_whatever_other_columns_hold_the_fixes_are_the_same_bit_for_bit(cells, csv):
    bare = [f"{n / 10:.1f},48.1,{161.5 + n * 1e-5:.5f},{10 + n / 7:.3f}" for n in range(12)]
    bare[5] = "0.5,,,"
    header = "time_s,lat,lon,speed (m/s)"
    alone = read_recording(csv(rows(header, *bare)))
    lines = [",".join([line, *(column[n] for column in cells)]) for n, line in enumerate(bare)]
    beside = read_recording(csv(rows(",".join([header, *"pqrs"[: len(cells)]]), *lines)))

    for name in ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "segment"):
        assert getattr(alone, name).tobytes() == getattr(beside, name).tobytes()
    assert (alone.removed, alone.remarks) == (beside.removed, beside.remarks)
    for channel in beside.channels:
        assert np.isfinite(channel.value).any()
        assert (channel.time_s >= 0).all()
        assert (channel.time_s <= beside.time_s[-1]).all()
