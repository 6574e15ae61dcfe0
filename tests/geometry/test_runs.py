"""Runs of marked samples, against a loop over the samples."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from trackkit.geometry.runs import runs_of


def runs_one_by_one(marked, *, closed):
    """Begin at each marked sample that follows an unmarked one, and go on to the next such."""
    count = len(marked)
    if all(marked):
        return [(0, count)] if count else []
    runs = []
    for begin in range(count):
        before = marked[begin - 1] if begin or closed else False
        if not marked[begin] or before:
            continue
        end = begin
        while (end < count or closed) and marked[end % count]:
            end += 1
        runs.append((begin, end))
    return runs


@given(st.lists(st.booleans(), max_size=30), st.booleans())
@example([True, True], True)
@example([True, False, True], True)
@example([True], True)
@example([], True)
def test_runs_are_those_that_a_loop_over_the_samples_finds(marked, closed):
    assert runs_of(np.array(marked, dtype=bool), closed=closed) == runs_one_by_one(
        marked, closed=closed
    )


@pytest.mark.slow
@given(st.lists(st.booleans(), min_size=1, max_size=30), st.booleans())
def test_the_samples_of_all_runs_are_the_marked_ones_each_once(marked, closed):
    count = len(marked)
    samples = [
        place % count
        for begin, end in runs_of(marked, closed=closed)
        for place in range(begin, end)
    ]

    assert sorted(samples) == [place for place in range(count) if marked[place]]


@pytest.mark.parametrize(
    ("closed", "expected"),
    [(False, [(0, 2), (4, 5), (6, 8)]), (True, [(4, 5), (6, 10)])],
    ids=["open", "closed"],
)
def test_only_a_closed_line_has_a_run_over_its_seam(closed, expected):
    marked = np.array([1, 1, 0, 0, 1, 0, 1, 1], dtype=bool)

    assert runs_of(marked, closed=closed) == expected
    assert all(isinstance(place, int) for run in runs_of(marked, closed=closed) for place in run)


def test_unless_it_is_said_ends_are_not_joined():
    assert runs_of([True, False, True]) == [(0, 1), (2, 3)]
    assert len(runs_of([True, False, True], closed=True)) == 1
