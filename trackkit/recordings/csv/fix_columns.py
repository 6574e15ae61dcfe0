"""Which column of a table of fixes holds what; asked where that is not clear."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.csv.columns import (
    TIME_UNITS,
    Column,
    Vocabulary,
    any_of,
    recognise_header,
    unit_words,
)
from trackkit.recordings.csv.layout import (
    Layout,
    columns_by_role,
    find_layout,
    listed,
    positions_named,
)
from trackkit.recordings.formats import WHAT_IS_READ
from trackkit.recordings.raw import counted
from trackkit.remedies import Remedy

_NAMES = {
    "time": any_of(
        "time|timestamp|time stamp|utc|utctime|datetime|date time|epoch|epoch time|unix|unixtime|"
        "unix time|unix timestamp|posix time|elapsed|elapsed time|elapsed seconds|seconds|"
        "milliseconds|t|recorded at"
    ),
    "date": frozenset({"date", "utcdate"}),
    "latitude": frozenset({"lat", "latitude", "latit"}),
    "longitude": frozenset({"lon", "lng", "long", "longitude"}),
    "speed": any_of(
        "speed|velocity|sog|speed over ground|ground speed|groundspeed|gspeed|g speed|spd|speed 2d"
    ),
    "course": any_of(
        "course|cog|course over ground|heading|bearing|true course|heading of motion|head mot|"
        "track angle|direction|azimuth|hdg"
    ),
    "elevation": any_of(
        "elevation|ele|elev|altitude|alt|height|hmsl|h msl|height msl|altitude msl|msl"
    ),
    "accuracy": any_of(
        "accuracy|hacc|h acc|horizontal accuracy|horizontal acc|position accuracy|eph"
    ),
    "speed_accuracy": any_of(
        "speed accuracy|sacc|s acc|velocity accuracy|speed acc|speed sigma|velocity sigma"
    ),
    "hdop": frozenset({"hdop", "h dop", "horizontal dilution of precision", "horizontal dop"}),
    "north or south": frozenset({"n/s", "ns", "lat dir", "latitude direction", "lat hemisphere"}),
    "east or west": frozenset({"e/w", "ew", "lon dir", "longitude direction", "lon hemisphere"}),
}

_ANGLES = {
    "deg": "deg|degree|degrees|°|dd|decimal degrees|decimal",
    "1e-7 deg": "e7|1e7|1e-7|1e-07|1e-7 deg|1e-7deg|1e-7 degrees|deg e7|deg*1e7|deg e-7|10^-7 deg|"
    "1e-7°|°e-7",
}
_LENGTHS = {
    "m": "m|meter|metre|meters|metres",
    "mm": "mm",
    "cm": "cm",
    "ft": "ft|feet|foot",
}
_SPEEDS = {
    "m/s": "m/s|mps|ms|m s|m/sec|m.s-1|m s-1|ms-1|meters/second|metres/second|m per s",
    "km/h": "km/h|kmh|kph|kmph|km h|km/hr|kmh-1",
    "mph": "mph|mi/h|miles/h|mi h",
    "knots": "kn|kt|kts|knot|knots",
    "mm/s": "mm/s|mm s",
}
_UNITS = {
    "time": TIME_UNITS,
    "latitude": _ANGLES,
    "longitude": _ANGLES,
    "speed": _SPEEDS,
    "course": {"deg": "deg|degree|degrees|°|deg true|true"},
    "elevation": _LENGTHS,
    "accuracy": _LENGTHS,
    "speed_accuracy": _SPEEDS,
    "hdop": {},
}
FIX_WORDS = Vocabulary(
    names=_NAMES,
    units={role: unit_words(units) for role, units in _UNITS.items()},
    noise=frozenset({"gps", "gnss", "wgs84", "wgs", "84", "pos", "position"}),
)
"""What the headers of tables of fixes say: words of plain speech, and receivers' own, read as they
write them (gSpeed, headMot, hAcc, hMSL and the like)."""

_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_POSITION = ("latitude", "longitude")


def layout_of_fixes(
    lines: Sequence[str], columns: Mapping[str, str], path: str | os.PathLike[str]
) -> Layout:
    """Find out how a table of fixes is laid out.

    Its header has a latitude and a longitude, recognised or named.  Where no line has, rows of
    numbers are looked for, which need columns named by number.

    Raises
    ------
    RecordingError
        The text is no table, or a question which columns hold the position.
    """
    layout = find_layout(
        lines,
        is_header=lambda cells: _has_position(cells, columns),
        is_value=_is_number,
        fewest_cells=3,
        fewest_values=2,
    )
    if layout is None:
        raise RecordingError(
            "is text, but no table of fixes",
            file=path,
            remedy=WHAT_IS_READ,
        )
    if layout.recognised or all(columns.get(role, "").isdigit() for role in _POSITION):
        return layout
    raise position_question(layout, path)


def names_fixes(lines: Sequence[str]) -> bool:
    """Tell whether a text's header names a time, a latitude and a longitude."""
    try:
        layout = layout_of_fixes(lines, {}, "")
        fix_columns(layout, {}, "")
    except RecordingError:
        return False
    return layout.recognised


def position_question(layout: Layout, path: str | os.PathLike[str]) -> RecordingError:
    """Ask which columns hold the position."""
    header = layout.header
    listing = f"its columns are {listed(header)}" if header else f"it has {layout.width} columns"
    return RecordingError(
        f"which columns are latitude and longitude is not clear: {listing}"
        + ("" if header else " and no header"),
        file=path,
        remedy=Remedy(
            f"say which, by {'name or by number from 1' if header else 'number from 1'}",
            do="name columns",
            value={"columns": dict.fromkeys(("time", *_POSITION), "...")},
        ),
    )


def ask_for(role: str) -> Remedy:
    """Ask which column holds what."""
    return Remedy("say which", do="name columns", value={"columns": {role: "NAME"}})


def _has_position(cells: Sequence[str], columns: Mapping[str, str]) -> bool:
    recognised = {pair[0] for cell in cells if (pair := recognise_header(cell, FIX_WORDS))}
    folded = {cell.casefold() for cell in cells}
    named = [
        columns[role].strip().casefold() in folded if role in columns else role in recognised
        for role in _POSITION
    ]
    numbered = [columns.get(role, "").strip().isdigit() for role in _POSITION]
    # Numbers alone would make a header of any line.
    return any(named) and all(a or b for a, b in zip(named, numbered, strict=True))


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


def fix_columns(
    layout: Layout, columns: Mapping[str, str], path: str | os.PathLike[str]
) -> dict[str, tuple[Column, ...]]:
    """Say which columns of a table of fixes hold what.

    Returns
    -------
    For every role found its columns: exactly one for latitude, longitude and time; for the others
    perhaps several, which are one if they agree.

    Raises
    ------
    NoTimesError
        No column holds a time.
    RecordingError
        A question: a column named is not there, or several could be the one.
    """
    named = {role: _named(layout, role, name, path) for role, name in columns.items()}
    chosen = columns_by_role(layout, FIX_WORDS, named)
    if "time" not in chosen and "date" in chosen:
        chosen["time"] = chosen.pop("date")
    for role in (*_POSITION, "time", "date"):
        if len(chosen.get(role, ())) > 1:
            options = listed([column.header for column in chosen[role]])
            raise RecordingError(
                f"{len(chosen[role])} columns could be the {role}: {options}",
                file=path,
                remedy=ask_for("time" if role == "date" else role),
            )
    if "time" not in chosen:
        listing = f"its columns are {listed(layout.header)}" if layout.header else "no header"
        raise NoTimesError(
            f"no column is recognised as the time ({listing})",
            file=path,
            remedy=ask_for("time"),
        )
    for role in _POSITION:
        if role not in chosen:
            raise RecordingError(
                f"no column is left for the {role}", file=path, remedy=ask_for(role)
            )
    return chosen


def _named(layout: Layout, role: str, name: str, path: str | os.PathLike[str]) -> int:
    positions = positions_named(layout.header, name)
    if len(positions) == 1:
        return positions[0]
    if positions:
        raise RecordingError(
            f"{counted(len(positions), 'column')} are called '{name.strip()}'",
            file=path,
            remedy=f"give the number of the one that is the {role}, counted from 1",
        )
    listing = listed(layout.header) if layout.header else "numbered from 1"
    raise RecordingError(
        f"has no column '{name.strip()}' for the {role}; its columns are {listing}", file=path
    )
