"""The words beside a page's map."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from oval_page import document_of, gate, oval, text_of

from trackkit.caution import CAUTION
from trackkit.pages.html import map_html
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.features import Crossover, PitLane


def test_page_names_track_length_and_direction(page: str) -> None:
    # 400 + 2 * pi * 40 = 651.3 m, by hand
    assert "Hollow Oval (invented) 651 m, closed circuit, anticlockwise, 1 corner" in text_of(page)


def test_page_carries_the_caution_word_for_word(page: str) -> None:
    assert CAUTION in text_of(page)


@pytest.mark.parametrize(
    "topic", ["driving", "marshals", "training", "timekeepers", "public roads"]
)
def test_caution_covers(topic: str) -> None:
    assert topic in CAUTION


def test_legend_gives_speeds_in_words_and_units(page: str) -> None:
    words = text_of(page)
    # The drive swings between 36 and 108 km/h.
    ranges = re.findall(r"(\d+) to (\d+) km/h", words)
    assert re.search(r"under \d+ km/h", words)
    assert re.search(r"\d+ km/h and over", words)
    assert len(ranges) == 3
    assert 36 < int(ranges[0][0]) < int(ranges[-1][1]) < 108


def test_legend_says_when_the_width_is_assumed() -> None:
    track = oval()
    line = replace(track.centreline, width_m=None)
    assert "12 m wide (assumed" in text_of(map_html(replace(track, centreline=line)))
    assert "9.0 m wide, as the track file states" in text_of(map_html(track))


def test_legend_tells_how_well_a_width_between_recorded_edges_is_known() -> None:
    track = oval()
    sides = tuple((at, 4.5, 4.5) for at in (0.0, 200.0, 400.0))
    profile = (AccuracyRow(0.0, 0.6, "measured"), AccuracyRow(300.0, 0.7, "measured"))
    line = replace(track.centreline, width_profile=sides, accuracy_profile=profile)
    edges = replace(track, line="centre", centreline=line)
    # The difference of two lines errs by twice what their mean errs by.
    assert "9.0 m wide between recorded edges, ±1.4 m (one sigma)" in text_of(map_html(edges))
    assert "±1.4 m" not in text_of(map_html(replace(edges, line="driven")))


def test_pit_lane_bridge_and_start_are_drawn_and_explained() -> None:
    track = oval()
    lane = PitLane("pit", track.centreline.longitude_deg[:9], track.centreline.latitude_deg[:9])
    track = replace(
        track,
        pit_lanes=(lane,),
        crossovers=(Crossover(100.0, 420.0),),
        gates=(*track.gates, gate(track, "start", "start", "Start", 630.0)),
    )
    page = map_html(track)
    words = text_of(page)
    for name, css in (("Pit lane", "t-pit"), ("Bridge", "t-bridge"), ("Start gate", "t-start")):
        assert name in words
        assert css in page
    base = document_of(page, "base")
    # The bridge reaches 4 m beyond the band of 9 m below it, by hand.
    assert base["bridges"] == [{"over_m": 100.0, "under_m": 420.0, "reach_m": 8.5}]
    assert len(document_of(page, "state")["pit_lanes"]) == 1


def test_where_the_line_may_be_and_where_it_is_not_measured_is_drawn_and_explained() -> None:
    track = oval()
    rows = (
        AccuracyRow(0.0, 0.5, "measured"),
        AccuracyRow(100.0, 0.5, "thin"),
        AccuracyRow(200.0, 4.0, "carried"),
        AccuracyRow(240.0, 0.5, "measured"),
    )
    line = replace(track.centreline, accuracy_profile=rows)
    page = map_html(replace(track, centreline=line))
    words = text_of(page)

    # Two sigma, 0.5 to 4 m each.
    assert "Where the line may be: two sigma either side, 1.0 to 8.0 m" in words
    assert "Thin: fixes are far apart here (sparse logging); 100 m, sigma up to 4.0 m" in words
    assert "Carried: no fixes here" in words
    for css in ("t-doubt", "t-thin", "t-carried"):
        assert css in page
    accuracy = document_of(page, "base")["line"]["accuracy"]
    assert [row["kind"] for row in accuracy["stretches"]] == ["thin", "carried"]
    assert accuracy["stretches"][1]["to_m"] == pytest.approx(240.0, abs=2.0)
    assert "Where the line may be" not in text_of(map_html(track))
