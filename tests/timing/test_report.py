"""The laps of one recording as they are reported."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from trackkit.errors import TrackkitError


@pytest.fixture(scope="module")
def report(session):
    return session[1]


def test_the_best_lap_is_the_quickest_that_counts(report):
    counted = [lap for lap in report.laps if lap.complete and lap.kind == "flying"]

    assert list(report.counted) == counted
    assert report.best_lap.time_s == min(lap.time_s for lap in counted) == report.best_lap_s
    assert replace(report, laps=report.laps[:1]).best_lap is None


def test_of_equal_laps_the_first_is_the_best(report):
    first, second, *_ = report.counted
    alike = replace(report, laps=(first, replace(second, time_s=first.time_s)))

    assert alike.best_lap is first


def test_best_times_as_json_say_how_far_the_best_lap_is_from_them(report):
    row = report.as_row()

    assert row["best_lap"] == report.best_lap.number
    assert row["best_lap_sigma_s"] == report.best_lap.sigma_s
    theoretical, continuous = row["theoretical_best_s"], row["continuous_best_s"]
    assert row["best_over_theoretical_s"] == pytest.approx(row["best_lap_s"] - theoretical)
    assert row["best_over_continuous_s"] == pytest.approx(row["best_lap_s"] - continuous)
    assert row["best_over_theoretical_s"] >= row["best_over_continuous_s"] >= 0.0
    begun = report.continuous_from
    assert row["continuous_best_from"] == {"gate": begun.gate, "at_s": begun.time_s}


def test_without_a_lap_that_counts_there_are_no_best_times(report):
    empty = replace(
        report,
        laps=(),
        best_lap_s=None,
        theoretical_best_s=None,
        continuous_best_s=None,
        continuous_from=None,
    )

    row = empty.as_row()

    for name in ("best_lap", "best_lap_sigma_s", "best_over_theoretical_s", "continuous_best_from"):
        assert row[name] is None


def test_times_of_day_count_from_the_first_fix(report):
    start = datetime(2024, 6, 1, 12, 0, tzinfo=UTC)

    assert replace(report, start=start).time_of_day(61.5) == start + timedelta(seconds=61.5)
    assert replace(report, start=None).time_of_day(61.5) is None


def test_without_its_drive_a_report_is_as_sure_of_its_times(report):
    lean = report.without_drive()
    lap = report.best_lap
    terms = [(lap.passed[-1], 1.0), (lap.passed[0], -1.0)]

    assert lean.sigma_of(terms) == pytest.approx(report.sigma_of(terms), rel=1e-9)
    assert lean.without_drive() is lean
    with pytest.raises(TrackkitError, match="was not kept"):
        _ = lean.drive
    assert report.recording is report.drive.recording


@pytest.mark.parametrize(("count", "words"), [(0, "0 laps"), (1, "1 lap"), (2, "2 laps")])
def test_it_shows_how_many_laps_and_the_best(report, count, words):
    text = repr(replace(report, laps=report.laps[:count], best_lap_s=51.23456))

    assert f"{words}, the best of 51.235 s" in text
    assert repr(replace(report, best_lap_s=None)).endswith(f"{len(report.laps)} laps)")
