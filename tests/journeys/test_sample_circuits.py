"""The files of the sample circuits in tracks/, judged by other people's standards.

RFC 7946, the packaged schema by jsonschema, ISO 3166-1, the time zone data base.
"""

from __future__ import annotations

import json
import subprocess
import sys
import zoneinfo
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from checkout import ROOT
from sample_circuits import (
    ATOLL,
    FOLDER,
    HILL,
    IDS,
    document_of,
    every_track,
    lines_of,
    track_of,
)

from trackkit.library.folders import Library, open_library
from trackkit.track.file import schema

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


@pytest.mark.slow
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


@pytest.mark.slow
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
