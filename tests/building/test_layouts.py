"""Several layouts driven in one recording are told apart, and one of them is built."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import assert_is, closed_rectangle
from drives import on_earth, stadium
from laid_paths import lap_along

from trackkit.building.build import build_track
from trackkit.building.fit import first_guess
from trackkit.building.layouts import Layout, _ranges, chosen, layouts_of, share_of
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


@pytest.mark.slow
@pytest.mark.parametrize("which", [1, 2])
def test_the_layout_asked_for_is_built(which):
    layouts = layouts_of_one_circuit()
    recording = mixed([0, 0, 1, 0, 2, 1, 0, 0, 2], layouts)

    result = build_track([recording], "Mixed", lap_length_m=layouts[which].length_m)

    assert_is(result.track, layouts[which], direction="anticlockwise", within_m=1.0)


@pytest.mark.slow
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


OVAL = stadium(300.0, 60.0)


def oval_lap(**more):
    return lap_along(OVAL.at, OVAL.length_m, **more)


def test_a_layouts_length_and_pace_are_the_medians_of_its_laps():
    laps = tuple(
        lap_along(OVAL.at, length, speed_mps=speed)
        for length, speed in ((900.0, 20.0), (903.0, 30.0), (1200.0, 24.0))
    )
    layout = Layout(laps)

    assert layout.length_m == pytest.approx(903.0)
    assert layout.pace_mps == pytest.approx(24.0)
    assert layout.driven == pytest.approx(24.0 * (900.0 + 903.0 + 1200.0))


@pytest.mark.parametrize(("asked_m", "index"), [(None, 0), (900.0, 0), (880.0, 0), (1190.0, 1)])
def test_the_layout_nearest_to_the_length_asked_for_is_chosen(asked_m, index):
    layouts = [Layout((lap_along(OVAL.at, length),)) for length in (900.0, 1200.0)]

    assert chosen(layouts, asked_m) is layouts[index]


def test_a_length_more_than_three_per_cent_off_is_no_layouts():
    layouts = [Layout((lap_along(OVAL.at, length),)) for length in (900.0, 1200.0)]

    with pytest.raises(NoLapError, match="no lap is about 935 m long"):
        chosen(layouts, 935.0)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [([1], "1"), ([1, 2], "1-2"), ([1, 3], "1, 3"), ([2, 3, 4, 7, 9, 10], "2-4, 7, 9-10")],
)
def test_numbers_in_a_row_are_written_as_ranges(numbers, words):
    assert _ranges(numbers) == words


def test_the_share_of_a_line_is_what_a_lap_runs_beside_the_same_way():
    curve = first_guess(oval_lap(), closed=True)
    half = lap_along(OVAL.at, 0.5 * OVAL.length_m)

    assert share_of(curve, oval_lap(aside_m=10.0)) == 1.0
    assert share_of(curve, half) == pytest.approx(0.5, abs=0.02)
    assert share_of(curve, oval_lap(aside_m=25.0)) == 0.0
    # Beside the line for three quarters of the way, and then 60 m away.
    off = oval_lap(aside_m=lambda chainage: np.where(chainage > 0.75 * OVAL.length_m, 60.0, 0.0))
    assert share_of(curve, off) == pytest.approx(0.75, abs=0.03)


def test_laps_within_the_width_of_a_track_are_of_one_layout():
    (layout,) = layouts_of([oval_lap(), oval_lap(aside_m=4.0), oval_lap(aside_m=-4.0)])

    assert (len(layout.laps), layout.strays) == (3, ())


def excursion(aside_m, speed_mps):
    """A lap that leaves the line for 120 m beside the first straight, at another speed."""

    def away(chainage):
        return (chainage > 60.0) & (chainage < 240.0)

    def aside(chainage):
        return np.interp(chainage, [60.0, 100.0, 200.0, 240.0], [0.0, aside_m, aside_m, 0.0])

    return oval_lap(
        aside_m=aside, speed_mps=lambda chainage: np.where(away(chainage), speed_mps, 20.0)
    )


def test_several_laps_that_leave_the_line_slowly_are_visits_to_the_pits():
    usual = [oval_lap(speed_mps=20.0) for _ in range(3)]
    pits = [excursion(20.0, 12.0), excursion(20.0, 12.0)]

    (layout,) = layouts_of([*usual, *pits])

    assert (list(layout.laps), list(layout.strays)) == (usual, pits)


def test_several_laps_that_leave_the_line_at_speed_are_a_layout_of_their_own():
    usual = [oval_lap(speed_mps=20.0) for _ in range(3)]
    other = [excursion(20.0, 20.0), excursion(20.0, 20.0)]

    layouts = layouts_of([*other, *usual])

    assert [list(layout.laps) for layout in layouts] == [usual, other]


def test_one_lap_that_leaves_the_line_at_speed_went_off():
    usual = [oval_lap(speed_mps=20.0) for _ in range(3)]
    off = excursion(20.0, 20.0)

    (layout,) = layouts_of([*usual, off])

    assert list(layout.strays) == [off]


def test_a_loop_in_the_paddock_is_no_layout():
    small = stadium(80.0, 20.0)
    usual = [oval_lap(speed_mps=20.0) for _ in range(3)]
    paddock = [lap_along(small.at, small.length_m, speed_mps=5.0) for _ in range(2)]
    kart = [lap_along(small.at, small.length_m, speed_mps=12.0) for _ in range(2)]

    assert len(layouts_of([*usual, *paddock])) == 1
    assert len(layouts_of([*usual, *kart])) == 2
