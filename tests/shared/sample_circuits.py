"""The invented sample circuits in tracks/, as files, as tracks and as practice drives."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
from checkout import ROOT

from trackkit.simulation.simulate import Simulation, simulate_drive
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.file import read_track
from trackkit.track.model import Track

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


def unwrapped(track: Track) -> tuple[np.ndarray, np.ndarray]:
    return track.centreline.longitude_deg, track.centreline.latitude_deg
