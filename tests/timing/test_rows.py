"""Laps as rows: times of day, and text that a spreadsheet must not run."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import two_sessions

from trackkit.timing.lap_times import time_laps
from trackkit.timing.rows import laps_csv, session_row
from trackkit.timing.sessions import Session, time_zone


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
