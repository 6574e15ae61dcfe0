"""How a candidate's line is known: driven, drawn or surveyed, also from the index."""

from dataclasses import replace
from pathlib import Path

import pytest
from checkout import TRACKS

from trackkit.library.folders import open_library
from trackkit.library.known import origin_of
from trackkit.library.locate import locate
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.file import read_track, write_track


@pytest.fixture(scope="module")
def oval():
    return read_track(TRACKS / "gullhatch-oval.geojson")


def with_kind(track, kind):
    line = replace(track.centreline, accuracy_profile=(AccuracyRow(0.0, 1.0, kind),))
    return replace(track, line="centre", centreline=line)


def test_a_line_averaged_from_laps_is_driven(oval):
    assert origin_of(replace(oval, line="driven")) == "driven"


def test_a_centre_is_drawn_unless_somebody_measured_it(oval):
    centre = replace(oval, line="centre", accuracy_m=None)
    assert origin_of(centre) == "drawn"
    assert origin_of(replace(centre, accuracy_m=0.1)) == "surveyed"
    assert origin_of(with_kind(oval, "measured")) == "surveyed"
    assert origin_of(with_kind(oval, "drawn")) == "drawn"


def test_the_index_holds_it_and_locating_says_it(oval, tmp_path: Path):
    folder = tmp_path / "world"
    folder.mkdir()
    write_track(with_kind(oval, "measured"), folder / "oval.geojson")
    place = oval.centreline.longitude_deg[0], oval.centreline.latitude_deg[0]
    located = locate(place, open_library([folder]))
    assert located.candidates[0].origin == "surveyed"
    assert located.as_row()["candidates"][0]["origin"] == "surveyed"
