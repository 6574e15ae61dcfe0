"""Which circuit a position is at: distances by geographiclib, and what they mean."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, stadium
from hypothesis import given, settings
from hypothesis import strategies as st
from library_entries import EARTH, known_at, locate, shifted, track_at

from trackkit.geometry.geodesy import distance_to_polyline, wrap_longitude
from trackkit.library.known import Candidate, Located, circuit_of


def distance_by_geographiclib(longitude, latitude, line):
    """Distance to a polyline of geodesics: every vertex, then ternary search beside the nearest.

    Karney, Algorithms for geodesics, 2013; geographiclib is his own implementation.
    """
    vertex = list(
        zip(wrap_longitude(line.longitude_deg).tolist(), line.latitude_deg.tolist(), strict=True)
    )
    away = [EARTH.Inverse(latitude, longitude, lat, lon)["s12"] for lon, lat in vertex]
    best = min(away)
    for index in np.argsort(away)[:3].tolist():
        for a, b in ((index - 1, index), (index, index + 1)):
            if a < 0 or b >= len(vertex):
                continue
            (lon1, lat1), (lon2, lat2) = vertex[a], vertex[b]
            segment = EARTH.InverseLine(lat1, lon1, lat2, lon2)

            def at(share, segment=segment):
                place = segment.Position(share * segment.s13)
                return EARTH.Inverse(latitude, longitude, place["lat2"], place["lon2"])["s12"]

            low, high = 0.0, 1.0
            for _ in range(16):
                third = (high - low) / 3
                if at(low + third) < at(high - third):
                    high -= third
                else:
                    low += third
            best = min(best, at(0.5 * (low + high)))
    return best


def test_an_empty_library_knows_no_circuit():
    found = locate([], 161.0, 47.0)

    assert (found.answer, found.candidates, found.tied) == ("none", (), ())


# Distance


@pytest.mark.slow
@pytest.mark.parametrize(
    "at",
    [(161.0, 47.0), (180.0, -27.0), (-179.9995, 48.0), (5.7, 70.0), (30.0, 89.99), (0.0, -89.995)],
    ids=["home", "antimeridian", "east-of-it", "70-north", "north-pole", "south-pole"],
)
@pytest.mark.parametrize(
    ("north_m", "east_m"), [(0.0, 0.0), (37.0, 12.0), (-30.0, 95.0), (800.0, -650.0), (0.0, 4e4)]
)
def test_distance_is_the_geodesic_to_the_nearest_point_of_the_line(at, north_m, east_m):
    known = known_at(at)
    longitude, latitude = shifted(at, north_m, east_m)

    (candidate,) = locate([known], longitude, latitude).candidates

    assert candidate.distance_m == pytest.approx(
        distance_by_geographiclib(longitude, latitude, known), abs=0.1
    )


@pytest.mark.parametrize("where", [(0.0, 90.0), (123.0, -90.0), (-169.0, -47.0), (179.99, 0.0)])
def test_distance_is_true_from_the_poles_and_from_the_other_side_of_the_earth(where):
    known = known_at((161.0, 47.0))

    (candidate,) = locate([known], *where).candidates

    assert candidate.distance_m == pytest.approx(distance_by_geographiclib(*where, known), abs=0.1)


def test_longitudes_of_360_degrees_more_are_the_same_place():
    known = known_at((180.0, -27.0))

    far = [locate([known], longitude, -17.01).candidates[0].distance_m for longitude in (-180, 180)]

    assert far[0] == pytest.approx(far[1], abs=1e-6)


SPREAD = [
    known_at((161.0 + 0.011 * n, 47.0 + 0.007 * ((n * 5) % 7)), f"t{n}", road=road)
    for n, road in enumerate([stadium(), block_circuit(), hill_course()] * 4)
] + [known_at((179.999, -27.0), "date-line"), known_at((-20.0, 1.0), "mid-atlantic")]


@settings(max_examples=40, deadline=None)
@given(
    st.one_of(
        st.tuples(st.floats(160.95, 161.2), st.floats(46.95, 47.1)),
        st.tuples(st.floats(-180, 180), st.floats(-90, 90)),
    )
)
def test_the_nearest_three_of_many_are_those_of_measuring_every_one(place):
    every = {
        one.id: distance_to_polyline(*place, one.longitude_deg, one.latitude_deg) for one in SPREAD
    }

    found = locate(SPREAD, *place).candidates

    # Of circuits equally far, to a centimetre or two, any may be named.
    assert [c.distance_m for c in found[:3]] == pytest.approx(sorted(every.values())[:3], abs=0.02)
    assert [c.distance_m for c in found] == pytest.approx([every[c.id] for c in found], abs=0.02)


def test_a_wrong_declared_length_hides_no_circuit():
    # At the far side of a circuit whose file declares 1 m, and whose first position is some 260 m
    # away; three others are a little farther than its line.
    wrong = replace(known_at((161.0, 47.0), "wrong", road=block_circuit()), length_m=1.0)
    longitude, latitude = on_earth(block_circuit().at(694.0)[0] + np.array([0.0, 5.0]))
    near = [
        known_at(shifted((float(longitude), float(latitude)), 120.0, 130.0 * n), f"near-{n}")
        for n in range(3)
    ]

    found = locate([*near, wrong], float(longitude), float(latitude))

    assert found.candidates[0].id == "wrong"


# The answer


@pytest.mark.parametrize(
    ("away_m", "answer"),
    [(0.0, "at"), (29.0, "at"), (31.0, "near"), (4_990.0, "near"), (5_010.0, "none")],
)
def test_at_within_30_m_near_within_the_radius_else_none(away_m, answer):
    # South of the straight that runs along y = -36.80 m.
    known = known_at((161.0, 47.0))
    longitude, latitude = shifted((161.0, 47.0), -36.80 - away_m, 0.0)

    found = locate([known], longitude, latitude)

    assert found.answer == answer
    assert found.candidates[0].distance_m == pytest.approx(away_m, abs=0.3)


def test_a_band_wider_than_60_m_makes_at_wider():
    track = track_at((161.0, 47.0))
    line = replace(track.centreline, width_m=90.0)
    known, wide = (
        circuit_of(each, Path("invented.geojson"))
        for each in (track, replace(track, centreline=line))
    )
    longitude, latitude = shifted((161.0, 47.0), -36.80 - 40.0, 0.0)

    assert locate([known], longitude, latitude).answer == "near"
    assert locate([wide], longitude, latitude).answer == "at"


def test_the_radius_may_be_given():
    longitude, latitude = shifted((161.0, 47.0), -636.8, 0.0)

    assert locate([known_at((161.0, 47.0))], longitude, latitude, radius_m=500.0).answer == "none"
    assert locate([known_at((161.0, 47.0))], longitude, latitude, radius_m=700.0).answer == "near"


def test_layouts_that_share_tarmac_are_a_tie_and_all_named():
    layouts = [known_at((161.0, 47.0), f"home-{n}", layout=f"Layout {n}") for n in range(5)]
    elsewhere = known_at((161.2, 47.0), "elsewhere")
    longitude, latitude = shifted((161.0, 47.0), -36.80, 5.0)

    found = locate([elsewhere, *layouts], longitude, latitude)

    assert found.answer == "at"
    assert sorted(found.tied) == [f"home-{n}" for n in range(5)]
    assert sorted(c.id for c in found.candidates) == [f"home-{n}" for n in range(5)]
    assert {c.layout for c in found.candidates} == {f"Layout {n}" for n in range(5)}


def test_one_circuit_is_no_tie():
    known = [known_at((161.0, 47.0), "here"), known_at((161.1, 47.0), "there")]

    assert locate(known, 161.0, 46.99967).tied == ()


def test_candidates_carry_what_tells_layouts_apart():
    (candidate,) = locate([known_at((161.0, 47.0), layout="Long")], 161.0, 47.0).candidates

    assert (candidate.id, candidate.name, candidate.layout, candidate.direction) == (
        "invented",
        "Invented",
        "Long",
        "anticlockwise",
    )


def test_candidates_and_answers_as_json_are_as_exact_as_they_are_known():
    candidate = Candidate("a", "A", "Long", None, 12.34567, 0.123456, reversed=True)
    row = candidate.as_row()

    # A distance to a millimetre, a probability to a ten-thousandth, a place to a decimetre.
    assert (row["distance_m"], row["probability"], row["reversed"]) == (12.346, 0.1235, True)
    assert replace(candidate, probability=None).as_row()["probability"] is None
    answer = Located("at", (candidate,), ("a", "b"), 295.04, 0.98764).as_row()
    assert (answer["part_at_m"], answer["unknown"]) == (295.0, 0.9876)
    assert answer["candidates"] == [row]
    nothing = Located("none", (), ()).as_row()
    assert (nothing["part_at_m"], nothing["unknown"]) == (None, None)
