"""How many fixes a second each reader reads, beside the plainest ways with libraries.

    python tests/bench/bench_formats.py [THOUSANDS]

In one process on one core, imports not counted, the quickest of three (of one for libraries).  The
drive is invented; UBX is written by pyubx2, FIT by an encoder of the tests' own.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
import time
import warnings
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import fastkml
import fitdecode
import geopandas
import gpxpy
import numpy as np
import pandas as pd
import pynmea2
import pyogrio
from lxml import etree
from pyubx2 import UBXReader

sys.path.append(str(Path(__file__).parents[1] / "shared"))
from fit_files import fit_file, record
from ubx_messages import BEGIN, older_epoch, pvt

from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.recordings.write import write_recording

ROUNDS = 3
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2">'
    "<Placemark><gx:Track>{}</gx:Track></Placemark></kml>"
)
TCX = (
    '<TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2">'
    "<Activities><Activity><Lap><Track>{}</Track></Lap></Activity></Activities>"
    "</TrainingCenterDatabase>"
)
SOLUTION = "%  UTC  latitude(deg) longitude(deg) height(m) Q ns sdn(m) sde(m) sdu(m)\n"


def files(count: int, folder: Path) -> dict[str, Path]:
    """Write one drive in every format; UBX of ten fixes a second, the others as often."""
    moments = [BEGIN + timedelta(seconds=n / 10) for n in range(count)]
    stamps = [f"{m:%Y-%m-%dT%H:%M:%S}.{m.microsecond // 1000:03d}Z" for m in moments]
    east, north = 161.0 + 1e-5 * np.arange(count) % 0.5, np.full(count, 48.0)
    places = list(zip(stamps, east.tolist(), strict=True))
    table = pd.DataFrame({"time": pd.to_datetime(stamps), "speed_mps": 10.0})
    points = geopandas.GeoDataFrame(
        table, geometry=geopandas.points_from_xy(east, north), crs="EPSG:4326"
    )
    parquet, geoparquet, packed = io.BytesIO(), io.BytesIO(), io.BytesIO()
    table.assign(latitude=north, longitude=east).to_parquet(parquet)
    points.to_parquet(geoparquet)
    kml = "".join(f"<when>{s}</when>" for s in stamps)
    kml += "".join(f"<gx:coord>{x:.7f} 48 5</gx:coord>" for x in east)
    tcx = "".join(
        f"<Trackpoint><Time>{s}</Time><Position><LatitudeDegrees>48</LatitudeDegrees>"
        f"<LongitudeDegrees>{x:.7f}</LongitudeDegrees></Position></Trackpoint>"
        for s, x in places
    )
    rows = "".join(
        f"{m:%Y/%m/%d %H:%M:%S.%f} 48.0 {x:.9f} 5.0 1 8 0.003 0.004 0.008\n"
        for m, x in zip(moments, east, strict=True)
    )
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("drive.kml", KML.format(kml))
    few = max(count // 20, 10)
    content = {
        "drive.kml": KML.format(kml).encode(),
        "drive.kmz": packed.getvalue(),
        "drive.tcx": TCX.format(tcx).encode(),
        "drive.pos": (SOLUTION + rows).encode(),
        "drive.fit": fit_file([record(BEGIN.timestamp() + n, 161.0, 48.0) for n in range(few)]),
        "drive.ubx": b"".join(pvt(n) for n in range(few)),
        "older.ubx": b"".join(older_epoch(n) for n in range(few)),
        "drive.parquet": parquet.getvalue(),
        "points.parquet": geoparquet.getvalue(),
    }
    # Encoded once and repeated later in time: the encoder is slower than what reads it.
    stream = np.frombuffer(content["drive.ubx"], dtype=np.uint8).reshape(few, 100)
    content["drive.ubx"] = _repeated(stream, count // few)
    for name, data in content.items():
        (folder / name).write_bytes(data)
    recording = Recording.from_arrays(
        np.arange(count) / 10.0, east, north, start=BEGIN, speed_mps=np.full(count, 10.0)
    )
    for suffix in (".gpx", ".csv", ".nmea"):
        write_recording(recording, folder / f"drive{suffix}")
    drivers = {".gpkg": "GPKG", ".fgb": "FlatGeobuf", ".geojson": "GeoJSON"}
    for name, driver in ((f"drive{suffix}", driver) for suffix, driver in drivers.items()):
        points.to_file(folder / name, driver=driver, engine="pyogrio")
    return {path.name: path for path in sorted(folder.iterdir())}


def _repeated(stream: np.ndarray, times: int) -> bytes:
    """Repeat messages an hour later each time, with their checksums made right."""
    parts = []
    for hour in range(times):
        part = stream.copy()
        moment = BEGIN + timedelta(hours=hour)
        part[:, 6 + 6], part[:, 6 + 7], part[:, 6 + 8] = (
            moment.month,
            moment.day,
            (moment.hour + stream[:, 6 + 8].astype(int) - BEGIN.hour),
        )
        week = stream[:, 6:10].copy().view("<u4")[:, 0] + 3_600_000 * hour
        part[:, 6:10] = week.astype("<u4").view(np.uint8).reshape(-1, 4)
        body = part[:, 2:98].astype(np.int64)
        part[:, 98] = body.sum(axis=1) % 256
        part[:, 99] = (body * np.arange(96, 0, -1)).sum(axis=1) % 256
        parts.append(part.tobytes())
    return b"".join(parts)


def _fit(path: Path) -> int:
    with fitdecode.FitReader(path) as reader:
        return sum(
            frame.has_field("position_lat")
            for frame in reader
            if frame.frame_type == fitdecode.FIT_FRAME_DATA
        )


def _ubx(path: Path) -> int:
    with path.open("rb") as stream:
        return sum(1 for _, message in UBXReader(stream) if hasattr(message, "lon"))


def _lxml(name: str) -> Callable[[Path], int]:
    return lambda path: sum(1 for _ in etree.parse(path).iter(name))


def _gpxpy(path: Path) -> int:
    with path.open(encoding="utf-8") as file:
        return int(gpxpy.parse(file).get_track_points_no())


def _fastkml(path: Path) -> int:
    (placemark,) = fastkml.KML.from_string(path.read_text("utf-8"), strict=False).features
    return len(placemark.kml_geometry.track_items)


def _pynmea2(path: Path) -> int:
    count = 0
    for line in path.read_text("ascii").splitlines():
        count += pynmea2.parse(line).sentence_type == "RMC"
    return count


def _pyogrio(path: Path) -> int:
    return len(pyogrio.read_dataframe(path))


_GX = "{http://www.google.com/kml/ext/2.2}"
_TCX = "{http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2}"
PLAINEST: dict[str, dict[str, Callable[[Path], int]]] = {
    "drive.gpx": {"gpxpy": _gpxpy, "lxml": _lxml("{http://www.topografix.com/GPX/1/0}trkpt")},
    "drive.nmea": {"pynmea2": _pynmea2},
    "drive.csv": {"pandas": lambda path: len(pd.read_csv(path))},
    "drive.geojson": {"pyogrio": _pyogrio},
    "drive.kml": {"fastkml": _fastkml, "lxml": _lxml(f"{_GX}coord")},
    "drive.tcx": {"lxml": _lxml(f"{_TCX}Trackpoint")},
    "drive.pos": {"pandas": lambda p: len(pd.read_csv(p, sep=r"\s+", comment="%", header=None))},
    "drive.fit": {"fitdecode": _fit},
    "drive.ubx": {"pyubx2": _ubx},
    "older.ubx": {"pyubx2": _ubx},
    "drive.parquet": {"pandas": lambda path: len(pd.read_parquet(path))},
    "points.parquet": {"geopandas": lambda path: len(geopandas.read_parquet(path))},
    "drive.gpkg": {"pyogrio": _pyogrio},
    "drive.fgb": {"pyogrio": _pyogrio},
}


def rate(read: Callable[[Path], int], path: Path, *, rounds: int = ROUNDS) -> float:
    """Fixes a second of processor time, the quickest of some rounds."""
    best, count = np.inf, 0
    for _ in range(rounds):
        begin = time.process_time()
        count = read(path)
        best = min(best, time.process_time() - begin)
    return count / best


def main() -> int:
    """Print the table; 1 where UBX is read slower than 200,000 messages a second."""
    count = 1000 * int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    warnings.simplefilter("ignore")
    slow = False
    with tempfile.TemporaryDirectory() as folder:
        sys.stdout.write("| file | fixes a second | cleaned as well | libraries alone |\n")
        sys.stdout.write("| --- | --- | --- | --- |\n")
        for name, path in files(count, Path(folder)).items():
            read_recording(path)
            ours = rate(lambda path: len(read_recording(path)), path)
            from trackkit.recordings.detect import recognised

            data, chosen = recognised(path)
            arguments = (data, path, {}) if chosen.has_columns else (data, path)
            reader = rate(lambda _, a=arguments, c=chosen: len(c.read(*a)), path)
            beside = [
                f"{library} {rate(plain, path, rounds=1):,.0f}"
                for library, plain in PLAINEST.get(name, {}).items()
            ]
            slow |= name == "drive.ubx" and reader < 200_000
            sys.stdout.write(f"| {name} | {reader:,.0f} | {ours:,.0f} | {', '.join(beside)} |\n")
            sys.stdout.flush()
    return int(slow)


if __name__ == "__main__":
    raise SystemExit(main())
