"""Which known circuit something is at: a position, a drawn line or a recording."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trackkit.errors import PlaceError
from trackkit.library.folders import Library, open_library
from trackkit.library.known import DEFAULT_RADIUS_M, NAMED, Located

if TYPE_CHECKING:
    from trackkit.recordings.drawn_lines import DrawnLine
    from trackkit.recordings.recording import Recording


def locate(
    where: tuple[float, float] | Recording | DrawnLine,
    library: Library | None = None,
    *,
    radius_m: float = DEFAULT_RADIUS_M,
    most: int = NAMED,
) -> Located:
    """Tell which known circuit a position, or a recording, is at.

    A position names the circuit; a drive tells layout and direction too.  A drawn line, of which
    nobody knows when or which way it was driven, is located by its first point.  Neither has a day:
    layouts that are no more, or are not yet, are named as well.

    Parameters
    ----------
    where
        Longitude and latitude, degrees, in this order; or a recording; or a drawn line.
    library
        What is known; None for that of `open_library`.  Open it once for many positions.
    radius_m
        Within this distance of a circuit the answer is ``near``, metres.
    most
        How many circuits are named.

    Returns
    -------
    Located
        Nearest first, or after a drive most probable first.

    Raises
    ------
    PlaceError
        When a position is none.
    TrackkitError
        When a library cannot be opened.

    Examples
    --------
    >>> import trackkit
    >>> located = trackkit.locate((83.35206, 38.72159))
    >>> located.answer, located.candidates[0].id, round(located.candidates[0].distance_m, -1)
    ('at', 'pipwick-kart-circuit', 20.0)
    """
    if library is None:
        library = open_library()
    if isinstance(where, tuple):
        longitude, latitude = where
        if not (abs(latitude) <= 90 and abs(longitude) <= 360):
            raise PlaceError(
                f"({longitude}, {latitude}) is not a longitude and a latitude (-90 to 90) in "
                "degrees",
                remedy="give the longitude first",
            )
        return library.locate(longitude, latitude, radius_m=radius_m, most=most)
    from trackkit.recordings.drawn_lines import DrawnLine

    if isinstance(where, DrawnLine):
        first = float(where.longitude_deg[0]), float(where.latitude_deg[0])
        return library.locate(*first, radius_m=radius_m, most=most)
    from trackkit.library.locate_drive import locate_drive

    return locate_drive(library, where, radius_m=radius_m, most=most)
