"""Large files, and small ones that become large."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from random import Random

from .documents import Document, Kind, document_of
from .fixes import SEA, ring
from .odd_tracks import many_gates, track_document
from .seeds import HOME, seeds_of, track


def packed_much(rng: Random) -> Document:
    """Pack hundreds of megabytes into kilobytes of gzip."""
    block = rng.choice(
        (
            b"\x00",
            b",",
            b"\n",
            b"[",
            b"1,2,3\n",
            b'"',
            b"<trk>",
            b"a",
            b"0",
            b'{"a":1},',
            b"$GPRMC,090000,A,4300.0000,N,12800.0000,W,,,040524,,*00\r\n",
        )
    )
    heads: tuple[bytes, ...] = (
        b"",
        b"time,latitude,longitude\n",
        b"<gpx><trk><trkseg>",
        b'{"type":"FeatureCollection","features":[',
        b"$GPRMC,090000,A,4300.0000,N,12800.0000,W,,,040524,,",
    )
    megabytes = rng.choice((8, 64, 256, 1100, 2000))
    member = gzip.compress(block * ((8 << 20) // len(block)), compresslevel=9, mtime=0)
    head = gzip.compress(rng.choice(heads), mtime=0)
    kind: Kind = rng.choice(("recording", "recording", "line", "official"))
    return document_of(
        kind,
        "packed.gz",
        head + member * (megabytes // 8),
        f"{megabytes} MB of {block[:8]!r}, packed",
    )


def one_long_line(rng: Random) -> Document:
    """Write one line, or one cell, of megabytes."""
    size = rng.choice((1 << 17, 1 << 20, 1 << 24))
    filler = rng.choice((b",", b";", b"\t", b"0", b"a", b'"', b"1,", b'",', b" "))
    head, tail = rng.choice(
        (
            (b"", b""),
            (b"time,latitude,longitude\n", b"\n1,2,3\n"),
            (b"time,latitude,longitude", b"\n1,2,3\n"),
            (b"$GPRMC,", b"*00\r\n"),
            (b'{"type":"', b'"}'),
            (b"<gpx><trk><name>", b"</name></trk></gpx>"),
            (b'<gpx creator="', b'"></gpx>'),
            (b"lap,time\n1,", b"\n"),
        )
    )
    kind: Kind = rng.choice(("recording", "recording", "line", "track", "official"))
    return document_of(
        kind,
        "long",
        head + filler * (size // len(filler)) + tail,
        f"a line of {size:,} bytes of {filler!r}",
    )


def many_rows(rng: Random) -> Document:
    """Write very many rows, points or features, most of them worth nothing."""
    count = rng.choice((20_000, 100_000))
    form = rng.randrange(6)
    x, y = SEA
    if form == 0:
        row = rng.choice(("2024-05-04T09:00:00Z,43,-128\n", ",,\n", "a,b,c\n", "1,2\n"))
        return document_of(
            "recording", "rows.csv", "time,latitude,longitude\n" + row * count, "many rows"
        )
    if form == 1:
        point = '<trkpt lat="43" lon="-128"/>'
        text = f"<gpx><trk><trkseg>{point * count}</trkseg></trk></gpx>"
        return document_of("recording", "rows.gpx", text, "many points without times")
    if form == 2:
        segment = (
            f'<trkseg><trkpt lat="{y}" lon="{x}"><time>2024-05-04T09:00:00Z</time></trkpt></trkseg>'
        )
        text = f"<gpx><trk>{segment * (count // 10)}</trk></gpx>"
        return document_of("recording", "segments.gpx", text, "many segments of one point")
    if form == 3:
        geometry = {"type": "Point", "coordinates": [x, y]}
        point = json.dumps({"type": "Feature", "properties": {"time": 1}, "geometry": geometry})
        text = f'{{"type":"FeatureCollection","features":[{",".join([point] * count)}]}}'
        return document_of("recording", "rows.geojson", text, "many points at one time")
    if form == 4:
        places = f"<coordinates>{x},{y} {x + 1e-3},{y}</coordinates>"
        line = f"<Placemark><LineString>{places}</LineString></Placemark>"
        head = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        text = f"{head}{line * (count // 10)}</Document></kml>"
        return document_of("line", "lines.kml", text, "many lines")
    rounds = [[a, b] for a, b in ring(60, 300.0)] * (count // 60)
    text = json.dumps({"type": "LineString", "coordinates": rounds})
    return document_of("line", "rings.geojson", text, "a line round and round")


def large_track(rng: Random) -> Document:
    """Write a track file of tens of thousands of gates or vertices."""
    if rng.random() < 0.5:
        centreline = track(HOME).centreline
        count = rng.choice((30_000, 200_000))
        long = centreline.longitude_deg.tolist()
        late = centreline.latitude_deg.tolist()
        share = [n * (len(long) - 1) / count for n in range(count + 1)]
        vertices = [
            [
                long[int(s)] + (s % 1) * (long[min(int(s) + 1, len(long) - 1)] - long[int(s)]),
                late[int(s)] + (s % 1) * (late[min(int(s) + 1, len(late) - 1)] - late[int(s)]),
            ]
            for s in share
        ]
        return track_document({"coordinates": vertices}, f"{count:,} vertices")
    document = json.loads(seeds_of("track")[0].data)
    pattern = next(f for f in document["features"] if f["properties"]["role"] == "gate")
    for n in range(rng.choice((5000, 10_000))):
        properties = pattern["properties"] | {"kind": "sector", "order": n + 1}
        document["features"].append(pattern | {"id": f"more-{n}", "properties": properties})
    return document_of("track", "track.geojson", json.dumps(document), "thousands of gates")


LARGE: tuple[Callable[[Random], Document], ...] = (
    packed_much,
    packed_much,
    one_long_line,
    one_long_line,
    many_rows,
    many_rows,
    large_track,
    many_gates,
    many_gates,
)
