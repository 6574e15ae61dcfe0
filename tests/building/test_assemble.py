"""A fitted line made into a track: where it begins, what is told of it, and its gates."""

import re
from types import SimpleNamespace

import numpy as np
import pytest
from drives import HOME, block_circuit, figure_of_eight, hill_course

from trackkit.building.assemble import _gap_remarks, assembled, end_remedies
from trackkit.errors import PlaceError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.places import Place

PLANE = LocalPlane(*HOME)


def curve_of(road):
    count = int(road.length_m / 2.0)
    chainage = np.arange(count) * road.length_m / count
    return Curve.through(road.at(chainage)[0], closed=road.closed)


BLOCK, HILL = curve_of(block_circuit()), curve_of(hill_course())


def build(curve=BLOCK, fitted=None, **more):
    details = {"finish": None, "sectors": 1, "sources": (), **more}
    return assembled(curve, PLANE, "Invented Block", "Long", fitted, **details)


def fitted_at(speed, height=None):
    chainage = BLOCK.chainages(1.0)
    return SimpleNamespace(
        curve=BLOCK,
        chainage_m=chainage,
        speed_mps=speed(chainage),
        height_m=np.full(len(chainage), np.nan) if height is None else height(chainage),
        weight=np.ones((2, len(chainage))),
    )


def test_a_drawn_line_says_what_it_takes_for_granted():
    track, remarks = build()

    assert (track.id, track.name, track.layout, track.line) == (
        "invented-block-long",
        "Invented Block",
        "Long",
        "centre",
    )
    text = "\n".join(remarks)
    assert "a drawn line is taken to be the centre" in text
    assert "the width of the track is not known: 12 m are taken" in text
    assert "finish gate at " in text


def test_a_known_width_is_written_and_nothing_is_taken_for_it():
    track, remarks = build(width_m=9.5)

    assert track.centreline.width_m == 9.5
    assert not any("width" in remark for remark in remarks)


def test_the_line_begins_at_the_finish_that_was_asked_for():
    track, _ = build(finish=Place(chainage_m=600.0))

    there = PLANE.to_geographic(BLOCK.position(600.0))
    begins = track.plane.to_plane(*there)
    assert track.curve.position(0.0) == pytest.approx(begins, abs=0.05)
    assert track.finish.chainage_m == 0.0


def test_the_finish_goes_where_cars_are_fast():
    fast = fitted_at(lambda s: np.where((s > 40.0) & (s < 90.0), 30.0, 20.0))

    track, remarks = build(fitted=fast)

    begins = PLANE.to_plane(*track.plane.to_geographic(track.curve.position(0.0)))
    assert 40.0 < float(BLOCK.project(begins)[0]) < 90.0
    assert track.line == "driven"
    assert not any("no lap has fixes" in remark for remark in remarks)


def test_sectors_are_equal_in_time_from_the_finish_on():
    slow = fitted_at(lambda s: np.where(s < 694.0, 10.0, 20.0))

    track, _ = build(fitted=slow, finish=Place(chainage_m=694.0), sectors=3)

    # 34.7 s for the second half of the block and 69.4 s for the first: thirds end 34.7 s and
    # 69.4 s after the middle, which is where the line began and half way on from there.
    places = [gate.chainage_m for gate in track.gates_of_kind("sector")]
    assert places == pytest.approx([694.0, 694.0 + 347.0], abs=30.0)


def test_heights_of_laps_are_kept_where_all_are_known():
    flat = fitted_at(lambda s: np.full(len(s), 20.0), lambda s: np.full(len(s), 55.0))

    assert build(fitted=flat)[0].centreline.height_m == pytest.approx(55.0)
    assert build(fitted=fitted_at(lambda s: np.full(len(s), 20.0)))[0].centreline.height_m is None


@pytest.mark.parametrize("heights", [False, True])
def test_a_bridge_is_told_and_that_nothing_tells_its_levels_only_where_nothing_does(heights):
    eight = curve_of(figure_of_eight())
    chainage = eight.chainages(1.0)
    unknown = np.full(len(chainage), np.nan)
    fitted = SimpleNamespace(
        curve=eight,
        chainage_m=chainage,
        speed_mps=np.full(len(chainage), 20.0),
        height_m=5.0 * np.cos(2 * np.pi * chainage / eight.length_m) if heights else unknown,
        weight=np.ones((2, len(chainage))),
    )

    _, remarks = build(eight, fitted)

    (remark,) = [remark for remark in remarks if "bridge" in remark]
    assert remark.startswith("the line crosses itself at ")
    assert remark.endswith("taken as a bridge") == heights


def test_an_open_course_has_gates_at_its_ends_and_is_told_so():
    track, remarks = build(HILL)

    start, finish = track.gates_of_kind("start")[0], track.finish
    inset = start.chainage_m
    assert track.curve.length_m - finish.chainage_m == pytest.approx(inset, abs=0.1)
    assert any(f"{inset:.0f} m from the ends of the course" in remark for remark in remarks)
    assert [remedy.feature for remedy in end_remedies(track, None)] == ["start", "finish"]
    assert end_remedies(track, Place(chainage_m=900.0)) == ()
    assert end_remedies(build()[0], None) == ()


def test_no_sector_makes_no_lap():
    with pytest.raises(PlaceError, match="0 sectors make no lap"):
        build(sectors=0)


@pytest.mark.parametrize("datum_m", [0.0, 500.0])
@pytest.mark.parametrize(("begin_m", "end_m"), [(300.0, 400.0), (-40.0, 60.0)])
def test_where_no_lap_has_fixes_is_told_by_the_chainages_of_the_track(begin_m, end_m, datum_m):
    fitted = fitted_at(lambda s: np.full(len(s), 20.0))
    lost = BLOCK.along(begin_m, fitted.chainage_m) <= end_m - begin_m
    fitted.weight[:, lost] = 0.0

    (told,) = _gap_remarks(fitted, datum_m)

    found = [float(value) for value in re.findall(r"(\d+) m", told)[:2]]
    expected = [float(BLOCK.along(datum_m, at)) for at in (begin_m, end_m)]
    assert found == pytest.approx(expected, abs=1.6)


def test_where_one_lap_has_fixes_there_is_no_gap():
    fitted = fitted_at(lambda s: np.full(len(s), 20.0))
    fitted.weight[0, 100:300] = 0.0

    assert _gap_remarks(fitted, 0.0) == ()
