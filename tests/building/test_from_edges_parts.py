"""Two edges put the right way round, the centre between them, and how well it is known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from drives import stadium, track_of

from trackkit.building.fit import FittedLine
from trackkit.building.from_edges import (
    _across,
    _alike,
    _at_speed,
    _between,
    _known_between,
    _mean_offset,
    _require_sensible,
    _the_right_way,
    _turned,
    _with_profile,
)
from trackkit.building.line_accuracy import KnownLine
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve


def circle(radius_m, *, clockwise=False):
    angle = np.linspace(0.0, 2 * np.pi, 120, endpoint=False) * (-1.0 if clockwise else 1.0)
    return Curve.through(radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def is_clockwise(curve):
    first, second = curve.position(np.array([0.0, 5.0]))
    return bool(first[0] * second[1] - first[1] * second[0] < 0)


# Anticlockwise the left edge is the inner one, clockwise the outer one.
@pytest.mark.parametrize(("radius_m", "left_m"), [(94.0, 6.0), (105.0, -5.0)])
def test_how_far_another_line_is_to_the_left_is_measured_square(radius_m, left_m):
    line = circle(100.0)

    assert _across(line, line.chainages(7.0), circle(radius_m)) == pytest.approx(left_m, abs=1e-3)
    assert _mean_offset(line, circle(radius_m)) == pytest.approx(left_m, abs=1e-3)


def test_square_to_the_line_is_not_the_nearest_place():
    # A line that leaves another at 30 degrees: square to it, 100 m on it is 100 tan 30 away.
    along = np.linspace(0.0, 200.0, 41)
    line = Curve.through(np.stack([along, 0 * along], axis=1), closed=False)
    aside = Curve.through(np.stack([along, np.tan(np.radians(30.0)) * along], axis=1), closed=False)

    across = _across(line, np.array([30.0]), aside)

    assert across == pytest.approx([30.0 * np.tan(np.radians(30.0))], abs=0.05)


def test_lines_are_alike_that_run_the_same_way():
    assert _alike(circle(100.0), circle(95.0))
    assert not _alike(circle(100.0), circle(95.0, clockwise=True))
    assert is_clockwise(_turned(circle(100.0)))
    assert _turned(circle(100.0)).length_m == pytest.approx(2 * np.pi * 100.0, abs=0.01)


@pytest.mark.parametrize("left_clockwise", [False, True])
@pytest.mark.parametrize("right_clockwise", [False, True])
@pytest.mark.parametrize("inner", ["left", "right"])
def test_without_laps_the_left_edge_is_on_the_drivers_left(left_clockwise, right_clockwise, inner):
    left = circle(95.0 if inner == "left" else 105.0, clockwise=left_clockwise)
    right = circle(105.0 if inner == "left" else 95.0, clockwise=right_clockwise)

    left, right = _the_right_way(left, right, None)

    assert _mean_offset(right, left) == pytest.approx(10.0, abs=0.01)
    assert is_clockwise(left) is is_clockwise(right) is (inner == "right")


@pytest.mark.parametrize("clockwise", [False, True])
def test_laps_say_the_way_and_refuse_edges_that_are_swapped(clockwise):
    driven = SimpleNamespace(curve=circle(100.0, clockwise=clockwise))
    inner, outer = circle(95.0), circle(105.0)
    left, right = (outer, inner) if clockwise else (inner, outer)

    edges = _the_right_way(left, right, driven)

    assert [is_clockwise(edge) for edge in edges] == [clockwise, clockwise]
    assert _mean_offset(edges[1], edges[0]) == pytest.approx(10.0, abs=0.01)
    with pytest.raises(NoLapError, match="lies on the right"):
        _the_right_way(right, left, driven)


def test_the_centre_is_midway_and_the_width_from_edge_to_edge():
    centre, width = _between(circle(94.0), circle(106.0))

    assert centre.length_m == pytest.approx(2 * np.pi * 100.0, abs=0.05)
    assert width == pytest.approx(12.0, abs=0.01)


@pytest.mark.parametrize(
    ("widths_m", "sensible"),
    [((2.0, 60.0), True), ((1.9, 10.0), False), ((10.0, 60.1), False), ((-3.0, 10.0), False)],
)
def test_edges_of_one_track_are_2_to_60_m_apart(widths_m, sensible):
    if sensible:
        _require_sensible(np.array(widths_m))
    else:
        with pytest.raises(NoLapError, match="not those of one track"):
            _require_sensible(np.array(widths_m))


def edge(radius_m, sigma_m, kind, *, assumed=False):
    curve = circle(radius_m)
    chainage = curve.chainages(5.0)
    known = KnownLine(
        np.full(len(chainage), sigma_m), np.full(len(chainage), kind), f"{sigma_m}", assumed
    )
    return SimpleNamespace(curve=curve, chainage_m=chainage, accuracy=known)


@pytest.mark.parametrize("assumed", [(False, False), (True, False), (False, True)])
def test_the_centre_is_known_by_half_of_what_either_edge_is_and_as_the_worse_of_them(assumed):
    left = edge(95.0, 0.6, "measured", assumed=assumed[0])
    right = edge(105.0, 0.8, "thin", assumed=assumed[1])

    known = _known_between(circle(100.0), np.array([0.0, 50.0]), left, right)

    # Half the root of 0.36 and 0.64.
    assert known.sigma_m == pytest.approx([0.5, 0.5])
    assert known.kind.tolist() == ["thin", "thin"]
    assert known.assumed is any(assumed)
    assert known.basis == "from that of the two edges, 0.6"


@pytest.mark.parametrize("closed", [True, False])
def test_speeds_and_heights_are_carried_over_from_what_was_driven_beside_the_centre(closed):
    driven = circle(95.0) if closed else Curve.through(circle(95.0).vertex_m, closed=False)
    centre = circle(100.0) if closed else Curve.through(circle(100.0).vertex_m, closed=False)
    at = driven.chainages(2.0)
    wave = np.cos(2.0 * np.pi * at / driven.length_m)
    nothing = np.zeros((3, len(at)))
    known = KnownLine(nothing[0], np.full(len(at), "measured"), "laps", False)
    fitted = FittedLine(
        *(driven, ("a", "b", "c"), (), at, nothing[0], 20.0 + wave, 5.0 - wave, nothing, nothing),
        *(known, 9.0),
    )

    carried = _at_speed(centre, fitted)

    round_it = np.cos(2.0 * np.pi * carried.chainage_m / centre.length_m)
    assert carried.curve is centre
    assert carried.speed_mps == pytest.approx(20.0 + round_it, abs=0.01)
    assert carried.height_m == pytest.approx(5.0 - round_it, abs=0.01)
    # Every place of the centre counts, and none is beside it.
    assert carried.weight.shape == carried.offset_m.shape == (1, len(carried.chainage_m))
    assert carried.weight.all()
    assert not carried.offset_m.any()


def test_distances_to_both_edges_are_written_by_chainage():
    track = track_of(stadium(200.0, 60.0), spacing_m=3.0)
    plane, curve = track.plane, track.curve
    at = curve.chainages(2.0)

    def beside(aside_m):
        place = curve.position(at) + aside_m * curve.left(at)
        return Curve.through(place, closed=True)

    made = _with_profile(track, plane, beside(4.0), beside(-7.0))

    rows = made.centreline.width_profile
    assert [row[0] for row in rows] == sorted(row[0] for row in rows)
    assert rows[0][0] == 0.0
    assert np.array([row[1:] for row in rows]) == pytest.approx(
        np.tile([4.0, 7.0], (len(rows), 1)), abs=0.1
    )
    # To a centimetre.
    assert all(value == round(value, 2) for row in rows for value in row)
