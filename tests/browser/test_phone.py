"""The page on a phone that is held upright: all in view that is read together, and large to touch.

44 CSS pixels: WCAG 2.2, success criterion 2.5.5 (AAA).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest
from browsing import Visit
from invented_kart_track import kart_drive, kart_track

from trackkit.pages.html import write_map

WIDTH, HEIGHT = 390, 844


@pytest.fixture(scope="module")
def visit(browser, tmp_path_factory) -> Iterator[Visit]:
    track = kart_track()
    path = tmp_path_factory.mktemp("phone") / "map.html"
    write_map(track, path, recordings=[kart_drive(track), kart_drive(track, "second.csv")])
    opened = Visit(browser, path.as_uri(), "phone")
    opened.page.set_viewport_size({"width": WIDTH, "height": HEIGHT})
    opened.page.wait_for_timeout(200)
    yield opened
    assert opened.complaints == []
    opened.page.close()


def test_map_chart_and_readings_are_in_view_together(visit) -> None:
    for selector in ("#map", "#chart", "#along", "#readings"):
        (box,) = visit.boxes(selector)
        assert box[1] >= 0
        assert box[3] <= HEIGHT, selector
        assert box[2] <= WIDTH
    (readings,) = visit.boxes("#readings")
    rows = visit.boxes("#readings tbody tr")
    assert len(rows) == 2
    assert all(row[3] <= readings[3] + 1 for row in rows)


def test_controls_are_44_pixels_at_least(visit) -> None:
    visit.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    small = visit.page.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, input, .leaflet-bar a")]
            .filter(node => node.checkVisibility() && !node.matches(".label"))
            .map(node => [node.closest("label:has(> input[type=checkbox])") ?? node, node])
            .map(([area, node]) => [area.getBoundingClientRect(), node.outerHTML.slice(0, 80)])
            .filter(([box]) => box.width < 43.9 || box.height < 43.9)
            .map(([box, text]) => [box.width, box.height, text])"""
    )
    visit.page.evaluate("document.querySelector('.rows-shown').open = false")
    assert small == []


def test_figures_of_five_rows_stay_apart_and_each_row_has_two(visit) -> None:
    rows = visit.page.evaluate(
        """() => {
            const boxes = [...document.querySelectorAll("[data-row]")];
            const more = boxes.filter(box => !box.checked).slice(0, 3);
            more.forEach(box => box.click());
            const { chart } = trackkit.page;
            const written = [];
            const { prototype } = CanvasRenderingContext2D;
            const { fillText } = prototype;
            prototype.fillText = function(text, x, y) {
                if (this.textAlign === "right") written.push(y);
                fillText.call(this, text, x, y);
            };
            chart.draw();
            prototype.fillText = fillText;
            const rows = chart.rows.laidOut().map(({ top, bottom }) =>
                written.filter(y => y >= top && y <= bottom + 5));
            more.forEach(box => box.click());
            return { rows, written: written.length };
        }"""
    )
    assert len(rows["rows"]) == 5
    assert sum(map(len, rows["rows"])) == rows["written"]
    for heights in rows["rows"]:
        assert len(heights) >= 2
        # As tall as figures of 12 px are, without what hangs below a line of text.
        assert all(low - high >= 11 for low, high in pairwise(heights))


def test_the_choice_of_rows_stays_within_the_page(visit) -> None:
    visit.page.evaluate("document.querySelector('.rows-shown').open = true")
    (box,) = visit.boxes(".rows-shown fieldset")
    labels = visit.boxes(".rows-shown label")
    visit.page.evaluate("document.querySelector('.rows-shown').open = false")
    assert box[0] >= 0
    assert box[2] <= WIDTH
    assert len({label[1] for label in labels}) == len(labels) == 6


def test_long_names_of_laps_stay_within_the_page(visit) -> None:
    wide = visit.page.evaluate(
        """() => { const options = [...document.querySelectorAll(".compare option")];
            const names = options.map(option => option.text);
            options.forEach(option => { option.text = "Lap 3, " + "a driver's name ".repeat(4); });
            const wide = document.scrollingElement.scrollWidth;
            options.forEach((option, n) => { option.text = names[n]; });
            return wide; }"""
    )
    assert wide <= WIDTH


def test_recordings_are_folded_to_their_best_lap_and_unfold(visit) -> None:
    page = visit.page
    laps = page.evaluate("trackkit.page.session.laps().map(lap => [lap.recording, lap.time_s])")
    boxes = page.locator("#lap-table [data-lap]")
    assert boxes.count() == 2
    best = page.evaluate(
        """() => { const { session } = trackkit.page;
            return [0, 1].map(n => session.laps().filter(lap => lap.recording === n && lap.counts)
                .sort((a, b) => a.time_s - b.time_s)[0].key); }"""
    )
    assert [boxes.nth(n).get_attribute("data-lap") for n in range(2)] == best
    page.locator("[data-fold='0']").click()
    own = sum(recording == 0 for recording, _ in laps)
    assert own > 1
    assert boxes.count() == own + 1
    assert page.locator("[data-fold='0']").get_attribute("aria-expanded") == "true"
    page.locator("[data-fold='0']").click()
    assert boxes.count() == 2


def test_boxes_of_a_sorted_table_stay_as_large_beside_long_names(visit) -> None:
    page = visit.page
    page.locator("[data-sort='-1']").click()
    page.evaluate(
        """document.querySelectorAll("#lap-table label > span").forEach(span => {
            span.textContent = "Lap 3, " + "a driver's name ".repeat(4); })"""
    )
    boxes = visit.boxes("#lap-table [data-lap]")
    assert len(boxes) > 3
    assert all(box[2] - box[0] >= 24 and box[3] - box[1] >= 24 for box in boxes)
    page.locator("[data-sort='null']").click()
