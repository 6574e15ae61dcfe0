"""What spoils which sector, and when a lap is slow, by laps laid out by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing.lap_remarks import (
    LEAST_STOOD_S,
    SHORT_SHARE,
    _remarks,
    _slow,
    _spoilt,
    _Way,
    _within,
)


def lap_past(*times):
    """A lap whose gates were passed at some times, None where missed."""
    passed = [None if time is None else SimpleNamespace(time_s=time) for time in times]
    return SimpleNamespace(passed=passed, sectors=range(len(times) - 1))


@pytest.mark.parametrize(
    ("begin_s", "end_s", "sectors"),
    [
        (12.0, 13.0, (0,)),
        (22.0, 23.0, (1,)),
        (19.0, 21.0, (0, 1)),
        (20.0, 20.0, (0, 1)),
        (5.0, 45.0, (0, 1, 2)),
        (5.0, 10.0, (0,)),
        (40.0, 45.0, (2,)),
        (5.0, 9.9, ()),
        (40.1, 45.0, ()),
    ],
)
def test_a_span_spoils_the_sectors_that_it_touches(begin_s, end_s, sectors):
    assert _spoilt(lap_past(10.0, 20.0, 30.0, 40.0), begin_s, end_s) == sectors


def test_a_missed_gate_joins_the_sectors_beside_it():
    missed = lap_past(10.0, None, 30.0, 40.0)

    assert _spoilt(missed, 12.0, 13.0) == (0, 1)
    assert _spoilt(missed, 28.0, 29.0) == (0, 1)
    assert _spoilt(missed, 32.0, 33.0) == (2,)
    # Where the first or the last was missed, nothing bounds it.
    assert _spoilt(lap_past(None, 20.0, 30.0), 1.0, 2.0) == (0,)
    assert _spoilt(lap_past(10.0, 20.0, None), 90.0, 99.0) == (1,)


def test_spans_that_overlap_a_lap_are_whole():
    spans = np.array([[0.0, 10.0], [5.0, 12.0], [14.0, 15.0], [19.0, 25.0], [20.0, 30.0]])

    assert _within(spans, 10.0, 20.0) == [(5.0, 12.0), (14.0, 15.0), (19.0, 25.0)]
    assert _within(np.zeros((0, 2)), 10.0, 20.0) == []


@dataclass(frozen=True)
class Timed:
    """A lap as far as its time goes."""

    time_s: float | None
    is_whole: bool = True
    remarks: tuple = field(default=())


@pytest.mark.parametrize(
    ("time_s", "whole", "best_s", "slow"),
    [
        (107.0, True, 100.0, False),
        (107.1, True, 100.0, True),
        (150.0, False, 100.0, False),
        (None, True, 100.0, False),
        (150.0, True, None, False),
    ],
)
def test_a_whole_lap_beyond_a_share_of_the_best_is_slow(time_s, whole, best_s, slow):
    lap = _slow(Timed(time_s, whole), best_s, 1.07)

    assert [remark.kind for remark in lap.remarks] == (["slow"] if slow else [])


def test_how_slow_is_told_as_a_share_of_the_best():
    (before, remark) = _slow(Timed(150.0, remarks=("before",)), 100.0, 1.07).remarks

    assert before == "before"
    assert remark.text == "slow, 150 % of the session's best"


@pytest.mark.parametrize(
    ("time_s", "within", "share"),
    [(107.11, 1.07, "107.1"), (107.6, 1.07, "108"), (110.3, 1.1, "110.3"), (212.4, 1.07, "212")],
)
def test_a_slow_lap_never_seems_to_be_within_the_limit(time_s, within, share):
    (remark,) = _slow(Timed(time_s), 100.0, within).remarks

    assert remark.text == f"slow, {share} % of the session's best"


def way():
    """A second from sample to sample; fixes at 0, 10 and 20 s, 100 and 300 m on."""
    nothing = np.zeros((0, 2))
    return _Way(
        track=None,
        drive=SimpleNamespace(time_s=np.array([0.0, 10.0, 20.0])),
        time_s=np.arange(0.0, 21.0),
        where_m=10.0 * np.arange(21.0),
        aside_m=np.zeros(21),
        left=[],
        against=[],
        gaps_s=nothing,
        driven_m=np.array([0.0, 100.0, 300.0]),
    )


def test_the_way_between_two_times_is_read_between_fixes():
    # 50 m to 5 s; 200 m, half of the second piece, to 15 s.
    assert way().driven_in(5.0, 15.0) == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("time_s", "chainage_m"), [(3.4, 30.0), (3.6, 40.0), (0.0, 0.0), (-5.0, 0.0), (99.0, 200.0)]
)
def test_the_place_at_a_time_is_that_of_the_nearest_sample(time_s, chainage_m):
    assert way().chainage_at(time_s) == chainage_m


@pytest.mark.parametrize(
    ("run", "part"),
    [
        ((2, 4), []),
        ((2, 7), [(5, 7)]),
        ((4, 6), []),
        ((6, 8), [(6, 8)]),
        ((6, 7), []),
        ((9, 15), [(9, 11)]),
        ((10, 15), []),
        ((0, 21), [(5, 11)]),
    ],
)
def test_of_runs_what_is_within_a_lap_counts_from_two_samples_on(run, part):
    # From 5 s to 10 s, both included.
    assert way().within([run], 5.0, 10.0) == part


@dataclass(frozen=True)
class ShortWay:
    """A way on which a lap is shorter than its circuit, and nothing else is wrong."""

    track: SimpleNamespace
    driven_m: float
    gaps_s: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    left: None = None
    against: None = None

    def within(self, *_):
        return []

    def driven_in(self, *_):
        return self.driven_m


@pytest.mark.parametrize(
    ("closed", "complete", "share", "told"),
    [
        (True, True, SHORT_SHARE - 0.01, True),
        (True, True, SHORT_SHARE + 0.01, False),
        (True, False, 0.5, False),
        (False, True, 0.5, False),
    ],
)
def test_a_whole_lap_that_cuts_the_circuit_says_how_far_it_drove(closed, complete, share, told):
    way = ShortWay(SimpleNamespace(closed=closed, length_m=1000.0), 1000.0 * share)
    lap = lap_past(10.0, 20.0, 40.0)
    lap.complete, lap.kind = complete, "flying"

    remarks = list(_remarks(way, lap, np.zeros((0, 2))))

    assert [remark.kind for remark in remarks] == ["short"] * told
    if told:
        (remark,) = remarks
        assert remark.text == f"drove {1000.0 * share:.0f} m of 1000 m"
        assert (remark.begin_s, remark.end_s, remark.sectors) == (10.0, 40.0, (0, 1))


@pytest.mark.parametrize(("stood_s", "told"), [(LEAST_STOOD_S, True), (LEAST_STOOD_S - 0.1, False)])
def test_a_stop_of_some_seconds_is_told(stood_s, told):
    way = ShortWay(SimpleNamespace(closed=False, length_m=1000.0), 1000.0)
    object.__setattr__(way, "chainage_at", lambda time_s: 20.0 * time_s)
    lap = lap_past(10.0, 20.0, 40.0)
    lap.complete, lap.kind = True, "flying"

    remarks = list(_remarks(way, lap, np.array([[12.0, 12.0 + stood_s], [90.0, 99.0]])))

    assert [(remark.kind, remark.chainage_m) for remark in remarks] == [("stood", 240.0)] * told


def test_missing_fixes_are_told_by_how_long_and_from_where():
    way = ShortWay(SimpleNamespace(closed=False, length_m=1000.0), 1000.0, np.array([[15.0, 22.4]]))
    object.__setattr__(way, "chainage_at", lambda time_s: 20.0 * time_s)
    lap = lap_past(10.0, 20.0, 40.0)
    lap.complete, lap.kind = True, "flying"

    (remark,) = _remarks(way, lap, np.zeros((0, 2)))

    assert remark.text == "7 s without fixes from 300 m on"
    assert (remark.begin_s, remark.end_s, remark.sectors) == (15.0, 22.4, (0, 1))


@pytest.mark.parametrize("missing", [0, 2])
def test_a_lap_without_beginning_or_end_has_no_remarks(missing):
    times = [10.0, 20.0, 40.0]
    times[missing] = None

    assert list(_remarks(None, lap_past(*times), np.array([[0.0, 99.0]]))) == []
