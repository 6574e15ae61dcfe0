"""Names and facts of a track: set by name, checked, and kept by whatever changes later."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from driven_block import block

from trackkit import read_track, rename_corner, set_fact, write_track
from trackkit.errors import TrackFileError
from trackkit.gates.edit import move_gate, place_gate, remove_gate, rename_gate
from trackkit.gates.split import apply_suggestions, suggest_gates
from trackkit.track.countries import COUNTRY_CODES
from trackkit.track.derive import with_corners
from trackkit.track.encoding import track_to_document
from trackkit.track.file import stored, track_text
from trackkit.track.reverse import reverse_track

ISO_3166 = Path("/usr/share/zoneinfo/iso3166.tab")


@pytest.fixture(scope="module")
def track():
    return stored(with_corners(block()))


@pytest.mark.parametrize(
    ("key", "value", "stored_as"),
    [
        ("name", "Sandbar Ring", "Sandbar Ring"),
        ("layout", " Long ", "Long"),
        ("country", "NZ", "NZ"),
        ("country", "XZ", "XZ"),
        ("timezone", "Pacific/Auckland", "Pacific/Auckland"),
        ("licence", "CC-BY-4.0", "CC-BY-4.0"),
        ("valid-from", "2026-04-01", "2026-04-01"),
        ("valid_until", "2028-02-29", "2028-02-29"),
        ("notes", "Invented.\nNothing is there.", "Invented.\nNothing is there."),
    ],
)
def test_a_fact_is_set_stored_and_told_in_the_history(track, tmp_path, key, value, stored_as):
    change = set_fact(track, key, value, by="Ada")
    write_track(change.track, tmp_path / "t.geojson")
    after = read_track(tmp_path / "t.geojson")

    assert getattr(after, key.replace("-", "_")) == stored_as
    assert after.id == track.id
    assert after.history[-1]["by"] == "Ada"
    assert after.history[-1]["what"] == change.what


@pytest.mark.parametrize("key", ["layout", "country", "timezone", "licence", "notes"])
def test_an_empty_text_takes_a_fact_away(track, key):
    values = {"country": "AT", "timezone": "Europe/Vienna"}
    given = set_fact(track, key, values.get(key, "x")).track
    change = set_fact(given, key, "")
    assert not getattr(stored(change.track), key)
    assert change.after is None


@pytest.mark.parametrize(
    ("key", "value", "sentence"),
    [
        ("colour", "red", "'colour' is no fact of a track"),
        ("name", " ", "the name of a track is 1 to 100 characters"),
        ("name", "x" * 101, "the name of a track is 1 to 100 characters"),
        ("layout", "two\nlines", "the name of a layout is 0 to 100 characters on one line"),
        ("country", "UK", "'UK' is no country code of ISO 3166-1"),
        ("country", "at", "'at' is no country code"),
        ("timezone", "Europe/Atlantis", "no time zone of the IANA database"),
        ("valid-from", "20260401", "'20260401' is no day"),
        ("valid-from", "2026-02-30", "'2026-02-30' is no day"),
        ("valid-from", "2026-W14-3", "is no day"),
        ("notes", "x" * 10_001, "notes are text of at most 10,000 characters"),
        ("length_m", "900", "not 900.00 m"),
        ("length_m", "nan", "length_m is a number of metres"),
        ("direction", "clockwise", "the line runs anticlockwise, not clockwise"),
    ],
)
def test_what_cannot_be_a_fact_is_refused(track, key, value, sentence):
    with pytest.raises(TrackFileError, match=sentence):
        set_fact(track, key, value)


def test_a_layout_is_not_valid_until_before_it_is_valid(track):
    given = set_fact(track, "valid-from", "2026-04-01").track
    with pytest.raises(TrackFileError, match="from 2026-04-01 until 2026-03-31"):
        set_fact(given, "valid-until", "2026-03-31")


def test_what_follows_from_the_line_is_set_to_what_the_line_has(track):
    wrong = replace(track, length_m=5.0, direction="clockwise")
    mended = set_fact(wrong, "length_m", f"{track.curve.length_m:.2f}").track
    mended = set_fact(mended, "direction", "anticlockwise").track
    assert mended.length_m == pytest.approx(track.curve.length_m, abs=1e-6)
    assert mended.direction == "anticlockwise"


def test_an_apex_is_set_to_where_its_point_is(track):
    corner = track.corners[1]
    wrong = replace(
        track,
        corners=tuple(
            replace(c, apex_m=c.apex_m + (9.0 if c is corner else 0)) for c in track.corners
        ),
    )
    mended = set_fact(wrong, f"apex_m:{corner.id}", f"{corner.apex_m:.2f}").track
    assert mended.corners[1].apex_m == pytest.approx(corner.apex_m, abs=0.05)
    with pytest.raises(TrackFileError, match="the apex of corner 2 is at"):
        set_fact(wrong, f"apex_m:{corner.id}", f"{corner.apex_m + 5:.2f}")


@pytest.mark.skipif(not ISO_3166.is_file(), reason="no list of the time zone database here")
def test_country_codes_are_those_of_iso_3166():
    # The list that the IANA time zone database carries, and the codes left to users.
    lines = ISO_3166.read_text("utf-8").splitlines()
    listed = {line.split("\t")[0] for line in lines if not line.startswith("#")}
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    users = {"AA", "ZZ", *(f"X{a}" for a in letters), *(f"Q{a}" for a in letters[12:])}
    assert listed | users == COUNTRY_CODES


# Corners


def test_a_corner_gets_a_name_that_stays_when_corners_are_numbered_anew(track):
    named = rename_corner(track, 1, "Cormorant").track
    corner = named.corners[0]
    moved = move_gate(named, "finish", corner.exit_m + 20.0).track

    (after,) = [c for c in moved.corners if c.id == corner.id]
    assert after.name == "Cormorant"
    assert after.number != corner.number
    assert read_back(named).corners[0].name == "Cormorant"
    assert rename_corner(named, corner.id, "").track.corners[0].name == ""


@pytest.mark.parametrize("which", ["0", "99", "first"])
def test_a_corner_that_is_not_there_cannot_be_named(track, which):
    with pytest.raises(TrackFileError, match=f"no corner '{which}'"):
        rename_corner(track, which, "Cormorant")


def read_back(track):
    return stored(stored(track))


# Names that people gave, and those that nobody gave


def names(track):
    return {gate.id: gate.name for gate in track.gates}


def test_placing_a_gate_tells_which_gates_nobody_named_it_renames(track):
    first = place_gate(track, "sector", 0.6 * track.length_m).track
    change = place_gate(first, "sector", 0.3 * track.length_m)
    (renamed,) = [gate for gate in first.gates if names(change.track)[gate.id] != gate.name]
    assert any(
        renamed.id in text and renamed.name in text and names(change.track)[renamed.id] in text
        for text in change.remarks
    )


@pytest.mark.parametrize("way", ["placed", "renamed"])
def test_a_name_that_a_person_gave_never_changes_by_itself(track, way):
    at = 0.6 * track.length_m
    if way == "placed":
        change = place_gate(track, "sector", at, name="Sector 7 end")
    else:
        change = rename_gate(
            (placed := place_gate(track, "sector", at)).track, placed.gate.id, "Sector 7 end"
        )
    gate = change.gate.id
    given = read_back(change.track)
    early = place_gate(given, "sector", 0.3 * track.length_m)
    for later in (
        early.track,
        move_gate(given, "finish", 40.0).track,
        remove_gate(early.track, early.gate.id).track,
        reverse_track(given)[0],
        apply_suggestions(given, suggest_gates(given, 2))[0],
    ):
        if gate in names(later):
            assert names(read_back(later))[gate] == "Sector 7 end"


# Versions


def test_a_file_of_version_1_0_stays_one_until_it_says_what_1_0_cannot(track):
    assert track_to_document(track)["track"]["version"] == "1.0"
    renamed = rename_corner(set_fact(track, "name", "Other").track, 1, "Cormorant").track
    assert track_to_document(renamed)["track"]["version"] == "1.0"

    newer = set_fact(renamed, "valid-from", "2026-04-01").track
    described = json.loads(track_text(stored(newer)))["track"]
    assert (described["version"], described["valid_from"]) == ("1.1", "2026-04-01")
    named = place_gate(track, "sector", 0.4 * track.length_m, name="Sector 9 end").track
    assert track_to_document(named)["track"]["version"] == "1.1"


def test_a_member_that_1_0_does_not_know_is_kept_as_it_is(track):
    odd = replace(track, members={"valid_from": 5})
    assert track_to_document(stored(odd))["track"]["valid_from"] == 5
    given = set_fact(stored(odd), "valid-from", "2026-04-01").track
    assert stored(given).valid_from == "2026-04-01"
