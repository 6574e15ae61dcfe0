"""A smooth plane curve, addressed by the distance along it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from trackkit.arrays import Floats
from trackkit.errors import TrackkitError
from trackkit.geometry.vectors import distance_along, left_of

if TYPE_CHECKING:
    from scipy.interpolate import CubicHermiteSpline, CubicSpline
    from scipy.spatial import cKDTree


COINCIDENT_M = 1e-4
"""Vertices closer together than this count as one."""
_FINEST_M = 0.05
"""Samples this close are 5 mm off on a radius of 6 cm, and nothing turns more tightly."""
_MOST_CUTS = 500
_MOST_SAMPLES = 2500
_PROJECTING_ROUNDS, _PROJECTED_M = 5, 1e-6
"""A place on the curve is looked for so often at most, until it moves by no more than this: by how
much it is off goes down by the square, so that it is then off by far less."""
HEADING_WEIGHT_M = 20.0
"""How many metres of distance a heading that is off by about 60 degrees weighs in `project`."""
_GAUSS_NODE, _GAUSS_WEIGHT = np.polynomial.legendre.leggauss(5)


@dataclass(frozen=True, eq=False)
class Curve:
    """A cubic spline through points in a plane, by arc length.

    Made by `Curve.through`.  Chainage here is metres from the first point; on a closed curve it
    wraps around, on an open one it is held within the ends.  "Left" is seen in the direction of
    increasing chainage.
    """

    vertex_m: Floats
    closed: bool
    length_m: float
    _spline: CubicSpline
    _parameter_at: CubicHermiteSpline
    vertex_chainage_m: Floats
    _cuts: dict[tuple[float, ...], Floats] = field(default_factory=dict)

    @classmethod
    def through(cls, vertex_m: ArrayLike, *, closed: bool) -> Curve:
        """Interpolate points, shape (n, 2) metres, with a cubic spline.

        The spline is parametrised by chord length and then re-addressed by arc length, which is
        found with five-point Gauss-Legendre quadrature on each stretch between two points.  A
        closed curve is periodic; its first point may but need not be repeated at the end.

        Raises
        ------
        TrackkitError
            With fewer than two distinct points (three for a closed curve).
        """
        from scipy.interpolate import CubicHermiteSpline, CubicSpline

        vertex = np.asarray(vertex_m, dtype=float)
        if len(vertex):
            step = np.hypot(*np.diff(vertex, axis=0).T)
            vertex = vertex[np.concatenate([[True], step > COINCIDENT_M])]
        if closed and len(vertex) > 1 and np.hypot(*(vertex[-1] - vertex[0])) <= COINCIDENT_M:
            vertex = vertex[:-1]
        if len(vertex) < (3 if closed else 2):
            raise TrackkitError(
                f"a line of {len(vertex)} distinct points is too short to be a track"
            )
        knot = np.vstack([vertex, vertex[:1]]) if closed else vertex
        parameter = distance_along(knot)
        spline = CubicSpline(parameter, knot, bc_type="periodic" if closed else "not-a-knot")

        span = np.diff(parameter)
        node = parameter[:-1, None] + 0.5 * span[:, None] * (1.0 + _GAUSS_NODE)
        pace = np.linalg.norm(spline(node, 1), axis=-1)
        piece = 0.5 * span * (pace @ _GAUSS_WEIGHT)
        chainage = np.concatenate([[0.0], np.cumsum(piece)])
        pace_at_knot = np.linalg.norm(spline(parameter, 1), axis=-1)
        return cls(
            vertex_m=vertex,
            closed=closed,
            length_m=float(chainage[-1]),
            _spline=spline,
            _parameter_at=CubicHermiteSpline(chainage, parameter, 1.0 / pace_at_knot),
            vertex_chainage_m=chainage[:-1] if closed else chainage,
        )

    def wrap(self, chainage_m: ArrayLike) -> Floats:
        """Bring chainages onto the curve: modulo the length if closed, clipped if open."""
        chainage = np.asarray(chainage_m, dtype=float)
        if self.closed:
            return np.asarray(chainage % self.length_m)
        return np.asarray(np.clip(chainage, 0.0, self.length_m))

    def along(self, start_m: ArrayLike, end_m: ArrayLike) -> Floats:
        """Distance driven from one chainage forward to another, metres (wraps if closed)."""
        ahead = np.asarray(end_m, dtype=float) - np.asarray(start_m, dtype=float)
        return np.asarray(ahead % self.length_m if self.closed else ahead)

    def separation(self, a_m: ArrayLike, b_m: ArrayLike) -> Floats:
        """Shorter distance along the curve between two chainages, metres."""
        apart = np.abs(np.asarray(a_m, dtype=float) - np.asarray(b_m, dtype=float))
        if self.closed:
            apart = apart % self.length_m
            return np.asarray(np.minimum(apart, self.length_m - apart))
        return np.asarray(apart)

    def position(self, chainage_m: ArrayLike) -> Floats:
        """Positions, metres, shape (..., 2)."""
        return np.asarray(self._spline(self._parameter_at(self.wrap(chainage_m))))

    def extended_position(self, chainage_m: ArrayLike) -> Floats:
        """Positions, metres, shape (..., 2), straight on beyond the ends of an open curve."""
        position = self.position(chainage_m)
        if self.closed:
            return position
        beyond = np.asarray(chainage_m, dtype=float) - self.wrap(chainage_m)
        return np.asarray(position + beyond[..., None] * self.direction(chainage_m))

    def direction(self, chainage_m: ArrayLike) -> Floats:
        """Return unit vectors along the curve, shape (..., 2)."""
        tangent = np.asarray(self._spline(self._parameter_at(self.wrap(chainage_m)), 1))
        return np.asarray(tangent / np.linalg.norm(tangent, axis=-1, keepdims=True))

    def vertex_tangents(self) -> Floats:
        """Give the derivatives of the spline by its parameter, chord length, at its points.

        With the points, and the chords between them, they are the spline: each piece is the cubic
        Hermite polynomial of its two ends.  What turns chainage into the parameter is one too, of
        slope 1 over the length of these.

        Returns
        -------
        ndarray
            Shape (n, 2), metres by metre.
        """
        return np.asarray(self._spline(self._parameter_at(self.vertex_chainage_m), 1))

    def left(self, chainage_m: ArrayLike) -> Floats:
        """Return unit vectors square to the curve, pointing left, shape (..., 2)."""
        return left_of(self.direction(chainage_m))

    def curvature(self, chainage_m: ArrayLike) -> Floats:
        """Curvature, 1/m, positive where the curve turns left."""
        parameter = self._parameter_at(self.wrap(chainage_m))
        first = np.asarray(self._spline(parameter, 1))
        second = np.asarray(self._spline(parameter, 2))
        cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        return np.asarray(cross / np.linalg.norm(first, axis=-1) ** 3)

    def frame(self, chainage_m: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Positions, unit vectors along the curve, and curvatures, as told one by one above."""
        parameter = self._parameter_at(self.wrap(chainage_m))
        position, first, second = (np.asarray(self._spline(parameter, nu)) for nu in range(3))
        pace = np.linalg.norm(first, axis=-1)
        cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        return position, first / pace[..., None], cross / pace**3

    def turning(self) -> float:
        """Whole turns made along the curve, positive to the left (a simple loop makes 1)."""
        tangent = self.direction(self.chainages(1.0))
        heading = np.unwrap(np.arctan2(tangent[:, 1], tangent[:, 0]))
        if self.closed:
            last = np.arctan2(tangent[0, 1], tangent[0, 0])
            closing = (last - heading[-1] + np.pi) % (2 * np.pi) - np.pi
            return float((heading[-1] + closing - heading[0]) / (2 * np.pi))
        return float((heading[-1] - heading[0]) / (2 * np.pi))

    def chainages(self, spacing_m: float) -> Floats:
        """Evenly spaced chainages at most `spacing_m` apart (a closed curve's end left out)."""
        count = max(2, int(np.ceil(self.length_m / spacing_m)))
        if self.closed:
            return np.arange(count, dtype=float) * (self.length_m / count)
        return np.linspace(0.0, self.length_m, count + 1, dtype=float)

    @cached_property
    def samples(self) -> tuple[Floats, Floats, Floats]:
        """Even samples every half metre or, of a long curve, `_MOST_SAMPLES` of them.

        Chainages, metres, shape (n,); positions and unit vectors along the curve, shape (n, 2).
        """
        chainage = self.chainages(max(0.5, self.length_m / _MOST_SAMPLES))
        return chainage, self.position(chainage), self.direction(chainage)

    @cached_property
    def _dense(self) -> tuple[Floats, Floats, cKDTree]:
        from scipy.spatial import cKDTree

        chainage = self.chainages(min(1.0, self.length_m / 200))
        position = self.position(chainage)
        return chainage, position, cKDTree(position)

    @cached_property
    def _dense_with_heading(self) -> cKDTree:
        from scipy.spatial import cKDTree

        chainage, position, _ = self._dense
        return cKDTree(np.hstack([position, HEADING_WEIGHT_M * self.direction(chainage)]))

    def project(
        self,
        position_m: ArrayLike,
        direction: ArrayLike | None = None,
        about_m: Floats | None = None,
    ) -> tuple[Floats, Floats]:
        """Find the nearest places on the curve.

        Parameters
        ----------
        position_m
            Shape (..., 2), metres.
        direction
            Unit vectors of travel, shape (..., 2).  Where given, a piece of track that runs
            the same way is preferred to a nearer one that does not: at a bridge, or where two
            pieces run side by side.
        about_m
            Chainages to look from, shape (...), where they are about known; `direction` is then of
            no use.

        Returns
        -------
        chainage_m, offset_m
            Shape (...): where, and how far to the left of the curve (negative: right).
        """
        position = np.asarray(position_m, dtype=float)
        chainage_of, _, tree = self._dense
        if about_m is not None:
            chainage = np.array(about_m, dtype=float)
        else:
            if direction is None:
                _, index = tree.query(position)
            else:
                heading = HEADING_WEIGHT_M * np.asarray(direction, dtype=float)
                there = np.concatenate([position, heading], axis=-1)
                _, index = self._dense_with_heading.query(there)
            chainage = np.asarray(chainage_of[index], dtype=float)
        shape, position, chainage = chainage.shape, position.reshape(-1, 2), chainage.ravel()
        offset = np.empty_like(chainage)
        spacing = chainage_of[1] - chainage_of[0]
        left = np.arange(len(chainage))
        for _ in range(_PROJECTING_ROUNDS):
            away, tangent, curvature = self._seen_from(position[left], chainage[left])
            ahead = np.sum(away * tangent, axis=-1)
            aside = tangent[:, 0] * away[:, 1] - tangent[:, 1] * away[:, 0]
            stretch = np.maximum(1.0 - curvature * aside, 0.2)
            move = np.clip(ahead / stretch, -spacing, spacing)
            chainage[left] = self.wrap(chainage[left] + move)
            offset[left] = aside
            left = left[np.abs(move) >= _PROJECTED_M]
            if not len(left):
                break
        else:
            away, tangent, _ = self._seen_from(position[left], chainage[left])
            aside = tangent[:, 0] * away[:, 1] - tangent[:, 1] * away[:, 0]
            distance = np.linalg.norm(away, axis=-1)
            offset[left] = np.where(aside < 0, -distance, distance)
        return chainage.reshape(shape), offset.reshape(shape)

    def distance(self, position_m: ArrayLike) -> Floats:
        """Measure how far positions are from the curve, to the nearest of samples a metre apart.

        Parameters
        ----------
        position_m
            Shape (..., 2), metres.

        Returns
        -------
        Floats
            Shape (...), metres: at most half a metre too much; far away hardly more than an eighth
            of a metre squared divided by the radius of the bend there.
        """
        away, _ = self._dense[2].query(np.asarray(position_m, dtype=float))
        return np.asarray(away)

    def _seen_from(self, position_m: Floats, chainage_m: Floats) -> tuple[Floats, Floats, Floats]:
        """Take positions from some places of the curve, and the tangents and curvatures there."""
        parameter = self._parameter_at(chainage_m)
        first, second = self._spline(parameter, 1), self._spline(parameter, 2)
        pace = np.hypot(first[..., 0], first[..., 1])
        cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        return position_m - self._spline(parameter), first / pace[..., None], cross / pace**3

    def crossed_by(self, start_m: ArrayLike, end_m: ArrayLike) -> Floats:
        """Chainages at which a straight segment, from one plane position to another, cuts it.

        Returns
        -------
        ndarray
            Chainages, metres, in rising order; empty where nothing is cut.
        """
        start, end = np.asarray(start_m, dtype=float), np.asarray(end_m, dtype=float)
        # The same gates are asked about by one rule after another.
        key = (*start.tolist(), *end.tolist())
        if key not in self._cuts:
            if len(self._cuts) >= _MOST_CUTS:
                self._cuts.clear()
            self._cuts[key] = self._cut_by(start, end)
            self._cuts[key].flags.writeable = False
        return self._cuts[key]

    def _cut_by(self, start: Floats, end: Floats) -> Floats:
        span = end - start
        squared = float(span @ span)
        if squared == 0:
            return np.empty(0)
        chainage, position, _ = self._dense
        if self.closed:
            chainage = np.append(chainage, self.length_m)
            position = np.vstack([position, position[:1]])
        side = span[0] * (position[:, 1] - start[1]) - span[1] * (position[:, 0] - start[0])
        place = (position - start) @ span / squared
        slack = 2.0 / np.sqrt(squared)
        change = np.flatnonzero((side[:-1] < 0) != (side[1:] < 0))
        change = change[
            (np.maximum(place[change], place[change + 1]) > -slack)
            & (np.minimum(place[change], place[change + 1]) < 1 + slack)
        ]
        cuts = []
        for index in change:
            low, high = chainage[index], chainage[index + 1]
            low_side = side[index]
            for _ in range(40):
                middle = 0.5 * (low + high)
                x, y = self.position(middle)
                middle_side = span[0] * (y - start[1]) - span[1] * (x - start[0])
                if (middle_side < 0) == (low_side < 0):
                    low = middle
                else:
                    high = middle
            where = 0.5 * (low + high)
            share = float((self.position(where) - start) @ span / squared)
            if -1e-9 <= share <= 1 + 1e-9:
                cuts.append(float(self.wrap(where)))
        return np.sort(np.asarray(cuts))

    def sampled(self, *, chord_error_m: float = 0.005, spacing_m: float = 25.0) -> Floats:
        """Chainages of a polyline that stays within a chord error of the curve.

        The sagitta of a chord of length c on a radius R is c**2 / (8 R), which gives the spacing
        allowed at each place; it is spread smoothly so that neighbouring spacings are alike.
        """
        fine = self.chainages(0.5)
        bend = np.abs(self.curvature(fine))
        reach = max(1, int(np.ceil(4.0 / (fine[1] - fine[0]))))
        padded = np.pad(bend, reach, mode="wrap" if self.closed else "edge")
        window = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
        bend = window.max(axis=-1)
        allowed = np.sqrt(8.0 * chord_error_m / np.maximum(bend, 1e-9))
        allowed = np.clip(allowed, min(_FINEST_M, spacing_m), spacing_m)
        density = 1.0 / (0.9 * allowed)
        kernel = np.hanning(2 * reach + 3)[1:-1]
        padded = np.pad(density, reach, mode="wrap" if self.closed else "edge")
        density = np.maximum(density, np.convolve(padded, kernel / kernel.sum(), mode="valid"))
        edges = np.append(fine, self.length_m) if self.closed else fine
        step = np.diff(edges)
        middle = density if self.closed else 0.5 * (density[:-1] + density[1:])
        progress = np.concatenate([[0.0], np.cumsum(middle * step)])
        count = max(3 if self.closed else 1, int(np.ceil(progress[-1])))
        chainage = np.interp(np.linspace(0.0, progress[-1], count + 1), progress, edges)
        return chainage[:-1] if self.closed else chainage
