"""Where braking begins, and how errors of a speed add up, by traces laid out by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing.section_speeds import BRAKING_MPS2, _braking, _variance


def trace_of(*stretches):
    """A trace a metre: of each stretch how many metres, and the acceleration."""
    ahead = np.concatenate([np.full(metres, float(mps2)) for metres, mps2 in stretches])
    return SimpleNamespace(longitudinal_mps2=ahead, chainage_m=100.0 + np.arange(len(ahead)))


def begun(trace, first=0, end=None):
    return _braking(trace, np.arange(len(trace.chainage_m))[first:end])


def test_braking_begins_between_the_places_where_it_grows_beyond_what_counts():
    hard = 4.0 * BRAKING_MPS2
    trace = trace_of((10, 0.0), (20, hard), (10, 0.0))

    place, slope = begun(trace)

    # From nothing at 109 m to four times what counts at 110 m.
    assert place == pytest.approx(109.25)
    assert slope < -0.1


def test_of_several_times_the_longest_braking_is_told_and_of_equal_ones_the_first():
    hard = 2.0 * BRAKING_MPS2
    longest = trace_of((5, 0.0), (4, hard), (5, 0.0), (9, hard), (5, 0.0), (3, hard))
    equal = trace_of((5, 0.0), (4, hard), (5, 0.0), (4, hard), (5, 0.0))

    assert begun(longest)[0] == pytest.approx(113.5)
    assert begun(equal)[0] == pytest.approx(104.5)


def test_who_does_not_brake_has_no_place_of_it():
    place, slope = begun(trace_of((10, 0.0), (10, 0.9 * BRAKING_MPS2)))

    assert place is None
    assert math.isnan(slope)


def test_braking_that_had_begun_before_is_told_from_where_the_section_begins():
    trace = trace_of((5, 0.0), (20, 3.0 * BRAKING_MPS2), (5, 0.0))

    place, slope = begun(trace, first=8)

    assert place == 108.0
    assert math.isnan(slope)


def test_where_the_recording_does_not_tell_what_was_before_nothing_is_said_of_how_it_grew():
    trace = trace_of((10, 0.0), (20, 3.0 * BRAKING_MPS2), (5, 0.0))
    trace.longitudinal_mps2[9] = np.nan

    place, slope = begun(trace)

    assert place == 110.0
    assert math.isnan(slope)


def test_how_braking_grows_is_its_slope_around_where_it_begins():
    # By 0.5 m/s² a metre, from 100 m on.
    trace = trace_of((40, 0.0))
    trace.longitudinal_mps2[:] = -0.5 * np.arange(40)

    place, slope = begun(trace)

    assert place == pytest.approx(100.0 - BRAKING_MPS2 / 0.5)
    assert slope == pytest.approx(-0.5, rel=0.2)


def test_a_variance_counts_what_east_and_north_share():
    random = np.random.default_rng(2)
    root = random.normal(size=(3, 6, 6))
    covariance = root @ root.transpose(0, 2, 1)
    weight = random.normal(size=(3, 3, 2))

    found = _variance(covariance, weight)

    # Position, velocity and acceleration east, then north.
    for k in range(3):
        flat = np.concatenate([weight[k, :, 0], weight[k, :, 1]])
        assert found[k] == pytest.approx(flat @ covariance[k] @ flat)
