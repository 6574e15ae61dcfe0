"""An invented world of circuits, clustered as real ones are; every one of them is made up."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

EARTH_M = 6_371_008.8
CLUSTERS = 220
"""Regions where people race; two thirds of the circuits are in them, the others anywhere."""


def places(count: int, generator: np.random.Generator) -> np.ndarray:
    """Longitudes and latitudes of circuits, degrees, shape (count, 2)."""
    rise = np.arcsin(generator.uniform(-0.8, 0.95, CLUSTERS))
    middle = np.stack([generator.uniform(-180, 180, CLUSTERS), np.degrees(rise)], axis=1)
    weight = generator.pareto(1.1, CLUSTERS) + 0.1
    which = generator.choice(CLUSTERS, count, p=weight / weight.sum())
    spread_m = generator.choice([20e3, 80e3, 250e3], count, p=[0.3, 0.4, 0.3])
    away = generator.normal(size=(count, 2)) * spread_m[:, None]
    latitude = middle[which, 1] + np.degrees(away[:, 1] / EARTH_M)
    latitude = np.clip(latitude, -89.0, 89.0)
    longitude = middle[which, 0] + np.degrees(away[:, 0] / EARTH_M / np.cos(np.radians(latitude)))
    anywhere = generator.random(count) < 1 / 3
    longitude[anywhere] = generator.uniform(-180, 180, int(anywhere.sum()))
    latitude[anywhere] = np.degrees(np.arcsin(generator.uniform(-0.94, 0.99, int(anywhere.sum()))))
    return np.stack([(longitude + 180) % 360 - 180, latitude], axis=1)


def outlines(
    place: np.ndarray, generator: np.random.Generator, vertices: int = 100
) -> tuple[np.ndarray, np.ndarray]:
    """Closed lines around places: longitudes and latitudes, shape (count, vertices), degrees.

    Lengths from 0.7 to 7 km, one in fifty up to 25 km; one in eight is another layout of the one
    before: it shares the first half of its line and turns off then.
    """
    count = len(place)
    turn = np.linspace(0, 2 * np.pi, vertices)
    radius = np.ones((count, vertices))
    for order in range(2, 8):
        size = generator.normal(size=count) * 0.35 / order
        phase = generator.uniform(0, 2 * np.pi, count)
        radius += size[:, None] * (
            np.cos(order * turn + phase[:, None]) - np.cos(phase)[:, None] * 0
        )
    radius = np.clip(radius, 0.15, None)
    length = np.exp(generator.uniform(np.log(700), np.log(7000), count))
    length = np.where(generator.random(count) < 0.02, length * 3.5, length)
    layout = np.flatnonzero(generator.random(count) < 0.125)
    for one in layout[layout > 0].tolist():
        place[one], length[one] = place[one - 1], length[one - 1]
        radius[one] = radius[one - 1]
        bulge = np.clip((turn - np.pi) / np.pi, 0, None) * np.clip(
            (2 * np.pi - turn) / np.pi, 0, None
        )
        radius[one] *= 1 - generator.uniform(0.6, 2.4) * bulge
    base = np.hypot(
        np.diff(radius * np.cos(turn), axis=1), np.diff(radius * np.sin(turn), axis=1)
    ).sum(axis=1)
    radius *= (length / base)[:, None]
    east, north = radius * np.cos(turn), radius * np.sin(turn) * 0.6
    latitude = place[:, 1, None] + np.degrees(north / EARTH_M)
    longitude = place[:, 0, None] + np.degrees(east / EARTH_M / np.cos(np.radians(latitude)))
    longitude[:, -1], latitude[:, -1] = longitude[:, 0], latitude[:, 0]
    return longitude, latitude


def world(count: int, seed: int = 6, vertices: int = 100) -> tuple[np.ndarray, np.ndarray]:
    """Make a world: longitudes and latitudes of its circuits, shape (count, vertices), degrees."""
    generator = np.random.default_rng(seed)
    return outlines(places(count, generator), generator, vertices)


def write_library(folder: Path, longitude: np.ndarray, latitude: np.ndarray) -> None:
    """Write every circuit as a track file; the smallest that `trackkit check` can read."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, (x, y) in enumerate(zip(longitude, latitude, strict=True)):
        x = (x + 180) % 360 - 180
        coordinates = np.round(np.stack([x, y], axis=1), 8).tolist()
        area = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
        step = np.hypot(np.diff(x) * np.cos(np.radians(y[1:])), np.diff(y))
        document = {
            "type": "FeatureCollection",
            "track": {
                "format": "trackkit-track",
                "version": "1.0",
                "id": f"invented-{number:06d}",
                "name": f"Invented {number}",
                "layout": "",
                "closed": True,
                "direction": "anticlockwise" if area > 0 else "clockwise",
                "length_m": round(float(np.radians(step.sum()) * EARTH_M), 2),
                "country": None,
                "notes": "Invented for a benchmark; there is no such circuit.",
            },
            "features": [
                {
                    "type": "Feature",
                    "id": "centreline",
                    "geometry": {"type": "LineString", "coordinates": coordinates},
                    "properties": {"role": "centreline", "width_m": 12.0},
                }
            ],
        }
        (folder / f"invented-{number:06d}.geojson").write_text(json.dumps(document), "utf-8")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=6)
    given = parser.parse_args()
    write_library(given.folder, *world(given.count, given.seed))
