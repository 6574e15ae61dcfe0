"""Driving that two recordings of an archive hold counts once."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from sample_circuits import track_of

import trackkit
from trackkit.archive import refresh as refreshing
from trackkit.archive.columns import LAPS, RECORDINGS, SECTORS
from trackkit.archive.store import rows_of
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive


def counting(at: Path) -> dict[str, int]:
    """Laps of each file that count."""
    sql = "SELECT file, count(*) FILTER (counts) FROM laps JOIN recordings USING (recording) "
    rows = trackkit.open_archive(at).connection().sql(sql + "GROUP BY file").fetchall()
    return {Path(file).name: count for file, count in rows}


@pytest.fixture
def day(home) -> Path:
    """A day in two formats, the end of it once more, and a kart that follows metres behind."""
    folder = home / "day"
    folder.mkdir()
    drive = simulate_drive(track_of("pipwick-kart-circuit"), laps=3, rate_hz=5.0, seed=11)
    own = drive.recording
    write_recording(own, folder / "a.nmea")
    write_recording(own, folder / "b.gpx")
    later = own.time_s >= own.time_s[-1] * 0.35
    fields = {
        field.name: getattr(own, field.name)[later]
        for field in dataclasses.fields(own)
        if isinstance(getattr(own, field.name), np.ndarray)
    }
    begin = float(fields["time_s"][0])
    fields["time_s"] = fields["time_s"] - begin
    part = dataclasses.replace(own, **fields, start=own.start + timedelta(seconds=begin))
    write_recording(part, folder / "c.csv")
    follower = dataclasses.replace(own, start=own.start + timedelta(seconds=0.25))
    write_recording(follower, folder / "d.nmea")
    return folder


@pytest.mark.slow
def test_two_formats_of_a_day_and_a_part_of_it_count_once(day, home, in_this_process):
    """In what was added first, a kart close behind too; elsewhere when that is forgotten."""
    at = home / "archive"
    added = trackkit.add_to_archive([day / "a.nmea"], at)
    whole = counting(at)["a.nmea"]
    assert (whole, added.elsewhere) == (3, 0)
    added = trackkit.add_to_archive([day], at)
    assert counting(at) == {"a.nmea": 3, "b.gpx": 0, "c.csv": 0, "d.nmea": 3}
    assert added.elsewhere == 3 + 1 + 1
    names = {
        Path(row["file"]).name: row["recording"]
        for row in rows_of(str(at), RECORDINGS, ("recording", "file")).to_pylist()
    }
    for table in (LAPS, SECTORS):
        rows = rows_of(str(at), table, ("recording", "counts", "remarks")).to_pylist()
        aside = [row for row in rows if "counted in" in (row["remarks"] or "")]
        assert {row["recording"] for row in aside} == {names["b.gpx"], names["c.csv"]}
        assert {row["remarks"] for row in aside} == {f"counted in {names['a.nmea']}"}
    assert trackkit.add_to_archive([day], at).elsewhere == 0
    trackkit.forget_in_archive([day / "a.nmea"], at)
    count = counting(at)
    assert count["d.nmea"] == 3
    assert count["b.gpx"] + count["c.csv"] == 3


@pytest.mark.slow
def test_laps_timed_again_go_on_to_count_in_the_recording_that_was_added_first(
    home, in_this_process, monkeypatch
):
    """Whichever is done first, and also where it was killed before it could mark them."""
    library, at = home / "tracks", home / "archive"
    library.mkdir()
    track = track_of("pipwick-kart-circuit")
    trackkit.write_track(track, library / "pipwick-kart-circuit.geojson")
    drive = simulate_drive(track, laps=3, rate_hz=5.0, seed=11)
    for name in ("z.nmea", "a.gpx"):
        write_recording(drive.recording, home / name)
        trackkit.add_to_archive([home / name], at, library=[library])
    assert counting(at) == {"z.nmea": 3, "a.gpx": 0}

    def last_first(work: Callable, items: Sequence, done: Callable, **_: object) -> list[int]:
        for place in reversed(range(len(items))):
            done(place, work(items[place]))
        return []

    monkeypatch.setattr(refreshing, "spread", last_first)
    moved = trackkit.move_gate(track, track.gates[1].id, f"{track.gates[1].chainage_m + 9.0:.1f}m")
    trackkit.write_track(moved.track, library / "pipwick-kart-circuit.geojson", force=True)

    def killed(_archive: str) -> int:
        raise RuntimeError("killed")

    with monkeypatch.context() as patch:
        patch.setattr(refreshing, "count_once", killed)
        with pytest.raises(RuntimeError, match="killed"):
            trackkit.refresh_archive(at, library=[library])
    assert counting(at) == {"z.nmea": 3, "a.gpx": 3}
    done = trackkit.refresh_archive(at, library=[library])
    assert (done.from_drives, done.current) == (0, 2)
    assert counting(at) == {"z.nmea": 3, "a.gpx": 0}
    again = trackkit.move_gate(moved.track, track.gates[1].id, f"{track.gates[1].chainage_m:.1f}m")
    trackkit.write_track(again.track, library / "pipwick-kart-circuit.geojson", force=True)
    assert trackkit.refresh_archive(at, library=[library]).from_drives == 2
    assert counting(at) == {"z.nmea": 3, "a.gpx": 0}
