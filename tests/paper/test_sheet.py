"""The sheet is true to scale and to north."""

from dataclasses import replace

import numpy as np
import pytest
from drives import stadium, track_of
from paper_tracks import ALL, track_named
from pyproj import Geod

from trackkit.paper.draw import draw
from trackkit.paper.ink import bar_length_m

GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize("name", ALL)
def test_distances_on_the_sheet_are_geodesic_distances_by_the_scale_bar(name, pictures):
    picture, track = pictures(name), track_named(name)
    line = track.centreline
    at = np.linspace(0, len(line.longitude_deg) - 1, 9).astype(int)[:-1]
    longitude, latitude = line.longitude_deg[at], line.latitude_deg[at]
    paper = picture.sheet.to_paper(track.plane.to_plane(longitude, latitude))
    _, _, ground = GEOD.inv(longitude, latitude, np.roll(longitude, 1), np.roll(latitude, 1))
    measured = np.hypot(*(paper - np.roll(paper, 1, axis=0)).T)

    # The bar as drawn: the dark and light pieces at the foot of the map, from end to end.
    bar = bar_length_m(picture.sheet)
    pieces = [
        patch.get_path().get_extents()
        for patch in picture.figure.axes[0].patches
        if abs(patch.get_path().get_extents().y0 - picture.sheet.map_box.bottom - 3.0) < 1e-9
    ]
    bar_mm = max(p.x1 for p in pieces) - min(p.x0 for p in pieces)
    assert len(pieces) == 4
    assert measured * bar / bar_mm == pytest.approx(ground, rel=5e-6, abs=1e-3)
    words = {text.get_text() for text in picture.figure.axes[0].texts}
    assert (f"{bar:,g} m" if bar < 2000 else f"{bar / 1000:,g} km") in words


@pytest.mark.parametrize("name", ["orrinback-hill", "antimeridian at 70 north", "20 km"])
def test_the_arrow_points_to_true_north(name, pictures):
    picture, track = pictures(name), track_named(name)
    plane = track.plane
    longitude, latitude, _ = GEOD.fwd(plane.longitude_deg, plane.latitude_deg, 0.0, 100.0)
    ends = plane.to_plane([plane.longitude_deg, longitude], [plane.latitude_deg, latitude])
    away = np.diff(picture.sheet.to_paper(ends), axis=0)[0]
    letter = next(t for t in picture.figure.axes[0].texts if t.get_text() == "N")
    box = picture.sheet.map_box
    x, y = letter.get_position()
    # Half a capital of 9 points stands above the base line.
    towards = np.array([x - (box.right - 9.0), y + 1.16 - (box.bottom + 7.5)])

    angle = np.degrees(np.arctan2(away[0], away[1]) - np.arctan2(towards[0], towards[1]))
    assert angle == pytest.approx(0.0, abs=0.5)


def test_north_is_up_unless_that_wastes_the_sheet(pictures):
    assert pictures("pipwick-kart-circuit").sheet.turn_deg == 0.0
    # Turned to lie along the sheet, the hill course is half as large again.
    assert pictures("orrinback-hill").sheet.turn_deg != 0.0


def test_the_sheet_is_upright_or_across_as_the_circuit_asks():
    across = draw(track_of(stadium(600.0, 60.0), spacing_m=2.0)).sheet
    upright = draw(track_of(replace(stadium(600.0, 60.0), heading_deg=90.0), spacing_m=2.0)).sheet

    assert (across.width_mm, across.height_mm) == (297.0, 210.0)
    assert (upright.width_mm, upright.height_mm) == (210.0, 297.0)
