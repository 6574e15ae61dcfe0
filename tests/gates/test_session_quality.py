"""How many laps a prediction reckons with, and what timing them together takes off their errors."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.gates.session_quality import MOST_LAPS, session_lap_sigma_s, session_laps
from trackkit.motion.position_error import Receiver


@pytest.mark.parametrize(
    ("minutes", "laps"), [(1.0, 0), (1.9, 0), (2.0, 2), (9.5, 9), (600.0, MOST_LAPS)]
)
def test_a_session_has_the_whole_laps_that_go_into_it_and_one_lap_repeats_nothing(minutes, laps):
    receiver = replace(Receiver(), session_s=60.0 * minutes)

    assert session_laps(receiver, 60.0) == laps


def test_where_laps_tell_three_quarters_of_the_variance_half_of_sigma_is_left():
    line = SimpleNamespace(variance_left=lambda alone, *_: 0.25 * alone)

    left_s = session_lap_sigma_s(line, 5, 30.0, 50.0, np.array([0.05, 0.0]), 0.084)

    assert left_s == pytest.approx(0.042)
