"""Tracks made of lists and arrays: what is derived, and what is refused at the door."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackkit import Gate, Track, TrackkitError, place_gate, read_track, write_track

SAMPLES = sorted((Path(__file__).parents[2] / "tracks").glob("*.geojson"))
LONGITUDE, LATITUDE = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]


def circle(radius_m: float, count: int = 72) -> tuple[list[float], list[float]]:
    """Positions on a circle, anticlockwise from its easternmost, by GeographicLib."""
    points = [
        Geodesic.WGS84.Direct(24.0, 5.0, 90.0 - 360.0 * step / count, radius_m)
        for step in range(count)
    ]
    return [point["lon2"] for point in points], [point["lat2"] for point in points]


def listed(path: Path) -> tuple[dict, dict, list[list[float]], int]:
    """A track file as plain JSON: what it declares, its line, and how many corners it has."""
    document = json.loads(path.read_text("utf-8"))
    by_role: dict[str, list[dict]] = {}
    for feature in document["features"]:
        by_role.setdefault(feature["properties"]["role"], []).append(feature)
    (line,) = by_role["centreline"]
    coordinates = line["geometry"]["coordinates"]
    if line["geometry"]["type"] == "MultiLineString":
        # The place of the cut ends one part and begins the next, on the other side of 180 degrees.
        first, *others = coordinates
        coordinates = [*first, *(position for part in others for position in part[1:])]
    return document["track"], line["properties"], coordinates, len(by_role["corner"])


@pytest.mark.slow
@pytest.mark.parametrize("path", SAMPLES, ids=[path.stem for path in SAMPLES])
def test_a_sample_circuits_lists_give_what_its_file_declares(path, tmp_path):
    declared, line, coordinates, corners = listed(path)
    columns = [list(column) for column in zip(*coordinates, strict=True)]

    track = Track.from_arrays(
        columns[0],
        columns[1],
        declared["name"],
        height_m=columns[2] if len(columns) > 2 else None,
        layout=declared["layout"],
        closed=declared["closed"],
        width_m=line["width_m"],
    )

    assert track.length_m == pytest.approx(declared["length_m"], abs=0.002)
    if declared["length_surface_m"] is None:
        assert track.length_surface_m is None
    else:
        # Heights are filed to the centimetre.
        assert track.length_surface_m == pytest.approx(declared["length_surface_m"], abs=0.01)
    assert track.direction == declared["direction"]
    assert len(track.corners) == corners
    assert [(c.over_m, c.under_m) for c in track.crossovers] == [
        pytest.approx((c["over_m"], c["under_m"]), abs=0.5) for c in declared["crossovers"]
    ]

    write_track(track, tmp_path / "made.geojson")
    again = read_track(tmp_path / "made.geojson")
    assert again.length_m == pytest.approx(track.length_m, abs=0.002)
    assert [corner.id for corner in again.corners] == [corner.id for corner in track.corners]
    assert place_gate(again, "finish", 40.0).track.finish.width_m > 5.0


def test_a_circle_is_as_long_as_its_circumference_and_turns_as_it_is_driven():
    longitude, latitude = circle(150.0)

    track = Track.from_arrays(longitude, latitude, "Salt Pan", layout="Ring 2")
    back = Track.from_arrays(longitude[::-1], latitude[::-1], "Salt Pan")

    assert track.length_m == pytest.approx(2.0 * math.pi * 150.0, rel=1e-5)
    assert back.length_m == pytest.approx(track.length_m, rel=1e-9)
    assert (track.direction, back.direction) == ("anticlockwise", "clockwise")
    assert (track.id, track.title) == ("salt-pan-ring-2", "Salt Pan (Ring 2)")
    assert {corner.turn for corner in track.corners} <= {"left"}
    assert track.crossovers == ()


def test_a_closed_line_may_repeat_its_first_position_or_not():
    longitude, latitude = circle(150.0)

    plain = Track.from_arrays(np.array(longitude), np.array(latitude), "Salt Pan")
    repeated = Track.from_arrays([*longitude, longitude[0]], [*latitude, latitude[0]], "Salt Pan")

    assert repeated.length_m == plain.length_m
    for track in (plain, repeated):
        assert len(track.centreline.longitude_deg) == len(longitude) + 1
        assert track.centreline.gap_m == 0.0


def test_a_straight_course_is_as_long_as_the_geodesic_between_its_ends():
    line = Geodesic.WGS84.InverseLine(24.0, 5.0, 24.006, 5.008)
    points = [line.Position(line.s13 * step / 9) for step in range(10)]

    track = Track.from_arrays(
        [point["lon2"] for point in points],
        [point["lat2"] for point in points],
        "Dune Straight",
        closed=False,
    )

    assert track.length_m == pytest.approx(line.s13, rel=1e-6)
    assert (track.direction, track.corners, track.closed) == (None, (), False)


def test_longitudes_may_leap_at_the_antimeridian():
    longitude, latitude = circle(150.0)
    there = [(degrees - 5.0 + 180.0 + 180.0) % 360.0 - 180.0 for degrees in longitude]
    assert max(there) > 179.99
    assert min(there) < -179.99

    track = Track.from_arrays(there, latitude, "Date Line")

    assert track.length_m == pytest.approx(2.0 * math.pi * 150.0, rel=1e-5)
    assert np.ptp(track.centreline.longitude_deg) < 0.01


def test_heights_lengthen_the_surface_as_on_a_ramp():
    # A tenth up for each metre on: sqrt(1.01) longer, and by h / R for the height above sea.
    longitude = [5.0 + 0.0005 * step for step in range(20)]
    flat = Track.from_arrays(longitude, [0.0] * 20, "Ramp", closed=False)
    east_m = flat.plane.to_plane(longitude, [0.0] * 20)[:, 0]

    track = Track.from_arrays(
        longitude, [0.0] * 20, "Ramp", closed=False, height_m=0.1 * (east_m - east_m[0])
    )

    assert flat.length_surface_m is None
    assert track.length_surface_m == pytest.approx(track.length_m * math.sqrt(1.01), rel=2e-5)


def test_gates_get_their_chainages_from_their_ends():
    longitude, latitude = circle(150.0)
    inner, outer = circle(140.0), circle(160.0)
    gates = [
        Gate(
            "s",
            "sector",
            "Half way",
            left=(inner[0][36], inner[1][36]),
            right=(outer[0][36], outer[1][36]),
            chainage_m=3.0,
        ),
        Gate(
            "f",
            "finish",
            "Finish",
            left=(inner[0][0], inner[1][0]),
            right=(outer[0][0], outer[1][0]),
        ),
    ]

    track = Track.from_arrays(longitude, latitude, "Salt Pan", gates=gates)

    assert [(gate.id, gate.order) for gate in track.gates] == [("f", 0), ("s", 1)]
    assert track.finish.chainage_m == 0.0
    assert track.gate("s").chainage_m == pytest.approx(math.pi * 150.0, abs=0.05)

    with pytest.raises(TrackkitError, match=r"finish gate 'f' crosses the line at 706\.9 m"):
        Track.from_arrays(
            longitude[18:] + longitude[:18],
            latitude[18:] + latitude[:18],
            "Salt Pan",
            gates=gates[1:],
        )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"longitude_deg": LONGITUDE[:3], "latitude_deg": LATITUDE[:3]},
            "3 positions are too few for a track; give 4 or more that differ",
        ),
        (
            {"longitude_deg": [*LONGITUDE[:3], 5.0], "latitude_deg": [*LATITUDE[:3], 24.0]},
            "3 positions are too few for a track; give 4 or more that differ",
        ),
        ({"longitude_deg": [], "latitude_deg": []}, "0 positions are too few for a track"),
        ({"longitude_deg": LONGITUDE[:3]}, "has columns of 3, 4 values instead of one length"),
        ({"height_m": [1.0, 2.0]}, "has columns of 4, 4, 2 values instead of one length"),
        ({"longitude_deg": [LONGITUDE]}, r"has longitude_deg of shape \(1, 4\) instead of one"),
        ({"latitude_deg": 24.0}, r"has latitude_deg of shape \(\) instead of one"),
        ({"latitude_deg": ["north"] * 4}, "has latitude_deg that is not one number a position"),
        ({"longitude_deg": [[5.0], 5.1, 5.2, 5.3]}, "has longitude_deg that is not one number"),
        ({"latitude_deg": [10**400, 0, 0, 0]}, "has latitude_deg that is not one number"),
        ({"longitude_deg": [5.0, math.nan, 5.004, 5.0]}, r"position 2 \(nan, 24.0\) is not a"),
        ({"latitude_deg": [24.0, 24.0, math.inf, 24.0]}, r"position 3 \(5.004, inf\) is not a"),
        ({"latitude_deg": [24.0, 91.0, 24.0, 24.0]}, r"position 2 \(5.004, 91.0\) is not a"),
        ({"longitude_deg": [5.0, 700.0, 5.0, 5.0]}, r"position 2 \(700.0, 24.0\) is not a"),
        ({"longitude_deg": [5.0, 5.0, 5.1, 5.2]}, "positions 1 and 2 are the same; leave one"),
        ({"height_m": [1.0, 2.0, math.nan, 4.0]}, "has a height that is not a number"),
        ({"width_m": 0.0}, "a width of 0 m is not above 0"),
        ({"width_m": math.nan}, "a width of nan m is not above 0"),
        ({"name": " "}, "a track needs a name"),
    ],
)
def test_what_is_no_track_is_refused_with_a_sentence(change, sentence):
    given = {"longitude_deg": LONGITUDE, "latitude_deg": LATITUDE, "name": "Box", **change}

    with pytest.raises(TrackkitError, match=sentence) as refused:
        Track.from_arrays(**given)

    assert "\n" not in str(refused.value)
