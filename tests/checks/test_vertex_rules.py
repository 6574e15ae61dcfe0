"""Faults of a line's vertices that leave its declared length and direction right."""

from dataclasses import replace

import driven_block
import numpy as np
import pytest
from drives import block_circuit, gate_ends, hairpin_circuit, stadium
from good_lines import drawn_vertices, track_at, track_through

from trackkit.building.revise import revise_track
from trackkit.checks.check import check_track
from trackkit.checks.vertex_rules import chord_errors_m, rounded_decimals, vertex_scatter_m
from trackkit.geometry.curve import Curve
from trackkit.track.features import Gate

ROADS = {"block": block_circuit(), "hairpin": hairpin_circuit(), "oval": stadium(250.0, 90.0)}


def rules(track):
    """Rules about the line itself that find something; the track has no gate."""
    return {f.rule for f in check_track(track) if f.feature == "centreline"}


def every(road, spacing_m):
    return np.linspace(0.0, road.length_m, int(np.ceil(road.length_m / spacing_m)) + 1)


def points(road, chainage_m):
    position, _ = road.at(chainage_m[:-1])
    return position


def closed(position):
    return track_at(np.vstack([position, position[:1]]), closed=True)


@pytest.mark.parametrize("name", ROADS)
def test_a_line_with_vertices_missing_says_where(name):
    road = ROADS[name]
    chainage = every(road, 2.0)
    kept = chainage[(chainage < 150.0) | (chainage > 450.0)]

    track = closed(points(road, kept))

    (gap,) = [f for f in check_track(track) if f.rule == "line-gap"]
    assert gap.severity == "warning"
    assert gap.chainage_m == pytest.approx(150.0, abs=2.5)
    assert gap.remedy.do == "build revise"


def test_a_line_drawn_with_chords_of_80_m_is_found():
    long_oval = stadium(900.0, 160.0)

    assert {"line-coarse", "line-gap"} <= rules(track_through(long_oval, every(long_oval, 80.0)))


@pytest.mark.parametrize("name", ROADS)
def test_bends_drawn_with_chords_of_40_m_are_found(name):
    assert "line-coarse" in rules(track_through(ROADS[name], every(ROADS[name], 40.0)))


def test_chords_leave_an_arc_by_their_rise():
    # The rise of an arc over its chord: c**2 / (8 r) nearly (school geometry).
    angle = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    circle = Curve.through(100.0 * np.column_stack([np.cos(angle), np.sin(angle)]), closed=True)

    rise = 100.0 * (1.0 - np.cos(np.pi / 40))
    assert chord_errors_m(circle) == pytest.approx(np.full(40, rise), rel=1e-3)


@pytest.mark.parametrize("decimals", [4, 5])
@pytest.mark.parametrize("name", ROADS)
def test_rounded_coordinates_are_said_to_be(name, decimals):
    good = track_through(ROADS[name], every(ROADS[name], 2.0))
    line = good.centreline
    rounded = replace(
        line,
        longitude_deg=np.round(line.longitude_deg, decimals),
        latitude_deg=np.round(line.latitude_deg, decimals),
    )
    track = replace(good, centreline=rounded)
    track = replace(track, length_m=track.curve.length_m)

    (finding,) = [f for f in check_track(track) if f.rule == "line-rounded"]
    assert f"{decimals} decimals" in finding.message
    # A degree of a meridian is 111.2 km long at 47 degrees (WGS 84; from memory).
    assert f"{111_200 / 10**decimals:.1f} m" in finding.message
    assert "line-scatter" not in rules(track)


def test_a_line_of_six_decimals_is_left_alone():
    good = track_through(ROADS["oval"], every(ROADS["oval"], 4.0))
    line = good.centreline
    assert rounded_decimals(good) is None
    fine = replace(
        line,
        longitude_deg=np.round(line.longitude_deg, 6),
        latitude_deg=np.round(line.latitude_deg, 6),
    )
    track = replace(good, centreline=fine)
    assert rules(replace(track, length_m=track.curve.length_m)) == set()


@pytest.mark.parametrize("name", ROADS)
@pytest.mark.parametrize("drawn", [False, True])
def test_noise_on_every_vertex_is_found_and_measured(name, drawn):
    road = ROADS[name]
    chainage = drawn_vertices(road) if drawn else every(road, 2.0)
    position = points(road, chainage)
    noisy = position + 0.2 * np.random.default_rng(5).standard_normal(position.shape)

    track = closed(noisy)

    (finding,) = [f for f in check_track(track) if f.rule == "line-scatter"]
    measured = float(finding.message.partition("lie ")[2].partition(" m")[0])
    assert measured == pytest.approx(0.2, rel=0.3)


def test_the_scatter_of_white_noise_is_told_to_a_tenth():
    # The law it is held to: what a linear predictor leaves of white noise has the variance
    # 1 + sum(w**2), and the median of a normal distribution's size is 0.6745 sigma.
    angle = np.linspace(0.0, 2.0 * np.pi, 2000, endpoint=False)
    circle = 640.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    noise = 0.05 * np.random.default_rng(7).standard_normal(circle.shape)

    _, sigma = vertex_scatter_m(Curve.through(circle + noise, closed=True))

    assert np.median(sigma[sigma > 0]) == pytest.approx(0.05, rel=0.1)


@pytest.mark.parametrize(("begin", "end"), [(180.0, 232.0), (150.0, 262.6), (100.0, 312.6)])
def test_a_hairpin_cut_by_a_chord_is_found_by_its_corners(begin, end):
    # The hairpin of the circuit, 12.6 m of it from 200 m on, and as much of its legs.
    road = ROADS["hairpin"]
    chainage = every(road, 2.0)
    kept = chainage[(chainage <= begin) | (chainage >= end)]

    assert rules(closed(points(road, kept))) & {"kink", "line-coarse", "line-gap", "crosses-itself"}


def spoilt(how):
    """The block circuit with its vertices 2 m apart, spoilt in one way."""
    road = ROADS["block"]
    chainage = every(road, 2.0)
    position = points(road, chainage)
    if how == "kink":
        position[300] += [0.0, 9.0]
    elif how == "line-scatter":
        position += 0.2 * np.random.default_rng(1).standard_normal(position.shape)
    elif how == "line-gap":
        position = position[(chainage[:-1] < 150.0) | (chainage[:-1] > 450.0)]
    elif how == "line-coarse":
        position = road.at(np.arange(0.0, road.length_m, 40.0))[0]
    track = closed(position)
    if how == "line-rounded":
        line = track.centreline
        track = replace(
            track,
            centreline=replace(
                line,
                longitude_deg=np.round(line.longitude_deg, 5),
                latitude_deg=np.round(line.latitude_deg, 5),
            ),
        )
    left, right = gate_ends(road, 0.0)
    return track.with_gates([Gate("finish", "finish", "Finish", left, right)])


@pytest.mark.slow
@pytest.mark.parametrize(
    "rule", ["kink", "line-scatter", "line-gap", "line-coarse", "line-rounded"]
)
def test_folding_a_recording_in_does_away_with_the_finding_as_its_remedy_says(rule):
    track = spoilt(rule)
    (finding,) = [f for f in check_track(track) if f.rule == rule]
    assert finding.remedy.do == "build revise"

    revised = revise_track(track, [driven_block.recording()]).build.track

    assert rules(revised) == set()
