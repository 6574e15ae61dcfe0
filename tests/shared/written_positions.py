"""Positions on the Earth that stand in code and texts as numbers."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

Position = tuple[float, float]
"""Longitude and latitude, degrees."""
NAMES = re.compile(r"at|place|places|coordinates")
CONSTANTS = re.compile(r"HOME|PLACES|POSITIONS|ENDS")
"""Arguments and constants whose pairs of numbers are positions, and not places on a plane."""
MEMBERS = re.compile(r"at|coordinates|position|left|right|ends")
"""Members of documents, and of what these make, for which that holds too."""
MAKERS = ("Place", "Gate", "Corner", "Finding")
LONGITUDE_FIRST = (
    *("LocalPlane", "oval", "geodesic_distance", "locate", "nearest_few", "distance_m"),
    "distance_to_polyline",
)
LATITUDE_FIRST = ("Inverse", "Direct")
COLUMNS_AT = {"Centreline": 0, "build_from_line": 0, "PitLane": 1, "RawFixes": 1, "Recording": 2}
"""Which argument is the column of longitudes; the next is that of latitudes."""
WITH_A_PAIR = ("known_at", "track_at", "shifted", "loop", "moved", "example", "locate")
NUMBER = r"[-+\N{MINUS SIGN}]?\d{1,3}(?:\.\d+)?"
FINE = r"-?\d{1,3}\.\d{4,}"
PAIRS_IN_TEXT = (
    # The pattern, and whether its longitude comes first.
    (re.compile(rf"(?<![-\d.,\[(])({FINE}),\s?({FINE})"), False),
    (re.compile(rf"\[({FINE}), ?({FINE})"), True),
    (re.compile(rf"lat=\\?[\"']({NUMBER})\\?[\"'] lon=\\?[\"']({NUMBER})"), False),
    (re.compile(rf"longitude_deg=({NUMBER}), latitude_deg=({NUMBER})"), True),
    (re.compile(rf"\blon ?[=:] ?({NUMBER}), lat ?[=:] ?({NUMBER})"), True),
    (re.compile(rf"(?:locate|--near)[\"',]? [\"']?({NUMBER})[\"']?[ ,]+[\"']?({NUMBER})\b"), False),
    (re.compile(rf"\[\[({NUMBER}), ({NUMBER})\]"), True),
)
WRITTEN_PLACE = re.compile(rf"({NUMBER}) ?, ?({NUMBER})")
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


def first_of(node: ast.AST | None) -> float | None:
    """The first number of a column: of a list, or of the array that NumPy makes of one."""
    if isinstance(node, ast.List):
        return first_of(node.elts[0]) if node.elts else None
    if isinstance(node, ast.BinOp):
        return first_of(node.left)
    if isinstance(node, ast.Call) and node.args:
        argument = {"array": 0, "round": 0, "linspace": 0, "full": 1}.get(name_of(node))
        if name_of(node) == "zeros":
            return 0.0
        return None if argument is None else first_of(node.args[argument])
    return None if node is None else number(node)


def pair(nodes: list[ast.expr]) -> Position | None:
    values = [number(node) for node in nodes]
    if len(values) not in (2, 3) or None in values:
        return None
    return (values[0], values[1])


def pairs_within(node: ast.AST) -> Iterator[Position]:
    """Every tuple or list of two numbers (or three, with a height) in an expression."""
    if isinstance(node, (ast.Tuple, ast.List)) and (found := pair(node.elts)):
        yield found
    for inner in ast.iter_child_nodes(node):
        # What stands in an index is none.
        if not isinstance(node, ast.Subscript):
            yield from pairs_within(inner)


def name_of(call: ast.Call) -> str:
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def in_arguments(call: ast.Call) -> Iterator[Position]:
    name = name_of(call)
    values = [number(one) for one in call.args]
    if name in (*LONGITUDE_FIRST, *LATITUDE_FIRST):
        begin = next((n for n, value in enumerate(values) if value is not None), len(values))
        both = values[begin : begin + 2] if name in LONGITUDE_FIRST else values[:2]
        if len(both) == 2 and None not in both:
            yield (both[0], both[1]) if name in LONGITUDE_FIRST else (both[1], both[0])
    if name in WITH_A_PAIR:
        yield from (found for one in call.args if (found := tuple_pair(one)))
    if name == "parse_place" and call.args and isinstance(call.args[0], ast.Constant):
        for one, other in WRITTEN_PLACE.findall(str(call.args[0].value)):
            yield float(other), float(one)
    if name in ("on_earth", "furthest_from"):
        yield from (found for one in call.args[1:] if (found := tuple_pair(one)))
    if (column := COLUMNS_AT.get(name)) is not None and len(call.args) > column + 1:
        both = first_of(call.args[column]), first_of(call.args[column + 1])
        if None not in both:
            yield both
    if name == "parametrize" and NAMES.fullmatch(str(getattr(call.args[0], "value", ""))):
        yield from pairs_within(call.args[1])


def in_keywords(call: ast.Call) -> Iterator[Position]:
    given = {one.arg: first_of(one.value) for one in call.keywords}
    if None not in (both := (given.get("longitude_deg"), given.get("latitude_deg"))):
        yield both
    for keyword in call.keywords:
        names = MEMBERS if name_of(call) in MAKERS else NAMES
        if keyword.arg and names.fullmatch(keyword.arg):
            yield from pairs_within(keyword.value)


def tuple_pair(node: ast.AST) -> Position | None:
    return pair(node.elts) if isinstance(node, ast.Tuple) else None


def in_code(tree: ast.AST) -> Iterator[tuple[int, Position]]:
    for node in ast.walk(tree):
        found: Iterator[Position] | list[Position] = []
        if isinstance(node, ast.Call):
            found = [*in_arguments(node), *in_keywords(node)]
        elif isinstance(node, ast.Assign):
            named = [one.id for one in node.targets if isinstance(one, ast.Name)]
            found = pairs_within(node.value) if any(map(CONSTANTS.fullmatch, named)) else []
        elif isinstance(node, ast.Dict):
            columns = {
                key.value: first_of(value)
                for key, value in zip(node.keys, node.values, strict=True)
                if isinstance(key, ast.Constant)
            }
            both = columns.get("longitude_deg"), columns.get("latitude_deg")
            found = [both] if None not in both else []
            found += [
                one
                for key, value in zip(node.keys, node.values, strict=True)
                if isinstance(key, ast.Constant) and MEMBERS.fullmatch(str(key.value))
                for one in pairs_within(value)
            ]
        elif isinstance(node, ast.arguments):
            given = [*node.posonlyargs, *node.args][::-1]
            defaults = {
                **{a.arg: d for a, d in zip(given, node.defaults[::-1], strict=False)},
                **{a.arg: d for a, d in zip(node.kwonlyargs, node.kw_defaults, strict=True) if d},
            }
            found = [
                one for a, d in defaults.items() if NAMES.fullmatch(a) for one in pairs_within(d)
            ]
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
