"""The HTML map as a file: what it says, what it loads, and what a hostile name can do to it.

The tracks and people here are invented.
"""

from __future__ import annotations

import base64
import json
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from lxml import html as lxml_html
from pyproj import Geod
from scipy.interpolate import CubicHermiteSpline

from trackkit.caution import CAUTION
from trackkit.checks.findings import Finding
from trackkit.errors import OutputError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.pages.base import MOST_FIXES, pack, speed_bounds_kmh
from trackkit.pages.html import map_html, write_map
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.band import band_area
from trackkit.track.model import Centreline, Corner, Crossover, Gate, PitLane, Track

HOSTILE = (
    "<img src=x onerror=alert(1)>`${alert(2)}`</script><script>window.harmed=1</script>"
    "\u2028\"'\\ <!-- </style>"
)


def oval(longitude_deg: float = -1.5, latitude_deg: float = 52.0, **changes: object) -> Track:
    """Two straights of 200 m and two half circles of 40 m radius, driven anticlockwise."""
    angle = np.linspace(-np.pi / 2, np.pi / 2, 25)
    bend = 40 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    straight = np.stack([np.linspace(-100, 100, 21)[1:-1], np.full(19, -40.0)], axis=1)
    east = np.array([100.0, 0.0])
    vertex = np.vstack([straight, bend + east, -straight, -bend - east])
    plane = LocalPlane(longitude_deg, latitude_deg)
    longitude, latitude = plane.to_geographic(np.vstack([vertex, vertex[:1]]))
    track = Track(
        "hollow-oval",
        "Hollow Oval (invented)",
        Centreline(longitude, latitude, closed=True, width_m=9.0),
        length_m=400 + 80 * np.pi,
        direction="anticlockwise",
    )
    curve = track.curve
    gates = (
        gate(track, "finish", "finish", "Finish", 0.0),
        gate(track, "gate-k3f9", "sector", "Sector 1 end", 343.2),
    )
    apex = curve.position(250.0)
    apex_longitude, apex_latitude = track.plane.to_geographic(apex)
    corner = Corner(
        1, "Larch", "left", (float(apex_longitude), float(apex_latitude)), 190, 250, 310, 40.0
    )
    track = replace(track, gates=gates, corners=(corner,))
    return replace(track, **changes)


def gate(track: Track, gate_id: str, kind: str, name: str, chainage_m: float) -> Gate:
    middle, left = track.curve.position(chainage_m), track.curve.left(chainage_m)
    longitude, latitude = track.plane.to_geographic(
        np.stack([middle + 6 * left, middle - 6 * left])
    )
    ends = [(float(a), float(b)) for a, b in zip(longitude, latitude, strict=True)]
    return Gate(gate_id, kind, name, *ends, chainage_m=chainage_m)


def session(track: Track, *, laps: int = 2, rate_hz: float = 10.0, speed: bool = True) -> Recording:
    """A drive at a speed that swings between 10 and 30 m/s."""
    time = np.arange(0, laps * track.curve.length_m / 20, 1 / rate_hz)
    chainage = 20 * time + 10 * 3 * (1 - np.cos(time / 3))
    rng = np.random.default_rng(2)
    aside = 2 * np.sin(time / 7) + rng.normal(0, 0.15, len(time))
    place = track.curve.position(chainage) + aside[:, None] * track.curve.left(chainage)
    longitude, latitude = track.plane.to_geographic(place)
    given = 20 + 10 * np.sin(time / 3) if speed else None
    return Recording("drive.gpx", time, longitude, latitude, speed_mps=given)


FINDINGS = [
    Finding("error", "gate-square", "gate-k3f9", None, None, "Not square", Remedy("Turn it")),
    Finding("note", "band-assumed", None, None, None, "No width known", Remedy("Measure it")),
]


def text_of(page: str) -> str:
    tree = lxml_html.fromstring(page)
    for element in tree.xpath("//script|//style"):
        element.drop_tree()
    return " ".join(" ".join(tree.itertext()).split())


def scripts_of(page: str) -> str:
    return "\n".join(lxml_html.fromstring(page).xpath("//script/text()"))


def document_of(page: str, name: str) -> dict:
    """One of the JSON documents that the page's own script reads."""
    (text,) = lxml_html.fromstring(page).xpath(f"//script[@id='{name}']/text()")
    return json.loads(text)


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


@pytest.fixture(scope="module")
def page() -> str:
    track = oval()
    return map_html(track, recordings=[session(track)], findings=FINDINGS)


def test_page_names_track_length_and_direction(page: str) -> None:
    # 400 + 2 * pi * 40 = 651.3 m, by hand
    assert "Hollow Oval (invented) 651 m, closed circuit, anticlockwise, 1 corner" in text_of(page)


def test_state_lists_gates_with_chainage_and_width(page: str) -> None:
    gates = {gate["id"]: gate for gate in document_of(page, "state")["gates"]}
    assert gates["gate-k3f9"]["name"] == "Sector 1 end"
    assert gates["gate-k3f9"]["chainage_m"] == pytest.approx(343.2, abs=0.01)
    assert gates["gate-k3f9"]["width_m"] == pytest.approx(12.0, abs=0.01)


def test_findings_are_those_given_and_stand_at_their_gate(page: str) -> None:
    state = document_of(page, "state")
    assert [one["message"] for one in state["findings"]] == [one.message for one in FINDINGS]
    assert {gate["id"]: gate["findings"] for gate in state["gates"]} == {
        "finish": [],
        "gate-k3f9": [0],
    }


def test_checks_that_found_nothing_are_told_from_no_checks() -> None:
    assert document_of(map_html(oval(), findings=[]), "state")["findings"] == []
    assert document_of(map_html(oval()), "state")["findings"] is None


def test_corners_and_straights_are_listed(page: str) -> None:
    base = document_of(page, "base")
    assert base["corners"][0]["name"] == "Larch"
    assert base["corners"][0]["apex_m"] == 250
    # The oval has two straights of 200 m, by hand.
    lengths = [one["length_m"] for one in base["straights"]]
    assert lengths == pytest.approx([200.0, 200.0], abs=10.0)


def test_page_has_language_title_and_viewport(page: str) -> None:
    tree = lxml_html.fromstring(page)
    assert tree.get("lang") == "en"
    assert tree.findtext(".//title") == "Hollow Oval (invented)"
    assert tree.xpath("//meta[@name='viewport']/@content") == [
        "width=device-width, initial-scale=1"
    ]


def test_page_carries_the_caution_word_for_word(page: str) -> None:
    assert CAUTION in text_of(page)


@pytest.mark.parametrize(
    "topic", ["driving", "marshals", "training", "timekeepers", "public roads"]
)
def test_caution_covers(topic: str) -> None:
    assert topic in CAUTION


def test_legend_gives_speeds_in_words_and_units(page: str) -> None:
    words = text_of(page)
    # The drive swings between 36 and 108 km/h.
    ranges = re.findall(r"(\d+) to (\d+) km/h", words)
    assert re.search(r"under \d+ km/h", words)
    assert re.search(r"\d+ km/h and over", words)
    assert len(ranges) == 3
    assert 36 < int(ranges[0][0]) < int(ranges[-1][1]) < 108


def test_legend_says_when_the_width_is_assumed() -> None:
    track = oval()
    line = replace(track.centreline, width_m=None)
    assert "12 m wide (assumed" in text_of(map_html(replace(track, centreline=line)))
    assert "9.0 m wide" in text_of(map_html(track))


def test_recording_made_elsewhere_is_said_to_lie_elsewhere() -> None:
    track, elsewhere = oval(), oval(latitude_deg=52.2)
    # 0.2 degrees of latitude at 52.1 N by GeographicLib, less the oval's own 80 m
    apart_km = Geodesic.WGS84.Inverse(52.0, -1.5, 52.2, -1.5)["s12"] / 1000
    words = text_of(map_html(track, recordings=[session(elsewhere)]))
    found = re.search(r"lies ([\d.]+) km from this track", words)
    assert found is not None
    assert float(found[1]) == pytest.approx(apart_km - 0.08, abs=0.08)


def test_pit_lane_bridge_and_start_are_drawn_and_explained() -> None:
    track = oval()
    lane = PitLane("pit", track.centreline.longitude_deg[:9], track.centreline.latitude_deg[:9])
    track = replace(
        track,
        pit_lanes=(lane,),
        crossovers=(Crossover(100.0, 420.0),),
        gates=(*track.gates, gate(track, "start", "start", "Start", 630.0)),
    )
    page = map_html(track)
    words = text_of(page)
    for name, css in (("Pit lane", "t-pit"), ("Bridge", "t-bridge"), ("Start gate", "t-start")):
        assert name in words
        assert css in page
    base = document_of(page, "base")
    # The bridge reaches 4 m beyond the band of 9 m below it, by hand.
    assert base["bridges"] == [{"over_m": 100.0, "under_m": 420.0, "reach_m": 8.5}]
    assert len(base["pit_lanes"]) == 1


# what the page loads


def loads_of(page: str) -> list[str]:
    """Every address the page would fetch by itself (HTML Living Standard; CSS url and @import)."""
    tree = lxml_html.fromstring(page)
    found = tree.xpath("//@src|//@srcset|//@poster|//@data|//link/@href|//object/@data|//@xlink")
    for style in [*tree.xpath("//style/text()"), *tree.xpath("//@style")]:
        found += re.findall(r"url\(\s*['\"]?([^)'\"]+)", style)
        found += re.findall(r"@import[^;]+", style)
    return [address for address in found if not address.startswith(("data:", "#"))]


def test_page_refers_to_nothing_outside_itself(page: str) -> None:
    assert loads_of(page) == []
    assert "sourceMappingURL" not in page
    for host in ("cdn.", "googleapis", "jquery", "bootstrap", "fontawesome"):
        assert host not in page.lower()


def test_policy_allows_no_host_unless_tiles_are_asked_for(page: str) -> None:
    assert "https:" not in policy_of(page)
    assert policy_of(page).startswith("default-src 'none';")


@pytest.mark.parametrize(
    ("tiles", "host", "attribution"),
    [
        ("street", "https://tile.openstreetmap.org", "OpenStreetMap"),
        ("satellite", "https://server.arcgisonline.com", "Esri"),
    ],
)
def test_tiles_come_only_on_request_with_attribution(
    page: str, tiles: str, host: str, attribution: str
) -> None:
    with_tiles = map_html(oval(), tiles=tiles)
    assert re.search(r"img-src ([^;]+);", policy_of(with_tiles))[1] == f"data: {host}"
    asked = scripts_of(with_tiles).partition("trackkit.open(")[2]
    assert host + "/" in asked
    assert attribution in asked
    assert host not in page
    assert loads_of(with_tiles) == []


def test_unknown_tiles_are_refused() -> None:
    with pytest.raises(OutputError, match="choose street or satellite"):
        map_html(oval(), tiles="moon")


def policy_of(page: str) -> str:
    (policy,) = lxml_html.fromstring(page).xpath(
        "//meta[@http-equiv='Content-Security-Policy']/@content"
    )
    return policy


# what a hostile name can do


@pytest.fixture(scope="module")
def hostile_page() -> str:
    track = oval()
    track = replace(
        track,
        name=HOSTILE,
        layout=HOSTILE,
        notes=HOSTILE,
        licence=HOSTILE,
        gates=tuple(replace(g, id=HOSTILE + g.id, name=HOSTILE) for g in track.gates),
        corners=tuple(replace(c, name=HOSTILE) for c in track.corners),
    )
    return map_html(
        track,
        recordings=[session(track).renamed(HOSTILE)],
        findings=[
            replace(
                f,
                message=HOSTILE,
                remedy=Remedy(HOSTILE),
                feature=f.feature and HOSTILE + f.feature,
            )
            for f in FINDINGS
        ],
    )


def test_hostile_names_add_no_element(page: str, hostile_page: str) -> None:
    def elements(text: str) -> tuple[set[str], int, int]:
        kinds = [e.tag for e in lxml_html.fromstring(text).iter() if isinstance(e.tag, str)]
        # What stands between backticks in a remedy is set as code; that is no harm.
        return set(kinds) - {"code"}, kinds.count("script"), kinds.count("style")

    assert elements(hostile_page) == elements(page)


def test_hostile_names_show_as_they_are_spelled(hostile_page: str) -> None:
    heading = lxml_html.fromstring(hostile_page).findtext(".//h1/bdi")
    assert heading == HOSTILE


def test_name_with_a_lone_surrogate_can_still_be_written(tmp_path) -> None:
    # JSON's \\ud800 escape makes such a string, which UTF-8 cannot hold (RFC 8259, section 8.2).
    write_map(oval(name="Odd \ud800 name"), tmp_path / "map.html")
    assert "Odd ? name" in (tmp_path / "map.html").read_text("utf-8")


def test_every_script_and_style_is_allowed_by_its_hash(hostile_page: str) -> None:
    import base64
    import hashlib

    for kind in ("script", "style"):
        for text in re.findall(rf"<{kind}>(.*?)</{kind}>", hostile_page, flags=re.DOTALL):
            digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in policy_of(hostile_page)


# size, sameness, places


def test_twenty_laps_at_25_hz_stay_under_3_mb() -> None:
    track = oval()
    recording = session(track, laps=60, rate_hz=25.0)
    assert len(recording) > 48_000
    page = map_html(track, recordings=[recording])
    assert len(page.encode()) < 3_000_000
    assert document_of(page, "base")["recordings"][0]["every"] == 1


def test_more_fixes_than_the_page_holds_are_thinned_and_that_is_said() -> None:
    track = oval()
    recording = session(track, laps=8, rate_hz=500.0)
    assert MOST_FIXES < len(recording) < 2 * MOST_FIXES
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
        recording.latitude_deg[99], recording.longitude_deg[99],
        unpacked(fixes["lat"])[99], unpacked(fixes["lon"])[99],
    )["s12"]  # fmt: skip
    assert apart < 0.02
    line = document_of(page, "base")["line"]
    along = Geodesic.WGS84.Polygon(polyline=True)
    for longitude, latitude in zip(*drawn_line(line), strict=True):
        along.AddPoint(latitude, longitude)
    # Chords of at most 2 m on a radius of 40 m are short by 1 part in 10,000 (plane geometry).
    assert along.Compute()[1] == pytest.approx(400 + 80 * np.pi, rel=2e-4)


def test_traces_in_the_page_give_the_lap_times(page: str) -> None:
    base = document_of(page, "base")
    timed = [lap for lap in base["laps"] if lap["trace"]]
    assert timed
    for lap in timed:
        time = unpacked(lap["trace"]["time_s"])
        speed = unpacked(lap["trace"]["speed_mps"])
        last = base["grid_m"] * (len(time) - 1)
        rest = (oval().curve.length_m - last) / speed[-1]
        assert time[-1] - time[0] + rest == pytest.approx(lap["time_s"], abs=0.01)


@pytest.mark.parametrize("longitude_deg", [179.9995, -179.9995, 180.0])
def test_track_astride_the_antimeridian_is_in_one_piece(longitude_deg: float) -> None:
    track = oval(longitude_deg, -17.0)
    base = document_of(map_html(track, recordings=[session(track)]), "base")
    longitudes = np.concatenate(
        [unpacked(base["line"]["spline"]["lon"]), unpacked(base["recordings"][0]["fixes"]["lon"])]
    )
    # 280 m of track is 0.0027 degrees at 17 degrees south.
    assert np.ptp(longitudes) < 0.01


def test_band_has_the_area_of_length_times_width() -> None:
    # Pappus: a band of width w around a closed line of length L, free of overlap, covers w L.
    assert band_area(oval()).area == pytest.approx(9.0 * (400 + 80 * np.pi), rel=0.005)


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
    assert speed_bounds_kmh([driven]) == speed_bounds_kmh([driven, np.zeros(5000)])


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


def test_same_input_makes_the_same_page(page: str) -> None:
    track = oval()
    assert map_html(track, recordings=[session(track)], findings=FINDINGS) == page


def test_track_at_78_degrees_north_is_drawn() -> None:
    assert "Finish" in text_of(map_html(oval(20.0, 78.2)))


def test_track_beyond_the_mercator_limit_is_refused() -> None:
    with pytest.raises(OutputError, match="Mercator"):
        map_html(oval(20.0, 86.0))


# speeds


def test_recording_of_a_single_fix_is_listed_and_draws_nothing() -> None:
    track = oval()
    whole = session(track)
    one = Recording("one.gpx", whole.time_s[:1], whole.longitude_deg[:1], whole.latitude_deg[:1])
    assert "one.gpx 1 fix in 0 min 00 s" in text_of(map_html(track, recordings=[one]))


# writing


def test_map_replaces_no_file_unless_forced(tmp_path) -> None:
    path = tmp_path / "map.html"
    path.write_text("mine")
    with pytest.raises(OutputError, match="exists already"):
        write_map(oval(), path)
    assert path.read_text() == "mine"
    write_map(oval(), path, force=True)
    assert path.read_text("utf-8") == map_html(oval())


def test_importing_the_map_loads_no_heavy_library() -> None:
    code = (
        "import sys, trackkit.pages.html;"
        "print([name for name in ('pandas', 'jinja2', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
