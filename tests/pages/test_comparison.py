"""What a page compares laps by; the numbers themselves are tested by its scripts' own tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from oval_page import document_of, oval, session

from trackkit.pages.comparison import comparison_document
from trackkit.pages.html import map_html
from trackkit.timing.lap_times import time_laps
from trackkit.timing.losses import sections_of


def test_sections_lie_between_places_and_make_up_the_lap() -> None:
    track = oval()
    report = time_laps(track, session(track))
    document = comparison_document(track, [(report.drive, report.laps)])
    assert document is not None
    place = document["place_m"]
    assert np.all(np.diff(place) > 0)
    assert (place[0], place[-1]) == pytest.approx((0.0, track.curve.length_m), abs=1e-3)
    listed = [(place[row["from"]], place[row["to"]]) for row in document["sections"]]
    expected = [(section.begin_m, section.end_m) for section in sections_of(track)]
    assert np.array(listed) == pytest.approx(np.array(expected), abs=1e-3)
    # Far apart, what is drawn straight between them would be too straight.
    assert max(np.diff(place)) < 100.0


def test_a_page_without_whole_laps_compares_none() -> None:
    track = oval()
    assert document_of(map_html(track), "base")["comparison"] is None
    report = time_laps(track, session(track))
    out = [lap for lap in report.laps if not lap.is_whole]
    assert comparison_document(track, [(report.drive, out)]) is None


def test_a_recording_without_whole_laps_has_no_row() -> None:
    track = oval()
    report = time_laps(track, session(track))
    document = comparison_document(track, [(report.drive, ()), (report.drive, report.laps)])
    assert document is not None
    first, second = document["recordings"]
    assert first is None
    assert len(second["laps"]) == sum(lap.is_whole for lap in report.laps)


@pytest.mark.slow
def test_drivers_are_named_in_the_page_and_recordings_where_none_is() -> None:
    track = oval()
    drive = session(track)
    again = replace(drive, name="second.gpx")
    page = map_html(track, recordings=[drive, again], drivers=["Ada", "Bo"])
    rows = document_of(page, "base")["recordings"]
    assert [row["driver"] for row in rows] == ["Ada", "Bo"]
    rows = document_of(map_html(track, recordings=[drive], names=["kart 7"]), "base")["recordings"]
    assert [row["driver"] for row in rows] == ["kart 7"]
