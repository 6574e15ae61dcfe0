"""Invented channels of an invented drive, as exact functions of time, and what they truly were."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.motion.vehicle import Vehicle
from trackkit.recordings.channel import Channel
from trackkit.simulation.drive import Run

_GEARS = 5
_SHIFT_RPM = 12_000.0
"""The engine turns so fast at the top of each gear."""
_IDLE_RPM = 2_000.0
_COLD_C, _WARM_C = 20.0, 85.0
_WARM_UP_S = 120.0
_BRAKE_BAR = 50.0
"""Pressure at the hardest braking."""
_FINE_S = 0.001


@dataclass(frozen=True)
class InventedChannel:
    """A channel that is known at every moment.

    Parameters
    ----------
    name, unit
        As in `Channel`.
    at
        What it is at some times of a run, seconds, shape (n,).
    interval_s
        How often it is measured, seconds; 0 for once a fix.
    step
        The sensor tells it in steps of this.
    """

    name: str
    unit: str
    at: Callable[[Run, Floats], Floats]
    interval_s: float
    step: float


def invented_channels(vehicle: Vehicle) -> tuple[InventedChannel, ...]:
    """Invent the channels of a vehicle: engine speed, gear, brake and water temperature."""
    top = vehicle.top_mps

    def gear(run: Run, time_s: Floats) -> Floats:
        # Gears are spaced evenly by their top speeds (a simple gearbox, no source).
        return np.clip(np.ceil(_speed(run, time_s) / top * _GEARS), 1.0, _GEARS)

    def engine_speed(run: Run, time_s: Floats) -> Floats:
        in_gear = _SHIFT_RPM * _speed(run, time_s) / (top * gear(run, time_s) / _GEARS)
        return np.maximum(in_gear, _IDLE_RPM)

    def brake(run: Run, time_s: Floats) -> Floats:
        velocity, acceleration = run.path(time_s, 1), run.path(time_s, 2)
        speed = np.hypot(velocity[:, 0], velocity[:, 1])
        along = np.einsum("ij,ij->i", velocity, acceleration) / np.maximum(speed, 0.1)
        return np.asarray(_BRAKE_BAR * np.clip(-along / vehicle.braking_mps2, 0.0, None))

    def water(_: Run, time_s: Floats) -> Floats:
        # Towards a constant temperature as things warm up (Newton's law), and a slow ripple.
        warm = _WARM_C - (_WARM_C - _COLD_C) * np.exp(-time_s / _WARM_UP_S)
        return np.asarray(warm + np.sin(2 * np.pi * time_s / 37.0))

    return (
        InventedChannel("engine speed", "rpm", engine_speed, 0.0, 1.0),
        InventedChannel("gear", "", gear, 0.0, 1.0),
        InventedChannel("brake", "bar", brake, 0.0, 0.1),
        InventedChannel("water temp", "°C", water, 1.0, 0.1),
    )


def _speed(run: Run, time_s: Floats) -> Floats:
    velocity = run.path(time_s, 1)
    return np.hypot(velocity[:, 0], velocity[:, 1])


def measured(
    channels: Sequence[InventedChannel], runs: Sequence[Run], times: Sequence[Floats]
) -> tuple[Channel, ...]:
    """Measure channels at the times of fixes, or less often.

    Parameters
    ----------
    channels
        What they are.
    runs, times
        The drive, and the times of the fixes of each run, seconds.
    """
    return tuple(_measured(channel, runs, times) for channel in channels)


def _measured(channel: InventedChannel, runs: Sequence[Run], times: Sequence[Floats]) -> Channel:
    chosen = list(times)
    if channel.interval_s:
        # The first fix of each interval, so that no row of a table is without a position.
        chosen = [
            time[np.unique(np.floor(time / channel.interval_s + 1e-9), return_index=True)[1]]
            for time in times
        ]
    values = [channel.at(run, time) for run, time in zip(runs, chosen, strict=True)]
    value = channel.step * np.round(np.concatenate(values) / channel.step)
    return Channel(channel.name, channel.unit or None, np.concatenate(chosen), np.round(value, 3))


def true_channels(
    channels: Sequence[InventedChannel], runs: Sequence[Run], marks_s: Sequence[float | None]
) -> list[dict[str, Any]]:
    """Tell what channels truly were in a lap and its sectors, every millisecond looked at.

    Parameters
    ----------
    channels
        What they are.
    runs
        The drive.
    marks_s
        When the lap began, each sector gate was crossed, and it ended, seconds; None where a gate
        was not.
    """
    return [
        {
            "name": channel.name,
            "unit": channel.unit or None,
            **_figures(channel, runs, marks_s[0], marks_s[-1]),
            "sectors": [_figures(channel, runs, *ends) for ends in pairwise(marks_s)],
        }
        for channel in channels
    ]


def _figures(
    channel: InventedChannel, runs: Sequence[Run], begin_s: float | None, end_s: float | None
) -> dict[str, float | None]:
    if begin_s is None or end_s is None:
        return {"least": None, "largest": None, "mean": None}
    run = next(run for run in runs if run.start_s <= begin_s <= run.end_s)
    value = channel.at(run, np.linspace(begin_s, end_s, max(2, round((end_s - begin_s) / _FINE_S))))
    mean = float(np.mean(0.5 * (value[1:] + value[:-1])))
    figures = {"least": float(value.min()), "largest": float(value.max()), "mean": mean}
    return {name: round(figure, 4) for name, figure in figures.items()}
