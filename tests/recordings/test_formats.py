"""Readers of other packages, which join by an entry point."""

from __future__ import annotations

import os
from importlib import metadata

import numpy as np
import pytest
from checkout import ROOT
from small_files import CSV, GEOJSON, GPX

from trackkit.errors import RecordingError
from trackkit.recordings import formats
from trackkit.recordings.formats import Format
from trackkit.recordings.raw import RawFixes
from trackkit.recordings.read import read_recording


def reader_of_the_page():
    """The reader that DEVELOPERS.md shows, as it stands there."""
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    code = page[page.index("def read_plain") :].partition("```")[0]
    names = {"np": np, "os": os, "RawFixes": RawFixes, "RecordingError": RecordingError}
    exec(code, names)
    return names["read_plain"]


def refused(path):
    raise RecordingError("was read by the greedy reader", file=path)


read_plain = reader_of_the_page()
PLAIN = Format("plain", "plain fixes", lambda head: head.data.startswith(b"fixes 1\n"), read_plain)
GREEDY = Format("greedy", "anything", lambda head: True, lambda data, path: refused(path))
FAULTY = Format("faulty", "faulty fixes", PLAIN.recognise, lambda data, path: {}["missing"])
NO_FORMAT = "no format"


@pytest.fixture
def join(monkeypatch):
    """Add entry points, named by what they lead to in this module."""

    def add(*names: str) -> None:
        points = [metadata.EntryPoint(n, f"{__name__}:{n}", formats.GROUP) for n in names]
        monkeypatch.setattr(
            metadata, "entry_points", lambda group: points if group == formats.GROUP else []
        )
        module = type("module", (), {n: globals().get(n) for n in names if n in globals()})
        monkeypatch.setitem(__import__("sys").modules, __name__, module)
        formats.formats_of_others.cache_clear()

    yield add
    formats.formats_of_others.cache_clear()


def test_a_format_of_another_package_is_read(file, join):
    path = file(b"fixes 1\n0 48 161\n1 48.0001 161\n")
    with pytest.raises(RecordingError, match="no table of fixes"):
        read_recording(path)
    join("PLAIN")
    recording = read_recording(path)
    assert recording.time_s.tolist() == [0, 1]
    assert recording.latitude_deg.tolist() == [48.0, 48.0001]


def test_its_sentences_name_the_file(file, join):
    join("PLAIN")
    with pytest.raises(RecordingError, match=r"drive\.bin: holds a line of other than three"):
        read_recording(file(b"fixes 1\n0 48\n"))


def test_a_file_of_it_without_fixes_is_told_as_such(file, join):
    join("PLAIN")
    with pytest.raises(RecordingError, match=r"drive\.bin: holds no ") as raised:
        read_recording(file(b"fixes 1\n"))
    assert "three numbers" not in str(raised.value)


def test_formats_with_a_mark_of_their_own_come_first(file, join):
    join("GREEDY")
    assert len(read_recording(file(GPX))) == 2
    for data in (CSV, GEOJSON):
        with pytest.raises(RecordingError, match="was read by the greedy reader"):
            read_recording(file(data))


@pytest.mark.parametrize("name", ["NO_FORMAT", "MISSING"])
def test_a_reader_that_cannot_be_loaded_is_named(file, join, name):
    join(name)
    with pytest.raises(RecordingError, match=f"another package adds cannot be loaded.*{name}"):
        read_recording(file(CSV))
    assert len(read_recording(file(GPX))) == 2


def test_a_fault_of_another_packages_reader_is_told_as_its_makers(file, join):
    join("FAULTY")
    with pytest.raises(RecordingError, match=r"another package adds failed.*makers"):
        read_recording(file(b"fixes 1\n0 48 161\n"))
