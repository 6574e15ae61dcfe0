"""Leaving out positions that are plainly right never hides what the schema would say."""

import json
from copy import deepcopy

import pytest
from checkout import TRACKS
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from trackkit.track.file import schema, schema_faults
from trackkit.track.thinned import thinned

OVAL = json.loads((TRACKS / "gullhatch-oval.geojson").read_text("utf-8"))
"""An invented circuit of some 500 vertices."""
_ODD = (
    [180.5, 0.0],
    [0.0, -90.5],
    [-181, 0],
    [0, 91.0],
    [7.0],
    [7.0, 47.0, 1.0, 2.0],
    [True, 47.0],
    [7.0, False],
    ["7.0", 47.0],
    [7.0, 47.0, None],
    {"0": 7.0, "1": 47.0},
    None,
    "7,47",
    [],
)


def _line(document):
    return next(
        feature["geometry"]
        for feature in document["features"]
        if feature["properties"]["role"] == "centreline"
    )


@pytest.mark.slow
@given(position=st.sampled_from(_ODD), at=st.integers(0, 480), cut=st.booleans())
def test_a_wrong_position_anywhere_breaks_the_schema_as_in_the_whole_document(position, at, cut):
    document = deepcopy(OVAL)
    geometry = _line(document)
    geometry["coordinates"][at] = position
    if cut:
        geometry["type"] = "MultiLineString"
        geometry["coordinates"] = [geometry["coordinates"][:200], geometry["coordinates"][200:]]
    faults = list(Draft202012Validator(schema()).iter_errors(document))
    assert faults
    number = f"{at}" if not cut else f"0.{at}" if at < 200 else f"1.{at - 200}"
    assert all(f"coordinates.{number}" in place for place, _ in schema_faults(document))


def test_a_line_that_is_right_is_shortened():
    assert len(_line(thinned(OVAL))["coordinates"]) < 10
    assert len(_line(OVAL)["coordinates"]) > 400


@pytest.mark.parametrize("document", [{}, {"features": None}, {"features": [None, 3, {}]}])
def test_what_has_no_features_stays_as_it_is(document):
    assert thinned(document) == document


def test_a_gate_of_three_positions_is_still_seen_to_have_three():
    document = deepcopy(OVAL)
    gate = next(f for f in document["features"] if f["properties"]["role"] == "gate")
    gate["geometry"]["coordinates"].append(gate["geometry"]["coordinates"][0])
    assert any(place.startswith("feature finish") for place, _ in schema_faults(document))
