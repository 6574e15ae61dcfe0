"""Times as text: decimals, columns and marks."""

from __future__ import annotations

import pytest

from trackkit.cli.laptext import time_cell


@pytest.mark.parametrize(
    ("sigma", "cell"),
    [
        (0.004, "1:02.346 ±0.004"),
        (0.131, "1:02.35  ±0.13 "),
        (14.0, "1:02     ±14    "),
        (0.00001, "1:02.346 ±0.001"),
    ],
)
def test_decimal_points_line_up_whatever_the_decimals(sigma, cell):
    assert time_cell(62.3456, sigma) == cell


def test_the_best_of_a_column_has_a_text_mark():
    assert time_cell(62.3456, 0.004, "*") == "1:02.346*±0.004"
