"""An invented oval, a drive on it, and what a page says of them."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
from lxml import html as lxml_html

from trackkit.checks.findings import Finding
from trackkit.geometry.geodesy import LocalPlane
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.features import Centreline, Corner, Gate
from trackkit.track.model import Track


def oval(longitude_deg: float = -21.5, latitude_deg: float = 52.0, **changes: object) -> Track:
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
    Finding("error", "gate-square", "gate-k3f9", None, None, "Not square", Remedy("Turn it")),
    Finding("note", "band-assumed", None, None, None, "No width known", Remedy("Measure it")),
]


def text_of(page: str) -> str:
    tree = lxml_html.fromstring(page)
    for element in tree.xpath("//script|//style"):
        element.drop_tree()
    return " ".join(" ".join(tree.itertext()).split())


def document_of(page: str, name: str) -> dict:
    """One of the JSON documents that the page's own script reads."""
    (text,) = lxml_html.fromstring(page).xpath(f"//script[@id='{name}']/text()")
    return json.loads(text)
