"""A recording smoothed: what it measures on a plane, which fixes are astray, how noisy it is.

The model is that of `trackkit.motion.smoother`, with noise levels read from the recording itself by
`trackkit.motion.noise_levels`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackkit.arrays import Floats, Indices
from trackkit.geometry.geodesy import LocalPlane
from trackkit.motion.doppler_noise import DIFFERENCES_WITHIN_S
from trackkit.motion.drive import LONGEST_GAP_S, STANDING_MPS, Drive, drive_of
from trackkit.motion.jumps import SPOILED, jumping_positions
from trackkit.motion.noise import USUAL, Levels, Measured, over_usual
from trackkit.motion.noise_levels import estimate
from trackkit.motion.robust import (
    BIWEIGHT_ROUNDS,
    STRAY_SIGMAS,
    biweight,
    cauchy_fit,
    residuals,
    sparse_trust,
    stray_positions,
)
from trackkit.motion.smoother import LEAST_TRUST, solve
from trackkit.recordings.recording import Recording

_GAP_INTERVALS = 5.0
_HOUR_S = 3600.0
"""A gap that breaks the drive however far apart fixes usually are."""


def smooth(recording: Recording, plane: LocalPlane, levels: Levels | None = None) -> Drive:
    """Find the most probable drive behind a recording.

    Speed and course, where known, are measured velocities; speed alone is measured along the
    direction in which the positions move.  Accuracies that a receiver reports, or else its
    horizontal dilution of precision, scale the noise of its positions from fix to fix; accuracies
    of speeds scale that of its velocities.

    Parameters
    ----------
    recording
        At least one fix.
    plane
        Where to compute.
    levels
        Noise levels; read from the recording when None.
    """
    measured, piece = _measured(recording, plane)
    jumping = jumping_positions(measured)
    if jumping.any():
        measured = replace(measured, scale=np.where(jumping, SPOILED, 1.0) * measured.scale)
    stray = jumping.copy()
    # Beside a jump the fixes before and after it would look astray.
    stray[~jumping] = stray_positions(measured.only(~jumping) if jumping.any() else measured)
    trust = np.where(stray, LEAST_TRUST, 1.0)
    if len(recording) < 3:
        return drive_of(recording, plane, measured, piece, levels or USUAL, trust)
    if recording.speed_mps is not None and recording.course_deg is None:
        measured = _along(measured, recording, trust)
    given = levels
    if np.median(np.diff(recording.time_s)) > DIFFERENCES_WITHIN_S:
        trust = sparse_trust(measured, trust)
    levels = given or estimate(measured, trust)
    solution = solve(measured, levels, trust)
    if np.any(residuals(measured, solution)[trust > LEAST_TRUST] > STRAY_SIGMAS):
        solution = cauchy_fit(measured, levels, trust)
        trust = biweight(residuals(measured, solution))
        levels = given or estimate(measured, trust)
        for _ in range(BIWEIGHT_ROUNDS):
            solution = solve(measured, levels, trust)
            trust = biweight(residuals(measured, solution))
            trust[jumping] = LEAST_TRUST
        solution = solve(measured, levels, trust)
    return drive_of(recording, plane, measured, piece, levels, trust, solution)


def _measured(recording: Recording, plane: LocalPlane) -> tuple[Measured, Indices]:
    """Lay a recording out on a plane, broken into pieces at its segments and long gaps."""
    position = plane.to_plane(recording.longitude_deg, recording.latitude_deg)
    velocity = np.full_like(position, np.nan)
    speed, course = recording.speed_mps, recording.course_deg
    if speed is not None and course is not None:
        true_north = plane.convergence_deg(recording.longitude_deg, recording.latitude_deg)
        # Standing still, receivers leave the course out, and the speed they give is noise, which
        # would add up to a drift in whatever direction was put in its place.
        still = (speed < STANDING_MPS) & ~np.isfinite(course)
        heading = np.radians(np.where(still, 0.0, course) - true_north)
        pace = np.where(still, 0.0, speed)
        velocity = pace[:, None] * np.stack([np.sin(heading), np.cos(heading)], axis=-1)
    step = np.diff(recording.time_s)
    gap = np.zeros(len(step), dtype=bool)
    if len(step):
        usual_s = _GAP_INTERVALS * float(np.median(step))
        gap = step > min(max(LONGEST_GAP_S, usual_s), _HOUR_S)
    segment = recording.segment
    assert segment is not None  # noqa: S101 - Recording sets it
    joined = (np.diff(segment) == 0) & ~gap
    piece = np.concatenate([[0], np.cumsum(~joined)]).astype(np.intp)
    # The accuracies that a receiver reports, or else the geometry of its satellites, tell good
    # fixes from bad ones; how large the noise is as a whole is read from the fixes themselves.
    reported = recording.accuracy_m if recording.accuracy_m is not None else recording.hdop
    scale = over_usual(reported)
    measured = Measured(
        recording.time_s,
        position,
        velocity,
        joined,
        np.ones(len(position)) if scale is None else scale,
        velocity_scale=over_usual(recording.speed_accuracy_mps),
    )
    return measured, piece


def _along(measured: Measured, recording: Recording, trust: Floats) -> Measured:
    """Take speeds to be measured along the direction in which the positions move."""
    speed = recording.speed_mps
    assert speed is not None  # noqa: S101 - the caller has checked
    blind = solve(measured, estimate(measured, trust), trust).state[:, 1]
    pace = np.maximum(np.hypot(blind[:, 0], blind[:, 1]), 1e-6)
    direction = blind / pace[:, None]
    # Where the vehicle hardly moves its direction is noise: such speeds are not used.
    usable = np.isfinite(speed) & (pace > 2.0)
    return Measured(
        measured.time_s,
        measured.position_m,
        np.where(usable[:, None], speed[:, None] * direction, np.nan),
        measured.joined,
        measured.scale,
        direction=np.where(usable[:, None], direction, 0.0),
        velocity_scale=measured.velocity_scale,
    )
