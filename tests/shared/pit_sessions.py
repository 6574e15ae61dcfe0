"""Sessions on an invented circuit, some of whose laps leave the straight for the pit lane."""

from __future__ import annotations

import numpy as np
from drives import Road, arc, on_earth, straight, straights_joined
from scipy.interpolate import CubicSpline

from trackkit.geometry.curve import Curve
from trackkit.recordings.recording import Recording

ASIDE_M = 18.0


def rectangle():
    return Road(straights_joined(arc(40, 90), (250, 150, 500, 150, 250)))


def pit_offset(along_m, aside_m=ASIDE_M):
    """How far left of the road the pit lane is, -200 to 200 m from the middle of the straight."""
    shape = CubicSpline(
        [-200, -150, -120, 0, 120, 150, 200],
        [0, 0.8 * aside_m, aside_m, aside_m, aside_m, 0.8 * aside_m, 0],
        bc_type="clamped",
    )
    return shape(np.clip(along_m, -200.0, 200.0))


def bent():
    """The rectangle with a chicane in the straight that has no pit lane: 4 * 100 m * sin 20."""
    bend, reach = arc(40, 90), 250.0 - 200.0 * np.sin(np.radians(20.0))
    chicane = (straight(reach), arc(100, 20), arc(-100, 40), arc(100, 20), straight(reach))
    begin, side, end = straight(250), straight(150), straight(250)
    return Road((begin, bend, side, bend, *chicane, bend, side, bend, end))


def session(
    *, road=None, laps=6, visits=(2, 4), aside_m=ASIDE_M, pit_mps=16.0, stop_s=0.0, noise_m=0.0
):
    """Exact laps at 25 m/s; on some the straight is left for the pit lane, with a stop in it."""
    road = road or rectangle()
    way = np.arange(300.0, 300.0 + (laps + 0.4) * road.length_m, 1.0)
    lap, along = np.divmod(way + 250.0, road.length_m)
    along -= 250.0
    in_pits = np.isin(lap, visits) & (np.abs(along) < 200.0)
    position, ahead = road.at(way)
    aside = np.where(in_pits, pit_offset(along, aside_m), 0.0)
    position = position + aside[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    step = 1.0 / np.where(in_pits, pit_mps, 25.0)
    if stop_s:
        step[in_pits & (np.abs(along - 20.0) < 0.5)] += stop_s
    time = np.cumsum(step)
    fine = np.arange(time[0], time[-1], 0.1)
    position = np.column_stack([np.interp(fine, time, column) for column in position.T])
    position = position + np.random.default_rng(7).normal(0.0, noise_m, position.shape)
    return Recording("session", fine - fine[0], *on_earth(position))


def furthest_from_lane(track, lane):
    """How far the middle 300 m of the true pit lane is from the lane that was found, at most."""
    along = np.arange(-150.0, 150.0, 2.0)
    position, ahead = rectangle().at(along)
    true = position + pit_offset(along)[:, None] * np.column_stack([-ahead[:, 1], ahead[:, 0]])
    place = track.plane.to_plane(*on_earth(true))
    line = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    return float(np.abs(Curve.through(line, closed=False).project(place)[1]).max())
