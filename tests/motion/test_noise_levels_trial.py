"""A twentieth of tests/bench/bench_levels.py: levels that are read cost times next to nothing."""

import numpy as np
import pytest
from level_trials import FILTERED, PHONE, WHITE, Case, measure, summary

pytestmark = pytest.mark.slow

RATES_HZ = (4.0, 5.0, 6.0, 8.0, 10.0, 20.0, 25.0)
SEED = 90_000


@pytest.fixture(scope="module")
def rows():
    """Errors and sigmas of 15 laps at each rate, with white noise and with filtered noise."""
    return {
        name: np.concatenate(
            [
                measure(Case("", rate_hz, levels), 1, SEED + number, tracks=1)
                for number, rate_hz in enumerate(RATES_HZ)
            ]
        )
        for name, levels in (("white", WHITE), ("filtered", FILTERED))
    }


@pytest.mark.parametrize("noise", ["white", "filtered"])
def test_lap_times_err_hardly_more_than_with_the_true_levels(rows, noise):
    got = summary(rows[noise])

    assert got.laps == 15 * len(RATES_HZ)
    assert got.ratio <= 1.05


def test_the_uncertainty_of_lap_times_covers_as_many_as_it_says(rows):
    got = summary(np.concatenate([*rows.values()]))

    assert 62.0 <= got.within_1 <= 74.0
    assert 92.0 <= got.within_2 <= 98.0
    assert got.beyond_5 == 0


def test_white_noise_on_a_winding_circuit_costs_no_lap_times():
    case = Case("", 5.0, WHITE, winding=True)

    assert summary(measure(case, 1, SEED)).ratio <= 1.05


def test_jumps_of_positions_cost_lap_times_what_gaps_cost():
    got = summary(measure(Case("", 5.0, WHITE, doppler=False, jumps=True), 1, SEED))

    assert got.ratio <= 1.05
    assert got.beyond_5 == 0


def test_the_uncertainty_of_a_phones_lap_times_is_honest():
    got = summary(measure(Case("", 1.0, PHONE, doppler=False), 3, SEED))

    assert 1.0 / 1.2 <= got.over_sigma <= 1.2
