"""New laps folded into a track: ids, names and gates stay, what moved is said."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import deviation
from drives import drive, hill_course, on_earth, stadium
from long_block import long_block, recorded

from trackkit.building.build import build_track
from trackkit.building.revise import revise_track
from trackkit.checks.check import check_track
from trackkit.errors import NoLapError
from trackkit.track.file import stored


@pytest.fixture(scope="module")
def first():
    """Built from three laps of one day, with three sectors, and corners that people named."""
    track = build_track([recorded(long_block(), seed=11)], "Block", sectors=3).track
    corners = tuple(replace(c, name=f"Turn {c.number}") for c in track.corners)
    return stored(replace(track, corners=corners, notes="kept"))


def test_ids_names_notes_and_the_gates_on_the_ground_stay(first):
    revision = revise_track(first, [recorded(long_block(), seed=12)])

    track = revision.build.track
    assert [(g.id, g.kind, g.name, g.left, g.right) for g in track.gates] == [
        (g.id, g.kind, g.name, g.left, g.right) for g in first.gates
    ]
    assert [(c.id, c.name) for c in track.corners] == [(c.id, c.name) for c in first.corners]
    assert (track.id, track.name, track.notes) == (first.id, first.name, "kept")
    assert track.finish.chainage_m == 0.0
    assert revision.changed == ()
    assert [f for f in check_track(stored(track)) if f.severity == "error"] == []


@pytest.mark.slow
def test_laps_of_more_days_bring_the_line_nearer_to_where_it_was_driven(first):
    road = long_block()
    days = [
        replace(recorded(road, seed=20 + n, name=f"day {n}"), removed={"stray": n + 1})
        for n in range(4)
    ]

    build = revise_track(first, days).build
    track = build.track

    before, after = (np.sqrt(np.mean(deviation(road, one) ** 2)) for one in (first, track))
    assert after < before
    assert track.accuracy_m < first.accuracy_m
    assert [s["laps"] for s in track.sources] == [3] * 5
    assert track.history[-1]["what"] == "revised with 12 laps"
    assert build.removed == {"stray": 1 + 2 + 3 + 4}


def test_the_accuracy_is_that_of_both_lines_and_the_history_says_from_what(first):
    revision = revise_track(first, [recorded(long_block(), seed=12)])

    track = revision.build.track
    new = revision.build.fitted.accuracy_m
    # The variance of a weighed mean of two independent values (any textbook of statistics).
    both = (first.accuracy_m**-2 + new**-2) ** -0.5
    assert track.accuracy_m == pytest.approx(both, abs=1e-3)
    told = track.history[-2]["what"]
    assert told.startswith(f"accuracy_m estimated from {first.accuracy_m:.2f} m of the line before")
    assert f"{new:.2f} m of the new laps" in told


@pytest.mark.slow
def test_revised_in_two_steps_is_much_as_revised_in_one(first):
    road = long_block()
    one, two = recorded(road, seed=31, name="one"), recorded(road, seed=32, name="two")

    together = revise_track(first, [one, two]).build.track
    apart = revise_track(revise_track(first, [one]).build.track, [two]).build.track

    chainage = np.arange(0.0, together.length_m, 5.0)
    _, offset = apart.curve.project(
        apart.plane.to_plane(*together.plane.to_geographic(together.curve.position(chainage)))
    )
    assert np.abs(offset).max() < 0.5


@pytest.mark.slow
@pytest.mark.parametrize("kink_m", [6.0, 15.0])
def test_a_changed_stretch_is_recognised_and_not_averaged(first, kink_m):
    road = long_block(kink_m)

    revision = revise_track(first, [recorded(road, seed=41, noise=0.3)])

    (stretch,) = revision.changed
    assert stretch.most_m == pytest.approx(kink_m, abs=1.5)
    # The detour is in the middle of the northern straight, which the middle of is opposite 0.
    longitude, latitude = on_earth(np.array([[0.0, 130.0 + kink_m / 2]]))
    middle, _ = first.curve.project(first.plane.to_plane(longitude, latitude))
    assert stretch.begin_m < float(middle[0]) < stretch.end_m
    assert stretch.end_m - stretch.begin_m < 150.0
    track = revision.build.track
    inside = np.abs(deviation(road, track))
    assert inside.max() < 2.5
    assert any("has changed between" in remark for remark in revision.build.remarks)
    assert "changed at" in track.history[-1]["what"]


def test_driven_laps_do_not_move_a_centre(first):
    centre = replace(first, line="centre")

    revision = revise_track(centre, [recorded(long_block(), seed=51)])

    chainage = np.arange(0.0, first.length_m, 5.0)
    _, offset = revision.build.track.curve.project(first.curve.position(chainage))
    assert np.abs(offset).max() < 0.05
    assert revision.build.track.line == "centre"


def test_laps_of_another_circuit_are_refused(first):
    with pytest.raises(NoLapError, match="no lap follows Block"):
        revise_track(first, [recorded(stadium(), laps=4.2)])


def test_laps_driven_the_other_way_are_refused(first):
    with pytest.raises(NoLapError, match="the way it is driven"):
        revise_track(first, [recorded(long_block().mirrored())])


def test_a_course_is_revised_with_runs():
    road = hill_course()

    def run(seed):
        return drive(road, cruise=18.0, from_rest=True).recording(
            10, doppler=True, noise=1.0, seed=seed, name=f"run {seed}"
        )

    track = build_track([run(1)], "Hill", is_open=True).track
    revised = revise_track(track, [run(2), run(3)]).build.track

    assert [(g.id, g.left, g.right) for g in revised.gates] == [
        (g.id, g.left, g.right) for g in track.gates
    ]
    assert not revised.closed
    assert revised.history[-1]["what"] == "revised with 2 runs"
