"""The known circuits as a list."""

from types import SimpleNamespace

import pytest
from drives import HOME
from library_entries import known_at, shifted

from trackkit.errors import PlaceError
from trackkit.library.listing import Listed, list_library

AT = HOME
KNOWN = [
    known_at(AT, "alpha", name="Sandbank", layout="Long", country="DE"),
    known_at(shifted(AT, 3000.0, 0.0), "beta", name="Reef", layout="Short", country="FR"),
    known_at(shifted(AT, 9000.0, 0.0), "gamma", name="Shoal", layout="", country=None),
]
LIBRARY = SimpleNamespace(tracks=lambda: KNOWN)


def ids(**wanted):
    return [listed.circuit.id for listed in list_library(LIBRARY, **wanted)]


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({}, ["alpha", "beta", "gamma"]),
        ({"country": "de"}, ["alpha"]),
        ({"country": "FR", "name": "sand"}, []),
        ({"name": "REEF"}, ["beta"]),
        ({"name": "short"}, ["beta"]),
        ({"name": "amm"}, ["gamma"]),
        ({"name": "e"}, ["beta"]),
        ({"name": "nowhere"}, []),
    ],
)
def test_circuits_are_chosen_by_country_and_by_what_their_names_hold(wanted, found):
    assert ids(**wanted) == found


def test_the_nearest_to_a_place_come_first_with_their_distances():
    listed = list_library(LIBRARY, near=shifted(AT, 8000.0, 0.0))

    assert [one.circuit.id for one in listed] == ["gamma", "beta", "alpha"]
    assert [one.distance_m for one in listed] == pytest.approx([1000, 5000, 8000], abs=60)
    assert Listed(KNOWN[0], 12.34567).as_row()["distance_m"] == 12.346
    assert "distance_m" not in list_library(LIBRARY)[0].as_row()


def test_only_circuits_within_a_distance_are_listed():
    near = shifted(AT, 8000.0, 0.0)
    away = [one.distance_m for one in list_library(LIBRARY, near=near)]

    assert ids(near=near, within_m=away[1]) == ["gamma", "beta"]
    assert ids(near=near, within_m=away[1] - 0.01) == ["gamma"]


def test_a_distance_without_a_place_is_asked_about():
    with pytest.raises(PlaceError, match="near which place"):
        list_library(LIBRARY, within_m=100.0)
