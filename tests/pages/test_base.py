"""What a page holds of a track and its recordings."""

from __future__ import annotations

import base64
import re
from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from oval_page import document_of, oval, session, text_of
from pyproj import Geod
from scipy.interpolate import CubicHermiteSpline

from trackkit.pages.base import speed_bounds
from trackkit.pages.driven_laps import MOST_FIXES
from trackkit.pages.html import map_html
from trackkit.pages.packing import pack
from trackkit.recordings.recording import Recording


def unpacked(packed: dict) -> np.ndarray:
    """Read a packed array as the contract of `pack` says, by NumPy alone."""
    kind = {"u16": "<u2", "i32": "<i4"}[packed["type"]]
    whole = np.frombuffer(base64.b64decode(packed["data"]), dtype=kind).astype(float)
    missing = {"u16": 65535, "i32": -(2**31)}[packed["type"]]
    return np.where(whole == missing, np.nan, packed["zero"] + packed["scale"] * whole)


def drawn_line(line: dict, spacing_m: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes and latitudes along the line, as its schema says to read it, by SciPy and PROJ."""
    spline = {name: unpacked(packed) for name, packed in line["spline"].items()}
    longitude, latitude, pace = spline["lon"], spline["lat"], spline["pace"]
    wgs84 = Geod(ellps="WGS84")
    chord = wgs84.inv(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])[2]
    parameter = np.concatenate([[0.0], np.cumsum(chord)])
    ahead = wgs84.fwd(longitude, latitude, spline["bearing_deg"], np.ones(len(longitude)))
    turned = [(ahead[0] - longitude) * pace, (ahead[1] - latitude) * pace]
    chainage = np.arange(0.0, line["length_m"] + spacing_m, spacing_m).clip(max=line["length_m"])
    at = CubicHermiteSpline(spline["chainage_m"], parameter, 1.0 / pace)(chainage)
    return tuple(
        CubicHermiteSpline(parameter, place, slope)(at)
        for place, slope in zip((longitude, latitude), turned, strict=True)
    )


def test_corners_and_straights_are_listed(page: str) -> None:
    base = document_of(page, "base")
    assert base["corners"][0]["name"] == "Larch"
    assert base["corners"][0]["apex_m"] == 250
    # The oval has two straights of 200 m, by hand.
    lengths = [one["length_m"] for one in base["straights"]]
    assert lengths == pytest.approx([200.0, 200.0], abs=10.0)


def test_recording_made_elsewhere_is_said_to_lie_elsewhere() -> None:
    track, elsewhere = oval(), oval(latitude_deg=52.2)
    # 0.2 degrees of latitude at 52.1 N by GeographicLib, less the oval's own 80 m
    apart_km = Geodesic.WGS84.Inverse(52.0, -21.5, 52.2, -21.5)["s12"] / 1000
    words = text_of(map_html(track, recordings=[session(elsewhere)], everything=True))
    found = re.search(r"lies ([\d.]+) km from this track", words)
    assert found is not None
    assert float(found[1]) == pytest.approx(apart_km - 0.08, abs=0.08)


@pytest.mark.slow
def test_twenty_laps_at_25_hz_stay_under_3_mb() -> None:
    track = oval()
    recording = session(track, laps=60, rate_hz=25.0)
    assert len(recording) > 48_000
    page = map_html(track, recordings=[recording])
    assert len(page.encode()) < 3_000_000
    assert document_of(page, "base")["recordings"][0]["every"] == 1


@pytest.mark.slow
def test_more_fixes_than_the_page_holds_are_thinned_and_that_is_said(monkeypatch) -> None:
    most = MOST_FIXES // 20
    monkeypatch.setattr("trackkit.pages.driven_laps.MOST_FIXES", most)
    track = oval()
    recording = session(track, laps=8, rate_hz=25.0)
    assert most < len(recording) < 2 * most
    page = map_html(track, recordings=[recording])
    assert "drawn from one fix in 2" in text_of(page)
    (row,) = document_of(page, "base")["recordings"]
    assert row["fixes"]["lon"]["count"] == (len(recording) + 1) // 2


def test_packed_numbers_come_back_within_half_a_step_and_missing_ones_as_missing() -> None:
    rng = np.random.default_rng(3)
    for span in (100.0, 1e6):
        value = rng.uniform(-span, span, 500)
        value[::50] = np.nan
        packed = pack(value, 0.01)
        assert packed["type"] == ("u16" if span < 300 else "i32")
        assert np.array_equal(np.isnan(unpacked(packed)), np.isnan(value))
        assert np.nanmax(np.abs(unpacked(packed) - value)) <= 0.005 + 1e-9


def test_fixes_and_line_in_the_page_are_where_they_were_recorded(page: str) -> None:
    track = oval()
    recording = session(track)
    fixes = document_of(page, "base")["recordings"][0]["fixes"]
    apart = Geodesic.WGS84.Inverse(
        recording.latitude_deg[99],
        recording.longitude_deg[99],
        unpacked(fixes["lat"])[99],
        unpacked(fixes["lon"])[99],
    )["s12"]
    assert apart < 0.04
    line = document_of(page, "base")["line"]
    along = Geodesic.WGS84.Polygon(polyline=True)
    for longitude, latitude in zip(*drawn_line(line), strict=True):
        along.AddPoint(latitude, longitude)
    # Chords of at most 2 m on a radius of 40 m are short by 1 part in 10,000 (plane geometry).
    assert along.Compute()[1] == pytest.approx(400 + 80 * np.pi, rel=2e-4)


def test_traces_in_the_page_give_the_lap_times(page: str) -> None:
    base = document_of(page, "base")
    timed = [lap for lap in base["laps"] if lap["trace"] and lap["time_s"] is not None]
    assert timed
    for lap in timed:
        time = np.cumsum(unpacked(lap["trace"]["time_s"]))
        speed = unpacked(lap["trace"]["speed_mps"])
        last = base["grid_m"] * (len(time) - 1)
        rest = (oval().curve.length_m - last) / speed[-1]
        assert time[-1] - time[0] + rest == pytest.approx(lap["time_s"], abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("longitude_deg", [179.9995, -179.9995, 180.0])
def test_track_astride_the_antimeridian_is_in_one_piece(longitude_deg: float) -> None:
    track = oval(longitude_deg, -27.0)
    base = document_of(map_html(track, recordings=[session(track)]), "base")
    longitudes = np.concatenate(
        [unpacked(base["line"]["spline"]["lon"]), unpacked(base["recordings"][0]["fixes"]["lon"])]
    )
    # 280 m of track is 0.0027 degrees at 17 degrees south.
    assert np.ptp(longitudes) < 0.01


def test_band_in_the_page_follows_the_width_profile() -> None:
    track = oval()
    profile = ((0.0, 3.0, 5.0), (200.0, 6.0, 2.0))
    track = replace(track, centreline=replace(track.centreline, width_profile=profile))
    line = document_of(map_html(track), "base")["line"]
    chainage = np.linspace(0.0, line["length_m"], line["left_m"]["count"])
    for at, left, right in profile:
        near = int(np.argmin(np.abs(chainage - at)))
        assert unpacked(line["left_m"])[near] == pytest.approx(left, abs=0.05)
        assert unpacked(line["right_m"])[near] == pytest.approx(right, abs=0.05)
    assert "8.0 m wide" in text_of(map_html(track))


def test_standing_in_the_pits_does_not_stretch_the_scale_of_speeds() -> None:
    driven = np.linspace(15, 30, 500)
    assert speed_bounds([driven]) == speed_bounds([driven, np.zeros(5000)])


def test_a_gap_in_a_recording_is_marked_as_a_break() -> None:
    track = oval()
    recording = session(track)
    half = len(recording) // 2
    keep = np.r_[0 : half - 60, half + 60 : len(recording)]
    cut = Recording(
        "cut",
        recording.time_s[keep],
        recording.longitude_deg[keep],
        recording.latitude_deg[keep],
        speed_mps=recording.speed_mps[keep],
        segment=(np.arange(len(keep)) >= half - 60).astype(np.intp),
    )
    (row,) = document_of(map_html(track, recordings=[cut]), "base")["recordings"]
    assert row["fixes"]["breaks"] == [half - 60]


def test_nothing_is_drawn_across_a_long_gap_that_the_file_does_not_mark() -> None:
    track = oval()
    recording = session(track)
    half = len(recording) // 2
    late = np.where(np.arange(len(recording)) < half, 0.0, 60.0)
    gapped = Recording(
        "gapped",
        recording.time_s + late,
        recording.longitude_deg,
        recording.latitude_deg,
        speed_mps=recording.speed_mps,
    )
    (row,) = document_of(map_html(track, recordings=[gapped]), "base")["recordings"]
    assert row["fixes"]["breaks"] == [half]


def test_recording_of_a_single_fix_is_listed_and_draws_nothing() -> None:
    track = oval()
    whole = session(track)
    one = Recording("one.gpx", whole.time_s[:1], whole.longitude_deg[:1], whole.latitude_deg[:1])
    assert "one.gpx 1 fix in 0 min 00 s" in text_of(map_html(track, recordings=[one]))
