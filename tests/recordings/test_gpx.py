"""GPX 1.0 and 1.1, the shared recordings, and XML that means harm."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from checkout import recording_of_a_real_receiver

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording

GPX_11 = 'version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1"'


@pytest.fixture
def gpx(tmp_path):
    def write(body: str, head: str = GPX_11, before: str = '<?xml version="1.0"?>') -> Path:
        path = tmp_path / "drive.gpx"
        path.write_text(f"{before}\n<gpx {head}>{body}</gpx>\n", encoding="utf-8")
        return path

    return write


def point(second: int, inside: str = "", latitude: float = 48.0) -> str:
    time = f"<time>2024-05-01T10:00:{second:02d}Z</time>"
    place = f'lat="{latitude}" lon="{161 + second * 1e-4}"'
    return f"<trkpt {place}><ele>500.5</ele>{time}{inside}</trkpt>"


def segment(*points: str) -> str:
    return f"<trkseg>{''.join(points)}</trkseg>"


def track(*segments: str) -> str:
    return f"<trk><name>t</name>{''.join(segments)}</trk>"


def test_positions_heights_and_times_are_read(gpx):
    recording = read_recording(gpx(track(segment(point(0), point(1), point(2)))))
    np.testing.assert_allclose(recording.longitude_deg, [161.0, 161.0001, 161.0002])
    np.testing.assert_array_equal(recording.latitude_deg, [48.0] * 3)
    np.testing.assert_array_equal(recording.elevation_m, [500.5] * 3)
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0, 2.0])
    assert recording.start == datetime(2024, 5, 1, 10, 0, 0, tzinfo=UTC)
    assert recording.speed_mps is None
    assert recording.remarks == ()


def test_a_point_that_holds_nothing_but_text_is_a_point_without_a_time(gpx):
    bare = '<trkpt lat="48.0" lon="161.00005">spliced</trkpt>'
    recording = read_recording(gpx(track(segment(point(0), point(1), bare, point(2)))))
    assert recording.time_s.tolist() == [0.0, 1.0, 2.0]
    assert not recording.channels


def test_fractions_of_a_second_and_zones_are_kept(gpx):
    times = ("2024-05-01T12:00:00.125+02:00", "2024-05-01T10:00:00.375Z")
    points = "".join(f'<trkpt lat="48" lon="161"><time> {time}\n</time></trkpt>' for time in times)
    recording = read_recording(gpx(track(segment(points))))
    assert recording.start == datetime(2024, 5, 1, 10, 0, 0, 125_000, tzinfo=UTC)
    assert recording.time_s[1] == 0.25


def test_speed_and_course_of_gpx_1_0_are_read(gpx):
    inside = "<course>123.4</course><speed>17.5</speed>"
    head = 'version="1.0" creator="invented" xmlns="http://www.topografix.com/GPX/1/0"'
    recording = read_recording(gpx(track(segment(point(0, inside), point(1))), head))
    np.testing.assert_array_equal(recording.speed_mps, [17.5, np.nan])
    np.testing.assert_array_equal(recording.course_deg, [123.4, np.nan])


def test_speed_and_course_are_found_in_an_extension_of_any_namespace(gpx):
    inside = (
        '<extensions><x:Point xmlns:x="urn:invented"><x:speed>17.5</x:speed>'
        "<x:course>123.4</x:course></x:Point></extensions>"
    )
    recording = read_recording(gpx(track(segment(point(0, inside), point(1, inside)))))
    np.testing.assert_array_equal(recording.speed_mps, [17.5, 17.5])
    np.testing.assert_array_equal(recording.course_deg, [123.4, 123.4])


def test_dilution_of_precision_is_read_and_not_made_an_accuracy(gpx):
    # <hdop> is an element of both versions of GPX.
    points = point(0, "<hdop>0.8</hdop>"), point(1), point(2, "<hdop>good</hdop>")
    recording = read_recording(gpx(track(segment(*points))))
    np.testing.assert_array_equal(recording.hdop, [0.8, np.nan, np.nan])
    assert recording.accuracy_m is None


def test_prefixed_element_names_are_read_like_any_others(tmp_path):
    path = tmp_path / "prefixed.gpx"
    path.write_text(
        '<g:gpx version="1.1" xmlns:g="http://www.topografix.com/GPX/1/1"><g:trk><g:trkseg>'
        '<g:trkpt lat="48" lon="161"><g:time>2024-05-01T10:00:00Z</g:time></g:trkpt>'
        '<g:trkpt lat="48" lon="161"><g:time>2024-05-01T10:00:01Z</g:time></g:trkpt>'
        "</g:trkseg></g:trk></g:gpx>",
        encoding="utf-8",
    )
    assert len(read_recording(path)) == 2


@pytest.mark.parametrize("encoding", ["utf-16", "iso-8859-1", "utf-8-sig"])
def test_the_encoding_an_xml_file_declares_is_followed(tmp_path, encoding):
    declared = encoding.removesuffix("-sig")
    path = tmp_path / "drive.gpx"
    text = (
        f'<?xml version="1.0" encoding="{declared}"?><!-- Übungsfahrt --><gpx version="1.1">'
        f"{track(segment(point(0), point(1)))}</gpx>"
    )
    path.write_bytes(text.encode(encoding))
    assert len(read_recording(path)) == 2


def test_segments_of_all_tracks_are_numbered_and_put_in_order_of_time(gpx):
    late, early = segment(point(30), point(31)), segment(point(10), point(11), point(12))
    recording = read_recording(gpx(track(late) + track(segment(), early)))
    np.testing.assert_array_equal(recording.segment, [0, 0, 0, 1, 1])
    np.testing.assert_array_equal(recording.time_s, [0.0, 1.0, 2.0, 20.0, 21.0])
    assert "segments were put in order of time" in recording.remarks


def test_an_unreadable_value_costs_no_more_than_itself(gpx):
    bad = '<trkpt lat="48" lon="161.0001"><ele></ele><time>yesterday</time></trkpt>'
    nowhere = '<trkpt lat="n/a" lon="161"><time>2024-05-01T10:00:03Z</time></trkpt>'
    speed = "<extensions><speed>fast</speed></extensions>"
    recording = read_recording(
        gpx(track(segment(point(0, speed), bad, point(2, "<sat>many</sat>"), nowhere)))
    )
    assert recording.removed == {"bad position": 1, "no time": 1}
    assert len(recording) == 2
    assert recording.speed_mps is None


def test_times_without_a_zone_are_taken_as_utc_with_a_remark(gpx):
    points = "".join(
        f'<trkpt lat="48" lon="161"><time>2024-05-01T10:00:0{n}</time></trkpt>' for n in range(2)
    )
    recording = read_recording(gpx(track(segment(points))))
    assert recording.start == datetime(2024, 5, 1, 10, tzinfo=UTC)
    assert recording.remarks == ("times without a zone were taken as UTC",)


def test_a_track_without_times_is_sent_to_from_line(gpx):
    points = '<trkpt lat="48" lon="161"/><trkpt lat="48" lon="161.1"/>'
    with pytest.raises(NoTimesError, match="build from it as a drawn line") as caught:
        read_recording(gpx(track(segment(points))))
    assert caught.value.remedy.do == "build from line"


def test_a_file_with_a_route_only_is_sent_to_from_line(gpx):
    with pytest.raises(RecordingError, match="only 1 route; build from it as a drawn") as caught:
        read_recording(gpx('<rte><rtept lat="48" lon="161"/></rte>'))
    assert caught.value.remedy.do == "build from line"


def test_a_truncated_file_is_told_with_its_line(gpx):
    path = gpx("\n" + track(segment(point(0), "\n", point(1), "\n", point(2))))
    path.write_text(path.read_text(encoding="utf-8")[:-60], encoding="utf-8")
    with pytest.raises(RecordingError, match=r"drive\.gpx, line \d+: its XML is broken or breaks"):
        read_recording(path)


@pytest.mark.parametrize(
    "declaration",
    [
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">',
        '<!ENTITY a SYSTEM "file:///etc/passwd">',
        '<!ENTITY % a SYSTEM "http://127.0.0.1:9/x.dtd">',
    ],
    ids=["expanding", "external", "parameter"],
)
def test_entities_are_refused(gpx, declaration):
    path = gpx(track(segment(point(0), point(1))), before=f"<!DOCTYPE gpx [{declaration}]>")
    with pytest.raises(RecordingError, match="defines entities, which trackkit refuses"):
        read_recording(path)


def test_an_exponential_entity_in_an_attribute_does_not_get_to_expand(gpx):
    levels = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "x" * 10}">' for n in range(12))
    path = gpx("", head='creator="&e11;"', before=f"<!DOCTYPE gpx [{levels}]>")
    with pytest.raises(RecordingError, match=r"XML is broken|defines entities"):
        read_recording(path)


def test_an_external_definition_is_not_fetched(gpx):
    # Nothing listens on the discard port: fetching would fail or hang.
    before = '<!DOCTYPE gpx SYSTEM "http://127.0.0.1:9/gpx.dtd">'
    assert len(read_recording(gpx(track(segment(point(0), point(1))), before=before))) == 2


def test_the_car_round_the_village_is_read_whole():
    # 104 fixes, 1 to 50 s apart, no speed: recordings/README.md; the first and last time and
    # height are read off the file itself.
    recording = read_recording(recording_of_a_real_receiver("village-loop-by-car.gpx"))
    assert len(recording) == recording.read_count == 104
    assert recording.removed == {}
    assert recording.speed_mps is None
    assert recording.start == datetime(2020, 12, 18, 6, 15, 50, tzinfo=UTC)
    assert recording.elevation_m[0] == 211.15
    assert np.diff(recording.time_s).min() >= 1.0
    assert np.diff(recording.time_s).max() <= 50.0


def test_the_hill_walk_loses_exactly_the_track_without_times():
    path = recording_of_a_real_receiver("hill-walk-many-segments.gpx")
    recording = read_recording(path)
    # Counted independently of any XML: every track point opens once, timed ones close a <time>.
    text = path.read_text(encoding="utf-8")
    tracks = text[text.index("<trk>") :]
    assert recording.read_count == tracks.count("<trkpt")
    assert recording.removed["no time"] == tracks.count("<trkpt") - tracks.count("<time>")
    assert len(recording) + sum(recording.removed.values()) == recording.read_count
    assert len(set(recording.segment)) > 1
