"""Paths laid out by hand, without a recording behind them."""

from types import SimpleNamespace

import numpy as np

from trackkit.building.find_laps import FoundLap
from trackkit.building.path import Path

STEP_M = 3.0


def path_along(road_at, begin_m, end_m, *, aside_m=0.0, speed_mps=15.0, stops=(), elevation_m=None):
    """A path along a road, 3 m from sample to sample, some distance to the left of it.

    `road_at` gives positions and unit vectors at chainages; what may vary along the way
    (`aside_m`, `speed_mps`, `elevation_m`) is a number or a function of the chainage.
    """
    chainage = np.linspace(begin_m, end_m, round((end_m - begin_m) / STEP_M) + 1)
    position, ahead = road_at(chainage)
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    aside, speed, elevation = (
        value(chainage) if callable(value) else np.full(len(chainage), value, dtype=float)
        for value in (aside_m, speed_mps, np.nan if elevation_m is None else elevation_m)
    )
    step = (end_m - begin_m) / (len(chainage) - 1)
    return Path(
        position_m=position + aside[:, None] * left,
        direction=ahead,
        time_s=np.concatenate([[0.0], np.cumsum(2.0 * step / (speed[1:] + speed[:-1]))]),
        speed_mps=speed,
        elevation_m=elevation,
        step_m=step,
        stops=tuple(stops),
        fixed=np.ones(len(chainage), dtype=bool),
        drive=SimpleNamespace(has_doppler=True, recording=SimpleNamespace(name="laid")),
    )


def lap_along(road_at, length_m, *, begin_m=0.0, **more):
    """One lap of it, which ends a step before it would begin again."""
    path = path_along(road_at, begin_m, begin_m + length_m, **more)
    return FoundLap(path, 0, len(path.position_m) - 1)
