"""What the tags of OpenStreetMap say of a circuit.

The tags are those of the OpenStreetMap wiki ("Tag:highway=raceway", "Tag:leisure=track",
"Key:sport", "Key:oneway", "Key:layer", "Key:width"; all from memory).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

Tags = Mapping[str, str]

LICENCE = "ODbL-1.0"
CREDIT = "© OpenStreetMap contributors, ODbL 1.0 (openstreetmap.org/copyright)"
"""What the licence of the data asks to be said wherever they are shown."""
WANTED = (
    ("highway", "raceway"),
    ("leisure", "track"),
    ("type", "circuit"),
    ("route", "raceway"),
    ("route", "racetrack"),
    ("route", "circuit"),
    ("route", "motorsport"),
)
"""Tags of which an object must have at least one to be read."""
MOTOR_SPORTS = frozenset(
    [
        "motor",
        "motorsport",
        "motor_racing",
        "auto_racing",
        "car_racing",
        "karting",
        "motocross",
        "motorcycle",
        "motorcycle_racing",
        "supermoto",
        "minibike",
        "speedway",
        "autocross",
        "rallycross",
        "stock_car",
        "drifting",
    ]
)
_WITHOUT_MOTORS = frozenset(
    [
        "running",
        "athletics",
        "cycling",
        "track_cycling",
        "bmx",
        "mtb",
        "horse_racing",
        "horse",
        "equestrian",
        "harness_racing",
        "dog_racing",
        "greyhound_racing",
        "camel_racing",
        "rc_car",
        "model_car",
        "model_aerodrome",
        "roller_skating",
        "skating",
        "ice_skating",
        "inline_skating",
        "skiing",
        "skateboard",
        "soapbox",
    ]
)
_STRIPS = frozenset(["drag_racing", "drag", "drag_strip", "dragster"])
_NOT_IN_USE = ("abandoned", "disused", "demolished", "razed", "proposed", "construction")
_YES = frozenset(["yes", "true", "1"])
_BACKWARD = frozenset(["-1", "reverse"])
_PIT_NAME = re.compile(
    r"\bpits?\b|\bpit ?lanes?\b|\bboxengasse\b|\bvoie des stands\b|\bcorsia (dei )?box\b"
    r"|\b(calle|carril) de (los )?boxes\b|\bpitstraat\b|\bаллея боксов\b|пит-?лейн|ピットレーン",
    re.IGNORECASE,
)
_PIT_SERVICE = frozenset(["pit", "pits", "pit_lane", "pitlane"])
_METRES = re.compile(r"(\d+(?:\.\d+)?)\s*(m|metres?|meters?)?")
_FEET = re.compile(r"(\d+(?:\.\d+)?)\s*(?:ft|feet|')")
_WIDEST_M = 60.0
_NARROWEST_M = 1.0
_FEET_M = 0.3048
_ONLY_NAMES = re.compile(r"name|(alt|int|loc|nat|official|old|reg|short)_name|name:[A-Za-z_-]+")


def sports_of(tags: Tags) -> frozenset[str]:
    """List the sports of an object."""
    return frozenset(part.strip().casefold() for part in tags.get("sport", "").split(";")) - {""}


def why_not_a_circuit(tags: Tags) -> str | None:
    """Say why a way cannot be part of a circuit for motor sport, or None where it can.

    Returns
    -------
    str or None
        A clause such as "of a sport without motors".
    """
    sports = sports_of(tags)
    if tags.get("highway") != "raceway" and not (
        tags.get("leisure") == "track" and sports & MOTOR_SPORTS
    ):
        return "not tagged as a circuit for motor sport"
    if any(tags.get(state, "no") in _YES for state in _NOT_IN_USE):
        return "no longer, or not yet, in use"
    if sports & _STRIPS and not sports & MOTOR_SPORTS:
        return "a drag strip, which is no circuit"
    if sports & _WITHOUT_MOTORS and not sports & MOTOR_SPORTS:
        return "of a sport without motors"
    if tags.get("area", "no") in _YES:
        return "drawn as an area, whose edge is no line that cars drive"
    return None


def is_circuit_relation(tags: Tags) -> bool:
    """Tell whether a relation lists the ways of a circuit."""
    if any(tags.get(state, "no") in _YES for state in _NOT_IN_USE):
        return False
    if sports_of(tags) & (_WITHOUT_MOTORS | _STRIPS) and not sports_of(tags) & MOTOR_SPORTS:
        return False
    kind = tags.get("type")
    return kind == "circuit" or (kind == "route" and ("route", tags.get("route", "")) in WANTED)


def is_pit_lane(tags: Tags) -> bool:
    """Tell whether a way is a pit lane, by its service or its name."""
    if tags.get("service") in _PIT_SERVICE or tags.get("raceway") in _PIT_SERVICE:
        return True
    return any(_PIT_NAME.search(text) for text in names_of(tags).values())


def way_driven(tags: Tags) -> int:
    """Read one-way: 1 as drawn, -1 against it, 0 both ways or unknown."""
    oneway = tags.get("oneway", "")
    return 1 if oneway in _YES else -1 if oneway in _BACKWARD else 0


def layer_of(tags: Tags) -> int:
    """Read which layer a way is on; a bridge without one is above, a tunnel below the ground."""
    text = tags.get("layer", "")
    if re.fullmatch(r"[-+]?\d{1,2}", text):
        return int(text)
    if tags.get("bridge", "no") != "no":
        return 1
    return -1 if tags.get("tunnel", "no") != "no" else 0


def width_m_of(tags: Tags) -> float | None:
    """Read how wide a way is, metres; None where it does not say, or nothing that can be."""
    for key in ("width", "est_width"):
        text = tags.get(key, "").strip().replace(",", ".")
        feet, metres = _FEET.fullmatch(text), _METRES.fullmatch(text)
        width = None
        if feet:
            width = float(feet[1]) * _FEET_M
        elif metres:
            width = float(metres[1])
        if width is not None and _NARROWEST_M <= width <= _WIDEST_M:
            return width
    return None


def names_of(tags: Tags) -> dict[str, str]:
    """List names, in whatever language and script, by the keys that they have."""
    return {key: text for key, text in tags.items() if _ONLY_NAMES.fullmatch(key) and text.strip()}


def latin_name(names: Mapping[str, str]) -> str:
    """Choose of several names the one that an id can be made of: one in Latin letters."""
    order = ("name", "int_name", "name:en", *sorted(names))
    for key in order:
        if re.search(r"[A-Za-z]", names.get(key, "")):
            return names[key]
    return names.get("name", "")
