"""The cursor of the page: the same place on slider, chart and map, and readings of each lap."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browsing import Visit
from invented_kart_track import kart_drive, kart_track

from trackkit.pages.html import write_map
from trackkit.units import shown_in


@pytest.fixture(scope="module")
def address(tmp_path_factory) -> str:
    track = kart_track()
    path = tmp_path_factory.mktemp("cursor") / "map.html"
    write_map(track, path, recordings=[kart_drive(track), kart_drive(track, "second.csv")])
    return path.as_uri()


@pytest.fixture
def visit(browser, address) -> Iterator[Visit]:
    opened = Visit(browser, address)
    yield opened
    assert opened.complaints == []
    opened.page.close()


def on_chart(visit: Visit, share: float) -> tuple[float, float]:
    """A point of the chart that is so far along the lap."""
    (box,) = visit.boxes("#chart canvas")
    at = visit.page.evaluate(
        "share => trackkit.page.chart.x(share * trackkit.page.chart.extent)", share
    )
    return box[0] + at, 0.5 * (box[1] + box[3])


def place(visit: Visit) -> float:
    return visit.page.evaluate("trackkit.page.session.place")


def places_shown(visit: Visit) -> tuple[float, float, float]:
    """Where slider, chart and map say that the cursor is, metres."""
    visit.page.wait_for_timeout(60)
    return visit.page.evaluate(
        """() => { const { chart, map, session } = trackkit.page;
            const node = document.querySelector("#chart");
            const mark = node.querySelector(".mark").getBoundingClientRect();
            const x = mark.left + mark.width / 2;
            const at = map.here.getLatLng();
            return [document.querySelector("#along").valueAsNumber, chart.baseAt(x),
                map.under(at)]; }"""
    )


def test_leaving_the_chart_keeps_what_is_read(visit) -> None:
    visit.page.mouse.move(*on_chart(visit, 0.4))
    before = place(visit)
    visit.page.mouse.move(5, 5)
    assert place(visit) == before
    assert "m" in visit.page.locator("#readout").inner_text()


def test_a_click_pins_and_keys_move_by_metres_and_seconds(visit) -> None:
    page = visit.page
    page.mouse.click(*on_chart(visit, 0.4))
    pinned = place(visit)
    page.mouse.move(*on_chart(visit, 0.7))
    assert place(visit) == pinned
    for key, metres in (("ArrowRight", 1), ("Shift+ArrowRight", 10), ("ArrowLeft", -1)):
        before = place(visit)
        page.keyboard.press(key)
        assert place(visit) - before == pytest.approx(metres, abs=1e-6)
    for key, seconds in ((".", 0.1), (">", 1.0), (",", -0.1)):
        before = page.evaluate("trackkit.page.session.cursor.time")
        page.keyboard.press(key)
        after = page.evaluate("trackkit.page.session.cursor.time")
        assert after - before == pytest.approx(seconds, abs=1e-6)
    page.keyboard.press("Escape")
    page.mouse.move(*on_chart(visit, 0.2))
    assert place(visit) != pinned


@pytest.mark.parametrize("by", ["distance", "time"])
def test_slider_chart_and_map_are_at_the_same_place(visit, by) -> None:
    page = visit.page
    page.select_option("#axis", by)
    page.mouse.click(*on_chart(visit, 0.3))
    for key in ("", "ArrowRight", "PageUp", ".", "<"):
        if key:
            page.keyboard.press(key)
        slider, chart, on_map = places_shown(visit)
        if by == "distance":
            assert slider == pytest.approx(place(visit), abs=0.01)
        else:
            assert slider == pytest.approx(
                page.evaluate("trackkit.page.session.cursor.time"), abs=0.01
            )
        assert chart == pytest.approx(place(visit), abs=2.0)
        assert on_map == pytest.approx(place(visit), abs=0.5)


def test_readings_are_of_each_lap_drawn_by_driver_and_lap(visit) -> None:
    page = visit.page
    page.mouse.click(*on_chart(visit, 0.5))
    page.wait_for_timeout(60)
    titles = page.locator("#readings thead th").all_inner_texts()
    assert titles[:3] == ["Lap", "Elapsed, s", "Speed, km/h"]
    rows = page.locator("#readings tbody tr")
    expected = page.evaluate(
        """() => { const { session, chart } = trackkit.page;
            return chart.drawn.map(({ lap, trace, letter }) => [letter, session.lapName(lap),
                trace.time(session.shown(session.place)).toFixed(3)]); }"""
    )
    assert rows.count() == len(expected) >= 2
    for n, (letter, name, elapsed) in enumerate(expected):
        text = rows.nth(n).inner_text()
        assert letter in text
        assert name in text
        assert elapsed in text
        assert name in page.locator("#along").get_attribute("aria-valuetext")


def test_each_lap_has_a_marker_on_its_own_line(visit) -> None:
    visit.page.mouse.click(*on_chart(visit, 0.5))
    visit.page.wait_for_timeout(60)
    assert visit.page.locator(".lap-mark").all_inner_texts() == ["A", "B"]
    away = visit.page.evaluate(
        """() => { const { map, session, chart } = trackkit.page;
            return map.laps.marks.map(({ lap, marker }) => {
                const { lat, lng } = marker.getLatLng();
                const place = session.line.at(session.place);
                const shown = session.shown(session.place);
                return session.line.aside(place, [lng, lat]) - lap.trace.offset(shown); }); }"""
    )
    assert away == pytest.approx([0.0, 0.0], abs=0.01)


def test_a_drag_chooses_a_range_and_the_wheel_zooms_about_the_pointer(visit) -> None:
    page = visit.page
    begin, end = on_chart(visit, 0.25), on_chart(visit, 0.5)
    length = page.evaluate("trackkit.page.session.length")
    page.mouse.move(*begin)
    page.mouse.down()
    page.mouse.move(*end, steps=4)
    page.mouse.up()
    page.wait_for_timeout(60)
    view = page.evaluate("[trackkit.page.chart.from, trackkit.page.chart.span]")
    assert view == pytest.approx([0.25 * length, 0.25 * length], abs=6)
    x, y = on_chart(visit, 0.4)
    page.mouse.move(x, y)
    under = page.evaluate("x => trackkit.page.chart.under(x)", x)
    page.mouse.wheel(0, -200)
    page.wait_for_timeout(100)
    assert page.evaluate("trackkit.page.chart.span") < 0.8 * view[1]
    assert page.evaluate("x => trackkit.page.chart.under(x)", x) == pytest.approx(under, abs=0.5)
    page.click("[data-chart=whole]")
    page.wait_for_timeout(60)
    assert page.evaluate("trackkit.page.chart.span") == pytest.approx(length)


def test_laps_are_played_in_the_time_that_they_took(visit) -> None:
    page = visit.page
    page.select_option("#axis", "time")
    times = page.evaluate(
        """() => { const frames = [], { cursor } = trackkit.page.session;
            window.requestAnimationFrame = frame => frames.push(frame);
            document.querySelector("#play").click();
            // Frames come when the machine has time for them; here at these milliseconds.
            return [1000, 1016, 1500, 4250].map(now => {
                frames.splice(0).forEach(frame => frame(now));
                return cursor.time; }); }"""
    )
    assert times == pytest.approx([0.0, 0.016, 0.5, 3.25], abs=1e-6)
    assert page.locator("#play").inner_text() == "Pause"
    page.click("#play")
    assert not page.evaluate("trackkit.page.session.cursor.playing")


def test_a_finger_moves_the_cursor_and_two_zoom(browser, address) -> None:
    visit = Visit(browser, address, "phone")
    page = visit.page
    page.locator("#chart").scroll_into_view_if_needed()
    moved = page.evaluate(
        """() => { const node = document.querySelector("#chart");
            const { session, chart } = trackkit.page, box = node.getBoundingClientRect();
            const y = box.top + 60;
            node.setPointerCapture = () => {};
            const send = (kind, id, x) => node.dispatchEvent(new PointerEvent(kind, { pointerId: id,
                pointerType: "touch", clientX: box.left + x, clientY: y, bubbles: true }));
            send("pointerdown", 1, 100); send("pointermove", 1, 150);
            const under = chart.baseAt(box.left + 150), read = session.place;
            send("pointerup", 1, 150);
            send("pointerdown", 1, 120); send("pointerdown", 2, 180);
            const before = [chart.under(box.left + 120), chart.under(box.left + 180)];
            send("pointermove", 1, 90); send("pointermove", 2, 210);
            const after = [chart.under(box.left + 90), chart.under(box.left + 210)];
            send("pointerup", 1, 90); send("pointerup", 2, 210);
            return { under, read, pinned: session.cursor.pinned, before, after }; }"""
    )
    assert moved["read"] == pytest.approx(moved["under"])
    assert moved["pinned"]
    assert moved["after"] == pytest.approx(moved["before"], abs=1.0)
    page.close()


def test_keys_and_accelerations_are_in_feet_where_people_read_feet(browser, tmp_path) -> None:
    """A foot is 0.3048 m (international yard and pound agreement, 1959)."""
    track = kart_track()
    path = tmp_path / "map.html"
    with shown_in("imperial"):
        write_map(track, path, recordings=[kart_drive(track)])
    visit = Visit(browser, path.as_uri())
    page = visit.page
    page.mouse.click(*on_chart(visit, 0.4))
    visit.page.wait_for_timeout(60)
    along = page.evaluate(
        """() => { const { session } = trackkit.page;
            const [lap] = session.drawn.all;
            return lap.trace.along(session.cursor.placeOf(lap)); }"""
    )
    heads = page.locator("#readings thead th").all_inner_texts()
    column = next(n for n, text in enumerate(heads) if text.startswith("Along"))
    assert heads[column].endswith("ft/s\u00b2")
    cell = page.locator("#readings tbody tr").first.locator("th, td").nth(column).inner_text()
    assert float(cell.replace("\u2212", "-")) == pytest.approx(along / 0.3048, abs=0.051)
    assert "move it by 1 ft" in page.locator("#gate-keys").inner_text()
    before = place(visit)
    page.locator("#along").press("ArrowRight")
    assert place(visit) - before == pytest.approx(0.3048, abs=1e-6)
    page.close()
