"""From a line already drawn to a whole track."""

import numpy as np
import pytest
from built_tracks import TRACK_400_M, furthest_from
from drives import hill_course, on_earth, stadium

from trackkit.budgets import raised
from trackkit.building.from_line import build_from_line, densified
from trackkit.errors import NoLapError


def drawn(road, spacing_m=5.0, reach=1.0):
    count = int(reach * road.length_m / spacing_m)
    return on_earth(road.at(np.linspace(0.0, reach * road.length_m, count + 1))[0])


@pytest.mark.parametrize("corners", [3, 4, 5, 6])
def test_corners_are_rounded_alike_whichever_of_them_the_line_begins_at(corners):
    angle = 2 * np.pi * np.arange(corners) / corners
    vertex = 30.0 / np.sin(np.pi / corners) * np.column_stack([np.cos(angle), np.sin(angle)])

    line = densified(vertex, closed=True)
    from_next = densified(np.roll(vertex, -1, axis=0), closed=True)

    # Sides are 60 m long and samples a metre apart, so that they come to lie on each other.
    assert len(line) == 60 * corners
    assert from_next == pytest.approx(np.roll(line, -60, axis=0), abs=1e-6)


def test_a_line_that_has_become_longer_than_trackkit_takes_on_is_refused():
    with raised({"length_m": 350}), pytest.raises(NoLapError, match=r"the line has \d+ m, more"):
        build_from_line(*drawn(stadium()), "Drawn")


def test_a_closed_drawn_line_makes_a_track():
    result = build_from_line(*drawn(stadium()), "Drawn", sectors=2)

    assert result.track.closed
    assert result.track.length_m == pytest.approx(TRACK_400_M, abs=0.3)
    assert result.laps_used == 0
    assert furthest_from(stadium(), result.track) < 0.15
    assert [g.kind for g in result.track.gates] == ["finish", "sector"]


def test_a_drawn_line_that_ends_a_few_metres_short_is_closed():
    result = build_from_line(*drawn(stadium(), reach=0.98), "Drawn")

    assert result.track.closed
    assert result.track.length_m == pytest.approx(TRACK_400_M, abs=0.5)


def test_an_open_drawn_line_is_refused_unless_it_is_said_to_be_open():
    road = hill_course()
    line = drawn(road, reach=0.99)
    ends = road.at(np.array([0.0, 0.99 * road.length_m]))[0]

    with pytest.raises(NoLapError, match=f"{np.linalg.norm(ends[1] - ends[0]):.0f} m from its"):
        build_from_line(*line, "Drawn")
    course = build_from_line(*line, "Drawn", is_open=True).track
    assert [g.kind for g in course.gates] == ["start", "finish"]
    assert course.length_m == pytest.approx(0.99 * road.length_m, abs=0.5)


def test_heights_of_a_drawn_line_are_kept():
    longitude, latitude = drawn(stadium())

    track = build_from_line(longitude, latitude, "X", elevation_m=np.full(len(longitude), 1900.0))

    assert track.track.centreline.height_m == pytest.approx(1900.0)
    assert track.track.length_surface_m - track.track.length_m == pytest.approx(0.1193, abs=5e-4)


def test_a_drawn_line_too_short_for_a_track_is_refused():
    with pytest.raises(NoLapError, match="is 100 m long"):
        build_from_line(*drawn(stadium(), reach=0.25), "X", is_open=True)
