"""Delimited text: delimiters, headers, units, times, and questions where something is unclear."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.csv.columns import recognise_header
from trackkit.recordings.csv.fix_columns import FIX_WORDS
from trackkit.recordings.read import read_recording

METRES_PER_DEGREE = 2 * np.pi * 6_378_137.0 / 360.0
"""Along the equator of WGS 84, whose semi-major axis is 6,378,137 m by definition."""


@pytest.fixture
def csv(tmp_path):
    def write(text: str, encoding: str = "utf-8"):
        path = tmp_path / "drive.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def rows(header: str, *lines: str) -> str:
    return "\n".join([header, *lines]) + "\n"


def equator_drive(
    header: str, *, speed_mps=20.0, speed_factor=1.0, time_factor=1.0, count=30
) -> str:
    """Write time, latitude, longitude, speed of a drive along the equator at a constant speed."""
    lines = [
        f"{n * time_factor:.10g},0.5,{10 + n * speed_mps / METRES_PER_DEGREE:.8f},"
        f"{speed_mps * speed_factor:.4f}"
        for n in range(count)
    ]
    return rows(header, *lines)


PLAIN = rows(
    "time,latitude,longitude",
    "2024-05-01T10:00:00Z,48.1,11.5",
    "2024-05-01T10:00:00.5Z,48.10001,11.5",
)


def test_a_plain_table_is_read(csv):
    recording = read_recording(csv(PLAIN))
    np.testing.assert_array_equal(recording.latitude_deg, [48.1, 48.10001])
    np.testing.assert_array_equal(recording.longitude_deg, [11.5, 11.5])
    np.testing.assert_array_equal(recording.time_s, [0.0, 0.5])
    assert recording.start == datetime(2024, 5, 1, 10, tzinfo=UTC)
    assert recording.remarks == ()


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_every_delimiter_and_line_end_is_recognised(csv, delimiter, newline):
    text = PLAIN.replace(",", delimiter).replace("\n", newline)
    assert len(read_recording(csv(text))) == 2


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_marks_and_encodings_are_recognised(csv, encoding):
    recording = read_recording(csv(PLAIN.replace("latitude", "Latitude (°)"), encoding))
    assert len(recording) == 2


def test_decimal_commas_are_read_between_semicolons(csv):
    text = rows(
        "Zeit;time;lat;lon;speed (km/h)", "x;0,0;48,1;11,5;36,0", "y;0,1;48,10001;11,5;72,0"
    )
    recording = read_recording(csv(text))
    np.testing.assert_array_equal(recording.latitude_deg, [48.1, 48.10001])
    np.testing.assert_allclose(recording.speed_mps, [10.0, 20.0])
    assert recording.time_s[1] == pytest.approx(0.1)


def test_decimal_commas_between_commas_are_refused(csv):
    text = rows("time,lat,lon", "0,48,1,11,5", "1,48,2,11,5")
    with pytest.raises(RecordingError, match="line 2: has 3 columns in the header but 5 in this"):
        read_recording(csv(text))


def test_preamble_comments_blank_lines_and_a_units_row_are_passed_over(csv):
    text = (
        "Logged by an invented logger\nFormat,2\n\n# a comment\nTime,Latitude,Longitude,Speed\n"
        "s,deg,deg,km/h\n0.0,48.1,11.5,36\n# pit\n\n0.1,48.10001,11.5,72\n"
    )
    recording = read_recording(csv(text))
    np.testing.assert_allclose(recording.speed_mps, [10.0, 20.0])
    assert recording.removed == {}


def test_a_header_behind_a_comment_sign_is_read(csv):
    assert len(read_recording(csv("# made up\n#" + PLAIN))) == 2


def test_quoted_cells_trailing_delimiters_and_spaces_are_read(csv):
    text = rows(
        '"time", "lat", "lon", "note"', '"0","48.1","11.5","a, b",', '1, 48.1001, 11.5, "",'
    )
    np.testing.assert_array_equal(read_recording(csv(text)).latitude_deg, [48.1, 48.1001])


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("lat", ("latitude", None)),
        ("LATITUDE", ("latitude", None)),
        ("latitude_deg", ("latitude", "deg")),
        ("lat_e7", ("latitude", "1e-7 deg")),
        ("latitudeE7", ("latitude", "1e-7 deg")),
        ("lon [1e-7 deg]", ("longitude", "1e-7 deg")),
        ("GPS Longitude", ("longitude", None)),
        ("lng", ("longitude", None)),
        ("Speed (km/h)", ("speed", "km/h")),
        ("speed_kmh", ("speed", "km/h")),
        ("Speed km/h", ("speed", "km/h")),
        ("GPS Speed (mph)", ("speed", "mph")),
        ("speed_mps", ("speed", "m/s")),
        ("Ground Speed [m/s]", ("speed", "m/s")),
        ("SOG (kn)", ("speed", "knots")),
        ("speed knots", ("speed", "knots")),
        ("course_deg", ("course", "deg")),
        ("Heading", ("course", None)),
        ("Altitude (ft)", ("elevation", "ft")),
        ("hAcc_mm", ("accuracy", "mm")),
        ("HDOP", ("hdop", None)),
        ("gps_hdop", ("hdop", None)),
        ("utc", ("time", None)),
        ("UTC Time", ("time", None)),
        ("Time (UTC)", ("time", None)),
        ("time_s", ("time", "s")),
        ("timestamp_ms", ("time", "ms")),
        ("gps time", ("time", None)),
        ("Date", ("date", None)),
        ("Lateral G", None),
        ("lat acc", None),
        ("lat (g)", None),
        ("wheel speed rpm", None),
        ("Engine Speed (rpm)", None),
        ("UTC offset", None),
        ("Lap time", None),
    ],
)
def test_headers_are_recognised_with_their_units(header, expected):
    assert recognise_header(header, FIX_WORDS) == expected


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
    text = rows(f"time,lat,lon,speed ({unit})", "0,48.1,11.5,100", "1,48.1,11.5,100")
    recording = read_recording(csv(text))
    np.testing.assert_allclose(recording.speed_mps, 100 * metres_a_second)


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("m/s", 1.0), ("km/h", 3.6), ("mph", 3600 / 1609.344), ("knots", 3600 / 1852)],
)
def test_a_speed_without_a_unit_is_compared_with_the_positions(csv, unit, factor):
    recording = read_recording(csv(equator_drive("time,lat,lon,speed", speed_factor=factor)))
    np.testing.assert_allclose(recording.speed_mps, 20.0, rtol=1e-4)
    assert recording.remarks == (
        f"column 'speed' names no unit: taken as {unit}, which agrees with the positions to 0 %",
    )


def test_a_speed_whose_unit_cannot_be_told_is_a_question(csv):
    between = 0.5 * (3600 / 1609.344 + 3600 / 1852)
    for text in (
        equator_drive("time,lat,lon,speed", speed_factor=between),
        rows("time,lat,lon,speed", "0,48,11,1", "1,48,11,1", "2,48,11,1"),
    ):
        with pytest.raises(RecordingError, match=r"which unit its column 'speed'.*speed \(km/h\)"):
            read_recording(csv(text))


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
    text = rows("time,lat,lon", f"{cells[0]},48.1,11.5", f"{cells[1]},48.1,11.5")
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
    text = rows("date,time,lat,lon", f"{date},{clock},48.1,11.5", f"{date},{clock}9,48.1,11.5")
    recording = read_recording(csv(text))
    assert recording.start == datetime(2024, 5, 31, 23, 59, 59, 500_000, tzinfo=UTC)


def test_a_clock_without_a_date_counts_on_across_midnight(csv):
    for first, second in (("23:59:59.5", "00:00:00.75"), ("235959.5", "000000.75")):
        recording = read_recording(csv(rows("utc,lat,lon", f"{first},48,11", f"{second},48,11")))
        assert recording.start is None
        np.testing.assert_allclose(recording.time_s, [0.0, 1.25])


def test_a_date_that_can_be_read_two_ways_is_a_question(csv):
    text = rows("date,time,lat,lon", "03/04/2024,10:00:00,48,11", "03/04/2024,10:00:01,48,11")
    with pytest.raises(RecordingError, match="day first or month first; write them as year-month"):
        read_recording(csv(text))


def test_elapsed_time_is_read_in_the_unit_its_header_names(csv):
    for header, cells in (("time_s", ("5.5", "7.0")), ("t [ms]", ("5500", "7000"))):
        text = rows(f"{header},lat,lon", f"{cells[0]},48,11", f"{cells[1]},48,11")
        recording = read_recording(csv(text))
        assert recording.start is None
        np.testing.assert_allclose(recording.time_s, [0.0, 1.5])


@pytest.mark.parametrize(("factor", "unit"), [(1.0, "s"), (1000.0, "ms")])
def test_elapsed_time_without_a_unit_is_judged_by_how_the_positions_move(csv, factor, unit):
    text = equator_drive("time,lat,lon,speed (m/s)", time_factor=factor)
    recording = read_recording(csv(text))
    assert recording.time_s[-1] == pytest.approx(29.0)
    assert recording.remarks == (
        () if unit == "s" else ("times were taken as ms, which fits how the positions move",)
    )


def test_elapsed_time_whose_unit_cannot_be_told_is_a_question(csv):
    text = rows("time,lat,lon", "0,48,11", "100,48,11", "200,48,11")
    with pytest.raises(RecordingError, match="unit its column 'time' counts time in is not clear"):
        read_recording(csv(text))


@pytest.mark.parametrize(
    ("header", "question"),
    [
        ("time,lat,latitude (deg),lon", "2 columns could be the latitude: 'lat', 'latitude"),
        ("time,utc,lat,lon", "2 columns could be the time: 'time', 'utc'"),
    ],
)
def test_ambiguous_columns_are_asked_about(csv, header, question):
    text = rows(header, "0,48,48,11", "1,48,48,11")
    with pytest.raises(RecordingError, match=question) as caught:
        read_recording(csv(text))
    assert caught.value.remedy.do == "name columns"


def test_the_answer_to_the_question_is_followed(csv):
    path = csv(rows("time,lat,latitude (deg),lon", "0,1,48,11", "1,1,48.0001,11"))
    by_name = read_recording(path, columns={"latitude": "latitude (deg)"})
    by_number = read_recording(path, columns={"latitude": "3"})
    np.testing.assert_array_equal(by_name.latitude_deg, [48.0, 48.0001])
    np.testing.assert_array_equal(by_number.latitude_deg, [48.0, 48.0001])


def test_a_table_with_odd_headers_is_asked_about_and_read_once_named(csv):
    path = csv(rows("a,b,c", "0,48,11", "0.1,48,11"))
    with pytest.raises(RecordingError, match="its columns are 'a', 'b', 'c'; say which") as caught:
        read_recording(path)
    assert set(caught.value.remedy.value["columns"]) == {"time", "latitude", "longitude"}
    assert len(read_recording(path, columns={"time": "A", "latitude": "b", "longitude": "c"})) == 2


def test_a_table_without_a_header_is_asked_about_and_read_once_numbered(csv):
    path = csv("0,48,11\n0.1,48.0001,11\n")
    with pytest.raises(RecordingError, match=r"it has 3 columns and no header.*number from 1"):
        read_recording(path)
    recording = read_recording(path, columns={"time": "1", "latitude": "2", "longitude": "3"})
    np.testing.assert_array_equal(recording.latitude_deg, [48.0, 48.0001])


def test_a_column_that_is_not_there_is_told_with_those_that_are(csv):
    with pytest.raises(RecordingError, match="has no column 'v' for the speed; its columns are 't"):
        read_recording(csv(PLAIN), columns={"speed": "v"})


def test_a_role_that_is_none_is_refused(csv):
    with pytest.raises(RecordingError, match="no column can be named 'altitude'; use time, lat"):
        read_recording(csv(PLAIN), columns={"altitude": "latitude"})


def test_a_table_without_a_time_is_asked_about(csv):
    with pytest.raises(NoTimesError, match=r"no column is recognised as the time .its columns are"):
        read_recording(csv(rows("n,lat,lon", "0,48,11", "1,48,11")))


def test_speed_columns_that_agree_are_one_and_those_that_do_not_are_a_question(csv):
    header = "time,lat,lon,speed (m/s),speed (km/h)"
    agreeing = rows(header, "0,48,11,10,36", "1,48,11,20,72")
    np.testing.assert_array_equal(read_recording(csv(agreeing)).speed_mps, [10.0, 20.0])
    differing = rows(header, "0,48,11,10,10", "1,48,11,20,20")
    with pytest.raises(RecordingError, match="2 columns could be the speed, and they differ"):
        read_recording(csv(differing))


def test_rows_that_cannot_be_read_are_counted_with_the_first_line(csv):
    lines = [f"{n}.0,48.0000{n},11" for n in range(8)]
    text = rows("time,lat,lon", *lines[:3], "x,48.1,11", *lines[3:], "8.0,48")
    recording = read_recording(csv(text))
    assert recording.removed == {"unreadable row": 2}
    assert (
        "removed 2 of 10 fixes: 2 rows without a readable position or time (the first at line 5)"
        in (recording.remarks)
    )


def test_no_readable_row_at_all_is_an_error(csv):
    with pytest.raises(RecordingError, match=r"'lat' holds no latitude .* only such as 'north'"):
        read_recording(csv(rows("time,lat,lon", "0,north,11", "1,north,11")))
    with pytest.raises(RecordingError, match="'time' holds nothing readable as a time, only such"):
        read_recording(csv(rows("time,lat,lon", "soon,48,11", "later,48,11")))
    with pytest.raises(RecordingError, match="has a header but no row below it"):
        read_recording(csv("time,lat,lon\n"))


def test_an_unreadable_speed_costs_only_itself(csv):
    recording = read_recording(
        csv(rows("time,lat,lon,speed (m/s),accuracy", "0,48,11,n/a,2.5", "1,48,11,7,2.5"))
    )
    np.testing.assert_array_equal(recording.speed_mps, [np.nan, 7.0])
    np.testing.assert_array_equal(recording.accuracy_m, [2.5, 2.5])
    assert recording.remarks == ("left out 1 unreadable value of column 'speed (m/s)'",)


def test_feet_are_international_feet(csv):
    recording = read_recording(csv(rows("time,lat,lon,alt (ft)", "0,48,11,1000", "1,48,11,0")))
    np.testing.assert_allclose(recording.elevation_m, [304.8, 0.0])


def test_prose_is_no_table(csv):
    with pytest.raises(RecordingError, match="is text, but no table of fixes"):
        read_recording(csv("Dear all,\n\nthe meeting, as said, is on 3 May, at noon.\n"))


def test_columns_can_be_named_for_csv_only(tmp_path):
    path = tmp_path / "drive.gpx"
    path.write_text("<gpx/>")
    with pytest.raises(RecordingError, match="is GPX, whose columns cannot be named"):
        read_recording(path, columns={"time": "t"})


def test_a_stray_quotation_mark_costs_no_more_than_its_own_row(csv):
    lines = [f"{n}.0,48.0000{n},11" for n in range(8)]
    lines[2] = '2.0,48.00002,"11'
    assert len(read_recording(csv(rows("time,lat,lon", *lines)))) == 8
    lines[6] = '6.0,"48.00006,11'
    assert len(read_recording(csv(rows("time,lat,lon", *lines)))) == 8
    lines[6] = '6.0,"48.0"0006,11'
    recording = read_recording(csv(rows("time,lat,lon", *lines)))
    assert recording.removed == {"unreadable row": 1}


def test_dilution_of_precision_is_read_and_not_made_an_accuracy(csv):
    recording = read_recording(csv(rows("time,lat,lon,hdop", "0,48,11,0.8", "1,48,11,")))
    np.testing.assert_array_equal(recording.hdop, [0.8, np.nan])
    assert recording.accuracy_m is None


def test_a_column_can_be_named_as_the_dilution_of_precision(csv):
    path = csv(rows("time,lat,lon,quality", "0,48,11,0.8", "1,48,11,0.9"))
    assert read_recording(path, columns={"hdop": "quality"}).hdop.tolist() == [0.8, 0.9]


def test_figures_grouped_as_only_python_does_are_no_number(csv):
    recording = read_recording(csv(rows("time,lat,lon", "0,48,11", "1,48,1_1", "2,48,11")))
    assert recording.removed == {"unreadable row": 1}


def test_zero_as_an_accuracy_means_that_it_is_not_known(csv):
    # Telephones write 0.0 where they have none (common practice, no source).
    recording = read_recording(csv(rows("time,lat,lon,accuracy", "0,48,11,0.0", "1,48,11,2.5")))
    np.testing.assert_array_equal(recording.accuracy_m, [np.nan, 2.5])
    assert recording.remarks == ()
