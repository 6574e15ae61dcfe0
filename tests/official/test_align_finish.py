"""What is to be said about recordings and lists before a line is looked for, and after."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from drives import HOME, block_circuit, hill_course, track_of

import trackkit.official.align_finish as align_finish_module
from trackkit.errors import PlaceError, TrackkitError
from trackkit.official.align_finish import (
    FinishAlignment,
    _together,
    align_finish,
    apply_alignment,
    require_closed,
)
from trackkit.official.times import OfficialTimes
from trackkit.recordings.recording import Recording

NOON = datetime(2024, 6, 1, 12, 0, tzinfo=UTC)


def recording(name, begin_min, minutes):
    time = np.linspace(0.0, 60.0 * minutes, 5)
    start = None if begin_min is None else NOON + timedelta(minutes=begin_min)
    return Recording(name, time, np.full(5, HOME[0]), np.full(5, HOME[1]), start=start)


def test_recordings_of_the_same_time_are_said_to_be():
    first, second = recording("first", 0, 10), recording("second", 5, 10)
    third, unknown = recording("third", 15, 10), recording("unknown", None, 10)

    (told,) = _together([third, second, unknown, first])

    assert told.startswith("first and second were recorded at the same time")
    # One begins as the other ends: they share no time.
    assert _together([second, third]) == ()


@pytest.mark.parametrize(("recordings", "lists"), [(0, 1), (2, 0), (3, 2), (1, 2)])
def test_as_many_lists_as_recordings_or_one_for_all(recordings, lists):
    track = track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)

    with pytest.raises(TrackkitError, match="do not go together"):
        align_finish(track, [recording("a", 0, 1)] * recordings, [SimpleNamespace()] * lists)


@pytest.mark.parametrize(("count", "names"), [(1, False), (2, True)])
def test_of_several_recordings_the_one_whose_times_do_not_fit_is_named(
    monkeypatch, block, count, names
):
    def refuse(*_, **__):
        raise TrackkitError("no lap fits", file="list.csv", remedy="give another")

    monkeypatch.setattr(align_finish_module, "gather", refuse)
    monkeypatch.setattr(align_finish_module, "time_laps", lambda *_: None)
    times = OfficialTimes("list.csv", (), 0.001)

    with pytest.raises(TrackkitError, match="no lap fits") as caught:
        align_finish(block, [recording(f"day-{n}", 30 * n, 1) for n in range(count)], [times])

    assert caught.value.file == "list.csv"
    assert "give another" in str(caught.value.remedy)
    assert ("(recording day-0)" in caught.value.what) == names


def test_an_open_course_has_no_lap_times():
    with pytest.raises(PlaceError, match="only on a closed track"):
        require_closed(track_of(hill_course(), spacing_m=5.0))


def aligned(low_m, ahead_m, high_m, *, conclusive=True):
    where = SimpleNamespace(
        conclusive=conclusive, ahead_m=ahead_m, sigma_m=0.7, low_m=low_m, high_m=high_m
    )
    return FinishAlignment(where, (), (), None)


@pytest.fixture(scope="module")
def block():
    gates = [("finish", "finish", 0.0), ("one", "sector", 500.0)]
    return track_of(block_circuit(), gates=gates, spacing_m=2.0)


@pytest.mark.parametrize("ahead_m", [12.0, -9.5])
def test_a_conclusive_line_moves_the_finish_and_the_history_says_by_how_much(block, ahead_m):
    changed, _ = apply_alignment(block, aligned(ahead_m - 1.4, ahead_m, ahead_m + 1.4))

    away = changed.gate_ends(changed.finish).mean(axis=0)
    there = block.curve.position(ahead_m)
    on_old = block.plane.to_plane(*changed.plane.to_geographic(away))
    assert on_old == pytest.approx(there, abs=0.05)
    assert changed.history[-1]["what"].startswith(f"moved the finish gate by {ahead_m:.1f} m")


def test_a_line_that_the_times_do_not_tell_moves_nothing(block):
    assert apply_alignment(block, aligned(5.0, 9.0, 13.0, conclusive=False)) == (block, ())


@pytest.mark.parametrize(
    ("low_m", "high_m", "stays"), [(-1.0, 2.0, True), (0.0, 2.0, True), (0.5, 2.0, False)]
)
def test_a_surveyed_finish_stays_where_the_times_do_not_contradict_it(block, low_m, high_m, stays):
    surveyed = replace(
        block,
        gates=tuple(replace(g, surveyed=g.kind == "finish") for g in block.gates),
    )

    changed, remarks = apply_alignment(surveyed, aligned(low_m, 0.5 * (low_m + high_m), high_m))

    assert (changed is surveyed) == stays
    assert any("surveyed" in remark and "stays" in remark for remark in remarks) == stays


def said(monkeypatch, block, *, sectors):
    """What is said of a list, whatever line would be found."""
    lap = SimpleNamespace(sectors_s=sectors, time_s=60.0)
    times = SimpleNamespace(laps=(lap, lap), remarks=("put in order",), file="list.csv")
    gathered = []

    def gather(track, report, times, *, clock_within_s, with_sectors):
        gathered.append(with_sectors)
        return SimpleNamespace(observed=None, remarks=("one left out",))

    monkeypatch.setattr(align_finish_module, "gather", gather)
    monkeypatch.setattr(align_finish_module, "time_laps", lambda *_: None)
    monkeypatch.setattr(align_finish_module, "align_line", lambda *_, **named: named)
    texts = []
    found = align_finish(block, [recording("a", 0, 1)], [times], say=texts.append)
    return texts, gathered, found


def test_sectors_are_used_where_every_list_has_as_many_as_the_track(monkeypatch, block):
    texts, with_sectors, found = said(monkeypatch, block, sectors=(30.0, 30.0))

    assert with_sectors == [True]
    assert texts == ["list.csv: put in order", "list.csv: one left out"]
    # An antenna nobody told of is taken to be beside what is detected.
    assert (found.alignment["antenna_ahead_m"], found.antenna_ahead_m) == (0.0, None)
    assert found.sector_gates == ("one",)


def test_sectors_that_are_not_used_are_said_to_be(monkeypatch, block):
    texts, with_sectors, _ = said(monkeypatch, block, sectors=(20.0, 20.0, 20.0))

    assert with_sectors == [False]
    assert texts[0] == "sector times are not used: not every list has 2 sectors, as the track has"


def test_of_a_list_without_sectors_nothing_is_said_of_them(monkeypatch, block):
    texts, with_sectors, _ = said(monkeypatch, block, sectors=())

    assert with_sectors == [False]
    assert not any("sector" in text for text in texts)
