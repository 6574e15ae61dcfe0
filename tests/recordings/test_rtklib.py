"""Solutions of RTKLIB, laid out as its manual has them (2.4.2, appendix B.1; from memory)."""

from __future__ import annotations

import zoneinfo
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from trackkit.errors import RecordingError
from trackkit.recordings.leap_seconds import _SINCE, utc_of_gps
from trackkit.recordings.read import read_recording

_HEAD = """% program   : RTKPOST ver.2.4.2
% inp file  : rover.obs
% obs start : 2009/04/15 01:02:03.0 GPST (week1527 262923.0s)
% (lat/lon/height=WGS84/ellipsoidal,Q=1:fix,2:float,3:sbas,4:dgps,5:single,6:ppp,ns=# of satellites)
%  {system}                  latitude(deg) longitude(deg)  height(m)   Q  ns   sdn(m)   sde(m)   \
sdu(m)  sdne(m)  sdeu(m)  sdun(m) age(s)  ratio{more}
"""


def row(moment: str, second: int, *, quality: int = 1, more: str = "") -> str:
    return (
        f"{moment}   48.00000{second}000  161.250000000    60.1000   {quality}   8   0.0030   "
        f"0.0040   0.0078   0.0012  -0.0015   0.0009   0.00   12.0{more}\n"
    )


@pytest.fixture
def pos(file):
    def write(rows: str, system: str = "UTC ", more: str = ""):
        return file((_HEAD.format(system=system, more=more) + rows).encode(), "drive.pos")

    return write


ROWS = "".join(row(f"2009/04/15 01:02:0{n}.250", n) for n in range(4))


def test_positions_heights_and_deviations_are_read(pos):
    recording = read_recording(pos(ROWS))
    assert recording.latitude_deg.tolist() == [48.0, 48.000001, 48.000002, 48.000003]
    assert set(recording.longitude_deg) == {161.25}
    assert set(recording.elevation_m) == {60.1}
    # Root mean square of 3 mm north and 4 mm east.
    assert recording.accuracy_m == pytest.approx([np.sqrt(12.5) * 1e-3] * 4)
    assert recording.accuracy_of == "axis"


@pytest.mark.parametrize(
    ("system", "start"),
    [
        ("UTC ", datetime(2009, 4, 15, 1, 2, 0, 250_000, UTC)),
        # 15 leap seconds from 1 January 2009 on (IERS, Bulletin C 36).
        ("GPST", datetime(2009, 4, 15, 1, 1, 45, 250_000, UTC)),
        ("JST ", datetime(2009, 4, 14, 16, 2, 0, 250_000, UTC)),
    ],
)
def test_times_of_each_system_are_brought_to_utc(pos, system, start):
    assert read_recording(pos(ROWS, system)).start == start


def test_weeks_and_seconds_of_gps_time_are_read(pos):
    rows = "".join(row(f"1527 26292{n}.250", n) for n in range(3, 6))
    # 15 April 2009 is the Wednesday of week 1527, and 01:02:03 its second 262,923.
    assert read_recording(pos(rows, "GPST")).start == datetime(2009, 4, 15, 1, 1, 48, 250_000, UTC)


def test_velocities_and_their_deviations_are_read(pos):
    names = "   vn(m/s)   ve(m/s)   vu(m/s)   sdvn   sdve   sdvu"
    rows = "".join(
        row(f"2009/04/15 01:02:0{n}", n, more="   3.0   4.0   0.1   0.06   0.08   0.2")
        for n in range(3)
    )
    recording = read_recording(pos(rows, more=names))
    assert recording.speed_mps.tolist() == [5.0] * 3
    assert recording.course_deg == pytest.approx([np.degrees(np.arctan2(4, 3))] * 3)
    assert recording.speed_accuracy_mps == pytest.approx([np.sqrt(0.005)] * 3)


def test_degrees_minutes_and_seconds_are_read(file):
    head = _HEAD.format(system="UTC", more="")
    head = head.replace("latitude(deg) longitude(deg)", "latitude(d'\")   longitude(d'\")")
    rows = "".join(
        f"2009/04/15 01:02:0{n}   -48 07 30.00000  161 15 0{n}.00000  60.1  1  8  0.003  0.004\n"
        for n in range(3)
    )
    recording = read_recording(file((head + rows).encode()))
    assert set(recording.latitude_deg) == {-48.125}
    assert recording.longitude_deg[1] == pytest.approx(161.25 + 1 / 3600)


def test_rows_without_a_solution_and_damaged_ones_are_counted(pos):
    lost = row("2009/04/15 01:02:05", 5, quality=0) + "2009/04/15 01:02:06  4#.0 161.25 60\n"
    recording = read_recording(pos(ROWS + lost))
    assert len(recording) == 4
    assert recording.removed == {"no fix": 1, "unreadable row": 1}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("latitude(deg) longitude(deg)", "x-ecef(m) y-ecef(m)"), "in x-ecef.*Lat/Lon/Height"),
        (("%  UTC", "%  utc"), "without its line of columns"),
    ],
    ids=["other coordinates", "no header"],
)
def test_what_is_laid_out_otherwise_gets_one_sentence(file, pos, change, words):
    data = pos(ROWS).read_text().replace(*change)
    with pytest.raises(RecordingError, match=words):
        read_recording(file(data.encode()))


def test_a_header_alone_holds_no_solution(pos):
    with pytest.raises(RecordingError, match="no row of a solution"):
        read_recording(pos(""))


def test_leap_seconds_are_those_of_the_time_zone_database():
    """The file `leapseconds` of tz (from the IERS), where it is installed."""
    texts = [Path(folder) / "leapseconds" for folder in zoneinfo.TZPATH]
    texts = [path.read_text() for path in texts if path.exists()]
    with suppress(ModuleNotFoundError):
        texts.append((resources.files("tzdata") / "zoneinfo" / "leapseconds").read_text())
    if not texts:
        pytest.skip("no leapseconds of tz here")
    days = [
        datetime.strptime(" ".join(line.split()[1:4]), "%Y %b %d") + timedelta(days=1)  # noqa: DTZ007
        for line in texts[0].splitlines()
        if line.startswith("Leap")
    ]
    assert [day for day in days if day.year > 1980] == _SINCE.tolist()


def test_a_leap_second_within_a_recording_changes_no_duration():
    gps = np.datetime64("2016-12-31T23:59:59", "ns") + np.arange(60).astype("timedelta64[s]")
    assert set(np.diff(utc_of_gps(gps)).tolist()) == {10**9}


def test_deviations_beyond_all_numbers_are_left_out(pos):
    rows = "".join(row("2024/05/01 02:00:0" + str(n), n) for n in range(3))
    path = pos(rows.replace("0.0030", "1e308", 1).replace("0.0040", "1.7e308", 1))

    accuracy = read_recording(path).accuracy_m

    assert not np.isfinite(accuracy[0])
    assert accuracy[1:] == pytest.approx(np.hypot(0.003, 0.004) / np.sqrt(2.0))
