"""An invented drive round a track, as exact smooth functions of time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Flags, Floats
from trackkit.geometry.curve import Curve
from trackkit.motion.vehicle import Vehicle, vehicle_for
from trackkit.track.model import Track

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline


KNOT_S = 0.1
"""Time between the knots of the driven path, seconds."""
PARKED_S = 12.0
"""How long the vehicle stands before it pulls away, and after it has parked, seconds."""
STOP_S = 8.0
"""How long a stop on the way takes, seconds."""
GENTLE_MPS2 = 1.5
"""Acceleration and braking beside the track, metres per second squared."""
SLOW_PACE = 0.8
"""Pace of an out lap or an in lap against a flying lap."""

_NODE_M = 1.0
_FINE_S = 0.02
_EASE_S = 0.8
_LINE_SPACING_M = 75.0
_BEFORE_START_M = 15.0


@dataclass(frozen=True, eq=False)
class Run:
    """One unbroken stretch of driving.

    Parameters
    ----------
    path
        Cubic spline of plane positions, metres, against time, seconds: twice continuously
        differentiable, and what the drive *is*; nothing else needs to be consulted.
    chainage
        Cubic spline of the distance along the centreline, metres, against time.  It grows
        beyond the length with every lap.
    """

    path: CubicSpline
    chainage: CubicSpline

    @property
    def start_s(self) -> float:
        """When the run begins, seconds."""
        return float(self.path.x[0])

    @property
    def end_s(self) -> float:
        """When the run ends, seconds."""
        return float(self.path.x[-1])


def drive(
    track: Track,
    generator: np.random.Generator,
    *,
    laps: int,
    lap_variation: float,
    line_variation_m: float,
    stop: bool,
) -> tuple[Run, ...]:
    """Invent a drive.

    On a closed track there is one run: standing beside the track, an out lap, `laps` flying laps,
    an in lap, standing again.  On an open one there are `laps` runs from standing before the
    start gate to standing beyond the finish gate; the way back is left out.

    Parameters
    ----------
    track
        Where.
    generator
        Source of the variation.
    laps
        Flying laps, or runs of an open track.
    lap_variation
        About the standard deviation of lap times, as a share of the lap time.
    line_variation_m
        Standard deviation of the distance between the driven line and the centreline, metres.
    stop
        Whether the vehicle stops on the way of the out lap or of the first run.
    """
    vehicle = vehicle_for(track)
    if track.closed:
        return (_lapping(track, vehicle, generator, laps, lap_variation, line_variation_m, stop),)
    runs: list[Run] = []
    begin_s = 0.0
    for number in range(laps):
        first = number == 0
        run = _course(
            track, vehicle, generator, lap_variation, line_variation_m, stop and first, begin_s
        )
        runs.append(run)
        # The way back takes about as long as the run, and starts on a whole second.
        begin_s = float(np.ceil(run.end_s + 2.0 * (run.end_s - run.start_s)))
    return tuple(runs)


def _lapping(
    track: Track,
    vehicle: Vehicle,
    generator: np.random.Generator,
    laps: int,
    lap_variation: float,
    line_variation_m: float,
    stop: bool,
) -> Run:
    curve = track.curve
    length = curve.length_m
    finish_m = _gate_chainage(track, "finish", 0.0)
    parked_m, aside_m, join_m = _parking(track, vehicle, finish_m)
    # Chainages below are counted from the finish gate.
    in_lap_m = (laps + 1) * length
    beside_finish = abs(parked_m) < join_m
    end_m = in_lap_m + parked_m + (length if beside_finish else 0.0)
    # Whole turns, each with the same nodes, so that equal laps take equal times.
    turns = round((end_m - parked_m) / length)
    node = np.linspace(parked_m, end_m, turns * int(np.ceil(length / _NODE_M)) + 1)

    middle = _middles_of_thirds(parked_m, end_m, length)
    # One third next to the flying laps is driven at full pace, so that none of them is slowed.
    slow = (middle < 2 / 3 * length) | (middle > in_lap_m + length / 3)
    pace = _pace(node, middle, np.where(slow, SLOW_PACE, 1.0), lap_variation, generator)

    beside = (node < parked_m + join_m) | (node > end_m - join_m)
    stop_m = None
    if stop:
        candidates = np.linspace(parked_m + 0.4 * length, parked_m + 0.6 * length, 21)
        if not beside_finish:
            candidates = parked_m + np.linspace(0.4, 0.6, 21) * (length - parked_m)
        stop_m = _clear_of_gates(track, candidates, finish_m)
    time_s, chainage_m = _timed(curve, vehicle, node, finish_m, pace, beside, stop_m)

    line = _line(track, chainage_m, line_variation_m, generator)
    joined = _step((chainage_m - parked_m) / join_m) * _step((end_m - chainage_m) / join_m)
    offset_m = line * joined + aside_m * (1.0 - joined)
    return _run(curve, time_s, chainage_m + finish_m, offset_m)


def _course(
    track: Track,
    vehicle: Vehicle,
    generator: np.random.Generator,
    lap_variation: float,
    line_variation_m: float,
    stop: bool,
    begin_s: float,
) -> Run:
    curve = track.curve
    start_m = _gate_chainage(track, "start", 0.0)
    finish_m = _gate_chainage(track, "finish", curve.length_m)
    begin_m = start_m - _BEFORE_START_M
    end_m = finish_m + vehicle.top_mps**2 / vehicle.braking_mps2 + _BEFORE_START_M
    node = np.linspace(begin_m, end_m, int(np.ceil((end_m - begin_m) / _NODE_M)) + 1)
    middle = start_m + (np.arange(3) + 0.5) * (finish_m - start_m) / 3
    pace = _pace(node, middle, np.ones(3), lap_variation, generator)
    stop_m = None
    if stop:
        share = np.linspace(0.4, 0.6, 21)
        stop_m = _clear_of_gates(track, start_m + share * (finish_m - start_m), 0.0)
    time_s, chainage_m = _timed(
        curve, vehicle, node, 0.0, pace, np.zeros(len(node), dtype=bool), stop_m
    )
    line = _line(track, chainage_m, line_variation_m, generator)
    return _run(curve, time_s + begin_s, chainage_m, line)


def _run(curve: Curve, time_s: Floats, chainage_m: Floats, offset_m: Floats) -> Run:
    from scipy.interpolate import CubicSpline

    position = curve.extended_position(chainage_m) + offset_m[:, None] * curve.left(chainage_m)
    return Run(
        CubicSpline(time_s, position, bc_type="clamped"),
        CubicSpline(time_s, chainage_m, bc_type="clamped"),
    )


def _gate_chainage(track: Track, kind: str, otherwise_m: float) -> float:
    for gate in track.gates:
        if gate.kind == kind:
            chainage, _ = track.curve.project(track.gate_ends(gate).mean(axis=0))
            return float(chainage)
    return otherwise_m


def _step(share: ArrayLike) -> Floats:
    """Rise from 0 to 1 with no first or second derivative at either end."""
    x = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    return np.asarray(x**3 * (10.0 - 15.0 * x + 6.0 * x**2))


def _middles_of_thirds(begin_m: float, end_m: float, length_m: float) -> Floats:
    """Middles of the thirds of all laps that a drive touches, and of one third beyond, metres."""
    # Where a drive is whole laps long, the last digit of their length must not ask for another.
    first, last = np.floor(begin_m / length_m + 1e-9), np.ceil(end_m / length_m - 1e-9)
    return np.asarray((np.arange(3 * first, 3 * last + 1) + 0.5) * length_m / 3)


def _pace(
    chainage_m: Floats,
    middle_m: Floats,
    base: Floats,
    lap_variation: float,
    generator: np.random.Generator,
) -> Floats:
    """Blend the paces of thirds of a lap, given at their middles."""
    from scipy.interpolate import PchipInterpolator

    # Three independent thirds a lap: each must vary more than the lap does as a whole.
    varied = 1.0 + lap_variation * np.sqrt(3.0) * generator.standard_normal(len(middle_m))
    blended = PchipInterpolator(middle_m, base * np.clip(varied, 0.5, 1.5))
    return np.asarray(blended(np.clip(chainage_m, middle_m[0], middle_m[-1])), dtype=float)


def _line(
    track: Track,
    chainage_m: Floats,
    line_variation_m: float,
    generator: np.random.Generator,
) -> Floats:
    """Offsets of the driven line to the left of the centreline, within the band."""
    from scipy.interpolate import CubicSpline

    begin_m, end_m = chainage_m[0], chainage_m[-1]
    count = max(4, int(np.ceil((end_m - begin_m) / _LINE_SPACING_M)) + 1)
    wanted = line_variation_m * generator.standard_normal(count)
    smooth = CubicSpline(np.linspace(begin_m, end_m, count), wanted)(chainage_m)
    room = max(0.5, 0.5 * track.band_m - 1.0)
    return np.asarray(room * np.tanh(smooth / room), dtype=float)


def _clear_of_gates(track: Track, candidates_m: Floats, datum_m: float) -> float:
    curve = track.curve
    if not track.gates:
        return float(candidates_m[len(candidates_m) // 2])
    middle = np.stack([track.gate_ends(gate).mean(axis=0) for gate in track.gates])
    gate_m, _ = curve.project(middle)
    apart = curve.separation(candidates_m[:, None] + datum_m, gate_m[None, :]).min(axis=1)
    return float(candidates_m[np.argmax(apart)])


def _parking(track: Track, vehicle: Vehicle, finish_m: float) -> tuple[float, float, float]:
    """Find a place to park: chainage from the finish gate, metres to the left, length to join.

    Beside the finish gate where there is room to pass outside its ends, else anywhere in the
    later two thirds of the lap; as far from the line as the ground between pieces of track allows.
    """
    curve = track.curve
    length = curve.length_m
    join_m = min(vehicle.join_m, length / 8)
    near = np.linspace(0.0, 0.5 * join_m, 6)
    places = [*near, *-near[1:], *np.arange(0.3 * length, length - 1.6 * join_m, 20.0)]
    for beyond_edge in (12.0, 8.0, 5.0, 3.0):
        for parked_m in places:
            for side in (1.0, -1.0):
                aside_m = side * (0.5 * track.band_m + beyond_edge)
                if _room(track, finish_m + float(parked_m), aside_m, join_m):
                    return float(parked_m), aside_m, join_m
    bend = np.abs(curve.curvature(finish_m + np.asarray(places)))
    parked_m = float(places[int(np.argmin(bend))])
    turns_left = float(curve.curvature(finish_m + parked_m)) > 0
    return parked_m, (-0.5 if turns_left else 0.5) * track.band_m, join_m


def _room(track: Track, place_m: float, aside_m: float, join_m: float) -> bool:
    curve = track.curve
    along = place_m + np.linspace(-join_m, join_m, 41)
    offset = aside_m * (1.0 - _step(np.abs(along - place_m) / join_m))
    # If the nearest track to a point further out is still the piece left or joined, then every
    # other piece is at least as far from the vehicle as that one.
    further = curve.position(along) + 1.6 * offset[:, None] * curve.left(along)
    nearest, _ = curve.project(further)
    if np.any(curve.separation(nearest, along) > 2.0):
        return False
    for gate in track.gates:
        if gate.kind in ("pit-entry", "pit-exit"):
            continue
        end_m, reach_m = curve.project(track.gate_ends(gate))
        for chainage, reach in zip(end_m, reach_m, strict=True):
            apart = float(curve.separation(chainage, place_m))
            passing = aside_m * (1.0 - float(_step(apart / join_m)))
            same_side = reach * aside_m > 0
            if apart < join_m and same_side and abs(passing) < abs(reach) + 0.5:
                return False
    return True


def _timed(
    curve: Curve,
    vehicle: Vehicle,
    node_m: Floats,
    datum_m: float,
    pace: Floats,
    beside: Flags,
    stop_m: float | None,
) -> tuple[Floats, Floats]:
    """Drive along the nodes as fast as allowed; return knot times and chainages at them.

    The speed is the usual one of lap simulation: limited by the bend at each node, then by
    what can be gained from the node before and braked to the node after, within a friction
    ellipse (common practice, no source).  A pace p stretches time by 1 / p exactly: speeds
    scale by p and accelerations by its square.
    """
    spacing = np.diff(node_m)
    on_curve = node_m + datum_m
    bend = np.abs(curve.curvature(on_curve))
    if not curve.closed:
        bend = np.where((on_curve < 0) | (on_curve > curve.length_m), 0.0, bend)
    bend = np.convolve(np.pad(bend, 4, mode="edge"), np.full(9, 1 / 9), mode="valid")
    grip = vehicle.lateral_mps2 * pace**2
    limit = np.minimum(vehicle.top_mps * pace, np.sqrt(grip / np.maximum(bend, 1e-9)))
    limit = np.where(beside, np.minimum(limit, vehicle.pit_mps), limit)
    wait = np.zeros(len(node_m))
    wait[[0, -1]] = PARKED_S
    if stop_m is not None:
        wait[int(np.argmin(np.abs(node_m - stop_m)))] = STOP_S
    limit = np.where(wait > 0, 0.0, limit)

    gain = np.where(beside, GENTLE_MPS2, vehicle.accelerating_mps2 * pace**2)
    brake = np.where(beside, GENTLE_MPS2, vehicle.braking_mps2 * pace**2)
    fade = 1.0 / (1.1 * vehicle.top_mps * pace) ** 2
    speed = _passed(limit, spacing, gain, bend / grip, fade)
    speed = _passed(
        speed[::-1], spacing[::-1], brake[::-1], (bend / grip)[::-1], np.zeros(len(limit))
    )[::-1]

    step_s = 2.0 * spacing / (speed[:-1] + speed[1:])
    arrive = np.concatenate([[0.0], np.cumsum(step_s)]) + np.cumsum(wait) - wait
    leave = arrive + wait
    end_s = KNOT_S * np.ceil(leave[-1] / KNOT_S)
    fine = np.arange(round(end_s / _FINE_S) + 1) * _FINE_S
    index = np.clip(np.searchsorted(leave, fine, side="right") - 1, 0, len(node_m) - 2)
    since = np.clip(fine - leave[index], 0.0, step_s[index])
    rate = (speed[index + 1] - speed[index]) / step_s[index]
    chainage = node_m[index] + speed[index] * since + 0.5 * rate * since**2
    chainage = np.where(fine < leave[0], node_m[0], chainage)
    # Averaging over a moment makes the acceleration continuous and shifts nothing in time.
    half = round(0.5 * _EASE_S / _FINE_S)
    kernel = np.hanning(2 * half + 3)[1:-1]
    eased = np.convolve(np.pad(chainage, half, mode="edge"), kernel / kernel.sum(), mode="valid")
    every = round(KNOT_S / _FINE_S)
    knot = np.asarray(eased[::every], dtype=float)
    return np.arange(len(knot), dtype=float) * KNOT_S, knot


def _passed(
    limit: Floats, spacing: Floats, gain: Floats, bend_per_grip: Floats, fade: Floats
) -> Floats:
    """Hold a speed below its limits while it grows no faster than the friction ellipse lets it."""
    squared = (limit**2).tolist()
    for i, (step, most, share, fading) in enumerate(
        zip(spacing.tolist(), gain.tolist(), bend_per_grip.tolist(), fade.tolist(), strict=False)
    ):
        now = squared[i]
        used = min(1.0, (now * share) ** 2)
        reach = now + 2.0 * step * most * (1.0 - used) ** 0.5 * max(0.0, 1.0 - now * fading)
        if reach < squared[i + 1]:
            squared[i + 1] = reach
    return np.asarray(np.sqrt(squared))
