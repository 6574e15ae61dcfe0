"""Valid files to begin with, made by trackkit's own simulation over its sample circuits."""

from __future__ import annotations

import gzip
import io
import json
import warnings
import zipfile
from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from fit_files import fit_file, record
from ubx_messages import BEGIN, older_epoch, pvt

from trackkit.arrays import Floats
from trackkit.export.export import EXPORT_FORMATS, export_track
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import encoded
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import read_track
from trackkit.track.model import Track

from .documents import Document

TRACKS = Path(__file__).parents[2] / "tracks"
HOME = "pipwick-kart-circuit"
"""The circuit most recordings are of; short, so that a lap has few fixes."""
_RECORDED = (
    (HOME, 1.0, 2, True),
    (HOME, 2.0, 1, True),
    (HOME, 5.0, 1, False),
    ("gullhatch-oval", 1.0, 1, False),
    ("orrinback-hill", 1.0, 2, True),
    ("saltpenny-atoll-clockwise", 1.0, 1, True),
)
"""Circuit, fixes a second, laps, whether the receiver tells speed and course."""
_SUFFIXES = (".csv", ".nmea", ".gpx")
BINARY = (".fit", ".ubx", ".parquet", ".gpkg", ".fgb", ".zip", ".kmz")


@cache
def track(name: str) -> Track:
    """Read a sample track."""
    return read_track(TRACKS / f"{name}.geojson")


@cache
def seeds() -> tuple[Document, ...]:
    """Make every valid file, some eighty."""
    return (*_recordings(), *_lines(), *_drawings(), *_tracks(), *_official())


@cache
def seeds_of(kind: str) -> tuple[Document, ...]:
    """Make the valid files of one kind."""
    return tuple(seed for seed in seeds() if seed.kind == kind)


def home_recording() -> Document:
    """Return the recording that fills in where a command needs a valid one."""
    return seeds_of("recording")[0]


def _recordings() -> list[Document]:
    made = []
    for circuit, rate_hz, laps, doppler in _RECORDED:
        driven = simulate_drive(track(circuit), laps=laps, rate_hz=rate_hz, seed=7, doppler=doppler)
        recording = driven.recording
        story = f"{laps} laps of {circuit} at {rate_hz:g} Hz"
        for suffix in _SUFFIXES:
            name = f"drive{suffix}"
            data = encoded(recording, name)
            made.append(Document("recording", name, data, f"{story} as {suffix[1:]}"))
        for name, text in (
            ("points.geojson", _points(recording)),
            ("timed.geojson", _timed_line(recording)),
        ):
            made.append(Document("recording", name, text.encode(), f"{story} as {name}"))
    first = made[0]
    packed = gzip.compress(first.data, mtime=0)
    made.append(replace(first, name="drive.csv.gz", data=packed, story=f"{first.story}, packed"))
    driven = simulate_drive(track(HOME), laps=1, rate_hz=2.0, seed=8, start=None)
    counted = encoded(driven.recording, "counted.csv")
    made.append(Document("recording", "counted.csv", counted, "times that only count seconds"))
    made += _of_devices(driven.recording)
    made += [
        _short(replace(recording), fixes) for recording in made[:5] for fixes in (6, 12, 20, 40)
    ]
    return made


def _velocity(recording: Recording) -> tuple[Floats, Floats]:
    """Work out the speeds east and north of a drive from its positions, metres a second."""
    radius_m = 6_371_000.0
    longitude, latitude = np.radians(recording.longitude_deg), np.radians(recording.latitude_deg)
    east = radius_m * np.cos(latitude) * np.gradient(longitude, recording.time_s)
    return east, radius_m * np.gradient(latitude, recording.time_s)


def _of_devices(recording: Recording) -> list[Document]:
    """Write a drive as watches, phones, receivers and geographic systems do."""
    from geopandas import GeoDataFrame, points_from_xy

    seconds, longitude, latitude = (
        column.tolist()
        for column in (recording.time_s, recording.longitude_deg, recording.latitude_deg)
    )
    east_mps, north_mps = _velocity(recording)
    moments = [BEGIN + timedelta(seconds=second) for second in seconds]
    rows = list(zip(moments, longitude, latitude, strict=True))
    stamps = [moment.isoformat().replace("+00:00", "Z") for moment in moments]
    whens = "\n".join(f"<when>{stamp}</when>" for stamp in stamps)
    coords = "\n".join(f"<gx:coord>{x:.8f} {y:.8f} 5</gx:coord>" for _, x, y in rows)
    points = "\n".join(
        f"<Trackpoint><Time>{stamp}</Time><Position><LatitudeDegrees>{y:.8f}</LatitudeDegrees>"
        f"<LongitudeDegrees>{x:.8f}</LongitudeDegrees></Position></Trackpoint>"
        for stamp, x, y in zip(stamps, longitude, latitude, strict=True)
    )
    solution = "\n".join(
        f"{moment:%Y/%m/%d %H:%M:%S.%f} {y:.9f} {x:.9f} 5.0 1 8 0.003 0.004 0.008"
        for moment, x, y in rows
    )
    table = GeoDataFrame(
        {"time": stamps, "speed_mps": np.hypot(east_mps, north_mps)},
        geometry=points_from_xy(longitude, latitude),
        crs="EPSG:4326",
    )
    packed, parquet = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("drive.csv"), encoded(recording, "drive.csv"))
    table.to_parquet(parquet)
    files = {
        "drive.kml": _KML_TRACK.format(whens=whens, coords=coords).encode(),
        "drive.tcx": _TCX.format(points=points).encode(),
        "drive.pos": f"{_SOLUTION}{solution}\n".encode(),
        "drive.fit": fit_file([record(m.timestamp(), x, y) for m, x, y in rows]),
        "drive.ubx": b"".join(
            pvt(round(10 * second), lon=x, lat=y, velE=round(1e3 * east), velN=round(1e3 * north))
            for second, x, y, east, north in zip(
                seconds, longitude, latitude, east_mps, north_mps, strict=True
            )
        ),
        "older.ubx": b"".join(older_epoch(number) for number in range(40)),
        "drive.zip": packed.getvalue(),
        "drive.parquet": parquet.getvalue(),
    }
    with TemporaryDirectory() as folder:
        for name, driver in (("drive.gpkg", "GPKG"), ("drive.fgb", "FlatGeobuf")):
            path = Path(folder) / name
            table.to_file(path, driver=driver, engine="pyogrio")
            files[name] = path.read_bytes()
    return [Document("recording", name, data, f"a drive as {name}") for name, data in files.items()]


_KML_TRACK = """\
<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2">
<Placemark><gx:Track>
{whens}
{coords}
</gx:Track></Placemark></kml>
"""
_TCX = """\
<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2">
<Activities><Activity><Lap><Track>
{points}
</Track></Lap></Activity></Activities></TrainingCenterDatabase>
"""
_SOLUTION = "%  UTC  latitude(deg) longitude(deg) height(m) Q ns sdn(m) sde(m) sdu(m)\n"


def _short(document: Document, fixes: int) -> Document:
    """Keep the first few fixes, so that rules about small numbers meet small numbers."""
    if document.name.endswith(".geojson"):
        whole = json.loads(document.data)
        if len(whole["features"]) > 1:
            whole["features"] = whole["features"][:fixes]
        else:
            line = whole["features"][0]
            line["geometry"]["coordinates"] = line["geometry"]["coordinates"][:fixes]
            line["properties"]["coordTimes"] = line["properties"]["coordTimes"][:fixes]
        data = json.dumps(whole).encode()
    elif document.name.endswith(".gpx"):
        head, *points = document.data.split(b"<trkpt")
        data = b"<trkpt".join([head, *points[:fixes]]) + b"</trkseg></trk></gpx>"
    else:
        lines = document.data.splitlines(keepends=True)
        data = b"".join(lines[: fixes * 2 if document.name.endswith(".nmea") else fixes + 1])
    return document.changed(data, f"its first {fixes} fixes")


def _instants(recording: Recording) -> list[str]:
    moments = [recording.time_of_day(second) for second in recording.time_s.tolist()]
    return [f"{moment:%Y-%m-%dT%H:%M:%S.%f}Z" for moment in moments if moment is not None]


def _points(recording: Recording) -> str:
    """Write fixes as GeoJSON points (RFC 7946) with a time each, one a line."""
    rows = zip(
        recording.longitude_deg.tolist(),
        recording.latitude_deg.tolist(),
        _instants(recording),
        strict=True,
    )
    features = [
        {
            "type": "Feature",
            "properties": {"time": instant, "hdop": 0.9},
            "geometry": {"type": "Point", "coordinates": [round(lon, 8), round(lat, 8)]},
        }
        for lon, lat, instant in rows
    ]
    text = ",\n".join(json.dumps(feature) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{text}\n]}}\n'


def _timed_line(recording: Recording) -> str:
    """Write fixes as one GeoJSON line with `coordTimes`."""
    positions = np.round(
        np.stack([recording.longitude_deg, recording.latitude_deg], axis=-1), 8
    ).tolist()
    feature = {
        "type": "Feature",
        "properties": {"coordTimes": _instants(recording)},
        "geometry": {"type": "LineString", "coordinates": positions},
    }
    return json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=0)


def _lines() -> list[Document]:
    made = []
    for circuit in (HOME, "orrinback-hill", "saltpenny-atoll-clockwise"):
        centreline = track(circuit).centreline
        positions = np.stack([centreline.longitude_deg, centreline.latitude_deg], axis=-1)
        rows = [f"{x:.8f},{y:.8f}" for x, y in positions.tolist()]
        story = f"the line of {circuit}"
        feature = {
            "type": "Feature",
            "properties": {"name": circuit},
            "geometry": {"type": "LineString", "coordinates": positions.tolist()},
        }
        points = "\n".join(f'<rtept lat="{y:.8f}" lon="{x:.8f}"/>' for x, y in positions.tolist())
        for name, text in (
            ("line.geojson", json.dumps(feature, indent=0)),
            ("line.kml", _KML.format(name=circuit, coordinates="\n".join(rows))),
            ("line.gpx", f'<gpx version="1.1" xmlns="{_GPX_NS}"><rte>\n{points}\n</rte></gpx>'),
        ):
            made.append(Document("line", name, text.encode(), f"{story} as {name}"))
    return made


_GPX_NS = "http://www.topografix.com/GPX/1/1"
_KML = """\
<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark>
<name>{name}</name>
<LineString><coordinates>
{coordinates}
</coordinates></LineString>
</Placemark></Document></kml>
"""


def _drawings() -> list[Document]:
    """Write tracks in every format that ``import`` reads, as trackkit and programs of maps do."""
    made = []
    with TemporaryDirectory() as name:
        folder = Path(name)
        for circuit in (HOME, "saltpenny-atoll-clockwise"):
            for fmt in EXPORT_FORMATS:
                path = folder / f"drawing.{fmt}"
                export_track(track(circuit), path, fmt, force=True)
                made.append(_drawing(path.name, path.read_bytes(), circuit))
            made += _of_maps(folder, circuit)
    return made


def _of_maps(folder: Path, circuit: str) -> list[Document]:
    """Write a track once more in what trackkit itself does not write."""
    import geopandas
    import pandas as pd

    layers = {
        layer: geopandas.read_file(folder / "drawing.gpkg", layer=layer)
        for layer in ("centreline", "gates")
    }
    every = pd.concat(layers.values(), ignore_index=True)
    parquet, shapes, keyhole = io.BytesIO(), io.BytesIO(), io.BytesIO()
    every.to_parquet(parquet)
    every.to_file(folder / "drawing.fgb", driver="FlatGeobuf", engine="pyogrio")
    with warnings.catch_warnings(), zipfile.ZipFile(shapes, "w") as archive:
        # Names of columns are cut to ten letters.
        warnings.simplefilter("ignore")
        for layer, frame in layers.items():
            frame.to_file(folder / f"{layer}.shp", engine="pyogrio")
            for path in sorted(folder.glob(f"{layer}.*")):
                archive.writestr(zipfile.ZipInfo(path.name), path.read_bytes())
    with zipfile.ZipFile(keyhole, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("doc.kml"), (folder / "drawing.kml").read_bytes())
    files = {
        "drawing.parquet": parquet.getvalue(),
        "drawing.fgb": (folder / "drawing.fgb").read_bytes(),
        "shapes.zip": shapes.getvalue(),
        "drawing.kmz": keyhole.getvalue(),
    }
    return [_drawing(name, data, circuit) for name, data in files.items()]


def _drawing(name: str, data: bytes, circuit: str) -> Document:
    return Document("drawing", name, data, f"{circuit} as {name}")


def _tracks() -> list[Document]:
    return [
        Document("track", "track.geojson", path.read_bytes(), path.stem)
        for path in sorted(TRACKS.glob("*.geojson"))
    ]


def _official() -> list[Document]:
    truth: dict[str, Any] = simulate_drive(track(HOME), laps=2, rate_hz=1.0, seed=7).truth
    laps = [
        (lap["number"], lap["time_s"], [s for s in lap["sectors_s"] if s is not None])
        for lap in truth["laps"]
        if lap["time_s"]
    ]
    count = max(len(sectors) for _, _, sectors in laps)
    heads = ["lap", "time", *(f"sector {n + 1}" for n in range(count))]
    rows = [
        [str(n), f"{t // 60:.0f}:{t % 60:06.3f}", *(f"{s:.3f}" for s in sectors)]
        for n, t, sectors in laps
    ]
    table = "\n".join(",".join(row) for row in [heads, *rows])
    bare = "\n".join(";".join(row) for row in rows)
    passings = "lap,time of day\n" + "\n".join(
        f"{n},10:{n:02d}:{13.25 + n:06.3f}" for n in range(1, 6)
    )
    return [
        Document("official", "official.csv", text.encode(), story)
        for text, story in (
            (table, "official laps with sectors"),
            (bare, "official laps without a header"),
            (passings, "times of day of passing"),
        )
    ]
