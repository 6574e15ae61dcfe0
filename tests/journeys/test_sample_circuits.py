"""The invented sample circuits in tracks/, judged by other people's standards and libraries.

RFC 7946, the packaged schema by jsonschema, shapely for shape, geographiclib for lengths, ISO
3166-1, the time zone data base.
"""

from __future__ import annotations

import json
import subprocess
import sys
import zoneinfo
from functools import cache
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import shapely
from checkout import ROOT
from geographiclib.geodesic import Geodesic

from trackkit.checks.check import check_file
from trackkit.gates.placement import with_gate_moved
from trackkit.library.folders import Library, open_library
from trackkit.simulation.simulate import Simulation, simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.derive import with_corners
from trackkit.track.file import read_track, schema
from trackkit.track.model import Track
from trackkit.track.places import Place

FOLDER = ROOT / "tracks"
IDS = (
    "gullhatch-oval",
    "morrowfen",
    "orrinback-hill",
    "pipwick-kart-circuit",
    "ruddlebeck-full",
    "ruddlebeck-short",
    "saltpenny-atoll-anticlockwise",
    "saltpenny-atoll-clockwise",
    "twistlemoor",
)
ATOLL = ("saltpenny-atoll-anticlockwise", "saltpenny-atoll-clockwise")
FIGURE_OF_EIGHT = "twistlemoor"
HILL = "orrinback-hill"
WITH_HEIGHTS = ("morrowfen", HILL, FIGURE_OF_EIGHT)
CLOSED = tuple(name for name in IDS if name != HILL)

every_track = pytest.mark.parametrize("name", IDS)


@cache
def document_of(name: str) -> dict:
    return json.loads((FOLDER / f"{name}.geojson").read_text("utf-8"))


@cache
def track_of(name: str) -> Track:
    return read_track(FOLDER / f"{name}.geojson")


@cache
def driven(name: str, noise: float) -> tuple[Simulation, LapReport]:
    track = track_of(name)
    simulation = simulate_drive(track, laps=2, rate_hz=10.0, noise=noise, seed=11)
    return simulation, time_laps(track, simulation.recording)


def lines_of(document: dict) -> list[list[list[float]]]:
    lines = []
    for feature in document["features"]:
        geometry = feature["geometry"]
        if geometry["type"] == "LineString":
            lines.append(geometry["coordinates"])
        elif geometry["type"] == "MultiLineString":
            lines += geometry["coordinates"]
    return lines


# ---- the files and the tool that makes them


def same(a: object, b: object, unit: float = 1e-2) -> bool:
    """Equal, numbers to a unit of the last decimal written.

    That is 1e-8 degrees or about 1 mm for positions, 1 cm for distances along the road and
    heights.
    """
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(
            same(a[key], b[key], 1e-8 if key in ("coordinates", "bbox") else unit) for key in a
        )
    if isinstance(a, list) and isinstance(b, list):
        is_position = len(a) == 3 and all(isinstance(value, float) for value in a)
        units = [unit, unit, 1e-2] if is_position else [unit] * len(a)
        return len(a) == len(b) and all(map(same, a, b, units))
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= 1.01 * unit
    return type(a) is type(b) and a == b


def test_files_that_differ_by_3_mm_or_in_a_word_are_told_apart() -> None:
    document = document_of(HILL)
    for key, was, becomes in (
        ("coordinates", lambda d: d["features"][0]["geometry"]["coordinates"][40], 3e-8),
        ("chainage_m", lambda d: d["features"][1]["properties"], 0.03),
    ):
        other = json.loads(json.dumps(document))
        place = was(other)
        place[0 if key == "coordinates" else key] += becomes
        assert not same(document, other)
    other = json.loads(json.dumps(document))
    other["features"][2]["id"] = "gate-aaaa"
    assert not same(document, other)
    assert same(document, json.loads(json.dumps(document)))


def test_running_the_tool_again_changes_nothing(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, ROOT / "tracks" / "make_tracks.py", tmp_path], check=True, timeout=120
    )
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"{name}.geojson" for name in IDS]
    differing = [
        name
        for name in IDS
        if not same(json.loads((tmp_path / f"{name}.geojson").read_text()), document_of(name))
    ]
    assert differing == [], "run tracks/make_tracks.py and commit what it changes"


def test_the_folder_holds_these_circuits_and_its_readme_names_each() -> None:
    assert sorted(p.stem for p in FOLDER.glob("*.geojson")) == list(IDS)
    readme = (FOLDER / "README.md").read_text("utf-8")
    for name in IDS:
        assert f"`{name}.geojson` | {track_of(name).length_m:,.0f} m |" in readme


@every_track
def test_a_file_says_that_it_is_invented_and_that_nothing_is_there(name: str) -> None:
    described = document_of(name)["track"]
    assert described["id"] == name
    assert described["notes"].startswith("Invented: ")
    assert "nothing at this place" in described["notes"]
    assert described["licence"] == "CC0-1.0"  # an SPDX identifier (spdx.org/licenses)


# ---- the format


@every_track
def test_a_file_obeys_the_packaged_schema(name: str) -> None:
    jsonschema.Draft202012Validator(schema()).validate(document_of(name))


@every_track
def test_positions_are_longitude_latitude_and_height_within_the_bbox(name: str) -> None:
    """RFC 7946 sections 3.1.1, 4 and 5: order, range, and what a bounding box encloses."""
    document = document_of(name)
    west, south, east, north = document["bbox"]
    for line in lines_of(document):
        for longitude, latitude, *height in line:
            assert -180 <= longitude <= 180
            assert south <= latitude <= north
            assert len(height) <= 1
            inside = (
                west <= longitude <= east
                if west <= east
                else (longitude >= west or longitude <= east)
            )
            assert inside
    assert "crs" not in document


@every_track
def test_only_the_atoll_crosses_the_antimeridian_and_is_cut_there(name: str) -> None:
    """RFC 7946 section 3.1.9: no part of a geometry crosses it; section 5.2: west > east."""
    document = document_of(name)
    geometry = document["features"][0]["geometry"]
    assert (document["bbox"][0] > document["bbox"][2]) == (name in ATOLL)
    assert geometry["type"] == ("MultiLineString" if name in ATOLL else "LineString")
    for line in lines_of(document):
        assert np.ptp(np.array(line)[:, 0]) < 0.1
    if name in ATOLL:
        for before, after in zip(
            geometry["coordinates"][:-1], geometry["coordinates"][1:], strict=True
        ):
            assert abs(before[-1][0]) == 180.0
            assert after[0] == [-before[-1][0], *before[-1][1:]]


@every_track
def test_the_country_is_none_or_one_that_iso_3166_leaves_to_users(name: str) -> None:
    """ISO 3166-1 clause 8.1.3: AA, QM to QZ, XA to XZ and ZZ (from memory)."""
    country = document_of(name)["track"]["country"]
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    left_to_users = {"AA", "ZZ", *(f"X{c}" for c in letters), *(f"Q{c}" for c in letters[12:])}
    assert country is None or country in left_to_users


@every_track
def test_the_timezone_is_known_and_fits_the_longitude(name: str) -> None:
    """IANA data base; its Etc zones have POSIX signs: Etc/GMT-6 is six hours ahead of UTC."""
    zone = document_of(name)["track"]["timezone"]
    if zone not in zoneinfo.available_timezones():
        pytest.skip(f"this machine's time zone data has no {zone}")
    hours_ahead = -float(zone.removeprefix("Etc/GMT"))
    longitude = track_of(name).centreline.longitude_deg[0]
    apart = (hours_ahead * 15 - longitude + 180) % 360 - 180
    assert abs(apart) <= 15


def test_the_circuits_lie_in_all_four_quarters_of_the_world() -> None:
    firsts = [lines_of(document_of(name))[0][0] for name in IDS]
    quarters = {(longitude > 0, latitude > 0) for longitude, latitude, *_ in firsts}
    assert len(quarters) == 4


# ---- shape


@every_track
def test_the_line_is_simple_unless_it_is_the_figure_of_eight(name: str) -> None:
    track = track_of(name)
    line = shapely.LineString(track.curve.position(track.curve.chainages(0.5)))
    assert line.is_simple == (name != FIGURE_OF_EIGHT)


@pytest.mark.parametrize("name", [name for name in CLOSED if name != FIGURE_OF_EIGHT])
def test_the_ring_turns_the_way_the_file_says(name: str) -> None:
    track = track_of(name)
    ring = shapely.LinearRing(np.column_stack(_unwrapped(track)))
    assert ring.is_ccw == (track.direction == "anticlockwise")
    assert ring.coords[0] == ring.coords[-1]


def test_a_figure_of_eight_and_a_hill_have_no_direction() -> None:
    assert track_of(FIGURE_OF_EIGHT).direction is None
    assert track_of(HILL).direction is None
    assert not track_of(HILL).closed


def _unwrapped(track: Track) -> tuple[np.ndarray, np.ndarray]:
    return track.centreline.longitude_deg, track.centreline.latitude_deg


@every_track
def test_the_length_is_that_of_geodesics_along_the_line(name: str) -> None:
    """Karney's geographiclib over points at most 1 m apart, to 1 in 10,000."""
    track = track_of(name)
    longitude, latitude, _ = _dense(track, 1.0)
    total = sum(_geodesics(longitude, latitude))
    assert total == pytest.approx(track.length_m, rel=1e-4)


def _dense(track: Track, spacing_m: float) -> tuple[list[float], list[float], np.ndarray]:
    chainage = np.append(track.curve.chainages(spacing_m), track.curve.length_m)
    longitude, latitude = track.plane.to_geographic(track.curve.position(chainage))
    if track.closed:
        longitude[-1], latitude[-1] = longitude[0], latitude[0]
    return longitude.tolist(), latitude.tolist(), chainage


def _geodesics(longitude: list[float], latitude: list[float]) -> list[float]:
    inverse = Geodesic.WGS84.Inverse
    return [
        inverse(latitude[i], longitude[i], latitude[i + 1], longitude[i + 1], Geodesic.DISTANCE)[
            "s12"
        ]
        for i in range(len(longitude) - 1)
    ]


@pytest.mark.parametrize("name", WITH_HEIGHTS)
def test_the_surface_length_is_along_the_slope_at_its_height(name: str) -> None:
    """Pythagoras over geodesics, which are longer by height over the earth's mean radius."""
    track = track_of(name)
    longitude, latitude, chainage = _dense(track, 1.0)
    height = track.centreline.height_m
    assert height is not None
    vertex = np.append(track.curve.vertex_chainage_m, track.curve.length_m)[: len(height)]
    height = np.interp(chainage, vertex, height)
    level = np.array(_geodesics(longitude, latitude)) * (1 + height[:-1] / 6_371_008.8)
    total = np.hypot(level, np.diff(height)).sum()
    assert total == pytest.approx(track.length_surface_m, rel=1e-4)


@every_track
def test_pieces_of_road_keep_14_m_apart_except_at_a_bridge(name: str) -> None:
    track = track_of(name)
    chainage = track.curve.chainages(2.0)
    position = track.curve.position(chainage)
    away = np.hypot(*(position[:, None] - position[None, :]).transpose(2, 0, 1))
    along = track.curve.separation(chainage[:, None], chainage[None, :])
    # Within a half circle the road is at most pi / 2 times as long as its chord.
    other = along > 0.5 * np.pi * away + 10.0
    for crossover in track.crossovers:
        over = track.curve.separation(chainage, crossover.over_m) < 60
        under = track.curve.separation(chainage, crossover.under_m) < 60
        other &= ~((over[:, None] & under[None, :]) | (under[:, None] & over[None, :]))
    assert away[other].min() > 14.0


@every_track
def test_the_road_has_no_kink_and_bends_as_tightly_as_its_kind(name: str) -> None:
    """Common practice, no source: kart hairpins from 7 m, bends of car circuits from 15 m."""
    track = track_of(name)
    radius = 1.0 / np.abs(track.curve.curvature(track.curve.chainages(0.5))).max()
    at_least, below = {"pipwick-kart-circuit": (7, 10), HILL: (8, 12)}.get(name, (15, 160))
    assert at_least < radius < below
    assert 4 <= len(track.corners) <= 20


@pytest.mark.parametrize("name", CLOSED)
def test_a_lap_closes_without_a_corner_where_the_line_begins(name: str) -> None:
    curve = track_of(name).curve
    before, after = curve.direction([curve.length_m - 2.0, 2.0])
    assert np.degrees(np.arccos(np.clip(before @ after, -1, 1))) < 0.5


def test_the_hill_rises_all_the_way() -> None:
    height = track_of(HILL).centreline.height_m
    assert height is not None
    assert np.all(np.diff(height) >= 0)
    assert height[-1] - height[0] == pytest.approx(192, abs=1)
    assert 2000 < track_of(HILL).length_m < 3000


def test_the_bridge_is_declared_where_the_line_crosses_itself_6_m_above() -> None:
    """The crossing is found by shapely on the stored vertices."""
    track = track_of(FIGURE_OF_EIGHT)
    (crossover,) = track.crossovers
    longitude, latitude = _unwrapped(track)
    vertex = track.plane.to_plane(longitude, latitude)
    segments = shapely.linestrings(np.stack([vertex[:-1], vertex[1:]], axis=1))
    first, second = shapely.STRtree(segments).query(segments, predicate="crosses")
    ((i, j),) = {(min(a, b), max(a, b)) for a, b in zip(first, second, strict=True)}
    point = shapely.get_coordinates(shapely.intersection(segments[i], segments[j]))[0]
    height = track.centreline.height_m
    assert height is not None
    over, under = (i, j) if height[i] > height[j] else (j, i)
    assert track.curve.position(crossover.over_m) == pytest.approx(point, abs=0.05)
    assert track.curve.position(crossover.under_m) == pytest.approx(point, abs=0.05)
    assert track.curve.vertex_chainage_m[over] <= crossover.over_m + 0.1
    assert crossover.over_m <= track.curve.vertex_chainage_m[over + 1] + 0.1
    assert height[over] - height[under] == pytest.approx(6.0, abs=0.1)


def test_the_two_layouts_share_finish_line_and_tarmac_to_5_mm() -> None:
    full, short = track_of("ruddlebeck-full"), track_of("ruddlebeck-short")
    assert full.finish.left == pytest.approx(short.finish.left, abs=2e-8)
    assert full.finish.right == pytest.approx(short.finish.right, abs=2e-8)
    chainage = short.curve.chainages(1.0)
    longitude, latitude = short.plane.to_geographic(short.curve.position(chainage))
    _, aside = full.curve.project(full.plane.to_plane(longitude, latitude))
    begins, ends = chainage < 225, chainage > 1110
    assert np.abs(aside[begins]).max() < 0.005
    assert np.abs(aside[ends]).max() < 0.005
    assert np.abs(aside[~(begins | ends)]).max() > 100


def test_the_two_directions_are_the_same_tarmac_and_the_same_gates_turned_round() -> None:
    one, other = (track_of(name) for name in ATOLL)
    assert {one.direction, other.direction} == {"clockwise", "anticlockwise"}
    a = one.plane.to_plane(*_unwrapped(one))
    b = one.plane.to_plane(*_unwrapped(other))
    assert a == pytest.approx(b[::-1], abs=0.002)
    there = [one.gate_ends(gate) for gate in (one.finish, *reversed(one.gates_of_kind("sector")))]
    back = [one.gate_ends(gate) for gate in (other.finish, *other.gates_of_kind("sector"))]
    for ends, turned in zip(there, back, strict=True):
        assert ends == pytest.approx(turned[::-1], abs=0.003)


# ---- gates and times


@every_track
def test_a_check_finds_nothing(name: str) -> None:
    track, findings = check_file(FOLDER / f"{name}.geojson")
    assert track is not None
    assert findings == []


@every_track
def test_the_gates_make_three_sectors_about_equal_in_time(name: str) -> None:
    simulation, _ = driven(name, 0.0)
    sectors = np.array(simulation.truth["laps"][0]["sectors_s"])
    assert len(sectors) == 3
    assert sectors.max() < 1.25 * sectors.min()


@pytest.mark.parametrize("name", CLOSED)
def test_the_finish_gate_is_on_a_straight_with_room_around(name: str) -> None:
    track = track_of(name)
    for corner in track.corners:
        assert min(track.curve.separation([corner.entry_m, corner.exit_m], 0.0)) > 40
    assert track.finish.width_m == pytest.approx(track.band_m + 8.0, abs=0.01)


@every_track
def test_exact_recordings_are_timed_to_2_ms(name: str) -> None:
    """10 Hz, no noise.  Measured: the worst lap or sector of all circuits errs by 0.3 ms."""
    simulation, report = driven(name, 0.0)
    assert _errors_s(simulation, report).max() < 0.002


@pytest.mark.parametrize("name", CLOSED)
def test_laps_recorded_by_a_usual_receiver_are_timed_to_20_ms(name: str) -> None:
    """10 Hz with Doppler and the usual noise (docs/methods.md); measured: 2 to 5 ms rms.

    Both ends of a lap are crossed at one gate, one way, so that the receiver's wander, which
    hardly changes in a lap, shifts them alike.
    """
    simulation, report = driven(name, 1.0)
    assert _errors_s(simulation, report)[:, 0].max() < 0.020


@every_track
def test_sectors_recorded_by_a_usual_receiver_are_timed_within_its_wander(name: str) -> None:
    """Four sigma of 1 m of wander at either gate, which are crossed in different directions.

    Measured: 6 to 82 ms rms; 1 m at the 15 m/s of a slow gate takes 67 ms.
    """
    simulation, report = driven(name, 1.0)
    errors = _errors_s(simulation, report)[:, 1:]
    times = {crossing.time_s: crossing.speed_mps for crossing in report.crossings}
    for lap, error in zip(report.counted, errors, strict=True):
        marks = [lap.start_s, *(lap.start_s + sector.split_s for sector in lap.sectors)]
        speed = np.array([times[min(times, key=lambda t, m=mark: abs(t - m))] for mark in marks])
        assert np.all(error < 4 * np.hypot(1 / speed[:-1], 1 / speed[1:]))


def _errors_s(simulation: Simulation, report: LapReport) -> np.ndarray:
    timed = [(lap.time_s, *(sector.time_s for sector in lap.sectors)) for lap in report.counted]
    truth = [(lap["time_s"], *lap["sectors_s"]) for lap in simulation.truth["laps"]]
    assert len(timed) == len(truth) == 2
    return np.abs(np.array(timed) - np.array(truth))


def test_a_kart_takes_about_50_s_round_the_kart_circuit() -> None:
    """Common practice, no source."""
    track = track_of("pipwick-kart-circuit")
    simulation, _ = driven(track.id, 0.0)
    assert 900 < track.length_m < 1100
    assert 47 < simulation.truth["laps"][0]["time_s"] < 53


def test_laps_driven_the_other_way_do_not_count() -> None:
    simulation, _ = driven(ATOLL[0], 0.0)
    assert time_laps(track_of(ATOLL[1]), simulation.recording).counted == ()


def test_moving_the_finish_astride_the_antimeridian_moves_nothing_else() -> None:
    track = track_of(ATOLL[0])
    moved, _, _ = with_gate_moved(track, "finish", Place(chainage_m=60.0))
    assert moved.length_m == pytest.approx(track.length_m, abs=0.01)
    assert np.ptp(moved.centreline.longitude_deg) < 0.1
    kept, before = moved.gates_of_kind("sector"), track.gates_of_kind("sector")
    assert [gate.left for gate in kept] == [gate.left for gate in before]


@every_track
def test_corners_found_again_are_the_same_corners(name: str) -> None:
    """The apex of an arc is in its middle, wherever rounding makes it look tightest."""
    track = track_of(name)
    again = with_corners(track)
    assert [c.id for c in again.corners] == [c.id for c in track.corners]
    apart = [abs(a.apex_m - b.apex_m) for a, b in zip(again.corners, track.corners, strict=True)]
    assert max(apart) < 3.0
    assert any(corner.name for corner in again.corners)


# ---- as a library


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        return open_library([FOLDER])


@every_track
def test_a_fix_at_the_finish_line_is_located_there(name: str, library: Library) -> None:
    assert library.warnings == ()
    gate = track_of(name).finish
    found = library.locate(0.5 * (gate.left[0] + gate.right[0]), gate.left[1])
    assert found.answer == "at"
    assert name in ([*found.tied] or [found.candidates[0].id])
