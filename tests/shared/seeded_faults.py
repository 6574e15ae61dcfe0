"""Thirty and more kinds of damage to a track file, and the rule that is meant to find each."""

import json

import numpy as np
from drives import (
    Road,
    arc,
    block_circuit,
    figure_of_eight,
    gate_ends,
    hairpin_circuit,
    on_earth,
    straight,
    track_of,
)

from trackkit.track.derive import with_corners, with_datum
from trackkit.track.file import track_text

SPIRAL = Road(
    (straight(300), arc(30, 180), straight(300), arc(24, 180), straight(300)), closed=False
)
REVISED = {"revised": "2024-01-01T00:00:00Z"}


def block():
    gates = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
    return with_corners(track_of(block_circuit(), gates=gates, spacing_m=2.0, **REVISED))


def eight():
    gates = [("finish", "finish", 50.0), ("gate-a", "sector", 300.0)]
    track = track_of(figure_of_eight(), gates=gates, direction=None, spacing_m=2.0, **REVISED)
    return with_datum(track, 50.0)


def hairpin():
    gates = [("finish", "finish", 0.0), ("gate-a", "sector", 700.0)]
    return track_of(hairpin_circuit(), gates=gates, spacing_m=2.0, **REVISED)


def spiral():
    """An open course that comes back 12 m beside its first leg, driven the same way."""
    gates = [("start", "start", 20.0), ("gate-a", "sector", 150.0), ("finish", "finish", 1000.0)]
    gates = [(*gate, 6.0) for gate in gates]
    return track_of(SPIRAL, gates=gates, direction=None, spacing_m=2.0, **REVISED)


def document(track):
    return json.loads(track_text(track))


def bridged():
    made = document(eight())
    half = 0.5 * figure_of_eight().length_m
    made["track"]["crossovers"] = [{"over_m": 2 * half - 50.0, "under_m": half - 50.0}]
    return made


def feature(made, name):
    return next(f for f in made["features"] if f["id"] == name)


def placed(road, chainage_m, left_m=8.0, right_m=8.0):
    left, _ = gate_ends(road, chainage_m, left_m)
    _, right = gate_ends(road, chainage_m, right_m)
    return [list(left), list(right)]


def put(made, name, road, chainage_m, left_m=8.0, right_m=8.0, along_m=None):
    """Put a gate somewhere, square, with its chainage right."""
    one = feature(made, name)
    one["geometry"]["coordinates"] = placed(road, chainage_m, left_m, right_m)
    one["properties"]["chainage_m"] = chainage_m if along_m is None else along_m


def line(made):
    return feature(made, "centreline")["geometry"]["coordinates"]


def turned(made, degrees):
    middle, ahead = block_circuit().at(347.0)
    angle = np.radians(degrees)
    aside = np.array([-ahead[1], ahead[0]]) * np.cos(angle) - np.sin(angle) * ahead
    longitude, latitude = on_earth(np.array([middle + 8 * aside, middle - 8 * aside]))
    feature(made, "gate-a")["geometry"]["coordinates"] = np.stack(
        [longitude, latitude], axis=1
    ).tolist()


def moved_vertex(made, index, metres):
    line(made)[index][1] += metres / 111_000.0


def pit_lane(made, positions):
    longitude, latitude = on_earth(np.array(positions))
    made["features"].append(
        {
            "type": "Feature",
            "id": "lane",
            "geometry": {
                "type": "LineString",
                "coordinates": np.stack([longitude, latitude], axis=1).tolist(),
            },
            "properties": {"role": "pit-lane"},
        }
    )


def copied(made, name, new_id, **properties):
    one = json.loads(json.dumps(feature(made, name)))
    one["id"] = new_id
    one["properties"].update(properties)
    made["features"].append(one)


B, E, H = block_circuit(), figure_of_eight(), hairpin_circuit()
HALF_E = 0.5 * E.length_m
FAULTS = [
    # what was done, to which track, how, the rule that must find it, the feature it is about
    ("no name", "block", lambda d: d["track"].pop("name"), "schema", None),
    ("text for a length", "block", lambda d: d["track"].update(length_m="long"), "schema", None),
    (
        "unknown kind of gate",
        "block",
        lambda d: feature(d, "gate-a")["properties"].update(kind="chicane"),
        "schema",
        "gate-a",
    ),
    (
        "a gate with one end",
        "block",
        lambda d: feature(d, "gate-b")["geometry"]["coordinates"].pop(),
        "schema",
        "gate-b",
    ),
    (
        "latitude and longitude swapped out of range",
        "block",
        lambda d: feature(d, "gate-b")["geometry"]["coordinates"].__setitem__(0, [161.0, 100.0]),
        "schema",
        "gate-b",
    ),
    ("no centreline", "block", lambda d: d["features"].pop(0), "schema", None),
    (
        "one vertex in forty",
        "block",
        lambda d: feature(d, "centreline")["geometry"].update(
            coordinates=[*line(d)[:-1:40], line(d)[0]]
        ),
        "too-few-points",
        "centreline",
    ),
    ("the ring left open", "block", lambda d: line(d).pop(), "closure-gap", "centreline"),
    (
        "a wrong length",
        "block",
        lambda d: d["track"].update(length_m=1400.0),
        "length",
        "centreline",
    ),
    (
        "the wrong direction",
        "block",
        lambda d: d["track"].update(direction="clockwise"),
        "direction",
        "centreline",
    ),
    ("no bridge declared", "eight", lambda d: None, "crosses-itself", "centreline"),
    (
        "a bridge where there is none",
        "block",
        lambda d: d["track"].update(crossovers=[{"over_m": 100.0, "under_m": 700.0}]),
        "bridge-nowhere",
        "centreline",
    ),
    ("a stray vertex", "block", lambda d: moved_vertex(d, 300, 9.0), "kink", "centreline"),
    (
        "an apex elsewhere",
        "block",
        lambda d: next(f for f in d["features"] if f["properties"]["role"] == "corner")[
            "properties"
        ].update(apex_m=400.0),
        "corner-place",
        ...,
    ),
    (
        "no finish gate",
        "block",
        lambda d: d["features"].remove(feature(d, "finish")),
        "gate-missing",
        None,
    ),
    (
        "two finish gates",
        "block",
        lambda d: copied(d, "finish", "finish-2", order=7),
        "gate-twice",
        "finish-2",
    ),
    (
        "one id twice",
        "block",
        lambda d: feature(d, "gate-b").update(id="gate-a"),
        "id-twice",
        "gate-a",
    ),
    ("the line begins elsewhere", "block", lambda d: put(d, "finish", B, 40.0), "datum", "finish"),
    (
        "a gate beside the track",
        "block",
        lambda d: feature(d, "gate-a")["geometry"].update(
            coordinates=[[c[0] + 0.001, c[1]] for c in placed(B, 347.0)]
        ),
        "gate-off-track",
        "gate-a",
    ),
    (
        "a wrong chainage",
        "block",
        lambda d: feature(d, "gate-a")["properties"].update(chainage_m=352.0),
        "gate-chainage",
        "gate-a",
    ),
    (
        "a gate backwards",
        "block",
        lambda d: feature(d, "gate-a")["geometry"]["coordinates"].reverse(),
        "gate-backwards",
        "gate-a",
    ),
    ("a gate askew", "block", lambda d: turned(d, 30.0), "gate-not-square", "gate-a"),
    (
        "a gate narrower than the band",
        "block",
        lambda d: (
            feature(d, "centreline")["properties"].update(width_m=12.0),
            put(d, "gate-a", B, 347.0, 8.0, 4.5),
        ),
        "gate-narrow",
        "gate-a",
    ),
    (
        "a gate so narrow that noise misses it",
        "block",
        lambda d: put(d, "gate-a", B, 347.0, 2.0, 2.0),
        "gate-missed",
        "gate-a",
    ),
    (
        "a gate across the next leg",
        "hairpin",
        lambda d: put(d, "gate-a", H, 140.0, 12.0, 8.0),
        "gate-crosses-other-track",
        "gate-a",
    ),
    (
        "a gate's end beside the next leg",
        "hairpin",
        lambda d: put(d, "gate-a", H, 140.0, 7.0, 8.0),
        "gate-end-near-other-track",
        "gate-a",
    ),
    (
        "a gate to the brink of a leg driven the same way",
        "spiral",
        lambda d: put(d, "gate-a", SPIRAL, 150.0, 10.5, 6.0),
        "gate-false",
        "gate-a",
    ),
    (
        "a gate to the edge of a leg driven the same way",
        "spiral",
        lambda d: put(d, "gate-a", SPIRAL, 150.0, 11.6, 6.0),
        "gate-false-often",
        "gate-a",
    ),
    (
        "a gate that shares its order",
        "block",
        lambda d: feature(d, "gate-b")["properties"].update(order=1),
        "gate-order",
        "gate-b",
    ),
    (
        "gates numbered against the road",
        "block",
        lambda d: (
            feature(d, "gate-a")["properties"].update(order=2),
            feature(d, "gate-b")["properties"].update(order=1),
        ),
        "gate-order",
        "gate-a",
    ),
    ("a gate at an apex", "block", lambda d: put(d, "gate-a", B, 223.0), "gate-apex", "gate-a"),
    (
        "a gate late in a braking zone",
        "hairpin",
        lambda d: put(d, "gate-a", H, 196.0, 4.5, 8.0),
        "gate-braking",
        "gate-a",
    ),
    (
        "a finish gate where cars are slow",
        "hairpin",
        lambda d: put(d, "finish", H, 219.0, 3.5, 8.0),
        "finish-slow",
        "finish",
    ),
    (
        "gates on each other's heels",
        "block",
        lambda d: put(d, "gate-b", B, 360.0),
        "gates-close",
        "gate-b",
    ),
    (
        "a sector too short to be timed",
        "hairpin",
        lambda d: put(d, "gate-a", H, 905.0),
        "sector-short",
        "finish",
    ),
    (
        "a pit lane past the finish",
        "block",
        lambda d: pit_lane(
            d, [[-150.0, -130.0], [-100.0, -150.0], [100.0, -150.0], [150.0, -130.0]]
        ),
        "pit-bypass",
        "finish",
    ),
    (
        "a finish that half reaches the pit lane",
        "block",
        lambda d: pit_lane(
            d, [[-150.0, -130.0], [-100.0, -139.0], [100.0, -139.0], [150.0, -130.0]]
        ),
        "gate-false",
        "finish",
    ),
    (
        "a gate on the bridge",
        "bridged",
        lambda d: put(d, "gate-a", E, HALF_E + 1.5, along_m=HALF_E - 48.5),
        "gate-on-bridge",
        "gate-a",
    ),
]
TRACK = {
    "block": lambda: document(block()),
    "eight": lambda: document(eight()),
    "hairpin": lambda: document(hairpin()),
    "bridged": bridged,
    "spiral": lambda: document(spiral()),
}
CLEAN = {name: make for name, make in TRACK.items() if name != "eight"}
