"""Several layouts driven in one recording are told apart, and one of them is built."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import assert_is, closed_rectangle
from drives import on_earth

from trackkit.building.build import build_track
from trackkit.errors import NoLapError
from trackkit.recordings.recording import Recording


def layouts_of_one_circuit():
    """Three invented layouts that share their main straight: 1,180, 780 and 980 m long."""
    return [closed_rectangle(300.0, height, 30.0) for height in (200.0, 20.0, 100.0)]


def mixed(order, layouts, cruise=20.0):
    """Laps of several layouts one after the other, and a little more of the last one."""
    time, rows = 0.0, []
    for number, which in enumerate(order):
        road = layouts[which]
        reach = road.length_m + (80.0 if number == len(order) - 1 else 0.0)
        way = np.arange(0.0, reach, 1.0)
        rows.append(road.at(way)[0])
    position = np.concatenate(rows)
    step = np.linalg.norm(np.diff(position, axis=0), axis=1)
    time = np.concatenate([[0.0], np.cumsum(np.maximum(step, 1e-3))]) / cruise
    fine = np.arange(0.0, time[-1], 0.1)
    east, north = (np.interp(fine, time, column) for column in position.T)
    longitude, latitude = on_earth(np.column_stack([east, north]))
    return Recording("mixed", fine, longitude, latitude)


def test_the_most_driven_of_several_layouts_is_built_and_each_lap_is_placed():
    layouts = layouts_of_one_circuit()
    recording = mixed([0, 0, 1, 0, 2, 1, 0, 0, 2], layouts)

    result = build_track([recording], "Mixed")

    assert_is(result.track, layouts[0], direction="anticlockwise", within_m=1.0)
    text = "\n".join(result.remarks)
    assert "the recordings hold laps of 3 layouts" in text
    assert "(laps 1-2, 4, 7-8): built" in text
    assert "(laps 3, 6): not used" in text
    asked = [remedy for remedy in result.remedies if remedy.do == "build layout"]
    assert [one.value["lap_length_m"] for one in asked] == pytest.approx(
        [layouts[2].length_m, layouts[1].length_m], abs=2.0
    )


@pytest.mark.parametrize("which", [1, 2])
def test_the_layout_asked_for_is_built(which):
    layouts = layouts_of_one_circuit()
    recording = mixed([0, 0, 1, 0, 2, 1, 0, 0, 2], layouts)

    result = build_track([recording], "Mixed", lap_length_m=layouts[which].length_m)

    assert_is(result.track, layouts[which], direction="anticlockwise", within_m=1.0)


def test_ten_layouts_in_one_recording_are_told_apart():
    layouts = [closed_rectangle(300.0, 20.0 + 30.0 * n, 30.0) for n in range(10)]
    order = [n for n in range(10) for _ in range(2)] + [4, 4, 4]

    result = build_track([mixed(order, layouts)], "Ten")

    assert_is(result.track, layouts[4], direction="anticlockwise", within_m=1.0)
    assert any("laps of 10 layouts" in remark for remark in result.remarks)
    assert result.laps_used == 5


def test_a_layout_nobody_drove_is_refused_with_those_there_are():
    recording = mixed([0, 1, 0], layouts_of_one_circuit())

    with pytest.raises(NoLapError, match="no lap is about 3,000 m long") as caught:
        build_track([recording], "Mixed", lap_length_m=3000.0)

    assert "1,1" in caught.value.remedy.what


def test_the_same_circuit_driven_both_ways_is_two_layouts():
    road = closed_rectangle(300.0, 200.0, 30.0)
    there = mixed([0, 0, 0], [road])
    # After a turn out of sight of the receiver, twice round the other way.
    back = replace(
        mixed([0, 0], [road]),
        longitude_deg=mixed([0, 0], [road]).longitude_deg[::-1],
        latitude_deg=mixed([0, 0], [road]).latitude_deg[::-1],
    )
    both = Recording(
        "both",
        np.concatenate([there.time_s, there.time_s[-1] + 60.0 + back.time_s]),
        np.concatenate([there.longitude_deg, back.longitude_deg]),
        np.concatenate([there.latitude_deg, back.latitude_deg]),
    )

    result = build_track([both], "Both ways")

    assert result.track.direction == "anticlockwise"
    assert any("laps of 2 layouts" in remark for remark in result.remarks)
