"""Where a track has changed, and how an old and a new line are put together, by small cases."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.building.revise import (
    ChangedStretch,
    _changed,
    _error_of_mean,
    _heights,
    _known_together,
    _lateral,
    _shift,
    _stretches,
)
from trackkit.geometry.curve import Curve


def circle(radius_m, count=200):
    angle = np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    return Curve.through(radius_m * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)


def rest_with(far, *, at=50, shoulder=3, count=100):
    """Sideways distances: far for some samples, 1 m beside that, and half a metre elsewhere."""
    rest = np.full(count, 0.5)
    rest[np.arange(at - shoulder, at + far + shoulder) % count] = 1.0
    rest[np.arange(at, at + far) % count] = -5.0
    return rest


@pytest.mark.parametrize(("far", "marked"), [(7, 0), (8, 8 + 6), (20, 20 + 6)])
@pytest.mark.parametrize("at", [50, 95, 2])
def test_what_lies_far_for_eight_metres_has_changed_out_to_where_both_agree(far, marked, at):
    rest = rest_with(far, at=at)

    changed = _changed(rest, np.full(100, 3.0), 1.0, closed=True)

    assert changed.sum() == marked
    if marked:
        assert set(np.flatnonzero(changed)) == {n % 100 for n in range(at - 3, at + far + 3)}


def test_metres_count_not_samples():
    rest = rest_with(5)

    assert not _changed(rest, np.full(100, 3.0), 1.0, closed=True).any()
    assert _changed(rest, np.full(100, 3.0), 2.0, closed=True).any()


def test_how_far_is_far_is_told_place_by_place():
    limit = np.full(100, 3.0)
    limit[45:65] = 6.0

    assert not _changed(rest_with(10), limit, 1.0, closed=True).any()
    # As far as the limit is not yet beyond it.
    assert not _changed(rest_with(10), np.full(100, 5.0), 1.0, closed=True).any()


@pytest.mark.parametrize(("at", "first", "last"), [(0, 0, 12), (90, 87, 99)])
def test_on_a_course_a_change_does_not_run_over_its_ends(at, first, last):
    rest = np.full(100, 0.5)
    rest[max(at - 3, 0) : at + 13] = 1.0
    rest[at : at + 10] = 5.0

    changed = np.flatnonzero(_changed(rest, np.full(100, 3.0), 1.0, closed=False))

    assert (changed[0], changed[-1]) == (first, last)


def test_where_both_never_agree_all_has_changed():
    assert _changed(np.full(30, 4.0), np.full(30, 3.0), 1.0, closed=True).all()
    assert _changed(np.full(30, 4.0), np.full(30, 3.0), 1.0, closed=False).all()


def test_stretches_are_told_by_where_they_begin_and_end_and_by_how_much():
    chainage, rest = np.arange(10.0) * 2.0, np.array([0, 0, 1, -4, 2, 0, 0, 0, 0, 3.0])
    changed = np.abs(rest) > 0.5

    open_course = _stretches(chainage, rest, changed, closed=False)
    around = _stretches(chainage, rest, changed | (np.arange(10) == 0), closed=True)

    assert open_course == (ChangedStretch(4.0, 8.0, 4.0), ChangedStretch(18.0, 18.0, 3.0))
    # On a lap the last and the first are one.
    assert set(around) == {ChangedStretch(4.0, 8.0, 4.0), ChangedStretch(18.0, 0.0, 3.0)}


@pytest.mark.parametrize("changed_m", [0.0, 3.0, 12.0])
def test_the_shift_as_a_whole_is_that_of_what_has_not_changed(changed_m):
    angle = np.linspace(0.0, 2 * np.pi, 200, endpoint=False)
    left = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    shift = np.array([1.5, -0.7])
    lateral = left @ shift
    lateral[20:50] += changed_m

    assert _shift(left, lateral) == pytest.approx(shift, abs=1e-6)


def test_the_error_of_the_mean_is_the_spread_over_the_root_of_the_laps_that_count():
    weight = np.ones((4, 5))
    weight[1:, 4] = 0.0
    spread = np.array([1.0, 2.0, np.nan, 4.0, 5.0])
    fitted = SimpleNamespace(
        laps=range(4), weight=weight, spread_m=spread, chainage_m=np.arange(5.0)
    )

    # Halves for four laps, midway between 2 and 3 that of half and nothing known; one alone.
    reached = np.array([0.0, 0.5, 2.5, 4.0])
    assert _error_of_mean(fitted, reached) == pytest.approx([0.5, 0.75, 1.0, 5.0])
    fitted.laps = range(1)
    assert _error_of_mean(fitted, reached).tolist() == [0.0] * 4


def test_two_lines_together_are_known_by_the_share_of_each_and_a_new_one_by_itself():
    fresh = np.full(3, 1.0), np.array(["carried", "carried", "measured"])
    fitted = SimpleNamespace(
        curve=None,
        chainage_m=None,
        accuracy=SimpleNamespace(at=lambda *_: fresh, basis="from laps", assumed=True),
    )
    track = SimpleNamespace(centreline=SimpleNamespace(accuracy_at=lambda _: None))
    changed = np.array([False, True, False])

    known = _known_together(track, fitted, np.arange(3.0), np.arange(3.0), changed, 2.0, 0.25)

    # Three quarters of 2 m and a quarter of 1 m, independent.
    both = np.hypot(1.5, 0.25)
    assert known.sigma_m == pytest.approx([both, 1.0, both])
    # The better kind of the two, but where the track has changed the new one's.
    assert known.kind.tolist() == ["measured", "carried", "measured"]
    assert (known.basis, known.assumed) == ("from laps", True)


def test_a_line_that_laps_do_not_move_keeps_its_kind():
    fresh = np.full(2, 1.0), np.array(["measured", "measured"])
    fitted = SimpleNamespace(
        curve=None,
        chainage_m=None,
        accuracy=SimpleNamespace(at=lambda *_: fresh, basis="", assumed=False),
    )
    before = np.full(2, 3.0), np.array(["drawn", "drawn"])
    track = SimpleNamespace(centreline=SimpleNamespace(accuracy_at=lambda _: before))

    known = _known_together(
        track, fitted, np.arange(2.0), np.arange(2.0), np.array([False, True]), 9.0, 0.0
    )

    assert known.kind.tolist() == ["drawn", "measured"]
    assert known.sigma_m.tolist() == [3.0, 1.0]


@pytest.mark.parametrize(("radius_m", "left_m"), [(97.0, 3.0), (104.0, -4.0)])
def test_a_new_line_lies_beside_each_place_of_the_old_one(radius_m, left_m):
    # Anticlockwise the inside is on the left.
    old, new = circle(100.0), circle(radius_m)
    chainage = np.array([0.0, 100.0, 500.0])

    reached, lateral = _lateral(old, chainage, new)

    assert lateral == pytest.approx(left_m, abs=1e-3)
    # The beginning of a circle is its end as well.
    length = 2.0 * np.pi * radius_m
    away = (reached - chainage * radius_m / 100.0 + 0.5 * length) % length - 0.5 * length
    assert away == pytest.approx(0.0, abs=1e-2)


def fitted_on(curve, height_m):
    chainage = curve.chainages(5.0)
    return SimpleNamespace(curve=curve, chainage_m=chainage, height_m=height_m(chainage))


@pytest.mark.parametrize("closed", [True, False])
def test_where_the_track_has_no_heights_those_of_the_new_laps_are_taken(closed):
    new = circle(100.0) if closed else Curve.through(circle(100.0).vertex_m, closed=False)
    track = SimpleNamespace(closed=closed, centreline=SimpleNamespace(height_m=None))
    length = new.length_m
    fitted = fitted_on(new, lambda at: 20.0 + 5.0 * np.cos(2.0 * np.pi * at / length))

    chainage, height = _heights(track, new, fitted)

    assert height == pytest.approx(20.0 + 5.0 * np.cos(2.0 * np.pi * chainage / length), abs=0.02)
    # Round the seam of a lap as well: not held from the last place on.
    if closed:
        assert height[-1] == pytest.approx(25.0, abs=0.02)


@pytest.mark.parametrize("closed", [True, False])
def test_heights_that_the_track_has_are_kept_where_they_were(closed):
    old = circle(100.0) if closed else Curve.through(circle(100.0).vertex_m, closed=False)
    at = old.vertex_chainage_m
    height = 50.0 + 3.0 * np.sin(2.0 * np.pi * at / old.length_m)
    track = SimpleNamespace(
        closed=closed, curve=old, centreline=SimpleNamespace(height_m=np.append(height, 50.0))
    )
    new = circle(99.0) if closed else Curve.through(circle(99.0).vertex_m, closed=False)

    chainage, kept = _heights(track, new, fitted_on(new, lambda where: np.full(len(where), 7.0)))

    expected = 50.0 + 3.0 * np.sin(2.0 * np.pi * chainage / new.length_m)
    assert kept == pytest.approx(expected, abs=0.05)


def test_where_some_heights_are_unknown_there_are_none():
    new = circle(100.0)
    track = SimpleNamespace(closed=True, centreline=SimpleNamespace(height_m=None))
    gap = fitted_on(new, lambda at: np.where(at < 50.0, np.nan, 20.0))

    assert _heights(track, new, gap) is None
