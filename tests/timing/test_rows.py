"""Laps as rows: times of day, and text that a spreadsheet must not run."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import two_sessions

from trackkit.timing.best_marks import best_laps
from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import laps_csv, ranking_rows, session_row
from trackkit.timing.sessions import Session, time_zone
from trackkit.track.crossed import timed_gates


@pytest.fixture(scope="module")
def block():
    return two_sessions.block()


@pytest.fixture(scope="module")
def outings():
    return two_sessions.outings()


@pytest.fixture(scope="module")
def sessions():
    return two_sessions.sessions()


def test_times_of_day_are_in_the_tracks_zone_too_across_the_change_of_the_clocks(block, outings):
    # Central European Summer Time ended on 27 October 2024 at 01:00 UTC (the EU's rule since 1996,
    # directive 2000/84/EC; from memory).
    start = datetime(2024, 10, 27, 0, 58, 30, 250_000, tzinfo=UTC)
    recording = replace(outings[0].recording, start=start)
    session = Session("a.csv", "a", time_laps(block, recording))

    row = session_row(block, session, None, time_zone(block))

    assert row["start"] == "2024-10-27T00:58:30.250000Z"
    assert row["start_local"] == "2024-10-27T02:58:30.250000+02:00"
    last = row["laps"][-1]
    assert last["begun_local"].startswith("2024-10-27T02:0")
    assert last["begun_local"].endswith("+01:00")
    begun = datetime.fromisoformat(last["begun"])
    assert begun - start == pytest.approx(
        timedelta(seconds=last["start_s"]), abs=timedelta(microseconds=1)
    )
    assert datetime.fromisoformat(last["begun_local"]) == begun


def test_a_recording_that_only_counts_seconds_has_no_times_of_day(block, outings):
    session = Session("a", "a", time_laps(block, replace(outings[0].recording, start=None)))

    row = session_row(block, session, None, time_zone(block))

    assert row["start"] is row["start_local"] is row["laps"][1]["begun"] is None


def test_text_that_looks_like_a_formula_is_not_run(block, sessions):
    # OWASP, CSV injection: = + - @ tab and carriage return begin one (from memory).
    session = Session('=cmd|"x"', "@SUM(1)", sessions[0].report)

    rows = list(csv.DictReader(io.StringIO(laps_csv(block, [session], None, None))))

    assert {row["file"] for row in rows} == {'\'=cmd|"x"'}
    assert {row["label"] for row in rows} == {"'@SUM(1)"}
    assert not any(float(row["start_s"] or 0) < 0 for row in rows)


def test_the_ranking_counts_from_the_fastest_lap_of_all(sessions):
    rows = ranking_rows(sessions)

    times = [row["time_s"] for row in rows]
    assert times == sorted(times)
    assert [row["rank"] for row in rows] == list(range(1, len(times) + 1))
    assert len({row["label"] for row in rows}) == 2
    assert [row["difference_s"] for row in rows] == pytest.approx([t - times[0] for t in times])
    assert rows[0]["difference_sigma_s"] == pytest.approx(0.0, abs=1e-9)
    assert all(row["difference_sigma_s"] > 0 for row in rows[1:])


def test_rows_of_a_lap_tell_its_sectors_from_its_beginning(block, sessions):
    rows = list(csv.DictReader(io.StringIO(laps_csv(block, sessions[:1], None, None))))
    lap = next(lap for lap in sessions[0].report.laps if lap.counts)
    mine = [row for row in rows if row["lap"] == str(lap.number)]
    (whole,) = [row for row in mine if row["part"] == "lap"]
    sectors = [row for row in mine if row["part"] == "sector"]

    assert [row["part_number"] for row in sectors] == ["1", "2", "3"]
    starts = [float(row["start_s"]) for row in sectors]
    lengths = [float(row["time_s"]) for row in sectors]
    splits = [float(row["split_s"]) for row in sectors]
    ends = [start + length for start, length in zip(starts, lengths, strict=True)]
    assert starts[0] == pytest.approx(float(whole["start_s"]), abs=2e-3)
    # Each begins where the one before ended, and the last ends with the lap.
    assert starts[1:] == pytest.approx(ends[:-1], abs=2e-3)
    assert splits == pytest.approx([end - starts[0] for end in ends], abs=2e-3)
    assert splits[-1] == pytest.approx(float(whole["time_s"]), abs=2e-3)
    # A sector ends at its gate, and the last one at the finish.
    gates = [gate.id for gate in timed_gates(block)]
    assert [row["gate"] for row in sectors] == [*gates[1:], gates[0]]


def test_rows_mark_the_best_and_what_cannot_be_told_from_it(block, sessions):
    """The fastest of each column, with all that follow within one sigma of the difference."""
    row = session_row(block, sessions[0], None, None)
    laps = {lap["number"]: lap for lap in row["laps"]}
    front = best_laps(sessions[0])
    mark = "alone" if len(front) == 1 else "equal"
    marked = {number: lap["best"] for number, lap in laps.items() if lap["best"]}
    assert marked == {lap.number: mark for lap in front}

    table = list(csv.DictReader(io.StringIO(laps_csv(block, sessions[:1], None, None))))
    of_laps = [part for part in table if part["part"] == "lap"]
    assert {int(part["lap"]): part["best"] for part in of_laps if part["best"]} == marked
    for sector in range(3):
        own = [lap["sectors"][sector] for lap in row["laps"] if lap["sectors"][sector]["best"]]
        assert min(own, key=lambda part: part["time_s"])["time_s"] == min(
            lap.sectors[sector].time_s for lap in sessions[0].report.counted
        )
    speeds = [part for part in table if part["part"] == "speed gate"]
    fastest = max(speeds, key=lambda part: float(part["gate_speed_mps"]))
    assert fastest["best"] in ("alone", "equal")
    assert all(float(part["gate_speed_sigma_mps"]) > 0 for part in speeds)
