"""Faults of a centreline, each made on purpose."""

import re
from dataclasses import replace

import numpy as np
import pytest
from damaged_tracks import the_only_finding, turned_ends, with_gate
from drives import Road, arc, figure_of_eight, straight, track_of

from trackkit import Track
from trackkit.checks.check import check_track
from trackkit.track.features import Corner, Crossover


def test_a_line_of_too_few_points():
    circle = Road((arc(100, 360),))
    track = track_of(circle, gates=[("finish", "finish", 0.0)], spacing_m=circle.length_m / 12)

    finding = the_only_finding(replace(track, length_m=track.curve.length_m))

    assert (finding.rule, finding.severity, finding.feature) == (
        "too-few-points",
        "error",
        "centreline",
    )
    assert "has 12 points" in finding.message


@pytest.mark.parametrize(("count", "too_few"), [(19, True), (20, False)])
def test_a_line_has_points_enough_from_as_many_as_the_message_asks_for(count, too_few):
    circle = Road((arc(100, 360),))
    gates = [("finish", "finish", 0.0)]
    track = track_of(circle, gates=gates, spacing_m=circle.length_m / count)
    vertices = len(track.curve.vertex_m)
    findings = [f for f in check_track(track) if f.rule == "too-few-points"]

    assert vertices == count
    assert bool(findings) == too_few
    assert all("20 or more" in finding.message for finding in findings)


def test_a_fault_of_the_line_does_not_hide_those_of_gates(clean):
    track = with_gate(clean, "gate-a", **turned_ends(347.0, 0.0, half_m=2.0))
    gates_alone = {(f.rule, f.feature) for f in check_track(track)}
    apex = tuple(float(v) for v in track.plane.to_geographic(track.curve.position(400.0)))
    corner = Corner(1, "", "left", apex, 200.0, 250.0, 300.0, 40.0, id="corner-1")

    both = {(f.rule, f.feature) for f in check_track(replace(track, corners=(corner,)))}

    assert ("gate-missed", "gate-a") in gates_alone
    assert both == gates_alone | {("corner-place", "corner-1")}


def test_a_line_of_two_places_is_no_track(clean):
    line = clean.centreline
    few = replace(
        clean,
        centreline=replace(
            line,
            longitude_deg=line.longitude_deg[[0, 1, 0]],
            latitude_deg=line.latitude_deg[[0, 1, 0]],
        ),
    )

    finding = the_only_finding(few)

    assert (finding.rule, finding.severity, finding.feature) == (
        "too-few-points",
        "error",
        "centreline",
    )


def test_a_line_that_is_not_closed_though_the_track_is(clean):
    line = clean.centreline
    # The last step of 2 m is left out.
    gap = replace(
        clean,
        centreline=replace(
            line, longitude_deg=line.longitude_deg[:-1], latitude_deg=line.latitude_deg[:-1]
        ),
    )

    finding = the_only_finding(gap)

    assert (finding.rule, finding.severity, finding.feature) == (
        "closure-gap",
        "error",
        "centreline",
    )
    assert finding.chainage_m == pytest.approx(1388.5, abs=0.1)
    assert "ends 2.00 m from where it begins" in finding.message


@pytest.mark.parametrize(("factor", "found"), [(1.002, True), (0.998, True), (1.0005, False)])
def test_a_declared_length_that_is_not_the_lines(clean, factor, found):
    findings = check_track(replace(clean, length_m=clean.length_m * factor))

    assert [(f.rule, f.severity, f.feature) for f in findings] == (
        [("length", "error", "centreline")] if found else []
    )
    if found:
        remedy = findings[0].remedy
        assert "set length_m to 1388.5" in remedy.what
        assert (remedy.do, remedy.value) == ("set", {"length_m": round(clean.curve.length_m, 2)})


@pytest.mark.parametrize("declared", ["clockwise", None])
def test_a_declared_direction_that_is_not_the_lines(clean, declared):
    finding = the_only_finding(replace(clean, direction=declared))

    assert (finding.rule, finding.severity, finding.feature) == (
        "direction",
        "error",
        "centreline",
    )
    assert "the line runs anticlockwise" in finding.message


def eight(**more):
    road = figure_of_eight()
    return track_of(road, gates=[("finish", "finish", 40.0)], direction=None, spacing_m=2.0, **more)


def test_a_line_that_crosses_itself_without_a_bridge():
    findings = check_track(eight())

    (finding,) = [f for f in findings if f.rule == "crosses-itself"]
    half = figure_of_eight().length_m / 2
    assert (finding.severity, finding.feature) == ("error", "centreline")
    assert abs((finding.chainage_m + half / 2) % half - half / 2) < 0.5


def test_a_declared_bridge_is_no_fault_whichever_passage_is_above():
    half = figure_of_eight().length_m / 2
    for over, under in ((2.0, half), (half, 2.0)):
        findings = check_track(eight(crossovers=(Crossover(over, under),)))
        assert not {"crosses-itself", "bridge-nowhere"} & {f.rule for f in findings}


def test_a_bridge_declared_somewhere_else_excuses_nothing():
    half = figure_of_eight().length_m / 2
    findings = check_track(eight(crossovers=(Crossover(100.0, half + 100.0),)))

    assert {"crosses-itself", "bridge-nowhere"} <= {f.rule for f in findings}


# Kinks


def block_of(radius_m):
    """A square of 100 m with rounded corners, drawn finely."""
    road = Road((straight(100.0), arc(radius_m, 90)) * 4, start=(-50.0, -50.0))
    return road, track_of(road, gates=[("finish", "finish", 0.0)], spacing_m=0.25)


def test_a_corner_tighter_than_any_vehicle_turns_is_a_kink_though_no_vertex_turns_much():
    # An arc of 1 m radius turns by 90 degrees within 1.57 m, by less than 15 at each vertex.
    road, track = block_of(1.0)

    (finding,) = [f for f in check_track(track) if f.rule == "kink"]

    assert (finding.severity, finding.feature) == ("error", "centreline")
    (turned_deg,) = re.findall(r"turns by (\d+) degrees within 2 m", finding.message)
    assert float(turned_deg) == pytest.approx(90.0, abs=2.0)
    corner_m = road.length_m / 4
    middle_m = 100.0 + 0.5 * (corner_m - 100.0)
    assert finding.chainage_m % corner_m == pytest.approx(middle_m, abs=0.6)


def test_the_tightest_hairpin_of_a_kart_circuit_is_no_kink():
    # A radius of 3 m (common practice, no source): 38 degrees within 2 m.
    _, track = block_of(3.0)

    assert [f for f in check_track(track) if f.rule == "kink"] == []


def test_an_open_course_that_ends_the_way_it_did_not_begin_has_no_kink():
    there_and_back = Road((straight(200.0), arc(20.0, 180), straight(200.0)), closed=False)
    track = track_of(
        there_and_back,
        gates=[("start", "start", 20.0), ("finish", "finish", 430.0)],
        spacing_m=2.0,
    )

    assert [f for f in check_track(track) if f.rule == "kink"] == []


def knot(across, along):
    """Make a track of a Lissajous curve, which has 2ab - a - b double points (from memory)."""
    t = np.linspace(0.0, 2 * np.pi, 400 * along, endpoint=False)
    east_m = 800.0 * np.sin(across * t + np.pi / 4)
    north_m = 800.0 * np.sin(along * t)
    return Track.from_arrays(5.0 + east_m / 101_000.0, 24.0 + north_m / 110_800.0, "Knot")


def test_a_line_that_crosses_itself_at_more_than_twenty_places_has_the_rest_counted():
    track = replace(knot(4, 5), crossovers=())

    findings = [f for f in check_track(track) if f.rule == "crosses-itself"]

    assert len(findings) == 20 + 1
    assert "at 11 more places" in findings[-1].message
    assert all(f.chainage_m <= findings[-1].chainage_m for f in findings)


def test_a_line_that_crosses_itself_hundreds_of_times_is_not_led_over_bridges():
    # One of the seven is crossed at less than 20 degrees.
    assert len(knot(2, 3).crossovers) == 7 - 1
    assert knot(12, 13).crossovers == ()
