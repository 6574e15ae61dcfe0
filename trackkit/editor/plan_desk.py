"""A plan without coordinates that is laid under a track's map by points, on the page."""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from trackkit.editor.asked import Request, number, position, text
from trackkit.editor.beside import new_file_beside
from trackkit.errors import TrackkitError, UnderlayError
from trackkit.pages.base import underlay_row
from trackkit.track.model import Track
from trackkit.underlay.embed import EmbeddedPicture, embed_underlay, webp
from trackkit.underlay.packages import load
from trackkit.underlay.picture import Pixels, read_underlay
from trackkit.underlay.placed import write_placed_pixels, write_placed_plan
from trackkit.underlay.plan import (
    FEWEST,
    OF_A_BAD_POINT,
    Fit,
    PlacedPlan,
    place_plan,
    place_remarks,
)
from trackkit.underlay.points import PlanPoint, ground_position, write_plan_points
from trackkit.underlay.sheets import UnplacedPlan, read_sheet

MOST_PAIRS = 200
_SHOWN_PIXELS, _TRIED_PIXELS = 6_000_000, 400_000
"""Of the plan as it is clicked on, and as it is laid while pairs are still being put together."""
_MOST_ACROSS = 16_000
"""WebP holds no more than 16383 pixels a side (RFC 9649)."""
_QUALITY = 80
_NOBODY_YET = "not named yet"


class PlanDesk:
    """A plan, and the places on it that were paired with places on the ground so far."""

    def __init__(self, plan: UnplacedPlan) -> None:
        pixels, per_unit = read_sheet(plan.path, page=plan.page)
        height, width = pixels.shape[:2]
        self.plan, self.credit = plan, plan.credit
        self.fit: Fit = "affine"
        self.points: tuple[PlanPoint, ...] = ()
        self.laid = False
        self._saved: tuple[PlanPoint, ...] = ()
        self._size = (width / per_unit, height / per_unit)
        shown = _shrunk(pixels, _SHOWN_PIXELS, plan.path)
        self._tried = _shrunk(shown, _TRIED_PIXELS, plan.path)
        coded = webp(shown, _QUALITY, plan.path)
        self._picture = "data:image/webp;base64," + base64.b64encode(coded).decode("ascii")
        self._pixel = 1.0 / per_unit
        self._unit = "px" if per_unit == 1.0 else "mm"

    @property
    def name(self) -> str:
        """Of the file, without its folder."""
        return Path(self.plan.path).name

    @property
    def unsaved(self) -> bool:
        """Whether there are pairs that no file has."""
        return bool(self.points) and self.points != self._saved

    def as_row(self) -> dict[str, Any]:
        """Describe the plan and its pairs for a page."""
        return {
            "file": self.name,
            "picture": self._picture,
            "width": self._size[0],
            "height": self._size[1],
            "unit": self._unit,
            "fewest": FEWEST,
            "pairs": [
                {"x": one.x, "y": one.y, "at": list(one.position), "name": one.name}
                for one in self.points
            ],
            "fit": self.fit,
            "credit": self.credit,
            "laid": self.laid,
            "save_as": f"{Path(self.plan.path).stem}-placed",
        }

    def try_pairs(self, request: Request, track: Track) -> dict[str, Any]:
        """Take pairs, and tell how well they lay the plan, with a coarse picture of it laid.

        Returns
        -------
        dict
            ``fits``; where it does not ``why``; else what is left at each pair, ``remarks`` and
            ``underlay``, as a base document has it.
        """
        self._take(request)
        try:
            placed = place_plan(self.points, self.fit, pixel=self._pixel)
            picture = self._embedded(placed, track, self._tried)
        except UnderlayError as error:
            return {"fits": False, "why": str(error)}
        rows = [
            {
                "east_m": east,
                "north_m": north,
                "away_m": float(np.hypot(east, north)),
                "bad": OF_A_BAD_POINT if n == placed.suspect else None,
            }
            for n, (east, north) in enumerate(placed.residual_m.tolist())
        ]
        return {
            "fits": True,
            "pairs": rows,
            "remarks": place_remarks(placed),
            "underlay": underlay_row(picture),
        }

    def place_of(self, request: Request, track: Track) -> dict[str, Any]:
        """Find the place on the ground that was typed."""
        return {"at": list(ground_position(text(request, "place").strip(), track=track))}

    def lay(self, request: Request, track: Track) -> EmbeddedPicture:
        """Lay the plan under a track's map, as sharp as it is."""
        placed = self._placed(request)
        picture = self._embedded(placed, track, None)
        self.laid = True
        return picture

    def save(self, request: Request) -> dict[str, Any]:
        """Write the points, or the plan that knows where it lies, beside the plan."""
        name = text(request, "name")
        if request.get("what") == "points":
            self._take(request)
            path = new_file_beside(self.plan.path, name, ".csv")
            write_plan_points(self.points, path)
            self._saved = self.points
        else:
            path = new_file_beside(self.plan.path, name, ".tif")
            placed = self._placed(request)
            write_placed_plan(placed, self.plan.path, path, credit=self.credit, page=self.plan.page)
        return {"saved": True, "file": path}

    def _take(self, request: Request) -> None:
        rows, fit = request.get("pairs"), request.get("fit")
        if fit not in ("affine", "projective"):
            raise TrackkitError("a plan is laid by an affine or a projective fit")
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            raise TrackkitError("pairs is no list of pairs")
        if len(rows) > MOST_PAIRS:
            raise TrackkitError(f"a plan is laid by {MOST_PAIRS} pairs at most")
        self.points = tuple(
            PlanPoint(
                number(row, "x"),
                number(row, "y"),
                position(row, "at"),
                text(row, "name") if row.get("name") is not None else "",
            )
            for row in rows
        )
        self.fit = fit
        if request.get("credit") is not None:
            self.credit = " ".join(text(request, "credit").split())

    def _placed(self, request: Request) -> PlacedPlan:
        self._take(request)
        if not self.credit:
            raise UnderlayError(
                "nobody is named who made it",
                file=self.name,
                remedy="name them as they ask to be named; it is shown with the picture",
            )
        return place_plan(self.points, self.fit, pixel=self._pixel)

    def _embedded(self, placed: PlacedPlan, track: Track, pixels: Pixels | None) -> EmbeddedPicture:
        """Cut the plan, or a coarse copy of it, to a track."""
        with tempfile.TemporaryDirectory(prefix="trackkit-") as folder:
            path = str(Path(folder) / "placed.tif")
            credit = self.credit or _NOBODY_YET
            try:
                if pixels is None:
                    write_placed_plan(
                        placed, self.plan.path, path, credit=credit, page=self.plan.page
                    )
                else:
                    per_unit = pixels.shape[1] / self._size[0]
                    write_placed_pixels(
                        placed,
                        pixels,
                        per_unit,
                        self.name,
                        path,
                        credit=credit,
                        most_pixels=_TRIED_PIXELS,
                        compress="none",
                    )
                picture = embed_underlay(
                    read_underlay(path), track, most_bytes=self.plan.most_bytes
                )
            except UnderlayError as error:
                # What is wrong is wrong with the plan, wherever its copy lies.
                raise UnderlayError(error.what, file=self.name, remedy=error.remedy) from error
        return replace(picture, name=self.name)


def _shrunk(pixels: Pixels, most_pixels: int, path: str) -> Pixels:
    """Make a picture coarser where it has more pixels."""
    height, width = pixels.shape[:2]
    share = min(1.0, (most_pixels / (width * height)) ** 0.5, _MOST_ACROSS / max(width, height))
    if share == 1.0:
        return pixels
    image = load("PIL.Image", path)
    size = (max(1, round(share * width)), max(1, round(share * height)))
    return np.asarray(image.fromarray(pixels).resize(size, image.Resampling.LANCZOS))
