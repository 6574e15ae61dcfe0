"""ZIP archives that hold one recording."""

from __future__ import annotations

import gzip
import io
import zipfile

import pytest
from small_files import CSV, GPX

from trackkit.budgets import raised
from trackkit.errors import RecordingError
from trackkit.recordings.read import read_recording


def archive(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in members.items():
            packed.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize(
    "members",
    [
        {"drive.csv": CSV},
        {"day/drive.gpx": GPX},
        {"drive.csv.gz": gzip.compress(CSV)},
        {"drive.csv": CSV, "__MACOSX/._drive.csv": b"x", ".DS_Store": b"x", "day/": b""},
    ],
    ids=["CSV", "GPX in a folder", "gzip", "with what systems hide"],
)
def test_the_one_file_of_an_archive_is_read(file, members):
    assert len(read_recording(file(archive(members)))) == 2


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"a.csv": CSV, "b.csv": CSV}, r"a ZIP archive of 2 files \(a.csv, b.csv\); unpack it"),
        ({"day/": b""}, "a ZIP archive that holds no file"),
        ({"a.zip": archive({"a.csv": CSV})}, "a ZIP archive of ZIP archives"),
        ({"[Content_Types].xml": b"x", "xl/a.xml": b"x"}, "a document of an office program"),
        ({"a.csv": b""}, "is empty"),
    ],
)
def test_an_archive_of_anything_else_gets_one_sentence(file, members, words):
    with pytest.raises(RecordingError, match=words):
        read_recording(file(archive(members)))


@pytest.mark.parametrize("cut", [5, 60, 30], ids=["at its end", "in its list", "half way"])
def test_a_damaged_archive_is_told(file, cut):
    with pytest.raises(RecordingError, match="its ZIP archive is damaged or breaks off"):
        read_recording(file(archive({"drive.csv": CSV})[:-cut]))


def test_a_wrong_sum_is_told(file):
    data = bytearray(archive({"drive.csv": CSV}))
    data[45] ^= 0xFF
    with pytest.raises(RecordingError, match="its ZIP archive is damaged"):
        read_recording(file(bytes(data)))


def test_a_locked_archive_is_told(file):
    data = bytearray(archive({"drive.csv": CSV}))
    # The first bit of the general flags says that it is encrypted (APPNOTE 4.4.4).
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    with pytest.raises(RecordingError, match="locked with a password; unpack it first"):
        read_recording(file(bytes(data)))


def test_an_archive_that_unpacks_to_too_much_is_refused(file):
    path = file(archive({"drive.csv": bytes(2 << 20)}))
    with (
        raised({"unpacked_bytes": 1 << 20}),
        pytest.raises(RecordingError, match="ZIP archive unpacks to at least 2,097,152 bytes"),
    ):
        read_recording(path)


def test_an_archive_packed_too_tightly_is_refused(file):
    path = file(archive({"drive.csv": bytes(40 << 20)}))
    with pytest.raises(RecordingError, match=r"its ZIP archive unpacks to .* times"):
        read_recording(path)
