"""How well each metre is known, and the verdict: in the file, along the line, and after changes."""

import json
from dataclasses import replace

import named_block
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from track_documents import document, example, feature, with_value, written

from trackkit.errors import TrackFileError
from trackkit.track.accuracy import (
    ACCURACY_KINDS,
    AccuracyRow,
    Verdict,
    begun_at,
    metres_of_kinds,
    read_profile,
    turned,
)
from trackkit.track.derive import with_datum
from trackkit.track.document import track_from_document
from trackkit.track.encoding import track_to_document
from trackkit.track.file import read_track, schema_faults, stored, track_text
from trackkit.track.reverse import reverse_track

ROWS = (
    AccuracyRow(0.0, 0.4, "measured"),
    AccuracyRow(100.0, 0.8, "thin"),
    AccuracyRow(160.0, 3.25, "carried"),
    AccuracyRow(220.0, 0.4, "measured"),
)
VERDICT = Verdict(
    False, ("12 % of the line is carried",), "9f86d081884c7d65", "2031-05-01", {"x": 1}
)


def judged(track=None):
    track = track or example()
    line = replace(track.centreline, accuracy_profile=ROWS)
    return replace(track, centreline=line, verdict=VERDICT)


@st.composite
def profiles(draw):
    """A profile of a line of 500 m."""
    places = draw(st.lists(st.integers(0, 499), min_size=1, max_size=8, unique=True))
    sigma = st.integers(0, 50)
    return tuple(
        AccuracyRow(float(at), 0.1 * draw(sigma), draw(st.sampled_from(ACCURACY_KINDS)))
        for at in sorted(places)
    )


def test_profile_and_verdict_come_back_from_a_file_of_version_1_1():
    track = judged()
    found = track_to_document(track)
    assert schema_faults(found) == []
    assert found["track"]["version"] == "1.1"
    again = stored(track)
    assert again.centreline.accuracy_profile == ROWS
    assert again.verdict == VERDICT
    assert track_text(stored(again)) == track_text(again)


def test_a_file_of_version_1_0_keeps_members_of_these_names_as_ones_nobody_knows():
    found = document()
    found["track"]["verdict"] = "splendid"
    feature(found, "centreline")["properties"]["accuracy_profile"] = "good"
    again = json.loads(track_text(track_from_document(found)))
    assert again["track"]["version"] == "1.0"
    assert again["track"]["verdict"] == "splendid"
    assert feature(again, "centreline")["properties"]["accuracy_profile"] == "good"


@pytest.mark.parametrize(
    ("damage", "sentence"),
    [
        (
            with_value([[0, 1, "guessed"]], "centreline", "properties", "accuracy_profile"),
            "guessed",
        ),
        (
            with_value([], "centreline", "properties", "accuracy_profile"),
            # Worded by jsonschema, of which older versions say it the other way.
            r"accuracy_profile: \[\] (should be non-empty|is too short)",
        ),
        (
            with_value([[0, -1, "thin"]], "centreline", "properties", "accuracy_profile"),
            "less than the minimum of 0",
        ),
        (
            with_value(
                [[0, 1, "thin"], [9, 1, "thin"], [9, 1, "thin"]],
                "centreline",
                "properties",
                "accuracy_profile",
            ),
            r"row 3 begins at 9\.0 m, not beyond the row before it at 9\.0 m; write rows",
        ),
        (with_value({"fit": True}, "track", "verdict"), "'date' is a required property"),
        (
            with_value({**VERDICT.as_row(), "date": "yesterday"}, "track", "verdict"),
            "'yesterday' does not match",
        ),
    ],
)
def test_what_says_nothing_certain_is_refused(tmp_path, damage, sentence):
    found = json.loads(track_text(judged()))
    damage(found)
    with pytest.raises(TrackFileError, match=sentence):
        read_track(written(tmp_path / "a.geojson", found))


def test_sigma_changes_evenly_between_rows_and_kinds_hold_to_the_next_row():
    sigma, kind = judged().centreline.accuracy_at([50.0, 99.9, 130.0, 190.0, 400.0])
    assert sigma[:4] == pytest.approx([0.6, 0.8, 2.025, 1.825], abs=1e-3)
    assert kind.tolist() == ["measured", "measured", "thin", "carried", "measured"]
    assert example().centreline.accuracy_at([0.0]) is None
    assert example().centreline.metres_of_kinds() is None


@given(profiles(), st.floats(0, 499), st.integers(-3, 3))
def test_a_lap_on_the_line_is_known_as_well(rows, at, laps):
    here = read_profile(rows, at, 512.0, closed=True)
    there = read_profile(rows, at + 512.0 * laps, 512.0, closed=True)
    assert there[0] == pytest.approx(here[0], abs=1e-9)


@given(profiles(), st.booleans())
def test_metres_of_kinds_are_what_is_read_metre_by_metre(rows, closed):
    metres = metres_of_kinds(rows, 500.0, closed=closed)
    _, kind = read_profile(rows, np.arange(500) + 0.5, 500.0, closed=closed)
    assert metres == {name: float(np.count_nonzero(kind == name)) for name in ACCURACY_KINDS}


@pytest.mark.slow
@given(profiles(), st.integers(0, 499))
def test_nothing_on_the_ground_is_known_otherwise_when_the_datum_moves(rows, datum):
    moved = begun_at(rows, datum, 500.0)
    at = np.arange(500) + 0.5
    before, kinds_before = read_profile(rows, at, 500.0, closed=True)
    after, kinds_after = read_profile(moved, at - datum, 500.0, closed=True)
    assert after == pytest.approx(before, abs=1e-6)
    assert kinds_after.tolist() == kinds_before.tolist()


@pytest.mark.slow
@given(profiles(), st.booleans())
def test_nothing_on_the_ground_is_known_otherwise_when_it_is_driven_the_other_way(rows, closed):
    other = turned(rows, 500.0, closed=closed)
    at = np.arange(500) + 0.5
    before, kinds_before = read_profile(rows, at, 500.0, closed=closed)
    after, kinds_after = read_profile(other, 500.0 - at, 500.0, closed=closed)
    assert after == pytest.approx(before, abs=1e-6)
    assert kinds_after.tolist() == kinds_before.tolist()


def test_the_profile_follows_the_datum_and_the_direction_of_a_track():
    track = judged(named_block.block())
    length = track.curve.length_m
    here = track.centreline.accuracy_at([130.0, 190.0])

    moved = with_datum(track, 600.0)
    there = moved.centreline.accuracy_at([130.0 - 600.0, 190.0 - 600.0])
    assert there[0] == pytest.approx(here[0], abs=0.01)
    assert there[1].tolist() == here[1].tolist()

    other, _ = reverse_track(track)
    back = other.centreline.accuracy_at([length - 130.0, length - 190.0])
    assert back[0] == pytest.approx(here[0], abs=0.01)
    assert back[1].tolist() == here[1].tolist()
    assert other.verdict is None
