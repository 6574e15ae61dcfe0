"""The pit lane drawn, changed and removed on the page, as the command does it."""

from __future__ import annotations

import numpy as np
import pytest
from drives import on_earth, track_of
from pit_sessions import pit_offset, rectangle, session

from trackkit.checks.check import check_track
from trackkit.checks.evaluate import prepare
from trackkit.editor.session import Editing
from trackkit.errors import TrackkitError
from trackkit.gates.pit_lane import remove_pit_lane, set_pit_lane
from trackkit.gates.quality import timing_quality
from trackkit.pages.packing import pack


@pytest.fixture
def plain(plain_block):
    return Editing(plain_block, prepare(plain_block, []))


def beside(track, aside_m, along=(40.0, 80.0, 120.0, 160.0)):
    """Places beside a track as a page sends them."""
    curve = track.curve
    place = curve.position(along) + aside_m * curve.left(np.array(along))
    return np.column_stack(track.plane.to_geographic(place)).tolist()


def lay(line, **more):
    return {"do": "pit-lane", "line": line, **more}


def test_a_line_drawn_becomes_the_pit_lane_and_can_be_undone(plain):
    track = plain.step.track
    line = beside(track, 20.0)

    plain.apply(lay(line))

    (row,) = plain.state()["pit_lanes"]
    assert row["line"] == [pytest.approx(at, abs=1e-8) for at in line]
    assert plain.state()["undo_what"] == "drew the pit lane"
    assert plain.step.track.history[-1]["what"].endswith(", from a line drawn on the page")
    by_hand, _ = set_pit_lane(track, *np.array(line).T)
    assert row["length_m"] == pytest.approx(120.0, abs=15.0)
    assert plain.step.track.pit_lanes[0].id == by_hand.pit_lanes[0].id
    plain.apply({"do": "undo"})
    assert plain.state()["pit_lanes"] == []


def test_a_changed_line_keeps_its_id_and_steps_of_one_key_are_one(plain):
    track = plain.step.track
    plain.apply(lay(beside(track, 20.0)))
    lane = plain.state()["pit_lanes"][0]["id"]
    for aside_m in (21.0, 22.0, 23.0):
        plain.apply(lay(beside(track, aside_m), merge="step-1"))

    assert plain.state()["pit_lanes"][0]["id"] == lane
    assert plain.state()["undo_what"] == "changed the pit lane"
    plain.apply({"do": "undo"})
    assert plain.state()["pit_lanes"][0]["line"][0] == pytest.approx(beside(track, 20.0)[0])


def test_a_pit_lane_is_removed_as_the_command_removes_it(plain):
    plain.apply(lay(beside(plain.step.track, 20.0)))
    before = plain.step.track

    plain.apply(lay(None))

    assert plain.state()["pit_lanes"] == []
    by_hand, _ = remove_pit_lane(before)
    told = [[entry["what"] for entry in t.history] for t in (plain.step.track, by_hand)]
    assert told[0] == told[1]
    with pytest.raises(TrackkitError, match="has no pit lane"):
        plain.apply(lay(None))


def test_findings_follow_the_pit_lane(plain):
    # It leads past a sector gate of 20 m, 20 m beside the line.
    track = plain.step.track
    gate = track.gates_of_kind("sector")[0].chainage_m
    along = tuple(gate + by for by in (-60.0, -20.0, 20.0, 60.0))
    before = {finding["rule"] for finding in plain.state()["findings"]}

    plain.apply(lay(beside(track, 20.0, along)))

    after = {finding["rule"] for finding in plain.state()["findings"]}
    assert after - before == {"pit-bypass"}
    assert "pit-bypass" in {finding.rule for finding in check_track(plain.step.track)}
    plain.apply({"do": "undo"})
    assert {finding["rule"] for finding in plain.state()["findings"]} == before


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ([[11.0, 48.0]], "two places or more"),
        ("here", "two places or more"),
        ([[1.0, "x"], [2.0, 3.0]], "line is not a number"),
        ([[1.0, 95.0], [2.0, 3.0]], "no longitude and latitude"),
        (None, "has no pit lane"),
    ],
)
def test_a_line_that_is_none_changes_nothing(plain, line, sentence):
    before = plain.step
    with pytest.raises(TrackkitError, match=sentence):
        plain.apply(lay(line))
    assert plain.step is before


@pytest.mark.slow
def test_what_places_are_worth_follows_the_pit_lane():
    # Four laps of six pass slowly through a pit lane so near that they could be passes of the line.
    track = track_of(rectangle(), gates=[("finish", "finish", 300.0)], spacing_m=2.0)
    recording = session(laps=6, visits=(1, 2, 3, 4), aside_m=9.0)
    editing = Editing(track, prepare(track, [recording], ["session"]))
    assert editing.state()["quality"] is None
    along = np.arange(-180.0, 180.0, 10.0)
    position, ahead = rectangle().at(along)
    aside = pit_offset(along, 9.0)[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    longitude, latitude = on_earth(position + aside)

    editing.apply(lay(np.column_stack([longitude, latitude]).tolist()))

    worth = editing.state()["quality"]
    before = timing_quality(track, [recording]).sigma_s
    after = timing_quality(editing.step.track, [recording])
    assert np.max(before / after.sigma_s) > 1.5
    assert worth == {"sigma_s": pack(after.sigma_s, 1e-6), "basis": after.basis}
    editing.apply({"do": "undo"})
    assert editing.state()["quality"] is None
