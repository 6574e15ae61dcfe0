"""Odd files made by hand: what damage to valid files would hardly ever come upon."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from random import Random

from .documents import Document, Kind, document_of
from .fixes import SEA, clock, ring, sentence, table
from .odd_tracks import odd_centreline, odd_members, track_document


def few_fixes(rng: Random) -> Document:
    """Write 0 to 40 fixes, some astray, evenly or not, in a format of the three."""
    count = rng.randrange(41)
    places = [
        (x + rng.gauss(0, 3e-6), y + rng.gauss(0, 3e-6))
        for x, y in ring(count, rng.choice((5.0, 60.0, 300.0)))
    ]
    for _ in range(rng.choice((0, 1, 1, 2, 5))):
        if places:
            at = rng.randrange(count)
            away = rng.choice((1e-4, 1e-3, 1e-2, 5.0, 90.0))
            places[at] = (places[at][0] + away, places[at][1] + rng.choice((0.0, away)))
    step = rng.choice((1e-3, 0.04, 0.1, 1.0, 1.0, 5.0, 60.0))
    seconds = [n * step for n in range(count)]
    if rng.random() < 0.3:
        seconds = sorted(rng.uniform(0, count * step + 1) for _ in range(count))
    speed = rng.choice((None, 0.0, 12.5, 149.0))
    story = f"{count} fixes {step:g} s apart"
    form = rng.randrange(3)
    if form == 0:
        text = "".join(sentence(s, x, y, speed) for s, (x, y) in zip(seconds, places, strict=True))
        return document_of("recording", "few.nmea", text, story)
    if form == 1:
        points = "\n".join(
            f'<trkpt lat="{y!r}" lon="{x!r}"><time>{clock(s)}</time></trkpt>'
            for s, (x, y) in zip(seconds, places, strict=True)
        )
        text = f'<gpx version="1.1"><trk><trkseg>\n{points}\n</trkseg></trk></gpx>'
        return document_of("recording", "few.gpx", text, story)
    rows: list[Sequence[object]] = [
        (f"{s!r}" if rng.random() < 0.9 else "", y, x, "" if speed is None else speed, 90 * n % 360)
        for n, (s, (x, y)) in enumerate(zip(seconds, places, strict=True))
    ]
    heads = "time_s,latitude,longitude,speed_mps,course"
    return document_of("recording", "few.csv", table(rows, heads), story)


def odd_years(rng: Random) -> Document:
    """Write times at the ends of the calendar, and zones that no place has."""
    zone = rng.choice(
        ("Z", "+14:00", "-14:00", "+99:99", "-99:99", "+24:00", "+23:59", "+9", "+00:00")
    )
    year = rng.choice(
        ("0001-01-01", "9999-12-31", "2024-05-04", "1677-09-21", "2262-04-11", "0000-01-01")
    )
    hour = rng.choice((0, 12, 23))
    places = ring(12, 60.0)
    rows = [(f"{year}T{hour:02d}:00:{n:02d}{zone}", y, x) for n, (x, y) in enumerate(places)]
    story = f"the year {year} in the zone {zone}"
    form = rng.randrange(4)
    if form == 0:
        return document_of("recording", "years.csv", table(rows), story)
    if form == 1:
        points = "".join(
            f'<trkpt lat="{y}" lon="{x}"><time>{moment}</time></trkpt>' for moment, y, x in rows
        )
        text = f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'
        return document_of("recording", "years.gpx", text, story)
    if form == 2:
        feature = {
            "type": "Feature",
            "properties": {"coordTimes": [row[0] for row in rows]},
            "geometry": {"type": "LineString", "coordinates": places},
        }
        return document_of("recording", "years.geojson", json.dumps(feature), story)
    day = rng.choice(("010100", "311299", "999999", "000000", "290223", "040524"))
    text = "".join(
        sentence(n, x, y, 20.0).replace("040524", day) for n, (x, y) in enumerate(places)
    )
    return document_of("recording", "years.nmea", text, f"NMEA dates {day}")


def tiny_steps(rng: Random) -> Document:
    """Drive a lap in no time: steps of a nanosecond, or of many."""
    step = rng.choice((1e-9, 1e-8, 1e-6, 1e-4))
    places = ring(rng.choice((20, 200, 400)), 60.0)
    rows = [(f"{n * step:.10f}", y, x) for n, (x, y) in enumerate(places)]
    return document_of(
        "recording", "tiny.csv", table(rows, "time_s,latitude,longitude"), f"steps of {step:g} s"
    )


def interleaved(rng: Random) -> Document:
    """Mix the lines of two recordings, each of its own circuit or place."""
    rate = rng.choice((1, 2, 5))
    first = ring(300, 80.0)
    apart = rng.choice((1e-4, 1e-3, 1e-2, 1.0))
    other = ring(300, rng.choice((80.0, 200.0)), (SEA[0] + apart, SEA[1]))
    rows = []
    for n, pair in enumerate(zip(first, other, strict=True)):
        for m, (x, y) in enumerate(pair):
            rows.append((clock((2 * n + m) / rate / 2), y, x))
    return document_of(
        "recording", "mixed.csv", table(rows), f"two recordings {apart:g}° apart, mixed"
    )


def standing(rng: Random) -> Document:
    """Stand still, or seem to: the same place or the same time again and again."""
    count = rng.choice((2, 3, 9, 50, 600))
    same_time = rng.random() < 0.3
    wobble = rng.choice((0.0, 1e-8, 1e-6))
    rows = [
        (
            clock(0.0 if same_time else n),
            SEA[1] + rng.gauss(0, wobble),
            SEA[0] + rng.gauss(0, wobble),
        )
        for n in range(count)
    ]
    return document_of("recording", "standing.csv", table(rows), f"{count} fixes standing")


def poles_and_seams(rng: Random) -> Document:
    """Drive around a pole, across the antimeridian, or along the equator."""
    at = rng.choice(
        ((0.0, 90.0), (0.0, -89.9999), (180.0, 0.0), (-180.0, -45.0), (0.0, 0.0), (0, 89.5))
    )
    places = ring(200, rng.choice((30.0, 300.0, 3e6)), at)
    rows = [
        (clock(n), max(-90.0, min(90.0, y)), (x + 180.0) % 360.0 - 180.0)
        for n, (x, y) in enumerate(places)
    ]
    return document_of("recording", "seam.csv", table(rows), f"around {at}")


def long_waits(rng: Random) -> Document:
    """Leave years, or next to nothing, between fixes."""
    places = ring(120, 60.0)
    second, rows = 0.0, []
    for x, y in places:
        rows.append((f"{second!r}", y, x))
        second += rng.choice((1.0, 1.0, 1.0, 1e-7, 3e4, 1e9, 1e15))
    return document_of(
        "recording", "waits.csv", table(rows, "time_s,latitude,longitude"), "long waits"
    )


def round_the_world(rng: Random) -> Document:
    """Make a circuit of 40,000 km."""
    count = rng.choice((37, 361, 2000))
    ring = [(-180.0 + 360.0 * n / (count - 1), rng.choice((0.0, 1e-3))) for n in range(count)]
    kind = rng.randrange(3)
    if kind == 0:
        rows = [(clock(n * rng.choice((1.0, 300.0))), y, x) for n, (x, y) in enumerate(ring)]
        return document_of("recording", "world.csv", table(rows), "round the world")
    if kind == 1:
        line = {"type": "LineString", "coordinates": ring}
        return document_of("line", "world.geojson", json.dumps(line), "round the world")
    return track_document({"coordinates": ring}, "round the world")


def odd_kml(rng: Random) -> Document:
    """Write KML whose coordinates are parted by anything but one space."""
    between = rng.choice(("\t", "\n\t", ", ", " ,", "\u00a0", "", ",,", ";", "\r", "\x0b"))
    inside = rng.choice((",", "\t,", ",\t", ", ", ";", ",\n"))
    rows = between.join(f"{x:.8f}{inside}{y:.8f}" for x, y in ring(61, 100.0))
    shape = rng.choice(("LineString", "LinearRing", "Polygon", "MultiGeometry", "gx:Track"))
    text = (
        '<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2">'
        f"<Placemark><name>x</name><{shape}><coordinates>{rows}</coordinates></{shape}></Placemark></kml>"
    ).replace("\x0b", "&#11;" if rng.random() < 0.2 else "\t")
    return document_of("line", "line.kml", text, f"{shape} parted by {between!r} and {inside!r}")


def entities(rng: Random) -> Document:
    """Write XML that defines entities which grow, or stand for other files."""
    levels = "".join(
        f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "x" * 10}">'
        for n in range(rng.choice((3, 10)))
    )
    other = '<!ENTITY f SYSTEM "file:///etc/hostname">'
    body = rng.choice(("&e2;", "&f;", "&nothing;", "&#0;", "&#x10FFFF;"))
    root = rng.choice(("gpx", "kml"))
    text = f"<!DOCTYPE {root} [{levels}{other}]><{root}><name>{body}</name></{root}>"
    return document_of("line" if root == "kml" else "recording", f"entity.{root}", text, "entities")


def nested(rng: Random) -> Document:
    """Nest brackets or elements deeply."""
    depth = rng.choice((50, 255, 1000, 3000, 100_000))
    kind: Kind = rng.choice(("recording", "line", "track"))
    form = rng.randrange(4)
    if form == 0:
        text = "[" * depth + "]" * depth
    elif form == 1:
        text = '{"type":"Feature","geometry":{"type":"LineString","coordinates":%s}}' % (
            "[" * depth + "]" * depth
        )
    elif form == 2:
        track_start = '{"track":{"format":"trackkit-track","version":"1.0","x":'
        text = track_start + '{"a":' * depth + "1" + "}" * (depth + 2)
    else:
        text = "<gpx>" + "<trk>" * depth + "</trk>" * depth + "</gpx>"
    return document_of(kind, "nested", text, f"nested {depth} deep")


def odd_official(rng: Random) -> Document:
    """Write lists of official times that no list should be."""
    cells = (
        "1:02.345",
        "62.345",
        "0",
        "-1",
        "1e9",
        "nan",
        "25:61:61",
        "",
        "lap",
        "1",
        "2",
        "1:2:3:4",
        "99999:00",
        "10:00:00.5",
        "٣",
        "1,5",
        "24:00:00",
        "2024-05-04T09:00:00+99:99",
    )
    rows = [
        [rng.choice(cells) for _ in range(rng.choice((1, 2, 3, 5)))]
        for _ in range(rng.choice((1, 3, 9)))
    ]
    heads = rng.choice(
        ([], [["lap", "time"]], [["lap", "time", "time of day"]], [["sector 1", "sector 2"]])
    )
    text = "\n".join(rng.choice((",", ";", "\t")).join(row) for row in [*heads, *rows])
    return document_of("official", "official.csv", text, "odd official times")


def nothing_much(rng: Random) -> Document:
    """Write next to nothing."""
    data = rng.choice(
        (
            b"",
            b"\n",
            b"\x00",
            b"\x00" * 5000,
            b"{}",
            b"[]",
            b"<",
            b"<gpx/>",
            b"<kml/>",
            b"$GPRMC,",
            b",",
            b"null",
            b"\xef\xbb\xbf",
            b"\xff\xfe",
            b"\x1f\x8b",
            b"\x1f\x8b\x08\x00",
            b"time,lat,lon",
            b"lat,lon\n1,2\n",
            b'{"type":"FeatureCollection"}',
            b'{"type":"FeatureCollection","features":[]}',
            b'{"track":{"format":"trackkit-track","version":"1.0"}}',
            b'{"track":{"format":"trackkit-track"}}',
            b"PK\x03\x04",
            b"\r\r\r",
            b"-",
            b"1",
            b"$GPGGA,,,,,,,,,,,,,,*66\r\n" * 3,
        )
    )
    kind: Kind = rng.choice(("recording", "line", "track", "official"))
    return document_of(kind, "nothing", data, f"only {data[:20]!r}")


def noise(rng: Random) -> Document:
    """Write bytes that mean nothing."""
    kind: Kind = rng.choice(("recording", "line", "track", "official"))
    head = rng.choice((b"", b"<gpx>", b"{", b"$GPRMC,", b"time,latitude,longitude\n", b"\x1f\x8b"))
    return document_of(kind, "noise", head + rng.randbytes(rng.choice((1, 30, 3000))), "noise")


SMALL: tuple[Callable[[Random], Document], ...] = (
    few_fixes,
    few_fixes,
    few_fixes,
    odd_years,
    tiny_steps,
    interleaved,
    standing,
    poles_and_seams,
    long_waits,
    round_the_world,
    odd_centreline,
    odd_members,
    odd_members,
    odd_kml,
    entities,
    nested,
    odd_official,
    odd_official,
    nothing_much,
    noise,
)
