"""Drawn lines: how they are made dense, when they are laps, and what is said of them."""

from __future__ import annotations

import numpy as np
import pytest
from drives import on_earth

from trackkit.building.find_laps import SHORTEST_LAP_M
from trackkit.building.from_line import DRAWN_SIGMA_M, build_from_line, densified
from trackkit.errors import NoLapError


def circle(count, radius_m=100.0, share=1.0):
    """Places round so much of a circle; a whole one ends where it began."""
    angle = np.linspace(0.0, 2.0 * np.pi * share, count)
    return radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1)


@pytest.mark.parametrize("repeated", [True, False])
def test_a_lap_is_made_dense_all_round_whether_or_not_its_first_place_comes_again(repeated):
    vertex = circle(41) if repeated else circle(41)[:-1]

    line = densified(vertex, closed=True)

    # A place a metre, none of them twice, on the circle to a decimetre.
    step = np.linalg.norm(np.diff(np.vstack([line, line[:1]]), axis=0), axis=1)
    assert step == pytest.approx(np.full(len(line), 2.0 * np.pi * 100.0 / len(line)), rel=0.02)
    assert len(line) == pytest.approx(2.0 * np.pi * 100.0, abs=5.0)
    assert np.linalg.norm(line, axis=1) == pytest.approx(100.0, abs=0.1)
    # As smooth where it begins as anywhere.
    turn = np.diff(np.unwrap(np.arctan2(line[:, 1], line[:, 0])))
    assert turn == pytest.approx(turn.mean(), rel=0.05)


def test_a_course_is_made_dense_from_its_first_place_to_its_last():
    vertex = np.array([[0.0, 0.0], [100.0, 0.0], [200.0, 0.0], [200.0, 0.0], [200.0, 80.0]])

    line = densified(vertex, closed=False)

    assert line[0] == pytest.approx(vertex[0])
    assert line[-1] == pytest.approx(vertex[-1])
    assert len(line) == 280
    # Along a straight no curve swings out.
    assert np.abs(line[line[:, 0] < 90.0, 1]).max() < 1e-6


def test_a_line_of_two_places_is_left_as_it_is():
    vertex = np.array([[0.0, 0.0], [300.0, 40.0]])

    assert densified(vertex, closed=False).tolist() == vertex.tolist()


def test_a_short_line_has_some_places_all_the_same():
    assert len(densified(circle(9, 3.0), closed=False)) == 50


def gap_of(gap_m, radius_m):
    share = 1.0 - gap_m / (2.0 * np.pi * radius_m)
    return on_earth(circle(200, radius_m, share))


@pytest.mark.parametrize(
    ("gap_m", "radius_m", "closed"),
    # 25 m, or three hundredths of the line where that is less.
    [(24.0, 300.0, True), (26.0, 300.0, False), (17.5, 100.0, True), (20.0, 100.0, False)],
)
def test_a_line_whose_ends_lie_close_is_a_lap(gap_m, radius_m, closed):
    if closed:
        assert build_from_line(*gap_of(gap_m, radius_m), "X").track.closed
    else:
        with pytest.raises(NoLapError, match=r"its end lies \d+ m from its start"):
            build_from_line(*gap_of(gap_m, radius_m), "X")
    assert not build_from_line(*gap_of(gap_m, radius_m), "X", is_open=True).track.closed


@pytest.mark.parametrize(("share", "short"), [(0.98, True), (1.02, False)])
def test_a_line_has_the_length_of_a_lap_at_least(share, short):
    line = on_earth(circle(100, share * SHORTEST_LAP_M / (2.0 * np.pi)))

    if short:
        with pytest.raises(NoLapError, match=f"a track is {SHORTEST_LAP_M:.0f} or more"):
            build_from_line(*line, "X")
    else:
        assert build_from_line(*line, "X").track.closed


@pytest.mark.parametrize("sigma_m", [None, 0.0, 3.5])
@pytest.mark.parametrize("is_open", [True, False])
def test_how_well_a_drawn_line_is_known_is_what_is_given_or_assumed(sigma_m, is_open):
    build = build_from_line(*on_earth(circle(200)), "X", sigma_m=sigma_m, is_open=is_open)

    expected = DRAWN_SIGMA_M if sigma_m is None else sigma_m
    rows = build.track.centreline.accuracy_profile
    assert {(row.sigma_m, row.kind) for row in rows} == {(expected, "drawn")}
    # On a course to its end as well.
    ends = [0.0, build.track.curve.length_m] if is_open else [0.0]
    assert [row.chainage_m for row in rows] == pytest.approx(ends, abs=0.01)
    assert build.track.accuracy_m == expected
    assert any("is assumed" in remark for remark in build.remarks) == (sigma_m is None)
    assert (build.laps_used, build.removed) == (0, {})
    assert build.track.history[-1]["what"] == "built from a drawn line"
