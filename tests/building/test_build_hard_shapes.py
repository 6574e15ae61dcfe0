"""Circuits as they come: every hard shape builds, the right way round and in one piece."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import assert_is, closed_rectangle
from drives import Road, arc, corner_speed, drive, figure_of_eight, on_earth, stadium, straight
from scipy.interpolate import CubicSpline

from trackkit.building.build import build_track
from trackkit.geometry.shape import self_crossings
from trackkit.recordings.recording import Recording


def infield_hairpin():
    """980 m, anticlockwise; two legs 6 m apart, driven in opposite directions."""
    return Road(
        (
            straight(200),
            arc(3, 180),
            straight(160),
            arc(-21, 180),
            straight(160),
            arc(15, 180),
            straight(200),
            arc(39, 180),
        ),
        start=(-80.0, -39.0),
    )


def road_course():
    """20,057 m, clockwise, with long straights and corners of 20 to 400 m."""
    return Road(
        (
            straight(2500),
            arc(-40, 90),
            straight(1500),
            arc(60, 90),
            straight(1800),
            arc(-400, 90),
            straight(3000),
            arc(-20, 90),
            straight(3560 - 420 + 60 + 40 - 20 + 420),
            arc(-100, 90),
            straight(2580 - 460 + 1500 + 100 - 2740 + 2500 + 20 + 100 - 100),
            arc(-30, 90),
        ),
    )


def tiny_kart_track():
    """200 m: an indoor track round two hairpins of 5 m radius."""
    return Road(
        (
            straight(40),
            arc(5, 180),
            straight(30),
            arc(-5, 180),
            straight(30),
            arc(5, 180),
            straight(40),
            arc(15, 180),
        ),
    )


def built(road, *, laps=3.2, cruise=None, rate_hz=10, begin_m=30.0, at=(161.0, 47.0), **more):
    cruise = cruise or corner_speed(road, 25.0)
    recording = drive(road, begin_m=begin_m, laps=laps, cruise=cruise).recording(
        rate_hz, noise=1.0, seed=3, at=at, **({"doppler": True} | more)
    )
    return build_track([recording], "Invented").track


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [1, 5, 50])
def test_a_figure_of_eight_with_a_bridge(rate_hz):
    road = figure_of_eight()

    track = built(road, rate_hz=rate_hz)

    assert_is(track, road, direction=None)
    assert len(track.crossovers) == 1


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [5, 25])
@pytest.mark.parametrize("doppler", [True, False], ids=["doppler", "positions"])
def test_two_parts_of_the_track_six_metres_apart_in_opposite_directions(rate_hz, doppler):
    road = infield_hairpin()

    track = built(road, rate_hz=rate_hz, doppler=doppler)

    assert_is(track, road, direction="anticlockwise", length=0.01)
    assert self_crossings(track.curve) == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "at", [(179.9995, -27.0), (-180.0, 12.0), (5.7, 70.0)], ids=["astride", "on-it", "70-north"]
)
def test_a_circuit_astride_the_antimeridian_or_at_70_north(at):
    road = infield_hairpin()

    assert_is(built(road, at=at), road, direction="anticlockwise", at=at, length=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [5, 10, 25])
def test_an_indoor_kart_track_of_200_m(rate_hz):
    road = tiny_kart_track()
    assert 200 < road.length_m < 250

    track = built(road, laps=8.2, cruise=corner_speed(road, 12.0), rate_hz=rate_hz)

    assert_is(track, road, direction="anticlockwise", within_m=3.5, length=0.02)


@pytest.mark.slow
def test_a_road_course_of_20_km():
    road = closed_rectangle(5000.0, 4900.0, 60.0)
    assert road.length_m > 20_000

    track = built(road, laps=1.1, cruise=corner_speed(road, 55.0), rate_hz=5, begin_m=900.0)

    assert_is(track, road, direction="anticlockwise", length=1e-3)


def test_an_oval():
    road = stadium(straight_m=500.0, radius_m=250.0)

    assert_is(built(road, cruise=60.0, laps=5.2), road, direction="anticlockwise", length=1e-3)


def test_a_recording_that_starts_on_the_circuit_in_mid_corner():
    road = closed_rectangle(300.0, 120.0, 25.0)

    track = built(road, begin_m=160.0, laps=2.1)

    assert_is(track, road, direction="anticlockwise")


@pytest.mark.slow
@pytest.mark.parametrize("where_m", [500.0, 760.0], ids=["straight", "half-a-bend"])
def test_a_tunnel_with_no_fixes_for_ten_seconds_on_the_only_lap(where_m):
    road = stadium(straight_m=400.0, radius_m=120.0)
    whole = drive(road, begin_m=30.0, laps=1.2, cruise=20.0).recording(10, doppler=True)
    away = (where_m - 30.0) / 20.0
    inside = (whole.time_s > away) & (whole.time_s < away + 10.0)
    columns = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    gapped = replace(whole, **{name: getattr(whole, name)[~inside] for name in columns})

    result = build_track([gapped], "Tunnel")

    # 200 m of a bend of 120 m radius are found again from how it is entered and left.
    assert_is(result.track, road, direction="anticlockwise", within_m=6.0, length=0.01)
    assert any("no fixes there" in remark for remark in result.remarks)


@pytest.mark.slow
def test_a_start_finish_straight_beside_which_the_pit_lane_runs():
    road = closed_rectangle(500.0, 150.0, 40.0)
    recording = with_pit_visits(road, laps=6, visits=(2, 4))

    result = build_track([recording], "Pits")

    assert_is(result.track, road, direction="anticlockwise", within_m=0.6)


def with_pit_visits(road, *, laps, visits, aside_m=18.0, speed_mps=16.0, cruise=25.0):
    """Exact laps; on some of them the straight from -200 m to 200 m is left for the pit lane."""
    pit = CubicSpline(
        [-200, -150, -120, 0, 120, 150, 200],
        [0, aside_m * 0.8, aside_m, aside_m, aside_m, aside_m * 0.8, 0],
        bc_type="clamped",
    )
    way = np.arange(300.0, 300.0 + (laps + 0.4) * road.length_m, 1.0)
    lap, along = np.divmod(way + 250.0, road.length_m)
    along -= 250.0
    in_pits = np.isin(lap, visits) & (np.abs(along) < 200.0)
    position, ahead = road.at(way)
    aside = np.where(in_pits, pit(np.clip(along, -200.0, 200.0)), 0.0)
    position += aside[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    time = np.cumsum(1.0 / np.where(in_pits, speed_mps, cruise))
    fine = np.arange(time[0], time[-1], 0.1)
    position = CubicSpline(time, position)(fine)
    longitude, latitude = on_earth(position)
    return Recording("pits", fine - fine[0], longitude, latitude)
