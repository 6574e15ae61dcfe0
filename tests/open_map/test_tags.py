"""What tags say: which ways are circuits, which way they are driven, how wide and how high.

Tags and values are those of the OpenStreetMap wiki (from memory).
"""

import pytest

from trackkit.open_map.tags import (
    is_circuit_relation,
    is_pit_lane,
    latin_name,
    layer_of,
    way_driven,
    why_not_a_circuit,
    width_m_of,
)

RACEWAY = {"highway": "raceway"}


@pytest.mark.parametrize(
    "tags",
    [
        RACEWAY,
        {**RACEWAY, "sport": "motor"},
        {**RACEWAY, "sport": "cycling;motor"},
        {"leisure": "track", "sport": "karting"},
        {"leisure": "track", "sport": "motocross; cycling"},
    ],
)
def test_raceways_and_tracks_of_motor_sports_are_circuits(tags):
    assert why_not_a_circuit(tags) is None


@pytest.mark.parametrize(
    ("tags", "reason"),
    [
        ({"leisure": "track"}, "not tagged"),
        ({"leisure": "track", "sport": "running"}, "not tagged"),
        ({"highway": "service"}, "not tagged"),
        ({**RACEWAY, "sport": "horse_racing"}, "without motors"),
        ({**RACEWAY, "sport": "drag_racing"}, "drag strip"),
        ({**RACEWAY, "disused": "yes"}, "in use"),
        ({**RACEWAY, "area": "yes"}, "area"),
    ],
)
def test_other_ways_are_none_and_it_is_said_why(tags, reason):
    assert reason in why_not_a_circuit(tags)


@pytest.mark.parametrize(
    "tags",
    [
        {**RACEWAY, "service": "pit_lane"},
        {**RACEWAY, "name": "Pit Lane"},
        {**RACEWAY, "name": "Neue Boxengasse"},
        {**RACEWAY, "name:en": "Long pits"},
        {**RACEWAY, "name": "ピットレーン"},
    ],
)
def test_pit_lanes_are_known_by_service_or_name(tags):
    assert is_pit_lane(tags)


@pytest.mark.parametrize("name", ["Pitwick Straight", "Spitfire", "Boxwood", ""])
def test_other_names_are_no_pit_lanes(name):
    assert not is_pit_lane({**RACEWAY, "name": name})


@pytest.mark.parametrize(
    ("value", "driven"), [("yes", 1), ("1", 1), ("-1", -1), ("reverse", -1), ("no", 0), ("", 0)]
)
def test_one_way_says_which_way_it_is_driven(value, driven):
    assert way_driven({"oneway": value}) == driven


@pytest.mark.parametrize(
    ("tags", "layer"),
    [
        ({}, 0),
        ({"layer": "-2"}, -2),
        ({"bridge": "yes"}, 1),
        ({"tunnel": "yes"}, -1),
        ({"bridge": "yes", "layer": "3"}, 3),
        ({"layer": "up"}, 0),
        ({"bridge": "no"}, 0),
    ],
)
def test_the_layer_is_read_and_a_bridge_without_one_is_above(tags, layer):
    assert layer_of(tags) == layer


@pytest.mark.parametrize(
    ("text", "width_m"),
    [
        ("12", 12.0),
        ("12.5 m", 12.5),
        ("12,5", 12.5),
        ("40 ft", 12.192),
        ("40'", 12.192),
        ("wide", None),
        ("0", None),
        ("900", None),
        ("", None),
    ],
)
def test_widths_are_metres_unless_they_say_feet(text, width_m):
    # An international foot is 0.3048 m (NIST SP 811).
    assert width_m_of({"width": text}) == (None if width_m is None else pytest.approx(width_m))


def test_relations_of_circuits_are_told_from_routes_of_other_things():
    assert is_circuit_relation({"type": "circuit"})
    assert is_circuit_relation({"type": "route", "route": "raceway"})
    assert not is_circuit_relation({"type": "route", "route": "bus"})
    assert not is_circuit_relation({"type": "circuit", "sport": "cycling"})


def test_an_id_is_made_of_a_name_in_latin_letters():
    assert latin_name({"name": "Плац", "name:en": "Parade", "name:ja": "広場"}) == "Parade"
    assert latin_name({"name": "Plaza", "name:en": "Square"}) == "Plaza"
    assert latin_name({"name": "広場"}) == "広場"
