"""An edge of the track drawn by hand on the page: the widths follow, and the line stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cut_hairpin import true_track

from trackkit.checks.evaluate import prepare
from trackkit.editor.drawn_edge import draw_edge
from trackkit.editor.session import Editing
from trackkit.editor.stretches import Stretch
from trackkit.errors import PlaceError, TrackkitError
from trackkit.track.band import band_sides


@pytest.fixture(scope="module")
def track():
    plain = true_track()
    return replace(plain, centreline=replace(plain.centreline, width_m=10.0))


def beside(track, at_m, left_m):
    at = np.asarray(at_m, dtype=float)
    return track.curve.position(at) + track.curve.left(at) * np.asarray(left_m)[..., None]


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_an_edge_lies_where_it_was_drawn_and_all_else_stays(track, side, sign):
    # On the straight beyond the second half circle, from 200 to 284 m.
    point = beside(track, [225.0, 240.0, 255.0], sign * np.array([7.0, 9.0, 7.0]))

    drawn, _ = draw_edge(track, side, [Stretch(210.0, 270.0, point)])

    at = np.array([209.9, 225.0, 240.0, 255.0, 270.1, 20.0])
    left, right = band_sides(drawn, at)
    moved, other = (left, right) if side == "left" else (right, left)
    assert moved == pytest.approx([5.0, 7.0, 9.0, 7.0, 5.0, 5.0], abs=0.06)
    assert other == pytest.approx(np.full(6, 5.0))
    assert drawn.centreline.longitude_deg is track.centreline.longitude_deg
    assert drawn.history[-1]["what"] == f"{side} edge drawn by hand at 210-270 m"


def test_an_edge_is_drawn_over_the_seam_and_beside_one_drawn_before(track):
    length = track.curve.length_m
    point = beside(track, [length - 8.0, 8.0], np.full(2, 8.0))
    first, _ = draw_edge(track, "left", [Stretch(length - 30.0, 30.0, point)])
    second, _ = draw_edge(
        first, "right", [Stretch(length - 10.0, 60.0, beside(track, [20.0], np.array([-3.0])))]
    )
    left, right = band_sides(second, np.array([0.0, 20.0, 200.0]))
    assert left[0] == pytest.approx(8.2, abs=0.4)
    assert left[2] == pytest.approx(5.0)
    assert right[1] == pytest.approx(3.0, abs=0.05)
    chainages = [row[0] for row in second.centreline.width_profile]
    assert chainages == sorted(chainages)


def test_an_edge_is_drawn_all_round(track):
    at = track.curve.chainages(15.0)
    drawn, _ = draw_edge(
        track, "left", [Stretch(None, None, beside(track, at, np.full(len(at), 6.0)))]
    )
    left, right = band_sides(drawn, track.curve.chainages(7.0))
    assert left == pytest.approx(np.full(len(left), 6.0), abs=0.2)
    assert right == pytest.approx(np.full(len(left), 5.0))


@pytest.mark.parametrize(
    ("side", "left_m", "what"),
    [
        ("left", -2.0, "left edge would lie less than 0.5 m from the line, or beyond it"),
        ("right", -150.0, "right edge would lie more than 100 m from the line"),
    ],
)
def test_an_edge_beyond_the_line_or_far_away_is_refused(track, side, left_m, what):
    point = beside(track, [230.0, 250.0], np.full(2, left_m))
    with pytest.raises(PlaceError, match=what):
        draw_edge(track, side, [Stretch(210.0, 270.0, point)])


def test_where_the_width_was_not_told_it_is_said_what_it_is_elsewhere():
    plain = true_track()
    drawn, remarks = draw_edge(
        plain, "left", [Stretch(210.0, 270.0, beside(plain, [240.0], np.array([8.0])))]
    )
    assert remarks == ("elsewhere the track is taken to be 12 m wide, as before",)
    assert band_sides(drawn, np.array([20.0]))[0] == pytest.approx([6.0])


def test_a_page_draws_edges_and_undoes_them(track):
    editing = Editing(track, prepare(track, []))
    point = beside(track, [240.0], np.array([8.0]))
    place = np.column_stack(track.plane.to_geographic(point)).tolist()
    stretch = {"from_m": 210.0, "to_m": 270.0, "points": place}
    with pytest.raises(TrackkitError, match="the left or the right one"):
        editing.apply({"do": "edge", "side": "top", "stretches": [stretch]})
    base = editing.state()["base"]
    editing.apply({"do": "edge", "side": "left", "stretches": [stretch]})
    assert editing.state()["undo_what"] == "drew the left edge"
    assert editing.state()["base"] != base
    editing.apply({"do": "undo"})
    assert editing.step.track is track
