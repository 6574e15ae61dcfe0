"""A line drawn on a map, and laps: together better than either, in place and in shape.

A twentieth of tests/bench/bench_drawn.py, whose table stands in docs/open-map.md.
"""

import numpy as np
import pytest
from checkout import TRACKS
from drawn_trials import drawn_over, ratio_to_best, some_laps, trial

from trackkit.building.build import build_track
from trackkit.building.from_line import build_from_line
from trackkit.building.revise import revise_track
from trackkit.checks.check import check_track
from trackkit.checks.verdict import judge_track
from trackkit.track.credit import credits_of, is_map_drawn
from trackkit.track.file import read_track, stored


@pytest.fixture(scope="module")
def circuit():
    return read_track(TRACKS / "pipwick-kart-circuit.geojson")


@pytest.fixture(scope="module")
def drawn(circuit):
    return drawn_over(circuit, np.random.default_rng(5), whole_m=2.1, local_m=2.1)


@pytest.fixture(scope="module")
def revision(circuit, drawn):
    return revise_track(drawn, [some_laps(circuit, 1, 5)])


@pytest.mark.slow
def test_errors_are_those_of_the_best_weighting_and_shapes_those_of_the_laps(circuit):
    done = [trial(circuit, seed, laps=1, whole_m=2.1, local_m=2.1) for seed in range(100, 106)]
    _, _, best, revised = ratio_to_best(done)
    assert revised <= 1.05 * best
    assert max(one.shape_m for one in done) <= 0.4


def test_the_line_is_measured_then_and_driven(revision, drawn):
    track = revision.build.track
    metres = track.centreline.metres_of_kinds()
    assert metres["drawn"] == 0.0
    assert track.line == "driven"
    assert track.accuracy_m < drawn.accuracy_m / 2
    assert not is_map_drawn(track)
    assert credits_of(track) == credits_of(drawn)
    assert revision.changed == ()
    assert "driven for the first time" in track.history[-2]["what"]


def test_with_the_drawn_line_it_is_surer_than_from_the_laps_alone(revision, circuit):
    alone = build_track([some_laps(circuit, 1, 5)], "Alone").track

    assert revision.build.track.accuracy_m < alone.accuracy_m
    assert revision.build.track.accuracy_m > 0.3 * alone.accuracy_m


def test_driven_it_is_fit_to_hand_on_where_nothing_else_is_wrong(revision):
    track = stored(revision.build.track)
    findings = check_track(track)
    reasons = judge_track(track, findings).verdict.reasons
    assert not [reason for reason in reasons if "driven" in reason or "known to" in reason]


def test_gates_and_ids_stay(revision, drawn):
    track = revision.build.track
    assert [(g.id, g.left, g.right) for g in track.gates] == [
        (g.id, g.left, g.right) for g in drawn.gates
    ]
    assert track.id == drawn.id


def test_a_line_that_a_person_drew_is_not_moved(circuit, drawn):
    line = drawn.centreline
    own = build_from_line(line.longitude_deg, line.latitude_deg, "Own").track
    revised = revise_track(own, [some_laps(circuit, 1, 5)]).build.track
    _, aside = revised.curve.project(
        revised.plane.to_plane(*own.plane.to_geographic(own.curve.position([100.0, 400.0])))
    )
    assert np.abs(aside).max() < 0.05
    assert revised.line == "centre"
