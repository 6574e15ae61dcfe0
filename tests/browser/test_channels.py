"""Other channels of recordings on the page: rows of the chart, and readings at the cursor."""

from __future__ import annotations

import numpy as np
import pytest
from browsing import Visit
from invented_kart_track import kart_track

from trackkit.pages.html import write_map
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.channels import channel_at

READ = """(asked) => asked.times.map(time =>
    trackkit.page.session.channels.at(asked.title, 0, time))"""


@pytest.mark.slow
def test_channels_are_rows_that_can_be_shown_and_are_read_at_their_own_times(
    browser, tmp_path
) -> None:
    track = kart_track()
    drive = simulate_drive(track, laps=2, rate_hz=5.0, seed=6, channels=True).recording
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[drive])
    visit = Visit(browser, path.as_uri())
    page = visit.page
    titles = page.evaluate("trackkit.page.session.channels.all.map(({ title }) => title)")
    # Gears are whole numbers.
    assert (
        page.evaluate(
            "trackkit.page.session.channels.all.find(({ name }) => name === 'gear').digits"
        )
        == 0
    )
    assert len(titles) == len(drive.channels) > 2
    rows = page.evaluate(
        "trackkit.page.session.traces.rows.map(({ start, time }) => [start, start + time])"
    )
    times = np.linspace(rows[0][0], rows[-1][1], 97)
    for title, channel in zip(titles, drive.channels, strict=True):
        read = page.evaluate(READ, {"title": title, "times": times.tolist()})
        # Times are rounded to a thousandth of a second, values to a part of 60 000.
        room = (
            np.ptp(channel.value) / 60_000
            + 0.001 * np.abs(np.diff(channel.value) / np.diff(channel.time_s)).max()
        )
        assert np.abs(np.array(read, float) - channel_at(channel, times)).max() <= room + 1e-6
    before = page.evaluate("trackkit.page.chart.rows.laidOut().length")
    page.locator(".rows-shown summary").click()
    page.get_by_label(titles[0]).check()
    assert page.evaluate("trackkit.page.chart.rows.laidOut().length") == before + 1
    page.get_by_label(titles[0]).uncheck()
    assert page.evaluate("trackkit.page.chart.rows.laidOut().length") == before
    head = page.locator("#readings thead").inner_text().lower()
    assert all(channel.name.lower() in head for channel in drive.channels)
    page.set_viewport_size({"width": 1400, "height": 900})
    page.wait_for_timeout(100)
    readings = "(node) => [node.scrollWidth, node.clientWidth]"
    needed, there = page.locator("#readings").evaluate(readings)
    assert needed <= there
    assert visit.complaints == []
    page.close()


@pytest.mark.slow
def test_a_row_of_a_channel_that_no_lap_drawn_has_says_so_and_has_no_figures(
    browser, tmp_path
) -> None:
    track = kart_track()
    with_channels, without = (
        simulate_drive(track, laps=2, rate_hz=5.0, seed=seed, channels=channels).recording
        for seed, channels in ((6, True), (7, False))
    )
    path = tmp_path / "map.html"
    write_map(track, path, recordings=[with_channels, without], names=["a.csv", "b.csv"])
    visit = Visit(browser, path.as_uri())
    rows = visit.page.evaluate(
        """() => {
            const { session, chart } = trackkit.page;
            const { title } = session.channels.all[0];
            document.querySelectorAll("[data-row]").forEach(box => {
                if (box.checked !== (box.dataset.row === `channel ${title}`)) box.click();
            });
            return [0, 1].map(recording => {
                session.chosen = session.timedLaps()
                    .filter(lap => lap.recording === recording).map(lap => lap.key);
                session.compared = [session.chosen[0], session.chosen[0]];
                const figures = [];
                const { prototype } = CanvasRenderingContext2D;
                const { fillText } = prototype;
                prototype.fillText = function(text, ...at) {
                    if (this.textAlign === "right") figures.push(text);
                    fillText.call(this, text, ...at);
                };
                session.tell("laps");
                prototype.fillText = fillText;
                return { title, said: chart.titles.map(({ text }) => text), figures };
            });
        }"""
    )
    drawn, undrawn = rows
    assert drawn["said"] == [drawn["title"]]
    assert len(drawn["figures"]) >= 2
    assert undrawn["said"] == [f"{undrawn['title']}: in no lap drawn"]
    assert undrawn["figures"] == []
    visit.page.close()
