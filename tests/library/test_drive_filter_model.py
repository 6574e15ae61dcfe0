"""The hidden Markov model step by step: what moves where, what a fix weighs, what is answered."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from drives import HOME, hill_course, on_earth, track_of
from library_entries import known_at, shifted
from scipy.stats import norm
from two_layouts import BOTH, LONG

from trackkit.library.drive_filter import Locator, _shifted
from trackkit.library.hypotheses import ground_at
from trackkit.library.known import Atlas, circuit_of
from trackkit.recordings.nmea.stream import Fix

GROUND = ground_at(*HOME, BOTH.circuits)
HILL = circuit_of(track_of(hill_course(), spacing_m=5.0), Path("hill.geojson"))


def locator_on(ground, *, on=None, off=None, unknown=0.0):
    """A locator in a state of its own: masses by hypothesis, spread evenly over its steps."""
    locator = Locator(BOTH.near)
    count = len(ground.hypotheses)
    locator._ground = ground
    locator._prior = np.full(count, 1.0 / count)
    on = np.zeros(count) if on is None else np.asarray(on)
    locator._on = (on / ground.count)[ground.of]
    locator._off = np.zeros(count) if off is None else np.asarray(off, dtype=float)
    locator._unknown = unknown
    return locator


def masses(locator):
    """Probability on each line, off each, and of none."""
    on = np.add.reduceat(locator._on, locator._ground.begin)
    return on, locator._off, locator._unknown


# Moving on


def test_from_fix_to_fix_a_line_is_left_now_and_then_or_another_opened():
    locator = locator_on(GROUND, on=[1.0, 0.0, 0.0, 0.0])

    locator._move(GROUND, 10.0)

    # One fix in 200 leaves the line; one in 10,000 is dealt out among all four lines.
    on, off, unknown = masses(locator)
    assert on == pytest.approx(np.array([0.9999 * 0.995, 0, 0, 0]) + 1e-4 / 4)
    assert off == pytest.approx([0.9999 * 0.005, 0.0, 0.0, 0.0])
    assert unknown == 0.0


def test_off_a_line_one_comes_back_to_it_or_is_nowhere_known_any_more():
    locator = locator_on(GROUND, off=[0.0, 1.0, 0.0, 0.0])

    locator._move(GROUND, 10.0)

    # One in ten is back, one in a hundred is forgotten, and 89 stay off.
    on, off, unknown = masses(locator)
    assert unknown == pytest.approx(0.01)
    assert off == pytest.approx([0.0, 0.9999 * 0.89, 0.0, 0.0])
    assert on == pytest.approx(np.array([0.0, 0.9999 * 0.1, 0.0, 0.0]) + 1e-4 * 0.99 / 4)
    # Where on the line it comes back is open.
    assert np.ptp(locator._on[GROUND.of == 1]) == pytest.approx(0.0, abs=1e-12)


def test_on_no_line_one_may_join_any():
    locator = locator_on(GROUND, unknown=1.0)

    locator._move(GROUND, 10.0)

    on, off, unknown = masses(locator)
    assert unknown == pytest.approx(0.95)
    assert on == pytest.approx(np.full(4, 0.05 / 4))
    assert off == pytest.approx(np.zeros(4))


@pytest.mark.parametrize("moved_m", [10.0, 80.0, 400.0])
def test_nothing_is_lost_on_the_way(moved_m):
    locator = locator_on(
        GROUND, on=[0.3, 0.1, 0.2, 0.05], off=[0.05, 0.02, 0.03, 0.05], unknown=0.2
    )

    locator._move(GROUND, moved_m)

    on, off, unknown = masses(locator)
    assert on.sum() + off.sum() + unknown == pytest.approx(1.0)
    assert min(on.min(), off.min(), unknown) >= 0.0


@pytest.mark.parametrize(("moved_m", "elsewhere"), [(140.0, 0.02), (160.0, 0.5)])
def test_now_and_then_it_is_elsewhere_on_the_line_and_after_a_gap_as_likely_as_not(
    moved_m, elsewhere
):
    locator = locator_on(GROUND)
    locator._on[GROUND.begin[0] + 10] = 1.0

    locator._move(GROUND, moved_m)

    far = int(GROUND.begin[0]) + 80
    even = elsewhere * 0.995 * 0.9999 + 1e-4 / 4
    assert locator._on[far] == pytest.approx(even / GROUND.count[0])


def test_what_runs_over_the_end_of_an_open_course_is_off_it():
    ground = ground_at(*HOME, [HILL])
    locator = locator_on(ground)
    locator._on[ground.count[0] - 1] = 1.0

    locator._move(ground, 100.0)

    # All but the fiftieth that may be elsewhere on it.
    assert locator._off[0] == pytest.approx(0.9999 * (0.98 + 0.005 * 0.02))


def test_a_move_by_whole_steps_spreads_as_much_ahead_as_behind():
    step_m = float(GROUND.step_m[0])
    on = np.zeros(len(GROUND.of))
    on[10] = 1.0

    moved = _shifted(GROUND, on, 5 * step_m)

    around = moved[15 - 3 : 15 + 4]
    assert around == pytest.approx(around[::-1])
    assert around[0] > 0.0
    # Normal, with 2 m and a twentieth of the way.
    sigma = (2.0 + 0.05 * 5 * step_m) / step_m
    expected = norm.pdf(np.arange(-3, 4), scale=sigma)
    assert around == pytest.approx(expected / expected.sum())


@pytest.mark.parametrize(("begun", "steps"), [(0, 3), (0, 0), (-1, 0), (-4, 3)])
def test_the_first_and_the_last_step_of_an_open_course_are_steps_like_others(begun, steps):
    ground = ground_at(*HOME, [HILL])
    count, moved_m = int(ground.count[0]), steps * float(ground.step_m[0])
    on, inside = np.zeros(len(ground.of)), np.zeros(len(ground.of))
    on[begun % count], inside[20] = 1.0, 1.0

    at_the_edge, usual = (_shifted(ground, mass, moved_m) for mass in (on, inside))

    assert at_the_edge[begun % count + steps] == pytest.approx(usual[20 + steps])


# What a fix weighs


@pytest.mark.parametrize("heading", [None, 90.0])
def test_a_fix_weighs_by_its_distance_and_its_course_as_against_being_on_no_line(heading):
    locator = locator_on(GROUND, on=[0.3, 0.2, 0.1, 0.1], off=[0.1, 0, 0, 0], unknown=0.2)
    before = locator._on.copy()
    away = np.linspace(0.0, 60.0, len(before))
    facing = None if heading is None else np.array([1.0, 0.0])

    locator._weigh(GROUND, away, facing)

    # Fixes scatter about a line by 6 m, and three in a hundred by 20 m; on no line they are
    # anywhere on 400 m by 400 m.  Of each, half of the logarithm counts.
    density = 0.97 * norm.pdf(away, scale=6.0) * norm.pdf(0.0, scale=6.0)
    density += 0.03 * norm.pdf(away, scale=20.0) * norm.pdf(0.0, scale=20.0)
    ratio = density * 400.0**2
    if facing is not None:
        turned = np.degrees(np.arccos(np.clip(GROUND.heading[:, 0], -1, 1)))
        # A course is off by 12 degrees, and one in twenty comes from anywhere.
        ratio *= (0.95 * norm.pdf(turned, scale=12.0) + 0.05 / 360.0) * 360.0
    weighed = before * np.sqrt(ratio)
    total = weighed.sum() + 0.1 + 0.2
    assert locator._on == pytest.approx(weighed / total)
    assert locator._off == pytest.approx([0.1 / total, 0, 0, 0])
    assert locator._unknown == pytest.approx(0.2 / total)


def test_at_first_it_is_as_likely_on_no_line_and_seldom_against_the_direction():
    locator = Locator(BOTH.near)

    locator._ask(Fix(*HOME))

    on, off, unknown = masses(locator)
    assert unknown == 0.5
    # Of two lines each: one drive in 51 goes against the direction of a file.
    assert on == pytest.approx(0.5 * np.array([1.0, 0.02, 1.0, 0.02]) / 2.04)
    assert off.tolist() == [0.0] * 4
    assert locator.circuits == BOTH.circuits


def test_without_lines_near_by_it_judges_among_none():
    locator = Locator(lambda *_: [])

    judgement = locator.update(Fix(*HOME))

    assert locator.circuits == ()
    assert (judgement.unknown, judgement.candidates, judgement.part_at_m) == (1.0, (), None)


@pytest.mark.parametrize(("metres", "counted"), [(9.5, 1), (10.5, 2)])
def test_a_fix_counts_ten_metres_from_the_one_before(metres, counted):
    locator = Locator(BOTH.near)
    locator.update(Fix(*HOME))

    locator.update(Fix(*shifted(HOME, metres, 0.0)))

    assert locator.counted == counted


@pytest.mark.parametrize(
    ("north_m", "elsewhere"), [(300.0, False), (480.0, False), (520.0, False), (560.0, True)]
)
def test_lines_are_asked_for_again_half_a_kilometre_from_the_place_and_from_every_line(
    north_m, elsewhere
):
    # The line reaches 36.8 m north of the place: at 520 m it is 483 m away, at 560 m 523 m.
    locator = Locator(Atlas.of([known_at(HOME)]).near)
    locator._ask(Fix(*HOME))

    assert locator._is_elsewhere(Fix(*shifted(HOME, north_m, 0.0))) is elsewhere


def test_while_the_drive_is_on_a_line_none_is_asked_for_however_far_it_has_come():
    # From 60 m west of the western bend to the eastern one, 555 m away and on the line.
    locator = Locator(Atlas.of([BOTH.circuits[0]]).near)
    west, east = (on_earth(np.array([x, 0.0])) for x in (-310.0, 245.0))
    locator._ask(Fix(*map(float, west)))

    assert not locator._is_elsewhere(Fix(*map(float, east)))


# What is answered


def judged(probabilities, *, unknown=0.0, settled=None):
    locator = locator_on(GROUND, on=probabilities, unknown=unknown)
    locator._settled = settled
    return locator._judge(GROUND, np.hypot(*GROUND.place_m.T)), locator


@pytest.mark.parametrize(
    ("first", "settled", "answer"),
    [
        (0.94, None, None),
        (0.96, None, 0),
        (0.82, 0, 0),
        (0.78, 0, None),
        (0.03, 0, 2),
    ],
)
def test_an_answer_is_given_at_95_in_100_and_taken_back_below_80(first, settled, answer):
    judgement, locator = judged([first, 0.0, 1.0 - first, 0.0], settled=settled)

    assert locator._settled == answer
    assert (judgement.settled is None) == (answer is None)
    if answer is not None:
        assert judgement.settled.id == GROUND.hypotheses[answer].circuit.id
        assert judgement.still_open == ()


@pytest.mark.parametrize(("unknown", "count"), [(0.0, 3), (0.4, 3), (0.6, 0)])
def test_open_are_all_that_make_up_95_in_100_of_what_is_known(unknown, count):
    # 0.60, 0.90 and 0.96 together: the third is needed, the fourth is not.
    known = (1.0 - unknown) * np.array([0.04, 0.6, 0.3, 0.06])

    judgement, _ = judged(known, unknown=unknown)

    assert [c.probability for c in judgement.candidates] == pytest.approx(sorted(known)[::-1])
    assert judgement.still_open == judgement.candidates[:count]


def test_where_two_part_is_told_from_where_the_drive_is_on_the_likeliest():
    locator = locator_on(GROUND, on=[0.4, 0.0, 0.3, 0.0], unknown=0.3)
    locator._on[GROUND.begin[0] + 45] += 0.1

    judgement = locator._judge(GROUND, np.hypot(*GROUND.place_m.T))

    assert judgement.part_at_m == GROUND.part_at_m(0, 2, 45)
    assert judgement.part_at_m != GROUND.part_at_m(0, 2, 0)


def test_with_one_open_nothing_parts():
    judgement, _ = judged([0.6, 0.0, 0.0, 0.0], unknown=0.4)

    assert len(judgement.still_open) == 1
    assert judgement.part_at_m is None


def test_a_candidate_is_as_far_away_as_the_nearest_step_of_its_line():
    judgement, _ = judged([0.5, 0.0, 0.5, 0.0])

    truth = np.hypot(*LONG.at(np.arange(0.0, LONG.length_m, 1.0))[0].T).min()
    nearest = {c.id: c.distance_m for c in judgement.candidates if not c.reversed}
    assert nearest["long"] == pytest.approx(truth, abs=1.0)
