"""What a page says first of the laps on it."""

from __future__ import annotations

import pytest
from oval_page import document_of, oval, session

from trackkit.pages.driven_day import day_document
from trackkit.pages.html import map_html
from trackkit.timing.lap_times import time_laps


def test_summaries_and_marks_are_of_laps_that_count() -> None:
    track = oval()
    report = time_laps(track, session(track))
    day = day_document([report, report], ["Ada", "Bo"])
    assert day is not None
    assert [summary["driver"] for summary in day["summaries"]] == ["Ada", "Bo", None]
    ada, _, both = day["summaries"]
    counted = sorted(report.counted, key=lambda lap: lap.time_s)
    assert [best["number"] for best in ada["best_laps"]] == [lap.number for lap in counted[:3]]
    assert {best["recording"] for best in both["best_laps"]} <= {0, 1}
    assert ada["laps_counted"] == len(counted)
    times = sorted(lap.time_s for lap in counted)
    middle = 0.5 * (times[(len(times) - 1) // 2] + times[len(times) // 2])
    assert ada["median_s"] == pytest.approx(middle)
    for bests in day["bests"]:
        assert bests["laps"][0] == [counted[0].session, counted[0].number]
        assert len(bests["sectors"]) == len(counted[0].sectors)


@pytest.mark.slow
def test_laps_of_a_copy_count_once_on_a_page() -> None:
    track = oval()
    drive = session(track)
    whole = document_of(map_html(track, recordings=[drive]), "base")

    page = document_of(map_html(track, recordings=[drive, drive.renamed("copy.csv")]), "base")

    assert page["day"]["summaries"] == whole["day"]["summaries"]
    assert page["day"]["bests"][1]["laps"] == []


def test_a_page_without_lap_times_sums_up_nothing() -> None:
    assert document_of(map_html(oval()), "base")["day"] is None
