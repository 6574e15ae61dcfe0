"""The page of many circuits in Chromium: found by name, country and distance, with no network."""

from __future__ import annotations

from dataclasses import replace

import pytest
from browsing import Visit
from checkout import TRACKS

from trackkit.geometry.geodesy import geodesic_distance
from trackkit.pages.circuits import Listing, write_circuits
from trackkit.track.file import read_track
from trackkit.units import shown_in


@pytest.fixture(scope="module")
def circuits():
    return {path.stem: read_track(path) for path in sorted(TRACKS.glob("*.geojson"))}


@pytest.fixture
def visit(browser, circuits, tmp_path):
    listings = [Listing(track, f"{name}.html") for name, track in circuits.items()]
    write_circuits(listings, tmp_path / "index.html")
    visit = Visit(browser, (tmp_path / "index.html").as_uri(), ready="window.trackkit?.circuits")
    yield visit
    assert visit.complaints == []
    assert visit.requests == [visit.address]
    visit.page.close()


def rows(visit):
    return visit.page.eval_on_selector_all(
        "#circuits-table tbody tr",
        "rows => rows.map(row => [row.querySelector('a').getAttribute('href'), "
        "row.querySelector('.away').textContent])",
    )


def dots(visit):
    return visit.page.locator(".circuit-dot").count()


def test_all_are_on_one_map_and_lead_to_their_pages(visit, circuits):
    assert {page for page, _ in rows(visit)} == {f"{name}.html" for name in circuits}
    assert dots(visit) == len(circuits)
    assert visit.page.text_content("#found") == f"{len(circuits)} of {len(circuits)} circuits"


def test_lengths_and_distances_may_be_in_feet_and_miles(browser, circuits, tmp_path):
    """1 foot is 0.3048 m and 1 mile 1609.344 m (yard and pound agreement, 1959)."""
    with shown_in("imperial"):
        write_circuits([Listing(circuits["ruddlebeck-full"], "a.html")], tmp_path / "miles.html")
    visit = Visit(browser, (tmp_path / "miles.html").as_uri(), ready="window.trackkit?.circuits")
    headings = visit.page.locator("#circuits-table th").all_inner_texts()
    assert {"Length ft", "mi away"} <= set(headings)
    length = visit.page.locator("#circuits-table td.n").first.inner_text()
    feet = circuits["ruddlebeck-full"].length_m / 0.3048
    assert float(length.replace(",", "")) == pytest.approx(feet, abs=0.51)

    line = circuits["ruddlebeck-full"].centreline
    north = float(line.latitude_deg.max()) + 1.0
    visit.page.fill(
        "#find-place", f"{north}, {float(line.longitude_deg[line.latitude_deg.argmax()])}"
    )
    ((_, away),) = rows(visit)
    # A degree of latitude is 110.6 to 111.7 km (WGS 84), near 69 miles.
    assert 68 <= float(away) <= 70
    visit.page.fill("#find-within", "60")
    assert rows(visit) == []
    visit.page.close()


def test_they_are_found_by_name_and_by_country(visit, circuits):
    visit.page.fill("#find-name", "  RUDDLE")
    assert [page for page, _ in rows(visit)] == ["ruddlebeck-full.html", "ruddlebeck-short.html"]
    assert dots(visit) == 2
    visit.page.fill("#find-name", "")
    visit.page.select_option("#find-country", "XQ")
    assert {page for page, _ in rows(visit)} == {
        f"{name}.html" for name, track in circuits.items() if track.country == "XQ"
    }
    visit.page.click("button[type=reset]")
    visit.wait("document.querySelectorAll('#circuits-table tbody tr').length > 4")
    assert len(rows(visit)) == len(circuits)


def test_they_are_found_by_distance_nearest_first(visit, circuits):
    # GeographicLib's geodesics, through pyproj, tell the distances on the ellipsoid.
    visit.page.fill("#find-place", "-27, 180")
    shown = rows(visit)
    away = {
        f"{name}.html": float(
            min(
                geodesic_distance(180.0, -27.0, lon, lat)
                for lon, lat in zip(
                    track.centreline.longitude_deg, track.centreline.latitude_deg, strict=True
                )
            )
        )
        / 1000
        for name, track in circuits.items()
    }
    assert [float(km) for _, km in shown] == sorted(float(km) for _, km in shown)
    for page, km in shown:
        assert float(km) == pytest.approx(away[page], rel=0.006)
    nearest, farther = shown[0], shown[4]
    visit.page.fill("#find-within", str(float(farther[1]) - 1))
    assert rows(visit)[0] == nearest
    assert farther not in rows(visit)


def test_a_place_that_is_none_is_said_and_changes_nothing(visit, circuits):
    visit.page.fill("#find-place", "somewhere")
    assert "latitude and a longitude" in visit.page.text_content("#find-wrong")
    assert len(rows(visit)) == len(circuits)


def test_a_click_on_the_map_takes_the_place_there(visit):
    visit.page.click("#map", position={"x": 200, "y": 300})
    assert "," in visit.page.input_value("#find-place")
    assert all(km for _, km in rows(visit))


def test_names_from_files_are_text(browser, circuits, tmp_path):
    track = replace(circuits["morrowfen"], name="<img src=x onerror=alert(1)></script><b>")
    write_circuits([Listing(track, "a b/<c>.html")], tmp_path / "index.html")
    visit = Visit(browser, (tmp_path / "index.html").as_uri(), ready="window.trackkit?.circuits")
    assert visit.page.text_content("#circuits-table a") == track.title
    assert visit.page.locator("img").count() == 0
    assert rows(visit)[0][0] == "a%20b/%3Cc%3E.html"
    visit.page.close()
