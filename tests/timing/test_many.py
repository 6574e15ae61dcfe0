"""Laps that several reports hold count in the first, by hand-made reports."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from trackkit.timing import many
from trackkit.timing.duplicates import Shared
from trackkit.timing.laps import Lap
from trackkit.timing.many import counted_once, each_counted_once

MORNING = datetime(2031, 5, 6, 8, tzinfo=UTC)


@dataclass(frozen=True)
class Report:
    """As much of a report as is asked for."""

    name: str
    laps: tuple
    start: datetime | None = MORNING
    shared: tuple = ()
    recording: object = None

    def of_laps(self, laps):
        return replace(self, laps=tuple(laps))


def lap(number, start_s, time_s=60.0):
    return Lap(number, "flying", True, start_s, time_s, (), ())


def shared(begin_s, end_s, kind="same", *, start=MORNING, whole=False):
    begun = 0.0 if start is None else start.timestamp()
    return Shared("a", "b", kind, begun + begin_s, begun + end_s, whole, 0.1)


LAPS = (lap(1, 100.0), lap(2, 160.0), lap(3, 220.0), lap(4, None), lap(5, 300.0, None))


@pytest.mark.parametrize("start", [MORNING, None])
def test_a_lap_that_lies_within_what_another_recording_holds_counts_there(start):
    report = Report("b", LAPS, start)

    once = counted_once(report, [shared(100.0, 220.0, start=start)])

    assert [each.set_aside for each in once.laps] == [True, True, False, False, False]
    assert once.laps[0].remarks[-1].text == "counted in a"
    assert once.shared == (shared(100.0, 220.0, start=start),)


@pytest.mark.parametrize(("late_s", "held"), [(0.9, True), (3.0, False)])
def test_a_second_at_either_edge_makes_no_difference(late_s, held):
    for part in (shared(100.0 + late_s, 160.0), shared(100.0, 160.0 - late_s)):
        once = counted_once(Report("b", LAPS[:1]), [part])
        assert once.laps[0].set_aside == held


def test_what_two_receivers_recorded_is_left_to_who_knows_it_better():
    once = counted_once(Report("b", LAPS), [shared(0.0, 900.0, "receivers")])

    assert not any(each.set_aside for each in once.laps)
    assert len(once.shared) == 1


def test_a_report_that_shares_nothing_stays_as_it_is():
    report = Report("b", LAPS)

    assert counted_once(report, []) is report


def test_each_report_is_held_against_those_before_it_that_are_no_copies(monkeypatch):
    asked = []

    def shared_with(before, own):
        asked.append(([*before], own))
        return [shared(0.0, 1.0, whole=True)] if own == "sketch of copy" else []

    monkeypatch.setattr(many, "shared_with", shared_with)
    monkeypatch.setattr(many, "sketch", lambda recording: f"sketch of {recording.name}")
    reports = [
        Report(name, LAPS, recording=SimpleNamespace(name=name)) for name in ("a", "copy", "c")
    ]

    once = each_counted_once(iter(reports))

    assert asked == [
        ([], "sketch of a"),
        (["sketch of a"], "sketch of copy"),
        (["sketch of a"], "sketch of c"),
    ]
    assert [report.name for report in once] == ["a", "copy", "c"]
    assert [len(report.shared) for report in once] == [0, 1, 0]
