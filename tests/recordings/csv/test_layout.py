"""How text is laid out, which column holds what, and what is asked where that is unclear."""

from __future__ import annotations

import numpy as np
import pytest
from csv_tables import PLAIN, rows

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_every_delimiter_and_line_end_is_recognised(csv, delimiter, newline):
    text = PLAIN.replace(",", delimiter).replace("\n", newline)
    assert len(read_recording(csv(text))) == 2


def test_preamble_comments_blank_lines_and_a_units_row_are_passed_over(csv):
    text = (
        "Logged by an invented logger\nFormat,2\n\n# a comment\nTime,Latitude,Longitude,Speed\n"
        "s,deg,deg,km/h\n0.0,48.1,161.5,36\n# pit\n\n0.1,48.10001,161.5,72\n"
    )
    recording = read_recording(csv(text))
    np.testing.assert_allclose(recording.speed_mps, [10.0, 20.0])
    assert recording.removed == {}


def test_a_header_behind_a_comment_sign_is_read(csv):
    assert len(read_recording(csv("# made up\n#" + PLAIN))) == 2


@pytest.mark.parametrize(
    ("header", "question"),
    [
        ("time,lat,latitude (deg),lon", "2 columns could be the latitude: 'lat', 'latitude"),
        ("time,utc,lat,lon", "2 columns could be the time: 'time', 'utc'"),
    ],
)
def test_ambiguous_columns_are_asked_about(csv, header, question):
    text = rows(header, "0,48,48,161", "1,48,48,161")
    with pytest.raises(RecordingError, match=question) as caught:
        read_recording(csv(text))
    assert caught.value.remedy.do == "name columns"


def test_the_answer_to_the_question_is_followed(csv):
    path = csv(rows("time,lat,latitude (deg),lon", "0,1,48,161", "1,1,48.0001,161"))
    by_name = read_recording(path, columns={"latitude": "latitude (deg)"})
    by_number = read_recording(path, columns={"latitude": "3"})
    np.testing.assert_array_equal(by_name.latitude_deg, [48.0, 48.0001])
    np.testing.assert_array_equal(by_number.latitude_deg, [48.0, 48.0001])


def test_a_table_with_odd_headers_is_asked_about_and_read_once_named(csv):
    path = csv(rows("a,b,c", "0,48,161", "0.1,48,161"))
    with pytest.raises(RecordingError, match="its columns are 'a', 'b', 'c'; say which") as caught:
        read_recording(path)
    assert set(caught.value.remedy.value["columns"]) == {"time", "latitude", "longitude"}
    assert len(read_recording(path, columns={"time": "A", "latitude": "b", "longitude": "c"})) == 2


def test_a_table_without_a_header_is_asked_about_and_read_once_numbered(csv):
    path = csv("0,48,161\n0.1,48.0001,161\n")
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
        read_recording(csv(rows("n,lat,lon", "0,48,161", "1,48,161")))


def test_speed_columns_that_agree_are_one_and_those_that_do_not_are_a_question(csv):
    header = "time,lat,lon,speed (m/s),speed (km/h)"
    agreeing = rows(header, "0,48,161,10,36", "1,48,161,20,72")
    np.testing.assert_array_equal(read_recording(csv(agreeing)).speed_mps, [10.0, 20.0])
    differing = rows(header, "0,48,161,10,10", "1,48,161,20,20")
    with pytest.raises(RecordingError, match="2 columns could be the speed, and they differ"):
        read_recording(csv(differing))


def test_prose_is_no_table(csv):
    with pytest.raises(RecordingError, match="is text, but no table of fixes"):
        read_recording(csv("Dear all,\n\nthe meeting, as said, is on 3 May, at noon.\n"))


def test_columns_can_be_named_for_csv_only(tmp_path):
    path = tmp_path / "drive.gpx"
    path.write_text("<gpx/>")
    with pytest.raises(RecordingError, match="is GPX, whose columns cannot be named"):
        read_recording(path, columns={"time": "t"})
