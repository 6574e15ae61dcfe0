"""KML with `gx:Track`."""

from __future__ import annotations

import pytest

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording

_DOCUMENT = (
    '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2" '
    'xmlns:gx="http://www.google.com/kml/ext/2.2"><Folder><Placemark>{body}</Placemark></Folder>'
    "</kml>"
)
_PUBLISHED = """<gx:Track>
<when>2010-05-28T02:02:09Z</when><when>2010-05-28T02:02:35Z</when>
<when>2010-05-28T02:02:44Z</when><when>2010-05-28T02:02:53Z</when>
<gx:coord>-122.207881 37.371915 156.000000</gx:coord>
<gx:coord>-122.205712 37.373288 152.000000</gx:coord>
<gx:coord>-122.204678 37.373939 147.000000</gx:coord>
<gx:coord>-122.203572 37.374630 142.199997</gx:coord>
<gx:angles>45.54676 66.2342 77.0</gx:angles><gx:angles/><gx:angles/><gx:angles/>
</gx:Track>"""
"""The first moments of the example that the reference of the `gx` extension prints (from memory;
published as such, of a bicycle ride)."""


@pytest.fixture
def kml(file):
    return lambda body: file(_DOCUMENT.format(body=body).encode(), "drive.kml")


def track(begin: int, count: int = 3, extra: str = "") -> str:
    whens = "".join(f"<when>2024-05-01T10:00:{begin + n:02d}Z</when>" for n in range(count))
    coords = "".join(f"<gx:coord>161 48.{begin + n:04d} 5</gx:coord>" for n in range(count))
    return f"<gx:Track>{whens}{coords}{extra}</gx:Track>"


def array(name: str, *values: object) -> str:
    cells = "".join(f"<gx:value>{value}</gx:value>" for value in values)
    return (
        f'<ExtendedData><SchemaData><gx:SimpleArrayData name="{name}">{cells}'
        "</gx:SimpleArrayData></SchemaData></ExtendedData>"
    )


def test_the_example_of_the_reference_is_read(kml):
    recording = read_recording(kml(_PUBLISHED))
    assert recording.time_s.tolist() == [0, 26, 35, 44]
    assert recording.longitude_deg.tolist() == [-122.207881, -122.205712, -122.204678, -122.203572]
    assert recording.latitude_deg.tolist() == [37.371915, 37.373288, 37.373939, 37.374630]
    assert recording.elevation_m.tolist() == [156.0, 152.0, 147.0, 142.199997]
    assert recording.course_deg[0] == 45.54676


def test_each_track_of_a_multi_track_is_a_segment_in_order_of_time(kml):
    recording = read_recording(kml(f"<gx:MultiTrack>{track(10)}{track(0)}</gx:MultiTrack>"))
    assert recording.time_s.tolist() == [0, 1, 2, 10, 11, 12]
    assert recording.segment.tolist() == [0, 0, 0, 1, 1, 1]


def test_the_track_of_kml_2_3_is_the_same_without_a_prefix(kml):
    body = track(0).replace("gx:Track", "Track").replace("gx:coord", "coord")
    assert len(read_recording(kml(body))) == 3


@pytest.mark.parametrize(
    ("name", "field", "value"),
    [
        ("speed", "speed_mps", 36.0),
        ("Speed (km/h)", "speed_mps", 10.0),
        ("bearing", "course_deg", 36.0),
        ("accuracy", "accuracy_m", 36.0),
        ("hdop", "hdop", 36.0),
    ],
)
def test_arrays_beside_a_track_are_what_their_names_say(kml, name, field, value):
    recording = read_recording(kml(track(0, extra=array(name, 36, 36, 36))))
    assert getattr(recording, field).tolist() == pytest.approx([value] * 3)


def test_headings_that_are_all_nought_say_nothing(kml):
    angles = "<gx:angles>0 0 0</gx:angles>" * 3
    assert read_recording(kml(track(0, extra=angles))).course_deg is None


def test_a_moment_without_a_position_is_counted(kml):
    body = track(0).replace("<gx:coord>161 48.0001 5</gx:coord>", "<gx:coord/>")
    recording = read_recording(kml(body))
    assert len(recording) == 2
    assert recording.removed == {"no fix": 1}


def test_a_track_with_more_times_than_positions_is_refused(kml):
    body = track(0).replace("<gx:coord>161 48.0001 5</gx:coord>", "")
    with pytest.raises(RecordingError, match="track 1: has 3 times but 2 positions"):
        read_recording(kml(body))


def test_a_document_of_lines_has_no_times(kml):
    line = "<LineString><coordinates>161,48 161,49</coordinates></LineString>"
    with pytest.raises(NoTimesError, match="is KML without a gx:Track, and so without times"):
        read_recording(kml(line))


def test_a_document_cut_short_is_told(file, kml):
    data = kml(track(0)).read_bytes()
    with pytest.raises(RecordingError, match="its XML is broken or breaks off"):
        read_recording(file(data[:-40]))
