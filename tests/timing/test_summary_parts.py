"""Laps of one driver and of a day summed up, from reports laid out by hand."""

from __future__ import annotations

import csv
import io
from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.timing import summary as module
from trackkit.timing.sessions import Difference
from trackkit.timing.summary import SUMMARY_COLUMNS, summaries, summary_csv, summary_row


def lap(time_s, *, number=1, sectors=(), counts=True):
    """A lap from 0 s on; its gates are passed at the ends of its sectors."""
    ends = [SimpleNamespace(time_s=float(at)) for at in np.cumsum([0.0, *sectors])]
    return SimpleNamespace(
        time_s=time_s,
        sigma_s=0.01,
        number=number,
        session=1,
        counts=counts,
        start_s=None,
        remarks=(),
        passed=ends,
        sectors=[SimpleNamespace(time_s=s, sigma_s=0.002 * s) for s in sectors],
    )


def session(label, times, *, best=(), run=None, spans=((0.0, 100.0),), shared=(), other=0):
    """A recording; `best` are sectors as (place, time), `other` laps that do not count."""
    counted = [lap(time, number=n) for n, time in enumerate(times, start=1)]
    laps = [*counted, *(lap(500.0, counts=False) for _ in range(other)), lap(None, counts=False)]
    best_sectors = [
        (index, SimpleNamespace(time_s=time, sigma_s=0.002), lap(60.0, sectors=(20.0, 40.0)))
        for index, time in best
    ]
    report = SimpleNamespace(
        counted=counted,
        laps=laps,
        best_sectors=best_sectors,
        continuous_best_s=run,
        continuous_best_sigma_s=None if run is None else run / 1000.0,
        theoretical_best_sigma_s=0.123,
        name=f"{label}.csv",
        start=None,
        shared=[
            SimpleNamespace(whole=whole, kind="same", first="other.csv", begin_s=0.0, end_s=0.0)
            for whole in shared
        ],
        sessions=[SimpleNamespace(begin_s=begin, end_s=end) for begin, end in spans],
        sigma_of=lambda terms: 0.03,
        time_of_day=lambda moment: None,
    )
    return SimpleNamespace(file=f"{label}.csv", label=label, report=report)


@pytest.fixture(autouse=True)
def difference(monkeypatch):
    """Times apart, each known to a hundredth."""

    def of_two(_, behind, reference):
        return Difference(behind.time_s - reference.lap.time_s, 0.01)

    monkeypatch.setattr(module, "lap_difference", of_two)


def test_a_day_is_summed_up_beside_its_drivers_only_where_there_are_several():
    anna, bert = session("anna", [61.0, 60.0]), session("bert", [62.0])

    assert [s.driver for s in summaries([anna], {})] == ["anna"]
    assert [s.driver for s in summaries([anna, bert], {})] == ["anna", "bert", None]
    named = summaries([anna, bert], {"anna.csv": "Cleo", "bert.csv": "Cleo"})
    assert [s.driver for s in named] == ["Cleo"]
    assert (named[0].laps, named[0].laps_counted) == (3, 3)


def test_median_and_spread_are_of_the_laps_that_count():
    (whole,) = summaries([session("a", [60.0, 61.0, 64.0], other=2)], {})

    assert whole.median_s == 61.0
    # About the mean of 61.67: squares of 2.78, 0.44 and 5.44 over two.
    assert whole.spread_s == pytest.approx(np.sqrt(13.0 / 3.0))
    # Five have a time, three of them count.
    assert (whole.laps, whole.laps_counted) == (5, 3)


def test_one_lap_has_no_spread_and_none_has_no_median():
    (alone,) = summaries([session("a", [60.0])], {})
    (none,) = summaries([session("a", [])], {})

    assert (alone.median_s, alone.spread_s) == (60.0, None)
    assert (none.median_s, none.spread_s, none.best, none.theoretical_best_s) == (
        None,
        None,
        (),
        None,
    )
    row = summary_row(none, None)
    assert row["best_over_theoretical_s"] is None
    assert row["best_laps"] == []


def test_three_best_laps_are_named_and_those_within_a_sigma_of_the_next_are_equal():
    (whole,) = summaries([session("a", [60.0, 60.01, 60.03, 61.0])], {})

    assert [best.of.lap.time_s for best in whole.best] == [60.0, 60.01, 60.03]
    # A hundredth apart, two hundredths, and nearly a second.
    assert [best.equal for best in whole.best] == [True, False, False]
    (two,) = summaries([session("a", [60.0, 60.001])], {})
    assert [best.equal for best in two.best] == [True, False]


def test_time_on_track_is_that_of_all_sessions_without_copies():
    sessions = [
        session("a", [60.0], spans=((0.0, 100.0), (200.0, 250.0))),
        session("a", [60.0], spans=((10.0, 40.0),), shared=(False,)),
        session("a", [60.0], spans=((0.0, 100.0),), shared=(False, True)),
    ]

    (whole,) = summaries(sessions, {})

    assert whole.on_track_s == 180.0
    # A lap of each that is no copy.
    assert whole.laps == 2


def test_the_best_sectors_of_all_recordings_make_the_theoretical_best():
    first = session("a", [60.0], best=[(0, 20.0), (1, 41.0)], run=60.5)
    second = session("a", [60.0], best=[(0, 21.0), (1, 40.0)], run=59.5)

    (whole,) = summaries([first, second], {})
    (alone,) = summaries([first], {})

    assert [sector.time_s for sector, _, _ in whole.sectors] == [20.0, 40.0]
    assert [of.file for _, _, of in whole.sectors] == ["a.csv", "a.csv"]
    assert whole.theoretical_best_s == 60.0
    # Of two recordings 0.03 s each, independent; of one as its report has it.
    assert whole.theoretical_best_sigma_s == pytest.approx(0.03 * np.sqrt(2.0))
    assert alone.theoretical_best_sigma_s == 0.123
    assert (whole.continuous_best_s, whole.continuous_best_sigma_s) == (59.5, 0.0595)


def test_a_row_says_by_how_much_the_best_lap_is_longer_than_either_best():
    (whole,) = summaries([session("a", [61.0, 62.0], best=[(0, 20.0), (1, 40.0)], run=60.5)], {})

    row = summary_row(whole, None)

    assert row["best_over_theoretical_s"] == pytest.approx(1.0)
    assert row["best_over_continuous_s"] == pytest.approx(0.5)
    assert [sector["sector"] for sector in row["best_sectors"]] == [1, 2]
    assert [sector["time_s"] for sector in row["best_sectors"]] == [20.0, 40.0]
    assert row["best_laps"][0]["lap"] == 1
    assert row["best_laps"][0]["begun"] is None


def test_as_csv_each_figure_of_a_driver_and_of_the_day_has_a_row_that_says_what_it_is():
    sessions = [
        session("ann", (61.0, 60.0), best=((0, 19.0), (1, 39.5)), run=59.0, other=1),
        session("bo", (62.0,), best=((0, 20.0), (1, 39.0)), run=61.0),
    ]
    summed_up = summaries(sessions, {})

    text = summary_csv(SimpleNamespace(id="oval"), summed_up, None)

    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == SUMMARY_COLUMNS
    assert {row["track"] for row in rows} == {"oval"}
    assert [row["driver"] for row in rows if row["what"] == "laps"] == ["ann", "bo", ""]
    own = [row for row in rows if row["driver"] == "ann"]
    assert [row["what"] for row in own] == [
        *["best lap"] * 2,
        *["best sector"] * 2,
        "theoretical best",
        "continuous best",
        "median",
        "spread",
        "time on track",
        "laps",
        "laps counted",
    ]
    assert [row["number"] for row in own] == ["1", "2", "1", "2", *[""] * 7]
    told = {row["what"]: row for row in own[4:]}
    assert [float(row["time_s"]) for row in own[:4]] == [60.0, 61.0, 19.0, 39.5]
    assert [row["lap_counts"] for row in own[:2]] == ["true", "true"]
    assert float(told["theoretical best"]["time_s"]) == pytest.approx(58.5)
    assert float(told["theoretical best"]["below_best_s"]) == pytest.approx(1.5)
    assert float(told["continuous best"]["time_s"]) == pytest.approx(59.0)
    assert float(told["continuous best"]["sigma_s"]) == pytest.approx(0.059)
    assert float(told["continuous best"]["below_best_s"]) == pytest.approx(1.0)
    assert float(told["median"]["time_s"]) == pytest.approx(60.5)
    assert float(told["spread"]["time_s"]) == pytest.approx(np.sqrt(0.5))
    assert float(told["time on track"]["time_s"]) == pytest.approx(100.0)
    assert (told["laps"]["laps"], told["laps counted"]["laps"]) == ("3", "2")
