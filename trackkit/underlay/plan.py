"""A plan without coordinates, placed by points that are told on it and on the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import UnderlayError
from trackkit.geometry.geodesy import LocalPlane
from trackkit.underlay.points import PlanPoint
from trackkit.words import counted

Fit = Literal["affine", "projective"]
FEWEST: dict[Fit, int] = {"affine": 3, "projective": 4}
_SURE = 0.01
"""A point is called bad where chance does that to one plan in a hundred."""
_FINEST_M = 0.01
"""Points that agree better than this agree by chance: nobody measures a plan so well (common
practice, no source)."""
_THIN = 1e-3
"""Points whose spread across is this small a share of that along lie on one straight line."""


@dataclass(frozen=True)
class PlacedPlan:
    """How a plan lies on the ground.

    Parameters
    ----------
    points
        The points that place it.
    plane
        The plane that it is placed on.
    matrix
        (3, 3): (x, y, 1) on the plan, times it, is (east, north, 1) on the plane, metres, up to a
        factor.
    fit
        ``affine`` or ``projective``.
    residual_m
        East and north, metres, shape (n, 2): each point's place on the ground, less where the plan
        has it.
    sigma_m
        Of one point on one axis, metres, by the residuals; None where there is no point to spare.
    suspect
        The point that does not go with the others, or None.

    Examples
    --------
    >>> import trackkit
    >>> corners = [(0, 0, 83.35, 38.73), (300, 0, 83.36, 38.73), (0, 400, 83.35, 38.72)]
    >>> points = [trackkit.PlanPoint(x, y, (lon, lat)) for x, y, lon, lat in corners]
    >>> trackkit.place_plan(points)
    PlacedPlan(3 points, affine, rms_m=0.00)
    """

    points: tuple[PlanPoint, ...]
    plane: LocalPlane
    matrix: Floats
    fit: Fit
    residual_m: Floats
    sigma_m: float | None
    suspect: int | None

    def __repr__(self) -> str:
        points = counted(self.points, "point")
        return f"PlacedPlan({points}, {self.fit}, rms_m={self.rms_m:.2f})"

    @property
    def rms_m(self) -> float:
        """Root mean square of the points' distances from where the plan has them."""
        return float(np.sqrt(np.mean(np.sum(self.residual_m**2, axis=1))))

    def ground_m(self, place: Floats) -> Floats:
        """Take places on the plan to the plane.

        Parameters
        ----------
        place
            Shape (n, 2), x and y.

        Returns
        -------
        Floats
            Shape (n, 2), east and north, metres.
        """
        return _mapped(self.matrix, place)


OF_A_BAD_POINT = "does not go with the others"


def place_remarks(placed: PlacedPlan) -> list[str]:
    """Say how well the points agree that a plan was laid by, and which one does not."""
    if placed.sigma_m is None:
        return [
            (
                "with no point to spare nothing shows whether one of them is wrong: give one or "
                "two more"
            )
        ]
    texts = [f"one sigma of a point is {placed.sigma_m:.2f} m on one axis"]
    if placed.suspect is not None:
        texts.append(
            f"point {point_name(placed, placed.suspect)} {OF_A_BAD_POINT}: measure it again on "
            "both sides, or leave it out"
        )
    return texts


def point_name(placed: PlacedPlan, n: int) -> str:
    """Call a point as people do: by its name, or its number from 1."""
    return placed.points[n].name or str(n + 1)


def place_plan(
    points: Sequence[PlanPoint], fit: Fit = "affine", *, pixel: float = 1.0
) -> PlacedPlan:
    """Lay a plan on the ground by least squares over its points.

    An affine fit has one scale, turn and shear for the whole plan, as maps, scans and pictures
    from straight above have.  A projective fit holds for a picture of flat ground from aslant
    (Hartley and Zisserman, Multiple View Geometry in Computer Vision, chapter 4; from memory).

    Whether a point does not go with the others is tested by how much the sum of squares falls
    without it (the mean-shift model of an outlier: Cook and Weisberg, Residuals and Influence in
    Regression, 1982; from memory), at 1 percent over all points together (Bonferroni).  One that
    the others have less than a pixel away is none: no hand puts it nearer.

    Parameters
    ----------
    points
        Three or more for an affine fit, four or more for a projective one.  One more shows how
        well they agree, two more which of them is bad.
    fit
        Which of the two.
    pixel
        Width of a pixel in the unit that the points' x and y are in: 1 for pictures;
        `trackkit.underlay.sheets.pixel_of` tells that of a PDF, whose unit is the millimetre.

    Returns
    -------
    PlacedPlan
        The fit, and each point's residual.

    Raises
    ------
    UnderlayError
        When the points are too few, lie on one line, or lie mirrored.

    Examples
    --------
    >>> import trackkit
    >>> corners = [(0, 0, 83.35, 38.73), (300, 0, 83.36, 38.73), (0, 400, 83.35, 38.72)]
    >>> points = [trackkit.PlanPoint(x, y, (lon, lat)) for x, y, lon, lat in corners]
    >>> trackkit.place_plan([*points, trackkit.PlanPoint(300, 400, (83.36, 38.72))]).suspect
    """
    if len(points) < FEWEST[fit]:
        raise UnderlayError(
            f"{len(points)} points place no plan by {_article(fit)} fit",
            remedy=f"give {FEWEST[fit]} or more, well spread over the plan",
        )
    plan = np.array([[point.x, point.y] for point in points])
    longitude, latitude = np.array([point.position for point in points]).T
    plane = LocalPlane.around(longitude, latitude)
    ground = plane.to_plane(longitude, latitude)
    for places, where in ((plan, "on the plan"), (ground, "on the ground")):
        if _on_a_line(places, fit):
            raise UnderlayError(
                f"the points lie on one straight line {where}, and place no plan",
                remedy="give one more, well aside of the line through the others",
            )
    matrix = _fitted(plan, ground, fit)
    # Down on the plan is south: a plan that is not mirrored turns the other way round.
    if np.linalg.det(_slope(matrix, plan.mean(axis=0))) > 0:
        raise UnderlayError(
            "the points lay the plan on the ground mirrored",
            remedy="see whether two of them are mixed up, and whether y counts down from the top",
        )
    residual = ground - _mapped(matrix, plan)
    spare = _spare(len(points), fit)
    sigma = float(np.sqrt(np.sum(residual**2) / spare)) if spare > 0 else None
    suspect = _suspect(plan, ground, residual, fit, pixel)
    return PlacedPlan(tuple(points), plane, matrix, fit, residual, sigma, suspect)


def _article(fit: Fit) -> str:
    return f"an {fit}" if fit == "affine" else f"a {fit}"


def _spare(count: int, fit: Fit) -> int:
    """Numbers that are told beyond those that a fit needs."""
    return 2 * (count - FEWEST[fit])


def _on_a_line(places: Floats, fit: Fit) -> bool:
    """Whether places do not span a plane; of four, a projective fit lets no three be in line."""
    if fit == "projective" and len(places) == 4:
        return any(_on_a_line(np.delete(places, n, axis=0), "affine") for n in range(4))
    _, spread, _ = np.linalg.svd(places - places.mean(axis=0))
    return bool(spread[1] < _THIN * spread[0])


def _mapped(matrix: Floats, place: Floats) -> Floats:
    image = np.column_stack([place, np.ones(len(place))]) @ matrix.T
    return np.asarray(image[:, :2] / image[:, 2:])


def _slope(matrix: Floats, place: Floats) -> Floats:
    """Give a step right and a step down on the ground, columns, at a place of the plan."""
    steps = place + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    image = _mapped(matrix, steps)
    return np.asarray((image[1:] - image[0]).T)


def _fitted(plan: Floats, ground: Floats, fit: Fit) -> Floats:
    # Both sides are brought to about one first: Hartley, In defense of the eight-point algorithm,
    # IEEE TPAMI 19 (1997); from memory.
    here, there = _evened(plan), _evened(ground)
    x, y = _mapped(here, plan), _mapped(there, ground)
    corners = np.column_stack([x, np.ones(len(x))])
    matrix = np.vstack([np.linalg.lstsq(corners, y, rcond=None)[0].T, [0.0, 0.0, 1.0]])
    if fit == "projective":
        matrix = _projective(x, y)
    whole = np.linalg.solve(there, matrix @ here)
    return np.asarray(whole / whole[2, 2])


def _projective(x: Floats, y: Floats) -> Floats:
    from scipy.optimize import least_squares

    corners = np.column_stack([x, np.ones(len(x))])
    none = np.zeros_like(corners)
    rows = np.vstack(
        [
            np.hstack([corners, none, -y[:, :1] * corners]),
            np.hstack([none, corners, -y[:, 1:] * corners]),
        ]
    )
    begin = np.linalg.svd(rows)[2][-1]
    begin = begin / begin[8] if abs(begin[8]) > 1e-9 else begin

    def away(values: Floats) -> Floats:
        return (_mapped(np.append(values, 1.0).reshape(3, 3), x) - y).ravel()

    solved = least_squares(away, begin[:8], x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return np.append(solved.x, 1.0).reshape(3, 3)


def _evened(place: Floats) -> Floats:
    middle = place.mean(axis=0)
    size = 1.0 / float(np.sqrt(np.mean(np.sum((place - middle) ** 2, axis=1)) / 2.0))
    return np.array(
        [[size, 0.0, -size * middle[0]], [0.0, size, -size * middle[1]], [0.0, 0.0, 1.0]]
    )


def _suspect(plan: Floats, ground: Floats, residual: Floats, fit: Fit, pixel: float) -> int | None:
    from scipy.stats import f

    count = len(plan)
    left = _spare(count, fit) - 2
    if left < 2:
        return None
    whole = float(np.sum(residual**2))
    chances = np.ones(count)
    for n in range(count):
        rest_plan, rest_ground = np.delete(plan, n, axis=0), np.delete(ground, n, axis=0)
        if _on_a_line(rest_plan, fit) or _on_a_line(rest_ground, fit):
            continue
        matrix = _fitted(rest_plan, rest_ground, fit)
        away = float(np.hypot(*(ground[n] - _mapped(matrix, plan[n : n + 1])[0])))
        if away < pixel * np.sqrt(abs(np.linalg.det(_slope(matrix, plan[n])))):
            continue
        rest = rest_ground - _mapped(matrix, rest_plan)
        without = max(float(np.sum(rest**2)), left * _FINEST_M**2)
        ratio = ((whole - without) / 2.0) / (without / left)
        chances[n] = float(f.sf(max(ratio, 0.0), 2, left))
    worst = int(np.argmin(chances))
    return worst if count * chances[worst] < _SURE else None
