"""How well a line is known, written as rows of a file, and what parts of it come to, by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.building import line_accuracy as module
from trackkit.building.line_accuracy import (
    _ALIKE,
    _LEAST_ROW_M,
    _ROW_WITHIN,
    NEAR_FIX_M,
    KnownLine,
    _shares,
    _thin,
    known_along,
    rows_of,
)
from trackkit.geometry.curve import Curve
from trackkit.track.accuracy import read_profile


def kinds(*names):
    return np.array(names)


@settings(max_examples=40)
@given(
    st.lists(st.floats(0.05, 3.0), min_size=1, max_size=40),
    st.integers(0, 2**32 - 1),
)
def test_rows_that_are_left_out_are_told_by_those_that_are_kept(sigmas, seed):
    sigma = np.array(sigmas)
    chainage = 5.0 * np.arange(len(sigma))
    kind = np.random.default_rng(seed).choice(["measured", "thin", "carried"], len(sigma))

    rows = rows_of(chainage, sigma, kind)

    told, told_kind = read_profile(rows, chainage, chainage[-1] + 5.0, closed=False)
    most = np.maximum(_ROW_WITHIN * sigma, _LEAST_ROW_M) + 0.0006
    assert np.all(np.abs(told - sigma) <= most)
    assert told_kind.tolist() == kind.tolist()


def test_a_line_that_is_known_evenly_has_two_rows_and_one_that_bends_one_more():
    chainage, same = 5.0 * np.arange(21), np.full(21, "measured")

    assert [r.chainage_m for r in rows_of(chainage, 0.4 + 0.01 * chainage, same)] == [0.0, 100.0]
    bent = np.maximum(0.4, 0.4 + 0.02 * (chainage - 50.0))
    assert [r.chainage_m for r in rows_of(chainage, bent, same)] == [0.0, 50.0, 100.0]
    # Where the kind changes there is a row, whatever sigma does.
    kind = np.where(chainage < 30.0, "measured", "thin")
    assert [r.chainage_m for r in rows_of(chainage, np.full(21, 0.4), kind)] == [0.0, 30.0, 100.0]


def test_rows_are_written_to_centimetres_and_millimetres():
    (first, _) = rows_of(np.array([0.12345, 9.0]), np.array([0.12345, 0.2]), kinds("thin", "thin"))

    assert (first.chainage_m, first.sigma_m, first.kind) == (0.12, 0.123, "thin")


@pytest.mark.parametrize("closed", [True, False])
def test_between_places_sigma_changes_evenly_and_the_kind_is_that_of_the_next(closed):
    known = KnownLine(
        np.array([1.0, 2.0, 4.0]), kinds("measured", "thin", "carried"), "laps", False
    )
    curve = SimpleNamespace(length_m=300.0, closed=closed)

    sigma, kind = known.at(curve, np.array([0.0, 100.0, 200.0]), np.array([50.0, 100.0, 250.0]))

    # Round a lap the last place goes over into the first.
    assert sigma == pytest.approx([1.5, 2.0, 2.5 if closed else 4.0])
    assert kind.tolist() == ["thin", "thin", "carried"]
    assert known.rms_m == pytest.approx(np.sqrt(7.0))


def spacing(before_m, after_m, sparse):
    return SimpleNamespace(
        before_m=np.array(before_m), after_m=np.array(after_m), sparse=np.array(sparse)
    )


def test_a_line_is_thin_where_no_lap_has_close_fixes_nor_all_of_them_together():
    half = 0.5 * NEAR_FIX_M
    laps = [
        spacing([20.0, 20.0, half - 1, 20.0, 20.0], [20.0, 20.0, 30.0, 20.0, 20.0], [True] * 5),
        spacing([30.0, 2.0, 30.0, 20.0, 1.0], [30.0, 2.0, half, 20.0, 1.0], [1, 1, 1, 0, 1]),
    ]
    counts = np.array([[True] * 5, [True, True, True, True, False]])

    thin = _thin(laps, counts)

    # Far apart in both; close in one; close together by both; not sparse in one; that one is not
    # of the line there.
    assert thin.tolist() == [True, False, False, False, True]


def test_shares_of_laps_add_up_and_are_those_of_whole_laps_where_none_counts():
    average = SimpleNamespace(
        weight=np.array([[1.0, 0.5, 0.0], [1.0, 1.0, 0.0]]), share=np.array([0.25, 0.75])
    )

    shares = _shares(average)

    assert shares[:, 0] == pytest.approx([0.25, 0.75])
    assert shares[:, 1] == pytest.approx([1.0 / 7.0, 6.0 / 7.0])
    assert shares[:, 2] == pytest.approx([0.25, 0.75])


@pytest.mark.parametrize("laps", [1, 2])
def test_a_variance_is_the_sum_of_all_that_is_not_known(laps, monkeypatch):
    angle = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    curve = Curve.through(100.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1), closed=True)
    chainage = curve.chainages(2.0)
    count = len(chainage)
    carried = np.arange(count) < 20
    average = SimpleNamespace(
        weight=np.where(carried, 0.0, np.ones((laps, count))), share=np.full(laps, 1.0 / laps)
    )
    far = spacing(np.full(count, 40.0), np.full(count, 40.0), np.ones(count, dtype=bool))
    far.sigma_m = np.full(count, 0.7)
    monkeypatch.setattr(module, "_slow", lambda *_: np.full(count, 0.25))
    monkeypatch.setattr(module, "_own", lambda *_: np.full(count, 0.16))
    monkeypatch.setattr(module, "spacing_of", lambda *_: far)
    monkeypatch.setattr(module, "bridged_sigma", lambda *_: np.full(count, 3.0))
    # Smoothing once more would draw the line in by a decimetre.
    monkeypatch.setattr(module, "low_pass", lambda line, *_, **__: line * (1.0 - 0.1 / 100.0))
    reading = SimpleNamespace(time_s=None)

    known = known_along(
        *(curve, chainage, [None] * laps, [reading] * laps, average, 9.0),
        SimpleNamespace(basis=("a", "b"), assumed=True),
    )

    # What all laps have alike is not less for being many; what each has of its own is.
    between = 0.49 if laps == 1 else _ALIKE * 0.49
    expected = 0.25 + 0.16 / laps + 0.01 + np.where(carried, 9.0, between)
    assert known.sigma_m**2 == pytest.approx(expected, abs=1e-4)
    assert known.kind.tolist() == np.where(carried, "carried", "thin").tolist()
    assert (known.basis, known.assumed) == ("a, b, which is assumed", True)
