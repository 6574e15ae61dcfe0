"""Laps and time on track that several recordings hold, by hand-made reports."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing.driven_once import (
    _covered_s,
    driven_once,
    is_copy,
    is_elsewhere,
    on_track_s,
    set_aside_for,
)
from trackkit.timing.duplicates import Shared
from trackkit.timing.laps import Lap
from trackkit.timing.sessions import Session

MORNING = datetime(2031, 5, 6, 8, tzinfo=UTC)


def lap_of(number, start_s, time_s=60.0, sigma_s=0.02, **more):
    return Lap(number, "flying", True, start_s, time_s, (), (), sigma_s=sigma_s, **more)


@dataclass
class Report:
    """As much of a report as is asked for."""

    name: str
    laps: tuple
    shared: tuple = ()
    start: datetime | None = MORNING
    sessions: tuple = ()

    @property
    def counted(self):
        return [lap for lap in self.laps if lap.counts]

    def of_laps(self, laps):
        return replace(self, laps=tuple(laps))


def shared_of(first, kind="receivers", begin_s=0.0, end_s=1000.0, *, whole=False):
    begun = MORNING.timestamp()
    return Shared(first, "b", kind, begun + begin_s, begun + end_s, whole, 1.0)


def pair(sigma_s=(0.02, 0.01), later_s=5.0, apart_s=0.0, shared=None):
    """Three laps recorded twice; the second receiver was switched on later."""
    first = Report("a", tuple(lap_of(n, 100.0 + 60.0 * n, sigma_s=sigma_s[0]) for n in range(1, 4)))
    second = Report(
        "b",
        tuple(
            lap_of(n, 100.0 + 60.0 * n - later_s + apart_s, sigma_s=sigma_s[1]) for n in range(1, 4)
        ),
        (shared_of("a") if shared is None else shared,),
        MORNING + timedelta(seconds=later_s),
    )
    return [Session("a.csv", "a", first), Session("b.csv", "b", second)]


def counting(sessions):
    return [len(session.report.counted) for session in sessions]


@pytest.mark.parametrize(
    ("sigma_s", "expected"),
    [((0.02, 0.01), [0, 3]), ((0.01, 0.02), [3, 0]), ((0.01, 0.01), [3, 0]), ((None, 0.1), [3, 0])],
)
def test_a_lap_of_two_receivers_counts_in_the_one_that_knows_it_better(sigma_s, expected):
    both = driven_once(pair(sigma_s), {})

    assert counting(both) == expected
    worse = expected.index(0)
    for lap in both[worse].report.laps:
        assert is_elsewhere(lap)
        assert lap.remarks[-1].text == f"counted in {'ba'[worse]}"
    assert not any(is_elsewhere(lap) for lap in both[1 - worse].report.laps)


@pytest.mark.parametrize(("apart_s", "same"), [(29.0, True), (-29.0, True), (31.0, False)])
def test_laps_are_the_same_that_begin_within_half_a_lap_of_each_other(apart_s, same):
    both = driven_once(pair(apart_s=apart_s), {})

    # Those beyond half a lap are beside the next one.
    assert sum(counting(both)) == (3 if same else 4)


def test_what_different_people_drove_counts_in_both():
    assert counting(driven_once(pair(), {"a.csv": "Ada", "b.csv": "Bo"})) == [3, 3]
    assert counting(driven_once(pair(), {"a.csv": "Ada", "b.csv": "Ada"})) == [0, 3]
    # Nobody says who drove the other.
    assert counting(driven_once(pair(), {"a.csv": "Ada"})) == [0, 3]


@pytest.mark.parametrize("shared", [shared_of("a", "same"), shared_of("c")])
def test_only_two_receivers_of_one_drive_have_laps_alike(shared):
    assert counting(driven_once(pair(shared=shared), {})) == [3, 3]


def test_recordings_that_only_count_seconds_are_not_held_against_each_other():
    first, second = pair()
    undated = Session("a.csv", "a", replace(first.report, start=None))

    assert counting(driven_once([undated, second], {})) == [3, 3]


def test_a_recording_without_twins_stays_as_it_is():
    first, second = pair()
    other = Session("c.csv", "c", Report("c", (lap_of(1, 9000.0),)))

    once = driven_once([first, second, other], {})

    assert once[2] is other
    assert once[1] is second


def test_a_lap_that_is_set_aside_spoils_all_its_sectors_and_keeps_what_was_remarked():
    lap = set_aside_for(replace(lap_of(1, 0.0), sectors=(SimpleNamespace(),) * 3), "x")

    twice = set_aside_for(lap, "y")

    assert [remark.text for remark in twice.remarks] == ["counted in x", "counted in y"]
    assert twice.remarks[-1].sectors == (0, 1, 2)
    assert twice.set_aside
    assert not twice.counts


def test_a_copy_is_what_is_held_whole_by_another():
    assert not is_copy(Report("a", ()))
    assert not is_copy(Report("a", (), (shared_of("b", "same"),)))
    assert is_copy(Report("a", (), (shared_of("b"), shared_of("c", "same", whole=True))))


def driving(*spans):
    return tuple(SimpleNamespace(begin_s=begin, end_s=end) for begin, end in spans)


def session(name, *spans, shared=(), later_s=0.0):
    start = MORNING + timedelta(seconds=later_s)
    return Session(f"{name}.csv", name, Report(name, (), tuple(shared), start, driving(*spans)))


def test_time_on_track_is_that_of_all_sessions():
    assert on_track_s([session("a", (0.0, 100.0), (200.0, 250.0)), session("b", (0, 7))], {}) == 157
    assert on_track_s([], {}) == 0.0


def test_what_another_recording_holds_counts_there_though_it_is_not_among_them():
    part = session("b", (0.0, 100.0), shared=[shared_of("a", "same", 60.0, 500.0)], later_s=40.0)

    # From 20 s on, by its own clock.
    assert on_track_s([part], {}) == pytest.approx(20.0)


def test_what_a_second_receiver_recorded_counts_unless_the_first_is_among_them():
    first = session("a", (0.0, 100.0))
    second = session("b", (0.0, 100.0), shared=[shared_of("a", "receivers", 0.0, 80.0)])

    assert on_track_s([second], {}) == pytest.approx(100.0)
    assert on_track_s([first, second], {}) == pytest.approx(120.0)
    assert on_track_s([first, second], {"a.csv": "Ada", "b.csv": "Bo"}) == pytest.approx(200.0)


def test_a_copy_adds_nothing():
    copy = session("b", (0.0, 100.0), shared=[shared_of("a", "same", 0.0, 10.0, whole=True)])

    assert on_track_s([session("a", (0.0, 100.0)), copy], {}) == pytest.approx(100.0)


@pytest.mark.parametrize("seed", range(20))
def test_spans_that_overlap_cover_time_once(seed):
    random = np.random.default_rng(seed)
    spans = [tuple(sorted(pair)) for pair in random.integers(-5, 30, (random.integers(0, 6), 2))]
    begin, end = sorted(random.integers(0, 25, 2))

    # Second by second.
    covered = sum(any(low <= second < high for low, high in spans) for second in range(begin, end))
    assert _covered_s(spans, float(begin), float(end)) == covered
