"""Which layout of a circuit was there on the day of a recording."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Literal, Protocol, TypeVar

_DEGREES_AN_HOUR = 15.0

Validity = Literal["valid", "no longer", "not yet"]


class Dated(Protocol):
    """What says of itself since when and until when it is so: a track, or a known circuit."""

    @property
    def id(self) -> str:
        """Its id."""

    @property
    def name(self) -> str:
        """Name of the circuit."""

    @property
    def timezone(self) -> str | None:
        """IANA name of the time zone, or None."""

    @property
    def valid_from(self) -> str | None:
        """First day, or None."""

    @property
    def valid_until(self) -> str | None:
        """Last day, or None."""

    @property
    def replaces(self) -> str | None:
        """Id of the layout before it, or None."""


Layout = TypeVar("Layout", bound=Dated)


def local_day(moment: datetime, timezone: str | None, longitude_deg: float) -> str:
    """Tell the day of a moment by the clock of a place, as RFC 3339 writes it (full-date).

    Parameters
    ----------
    moment
        The moment, with a time zone.
    timezone
        IANA name of the place's time zone.  Where it is None, or unknown here, the clock is that of
        the nautical zone: an hour for every 15 degrees of longitude (common practice, no source).
    longitude_deg
        Longitude of the place, degrees.
    """
    from zoneinfo import ZoneInfo

    try:
        if timezone:
            return moment.astimezone(ZoneInfo(timezone)).date().isoformat()
    except (OSError, ValueError, LookupError):
        pass  # a name that this computer's database lacks
    around = (longitude_deg + 180.0) % 360.0 - 180.0
    return (moment + timedelta(hours=round(around / _DEGREES_AN_HOUR))).date().isoformat()


def is_valid(layout: Dated, day: str) -> bool:
    """Tell whether a layout says that it was there on a day; one that says nothing was."""
    return (layout.valid_from or "") <= day and (
        not layout.valid_until or day <= layout.valid_until
    )


def validity_on(layouts: Sequence[Dated], moment: datetime, longitude_deg: float) -> list[Validity]:
    """Tell of each of some layouts near one place whether it was there at a moment.

    One that another one `replaces`, which has begun, is there no longer.

    Parameters
    ----------
    layouts
        Of circuits near one place.
    moment
        With a time zone.
    longitude_deg
        Longitude of the place, degrees.
    """
    if not any(layout.valid_from or layout.valid_until for layout in layouts):
        return ["valid"] * len(layouts)
    days = [local_day(moment, layout.timezone, longitude_deg) for layout in layouts]
    replaced = {
        layout.replaces
        for layout, day in zip(layouts, days, strict=True)
        if layout.valid_from and is_valid(layout, day)
    }
    answers: list[Validity] = []
    for layout, day in zip(layouts, days, strict=True):
        if (layout.valid_from or "") > day:
            answers.append("not yet")
        elif layout.id in replaced or not is_valid(layout, day):
            answers.append("no longer")
        else:
            answers.append("valid")
    return answers


def kept_by(layouts: Sequence[Layout], validity: Sequence[Validity] | None) -> list[Layout]:
    """Leave out layouts that were not there at a moment, where another one of the circuit was.

    A layout was not there on a day before its `valid_from` or after its `valid_until`, nor from
    the day on from which another one that was there `replaces` it.  Layouts belong together that
    have one name, or one of which replaces the other.  Where none of them was there all are kept:
    what their files say of days is then of no help.

    Parameters
    ----------
    layouts
        Of circuits near one place.
    validity
        Of each, from `validity_on`; None where nobody knows the moment, and all are kept.

    Returns
    -------
    list
        Those that are left, in their order.
    """
    if validity is None:
        return list(layouts)
    # The older layout need not say when it ended, and stays replaced where the newer is too.
    there = {
        layout.id for layout, on_day in zip(layouts, validity, strict=True) if on_day == "valid"
    }
    return [
        layout
        for layout in layouts
        if layout.id in there
        or not any(other.id in there for other in layouts if _of_the_same_circuit(layout, other))
    ]


def _of_the_same_circuit(layout: Dated, other: Dated) -> bool:
    return (
        layout.name.casefold() == other.name.casefold()
        or layout.replaces == other.id
        or other.replaces == layout.id
    )
