"""What people say of a track, set by name: what it is called, where it is, since when it is so."""

from __future__ import annotations

import re
import reprlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from trackkit.errors import TrackFileError
from trackkit.geometry.shape import direction_of
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.countries import COUNTRY_CODES
from trackkit.track.features import Corner
from trackkit.track.history import now
from trackkit.track.measure import measure
from trackkit.track.model import Track
from trackkit.words import shortened

LONGEST_FACT = 100
LONGEST_NOTES = 10_000
_LENGTH_WITHIN = 0.001
_APEX_WITHIN_M = 1.0


@dataclass(frozen=True, eq=False)
class FactChange:
    """A track of which something else is said.

    Parameters
    ----------
    track
        With the change, and a line of history of it.
    key
        Which fact, as `set_fact` takes it, or ``corner:`` and the corner's number.
    before, after
        What the track file said and says; None for nothing.
    what
        What was done, as the history has it.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.set_fact(track, "licence", "CC0-1.0")
    >>> change.key, change.after
    ('licence', 'CC0-1.0')
    """

    track: Track
    key: str
    before: str | float | None
    after: str | float | None
    what: str

    def __repr__(self) -> str:
        return f"FactChange({reprlib.repr(self.track.id)}, {shortened(self.what)!r})"

    def as_row(self) -> dict[str, Any]:
        """Return the change as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "id": self.track.id,
            "key": self.key,
            "before": self.before,
            "after": self.after,
            "done": self.what,
        }


def set_fact(track: Track, key: str, value: str, *, by: str | None = None) -> FactChange:
    """Set one of the facts of a track.

    Parameters
    ----------
    track
        The track.
    key
        One of `FACTS`, with hyphens or underscores.  ``length_m``, ``direction`` and
        ``apex_m:CORNER``, which follow from the line, take no other value than the line has;
        ``accuracy_m`` is for a line that was drawn or surveyed.
    value
        The new value; an empty text for none, where the track may be without.
    by
        Who says so, or None.

    Returns
    -------
    FactChange
        The track with the fact, as ``write_track`` stores it for ``trackkit set``.

    Raises
    ------
    TrackFileError
        When there is no such fact, or the value cannot be one.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> trackkit.set_fact(track, "licence", "CC0-1.0").track.licence
    'CC0-1.0'
    """
    name, colon, which = key.strip().partition(":")
    name = name.replace("-", "_")
    if colon and name == "apex_m":
        return _with_apex(track, which, value, by)
    if colon or name not in _READERS:
        raise TrackFileError(
            f"{key!r} is no fact of a track", remedy=f"the facts are: {', '.join(FACTS)}"
        )
    new = _READERS[name](track, value.strip())
    before = getattr(track, name)
    changed = replace(track, **{name: new})
    if name == "accuracy_m" and track.centreline.accuracy_profile is not None:
        drawn = (AccuracyRow(0.0, float(new), "drawn"),)
        changed = replace(changed, centreline=replace(track.centreline, accuracy_profile=drawn))
    if None not in (changed.valid_from, changed.valid_until):
        _require_period(str(changed.valid_from), str(changed.valid_until))
    what = f"set {name} from {_shown(before)} to {_shown(new)}"
    return FactChange(changed.revised_by(what, now(), by), name, before or None, new or None, what)


def rename_corner(
    track: Track, number_or_id: int | str, name: str, *, by: str | None = None
) -> FactChange:
    """Give a corner a name, or another one.

    It stays with the corner, also where a finish gate that moves numbers the corners anew.

    Parameters
    ----------
    track
        The track.
    number_or_id
        Of the corner; numbers count from 1 in racing direction.
    name
        What to call it, at most `LONGEST_FACT` characters on one line; an empty text for nothing.
    by
        Who says so, or None.

    Returns
    -------
    FactChange
        The track with the corner under its new name.

    Raises
    ------
    TrackFileError
        When there is no such corner, or `name` cannot be a name.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> change = trackkit.rename_corner(track, 1, "First")
    >>> change.track.corners[0].name
    'First'
    """
    corner = _corner(track, str(number_or_id))
    called = replace(corner, name=text_of(name, f"the name of corner {corner.number}"))
    what = f"renamed corner {corner.number} from {_shown(corner.name)} to {_shown(called.name)}"
    return FactChange(
        _with_corner(track, corner, called).revised_by(what, now(), by),
        f"corner:{corner.number}",
        corner.name or None,
        called.name or None,
        what,
    )


def text_of(text: str, what: str, *, needed: bool = False) -> str:
    """Take a text on one line, of `LONGEST_FACT` characters at most.

    Raises
    ------
    TrackFileError
        When it is none, or empty where one is needed.
    """
    taken = text.strip()
    if len(taken) > LONGEST_FACT or not taken.isprintable() or (needed and not taken):
        least = 1 if needed else 0
        raise TrackFileError(
            f"{what} is {least} to {LONGEST_FACT} characters on one line",
            remedy="give a shorter one" if len(taken) > LONGEST_FACT else "give another one",
        )
    return taken


def country_of(text: str) -> str | None:
    """Take a country code; None for an empty text.

    Raises
    ------
    TrackFileError
        When ISO 3166-1 has no such code.
    """
    if text and text not in COUNTRY_CODES:
        raise TrackFileError(
            f"{text!r} is no country code of ISO 3166-1",
            remedy="give two capital letters, for example AT",
        )
    return text or None


def time_zone_of(text: str) -> str | None:
    """Take the name of a time zone; None for an empty text.

    Raises
    ------
    TrackFileError
        When the IANA time zone database has no such zone.
    """
    from zoneinfo import available_timezones

    if text and text not in available_timezones():
        raise TrackFileError(
            f"{text!r} is no time zone of the IANA database",
            remedy="give one such as Europe/Vienna",
        )
    return text or None


def day_of(text: str) -> str | None:
    """Take a day as RFC 3339 writes it (full-date); None for an empty text.

    Raises
    ------
    TrackFileError
        When it is none.
    """
    try:
        good = not text or (re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII) is not None)
        if text and good:
            date.fromisoformat(text)
    except ValueError:
        good = False
    if not good:
        raise TrackFileError(
            f"{text!r} is no day", remedy="write year, month and day, such as 2026-04-01"
        )
    return text or None


def _notes(track: Track, text: str) -> str:  # noqa: ARG001
    lines = text.replace("\r\n", "\n")
    if len(lines) > LONGEST_NOTES or not all(c.isprintable() or c in "\n\t" for c in lines):
        raise TrackFileError(
            f"notes are text of at most {LONGEST_NOTES:,} characters", remedy="give a shorter text"
        )
    return lines


def _length(track: Track, text: str) -> float:
    actual = measure(track.centreline).length_m
    given = _metres(text, "length_m")
    if abs(given - actual) > _LENGTH_WITHIN * actual:
        raise TrackFileError(
            f"the line is {actual:.2f} m long, not {given:.2f} m",
            remedy="change the line, not what is said of it",
        )
    return actual


def _direction(track: Track, text: str) -> str | None:
    actual = direction_of(track.curve)
    if (text or None) != actual:
        raise TrackFileError(
            f"the line runs {actual or 'neither way round'}, not {text or 'neither way round'}",
            remedy="reverse the line if cars go the other way",
        )
    return actual


def _accuracy(track: Track, text: str) -> float:
    rows = track.centreline.accuracy_profile or ()
    if any(row.kind != "drawn" for row in rows):
        raise TrackFileError(
            "accuracy_m is that of the accuracy profile, which recordings gave",
            remedy="fold further recordings in, which sharpens it",
        )
    given = _metres(text, "accuracy_m")
    if given < 0.0:
        raise TrackFileError(f"accuracy_m is a number of metres of 0 or more, not {text!r}")
    return given


_READERS: Mapping[str, Callable[[Track, str], Any]] = {
    "name": lambda _, text: text_of(text, "the name of a track", needed=True),
    "layout": lambda _, text: text_of(text, "the name of a layout"),
    "country": lambda _, text: country_of(text),
    "timezone": lambda _, text: time_zone_of(text),
    "licence": lambda _, text: text_of(text, "the name of a licence") or None,
    "valid_from": lambda _, text: day_of(text),
    "valid_until": lambda _, text: day_of(text),
    "notes": _notes,
    "length_m": _length,
    "direction": _direction,
    "accuracy_m": _accuracy,
}
FACTS = tuple(name for name in _READERS if name not in ("length_m", "direction", "accuracy_m"))
"""What people can say of a track."""


def _require_period(first: str, last: str) -> None:
    if last < first:
        raise TrackFileError(
            f"the layout would be valid from {first} until {last}, which is before",
            remedy="change the other day first",
        )


def _with_apex(track: Track, which: str, value: str, by: str | None) -> FactChange:
    corner = _corner(track, which)
    given = _metres(value, "apex_m")
    place = track.plane.to_plane(*corner.apex)
    actual = float(track.curve.project(place)[0])
    if float(track.curve.separation(actual, given)) > _APEX_WITHIN_M:
        raise TrackFileError(
            f"the apex of corner {corner.number} is at {actual:.2f} m of the line, not at "
            f"{given:.2f} m",
            remedy="change the line, not what is said of it",
        )
    what = f"set apex_m of corner {corner.number} from {corner.apex_m:.2f} to {actual:.2f}"
    changed = _with_corner(track, corner, replace(corner, apex_m=actual))
    return FactChange(
        changed.revised_by(what, now(), by),
        f"apex_m:{corner.id or corner.number}",
        corner.apex_m,
        actual,
        what,
    )


def _with_corner(track: Track, old: Corner, new: Corner) -> Track:
    return replace(track, corners=tuple(new if c is old else c for c in track.corners))


def _corner(track: Track, number_or_id: str) -> Corner:
    wanted = number_or_id.strip()
    for corner in track.corners:
        if wanted in (str(corner.number), corner.id):
            return corner
    count = len(track.corners)
    raise TrackFileError(
        f"the track has no corner {wanted!r}",
        remedy=f"its corners are numbered 1 to {count}" if count else "it has no corners at all",
    )


def _metres(text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise TrackFileError(f"{what} is a number of metres, not {text!r}")
    return value


def _shown(value: object) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, float):
        return f"{value:.2f}"
    return shortened(" ".join(str(value).split()))
