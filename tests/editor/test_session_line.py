"""The centreline drawn by hand on the page: what stays, what follows, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cut_hairpin import BEGIN_M, END_M, cut_track, on_hairpin, true_track
from drives import figure_of_eight, hairpin_circuit, hill_course, track_of

from trackkit.checks.check import check_track
from trackkit.checks.evaluate import prepare
from trackkit.checks.verdict import judge_track
from trackkit.editor.desk import Desk
from trackkit.editor.drawn_line import DrawnOver, draw_line
from trackkit.editor.session import Editing
from trackkit.editor.stretches import Stretch
from trackkit.errors import PlaceError, TrackkitError
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.features import Crossover
from trackkit.track.file import read_track, write_track
from trackkit.underlay.embed import EmbeddedPicture

FLIGHT = DrawnOver("flight.tif", 0.6, "An invented flight")


@pytest.fixture(scope="module")
def cut():
    return cut_track()


def editing_of(track, over=None):
    return Editing(track, prepare(track, []), over)


def mended(cut):
    """The edit that lays the hairpin through points of it."""
    place = cut.plane.to_plane(*on_hairpin([-0.1, 1.1]).T)
    ends, _ = cut.curve.project(place)
    return {
        "do": "line",
        "stretches": [
            {
                "from_m": float(ends[0]),
                "to_m": float(ends[1]),
                "points": on_hairpin(np.linspace(0.0, 1.0, 9)).tolist(),
            }
        ],
    }


def away_m(track, position):
    """How far positions, degrees, are from a line."""
    return np.abs(track.curve.project(track.plane.to_plane(*np.asarray(position).T))[1])


def test_a_hairpin_cut_by_a_chord_is_laid_through_points_of_it(cut):
    editing = editing_of(cut, FLIGHT)

    editing.apply(mended(cut))

    track, true = editing.step.track, true_track()
    assert track.length_m == pytest.approx(true.length_m, abs=0.1)
    # Where the straight ends a spline of few points swings by some centimetres.
    assert away_m(track, on_hairpin(np.linspace(0.0, 1.0, 60))).max() < 0.15
    assert track.gates[0].chainage_m == 0.0
    for before, after in zip(cut.gates, track.gates, strict=True):
        assert (before.id, before.left, before.right) == (after.id, after.left, after.right)
    # The true chainage of the second gate, 200 m beyond the first.
    assert track.gate("back").chainage_m == pytest.approx(200.0, abs=0.1)
    assert len(track.corners) == 2
    what = track.history[-1]["what"]
    assert what.startswith("line drawn by hand over flight.tif at ")
    assert track.sources[-1] == {"file": "flight.tif", "credit": "An invented flight"}
    assert editing.state()["undo_what"] == "drew the line"
    (remark,) = editing.state()["remarks"]
    assert remark == f"the line is {track.length_m - cut.length_m:.1f} m longer"


def test_all_beside_what_was_drawn_stays_to_the_millimetre(cut):
    track, _ = draw_line(cut, _stretches(cut))
    begin, end = _stretches(cut)[0].begin_m, _stretches(cut)[0].end_m
    at = cut.curve.chainages(0.25)
    at = at[(at < begin) | (at > end)]
    place = cut.plane.to_geographic(cut.curve.position(at))
    assert away_m(track, np.column_stack(place)).max() < 0.001
    kept = cut.curve.vertex_chainage_m
    kept = np.flatnonzero((kept < begin - 1.0) | (kept > end + 1.0))
    stored = set(zip(track.centreline.longitude_deg, track.centreline.latitude_deg, strict=True))
    line = cut.centreline
    for n in kept:
        assert (line.longitude_deg[n], line.latitude_deg[n]) in stored


def _stretches(cut):
    stretch = mended(cut)["stretches"][0]
    point = cut.plane.to_plane(*np.array(stretch["points"]).T)
    return [Stretch(stretch["from_m"], stretch["to_m"], point)]


def test_a_page_takes_the_new_line_and_undo_the_old_one(cut):
    editing = editing_of(cut)
    first = editing.state()["base"]
    editing.apply(mended(cut))
    assert editing.state()["base"] != first
    assert editing.state()["datum_m"] == 0.0
    editing.apply({"do": "undo"})
    assert editing.state()["base"] == first
    assert editing.step.track is cut


def test_chainages_count_from_where_the_page_had_the_finish_gate(cut):
    editing = editing_of(cut)
    editing.apply({"do": "move", "gate": "finish", "to_m": 10.0})
    stretch = mended(cut)["stretches"][0]
    edit = {**mended(cut), "datum_m": 10.0}
    edit["stretches"] = [
        {**stretch, "from_m": stretch["from_m"] - 10.0, "to_m": stretch["to_m"] - 10.0}
    ]
    editing.apply(edit)
    assert editing.step.track.length_m == pytest.approx(true_track().length_m, abs=0.1)


def test_the_stretch_counts_as_drawn_as_well_as_the_picture_is_known(cut):
    measured = _measured(cut, 0.4)
    track, _ = draw_line(measured, _stretches(cut), FLIGHT)
    apex, _ = track.curve.project(track.plane.to_plane(*on_hairpin([0.5])[0]))
    sigma, kind = track.centreline.accuracy_at([apex, track.curve.length_m - 20.0])
    assert kind.tolist() == ["drawn", "measured"]
    assert sigma == pytest.approx([0.6, 0.4], abs=0.02)
    metres = track.centreline.metres_of_kinds()
    assert metres["drawn"] == pytest.approx(1.2 * (END_M - BEGIN_M), abs=10.0)
    without, _ = draw_line(measured, _stretches(cut))
    # Common practice, no source: as of any line traced from a picture.
    assert without.centreline.accuracy_at(apex)[0] == pytest.approx(3.0)
    assert without.history[-1]["what"].startswith("line drawn by hand at ")


def test_a_line_that_nobody_measured_is_drawn_all_round(cut):
    track, _ = draw_line(cut, _stretches(cut), FLIGHT)
    assert track.centreline.metres_of_kinds()["drawn"] == pytest.approx(track.length_m)
    judged = judge_track(track, check_track(track))
    assert any("the drawn line is known to 3.0 m" in reason for reason in judged.verdict.reasons)


def test_what_is_moved_by_little_is_known_nearly_as_well(cut):
    measured = _measured(cut, 0.4)
    aside = cut.curve.position(200.0) + 0.3 * cut.curve.left(200.0)
    track, _ = draw_line(measured, [Stretch(180.0, 220.0, aside[None])])
    sigma, kind = track.centreline.accuracy_at(200.0)
    assert kind == "drawn"
    assert sigma == pytest.approx(0.5, abs=0.02)


def _measured(track, sigma_m):
    profile = (AccuracyRow(0.0, sigma_m, "measured"),)
    line = replace(track.centreline, accuracy_profile=profile)
    return replace(track, centreline=line, line="driven", accuracy_m=sigma_m)


def test_a_drawn_stretch_of_a_driven_line_asks_for_laps(cut):
    track, _ = draw_line(_measured(cut, 0.4), [_across_finish(cut)])
    judged = judge_track(track, check_track(track))
    assert any("known to" in reason for reason in judged.verdict.reasons)
    assert judged.next_step.do == "build revise"


def test_a_drawn_stretch_between_recorded_edges_asks_for_the_edges(cut):
    centre = replace(_measured(cut, 0.4), line="centre")
    track, _ = draw_line(centre, [_across_finish(cut)])
    judged = judge_track(track, check_track(track))
    reasons = judged.verdict.reasons
    assert any(reason.startswith("the drawn line is known to") for reason in reasons)
    assert judged.next_step.do is None
    assert judged.next_step.what.startswith("record both edges again")


def test_a_desk_says_what_was_drawn_over(cut, tmp_path):
    path = tmp_path / "cut.geojson"
    write_track(_measured(cut, 0.4), path)
    picture = EmbeddedPicture(
        "data:", 160.9, 46.9, 161.1, 47.1, "An invented flight", 0.3, 0.3, 1.0, "flight.tif", 0.4
    )
    desk = Desk(str(path), underlay=picture)
    desk.editing.apply(mended(cut))
    lane = cut.curve.position([20.0, 45.0]) + np.array([0.0, 14.0])
    place = np.column_stack(cut.plane.to_geographic(lane)).tolist()
    desk.editing.apply({"do": "pit-lane", "line": place})
    desk.save()
    track = read_track(path)
    line, lane = (entry["what"] for entry in track.history[-2:])
    assert line.startswith("line drawn by hand over flight.tif at ")
    assert lane.endswith(", from a line drawn by hand over flight.tif")
    assert [source["file"] for source in track.sources] == ["flight.tif"]
    apex, _ = track.curve.project(track.plane.to_plane(*on_hairpin([0.5])[0]))
    # A pixel of 0.3 m and 0.4 m of the points that the picture was laid by.
    assert track.centreline.accuracy_at(apex)[0] == pytest.approx(0.5, abs=0.01)
    assert desk.base()["underlay"]["credit"] == "An invented flight"


def _across_finish(cut):
    length = cut.curve.length_m
    at = np.array([length - 12.0, 0.0, 12.0])
    point = cut.curve.position(at) + np.array([[0.0, 3.0], [0.0, 4.0], [0.0, 3.0]])
    return Stretch(length - 30.0, 30.0, point)


def test_where_the_finish_line_is_crossed_elsewhere_a_lap_begins_there(cut):
    track, _ = draw_line(cut, [_across_finish(cut)])
    ends = track.gate_ends(track.finish)
    crossing = track.curve.crossed_by(*ends)
    assert min(crossing[0], track.curve.length_m - crossing[0]) < 0.01
    first = (track.centreline.longitude_deg[0], track.centreline.latitude_deg[0])
    middle = np.mean([track.finish.left, track.finish.right], axis=0)
    assert geodesic_distance(*first, *middle) == pytest.approx(4.0, abs=0.3)


def test_a_line_that_crosses_itself_newly_is_refused(cut):
    middle = cut.curve.position(160.0)
    across = cut.plane.to_plane(*np.mean([cut.finish.left, cut.finish.right], axis=0))
    south = float(across[1] - middle[1])
    loop = np.array([[25.0, 0.5], [18.0, 1.1], [0.0, 1.3], [-18.0, 1.1], [-25.0, 0.5]])
    with pytest.raises(PlaceError, match=r"would cross itself at .* where it did not before"):
        draw_line(cut, [Stretch(122.0, 198.0, middle + loop * [1.0, south])])


def test_a_bridge_that_is_moved_stays_one():
    road = figure_of_eight()
    track = track_of(road, gates=[("finish", "finish", 30.0)], direction=None)
    half = 0.5 * track.curve.length_m
    track = replace(track, crossovers=(Crossover(half, 0.0),))
    point = track.curve.position([half - 8.0, half + 8.0]) + np.array([0.0, 3.0])
    moved, _ = draw_line(track, [Stretch(half - 40.0, half + 40.0, point)])
    (bridge,) = moved.crossovers
    assert moved.curve.separation(bridge.over_m, half) < 10.0
    rules = {finding.rule for finding in check_track(moved)}
    assert not rules & {"crosses-itself", "bridge-nowhere"}


def test_a_turn_that_no_vehicle_drives_is_refused_and_one_mended_is_taken():
    track = track_of(hairpin_circuit(), gates=[("finish", "finish", 0.0)])
    sharp = track.curve.position(100.0) + np.array([[-1.0, 0.0], [0.0, 6.0], [1.0, 0.0]])
    with pytest.raises(PlaceError, match=r"turn by \d+ degrees within 2 m at .* as no vehicle"):
        draw_line(track, [Stretch(80.0, 120.0, sharp)])
    line = track.centreline
    latitude = line.latitude_deg.copy()
    latitude[25] += 4e-5
    kinked = replace(track, centreline=replace(line, latitude_deg=latitude))
    assert "kink" in {finding.rule for finding in check_track(kinked)}
    mended_track, _ = draw_line(kinked, [Stretch(80.0, 125.0, np.empty((0, 2)))])
    assert "kink" not in {finding.rule for finding in check_track(mended_track)}


def test_the_ends_of_a_course_are_moved_and_a_lap_is_drawn_as_a_whole(cut):
    course = track_of(hill_course(), gates=[("start", "start", 20.0), ("finish", "finish", 1200.0)])
    begin = course.curve.position(0.0) + np.array([[-30.0, 0.0]])
    longer, _ = draw_line(course, [Stretch(None, 60.0, begin)])
    assert longer.length_m == pytest.approx(course.length_m + 30.0, abs=0.5)
    assert longer.gate("finish").chainage_m == pytest.approx(1230.0, abs=0.5)
    whole = true_track()
    point = whole.curve.position(whole.curve.chainages(12.0))
    drawn, _ = draw_line(whole, [Stretch(None, None, point)])
    assert drawn.length_m == pytest.approx(whole.length_m, abs=0.2)
    assert drawn.history[-1]["what"].startswith("line drawn by hand all round")


@pytest.mark.parametrize(
    ("stretches", "what"),
    [
        (None, "no list of stretches"),
        ([{"from_m": 10.0, "to_m": 60.0}], "a list of 2000 points at most"),
        ([{"from_m": 10.0, "to_m": 60.0, "points": [[161.0]]}], "a longitude and a latitude"),
        ([{"from_m": 10.0, "to_m": 999.0, "points": []}], "no place at 999.0 m"),
        ([{"from_m": 10.0, "to_m": None, "points": []}], "a lap has no end"),
        ([], "nothing was drawn"),
        (
            [
                {"from_m": 10.0, "to_m": 60.0, "points": []},
                {"from_m": 50.0, "to_m": 90.0, "points": []},
            ],
            "overlap",
        ),
        (
            [{"from_m": 10.0, "to_m": 60.0, "points": [[161.0, 47.0], [161.0, 47.0]]}],
            "two points lie 0.00 m from each other",
        ),
    ],
)
def test_what_is_no_stretch_is_refused_and_changes_nothing(cut, stretches, what):
    editing = editing_of(cut)
    with pytest.raises(TrackkitError, match=what):
        editing.apply({"do": "line", "stretches": stretches})
    assert editing.step.track is cut
    assert not editing.unsaved
