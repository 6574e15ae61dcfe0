"""Positions given in a national grid, brought to WGS 84 by PROJ."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import AreaOfInterest, TransformerGroup

from trackkit.arrays import Floats
from trackkit.errors import PlaceError
from trackkit.geometry.geodesy import geodesic_distance, unwrap_longitude, wrap_longitude

DATUM_REMARK_M = 0.1
AREA_MARGIN_DEG = 0.1


def grid_to_wgs84(
    east: ArrayLike, north: ArrayLike, crs: str
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Turn grid coordinates into WGS 84 longitude and latitude.

    The most accurate transformation that PROJ has at hand for the place is used.  How far the
    grid's datum lies from WGS 84 there is the distance between the result and the same grid
    position read on the grid's own datum as if that were WGS 84.

    Parameters
    ----------
    east, north
        Easting and northing in the grid's own unit (longitude and latitude, degrees, where the
        system is a geographic one), in this order whatever order the system's axes have.
    crs
        The grid, for example "EPSG:25832".

    Returns
    -------
    Longitudes, continuous across the antimeridian, and latitudes, degrees, in the shape given;
    and sentences: the shift where the datum differs from WGS 84 by more than 0.1 m, what is known
    of its accuracy, and whether a better transformation needs a file that is not installed.

    Raises
    ------
    PlaceError
        The grid is unknown or no horizontal one, or a position lies outside what it can hold.
    """
    grid = horizontal_crs(crs)
    own_datum = Transformer.from_crs(grid, grid.geodetic_crs, always_xy=True)
    east_values, north_values = np.broadcast_arrays(
        np.asarray(east, dtype=float), np.asarray(north, dtype=float)
    )
    x, y = np.atleast_1d(east_values).ravel(), np.atleast_1d(north_values).ravel()
    own_longitude, own_latitude = _transform(own_datum, x, y, crs)
    group = _transformations(grid, own_longitude, own_latitude)
    if not group.transformers:
        raise PlaceError(f"PROJ knows no way from {crs} to WGS 84 at this place")
    best = group.transformers[0]
    longitude, latitude = _transform(best, x, y, crs)
    shift_m = float(geodesic_distance(own_longitude, own_latitude, longitude, latitude).max())
    remarks = (
        *_datum_remarks(grid, crs, best, group, shift_m),
        *_area_remark(grid, crs, longitude, latitude),
    )
    return (
        unwrap_longitude(longitude).reshape(east_values.shape),
        latitude.reshape(east_values.shape),
        remarks,
    )


@dataclass(frozen=True, eq=False)
class Grid:
    """A coordinate system, and the way from WGS 84 to it in one place.

    Parameters
    ----------
    name
        As it was asked for, for example "EPSG:25832".
    crs
        The system.
    remarks
        What there is to say of its datum here; see `grid_to_wgs84`.
    """

    name: str
    crs: CRS
    remarks: tuple[str, ...]
    _to_wgs84: Transformer | None

    @classmethod
    def around(cls, name: str, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Grid:
        """Choose the most accurate way that PROJ has at hand for some positions.

        Parameters
        ----------
        name
            The system, as PROJ understands it.
        longitude_deg, latitude_deg
            Some positions of what is to be laid out in it, WGS 84, degrees, shape (n,).

        Raises
        ------
        PlaceError
            The system is unknown or no horizontal one, or PROJ knows no way to it here.
        """
        crs = horizontal_crs(name)
        if crs.equals("EPSG:4326", ignore_axis_order=True):
            return cls(name, crs, (), None)
        longitude = unwrap_longitude(np.asarray(longitude_deg, dtype=float))
        latitude = np.asarray(latitude_deg, dtype=float)
        group = _transformations(crs, longitude, latitude)
        if not group.transformers:
            raise PlaceError(f"PROJ knows no way from WGS 84 to {name} at this place")
        best = group.transformers[0]
        grid = cls(name, crs, (), best)
        own_datum = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
        own = _transform(own_datum, *grid.from_wgs84(longitude, latitude), name)
        shift_m = float(geodesic_distance(*own, longitude, latitude).max())
        remarks = (
            *_datum_remarks(crs, name, best, group, shift_m),
            *_area_remark(crs, name, longitude, latitude),
        )
        return cls(name, crs, remarks, best)

    def from_wgs84(
        self, longitude_deg: ArrayLike, latitude_deg: ArrayLike
    ) -> tuple[Floats, Floats]:
        """Turn WGS 84 longitude and latitude into easting and northing.

        Parameters
        ----------
        longitude_deg, latitude_deg
            Degrees, shape (n,).

        Returns
        -------
        east, north
            In the system's own unit, shape (n,); in this order whatever order its axes have.

        Raises
        ------
        PlaceError
            When a position lies outside what the system can hold.
        """
        longitude = np.asarray(longitude_deg, dtype=float)
        latitude = np.asarray(latitude_deg, dtype=float)
        if self._to_wgs84 is None:
            return longitude, latitude
        try:
            east, north = self._to_wgs84.transform(longitude, latitude, direction="INVERSE")[:2]
        except ProjError as error:
            raise PlaceError(
                f"positions cannot be brought from WGS 84 to {self.name} ({error})"
            ) from error
        laid = np.asarray(east, dtype=float), np.asarray(north, dtype=float)
        bad = ~(np.isfinite(laid[0]) & np.isfinite(laid[1]))
        if np.any(bad):
            first = int(np.flatnonzero(bad)[0])
            raise PlaceError(
                f"{self.name} cannot hold the position {latitude[first]:.7f}, "
                f"{longitude[first]:.7f}",
                remedy="choose a grid that is made for this place",
            )
        return laid


def horizontal_crs(crs: str) -> CRS:
    """Find the system of positions on a map that a code or a description stands for.

    Raises
    ------
    PlaceError
        When PROJ does not know it, or it is none.
    """
    try:
        grid = CRS.from_user_input(crs)
        if grid.is_compound:
            # Heights are not transformed; the horizontal half is what positions are given in.
            grid = grid.sub_crs_list[0]
        # A damaged description may break only where its geographic half is looked at.
        own = grid.geodetic_crs
    except CRSError as error:
        raise PlaceError(
            f"'{crs}' is no coordinate system PROJ knows",
            remedy="give its EPSG code, for example EPSG:25832",
        ) from error
    if not (grid.is_projected or grid.is_geographic) or own is None:
        raise PlaceError(
            f"'{crs}' ({grid.name}) is not a system of positions on a map",
            remedy="give a grid such as EPSG:25832",
        )
    return grid


def _transform(transformer: Transformer, x: Floats, y: Floats, crs: str) -> tuple[Floats, Floats]:
    try:
        longitude, latitude = transformer.transform(x, y)[:2]
    except ProjError as error:
        raise PlaceError(f"positions cannot be brought from {crs} to WGS 84 ({error})") from error
    result = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
    bad = ~(np.isfinite(result[0]) & np.isfinite(result[1]))
    if np.any(bad):
        first = int(np.flatnonzero(bad)[0])
        raise PlaceError(
            f"{x[first]:.10g}, {y[first]:.10g} is no position in {crs}",
            remedy="check the grid, and that easting comes before northing",
        )
    return result


def _transformations(grid: CRS, longitude: Floats, latitude: Floats) -> TransformerGroup:
    # Which transformation is best depends on the place: many datums have one for each country.
    margin = AREA_MARGIN_DEG
    around = AreaOfInterest(
        float(wrap_longitude(longitude[0] - margin)),
        max(-90.0, float(latitude.min()) - margin),
        float(wrap_longitude(longitude[0] + margin)),
        min(90.0, float(latitude.max()) + margin),
    )
    with warnings.catch_warnings():
        # A remark says instead that a better one needs a missing file.
        warnings.simplefilter("ignore", UserWarning)
        return TransformerGroup(grid, "EPSG:4326", always_xy=True, area_of_interest=around)


def _datum_remarks(
    grid: CRS, crs: str, best: Transformer, group: TransformerGroup, shift_m: float
) -> list[str]:
    datum = (grid.datum.name if grid.datum else grid.name).removesuffix(" ensemble")
    if "allpark" in best.description:
        sentence = (
            f"{crs} is on the datum {datum}, and PROJ knows no transformation from it to WGS 84 "
            "here: positions may be hundreds of metres out"
        )
        return [sentence]
    accuracy = best.accuracy if best.accuracy is not None and best.accuracy > 0 else None
    quality = f"good to {accuracy:g} m" if accuracy else "of unknown accuracy"
    remarks = []
    if shift_m > DATUM_REMARK_M:
        remarks.append(
            f"{crs} is on the datum {datum}, which lies {shift_m:,.1f} m from WGS 84 here; "
            f"positions were shifted by a transformation {quality}"
        )
    elif accuracy is not None and accuracy > DATUM_REMARK_M:
        remarks.append(
            f"{crs} is on the datum {datum}, which PROJ takes as equal to WGS 84; that is {quality}"
        )
    if remarks and not group.best_available:
        missing = next(
            (
                (operation, file.short_name)
                for operation in group.unavailable_operations
                for file in operation.grids
                if not file.available
            ),
            None,
        )
        if missing:
            operation, file_name = missing
            better = f", good to {operation.accuracy:g} m," if operation.accuracy > 0 else ""
            remarks.append(
                f"a better transformation{better} needs PROJ's grid file {file_name}, "
                "which is not installed"
            )
    return remarks


def _area_remark(grid: CRS, crs: str, longitude: Floats, latitude: Floats) -> list[str]:
    area = grid.area_of_use
    if area is None:
        return []
    width = (area.east - area.west) % 360.0 or 360.0
    outside = ((longitude - area.west) % 360.0 > width) | ~(
        (latitude >= area.south) & (latitude <= area.north)
    )
    if not np.any(outside):
        return []
    sentence = (
        f"positions lie outside the area {crs} is made for ({area.west:g}° to {area.east:g}° "
        f"east, {area.south:g}° to {area.north:g}° north): check that it is the right grid"
    )
    return [sentence]
