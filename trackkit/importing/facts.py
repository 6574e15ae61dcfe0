"""What is said of an imported track: by its file, and by the track that it was before."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import TrackFileError
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.fields import FACTS, plain, restored, same_value
from trackkit.importing.line import Laid
from trackkit.importing.lines import UNMOVED_M
from trackkit.importing.pairing import own_id
from trackkit.recordings.drawn.features import Drawing, DrawnFeature
from trackkit.track.accuracy import verdict_from
from trackkit.track.document import FORMAT, positions_in
from trackkit.track.facts import country_of, day_of, text_of
from trackkit.track.features import Crossover
from trackkit.track.model import Track

_FACTS = ("name", *FACTS)
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})")
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_OF_GDAL = {"crs", "name", "bbox", "description", "xy_coordinate_resolution", "track"}
"""Members of a GeoJSON document that GDAL writes of itself, and those worked out anew."""
_DERIVED = {"format", "version", "closed", "direction", "length_m", "length_surface_m"}


def stated_in(drawing: Drawing) -> dict[str, Any]:
    """Return what a GeoJSON document that has kept its member ``track`` says, as fields."""
    described = drawing.members.get("track")
    if not isinstance(described, dict) or described.get("format") != FORMAT:
        return {}
    values = {key: plain(described.get(key)) for key in _FACTS}
    facts = {key: value for key, value in values.items() if value is not None}
    if isinstance(described.get("closed"), bool):
        facts["closed"] = described["closed"]
    if isinstance(described.get("id"), str):
        facts["track_id"] = described["id"]
    return facts


def facts_of(laid: Laid, drawing: Drawing, onto: Track | None) -> tuple[dict[str, Any], list[str]]:
    """Gather what people say of the track; what the file says goes before what was said.

    Raises
    ------
    TrackFileError
        When one cannot be a fact of a track.
    """
    members, remarks = laid.members, list[str]()
    if onto is None:
        facts = {key: _fact(key, members[key]) for key in _FACTS if members.get(key) is not None}
        if "name" not in facts and drawing.name:
            facts["name"] = drawing.name
        if "notes" not in facts and drawing.notes:
            facts["notes"] = drawing.notes
        track_id = members.get("track_id")
        if isinstance(track_id, str) and _SLUG.fullmatch(track_id):
            facts["id"] = track_id
        return {key: value for key, value in facts.items() if value is not None}, remarks
    track_id = members.get("track_id")
    if track_id is not None and track_id != onto.id:
        remarks.append(f"the file calls the track {track_id}; it was laid onto {onto.id}")
    facts = {"id": onto.id}
    for key in _FACTS:
        before = getattr(onto, key)
        value = members.get(key)
        same = key == "revised" or value is None or same_value(value, before)
        # Formats that have one name for the track and its layout have both in it.
        same = same or (key == "name" and value == f"{onto.name}, {onto.layout}")
        facts[key] = before if same else _fact(key, value)
    if not laid.unmoved and facts["accuracy_m"] == onto.accuracy_m:
        # What is known of another line is worked out from how far it was moved.
        facts["accuracy_m"] = None
    return facts, remarks


def _fact(key: str, value: Any) -> Any:
    """Take a fact as ``set`` does, so that the file it goes into is a track file."""
    if key == "revised":
        return value if _MOMENT.fullmatch(str(value)) else None
    if key == "line":
        return value if value in ("driven", "centre") else "centre"
    if key == "country":
        # ISO 3166-1 keeps XA to XZ for users, which `set` does not take and samples have.
        return value if re.fullmatch("X[A-Z]", str(value)) else country_of(str(value))
    if key in ("valid_from", "valid_until"):
        return day_of(str(value))
    if key == "replaces":
        return value if _SLUG.fullmatch(str(value)) else None
    if key == "accuracy_m":
        if not value >= 0.0:
            raise TrackFileError(f"its accuracy_m is {value!r}", remedy="leave it out")
        return value
    if key in ("name", "layout"):
        return text_of(str(value), f"the {key} of a track", needed=key == "name")
    return str(value)


def rest_of_file(drawing: Drawing, onto: Track | None, unmoved: bool) -> dict[str, Any]:
    """Gather members of a track that only a track file has."""
    if onto is not None:
        return {
            "history": onto.history,
            "sources": onto.sources,
            "accepted": onto.accepted,
            "verdict": onto.verdict,
            "members": onto.members,
            "foreign": onto.foreign,
            "version": onto.version,
            **({"crossovers": onto.crossovers} if unmoved else {}),
        }
    described = drawing.members.get("track")
    if not isinstance(described, dict) or described.get("format") != FORMAT:
        return {}
    rest: dict[str, Any] = {
        key: tuple(described[key])
        for key in ("history", "sources", "accepted")
        if isinstance(described.get(key), list) and all(isinstance(e, dict) for e in described[key])
    }
    if isinstance(described.get("verdict"), dict):
        rest["verdict"] = verdict_from(described["verdict"])
    own = {*_FACTS, *_DERIVED, *rest, "id", "crossovers", "verdict"}
    if isinstance(described.get("crossovers"), list):
        rest["crossovers"] = _bridges(described["crossovers"])
    rest["members"] = {key: value for key, value in described.items() if key not in own}
    rest["foreign"] = {key: value for key, value in drawing.members.items() if key not in _OF_GDAL}
    return rest


def _bridges(rows: Sequence[Any]) -> tuple[Crossover, ...]:
    return tuple(
        Crossover(
            float(row["over_m"]),
            float(row["under_m"]),
            {key: value for key, value in row.items() if key not in ("over_m", "under_m")},
        )
        for row in rows
        if isinstance(row, dict)
        and all(isinstance(row.get(key), int | float) for key in ("over_m", "under_m"))
    )


def other_features(
    others: Sequence[DrawnFeature], onto: Track | None
) -> tuple[Mapping[str, Any], ...]:
    """Keep features that trackkit does not know, of GeoJSON; carry over those of the track."""
    before = () if onto is None else onto.other_features
    drawn = [feature for feature in others if feature.source is not None]
    by_id = {_id(feature): feature for feature in drawn if _id(feature) is not None}
    left = list(drawn)
    result: list[Mapping[str, Any]] = []
    for old in before:
        new = by_id.get(old.get("id")) or _at_same_place(old, left)
        if new in left:
            left.remove(new)
        result.append(old if new is None else _with_edits(old, new))
    return (*result, *(_as_feature(feature) for feature in left))


def _id(feature: DrawnFeature) -> str | None:
    stated = plain(feature.fields.get("id"))
    return own_id(stated if isinstance(stated, str) else None) or own_id(feature.id)


def _at_same_place(old: Mapping[str, Any], features: Sequence[DrawnFeature]) -> DrawnFeature | None:
    return next((new for new in features if _unmoved(old, new)), None)


def _unmoved(old: Mapping[str, Any], new: DrawnFeature) -> bool:
    was = np.array(list(positions_in(old.get("geometry"))), dtype=float).reshape(-1, 2)
    now = _flat(new)
    if was.shape != now.shape or not len(was):
        return False
    apart = geodesic_distance(was[:, 0], was[:, 1], now[:, 0], now[:, 1])
    return bool(np.max(apart) <= UNMOVED_M)


def _flat(feature: DrawnFeature) -> Floats:
    return np.vstack([part[:, :2] for part in feature.parts]) if feature.parts else np.empty((0, 2))


def _with_edits(old: Mapping[str, Any], new: DrawnFeature) -> Mapping[str, Any]:
    properties = old.get("properties")
    fields = _properties(new)
    if "id" not in (properties or {}):
        fields.pop("id", None)
    kept = restored(fields, properties) if isinstance(properties, dict) else fields or properties
    changed = {**old, "properties": kept}
    if not _unmoved(old, new) and new.source is not None:
        changed["geometry"] = new.source["geometry"]
    return changed


def _properties(feature: DrawnFeature) -> dict[str, Any]:
    values = {name: plain(value) for name, value in feature.fields.items()}
    return {name: value for name, value in values.items() if value is not None}


def _as_feature(feature: DrawnFeature) -> dict[str, Any]:
    source = dict(feature.source or {})
    fields = _properties(feature)
    own = own_id(feature.id)
    if own is None:
        source.pop("id", None)
        if isinstance(fields.get("id"), str):
            source["id"] = fields.pop("id")
    nothing = not fields and source.get("properties") is None
    return {**source, "properties": None if nothing else fields}
