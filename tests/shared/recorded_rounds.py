"""Rounds of invented circuits recorded by an invented receiver, with the line they repeat known.

The truth shares nothing with what is tested: circuits are polygons rounded by a Gaussian, drives
are numbers along them, noise is drawn here, and degrees come from the radii of curvature of the
WGS 84 ellipsoid (its published axes).  Only `Recording` is trackkit's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter
from scipy.spatial import cKDTree

from trackkit.recordings.recording import Recording

PLACE = (162.0, 47.0)
_EQUATOR_M, _FLATTENING = 6_378_137.0, 1 / 298.257223563
_STEP_M = 0.5
_FINE_S = 0.02


@dataclass(frozen=True)
class Plan:
    """What is driven or walked, and what records it; sigmas are one axis each."""

    kind: str
    seed: int
    laps: int
    length_m: float
    corner_m: float
    fastest_mps: float
    sideways_mps2: float
    rate_hz: float
    wander_m: float = 1.0
    wander_s: float = 120.0
    white_m: float = 0.15
    doppler_mps: float | None = 0.05
    repeated_m: float = 0.7
    deviation_m: float = 0.4
    accuracy: bool = False
    hdop: float | None = None
    tunnel: tuple[float, float] | None = None
    """Share of the lap where it begins, and metres."""
    keep: Callable[[Drive], np.ndarray] | None = field(default=None, compare=False)
    """Chooses the fixes that a sparse logger writes, by index."""


@dataclass(frozen=True, eq=False)
class Drive:
    """The true drive at the receiver's instants."""

    time_s: np.ndarray
    way_m: np.ndarray
    position_m: np.ndarray
    course_deg: np.ndarray
    speed_mps: np.ndarray


@dataclass(frozen=True, eq=False)
class Round:
    """A recording, and the line that its laps repeat, every half metre, shape (n, 2)."""

    plan: Plan
    recording: Recording
    line_m: np.ndarray

    def aside_m(self, longitude_deg: np.ndarray, latitude_deg: np.ndarray) -> np.ndarray:
        """How far places are from the line that is repeated, metres."""
        near, index = cKDTree(self.line_m).query(place := _metres(longitude_deg, latitude_deg))
        count = len(self.line_m)
        best = near
        for step in (-1, 1):
            begin, end = self.line_m[index], self.line_m[(index + step) % count]
            along = end - begin
            share = np.einsum("ij,ij->i", place - begin, along) / np.sum(along**2, axis=1)
            foot = begin + np.clip(share, 0.0, 1.0)[:, None] * along
            best = np.minimum(best, np.linalg.norm(place - foot, axis=1))
        return best


def _scales() -> tuple[float, float]:
    """Metres a degree of longitude and of latitude at the place."""
    sine = np.sin(np.radians(PLACE[1]))
    square = _FLATTENING * (2 - _FLATTENING)
    across = _EQUATOR_M / np.sqrt(1 - square * sine**2)
    meridian = _EQUATOR_M * (1 - square) / (1 - square * sine**2) ** 1.5
    return np.radians(across * np.cos(np.radians(PLACE[1]))), np.radians(meridian)


def _metres(longitude_deg: np.ndarray, latitude_deg: np.ndarray) -> np.ndarray:
    # Over a circuit's extent meridians converge by 1 in 4,000 at most, of errors not of places:
    # truth and recording go through the same scales.
    east, north = _scales()
    longitude = (np.asarray(longitude_deg) - PLACE[0]) * east
    return np.column_stack([longitude, (np.asarray(latitude_deg) - PLACE[1]) * north])


def _circuit(generator: np.random.Generator, length_m: float, corner_m: float) -> np.ndarray:
    """Round an invented polygon; positions every `_STEP_M`, closed, shape (n, 2)."""
    count = int(generator.integers(6, 10))
    angle = (np.arange(count) + generator.uniform(-0.3, 0.3, count)) * 2 * np.pi / count
    radius = generator.uniform(0.45, 1.0, count)
    corner = np.column_stack([1.5 * radius * np.cos(angle), radius * np.sin(angle)])
    if generator.random() < 0.5:
        corner = corner[::-1]
    for _ in range(2):
        ring = np.vstack([corner, corner[:1]])
        corner = corner * length_m / np.linalg.norm(np.diff(ring, axis=0), axis=1).sum()
    fine = _evenly(np.vstack([corner, corner[:1]]))
    rounded = gaussian_filter1d(fine, corner_m / _STEP_M, axis=0, mode="wrap")
    turn = generator.uniform(0, 2 * np.pi)
    turning = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return _evenly(np.vstack([rounded, rounded[:1]])) @ turning.T


def _evenly(ring: np.ndarray) -> np.ndarray:
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    at = np.linspace(0.0, way[-1], round(way[-1] / _STEP_M), endpoint=False)
    return np.column_stack([np.interp(at, way, ring[:, axis]) for axis in (0, 1)])


def _left(line: np.ndarray) -> np.ndarray:
    ahead = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    return np.column_stack([-ahead[:, 1], ahead[:, 0]])


def _smooth(generator: np.random.Generator, count: int, over_m: float) -> np.ndarray:
    """A smooth sideways course of unit variance along a way, every `_STEP_M`."""
    rough = gaussian_filter1d(generator.standard_normal(count), over_m / _STEP_M, mode="wrap")
    return rough / rough.std()


def _pace(line: np.ndarray, plan: Plan) -> np.ndarray:
    """Speed along the line, as tyres and brakes have it."""
    left = _left(line)
    ahead = np.column_stack([left[:, 1], -left[:, 0]])
    bend = np.linalg.norm(np.roll(ahead, -1, axis=0) - ahead, axis=1) / _STEP_M
    bend = gaussian_filter1d(bend, 4 / _STEP_M, mode="wrap")
    speed = np.minimum(plan.fastest_mps, np.sqrt(plan.sideways_mps2 / np.maximum(bend, 1e-6)))
    speed = np.tile(speed, 3)
    for index in range(1, len(speed)):
        speed[index] = min(speed[index], np.sqrt(speed[index - 1] ** 2 + 2 * 4.0 * _STEP_M))
    for index in range(len(speed) - 2, -1, -1):
        speed[index] = min(speed[index], np.sqrt(speed[index + 1] ** 2 + 2 * 7.0 * _STEP_M))
    middle = speed[len(line) : 2 * len(line)]
    return gaussian_filter1d(middle, 6 / _STEP_M, mode="wrap")


def _slow(generator: np.random.Generator, time_s: np.ndarray, over_s: float) -> np.ndarray:
    """A first-order Gauss-Markov course of unit variance on two axes, by even steps."""
    kept = np.exp(-(time_s[1] - time_s[0]) / over_s)
    fresh = generator.standard_normal((len(time_s), 2)) * np.sqrt(1 - kept**2)
    fresh[0] /= np.sqrt(1 - kept**2)
    return lfilter([1.0], [1.0, -kept], fresh, axis=0)


def recorded(plan: Plan, aside_m: float = 0.0) -> Round:
    """Drive or walk a plan's laps, so far to the left of its circuit, and record them."""
    generator = np.random.default_rng(plan.seed)
    road = _circuit(generator, plan.length_m, plan.corner_m)
    if aside_m:
        road = road + aside_m * _left(road)
        generator = np.random.default_rng([plan.seed, round(100 * (aside_m + 50.0))])
    repeated = plan.repeated_m * _smooth(generator, len(road), 25.0)
    line = _evenly((ring := road + repeated[:, None] * _left(road))[[*range(len(ring)), 0]])
    pace = _pace(line, plan)
    before, after = 25.0, 35.0
    count = plan.laps * len(line) + round((before + after) / _STEP_M)
    index = (np.arange(count) - round(before / _STEP_M)) % len(line)
    deviation = plan.deviation_m * _smooth(generator, count, 30.0)
    driven = line[index] + deviation[:, None] * _left(line)[index]
    lap = (np.arange(count) - round(before / _STEP_M)) // len(line)
    form = 1 + 0.01 * generator.standard_normal(plan.laps + 2)
    speed = pace[index] * gaussian_filter1d(form[lap + 1], 20 / _STEP_M)
    length = np.linalg.norm(np.diff(driven, axis=0), axis=1)
    when = np.concatenate([[0.0], np.cumsum(length / (0.5 * (speed[1:] + speed[:-1])))])

    fine = np.arange(0.0, when[-1], _FINE_S)
    way = gaussian_filter1d(np.interp(fine, when, np.arange(count)), 0.1 / _FINE_S, mode="nearest")
    place = np.column_stack([np.interp(way, np.arange(count), driven[:, axis]) for axis in (0, 1)])
    place = gaussian_filter1d(place, 0.05 / _FINE_S, axis=0, mode="nearest")
    velocity = np.gradient(place, _FINE_S, axis=0)
    every = round(1 / (plan.rate_hz * _FINE_S))
    time = fine[::every]
    velocity = velocity[::every]
    if plan.doppler_mps is not None:
        velocity = velocity + plan.doppler_mps * generator.standard_normal(velocity.shape)
    truth = Drive(
        time,
        way[::every] * _STEP_M - before,
        place[::every],
        np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360.0,
        np.hypot(velocity[:, 0], velocity[:, 1]),
    )
    wander = plan.wander_m * _slow(generator, time, plan.wander_s)
    seen = truth.position_m + wander + plan.white_m * generator.standard_normal(wander.shape)
    kept = np.arange(len(time)) if plan.keep is None else plan.keep(truth)
    if plan.tunnel is not None:
        inside = (truth.way_m / _STEP_M / len(line) - plan.tunnel[0]) % 1.0
        kept = kept[inside[kept] * _STEP_M * len(line) > plan.tunnel[1]]
    east, north = _scales()
    one_axis = np.hypot(plan.wander_m, plan.white_m)
    recording = Recording.from_arrays(
        time[kept],
        PLACE[0] + seen[kept, 0] / east,
        PLACE[1] + seen[kept, 1] / north,
        name=f"{plan.kind}-{plan.seed}.csv",
        speed_mps=None if plan.doppler_mps is None else truth.speed_mps[kept],
        course_deg=None if plan.doppler_mps is None else truth.course_deg[kept],
        # 68 % of a circular normal error lie within sqrt(-2 ln 0.32) sigma (Rayleigh 1880).
        accuracy_m=np.full(len(kept), one_axis * np.sqrt(-2 * np.log(0.32)))
        if plan.accuracy
        else None,
        hdop=None if plan.hdop is None else np.full(len(kept), plan.hdop),
    )
    return Round(plan, recording, line)


def every_so_long(interval_s: float) -> Callable[[Drive], np.ndarray]:
    """A logger that writes a fix every so many seconds."""

    def keep(drive: Drive) -> np.ndarray:
        number = np.floor(drive.time_s / interval_s + 1e-9)
        return np.flatnonzero(np.diff(number, prepend=-1.0) > 0)

    return keep


def where_it_turns(turned_deg: float, longest_s: float) -> Callable[[Drive], np.ndarray]:
    """A logger that writes a fix when the course has changed, or a while has gone by."""

    def keep(drive: Drive) -> np.ndarray:
        chosen = [0]
        for index in range(1, len(drive.time_s)):
            turned = drive.course_deg[index] - drive.course_deg[chosen[-1]]
            turned = abs((turned + 180) % 360 - 180)
            if turned > turned_deg or drive.time_s[index] - drive.time_s[chosen[-1]] >= longest_s:
                chosen.append(index)
        return np.array(chosen)

    return keep


def plans(first_seed: int, count: int) -> list[Plan]:
    """Plans of every kind, `count` of each, as unlike each other as recordings are."""
    made = []
    for number in range(count):
        seed = first_seed + number
        choice = np.random.default_rng([seed, 77])
        laps = int(choice.choice([1, 2, 3, 5, 8, 12, 20]))
        kart = {
            "length_m": choice.uniform(700, 1400),
            "corner_m": choice.uniform(6, 10),
            "fastest_mps": choice.uniform(18, 30),
            "sideways_mps2": 15.0,
        }
        car = {
            "length_m": choice.uniform(2000, 4500),
            "corner_m": choice.uniform(15, 30),
            "fastest_mps": choice.uniform(35, 65),
            "sideways_mps2": 10.0,
        }
        loop = {**car, "fastest_mps": choice.uniform(12, 25), "sideways_mps2": 3.0}
        few = int(choice.choice([1, 2, 3, 6]))
        with_velocity = 0.05 if choice.random() < 0.6 else None
        made += [
            Plan("kart", seed, laps, rate_hz=choice.choice([5, 10, 25]), **kart),
            Plan(
                "car",
                seed + 100_000,
                laps,
                rate_hz=choice.choice([1, 5, 10, 25]),
                doppler_mps=with_velocity,
                **car,
            ),
            Plan(
                "phone",
                seed + 200_000,
                laps,
                rate_hz=1,
                wander_m=choice.uniform(2.0, 4.0),
                wander_s=60.0,
                white_m=0.3,
                doppler_mps=0.1 if with_velocity else None,
                accuracy=True,
                **(kart if number % 2 else car),
            ),
            Plan(
                "walk",
                seed + 300_000,
                1 if number % 3 else 2,
                rate_hz=1,
                wander_m=1.5 if number % 2 else 1.0,
                doppler_mps=None,
                repeated_m=0.4,
                deviation_m=0.3,
                accuracy=number % 4 == 1,
                hdop=1.5 if number % 4 == 3 else None,
                length_m=choice.uniform(600, 1400),
                corner_m=8.0,
                fastest_mps=choice.uniform(1.2, 1.7),
                sideways_mps2=5.0,
            ),
            Plan(
                "sparse",
                seed + 400_000,
                few,
                rate_hz=1 if number % 2 else 10,
                doppler_mps=with_velocity if number % 4 < 2 else None,
                keep=where_it_turns(choice.uniform(10, 30), choice.uniform(10, 50))
                if number % 2
                else every_so_long(float(choice.choice([2, 3, 5, 8]))),
                **loop,
            ),
            Plan(
                "tunnel",
                seed + 500_000,
                min(laps, 5),
                rate_hz=10,
                doppler_mps=with_velocity,
                tunnel=(choice.uniform(0.1, 0.9), choice.uniform(40, 150)),
                **(kart if number % 2 else car),
            ),
        ]
    return made
