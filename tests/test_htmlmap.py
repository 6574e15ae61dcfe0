"""The HTML map as a file: what it says, what it loads, and what a hostile name can do to it.

The tracks and people here are invented.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from lxml import html as lxml_html

from trackkit.caution import CAUTION
from trackkit.errors import OutputError
from trackkit.findings import Finding
from trackkit.geodesy import LocalPlane
from trackkit.htmlmap import map_html, write_map
from trackkit.mapgeometry import arrows, band
from trackkit.mapspeed import SpeedScale, speed_mps, speed_scale
from trackkit.recording import Recording
from trackkit.track import Centreline, Corner, Crossover, Gate, PitLane, Track

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
    Finding("error", "gate-square", "gate-k3f9", None, None, "Not square", "Turn it"),
    Finding("note", "band-assumed", None, None, None, "No width known", "Measure it"),
]


def text_of(page: str) -> str:
    tree = lxml_html.fromstring(page)
    for element in tree.xpath("//script|//style"):
        element.drop_tree()
    return " ".join(" ".join(tree.itertext()).split())


def scripts_of(page: str) -> str:
    return "\n".join(lxml_html.fromstring(page).xpath("//script/text()"))


@pytest.fixture(scope="module")
def page() -> str:
    track = oval()
    return map_html(track, recordings=[session(track)], findings=FINDINGS)


def test_page_names_track_length_and_direction(page: str) -> None:
    # 400 + 2 * pi * 40 = 651.3 m, by hand
    assert "Hollow Oval (invented) 651 m, closed circuit, anticlockwise, 1 corner" in text_of(page)


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


def test_page_lists_gates_with_chainage_and_width(page: str) -> None:
    assert "Sector 1 end sector 343.2 m 12.0 m" in text_of(page)


def test_map_labels_gates_with_name_and_chainage(page: str) -> None:
    assert r"Sector 1 end\u003c/bdi\u003e 343 m" in scripts_of(page)


def test_page_lists_corners_with_turn_radius_and_apex(page: str) -> None:
    assert "1 Larch left 40 m 250 m" in text_of(page)


def test_findings_are_listed_with_severity_in_words_and_remedy(page: str) -> None:
    assert "error 1 show on the map gate Sector 1 end Not square What to do: Turn it" in text_of(
        page
    )


def test_finding_without_a_place_is_listed_for_the_whole_track(page: str) -> None:
    assert "note 2 the whole track No width known What to do: Measure it" in text_of(page)


def test_checks_that_found_nothing_are_told_from_no_checks() -> None:
    assert "The checks have nothing to say." in text_of(map_html(oval(), findings=[]))
    assert "Findings" not in text_of(map_html(oval()))


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


def test_page_says_where_speed_was_worked_out_from_positions() -> None:
    track = oval()
    words = text_of(map_html(track, recordings=[session(track, speed=False)]))
    assert "it is worked out from the positions" in words
    assert "it is worked out" not in text_of(map_html(track, recordings=[session(track)]))


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
    words, scripts = text_of(map_html(track)), scripts_of(map_html(track))
    for name, css in (("Pit lane", "t-pit"), ("Bridge", "t-bridge"), ("Start gate", "t-start")):
        assert name in words
        assert f'"{css}"' in scripts


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
    assert host + "/" in scripts_of(with_tiles)
    assert f"{attribution}" in scripts_of(with_tiles).partition("L.tileLayer(")[2]
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
            replace(f, message=HOSTILE, remedy=HOSTILE, feature=f.feature and HOSTILE + f.feature)
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


def test_hostile_names_never_stand_unescaped_in_a_script(hostile_page: str) -> None:
    own = scripts_of(hostile_page)
    assert "<img" not in own.partition("var map_1")[2]
    assert "<script" not in own.partition("var map_1")[2]
    assert "\u2028" not in own


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


def test_twenty_laps_at_25_hz_stay_under_5_mb() -> None:
    track = oval()
    recording = session(track, laps=55, rate_hz=25.0)
    assert len(recording) > 44_000
    assert len(map_html(track, recordings=[recording]).encode()) < 5_000_000


def test_same_input_makes_the_same_page(page: str) -> None:
    track = oval()
    assert map_html(track, recordings=[session(track)], findings=FINDINGS) == page


@pytest.mark.parametrize("longitude_deg", [179.9995, -179.9995, 180.0])
def test_track_astride_the_antimeridian_is_in_one_piece(longitude_deg: float) -> None:
    track = oval(longitude_deg, -17.0)
    scripts = scripts_of(map_html(track, recordings=[session(track)]))
    pairs = re.findall(r"\[(-?\d+\.\d+), ?(-?\d+\.\d+)\]", scripts.partition("var map_1")[2])
    longitudes = np.array([float(b) for _, b in pairs])
    assert len(longitudes) > 500
    # 280 m of track is 0.0027 degrees at 17 degrees south.
    assert np.ptp(longitudes) < 0.01


def test_track_at_78_degrees_north_is_drawn() -> None:
    assert "Finish" in text_of(map_html(oval(20.0, 78.2)))


def test_track_beyond_the_mercator_limit_is_refused() -> None:
    with pytest.raises(OutputError, match="Mercator"):
        map_html(oval(20.0, 86.0))


def test_band_has_the_area_of_length_times_width() -> None:
    track = oval()
    # Pappus: a band of width w around a closed line of length L, free of overlap, covers w L.
    outer, hole = band(track)[0]
    area = ring_area_m2(track, outer) - ring_area_m2(track, hole)
    assert area == pytest.approx(9.0 * (400 + 80 * np.pi), rel=0.005)


def test_band_follows_its_width_profile() -> None:
    track = oval()
    profile = ((0.0, 3.0, 5.0), (200.0, 6.0, 2.0))
    track = replace(track, centreline=replace(track.centreline, width_profile=profile))
    outline = shapely.Polygon(*rings_m(track, band(track)[0]))
    for chainage, left, right in profile:
        middle, aside = track.curve.position(chainage), track.curve.left(chainage)
        section = shapely.LineString([middle + 20 * aside, middle - 20 * aside])
        (cut,) = [
            piece
            for piece in shapely.get_parts(section.intersection(outline))
            if piece.distance(shapely.Point(middle)) < 1
        ]
        assert cut.length == pytest.approx(left + right, abs=0.15)


def rings_m(track: Track, part: list) -> tuple:
    rings = [track.plane.to_plane([p[1] for p in ring], [p[0] for p in ring]) for ring in part]
    return rings[0], rings[1:]


def ring_area_m2(track: Track, ring: list) -> float:
    # The geodesic polygon area of GeographicLib (Karney 2013) is the independent word.
    polygon = Geodesic.WGS84.Polygon()
    for latitude, longitude in ring[:-1]:
        polygon.AddPoint(latitude, longitude)
    return abs(polygon.Compute()[2])


def test_arrows_point_along_the_geodesic_in_racing_direction() -> None:
    track = oval()
    for arrow in arrows(track):
        position = track.plane.to_plane([arrow.place[1]], [arrow.place[0]])
        chainage, _ = track.curve.project(position[0])
        ahead_longitude, ahead_latitude = track.plane.to_geographic(
            track.curve.position(float(chainage) + 0.5)
        )
        azimuth = Geodesic.WGS84.Inverse(*arrow.place, ahead_latitude, ahead_longitude)["azi1"]
        turn = (arrow.bearing_deg - azimuth + 180) % 360 - 180
        assert abs(turn) < 2  # half a metre of a 40 m radius turns by 0.4 degrees; 1 cm of rounding


# speeds


def test_speed_from_positions_agrees_with_the_truth() -> None:
    track = oval()
    derived, worked_out = speed_mps(session(track, speed=False))
    truth = 20 + 10 * np.sin(session(track).time_s / 3)
    assert worked_out
    assert np.sqrt(np.mean((derived[5:-5] - truth[5:-5]) ** 2)) < 0.6


def test_speed_from_positions_does_not_bridge_a_gap_between_stretches() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    longitude = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0])
    recording = Recording("x", time, longitude, np.zeros(6), segment=np.array([0, 0, 0, 1, 1, 1]))
    assert speed_mps(recording)[0] == pytest.approx(np.zeros(6))


def test_speed_the_receiver_gave_is_kept() -> None:
    track = oval()
    recording = session(track)
    assert np.array_equal(speed_mps(recording)[0], recording.speed_mps)


def test_speed_classes_are_five_and_in_words() -> None:
    assert SpeedScale((40, 60, 80, 100)).labels() == [
        "under 40 km/h",
        "40 to 60 km/h",
        "60 to 80 km/h",
        "80 to 100 km/h",
        "100 km/h and over",
    ]


def test_standing_in_the_pits_does_not_stretch_the_scale_of_speeds() -> None:
    driven = np.linspace(15, 30, 500)
    assert speed_scale([driven]) == speed_scale([driven, np.zeros(5000)])


def test_no_line_is_drawn_across_a_gap_in_a_recording() -> None:
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
    call = re.search(
        r"trackkitMap\.drive\(\s*(\[.*?\]),\s*\[\{", scripts_of(map_html(track, recordings=[cut]))
    )
    for line in (line for lines in json.loads(call[1]) for line in lines):
        position = track.plane.to_plane([p[1] for p in line], [p[0] for p in line])
        chainage, _ = track.curve.project(position)
        step = np.abs(np.diff(np.unwrap(chainage, period=track.curve.length_m)))
        assert step.max() < 100  # the gap is 12 s, some 240 m


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
        "import sys, trackkit.htmlmap;"
        "print([name for name in ('folium', 'pandas', 'jinja2', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_straights_are_listed_with_where_they_begin_and_their_length(page: str) -> None:
    # The oval has two of 200 m, by hand.
    text = text_of(page)
    assert "Straights (2)" in text
    lengths = re.findall(r"([0-9.]+) m", text.partition("Straights (2)")[2])
    assert [float(n) for n in lengths[1:4:2]] == pytest.approx([200.0, 200.0], abs=10.0)
