"""One's own sector gates on the plain page: their times are those of `laps --gates`."""

from __future__ import annotations

import json
from collections.abc import Iterator

import numpy as np
import pytest
from browsing import Visit
from own_gate_trial import COUNTED, GATES, compared, recordings_of
from sample_circuits import track_of

import trackkit
from trackkit.pages.html import write_map
from trackkit.timing.lap_times import TimedRecording

SETS = 3
"""Of the 25 that tests/bench/bench_own_gates.py draws; docs/timing.md has what it measured."""


@pytest.fixture(scope="module")
def track():
    return track_of("pipwick-kart-circuit")


@pytest.fixture(scope="module")
def recordings(track):
    return recordings_of(track)


@pytest.fixture(scope="module")
def address(track, recordings, tmp_path_factory) -> str:
    path = tmp_path_factory.mktemp("own") / "map.html"
    write_map(track, path, recordings=recordings, names=list(COUNTED))
    return path.as_uri()


@pytest.fixture
def visit(browser, address) -> Iterator[Visit]:
    opened = Visit(browser, address)
    yield opened
    assert opened.complaints == []
    assert opened.requests == [opened.address]
    opened.page.close()


@pytest.mark.slow
def test_crossings_agree_to_2_ms_and_sigmas_to_a_tenth(visit, track, recordings, tmp_path) -> None:
    timed = [TimedRecording.smoothed(recording, track.plane) for recording in recordings]
    trials = compared(visit, track, timed, tmp_path, range(SETS))
    assert len(trials) == len(COUNTED)
    for trial in trials:
        assert trial.unlike == 0
        assert len(trial.of_laps) >= SETS * (GATES + 1) * 2
        assert len(trial.of_ways) >= SETS * GATES
        assert np.abs(trial.apart_s).max() < 0.002
        assert np.abs(np.array(trial.of_laps) - 1).max() < 0.1
        # By the edges of a recording less is known than laps tell.
        assert np.abs(np.array(trial.of_ways) - 1).max() < 0.2
        # Sectors of laps that follow each other closely share more than those of others.
        assert np.abs(np.array(trial.of_bests) - 1).max() < 0.5


def test_a_gate_dragged_takes_laps_and_sectors_along_and_comes_back(visit) -> None:
    page = visit.page
    before = page.locator("#lap-table").inner_text()
    label = page.locator(".label.gate", has_text="Sector 1 end")
    box = label.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    at = page.evaluate("trackkit.page.session.state.gates[1].chainage_m")
    (from_x, from_y), (to_x, to_y) = visit.on_map(at), visit.on_map(at + 60)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + to_x - from_x, y + to_y - from_y, steps=5)
    dragged = page.locator("#lap-table").inner_text()
    page.mouse.up()
    assert dragged != before
    now = page.evaluate("trackkit.page.session.state.gates[1].chainage_m")
    assert now == pytest.approx(at + 60, abs=5)
    sums = page.evaluate(
        """() => trackkit.page.session.laps().filter(lap => lap.counts).map(lap =>
            lap.sectors.reduce((sum, { time_s }) => sum + time_s, 0) - lap.time_s)"""
    )
    assert len(sums) >= 5
    assert sums == pytest.approx([0.0] * len(sums), abs=1e-6)
    page.click("#own-back")
    assert page.locator("#lap-table").inner_text() == before
    assert page.locator("#own-save").is_hidden()


def test_gates_are_placed_moved_and_removed_without_dragging(visit) -> None:
    page = visit.page
    page.click("#own-add")
    assert page.locator("#lap-table thead th").count() == 6
    focused = "document.activeElement.dataset.gate"
    assert page.evaluate(focused) == "own-1"
    at = page.evaluate("trackkit.page.session.gate('own-1').chainage_m")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    moved = page.evaluate("trackkit.page.session.gate('own-1').chainage_m")
    assert moved == pytest.approx(at + 11, abs=0.06)
    page.keyboard.press("Delete")
    assert page.locator("#lap-table thead th").count() == 5


def test_a_gate_set_is_saved_as_a_file_that_is_read_again(visit, track, tmp_path) -> None:
    page = visit.page
    page.click("#own-add")
    with page.expect_download() as waiting:
        page.click("#own-save")
    path = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(path)
    assert path.name == "pipwick-kart-circuit-gates.geojson"
    about = json.loads(path.read_text("utf-8"))["gates"]
    assert (about["licence"], about["credits"]) == ("CC0-1.0", [])
    own = trackkit.with_gate_set(track, path)
    shown = page.evaluate("trackkit.page.session.state.gates.map(gate => gate.chainage_m)")
    assert [gate.chainage_m for gate in own.gates] == pytest.approx(shown, abs=0.01)
    visit.requests[:] = visit.requests[:1]
