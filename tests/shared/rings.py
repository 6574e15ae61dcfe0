"""Drives round a circle, and what a dense Gaussian process makes of them."""

from dataclasses import replace

import numpy as np

from trackkit.motion.gauss_markov import sample_path
from trackkit.motion.line_model import Knots, LineLevels, Sideways

LENGTH_M = 628.0
POSITIONS = LineLevels(1.0, 120.0, None, shift_m=0.5)
SPEEDS = replace(POSITIONS, walk_m2ps=2.5e-4)


def left_at(chainage):
    angle = 2.0 * np.pi * chainage / LENGTH_M
    return np.stack([-np.cos(angle), -np.sin(angle)], axis=-1)


def knots(count=30):
    chainage = np.arange(count) * LENGTH_M / count
    return Knots(chainage, left_at(chainage), LENGTH_M, closed=True)


def matern(apart, over):
    return (1.0 + np.abs(apart) / over) * np.exp(-np.abs(apart) / over)


def ring(laps, levels, seed, step_m=16.0):
    """A round track driven at 20 m/s, with the line, error and deviations that levels say."""
    generator = np.random.default_rng(seed)
    way = np.arange(0.0, laps * LENGTH_M, step_m)
    time, left = way / 20.0, left_at(way)
    error = levels.wander_m * sample_path(time, levels.wander_time_s, generator)
    root = np.linalg.cholesky(
        levels.deviation_m**2 * matern(way[:, None] - way, levels.deviation_over_m)
        + 1e-9 * np.eye(len(way))
    )
    deviation = root @ generator.normal(size=len(way))
    knot = knots()
    root_of_line = np.linalg.cholesky(knot.covariance(levels))
    coefficient = root_of_line @ generator.normal(size=len(root_of_line))
    repeated = knot.basis(way % LENGTH_M, left) @ coefficient
    sigma = np.full(len(way), 0.05)
    offset = repeated + deviation + (left * error).sum(axis=1)
    offset += sigma * generator.normal(size=len(way))
    return Sideways(time, way, way % LENGTH_M, offset, left, sigma, sigma), error, deviation


def dense(side, levels, knot, shifted=0.0):
    """Mean and covariance of the error, both axes one after the other, all at once.

    `shifted` is what shifts add to the covariance of the error on each axis.
    """
    count = len(side.time_s)
    lag = np.abs(side.time_s[:, None] - side.time_s)
    axis = levels.wander_m**2 * np.exp(-lag / levels.wander_time_s)
    if levels.walk_m2ps is not None:
        # An error far from known, walking, whose sum with a wander is seen to be nothing.
        first = np.minimum.outer(side.time_s, side.time_s) - side.time_s[0]
        walk = 100.0**2 + levels.walk_m2ps * first
        total = walk + axis + np.diag(side.tie_m**2)
        axis = walk - walk @ np.linalg.solve(total, walk)
    error = np.kron(np.eye(2), axis + shifted)
    seen = np.hstack([np.diag(side.left[:, 0]), np.diag(side.left[:, 1])])
    basis = knot.basis(side.chainage_m, side.left).toarray()
    offset = levels.deviation_m**2 * matern(
        side.way_m[:, None] - side.way_m, levels.deviation_over_m
    )
    offset += basis @ knot.covariance(levels) @ basis.T + np.diag(side.sigma_m**2)
    offset += seen @ error @ seen.T
    gain = np.linalg.solve(offset, seen @ error).T
    return (gain @ side.offset_m).reshape(2, count).T, error - gain @ seen @ error, error
