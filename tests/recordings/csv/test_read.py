"""Delimited text read: numbers, places and times."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from subprocess import run

import numpy as np
import pytest
from csv_tables import PLAIN, rows

from trackkit.errors import RecordingError
from trackkit.recordings.read import read_recording


def test_a_plain_table_is_read(csv):
    recording = read_recording(csv(PLAIN))
    np.testing.assert_array_equal(recording.latitude_deg, [48.1, 48.10001])
    np.testing.assert_array_equal(recording.longitude_deg, [161.5, 161.5])
    np.testing.assert_array_equal(recording.time_s, [0.0, 0.5])
    assert recording.start == datetime(2024, 5, 1, 10, tzinfo=UTC)
    assert recording.remarks == ()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_marks_and_encodings_are_recognised(csv, encoding):
    recording = read_recording(csv(PLAIN.replace("latitude", "Latitude (°)"), encoding))
    assert len(recording) == 2


def test_decimal_commas_are_read_between_semicolons(csv):
    text = rows(
        "Zeit;time;lat;lon;speed (km/h)", "x;0,0;48,1;161,5;36,0", "y;0,1;48,10001;161,5;72,0"
    )
    recording = read_recording(csv(text))
    np.testing.assert_array_equal(recording.latitude_deg, [48.1, 48.10001])
    np.testing.assert_allclose(recording.speed_mps, [10.0, 20.0])
    assert recording.time_s[1] == pytest.approx(0.1)


def test_decimal_commas_between_commas_are_refused(csv):
    text = rows("time,lat,lon", "0,48,1,161,5", "1,48,2,161,5")
    with pytest.raises(RecordingError, match="line 2: has 3 columns in the header but 5 in this"):
        read_recording(csv(text))


def test_quoted_cells_trailing_delimiters_and_spaces_are_read(csv):
    text = rows(
        '"time", "lat", "lon", "note"', '"0","48.1","161.5","a, b",', '1, 48.1001, 161.5, "",'
    )
    np.testing.assert_array_equal(read_recording(csv(text)).latitude_deg, [48.1, 48.1001])


@pytest.mark.parametrize(
    ("unit", "metres_a_second"),
    [
        ("m/s", 1.0),
        ("km/h", 1000 / 3600),
        ("mph", 1609.344 / 3600),  # international mile
        ("kn", 1852 / 3600),  # international knot
    ],
)
def test_speed_is_converted_by_the_published_units(csv, unit, metres_a_second):
    text = rows(f"time,lat,lon,speed ({unit})", "0,48.1,161.5,100", "1,48.1,161.5,100")
    recording = read_recording(csv(text))
    np.testing.assert_allclose(recording.speed_mps, 100 * metres_a_second)


def test_1e7_degrees_are_recognised_by_name_and_by_size(csv):
    lines = ("0,481000001,115000001", "1,481000002,115000002")
    named = read_recording(csv(rows("time,lat_e7,lon_e7", *lines)))
    sized = read_recording(csv(rows("time,lat,lon", *lines)))
    np.testing.assert_allclose(named.latitude_deg, [48.1000001, 48.1000002], rtol=0, atol=1e-12)
    np.testing.assert_array_equal(named.longitude_deg, sized.longitude_deg)
    assert sized.remarks == ("positions were taken as 1e-7 degrees from their size",)
    assert named.remarks == ()


def test_positions_in_neither_unit_are_refused(csv):
    with pytest.raises(RecordingError, match=r"'4807.038', are neither degrees nor 1e-7"):
        read_recording(csv(rows("time,lat,lon", "0,4807.038,1131.0", "1,4807.039,1131.0")))


def test_positions_near_the_largest_number_a_float_holds_are_in_neither_unit(csv):
    latitude = "1.7e308"
    with pytest.raises(RecordingError, match=r"are neither degrees nor 1e-7"):
        read_recording(csv(rows("time,lat,lon", f"0,{latitude},1", f"1,{latitude},1")))


def test_hemispheres_are_read_from_a_letter_or_from_a_column_beside(csv):
    letters = rows("time,lat,lon", "0,33.5 S,70.6W", "1,33.5001 S,70.6001W")
    columns = rows("time,lat,n/s,lon,e/w", "0,33.5,S,70.6,W", "1,33.5001,S,70.6001,W")
    for text in (letters, columns):
        recording = read_recording(csv(text))
        np.testing.assert_array_equal(recording.latitude_deg, [-33.5, -33.5001])
        np.testing.assert_array_equal(recording.longitude_deg, [-70.6, -70.6001])


@pytest.mark.parametrize(
    "cells",
    [
        ("1714557600.25", "1714557601.5"),
        ("1714557600250", "1714557601500"),
        ("1714557600250000", "1714557601500000"),
        ("1714557600250000000", "1714557601500000000"),
        ("2024-05-01T10:00:00.250Z", "2024-05-01T10:00:01.500Z"),
        ("2024-05-01 12:00:00.25+02:00", "2024-05-01 12:00:01.5+02:00"),
        ("20240501T100000.250Z", "20240501T100001.500Z"),
        ("2024-05-01 10:00:00.25 UTC", "2024-05-01 10:00:01.5 UTC"),
        ("01.05.2024 10:00:00.25Z", "01.05.2024 10:00:01.5Z"),
        ("2024/05/01 10:00:00.25Z", "2024/05/01 10:00:01.5Z"),
    ],
)
def test_moments_are_read_from_seconds_since_1970_and_from_text(csv, cells):
    # 1714557600 is 2024-05-01T10:00:00Z: 19,844 days of 86,400 s and 36,000 s.
    assert 19_844 * 86_400 + 36_000 == 1_714_557_600
    text = rows("time,lat,lon", f"{cells[0]},48.1,161.5", f"{cells[1]},48.1,161.5")
    recording = read_recording(csv(text))
    assert recording.start == datetime(2024, 5, 1, 10, 0, 0, 250_000, tzinfo=UTC)
    assert recording.time_s[1] == pytest.approx(1.25, abs=1e-6)
    assert recording.remarks == ()


def test_times_without_a_zone_are_utc_with_a_remark(csv):
    recording = read_recording(csv(PLAIN.replace("Z,", ",")))
    assert recording.start == datetime(2024, 5, 1, 10, tzinfo=UTC)
    assert recording.remarks == ("times without a zone were taken as UTC",)


@pytest.mark.parametrize(
    ("date", "clock"),
    [("2024-05-31", "23:59:59.5"), ("31.05.2024", "23:59:59.5"), ("310524", "235959.50")],
)
def test_date_and_time_columns_are_put_together(csv, date, clock):
    text = rows("date,time,lat,lon", f"{date},{clock},48.1,161.5", f"{date},{clock}9,48.1,161.5")
    recording = read_recording(csv(text))
    assert recording.start == datetime(2024, 5, 31, 23, 59, 59, 500_000, tzinfo=UTC)


def test_a_clock_without_a_date_counts_on_across_midnight(csv):
    for first, second in (("23:59:59.5", "00:00:00.75"), ("235959.5", "000000.75")):
        recording = read_recording(csv(rows("utc,lat,lon", f"{first},48,161", f"{second},48,161")))
        assert recording.start is None
        np.testing.assert_allclose(recording.time_s, [0.0, 1.25])


def test_a_date_that_can_be_read_two_ways_is_a_question(csv):
    text = rows("date,time,lat,lon", "03/04/2024,10:00:00,48,161", "03/04/2024,10:00:01,48,161")
    with pytest.raises(RecordingError, match="day first or month first; write them as year-month"):
        read_recording(csv(text))


def test_elapsed_time_is_read_in_the_unit_its_header_names(csv):
    for header, cells in (("time_s", ("5.5", "7.0")), ("t [ms]", ("5500", "7000"))):
        text = rows(f"{header},lat,lon", f"{cells[0]},48,161", f"{cells[1]},48,161")
        recording = read_recording(csv(text))
        assert recording.start is None
        np.testing.assert_allclose(recording.time_s, [0.0, 1.5])


def test_rows_that_cannot_be_read_are_counted_with_the_first_line(csv):
    lines = [f"{n}.0,48.0000{n},161" for n in range(8)]
    text = rows("time,lat,lon", *lines[:3], "x,48.1,161", *lines[3:], "8.0,48")
    recording = read_recording(csv(text))
    assert recording.removed == {"unreadable row": 2}
    assert (
        "removed 2 of 10 fixes: 2 rows without a readable position or time (the first at line 5)"
        in (recording.remarks)
    )


def test_no_readable_row_at_all_is_an_error(csv):
    with pytest.raises(RecordingError, match=r"'lat' holds no latitude .* only such as 'north'"):
        read_recording(csv(rows("time,lat,lon", "0,north,161", "1,north,161")))
    with pytest.raises(RecordingError, match="'time' holds nothing readable as a time, only such"):
        read_recording(csv(rows("time,lat,lon", "soon,48,161", "later,48,161")))
    with pytest.raises(RecordingError, match="has a header but no row below it"):
        read_recording(csv("time,lat,lon\n"))


def test_an_unreadable_speed_costs_only_itself(csv):
    recording = read_recording(
        csv(rows("time,lat,lon,speed (m/s),accuracy", "0,48,161,n/a,2.5", "1,48,161,7,2.5"))
    )
    np.testing.assert_array_equal(recording.speed_mps, [np.nan, 7.0])
    np.testing.assert_array_equal(recording.accuracy_m, [2.5, 2.5])
    assert recording.remarks == ("left out 1 unreadable value of column 'speed (m/s)'",)


def test_feet_are_international_feet(csv):
    recording = read_recording(csv(rows("time,lat,lon,alt (ft)", "0,48,161,1000", "1,48,161,0")))
    np.testing.assert_allclose(recording.elevation_m, [304.8, 0.0])


def test_a_stray_quotation_mark_costs_no_more_than_its_own_row(csv):
    lines = [f"{n}.0,48.0000{n},161" for n in range(8)]
    lines[2] = '2.0,48.00002,"161'
    assert len(read_recording(csv(rows("time,lat,lon", *lines)))) == 8
    lines[6] = '6.0,"48.00006,161'
    assert len(read_recording(csv(rows("time,lat,lon", *lines)))) == 8
    lines[6] = '6.0,"48.0"0006,161'
    recording = read_recording(csv(rows("time,lat,lon", *lines)))
    assert recording.removed == {"unreadable row": 1}


def test_dilution_of_precision_is_read_and_not_made_an_accuracy(csv):
    recording = read_recording(csv(rows("time,lat,lon,hdop", "0,48,161,0.8", "1,48,161,")))
    np.testing.assert_array_equal(recording.hdop, [0.8, np.nan])
    assert recording.accuracy_m is None


def test_a_column_can_be_named_as_the_dilution_of_precision(csv):
    path = csv(rows("time,lat,lon,quality", "0,48,161,0.8", "1,48,161,0.9"))
    assert read_recording(path, columns={"hdop": "quality"}).hdop.tolist() == [0.8, 0.9]


def test_figures_grouped_as_only_python_does_are_no_number(csv):
    recording = read_recording(csv(rows("time,lat,lon", "0,48,161", "1,48,1_1", "2,48,161")))
    assert recording.removed == {"unreadable row": 1}


def test_zero_as_an_accuracy_means_that_it_is_not_known(csv):
    # Telephones write 0.0 where they have none (common practice, no source).
    recording = read_recording(csv(rows("time,lat,lon,accuracy", "0,48,161,0.0", "1,48,161,2.5")))
    np.testing.assert_array_equal(recording.accuracy_m, [np.nan, 2.5])
    assert recording.remarks == ()


def test_a_csv_is_read_without_pandas(tmp_path):
    path = tmp_path / "drive.csv"
    rows = [f"2024-05-01T10:00:0{n}Z,48.0000{n},161.5" for n in range(2)]
    path.write_text("\n".join(["time,latitude,longitude", *rows]))
    code = f"""
import sys
from trackkit.recordings.read import read_recording
read_recording({str(path)!r})
sys.exit("pandas" in sys.modules)
"""
    assert run([sys.executable, "-c", code], check=False).returncode == 0
