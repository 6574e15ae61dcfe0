"""Columns are told once each, with their units, and sigmas beside what they are of."""

import itertools

import pytest

from trackkit.timing.column_names import (
    ALONG_LAP,
    AT_CROSSING,
    CROSSING_COLUMNS,
    CROSSING_TEXTS,
    LAP_COLUMNS,
    SECTOR_COLUMNS,
    TRACE_COLUMNS,
    WHICH,
)

EVERY = pytest.mark.parametrize(
    "columns", [LAP_COLUMNS, SECTOR_COLUMNS, TRACE_COLUMNS, CROSSING_COLUMNS]
)


@EVERY
def test_no_column_is_told_twice_and_those_that_say_which_lap_come_first(columns):
    assert len(set(columns)) == len(columns)
    assert columns[: len(WHICH) + 1] == (*WHICH, "kind")


@EVERY
def test_a_sigma_stands_right_behind_what_it_is_of(columns):
    for before, sigma in itertools.pairwise(columns):
        if "sigma_" in sigma and sigma != "sigma_s":
            assert sigma.replace("sigma_", "") == before


def test_a_trace_has_all_that_there_is_along_a_lap_with_the_time_as_that_of_day():
    assert set(TRACE_COLUMNS) - {*WHICH, "kind", "time_of_day"} == set(ALONG_LAP) - {"time_s"}
    # Where the time since the first fix stood.
    assert TRACE_COLUMNS.index("time_of_day") == TRACE_COLUMNS.index("elapsed_sigma_s") + 1


def test_a_crossing_has_its_gate_and_all_that_there_is_at_one():
    assert set(CROSSING_COLUMNS) == {*CROSSING_TEXTS, "time_of_day", *AT_CROSSING}
    assert set(AT_CROSSING) < set(ALONG_LAP)
