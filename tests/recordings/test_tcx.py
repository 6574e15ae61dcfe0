"""TCX, written as its schemas have it (TrainingCenterDatabase v2 and ActivityExtension v2)."""

from __future__ import annotations

import pytest

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.read import read_recording

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><TrainingCenterDatabase '
    'xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2">'
    '<Activities><Activity Sport="Other"><Id>2024-05-01T10:00:00Z</Id>'
)
_TAIL = "</Activity></Activities></TrainingCenterDatabase>"
_SPEED = (
    '<Extensions><ns3:TPX xmlns:ns3="http://www.garmin.com/xmlschemas/ActivityExtension/v2">'
    "<ns3:Speed>11.5</ns3:Speed></ns3:TPX></Extensions>"
)


def point(second: int, place: bool = True) -> str:
    position = (
        f"<Position><LatitudeDegrees>48.{second:04d}</LatitudeDegrees>"
        "<LongitudeDegrees>161.25</LongitudeDegrees></Position>"
    )
    return (
        f"<Trackpoint><Time>2024-05-01T10:00:{second:02d}.500Z</Time>{position if place else ''}"
        f"<AltitudeMeters>7.5</AltitudeMeters>{_SPEED}</Trackpoint>"
    )


def track(*points: str) -> str:
    return f"<Track>{''.join(points)}</Track>"


def lap(*tracks: str) -> str:
    return f'<Lap StartTime="2024-05-01T10:00:00Z">{"".join(tracks)}</Lap>'


@pytest.fixture
def tcx(file):
    return lambda *laps: file((_HEAD + "".join(laps) + _TAIL).encode(), "drive.tcx")


def test_trackpoints_are_fixes(tcx):
    recording = read_recording(tcx(lap(track(point(0), point(1)))))
    assert recording.start.isoformat() == "2024-05-01T10:00:00.500000+00:00"
    assert recording.time_s.tolist() == [0, 1]
    assert recording.latitude_deg.tolist() == [48.0, 48.0001]
    assert recording.longitude_deg.tolist() == [161.25, 161.25]
    assert recording.speed_mps.tolist() == [11.5, 11.5]
    assert recording.elevation_m.tolist() == [7.5, 7.5]


def test_laps_of_a_watch_follow_each_other_without_a_break(tcx):
    laps = [lap(track(*map(point, range(a, a + 3)))) for a in (0, 3, 6)]
    assert set(read_recording(tcx(*laps)).segment) == {0}


def test_a_second_track_within_a_lap_is_a_new_segment(tcx):
    recording = read_recording(tcx(lap(track(point(0), point(1)), track(point(5), point(6)))))
    assert recording.segment.tolist() == [0, 0, 1, 1]


def test_trackpoints_without_a_position_are_counted(tcx):
    recording = read_recording(tcx(lap(track(point(0), point(1, place=False), point(2)))))
    assert recording.removed == {"no fix": 1}
    assert "1 trackpoint without a position" in " ".join(recording.remarks)


@pytest.mark.parametrize(
    ("laps", "error", "words"),
    [
        ("", RecordingError, "holds no trackpoint"),
        (lap(track(point(0, place=False))), RecordingError, "1 trackpoint, none with a position"),
        (
            lap(track(point(0), point(1))).replace("Time>", "When>"),
            NoTimesError,
            "positions but no times",
        ),
    ],
    ids=["empty", "without positions", "without times"],
)
def test_what_holds_no_fix_gets_one_sentence(tcx, laps, error, words):
    with pytest.raises(error, match=words):
        read_recording(tcx(laps))


def test_a_file_cut_short_is_told(file, tcx):
    data = tcx(lap(track(point(0), point(1)))).read_bytes()
    with pytest.raises(RecordingError, match="its XML is broken or breaks off"):
        read_recording(file(data[:-30]))
