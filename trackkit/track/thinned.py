"""A track document without most of its positions, which a schema is slow to look at one by one."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain
from typing import Any

_KEPT = 8
"""Positions of a line that stay: more than any count that the schema asks for."""


def thinned(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """Leave out most positions of lines whose positions are all plainly right.

    JSON Schema's reference implementation in Python takes some 0.1 ms a position, nine tenths of
    the time of reading a track file.  What the schema asks of a position (an array of two or
    three numbers, longitude and latitude within the globe; RFC 7946 section 3.1.1) is asked here
    of all at once.  A line with anything else in it stays whole, so that the schema says what is
    wrong: the thinned document breaks the schema just where the document does, and its
    places keep their numbers.

    Parameters
    ----------
    document
        A decoded track file, valid or not.

    Returns
    -------
    Mapping
        The document, or a copy whose long lines are shorter.
    """
    features = document.get("features")
    if not isinstance(features, list):
        return document
    return {**document, "features": [_thinned_feature(feature) for feature in features]}


def _thinned_feature(feature: Any) -> Any:
    geometry = feature.get("geometry") if isinstance(feature, dict) else None
    if not isinstance(geometry, dict):
        return feature
    coordinates = geometry.get("coordinates")
    if not isinstance(coordinates, list):
        return feature
    if geometry.get("type") == "LineString":
        shorter = _thinned_line(coordinates)
    elif geometry.get("type") == "MultiLineString":
        shorter = [_thinned_line(line) for line in coordinates]
    else:
        return feature
    return {**feature, "geometry": {**geometry, "coordinates": shorter}}


def _thinned_line(line: Any) -> Any:
    return line[:_KEPT] if isinstance(line, list) and _plainly_right(line) else line


def _plainly_right(line: list[Any]) -> bool:
    if set(map(type, line)) != {list} or not set(map(len, line)) <= {2, 3}:
        return False
    # bool counts as an int for Python, and not as a number for JSON.
    if not set(map(type, chain.from_iterable(line))) <= {int, float}:
        return False
    longitudes: list[float] = [p[0] for p in line]
    latitudes: list[float] = [p[1] for p in line]
    return (
        min(longitudes) >= -180.0
        and max(longitudes) <= 180.0
        and min(latitudes) >= -90.0
        and max(latitudes) <= 90.0
    )
