"""Which part of a track each drawn feature is: by what is named, fields, layers and geometry."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from trackkit.errors import TrackFileError
from trackkit.geometry.geodesy import polyline_length
from trackkit.importing.fields import members_of, plain
from trackkit.recordings.drawn.features import DrawnFeature
from trackkit.remedies import Remedy
from trackkit.track.features import GATE_KINDS, GateKind
from trackkit.track.model import Track
from trackkit.words import counted

ROLES = ("centreline", "gates", "pit_lane", "corners")
_ROLE_WORDS = {
    "centreline": "centreline",
    "gate": "gates",
    "gates": "gates",
    "pit-lane": "pit_lane",
    "pit_lane": "pit_lane",
    "corner": "corners",
    "corners": "corners",
}
"""Roles as fields and options write them."""
_PHRASES: Mapping[str, tuple[str, ...]] = {
    "centreline": ("centreline", "centerline", "centre line", "center line", "axis"),
    "gates": (
        "gate",
        "gates",
        "finish",
        "start",
        "sector",
        "sectors",
        "speed",
        "pit entry",
        "pit exit",
        "timing line",
        "timing lines",
    ),
    "pit_lane": ("pit lane", "pitlane", "pit lanes"),
    "corners": ("corner", "corners", "apex", "apexes"),
}
"""Words in names of layers that say what is in them."""
_LETTERS = re.compile(r"[^\W\d_]+")
LONGEST_GATE_M = 100.0
"""A line without any word about it that is longer is no gate."""
CLEARLY_LONGER = 3.0
"""A line without any word about it that is this many times as long as any other is the track."""


@dataclass(frozen=True, eq=False)
class Parts:
    """The features of a drawing by the part of a track that they are.

    Parameters
    ----------
    centreline, gates, pit_lane, corners
        In the order of the file.
    others
        What has been drawn besides.
    remarks
        Sentences about what was taken for what.
    """

    centreline: list[DrawnFeature] = field(default_factory=list)
    gates: list[DrawnFeature] = field(default_factory=list)
    pit_lane: list[DrawnFeature] = field(default_factory=list)
    corners: list[DrawnFeature] = field(default_factory=list)
    others: list[DrawnFeature] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def of(self, role: str) -> list[DrawnFeature]:
        """Return the features of a role."""
        features: list[DrawnFeature] = getattr(self, role)
        return features


def role_of(text: str) -> str | None:
    """Read the name of a role, as a field or a user writes it; None where it is none."""
    return _ROLE_WORDS.get(text.strip().casefold().replace(" ", "-"))


def kind_of(text: str) -> GateKind | None:
    """Read a kind of gate, whatever its capitals and spaces; None where it is none."""
    plain_text = re.sub(r"[\s_-]+", "-", text.strip().casefold())
    return next((kind for kind in GATE_KINDS if kind == plain_text), None)


def kind_in(name: str) -> GateKind | None:
    """Find the kind of gate that a name or a layer speaks of; None where it is none or several."""
    words = _words(name)
    kinds = [kind for kind in GATE_KINDS if f" {kind.replace('-', ' ')} " in words]
    if "pit-entry" in kinds or "pit-exit" in kinds:
        kinds = [kind for kind in kinds if kind.startswith("pit")]
    if set(kinds) == {"finish", "start"}:
        # "Start and finish": of a lap it is where both are.
        return "finish"
    return kinds[0] if len(kinds) == 1 else None


def _words(name: str) -> str:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return f" {' '.join(_LETTERS.findall(spaced.casefold()))} "


def sorted_features(
    features: Sequence[DrawnFeature],
    layers: Mapping[str, Sequence[str]],
    named: Mapping[str, str],
    onto: Track | None,
) -> Parts:
    """Tell which part of a track each feature is.

    Parameters
    ----------
    features
        All that was drawn.
    layers
        Names of layers by role, as a user has given them.
    named
        Fields by member, as a user has given them.
    onto
        The track that this was before, whose ids tell.

    Raises
    ------
    TrackFileError
        When a layer that is named is not there.
    """
    by_layer = {name: role for role, names in layers.items() for name in names}
    there = list(dict.fromkeys(feature.layer for feature in features))
    for name in by_layer:
        if name not in there:
            raise TrackFileError(
                f"has no layer called {name!r}",
                remedy=f"its layers are: {', '.join(there) or 'none'}",
            )
    ids = _ids_of(onto)
    parts = Parts()
    open_lines: list[DrawnFeature] = []
    for feature in features:
        role = by_layer.get(feature.layer) or _by_fields(feature, named, ids)
        role = role or _by_layer_name(feature.layer)
        if role is not None and _fits(feature, role):
            parts.of(role).append(feature)
        elif feature.kind in ("line", "area") and role is None and not _has_role(feature):
            open_lines.append(feature)
        else:
            parts.others.append(feature)
    _by_geometry(open_lines, parts)
    if not any(feature.source is not None for feature in features):
        parts.remarks.extend(_left_out(parts.others))
    return parts


def _ids_of(onto: Track | None) -> dict[str, str]:
    if onto is None:
        return {}
    return {
        **{corner.id: "corners" for corner in onto.corners},
        **{lane.id: "pit_lane" for lane in onto.pit_lanes},
        **{gate.id: "gates" for gate in onto.gates},
        onto.centreline.id: "centreline",
    }


def _fits(feature: DrawnFeature, role: str) -> bool:
    """Tell whether a feature has the geometry of a role; one without any says so later."""
    if feature.kind is None:
        return True
    if role == "corners":
        return feature.kind == "point"
    return feature.kind == "line" or (feature.kind == "area" and role == "centreline")


def _has_role(feature: DrawnFeature) -> bool:
    return plain(feature.fields.get("role")) is not None


def _by_fields(
    feature: DrawnFeature, named: Mapping[str, str], ids: Mapping[str, str]
) -> str | None:
    fields = {name.casefold(): plain(value) for name, value in feature.fields.items()}
    stated = fields.get("role")
    if isinstance(stated, str):
        role = role_of(stated)
        if role is not None:
            return role
    if fields.get("track_id") is not None:
        return "centreline"
    kind = plain(feature.fields.get(named.get("kind", ""))) or fields.get("kind")
    if feature.kind == "line" and isinstance(kind, str) and kind_of(kind):
        return "gates"
    if feature.kind == "point" and fields.get("turn") in ("left", "right"):
        return "corners"
    for name in ("feature_id", "id"):
        if str(fields.get(name)) in ids:
            return ids[str(fields[name])]
    return ids.get(feature.id or "")


def _by_layer_name(layer: str) -> str | None:
    words = _words(layer)
    roles = [
        role
        for role, phrases in _PHRASES.items()
        if any(f" {phrase} " in words for phrase in phrases)
    ]
    return roles[0] if len(roles) == 1 else None


def _by_geometry(lines: Sequence[DrawnFeature], parts: Parts) -> None:
    """Take the longest line for the track, where none is called so, and short ones for gates."""
    left = sorted(lines, key=length_m, reverse=True)
    if left and not parts.centreline:
        longest = length_m(left[0])
        if len(left) == 1 or longest >= CLEARLY_LONGER * length_m(left[1]):
            parts.centreline.append(left.pop(0))
            parts.remarks.append(
                f"the longest line ({parts.centreline[0].place}, {longest:,.0f} m) was taken for "
                "the centreline"
            )
        elif longest > LONGEST_GATE_M:
            listed = "; ".join(f"{line.place}: {length_m(line):,.0f} m" for line in left[:4])
            raise TrackFileError(
                f"does not say which of its {len(left):,} lines is the centreline ({listed})",
                remedy=Remedy("name its layer", do="name layers", value={"role": "centreline"}),
            )
    short = [line for line in lines if line in left and length_m(line) <= LONGEST_GATE_M]
    if short and not parts.gates:
        parts.gates.extend(short)
        parts.remarks.append(f"{counted(short, 'short line')} were taken for gates")
        left = [line for line in left if line not in short]
    parts.others.extend(left)


def length_m(feature: DrawnFeature) -> float:
    """Measure the parts of a line, metres."""
    return sum(polyline_length(part[:, 0], part[:, 1]) for part in feature.parts if len(part) > 1)


def _left_out(others: Iterable[DrawnFeature]) -> list[str]:
    count: dict[str, list[DrawnFeature]] = {}
    for feature in others:
        count.setdefault(feature.layer, []).append(feature)
    return [
        f"layer {layer}: {counted(features, 'feature')} left out, as no part of a track that is "
        "known"
        for layer, features in count.items()
    ]


def kind_of_gate(
    feature: DrawnFeature, named: Mapping[str, str]
) -> tuple[GateKind | None, str | None]:
    """Read what kind of gate a feature is by its fields, its name, or its layer.

    Returns
    -------
    kind, stated
        The kind, None where nothing tells it; and the text of its field where that is none.
    """
    members, _ = members_of(feature, "gates", named)
    stated = members.get("kind")
    if stated is not None:
        return kind_of(stated) or kind_in(stated), stated
    for text in (members.get("id"), members.get("name"), feature.layer):
        kind = kind_in(text) if text else None
        if kind is not None:
            return kind, None
    return None, None
