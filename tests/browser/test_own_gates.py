"""One's own sector gates on the plain page: their times are those of `laps --gates`."""

from __future__ import annotations

import json
from collections.abc import Iterator

import numpy as np
import pytest
from browsing import Visit
from sample_circuits import track_of

import trackkit
from trackkit.pages.html import write_map
from trackkit.timing.lap_times import TimedRecording

SETS, GATES = 5, 4
"""A fifth of 100 gates; with 25 sets of 4 crossings differ by 0.3 ms at most, sigmas by 4 %."""
LEAST_APART_M = 40.0


@pytest.fixture(scope="module")
def track():
    return track_of("pipwick-kart-circuit")


@pytest.fixture(scope="module")
def recordings(track):
    return [
        trackkit.simulate_drive(track, laps=4, rate_hz=10.0, seed=21).recording,
        trackkit.simulate_drive(track, laps=3, rate_hz=5.0, seed=22).recording,
    ]


@pytest.fixture(scope="module")
def address(track, recordings, tmp_path_factory) -> str:
    path = tmp_path_factory.mktemp("own") / "map.html"
    write_map(track, path, recordings=recordings, names=["Ada", "Bo"])
    return path.as_uri()


@pytest.fixture
def visit(browser, address) -> Iterator[Visit]:
    opened = Visit(browser, address)
    yield opened
    assert opened.complaints == []
    assert opened.requests == [opened.address]
    opened.page.close()


def random_places(length_m: float, seed: int) -> list[float]:
    """Draw places of gates that are not on top of each other."""
    draw = np.random.default_rng(seed)
    while True:
        places = np.sort(draw.uniform(LEAST_APART_M, length_m - LEAST_APART_M, GATES))
        if np.diff(places).min() > LEAST_APART_M:
            return places.tolist()


def lay(visit: Visit, places: list[float]) -> dict:
    """Lay gates on the page, and return its gate set and laps."""
    return visit.page.evaluate(
        """places => { const { own, session } = trackkit.page;
            const others = own.official.gates.filter(gate => gate.kind !== "sector");
            const like = own.official.gates.find(gate => gate.kind === "sector");
            own.lay([...others, ...places.map((at, n) =>
                own.laid({ ...like, id: `own-${n}` }, session.toBase(at), like.width_m))]);
            return { set: own.document(), laps: session.laps() }; }""",
        places,
    )


def compared(visit: Visit, track, timed, tmp_path, sets: int) -> tuple[np.ndarray, np.ndarray]:
    """Differences of crossings, seconds, and ratios of sigmas, of random gates."""
    apart, ratios = [], []
    for seed in range(sets):
        shown = lay(visit, random_places(track.curve.length_m, seed))
        path = tmp_path / f"{seed}.geojson"
        path.write_text(json.dumps(shown["set"]), "utf-8")
        own = trackkit.with_gate_set(track, path)
        for index, recording in enumerate(timed):
            laps = {(lap.session, lap.number): lap for lap in recording.report(own).laps}
            for lap in shown["laps"]:
                if lap["recording"] != index or lap["time_s"] is None:
                    continue
                expected = laps[lap["session"], lap["number"]]
                times = np.cumsum([sector["time_s"] for sector in lap["sectors"]])
                apart.extend(times - [sector.split_s for sector in expected.sectors])
                ratios.extend(
                    sector["sigma_s"] / known.sigma_s
                    for sector, known in zip(lap["sectors"], expected.sectors, strict=True)
                )
    return np.array(apart), np.array(ratios)


def test_crossings_agree_to_2_ms_and_sigmas_to_a_tenth(visit, track, recordings, tmp_path) -> None:
    timed = [TimedRecording.smoothed(recording, track.plane) for recording in recordings]
    apart, ratios = compared(visit, track, timed, tmp_path, SETS)
    assert len(apart) >= SETS * (GATES + 1) * 5
    assert np.abs(apart).max() < 0.002
    assert np.abs(ratios - 1).max() < 0.1


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
    own = trackkit.with_gate_set(track, path)
    shown = page.evaluate("trackkit.page.session.state.gates.map(gate => gate.chainage_m)")
    assert [gate.chainage_m for gate in own.gates] == pytest.approx(shown, abs=0.01)
    visit.requests[:] = visit.requests[:1]
