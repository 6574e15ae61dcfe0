"""Fields of drawn features read as members of a track, whatever other programs made of them."""

from __future__ import annotations

import ast
import json
import math
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any

from trackkit.errors import TrackFileError
from trackkit.recordings.drawn.features import DrawnFeature
from trackkit.recordings.drawn.gate_ends import ENDS

_TRUE, _FALSE = ("true", "yes", "t", "y", "1", "1.0"), ("false", "no", "f", "n", "0", "0.0")
_SHAPEFILE_NAME = 10
"""Letters of a field's name in a Shapefile (dBASE III; ESRI's technical description)."""
_SHAPEFILE_TEXT = 250
"""A text of so many bytes may be one that a Shapefile has cut off at 254."""

_OF_ALL = ("id", "name", "other", "role")
FACTS = (
    "layout",
    "line",
    "accuracy_m",
    "country",
    "timezone",
    "licence",
    "revised",
    "notes",
    "valid_from",
    "valid_until",
    "replaces",
)
"""What a track file says of a track besides its name, and people may change."""
_OF_CENTRELINE = (
    "track_id",
    "closed",
    "width_m",
    "credit",
    *FACTS,
    "width_profile",
    "accuracy_profile",
)
_OF_GATE = ("kind", "surveyed", "name_given", "chainage_m")
_OF_CORNER = ("number", "turn", "entry_m", "apex_m", "exit_m", "min_radius_m")
MEMBERS: Mapping[str, tuple[str, ...]] = {
    "centreline": (*_OF_ALL, *_OF_CENTRELINE),
    "gates": (*_OF_ALL, *_OF_GATE),
    "corners": (*_OF_ALL, *_OF_CORNER),
    "pit_lane": _OF_ALL,
}
"""What is read of a feature's fields, by its role."""
ALL_MEMBERS = tuple(dict.fromkeys((*(name for names in MEMBERS.values() for name in names), *ENDS)))
_DERIVED = {
    "centreline": ("length_m", "length_surface_m", "direction"),
    "gates": (
        "order",
        "width_m",
        "bearing_deg",
        "middle_longitude_deg",
        "middle_latitude_deg",
    ),
    "corners": (),
    "pit_lane": (),
}
"""What follows from the geometry, and is worked out anew."""
_OTHER_PROGRAMS = frozenset(
    {
        # Of tables and their indexes.
        *("fid", "ogc_fid", "gid", "objectid", "bbox"),
        *("shape_leng", "shape_length", "shape_area", "shape__length"),
        # Of KML.
        *("description", "timestamp", "begin", "end", "altitudemode", "tessellate", "extrude"),
        *("visibility", "draworder", "icon", "snippet", "styleurl", "stylehash"),
        # Of colours on a map.
        *("stroke", "stroke-width", "stroke-opacity", "fill", "fill-opacity", "marker-color"),
        # Of drawings.
        *("layer", "paperspace", "subclasses", "linetype", "entityhandle", "text"),
    }
)
"""Fields that GDAL and programs of maps add of themselves."""
_ALIASES = {"id": ("feature_id", "id")}


def members_of(
    feature: DrawnFeature, role: str, named: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Read the fields of a feature.

    Parameters
    ----------
    feature
        The feature.
    role
        Of `MEMBERS`.
    named
        Fields that a user has named, by member.

    Returns
    -------
    members, others
        Those that a track has, of the types that its file has; and what trackkit does not know,
        with JSON in texts read.  Fields without a value are left out of both.

    Raises
    ------
    TrackFileError
        When a value is not of the type that it must be.
    """
    left = {name: plain(value) for name, value in feature.fields.items()}
    members: dict[str, Any] = {}
    for member in MEMBERS[role]:
        name = _field_of(member, left, named)
        if name is None:
            continue
        value = left.pop(name)
        if value is not None:
            members[member] = _typed(member, value, feature)
    if feature.id is not None:
        members.setdefault("id", feature.id)
    for member in _DERIVED[role]:
        name = _field_of(member, left, {})
        if name is not None:
            del left[name]
    other = members.pop("other", None)
    others = dict(other) if isinstance(other, dict) else {}
    every_member = {name for names in MEMBERS.values() for name in names}
    for name, value in left.items():
        if value is None or name.casefold() in _OTHER_PROGRAMS or name in named.values():
            continue
        # One table of all features has a column for each member of any of them.
        if name in every_member or name == "feature_id":
            continue
        others.setdefault(name, read_json(value))
    return members, others


def _field_of(member: str, fields: Mapping[str, Any], named: Mapping[str, str]) -> str | None:
    """Find the field that holds a member: as named, by its name, or by its name cut short."""
    if member in named:
        return named[member] if named[member] in fields else None
    for alias in _ALIASES.get(member, (member,)):
        for name in fields:
            if name.casefold() == alias and fields[name] is not None:
                return name
        if len(alias) > _SHAPEFILE_NAME:
            for name in fields:
                if name.casefold() == alias[:_SHAPEFILE_NAME]:
                    return name
    return None


def plain(value: Any) -> Any:
    """Return a value as JSON has it; None for one that is not there."""
    if hasattr(value, "item"):
        value = value.item()
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, datetime):
        if (value.hour, value.minute, value.second) == (0, 0, 0):
            return value.date().isoformat()
        return value.isoformat(timespec="seconds").replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, str) and not value.strip():
        return None
    # pandas has values of its own for what is not there, which are not equal to themselves.
    return None if not isinstance(value, str | int | float | list | tuple | dict) else value


def read_json(value: Any) -> Any:
    """Read a list or an object that a table could hold only as text, JSON or Python's."""
    if isinstance(value, str) and value.lstrip()[:1] in ("[", "{"):
        for reader in (json.loads, ast.literal_eval, _array):
            try:
                return reader(value)
            except (ValueError, SyntaxError, TypeError, MemoryError, RecursionError):
                continue
    return value


def _array(text: str) -> list[float]:
    """Read an array as NumPy prints it, which pyogrio writes lists of numbers as: ``[1 2.5]``."""
    numbers = [float(word) for word in text.strip().removeprefix("[").removesuffix("]").split()]
    return [int(number) if number.is_integer() else number for number in numbers]


def _typed(member: str, value: Any, feature: DrawnFeature) -> Any:
    reader: Callable[[Any], Any] = _READERS.get(member, _text)
    try:
        return reader(value)
    except (ValueError, TypeError) as error:
        raise TrackFileError(
            f"its {member} is {str(value)[:60]!r}, which is no {_CALLED.get(reader, 'text')}",
            place=feature.place,
            remedy="write another value there, or none",
        ) from error


def _text(value: Any) -> str:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return str(value).strip()


def _number(value: Any) -> float:
    number = float(str(value).replace(",", ".")) if isinstance(value, str) else float(value)
    if not math.isfinite(number):
        raise ValueError
    return number


def _whole(value: Any) -> int:
    number = _number(value)
    if not number.is_integer():
        raise ValueError
    return int(number)


def _truth(value: Any) -> bool:
    text = str(value).strip().casefold()
    if text in _TRUE:
        return True
    if text in _FALSE:
        return False
    raise ValueError


def _rows(value: Any) -> tuple[tuple[Any, ...], ...]:
    rows = json.loads(value) if isinstance(value, str) else value
    return tuple(tuple(row) for row in rows)


def _object(value: Any) -> dict[str, Any]:
    read = json.loads(value) if isinstance(value, str) else value
    return dict(read)


_READERS: Mapping[str, Callable[[Any], Any]] = {
    **dict.fromkeys(("closed", "surveyed", "name_given"), _truth),
    **dict.fromkeys(
        ("width_m", "accuracy_m", "chainage_m", "entry_m", "apex_m", "exit_m", "min_radius_m"),
        _number,
    ),
    "number": _whole,
    "width_profile": _rows,
    "accuracy_profile": _rows,
    "other": _object,
}
_CALLED: Mapping[Callable[[Any], Any], str] = {
    _truth: "true or false",
    _number: "number",
    _whole: "whole number",
    _rows: "list of rows",
    _object: "object of JSON",
}


def same_value(value: Any, before: Any) -> bool:
    """Tell whether a value is what another program made of one that was there before."""
    if value == before:
        return True
    if isinstance(before, bool):
        return str(value).strip().casefold() in (_TRUE if before else _FALSE)
    if isinstance(before, int | float):
        try:
            return math.isclose(float(value), before, rel_tol=1e-9, abs_tol=1e-12)
        except (TypeError, ValueError):
            return False
    if isinstance(before, list | dict):
        return bool(read_json(value) == before)
    if isinstance(before, str) and isinstance(value, str):
        return _is_what_is_left(value, before) or value.strip() == before.strip()
    return str(value) == str(before)


def _is_what_is_left(value: str, before: str) -> bool:
    """Tell whether a Shapefile made this of a text: cut off, in letters that its encoding has."""
    if len(value) != len(before) and len(value.encode()) < _SHAPEFILE_TEXT:
        return False
    return len(value) <= len(before) and all(
        letter == old or (letter == "?" and not old.isascii())
        for letter, old in zip(value, before, strict=False)
    )


def restored(others: Mapping[str, Any], before: Mapping[str, Any]) -> dict[str, Any]:
    """Put properties that trackkit does not know back into the form that they had.

    Parameters
    ----------
    others
        As they came back.
    before
        As they were.

    Returns
    -------
    dict
        Those of before, with what has another value now, and what is new.
    """
    left = dict(others)
    result = {}
    for name, value in before.items():
        short = name[:_SHAPEFILE_NAME]
        now = left.pop(name) if name in left else left.pop(short, value)
        result[name] = value if same_value(now, value) else now
    return {**result, **left}
