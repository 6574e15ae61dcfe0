"""Coordinates in tests, samples and documents lie at the places of tests/shared/places.py."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest
from checkout import ROOT
from places import PLACES, POLES_FROM_DEG, PUBLISHED
from written_positions import Position, in_code, in_document, in_text

PYTHON = sorted(
    path
    for room in ("tests", "tracks", "docs")
    for path in (ROOT / room).rglob("*.py")
    # This file shows that a city would be found.
    if path.name != Path(__file__).name
)
TEXTS = sorted(
    [
        *ROOT.glob("*.md"),
        *(ROOT / "docs").glob("*.md"),
        *(ROOT / "tracks").glob("*.md"),
        *(ROOT / "trackkit").rglob("*.py"),
        ROOT / "trackkit" / "pages" / "web" / "test" / "line.test.js",
    ]
)
DOCUMENTS = sorted(
    [
        *(ROOT / "tracks").glob("*.geojson"),
        *(ROOT / "trackkit" / "pages" / "web" / "test" / "documents").glob("*.json"),
    ]
)


def is_on_earth(position: Position) -> bool:
    """Other pairs are there to be refused."""
    return abs(position[0]) <= 360.0 and abs(position[1]) <= 90.0


def is_allowed(position: Position) -> bool:
    longitude, latitude = position
    return (
        not is_on_earth(position)
        or abs(latitude) >= POLES_FROM_DEG
        or any(place.holds(longitude, latitude) for place in PLACES)
        or any(
            abs(longitude - east) < 1e-3 and abs(latitude - north) < 1e-3
            for east, north in PUBLISHED
        )
    )


def found_in(path: Path) -> list[tuple[int, Position]]:
    text = path.read_text("utf-8")
    if path in PYTHON:
        return list(in_code(ast.parse(text)))
    if path in DOCUMENTS:
        document = json.loads(text)
        features = document.get("features", ()) if isinstance(document, dict) else ()
        return [(0, p) for one in features for p in in_document(one["geometry"])]
    return list(in_text(text))


@pytest.mark.slow
@pytest.mark.parametrize("path", [*PYTHON, *TEXTS, *DOCUMENTS], ids=lambda path: path.name)
def test_every_position_is_at_a_listed_place(path: Path) -> None:
    elsewhere = [f"line {line}: {at}" for line, at in found_in(path) if not is_allowed(at)]
    assert elsewhere == []


@pytest.mark.slow
def test_every_listed_place_is_used() -> None:
    found = {at for path in (*PYTHON, *TEXTS, *DOCUMENTS) for _, at in found_in(path)}
    assert [p.name for p in PLACES if not any(p.holds(*at) for at in found)] == []


@pytest.mark.parametrize(
    "code",
    [
        "LocalPlane(2.35, 48.86)",
        "def f(at=(2.35, 48.86)): pass",
        "HOME = (2.35, 48.86)",
        "known_at((2.35 + n, 48.86))",
        "Inverse(48.86, 2.35, 1, 1)",
        "{'coordinates': [[2.35, 48.86]]}",
        "pytest.mark.parametrize('at', [(2.35, 48.86)])",
        "Circuit(longitude_deg=2.35, latitude_deg=48.86)",
        "Recording('x', time, np.full(9, 2.35), np.full(9, 48.86))",
        "{'longitude_deg': 2.35 + east, 'latitude_deg': np.array([48.86, 48.87])}",
        "def f(longitude_deg=2.35, latitude_deg=48.86): pass",
        "parse_place('48.86,2.35/48.86,2.35')",
        "Gate(left=(2.35, 48.86))",
        '\'<trkpt lat="48.86" lon="2.35">\'',
        "'$GPRMC,1,A,4851.6,N,00221.0,E'",
        "'time,lat,lon\\n0,48.86,2.35\\n'",
        "run('locate 48.86 2.35')",
    ],
)
def test_a_city_is_found_however_it_is_written(code: str) -> None:
    """Paris, which no test needs: 48.86° N, 2.35° E (from memory)."""
    found = [at for _, at in in_code(ast.parse(code)) if not is_allowed(at)]
    assert found
    assert all(at == pytest.approx((2.35, 48.86), abs=1e-6) for at in found)
