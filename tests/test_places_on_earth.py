"""Coordinates in tests, samples and documents lie at the places of tests/shared/places.py."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from checkout import ROOT
from places import PLACES, POLES_FROM_DEG, PUBLISHED

Position = tuple[float, float]
"""Longitude and latitude, degrees."""

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
        *(ROOT / "trackkit" / "pages" / "web" / "test").glob("*.js"),
    ]
)
DOCUMENTS = sorted(
    [
        *(ROOT / "tracks").glob("*.geojson"),
        *(ROOT / "trackkit" / "pages" / "web" / "test" / "documents").glob("*.json"),
    ]
)
NAMES = re.compile(r"(?i)^(at|where|place|places|home|position|positions|left|right|ends|coordinates)$")
"""Arguments, members and constants whose pairs of numbers are positions."""
LONGITUDE_FIRST = {
    "LocalPlane", "oval", "geodesic_distance", "locate", "nearest_few", "known_at", "track_at",
    "shifted", "loop", "moved", "example", "distance_m", "ring",
}  # fmt: skip
LATITUDE_FIRST = {"Inverse", "Direct"}
NUMBER = r"[-+\N{MINUS SIGN}]?\d{1,3}(?:\.\d+)?"
FINE = r"-?\d{1,3}\.\d{4,}"
PAIRS_IN_TEXT = (
    # The pattern, and whether its longitude comes first.
    (re.compile(rf"(?<![\d.,\[(])({FINE}),\s?({FINE})"), False),
    (re.compile(rf"\[({FINE}), ?({FINE})"), True),
    (re.compile(rf"lat=\\?[\"']({NUMBER})\\?[\"'] lon=\\?[\"']({NUMBER})"), False),
    (re.compile(rf"longitude_deg=({NUMBER}), latitude_deg=({NUMBER})"), True),
    (re.compile(rf"\blon ?[=:] ?({NUMBER}), lat ?[=:] ?({NUMBER})"), True),
    (re.compile(rf"(?:locate|--near)[\"',]? [\"']?({NUMBER})[\"']?[ ,]+[\"']?({NUMBER})\b"), False),
    (re.compile(rf"^({NUMBER}) ?, ?({NUMBER})(?:/|$)"), False),
    (re.compile(rf"\[\[({NUMBER}), ({NUMBER})\]"), True),
)
NMEA = re.compile(r"(\d\d)(\d\d\.\d+),([NS]),(\d{3})(\d\d\.\d+),([EW])")
ROW_HEADER = re.compile(r"^(?:[^,]+,)*?lat,(?:[^,]+,)*?lon\b")


def number(node: ast.AST) -> float | None:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        value = number(node.operand)
        return None if value is None else -value
    if isinstance(node, ast.BinOp):
        # The place that others are counted from: 161.0 + n.
        return number(node.left)
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return float(node.value)
    return None


def pair(nodes: list[ast.expr]) -> Position | None:
    values = [number(node) for node in nodes]
    if len(values) not in (2, 3) or None in values:
        return None
    return (values[0], values[1])


def pairs_within(node: ast.AST) -> Iterator[Position]:
    """Every tuple or list of two numbers (or three, with a height) in an expression."""
    for inner in ast.walk(node):
        if isinstance(inner, (ast.Tuple, ast.List)) and (found := pair(inner.elts)):
            yield found


def name_of(call: ast.Call) -> str:
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def in_calls(call: ast.Call) -> Iterator[Position]:
    name = name_of(call)
    values = [number(one) for one in call.args]
    if name in LONGITUDE_FIRST | LATITUDE_FIRST:
        # Called with numbers, or with a pair.
        begin = next((n for n, value in enumerate(values) if value is not None), len(values))
        both = values[begin : begin + 2]
        if len(both) == 2 and None not in both:
            yield (both[0], both[1]) if name in LONGITUDE_FIRST else (both[1], both[0])
        yield from (found for one in call.args if (found := tuple_pair(one)))
    if name in ("on_earth", "furthest_from"):
        yield from (found for one in call.args[1:] if (found := tuple_pair(one)))
    given = {one.arg: number(one.value) for one in call.keywords}
    if None not in (both := (given.get("longitude_deg"), given.get("latitude_deg"))):
        yield both
    for keyword in call.keywords:
        if keyword.arg and NAMES.match(keyword.arg):
            yield from pairs_within(keyword.value)
    if name == "parametrize" and len(call.args) > 1 and isinstance(call.args[0], ast.Constant):
        if NAMES.match(str(call.args[0].value)):
            yield from pairs_within(call.args[1])


def tuple_pair(node: ast.AST) -> Position | None:
    return pair(node.elts) if isinstance(node, ast.Tuple) else None


def in_code(tree: ast.AST) -> Iterator[tuple[int, Position]]:
    for node in ast.walk(tree):
        found: Iterator[Position] | list[Position] = []
        if isinstance(node, ast.Call):
            found = in_calls(node)
        elif isinstance(node, ast.Assign):
            named = [one.id for one in node.targets if isinstance(one, ast.Name)]
            found = pairs_within(node.value) if any(map(NAMES.match, named)) else []
        elif isinstance(node, ast.Dict):
            found = [
                one
                for key, value in zip(node.keys, node.values, strict=True)
                if isinstance(key, ast.Constant) and NAMES.match(str(key.value))
                for one in pairs_within(value)
            ]
        elif isinstance(node, ast.arguments):
            given = [*node.posonlyargs, *node.args][::-1]
            defaults = {
                **{a.arg: d for a, d in zip(given, node.defaults[::-1], strict=False)},
                **{a.arg: d for a, d in zip(node.kwonlyargs, node.kw_defaults, strict=True) if d},
            }
            found = [one for a, d in defaults.items() if NAMES.match(a) for one in pairs_within(d)]
            both = [number(defaults.get(k, node)) for k in ("longitude_deg", "latitude_deg")]
            if None not in both:
                found.append((both[0], both[1]))
        elif isinstance(node, ast.Constant) and isinstance(node.value, (str, bytes)):
            text = node.value if isinstance(node.value, str) else node.value.decode("latin-1")
            found = [position for _, position in in_text(text)]
        yield from ((getattr(node, "lineno", 0), position) for position in found)


def in_text(text: str) -> Iterator[tuple[int, Position]]:
    columns: tuple[int, int] | None = None
    for line_number, line in enumerate(text.splitlines(), start=1):
        for pattern, longitude_first in PAIRS_IN_TEXT:
            for one, other in pattern.findall(line):
                a, b = (float(value.replace("\N{MINUS SIGN}", "-")) for value in (one, other))
                yield line_number, (a, b) if longitude_first else (b, a)
        for north, minute, hemisphere, east, more, side in NMEA.findall(line):
            latitude = (int(north) + float(minute) / 60) * (1 if hemisphere == "N" else -1)
            longitude = (int(east) + float(more) / 60) * (1 if side == "E" else -1)
            yield line_number, (longitude, latitude)
        cells = line.split(",")
        if ROW_HEADER.match(line):
            columns = (cells.index("lon"), cells.index("lat"))
        elif columns and len(cells) > max(columns):
            try:
                yield line_number, (float(cells[columns[0]]), float(cells[columns[1]]))
            except ValueError:
                continue


def in_document(value: object) -> Iterator[Position]:
    """Every pair of numbers in a GeoJSON geometry, at whatever depth."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in ("bbox", "crossovers", "width_profile"):
                yield from in_document(inner)
    if isinstance(value, list):
        if len(value) in (2, 3) and all(type(one) in (int, float) for one in value):
            yield (value[0], value[1])
        else:
            for inner in value:
                yield from in_document(inner)


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


@pytest.mark.parametrize("path", [*PYTHON, *TEXTS, *DOCUMENTS], ids=lambda path: path.name)
def test_every_position_is_at_a_listed_place(path: Path) -> None:
    elsewhere = [f"line {line}: {at}" for line, at in found_in(path) if not is_allowed(at)]
    assert elsewhere == []


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
        "def f(longitude_deg=2.35, latitude_deg=48.86): pass",
        "'48.86,2.35'",
        "'<trkpt lat=\"48.86\" lon=\"2.35\">'",
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
