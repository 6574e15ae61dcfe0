"""Long work tells how far it has come."""

import numpy as np
import pytest
from ellipse import PLANE, TEN_HERTZ, received

import trackkit.motion.factor
import trackkit.recordings.csv.read
from trackkit.cli.common import long_work_shown
from trackkit.motion.smooth import smooth
from trackkit.progress import tell, watched
from trackkit.recordings.read import read_recording


@pytest.fixture
def steps():
    heard = []
    with watched(lambda what, done, of: heard.append((what, done, of))):
        yield heard


def test_smoothing_a_long_drive_tells_piece_by_piece(steps, monkeypatch):
    monkeypatch.setattr(trackkit.motion.factor, "PIECE_FIXES", 400)
    drive = smooth(received(TEN_HERTZ, 4), PLANE)
    drive.prepare_variances([5, 900])

    assert ("smoothing the drive", 1, 3) in steps
    assert ("smoothing the drive", 3, 3) in steps
    assert steps[-1] == ("working out uncertainties", 4, 4)


def test_a_short_drive_tells_nothing(steps):
    smooth(received(TEN_HERTZ, 4), PLANE)

    assert steps == []


def test_reading_a_long_table_tells_how_many_rows_are_read(steps, monkeypatch, tmp_path):
    monkeypatch.setattr(trackkit.recordings.csv.read, "_LONG_TABLE", 50)
    path = tmp_path / "long.csv"
    rows = [f"{n},43,{-128 + n * 1e-5}\n" for n in range(60)]
    path.write_text("time_s,latitude,longitude\n" + "".join(rows), "utf-8")

    assert len(read_recording(path)) == 60
    assert steps == [("reading rows", 60, 60)]


def test_nobody_need_watch():
    tell("anything", 1, 2)


def test_on_a_terminal_a_bar_is_shown_and_taken_away(monkeypatch, capsys):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    with long_work_shown():
        for done in np.arange(1, 4).tolist():
            tell("smoothing the drive", done, 3)
        tell("reading rows", 1, 2)
    tell("reading rows", 2, 2)

    assert "smoothing the drive" in capsys.readouterr().err
