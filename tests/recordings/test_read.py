"""Recordings read, whatever is done to their files."""

from __future__ import annotations

import os
import subprocess
import sys

from hypothesis import given, settings
from hypothesis import strategies as st
from small_files import CSV, GEOJSON, GPX

from trackkit.errors import TrackkitError
from trackkit.recordings.drawn_lines import read_line
from trackkit.recordings.read import read_recording


def test_a_recording_is_called_what_the_user_called_it(file):
    path = file(CSV)
    assert read_recording(path).name == os.fspath(path)


def test_importing_the_readers_loads_no_heavy_library():
    code = (
        "import sys, trackkit.recordings.read; heavy = "
        "{'pandas', 'geopandas', 'lxml', 'gpxpy', 'pynmea2', 'pyogrio', 'scipy', 'shapely'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


@settings(max_examples=120, deadline=None)
@given(
    data=st.sampled_from([CSV, GPX, GEOJSON]),
    at=st.integers(0, 400),
    length=st.sampled_from([0, 1, 3, 20]),
    put=st.sampled_from(
        [b"", b"9", b"-", b",", b'"', b"<", b"{", b"\n", b"\x00", b"\xff", b"1e999"]
    ),
)
def test_whatever_damage_is_done_the_answer_is_a_recording_or_one_sentence(
    tmp_path_factory, data, at, length, put
):
    at %= len(data)
    path = tmp_path_factory.mktemp("damaged") / "drive"
    path.write_bytes(data[:at] + put + data[at + length :])
    for read in (read_recording, read_line):
        sentence = None
        try:
            found = read(path)
        except TrackkitError as error:
            sentence = str(error)
        if sentence is None:
            assert len(found.longitude_deg) >= 2
        else:
            assert "\n" not in sentence
            assert str(path) in sentence
