"""A track that was edited in another program, or laid out in one, made a track of trackkit's."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from trackkit.errors import TrackFileError, TrackkitError
from trackkit.importing.beside import with_drawn_corners, with_drawn_pit_lanes
from trackkit.importing.facts import facts_of, other_features, rest_of_file, stated_in
from trackkit.importing.fields import ALL_MEMBERS
from trackkit.importing.gates import with_drawn_gates
from trackkit.importing.line import Laid, centreline_of
from trackkit.importing.profiles import with_profiles
from trackkit.importing.roles import ROLES, role_of, sorted_features
from trackkit.recordings.drawn.features import Drawing
from trackkit.recordings.drawn.gate_ends import ENDS
from trackkit.recordings.drawn.read import read_drawing
from trackkit.track.credit import credit_of
from trackkit.track.diff import compare_tracks
from trackkit.track.diff_report import Comparison
from trackkit.track.features import Crossover
from trackkit.track.file import stored
from trackkit.track.history import now, source_entry
from trackkit.track.ids import slug
from trackkit.track.measure import measure
from trackkit.track.model import Track

_SAME_BRIDGE_M = 1.0


@dataclass(frozen=True, eq=False)
class Imported:
    """A track from another program's file.

    Parameters
    ----------
    track
        The track, with a line of history and the file among its sources.
    remarks
        Sentences about what was assumed or left out.
    moved
        What differs from the track that it was laid onto, without that line of history; None
        where it was laid onto none.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> imported = trackkit.Imported(track, ("no gate was in the file",))
    >>> imported.track.name, imported.moved is None
    ('Box', True)
    """

    track: Track
    remarks: tuple[str, ...] = ()
    moved: Comparison | None = None

    def __repr__(self) -> str:
        changed = "" if self.moved is None else f", {self.moved.lines()[0]!r}"
        return f"Imported({reprlib.repr(self.track.id)}{changed})"


def import_track(
    path: str | os.PathLike[str],
    *,
    onto: Track | None = None,
    name: str | None = None,
    crs: str | None = None,
    layers: Mapping[str, str | Sequence[str]] | None = None,
    fields: Mapping[str, str] | None = None,
) -> Imported:
    """Make a track of a file that another program wrote.

    Read are GeoPackage, GeoJSON, KML, KMZ, Shapefile, FlatGeobuf, GeoParquet, DXF, GPX, CSV with
    WKT, a folder or a ZIP archive of several, and tables of gate ends (CSV): trackkit's own exports
    after an edit, and what a surveyor laid out.  Positions are brought to WGS 84.  Layers and
    fields are known by their names, cut short or not, and by what is in them; else by the longest
    line, which is the centreline, and short ones across it, which are gates.  Order, chainages,
    widths, length and direction are worked out from the positions, and so are corners where the
    line is another one.

    What lies within a centimetre of where it was in `onto` has not moved, and stays as it was to
    the last decimal; ids stay with their features, also where the file has lost them; and what the
    file's format cannot hold, or has no features of, is carried over.

    Parameters
    ----------
    path
        The file or folder.
    onto
        The track that it was before the edit, or None.
    name
        What to call the track; None for what the file or `onto` says, or else the file's own name.
    crs
        The coordinate system, such as "EPSG:25832", which goes before the file's own; None for
        that.
    layers
        Names of layers by role: ``centreline``, ``gates``, ``pit_lane`` and ``corners``.
    fields
        Names of fields, or columns, by what they hold: ``id``, ``name``, ``kind``,
        ``left_longitude_deg`` and so on.

    Returns
    -------
    Imported
        The track, as `write_track` stores it, and what differs from `onto`.

    Raises
    ------
    RecordingError
        When the file cannot be read, is of no format of drawn features, or names no coordinate
        system and none is given.
    TrackFileError
        When a feature cannot be what it is to be, or a layer that is named is not there.
    PlaceError
        When a gate does not cross the line, or PROJ does not know the coordinate system.

    Examples
    --------
    >>> import tempfile
    >>> from trackkit import Track, export_track, import_track, place_gate
    >>> track = Track.from_arrays([5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003], "Box")
    >>> track = place_gate(track, "finish", 0.0).track
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = export_track(track, f"{folder}/box.gpkg", "gpkg")
    ...     back = import_track(f"{folder}/box.gpkg", onto=track)
    >>> back.moved.lines()
    ['nothing differs']
    """
    try:
        return _imported(path, onto, name, crs, layers or {}, fields or {})
    except TrackkitError as error:
        raise type(error)(
            error.what, file=error.file or path, place=error.place, remedy=error.remedy
        ) from error


def _imported(
    path: str | os.PathLike[str],
    onto: Track | None,
    name: str | None,
    crs: str | None,
    layers: Mapping[str, str | Sequence[str]],
    fields: Mapping[str, str],
) -> Imported:
    by_role = _layers(layers)
    _require_members(fields)
    columns = {end: column for end, column in fields.items() if end in ENDS}
    named = {member: field for member, field in fields.items() if member not in ENDS}
    drawing = read_drawing(path, crs=crs, columns=columns)
    _require_fields(drawing, named)
    parts = sorted_features(drawing.features, by_role, named, onto)
    stem = Path(path).name.split(".")[0]
    laid = centreline_of(parts, named, onto, drawing.what, name or stem)
    laid = replace(laid, members={**laid.members, **stated_in(drawing)})
    draft, remarks = _draft(laid, drawing, onto, name, stem)
    track, more = with_drawn_gates(draft, parts.gates, named, onto, same_line=laid.unmoved)
    track, corners = with_drawn_corners(
        track, parts.corners, named, onto, same_line_as_before=laid.unmoved
    )
    track, lanes = with_drawn_pit_lanes(track, parts.pit_lane, named, onto)
    track = replace(track, other_features=other_features(parts.others, onto))
    track = _measured(track, onto, laid)
    if onto is not None and not laid.unmoved:
        track, remark = with_profiles(track, onto, track.accuracy_m)
        lanes = (*lanes, *([remark] if remark else []))
    plain = stored(track)
    moved = None if onto is None else compare_tracks(onto, plain)
    every = (*drawing.remarks, *parts.remarks, *laid.remarks, *remarks, *more, *corners, *lanes)
    if moved is not None and moved.same:
        return Imported(plain, every, moved)
    source = _source(path, track, laid.members.get("credit"))
    changed = replace(track, sources=(*track.sources, source))
    changed = changed.revised_by(f"imported from {Path(path).name}", now())
    return Imported(stored(changed), every, moved)


def _layers(layers: Mapping[str, str | Sequence[str]]) -> dict[str, list[str]]:
    by_role: dict[str, list[str]] = {}
    for given, names in layers.items():
        role = role_of(given)
        if role is None:
            raise TrackFileError(
                f"{given!r} is no part of a track", remedy=f"the parts are: {', '.join(ROLES)}"
            )
        by_role.setdefault(role, []).extend([names] if isinstance(names, str) else names)
    return by_role


def _require_members(fields: Iterable[str]) -> None:
    for member in fields:
        if member not in ALL_MEMBERS:
            raise TrackFileError(
                f"{member!r} is no member of a track's features",
                remedy=f"the members are: {', '.join(ALL_MEMBERS)}",
            )


def _require_fields(drawing: Drawing, named: Mapping[str, str]) -> None:
    there = list(dict.fromkeys(name for feature in drawing.features for name in feature.fields))
    for name in named.values():
        if name not in there:
            raise TrackFileError(
                f"has no field called {name!r}",
                remedy=f"its fields are: {', '.join(there) or 'none'}",
            )


def _draft(
    laid: Laid, drawing: Drawing, onto: Track | None, name: str | None, stem: str
) -> tuple[Track, list[str]]:
    """Make the track without what stands along it."""
    facts, remarks = facts_of(laid, drawing, onto)
    if name is not None:
        facts["name"] = name
    if not facts.get("name"):
        facts["name"] = stem
        remarks.append(f"nothing says what the track is called: it was called {stem!r}")
    if not facts.get("id"):
        facts["id"] = slug(f"{facts['name']} {facts.get('layout', '')}".strip())
    measured = measure(laid.line)
    base = Track(
        id=facts["id"],
        name=facts["name"],
        centreline=laid.line,
        length_m=measured.length_m,
        length_surface_m=measured.length_surface_m,
        direction=measured.direction,
        crossovers=measured.crossovers,
        line="centre",
    )
    return replace(base, **rest_of_file(drawing, onto, laid.unmoved), **facts), remarks


def _measured(track: Track, onto: Track | None, laid: Laid) -> Track:
    """Give a track the lengths, direction and bridges of its line; those before, where it is it."""
    line = track.centreline
    if onto is not None and laid.unmoved and line.longitude_deg is onto.centreline.longitude_deg:
        return replace(
            track,
            length_m=onto.length_m,
            length_surface_m=onto.length_surface_m,
            direction=onto.direction,
            crossovers=onto.crossovers,
        )
    measured = measure(line)
    return replace(
        track,
        length_m=measured.length_m,
        length_surface_m=measured.length_surface_m,
        direction=measured.direction,
        crossovers=_same_bridges(track, measured.crossovers),
    )


def _same_bridges(track: Track, crossovers: Sequence[Crossover]) -> tuple[Crossover, ...]:
    """Keep the bridges that the file states where they are those of the line."""
    stated, curve = track.crossovers, track.curve
    alike = len(stated) == len(crossovers) and all(
        max(
            float(curve.separation(a.over_m, b.over_m)),
            float(curve.separation(a.under_m, b.under_m)),
        )
        <= _SAME_BRIDGE_M
        for a, b in zip(stated, crossovers, strict=True)
    )
    return stated if alike else tuple(crossovers)


def _source(path: str | os.PathLike[str], track: Track, credit: Any) -> dict[str, Any]:
    """Describe the file that a track was imported from, with a credit that it asks for."""
    file = Path(path)
    entry: dict[str, Any] = source_entry(file) if file.is_file() else {"file": file.name}
    if isinstance(credit, str) and credit.strip() and credit not in credit_of(track):
        entry["credit"] = credit.strip()
    return entry
