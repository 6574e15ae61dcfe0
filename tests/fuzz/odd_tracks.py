"""Odd track files made by hand."""

from __future__ import annotations

import json
from random import Random
from typing import Any

from .documents import Document, document_of
from .fixes import SEA, ring
from .seeds import seeds_of


def track_document(geometry: dict[str, Any], story: str, **described: Any) -> Document:
    """Give a sample track another line and other members."""
    document = json.loads(seeds_of("track")[0].data)
    for feature in document["features"]:
        if feature["properties"]["role"] == "centreline":
            feature["geometry"].update(geometry)
    document["track"].update(described)
    return document_of("track", "track.geojson", json.dumps(document), story)


def odd_centreline(rng: Random) -> Document:
    """Give a track a line too short, too small, too dense or that turns on itself."""
    x, y = SEA
    lines: dict[str, list[Any]] = {
        "no position": [],
        "one position": [[x, y]],
        "two positions": [[x, y], [x + 0.01, y]],
        "three the same": [[x, y]] * 3,
        "back and forth": [[x, y], [x + 0.01, y]] * 40 + [[x, y]],
        "a millimetre": [[a, b] for a, b in ring(61, 1e-3)],
        "dense": [[x + n * 1e-9, y] for n in range(2000)] + [[x, y + 0.001], [x, y]],
        "heights": [[a, b, rng.choice((0, 1e9, -1e300))] for a, b in ring(61, 60.0)],
        "pole": [[a, min(b, 90.0)] for a, b in ring(61, 60.0, (0.0, 90.0))],
        "huge": [[a, b] for a, b in ring(61, 3e6)],
    }
    story = rng.choice(list(lines))
    return track_document(
        {"coordinates": lines[story]}, f"a line: {story}", closed=rng.random() < 0.8
    )


def odd_members(rng: Random) -> Document:
    """Give members of a track values of the wrong kind."""
    document = json.loads(seeds_of("track")[0].data)
    wrong: Any = rng.choice(
        ([], {}, [["centreline"]], {"a": 1}, None, True, 7, -1.5, "x" * 500, "", "\u202e", 10**400)
    )
    feature = rng.choice(document["features"])
    holders = [feature, feature["properties"], feature["geometry"], document["track"], document]
    holder = rng.choice(holders)
    holder[rng.choice(list(holder))] = wrong
    return document_of("track", "track.geojson", json.dumps(document), "a member of the wrong kind")


def many_gates(rng: Random) -> Document:
    """Give a track many gates, corners or other features, or many at one place."""
    count = rng.choice((60, 300, 2000))
    document = json.loads(seeds_of("track")[0].data)
    role = rng.choice(("gate", "corner", "gate", "pit-lane"))
    patterns = [
        f
        for f in document["features"]
        if f["properties"]["role"] == role and f["properties"].get("kind") != "finish"
    ]
    pattern = rng.choice(patterns or document["features"])
    for n in range(count):
        copied = json.loads(json.dumps(pattern))
        copied["id"] = f"more-{n}"
        if rng.random() < 0.5:
            _moved(copied["geometry"]["coordinates"], 1e-6 * n)
        document["features"].append(copied)
    return document_of("track", "track.geojson", json.dumps(document), f"{count} of {role}")


def _moved(coordinates: Any, by_deg: float) -> None:
    if coordinates and isinstance(coordinates[0], (int, float)):
        coordinates[0] += by_deg
    else:
        for part in coordinates:
            _moved(part, by_deg)
