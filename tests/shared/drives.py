"""Invented drives with known truth, for tests; shares nothing with `trackkit.simulation.simulate`.

Roads are made of straights and circular arcs, so that their lengths, positions and headings are
exact by school geometry.  A vehicle moves along them with piecewise constant acceleration.  The
plane is laid on the ellipsoid by geodesic azimuth and distance around a place (azimuthal
equidistant), not by the transverse Mercator projection that trackkit computes in.
"""

from dataclasses import dataclass, replace

import numpy as np
from pyproj import Geod
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

from trackkit.geometry.geodesy import unwrap_longitude
from trackkit.recordings.recording import Recording
from trackkit.track.features import Centreline, Gate
from trackkit.track.model import Track

GEOD = Geod(ellps="WGS84")
NODE_M = 0.5
HOME = (161.0, 47.0)


def on_earth(position_m, at=HOME):
    """Longitudes and latitudes of plane positions, metres east and north of a place."""
    position = np.asarray(position_m, dtype=float)
    azimuth = np.degrees(np.arctan2(position[..., 0], position[..., 1]))
    distance = np.hypot(position[..., 0], position[..., 1])
    longitude, latitude, _ = GEOD.fwd(
        np.full(distance.shape, at[0]), np.full(distance.shape, at[1]), azimuth, distance
    )
    return np.asarray(longitude), np.asarray(latitude)


@dataclass(frozen=True, eq=False)
class Road:
    """Straights (radius None) and arcs (radius, metres, positive to the left), joined smoothly."""

    pieces: tuple
    closed: bool = True
    start: tuple = (0.0, 0.0)
    heading_deg: float = 0.0  # anticlockwise from east

    @property
    def lengths(self):
        return np.array([length for length, _ in self.pieces])

    @property
    def length_m(self):
        return float(self.lengths.sum())

    def at(self, chainage_m):
        """Position and direction (unit vector) at chainages, metres."""
        chainage = np.asarray(chainage_m, dtype=float)
        if self.closed:
            chainage = chainage % self.length_m
        starts = np.concatenate([[0.0], np.cumsum(self.lengths)])
        bend = np.array([0.0 if r is None else 1.0 / r for _, r in self.pieces])
        heading = np.radians(self.heading_deg) + np.concatenate(
            [[0.0], np.cumsum(bend * self.lengths)]
        )
        corner = [np.asarray(self.start, dtype=float)]
        for length, k, h in zip(self.lengths, bend, heading[:-1], strict=True):
            corner.append(corner[-1] + _moved(length, k, h))
        index = np.clip(np.searchsorted(starts, chainage, side="right") - 1, 0, len(bend) - 1)
        along = chainage - starts[index]
        position = np.array(corner)[index] + _moved(along, bend[index], heading[index])
        turned = heading[index] + bend[index] * along
        return position, np.stack([np.cos(turned), np.sin(turned)], axis=-1)

    def radius(self, chainage_m):
        """Radius at chainages, metres (infinite on a straight)."""
        starts = np.concatenate([[0.0], np.cumsum(self.lengths)])
        chainage = np.asarray(chainage_m, dtype=float) % self.length_m
        index = np.clip(np.searchsorted(starts, chainage, side="right") - 1, 0, len(starts) - 2)
        radii = np.array([np.inf if r is None else abs(r) for _, r in self.pieces])
        return radii[index]

    def mirrored(self):
        """The road seen in a mirror: left-handers become right-handers."""
        flipped = tuple((length, None if r is None else -r) for length, r in self.pieces)
        return replace(
            self,
            pieces=flipped,
            heading_deg=-self.heading_deg,
            start=(self.start[0], -self.start[1]),
        )


def _moved(length, bend, heading):
    half = 0.5 * bend * length
    chord = length * np.sinc(half / np.pi)
    return np.stack([chord * np.cos(heading + half), chord * np.sin(heading + half)], axis=-1)


def arc(radius_m, degrees):
    """An arc piece: positive radius turns left."""
    return (abs(radius_m) * np.radians(degrees), radius_m)


def straight(length_m):
    return (length_m, None)


def stadium(straight_m=84.39, radius_m=36.80):
    """Two straights and two half circles, anticlockwise.

    By default the 400 m standard track of athletics: straights of 84.39 m and half circles
    measured at 36.80 m (World Athletics, Track and Field Facilities Manual; from memory).
    """
    half = arc(radius_m, 180)
    return Road(
        (straight(straight_m), half, straight(straight_m), half), start=(-straight_m / 2, -radius_m)
    )


def straights_joined(bend, lengths_m):
    """Straights of some lengths, and one and the same bend between each two of them."""
    pieces = [piece for length_m in lengths_m for piece in (bend, straight(length_m))]
    return tuple(pieces[1:])


def figure_of_eight(radius_m=60.0, apart_m=100.0):
    """Two circles about (apart, 0) and (-apart, 0) and the tangents that cross between them.

    Begins at the crossing; the line crosses itself at 0 and at half its length.
    """
    tangent = np.sqrt(apart_m**2 - radius_m**2)
    lean = np.degrees(np.arcsin(radius_m / apart_m))
    turn = 180.0 + 2.0 * lean
    return Road(
        (
            straight(tangent),
            arc(radius_m, turn),
            straight(2 * tangent),
            arc(-radius_m, turn),
            straight(tangent),
        ),
        heading_deg=-lean,
    )


def hairpin_circuit():
    """An invented kart circuit of 945 m; two of its legs run 8 m apart in opposite directions.

    Anticlockwise: east 200 m, hairpin left (radius 4 m), back west 150 m, right-hander of 20 m,
    east 150 m, left-hander of 15 m, west 200 m, and a left-hander of 39 m home.
    """
    return Road(
        (
            straight(200),
            arc(4, 180),
            straight(150),
            arc(-20, 180),
            straight(150),
            arc(15, 180),
            straight(200),
            arc(39, 180),
        ),
        start=(-80.0, -39.0),
    )


def block_circuit():
    """An invented circuit of 1,388.5 m round a block, anticlockwise, from mid straight.

    Bends of 30 m radius (47.12 m long) at 200, 447.12, 894.25 and 1,141.37 m; straights between.
    """
    return Road(straights_joined(arc(30, 90), (200, 200, 400, 200, 200)), start=(0.0, -130.0))


def hill_course():
    """An invented course from one point to another, 1,257 m: bends of 60 and 80 m radius."""
    return Road(
        (straight(300), arc(60, 90), straight(200), arc(-80, 120), straight(250), arc(100, 140)),
        closed=False,
        start=(-300.0, -200.0),
    )


def corner_speed(road, fastest_mps, lateral_mps2=8.0):
    """Speed allowed by chainage: v = sqrt(a R), at most the fastest."""
    return lambda chainage: np.minimum(fastest_mps, np.sqrt(lateral_mps2 * road.radius(chainage)))


@dataclass(frozen=True, eq=False)
class Outing:
    """A drive: positions at evenly spaced nodes of the way, and when each is reached and left."""

    way_m: np.ndarray
    position: object
    arrive_s: np.ndarray
    leave_s: np.ndarray
    speed_mps: np.ndarray
    road_from_m: float
    road: Road
    joined_m: float

    @property
    def duration_s(self):
        return float(self.leave_s[-1])

    def way(self, time_s):
        """Distance driven, and speed, at times."""
        time = np.asarray(time_s, dtype=float)
        index = np.clip(
            np.searchsorted(self.leave_s, time, side="right") - 1, -1, len(self.way_m) - 2
        )
        index = np.maximum(index, 0)
        since = np.clip(time - self.leave_s[index], 0.0, None)
        span = self.arrive_s[index + 1] - self.leave_s[index]
        standing = (time < self.leave_s[index]) | (since >= span)
        since = np.minimum(since, span)
        start, end = self.speed_mps[index], self.speed_mps[index + 1]
        rate = (end - start) / span
        return (
            self.way_m[index] + start * since + 0.5 * rate * since**2,
            np.where(standing, 0.0, start + rate * since),
        )

    def passes(self, chainage_m):
        """Times at which the vehicle passes a chainage of the road while on it."""
        first = (chainage_m - self.road_from_m) % self.road.length_m
        ways = []
        way = self.joined_m + first
        while way <= self.left_m:
            ways.append(way)
            way += self.road.length_m
            if not self.road.closed:
                break
        return [self.time_at(w) for w in ways]

    @property
    def left_m(self):
        return self.position.road_end

    def time_at(self, way_m):
        """When a distance is reached, seconds: the quadratic of constant acceleration."""
        index = int(np.clip(np.searchsorted(self.way_m, way_m) - 1, 0, len(self.way_m) - 2))
        start, end = self.speed_mps[index], self.speed_mps[index + 1]
        span = self.arrive_s[index + 1] - self.leave_s[index]
        rate, ahead = (end - start) / span, way_m - self.way_m[index]
        since = 2 * ahead / (start + np.sqrt(max(start**2 + 2 * rate * ahead, 0.0)))
        return float(self.leave_s[index] + since)

    def recording(
        self,
        rate_hz=10.0,
        *,
        doppler=False,
        noise=0.0,
        seed=0,
        at=HOME,
        height=None,
        name="invented",
        begin_s=0.0,
        end_s=None,
    ):
        """What a receiver would write; `noise` is a factor on the usual noise (docs/methods.md)."""
        end_s = self.duration_s if end_s is None else end_s
        time = begin_s + np.arange(int((end_s - begin_s) * rate_hz) + 1) / rate_hz
        way, speed = self.way(time)
        position, direction = self.position(way)
        velocity = direction * speed[:, None]
        generator = np.random.default_rng(seed)
        keep = np.exp(-1.0 / (rate_hz * 120.0))
        fresh = generator.standard_normal((len(time), 2)) * np.sqrt(1 - keep**2)
        fresh[0] = generator.standard_normal(2)
        wander = lfilter([1.0], [1.0, -keep], fresh, axis=0)
        white = 0.15 * generator.standard_normal((len(time), 2))
        noisy = velocity + noise * 0.05 * generator.standard_normal((len(time), 2))
        longitude, latitude = on_earth(position + noise * (wander + white), at)
        longitude = unwrap_longitude(longitude)
        course = None
        if doppler:
            from_home = (longitude - at[0] + 180.0) % 360.0 - 180.0
            meridians = from_home * np.sin(np.radians(latitude))
            course = (np.degrees(np.arctan2(noisy[:, 0], noisy[:, 1])) + meridians) % 360.0
        return Recording(
            name=name,
            time_s=time - time[0],
            longitude_deg=longitude,
            latitude_deg=latitude,
            speed_mps=np.hypot(noisy[:, 0], noisy[:, 1]) if doppler else None,
            course_deg=course,
            elevation_m=None if height is None else height(position),
        )


class _Way:
    """The whole way of an outing: out of the paddock, along the road, and back in."""

    def __init__(self, out, road, road_from, road_reach, back):
        self.out, self.road, self.back = out, road, back
        self.road_from = road_from
        self.out_length = _length(out)
        self.road_end = self.out_length + road_reach
        self.length = self.road_end + _length(back)

    def __call__(self, way_m):
        way = np.asarray(way_m, dtype=float)
        position, direction = self.road.at(
            self.road_from + np.clip(way - self.out_length, 0.0, self.road_end - self.out_length)
        )
        for line, inside, offset in (
            (self.out, way < self.out_length, 0.0),
            (self.back, way > self.road_end, self.road_end),
        ):
            if line is not None and inside.any():
                along = np.concatenate(
                    [[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))]
                )
                here = CubicSpline(along, line)
                position[inside] = here(way[inside] - offset)
                tangent = here(way[inside] - offset, 1)
                direction[inside] = tangent / np.linalg.norm(tangent, axis=1, keepdims=True)
        return position, direction


def _length(line):
    return 0.0 if line is None else float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _beside(road, chainage_m, ahead_left, *, side, end):
    """A smooth line through points given ahead and aside of a place on the road, joining it."""
    origin, ahead = road.at(float(chainage_m))
    aside = side * np.array([-ahead[1], ahead[0]])
    points = np.array(ahead_left, dtype=float) @ np.array([ahead, aside]) + origin
    away = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    clamp = ((2, np.zeros(2)), (1, ahead)) if end else ((1, ahead), (2, np.zeros(2)))
    spline = CubicSpline(away, points, bc_type=clamp)
    return spline(np.linspace(0.0, away[-1], int(away[-1] / 0.2) + 2))


def _wandering(loop_radius_m, loops):
    """Points of somebody walking or creeping about in the paddock before driving out."""
    centre = np.array([-95.0, -50.0 - loop_radius_m])
    angle = np.linspace(0.0, 2 * np.pi * loops, int(12 * loops) + 1)
    circle = centre + loop_radius_m * np.column_stack([np.sin(angle), np.cos(angle)])
    return [*circle.tolist(), [-75.0, -46.0], [-50.0, -30.0], [-25.0, -12.0], [0.0, 0.0]]


def drive(
    road,
    *,
    begin_m=0.0,
    reach_m=None,
    laps=1.0,
    cruise=20.0,
    acceleration_mps2=3.0,
    paddock=False,
    loop_radius_m=8.0,
    loops=1.5,
    stop_at_m=None,
    stop_s=60.0,
    parked_s=20.0,
    side=1.0,
    from_rest=False,
):
    """An outing: along the road from a chainage for some laps, and what lies around that.

    With `paddock`, the vehicle is parked beside the road, wanders about at 2 m/s, drives out by a
    pit exit, and parks again after leaving the road.  `side` 1 has the paddock to the right.
    """
    reach = road.length_m * laps if reach_m is None else reach_m
    out = back = None
    if paddock:
        out = _beside(road, begin_m, _wandering(loop_radius_m, loops), side=side, end=True)
        away = [[0.0, 0.0], [25.0, -12.0], [50.0, -30.0], [80.0, -45.0]]
        back = _beside(road, begin_m + reach, away, side=side, end=False)
    way = _Way(out, road, begin_m, reach, back)
    count = int(np.ceil(way.length / NODE_M))
    node = np.linspace(0.0, way.length, count + 1)
    on_road = (node >= way.out_length) & (node <= way.road_end)
    pace = cruise if callable(cruise) else (lambda s: np.full(len(s), float(cruise)))
    limit = np.where(on_road, pace(begin_m + node - way.out_length), 2.0)
    near = ~on_road & (node > way.out_length - 70.0)
    limit[near] = np.minimum(10.0, limit[on_road].max())
    wait = np.zeros(count + 1)
    if paddock or from_rest:
        limit[[0, -1]] = 0.0
        wait[[0, -1]] = parked_s
    if stop_at_m is not None:
        place = int(np.argmin(np.abs(node - way.out_length - stop_at_m)))
        limit[place], wait[place] = 0.0, stop_s
    squared = limit**2
    step = np.diff(node)
    for i in range(count):
        squared[i + 1] = min(squared[i + 1], squared[i] + 2 * acceleration_mps2 * step[i])
    for i in range(count - 1, -1, -1):
        squared[i] = min(squared[i], squared[i + 1] + 2 * acceleration_mps2 * step[i])
    speed = np.sqrt(squared)
    taken = 2 * step / (speed[:-1] + speed[1:])
    reached = np.concatenate([[0.0], np.cumsum(taken)])
    leave = reached + np.cumsum(wait)
    return Outing(node, way, leave - wait, leave, speed, begin_m, road, way.out_length)


def track_of(road, *, gates=(), at=HOME, name="Invented", spacing_m=4.0, **more):
    """A track through exact points of a road; gates: (id, kind, chainage[, half width])."""
    count = int(np.ceil(road.length_m / spacing_m))
    chainage = np.linspace(0.0, road.length_m, count + 1)
    position, _ = road.at(chainage)
    if road.closed:
        position[-1] = position[0]
    else:
        position[-1] = road.at(road.length_m - 1e-9)[0]
    longitude, latitude = on_earth(position, at)
    placed = []
    for gate_id, kind, where, *half in gates:
        left, right = gate_ends(road, where, half[0] if half else 8.0, at)
        placed.append(Gate(gate_id, kind, gate_id.title(), left, right, chainage_m=where))
    line = Centreline(unwrap_longitude(longitude), latitude, road.closed)
    details = {"direction": "anticlockwise" if road.closed else None, **more}
    return Track("invented", name, line, road.length_m, **details).with_gates(placed)


def gate_ends(road, chainage_m, half_m=8.0, at=HOME):
    """Left and right end, (longitude, latitude), of a gate square to the road."""
    middle, ahead = road.at(float(chainage_m))
    aside = np.array([-ahead[1], ahead[0]])
    longitude, latitude = on_earth(np.array([middle + half_m * aside, middle - half_m * aside]), at)
    (left, right) = zip(longitude.tolist(), latitude.tolist(), strict=True)
    return left, right
