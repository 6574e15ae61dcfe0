"""Sentences read many at once are read as pynmea2 alone would read them."""

from __future__ import annotations

import io
import sys
from collections import Counter
from subprocess import run
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.errors import RecordingError
from trackkit.recordings.clean import clean
from trackkit.recordings.nmea import vectorised as quicksentences
from trackkit.recordings.nmea.read import read_nmea
from trackkit.recordings.nmea.sentences import sentence_rows
from trackkit.recordings.nmea.stream import fixes_of_nmea
from trackkit.recordings.nmea.table import GGA, GNS, RMC


def checksum(body: str) -> str:
    """The exclusive or of all characters between $ and * (NMEA 0183)."""
    value = 0
    for character in body:
        value ^= ord(character)
    return f"{value:02X}"


def answer(data: bytes):
    """What a log is read as, to be compared: fixes and a recording, or sentences."""
    told = []
    for read in (read_nmea, lambda data, path: clean(read_nmea(data, path), path)):
        try:
            fixes = read(data, "log")
        except RecordingError as error:
            told.append(str(error))
            continue
        told += [
            value.tobytes() if isinstance(value, np.ndarray) else value
            for value in vars(fixes).values()
        ]
    return told


def by_pynmea2_alone(data: bytes, read=answer):
    def nothing_ordinary(block, at, end):
        return end, np.zeros(len(at), dtype=bool)

    with patch.object(quicksentences, "_stars", nothing_ordinary):
        assert len(quicksentences.ordinary_rows(data)[0]) == 0
        return read(data)


# Logs: mostly as receivers write them, with every field now and then as they should not.


ODD_WORDS = (
    "- . nan inf 1e3 +1 1_0 99999999999999999999 -0 0. .5 xx \xb2 1.2.3 --1 A D V N NN S W 0 01 1"
    " 60 99 2400.5 4859.9999 4860.0 9959.0 235960 240000 126000 120061 12000 120000.9999999"
    " 310224 010100 311299 0024 010524.5"
)
ODD_FIELDS = ["", " 1", *ODD_WORDS.split()]
ODD = st.sampled_from(ODD_FIELDS)


def mostly(usual: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.sampled_from([False] * 40 + [True]).flatmap(lambda odd: ODD if odd else usual)


def number(least: float, most: float, decimals: int) -> st.SearchStrategy[str]:
    return mostly(st.floats(least, most).map(lambda x: f"{x:.{decimals}f}"))


@st.composite
def position(draw):
    if draw(st.integers(0, 20)) == 0:
        return ",,,"
    decimals = draw(st.sampled_from([3, 4, 5, 7]))
    latitude, longitude = (
        draw(st.sampled_from(degree)) + draw(st.floats(0.0, 0.0009))
        for degree in ([4759.999, 4800.0], [1059.999, 1100.0])
    )
    north, east = (
        draw(mostly(st.sampled_from("N" * 20 + "S"))),
        draw(mostly(st.sampled_from("E" * 20 + "W"))),
    )
    return (
        f"{draw(mostly(st.just(f'{latitude:0{5 + decimals}.{decimals}f}')))},{north},"
        f"{draw(mostly(st.just(f'{longitude:0{6 + decimals}.{decimals}f}')))},{east}"
    )


@st.composite
def sentence(draw, clock: str):
    talker = draw(st.sampled_from(["GP", "GN", "GL", "gp", "PG", "G_", "II"][: draw(_FEW)]))
    kind = draw(st.sampled_from(["RMC", "GGA", "GNS", "VTG", "ZDA", "GST", "GSA"]))
    clock = draw(mostly(st.just(clock)))
    place, small = draw(position()), number(0, 20, 2)
    speed, course = draw(number(0, 120, 3)), draw(number(0, 360, 2))
    mode = draw(mostly(st.sampled_from(["A", "D", "N", ""])))
    body = {
        "RMC": lambda: (
            f"{clock},{draw(mostly(st.sampled_from('AAAV')))},{place},{speed},{course},"
            f"{draw(mostly(st.sampled_from(['010524'] * 20 + ['310299', ''])))},,,{mode}"
        ),
        "GGA": lambda: (
            f"{clock},{place},{draw(mostly(st.sampled_from('1112450')))},08,{draw(small)},"
            f"{draw(number(-10, 900, 1))},M,47.0,M,,"
        ),
        "GNS": lambda: (
            f"{clock},{place},{draw(mostly(st.sampled_from(['AA', 'AN', 'NN', 'DDNN', ''])))},14,"
            f"{draw(small)},{draw(number(-10, 900, 1))},46.9,,"
        ),
        "VTG": lambda: f"{course},T,,M,{speed},N,{draw(number(0, 200, 3))},K,{mode}",
        "ZDA": lambda: (
            f"{clock},{draw(mostly(st.just('01')))},05,{draw(mostly(st.just('2024')))},,"
        ),
        "GST": lambda: (
            f"{clock},1.0,{draw(small)},{draw(small)},45.0,{draw(small)},{draw(small)},2.0"
        ),
        "GSA": lambda: "A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1",
    }[kind]()
    if draw(st.integers(0, 40)) == 0:
        body = body[: draw(st.integers(0, len(body)))]
    body = f"{talker}{kind},{body}"
    return f"${body}*{checksum(body)}"


_FEW = st.sampled_from([2, 2, 2, 2, 2, 2, 7])
_LINE_END = st.sampled_from(["\r\n"] * 12 + ["\n", "", " \r\n", "\r\r\n", "\r\nnoise $ "])


@st.composite
def logs(draw):
    start_ms = draw(st.sampled_from([43_200_000, 86_399_800]))
    text = ""
    for epoch in range(draw(st.integers(1, 8))):
        ms = (start_ms + 100 * epoch) % 86_400_000
        clock = f"{ms // 3_600_000:02d}{ms // 60_000 % 60:02d}{ms // 1000 % 60:02d}.{ms % 1000:03d}"
        clock = clock[: draw(st.sampled_from([10, 10, 10, 8, 6]))]
        for _ in range(draw(st.integers(1, 4))):
            text += draw(sentence(clock)) + draw(_LINE_END)
    data = bytearray(text.encode("latin-1"))
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 3]))):
        data[draw(st.integers(0, len(data) - 1))] = draw(
            st.sampled_from(list(b"$*,\n\r0A9 \xff\x00")) | st.integers(0, 255)
        )
    return bytes(data[: draw(st.sampled_from([len(data)] * 5 + [max(1, len(data) - 3)]))])


@pytest.mark.slow
@settings(max_examples=70, deadline=None)
@given(logs())
def test_a_log_whole_or_damaged_is_read_as_pynmea2_alone_would_read_it(data):
    assert answer(data) == by_pynmea2_alone(data)


@pytest.mark.slow
def test_the_logs_tried_are_read_in_both_ways():
    seen = {"quick": 0, "slow": 0, "damaged": 0, "recordings": 0}

    @settings(max_examples=40, deadline=None, database=None)
    @given(logs())
    def tried(data):
        quick, slow = quicksentences.ordinary_rows(data)
        seen["quick"] += len(quick)
        seen["slow"] += len(slow)
        seen["damaged"] += len(sentence_rows(data)[1])
        seen["recordings"] += len(answer(data)) > 20

    tried()
    assert min(seen.values()) > 0, seen


@pytest.mark.slow
@settings(max_examples=70, deadline=None)
@given(logs())
def test_a_stream_gives_the_positions_of_the_log_it_is(data):
    rows, _ = sentence_rows(data)
    expected, has_rmc = [], False
    for row in rows[np.isin(rows["kind"], [RMC, GGA, GNS])]:
        has_rmc |= row["kind"] == RMC
        longitude, latitude = row["longitude_deg"], row["latitude_deg"]
        somewhere = abs(longitude) <= 180 and abs(latitude) <= 90 and (longitude or latitude)
        if somewhere and (row["kind"] == RMC or not has_rmc):
            expected.append([float(row[name]) for name in POSITION])

    found = [
        [getattr(fix, name) for name in POSITION]
        for fix in fixes_of_nmea(io.BytesIO(data), Counter())
    ]

    np.testing.assert_array_equal(np.array(found, dtype=float), np.array(expected))


# Sentences as in receivers' manuals: the two of every text, and others of the same form.
USUAL = (
    "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W",
    "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
    "GNRMC,,V,,,,,,,,,,N",
    "GNGGA,,,,,,0,00,99.99,,,,,,",
    "GNVTG,054.7,T,034.4,M,005.5,N,010.2,K,D",
    "GNVTG,,T,,M,,N,36.0,K",
    "GNGNS,120000.00,4807.0380,N,01131.0000,E,AAN,14,0.7,545.4,46.9,,",
    "GPZDA,120000.00,01,05,2024,00,00",
    "GPGST,120000.00,6.6,0.022,0.017,12.8,0.017,0.022,0.031",
)


def log_of(bodies) -> bytes:
    return "".join(f"${body}*{checksum(body)}\r\n" for body in bodies).encode("latin-1")


@pytest.mark.parametrize("usual", USUAL, ids=[body[:12] for body in USUAL])
def test_whatever_stands_in_one_field_is_read_as_pynmea2_alone_would_read_it(usual):
    fields = usual.split(",")
    bodies = [
        ",".join([*fields[:at], odd, *fields[at + 1 :]])
        for at in range(1, len(fields))
        for odd in ODD_FIELDS
    ]
    # And sentences that break off after every field.
    data = log_of(bodies + [",".join(fields[:at]) for at in range(2, len(fields))])
    rows, damaged = sentence_rows(data)
    expected_rows, expected_damaged = by_pynmea2_alone(data, sentence_rows)
    np.testing.assert_array_equal(damaged, expected_damaged)
    for name in rows.dtype.names:
        np.testing.assert_array_equal(rows[name], expected_rows[name], err_msg=name)


def test_what_a_receiver_usually_writes_is_all_ordinary():
    rows, rest = quicksentences.ordinary_rows(log_of(USUAL))
    assert len(rows) == len(USUAL)
    assert len(rest) == 0


def test_an_ordinary_log_is_read_without_pynmea2(tmp_path):
    bodies = [f"GPRMC,1200{n:02d},A,4800.{n:04d},N,01100.0,E,1.0,0.0,010524,," for n in range(9)]
    path = tmp_path / "log.nmea"
    path.write_text("".join(f"${body}*{checksum(body)}\n" for body in bodies))
    code = f"""
import sys
from trackkit.recordings.read import read_recording
assert len(read_recording({str(path)!r})) == 9
sys.exit("pynmea2" in sys.modules)
"""
    assert run([sys.executable, "-c", code], check=False).returncode == 0


POSITION = ("longitude_deg", "latitude_deg", "speed_mps", "course_deg")
