"""GeoJSON features of a few positions."""

from __future__ import annotations

TIMES = ["2024-05-01T10:00:00Z", "2024-05-01T10:00:01.5Z", "2024-05-01T10:00:03Z"]
# RFC 7946, section 3.1.1: longitude, latitude, then optionally altitude.
POSITIONS = [[161.0, 48.0, 500.0], [161.001, 48.0, 501.0], [161.001, 48.001, 502.0]]


def feature(kind: str, coordinates, **properties):
    return {
        "type": "Feature",
        "geometry": {"type": kind, "coordinates": coordinates},
        "properties": properties,
    }
