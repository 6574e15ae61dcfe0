"""A smoothed drive in few bytes: all that it takes to time it again over other gates.

Numbers are rounded to far less than what is known of them and kept as whole ones, those that change
smoothly as differences of differences, which compress well.  The factor of the information matrix
and the chains of the slow error are not kept: they follow from what is, at once.  How far the error
owes to what is not known of the repeated line changes slowly: the few parts that matter are kept at
every so many nodes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, fields
from datetime import datetime
from typing import Any

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.drive import Drive
from trackkit.motion.factor import Factor
from trackkit.motion.kept_columns import LEVELS, LISTS, WHOLES
from trackkit.motion.line_error import ErrorBesideLine, chain_before, chain_beside_line
from trackkit.motion.line_model import LineLevels, Sideways
from trackkit.motion.noise import Levels, Measured
from trackkit.motion.repeated_line import RepeatedLine
from trackkit.motion.smoother import Solution
from trackkit.recordings.recording import Recording

_UNITS = {
    "time_us": 1e-6,
    "position_10um": 1e-5,
    "velocity_100umps": 1e-4,
    "acceleration_mmps2": 1e-3,
    "trust_ppb": 1e-9,
    "scale_ppm": 1e-6,
    "velocity_scale_ppm": 1e-6,
    "way_mm": 1e-3,
    "heading_urad": 1e-6,
    "sigma_10um": 1e-5,
    "moved_um": 1e-6,
}
_NO_SIGMA = -1
_MOVED_TO = 2e-3
"""How far the kept parts may be from the whole, as a share of the largest."""
_STRIDES = (16, 8, 4, 2, 1)


def drive_row(drive: Drive) -> dict[str, Any]:
    """Keep a drive.

    Parameters
    ----------
    drive
        As `trackkit.timing.lap_times.TimedRecording` has it.

    Returns
    -------
    dict
        By the names `NUMBERS`, `WHOLES` and `LISTS`: numbers, arrays of whole numbers, and arrays
        of numbers; None for what it does not have.
    """
    measured, levels = drive._measured, drive.levels  # noqa: SLF001 - the other half of a drive
    factor = drive._solution.factor  # noqa: SLF001
    direction, scale = measured.direction, measured.velocity_scale
    known = np.isfinite(measured.velocity_mps[:, 0])
    row: dict[str, Any] = dict.fromkeys((*WHOLES, *LISTS))
    row |= {
        "plane_longitude_deg": drive.plane.longitude_deg,
        "plane_latitude_deg": drive.plane.latitude_deg,
        **{name: getattr(levels, field) for name, field in LEVELS.items()},
        "leeway_m": factor.leeway_m,
        "time_us": _smooth(drive.time_s, "time_us"),
        "piece": _steps(drive.piece),
        "trust_ppb": _steps(_whole(drive.trust, "trust_ppb")),
        "scale_ppm": _steps(_whole(measured.scale, "scale_ppm")),
        "has_velocity": _steps(known.astype(np.int64)),
    }
    for axis, name in enumerate(("east", "north")):
        row[f"{name}_10um"] = _smooth(drive.position_m[:, axis], "position_10um")
        row[f"{name}_100umps"] = _smooth(drive.velocity_mps[:, axis], "velocity_100umps")
        row[f"{name}_mmps2"] = _smooth(drive.acceleration_mps2[:, axis], "acceleration_mmps2")
    if scale is not None:
        row["velocity_scale_ppm"] = _steps(_whole(scale, "velocity_scale_ppm"))
    if direction is not None:
        heading = np.arctan2(direction[:, 1], direction[:, 0])
        row["heading_urad"] = _steps(_whole(heading, "heading_urad"))
    if isinstance(drive.line, RepeatedLine):
        row |= _line_row(drive.line, drive.time_s)
    return row


def _line_row(line: RepeatedLine, time_s: Floats) -> dict[str, Any]:
    side = line.side
    sigma = np.where(np.isfinite(side.sigma_m), side.sigma_m, _NO_SIGMA * _UNITS["sigma_10um"])
    return {
        "node": _steps(np.searchsorted(time_s, side.time_s)),
        "node_way_mm": _smooth(side.way_m, "way_mm"),
        "node_left_urad": _steps(
            _whole(np.arctan2(side.left[:, 1], side.left[:, 0]), "heading_urad")
        ),
        "node_sigma_10um": _steps(_whole(sigma, "sigma_10um")),
        "node_tie_10um": _steps(_whole(side.tie_m, "sigma_10um")),
        "moved_um": _moved_row(line.node_s, line.moved_m),
        "line_levels": _line_levels(line.levels),
        "line_levels_before": _line_levels(line.levels_before),
    }


def _moved_row(node_s: Floats, moved_m: Floats) -> Indices:
    """Keep the largest parts at every so many nodes: stride, how many parts, and their values."""
    parts, size, _ = np.linalg.svd(moved_m.reshape(2 * len(node_s), -1), full_matrices=False)
    largest = _MOVED_TO * size.max(initial=0.0)
    kept = (parts * size)[:, size > largest].reshape(len(node_s), 2, -1)
    most = _MOVED_TO * np.abs(kept).max(initial=0.0)
    for stride in _STRIDES:
        some = kept[_kept_nodes(len(node_s), stride)]
        if stride == 1 or np.abs(_between(some, stride, node_s) - kept).max(initial=0.0) <= most:
            break
    whole = _whole(some, "moved_um")
    return np.append([stride, kept.shape[2]], np.diff(whole, axis=0, prepend=0))


def _kept_nodes(count: int, stride: int) -> Indices:
    """List every so many nodes, and the last."""
    return np.unique(np.append(np.arange(0, count, stride), count - 1))


def _between(some: Floats, stride: int, node_s: Floats) -> Floats:
    """Fill in values between kept nodes, shape (n, 2, parts), as straight as can be."""
    at = _kept_nodes(len(node_s), stride)
    flat = some.reshape(len(at), -1)
    after = np.clip(np.searchsorted(at, np.arange(len(node_s))), 1, max(len(at) - 1, 1))
    after = np.minimum(after, len(at) - 1)
    before = np.maximum(after - 1, 0)
    span = np.maximum(node_s[at[after]] - node_s[at[before]], 1e-9)
    share = ((node_s - node_s[at[before]]) / span)[:, None]
    filled = (1.0 - share) * flat[before] + share * flat[after]
    return np.asarray(filled.reshape(len(node_s), *some.shape[1:]))


def drive_of_row(
    row: Mapping[str, Any], name: str, start: datetime | None, *, located: bool = False
) -> Drive:
    """Make a drive of what was kept of it.

    Parameters
    ----------
    row
        From `drive_row`.
    name, start
        Of its recording.
    located
        That its circuit is known already.  Its recording then stands at the plane's origin, as
        nobody asks it where it is.

    Returns
    -------
    Drive
        That tells the same times and uncertainties, but for the rounding.  Its recording has the
        smoothed positions and nothing else, and its wander is not known.
    """
    time = _undone_twice(row["time_us"], "time_us")
    piece = np.cumsum(row["piece"]).astype(np.intp)
    plane = LocalPlane(row["plane_longitude_deg"], row["plane_latitude_deg"])
    position, velocity, acceleration = (
        np.stack([_undone_twice(row[f"{axis}_{unit}"], kind) for axis in ("east", "north")], axis=1)
        for unit, kind in (
            ("10um", "position_10um"),
            ("100umps", "velocity_100umps"),
            ("mmps2", "acceleration_mmps2"),
        )
    )
    trust = _undone(row["trust_ppb"], "trust_ppb")
    known = np.cumsum(row["has_velocity"]).astype(bool)
    direction = None
    if row["heading_urad"] is not None:
        direction = np.where(known[:, None], _unit(row["heading_urad"]), 0.0)
    scale = row["velocity_scale_ppm"]
    measured = Measured(
        time,
        position,
        np.where(known[:, None], velocity, np.nan),
        np.diff(piece) == 0,
        _undone(row["scale_ppm"], "scale_ppm"),
        direction,
        None if scale is None else _undone(scale, "velocity_scale_ppm"),
    )
    levels = Levels(**{field: row[column] for column, field in LEVELS.items()})
    factor = Factor.of(measured, levels, trust, row["leeway_m"])
    state = np.full((len(time), levels.states, 2), np.nan)
    state[:, 0], state[:, 1], state[:, 2] = position, velocity, acceleration
    if located:
        longitude, latitude = (
            np.full(len(time), degrees) for degrees in (plane.longitude_deg, plane.latitude_deg)
        )
    else:
        longitude, latitude = plane.to_geographic(position)
    return Drive(
        recording=Recording(name, time, longitude, latitude, start, segment=piece),
        plane=plane,
        time_s=time,
        position_m=position,
        velocity_mps=velocity,
        acceleration_mps2=acceleration,
        wander_m=state[:, 3],
        piece=piece,
        trust=trust,
        levels=levels,
        _measured=measured,
        _solution=Solution(state, np.nan, factor, levels),
        line=None if row["node"] is None else _error_of_row(row, time),
    )


def _error_of_row(row: Mapping[str, Any], time_s: Floats) -> ErrorBesideLine:
    node_s = time_s[np.cumsum(row["node"])]
    sigma = _undone(row["node_sigma_10um"], "sigma_10um")
    none = np.full(len(node_s), np.nan)
    side = Sideways(
        node_s,
        _undone_twice(row["node_way_mm"], "way_mm"),
        none,
        none,
        _unit(row["node_left_urad"]),
        np.where(sigma < 0.0, np.inf, sigma),
        _undone(row["node_tie_10um"], "sigma_10um"),
    )
    levels, before = (_levels_of(row[name]) for name in LISTS)
    stride, parts = row["moved_um"][:2].tolist()
    some = _UNITS["moved_um"] * np.cumsum(row["moved_um"][2:].reshape(-1, 2, parts), axis=0)
    return ErrorBesideLine(
        node_s=node_s,
        chain=chain_beside_line(side, levels)[0],
        moved_m=_between(some, stride, node_s),
        before=chain_before(side, before),
    )


def _line_levels(levels: LineLevels) -> Floats:
    return np.array(astuple(levels), dtype=float)


def _levels_of(values: Floats) -> LineLevels:
    names = [field.name for field in fields(LineLevels)]
    named = dict(zip(names, values.tolist(), strict=True))
    walk = named.pop("walk_m2ps")
    return LineLevels(walk_m2ps=None if np.isnan(walk) else walk, **named)


def _whole(values: Floats, kind: str) -> Indices:
    return np.round(np.asarray(values) / _UNITS[kind]).astype(np.int64)


def _steps(whole: Indices) -> Indices:
    return np.diff(whole, prepend=0).astype(np.int64)


def _smooth(values: Floats, kind: str) -> Indices:
    return _steps(np.diff(_whole(values, kind), prepend=0))


def _undone(steps: Indices, kind: str) -> Floats:
    return np.asarray(_UNITS[kind] * np.cumsum(steps))


def _undone_twice(steps: Indices, kind: str) -> Floats:
    return np.asarray(_UNITS[kind] * np.cumsum(np.cumsum(steps)))


def _unit(steps: Indices) -> Floats:
    angle = _undone(steps, "heading_urad")
    return np.stack([np.cos(angle), np.sin(angle)], axis=1)
